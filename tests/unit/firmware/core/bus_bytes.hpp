// Short spellings for the frames and lines of the bus tests.
#pragma once
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/can_frame.hpp"
#include "core/slcan.hpp"

namespace packmile::test {

using Bytes = std::vector<std::uint8_t>;

inline CanFrame frame_of(std::uint32_t id, bool extended,
                         std::initializer_list<std::uint8_t> data) {
  CanFrame frame;
  frame.id = id;
  frame.extended = extended;
  for (const std::uint8_t byte : data) frame.data[frame.length++] = byte;
  return frame;
}

// DLC 8, filled up with CC.
inline CanFrame padded(std::uint32_t id, bool extended, const Bytes& data) {
  CanFrame frame;
  frame.id = id;
  frame.extended = extended;
  frame.length = 8;
  frame.data.fill(0xCC);
  for (std::size_t i = 0; i < data.size() && i < 8; ++i) frame.data[i] = data[i];
  return frame;
}

// The frames of one message as an ECU sends them, written from the rules of
// ISO 15765-2; the flow control between the first two is not among them.
inline std::vector<CanFrame> segmented(std::uint32_t id, bool extended, const Bytes& message) {
  std::vector<CanFrame> frames;
  if (message.size() < 8) {
    Bytes data{static_cast<std::uint8_t>(message.size())};
    data.insert(data.end(), message.begin(), message.end());
    frames.push_back(padded(id, extended, data));
    return frames;
  }
  Bytes data{static_cast<std::uint8_t>(0x10 | message.size() >> 8),
             static_cast<std::uint8_t>(message.size() & 0xFF)};
  data.insert(data.end(), message.begin(), message.begin() + 6);
  frames.push_back(padded(id, extended, data));
  for (std::size_t at = 6, number = 1; at < message.size(); at += 7, ++number) {
    data = {static_cast<std::uint8_t>(0x20 | (number & 0xF))};
    for (std::size_t i = at; i < at + 7 && i < message.size(); ++i) data.push_back(message[i]);
    frames.push_back(padded(id, extended, data));
  }
  return frames;
}

inline Bytes bytes_of(std::string_view text) { return Bytes(text.begin(), text.end()); }

// All events of `text`, a fresh reader for each call.
inline std::vector<SlcanEvent> events_of(std::string_view text) {
  SlcanReader reader;
  std::vector<SlcanEvent> events;
  for (const char c : text)
    if (const auto event = reader.on_byte(static_cast<std::uint8_t>(c))) events.push_back(*event);
  return events;
}

}  // namespace packmile::test
