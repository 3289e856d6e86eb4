// Plays a van to class Discovery until it is through: what was asked, what was
// found. Each answer takes 5 ms.
#pragma once
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <string>
#include <vector>

#include "bus_bytes.hpp"
#include "core/discovery.hpp"

namespace packmile::test {

using Answers = std::map<Bytes, std::vector<Bytes>>;  // request -> messages, in order

struct AskedEcu {
  std::uint32_t response_id = 0x7E8;
  bool extended = false;
  Answers answers;
  // Requests that go unanswered the first so many times.
  std::map<Bytes, int> deaf;

  [[nodiscard]] std::uint32_t request_id() const {
    if (!extended) return response_id - 8;
    return 0x18DA00F1 | (response_id & 0xFF) << 8;
  }
};

struct DiscoveryRun {
  std::vector<std::string> requests;
  VanMap map;
  DiscoveryState state = DiscoveryState::idle;
  Tick took_ms = 0;
};

inline std::string text_of(const CanFrame& frame) {
  char text[16];
  std::snprintf(text, sizeof text, "%X", static_cast<unsigned>(frame.id));
  std::string line = text;
  for (int i = 1; i <= frame.data[0]; ++i) {
    std::snprintf(text, sizeof text, " %02X", frame.data[static_cast<std::size_t>(i)]);
    line += text;
  }
  return line;
}

// Plays a van until discovery is through. Each answer takes 5 ms.
inline DiscoveryRun run(std::vector<AskedEcu> ecus, Discovery& discovery,
                        std::span<const AllowedDid> owners = {}) {
  DiscoveryRun result;
  Tick now = 1000;
  discovery.start(owners);
  while (discovery.state() == DiscoveryState::running) {
    REQUIRE(result.requests.size() < 200);
    if (const auto request = discovery.take_request(now)) {
      const CanFrame& frame = request->frame;
      REQUIRE(frame.length == 8);
      REQUIRE(request->functional == (frame.id == 0x7DF || frame.id == 0x18DB33F1));
      REQUIRE_FALSE(discovery.take_request(now).has_value());
      result.requests.push_back(text_of(frame));
      const Bytes asked(frame.data.begin() + 1, frame.data.begin() + 1 + frame.data[0]);
      for (AskedEcu& ecu : ecus) {
        const bool meant =
            frame.extended == ecu.extended && (request->functional || frame.id == ecu.request_id());
        const auto answer = ecu.answers.find(asked);
        if (!meant || answer == ecu.answers.end()) continue;
        const auto deaf = ecu.deaf.find(asked);
        if (deaf != ecu.deaf.end() && deaf->second-- > 0) continue;
        for (const Bytes& message : answer->second) {
          now += 5;
          if (message.size() > 7) {
            discovery.on_partial(now, ecu.response_id, ecu.extended);
            now += 5;
          }
          discovery.on_message(now, ecu.response_id, ecu.extended, message);
        }
      }
      continue;
    }
    const auto due = discovery.deadline();
    REQUIRE(due.has_value());
    if (*due > now) {
      discovery.on_time(*due - 1);  // early: nothing
      REQUIRE(discovery.deadline() == due);
      now = *due;
    }
    discovery.on_time(now);
  }
  REQUIRE_FALSE(discovery.deadline().has_value());
  REQUIRE_FALSE(discovery.take_request(now).has_value());
  result.map = discovery.map();
  result.state = discovery.state();
  result.took_ms = now - 1000;
  return result;
}

inline DiscoveryRun run(std::vector<AskedEcu> ecus, std::span<const AllowedDid> owners = {}) {
  Discovery discovery;
  return run(std::move(ecus), discovery, owners);
}

inline Bytes with_text(Bytes head, const std::string& text) {
  head.insert(head.end(), text.begin(), text.end());
  return head;
}

inline const std::string kVin = "1M8GDM9AXKP042788";  // check digit of 49 CFR 565 holds

// $0D, $42 and $5B, $9A, $A6: bitmaps 00 20 40 60 80 A0.
inline AskedEcu battery_ecu() {
  AskedEcu ecu;
  ecu.answers = {
      {{0x01, 0x00}, {{0x41, 0x00, 0x00, 0x08, 0x00, 0x01}}},
      {{0x01, 0x20}, {{0x41, 0x20, 0x00, 0x00, 0x00, 0x01}}},
      {{0x01, 0x40}, {{0x41, 0x40, 0x40, 0x00, 0x00, 0x21}}},
      {{0x01, 0x60}, {{0x41, 0x60, 0x00, 0x00, 0x00, 0x01}}},
      {{0x01, 0x80}, {{0x41, 0x80, 0x00, 0x00, 0x00, 0x41}}},
      {{0x01, 0xA0}, {{0x41, 0xA0, 0x04, 0x00, 0x00, 0x00}}},
      {{0x09, 0x00}, {{0x49, 0x00, 0x50, 0x40, 0x00, 0x00}}},
      {{0x09, 0x02}, {with_text({0x49, 0x02, 0x01}, kVin)}},
      {{0x09, 0x04}, {with_text({0x49, 0x04, 0x01}, std::string("BMS-22.4\0\0\0\0\0\0\0\0", 16))}},
      {{0x09, 0x0A}, {with_text({0x49, 0x0A, 0x01}, std::string("MCU\0-MotorControl\0\0\0", 20))}},
  };
  return ecu;
}

inline AskedEcu small_ecu(std::uint32_t response_id) {
  AskedEcu ecu;
  ecu.response_id = response_id;
  ecu.answers = {{{0x01, 0x00}, {{0x41, 0x00, 0x00, 0x08, 0x00, 0x00}}}};
  return ecu;
}

}  // namespace packmile::test
