// A driver, a slot and virtual time: what a port's turn is to the card.
#pragma once
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdint>
#include <optional>
#include <vector>

#include "cortex_m/sd_card.hpp"
#include "simulated_card.hpp"

namespace packmile::testing {

// Fields of a card of each kind; their sectors are worked out in
// sd_capacity_test.cpp.
inline SimulatedCard card_of(SimulatedKind kind, std::uint32_t serial = 1) {
  switch (kind) {
    case SimulatedKind::sdsc_v1:
      return {kind, csd_1(2000, 3, 9), cid_of(serial), 64'032};
    case SimulatedKind::sdsc_v2:
      return {kind, csd_1(4095, 7, 10), cid_of(serial), 4'194'304};
    case SimulatedKind::sdhc:
      return {kind, csd_2(0x3B37), cid_of(serial), 15'523'840};
    case SimulatedKind::sdxc:
      break;
  }
  return {kind, csd_2(0x3FFFFF), cid_of(serial), 0x1'0000'0000};
}

inline constexpr SimulatedKind kAllKinds[] = {SimulatedKind::sdsc_v1, SimulatedKind::sdsc_v2,
                                              SimulatedKind::sdhc, SimulatedKind::sdxc};

inline CardBlock block_of(std::uint32_t seed) {
  CardBlock block{};
  std::mt19937 random(seed);
  for (std::uint8_t& byte : block) byte = static_cast<std::uint8_t>(random());
  return block;
}

class CardBench {
 public:
  using Driver = cortex_m::SdCard<SimulatedSlot>;

  // The next step of the driver, when it is due by `until`. False: it is not.
  bool step(Tick until) {
    const Tick due = driver->deadline();
    if (due > until) return false;
    if (due == 0 && !fresh) return false;  // an answer waits to be taken
    if (due > 0) fresh = false;
    // Without a step in time the driver may ask for a handful of calls, no more.
    calls_in_ms = due > now ? 0 : calls_in_ms + 1;
    REQUIRE(calls_in_ms < 20);
    now = std::max(now, due);
    const std::size_t before = slot.exchanges;
    driver->on_time(now);
    most_exchanges = std::max(most_exchanges, slot.exchanges - before);
    return true;
  }
  void run_until(Tick until) {
    calls_in_ms = 0;
    while (step(until)) {
    }
    now = std::max(now, until);
  }
  bool run_until_ready(Tick within_ms) {
    const Tick until = now + within_ms;
    calls_in_ms = 0;
    while (driver->state() != cortex_m::CardState::ready && step(until)) {
    }
    return driver->state() == cortex_m::CardState::ready;
  }

  // No answer within kSdAnswerMs is a failure of the test.
  CardAnswer ask(const CardRequest& request) {
    const Tick until = now + cortex_m::kSdAnswerMs;
    calls_in_ms = 0;
    driver->begin(now, request);
    std::optional<CardAnswer> answer = driver->take_answer();
    while (!answer && step(until)) answer = driver->take_answer();
    REQUIRE(answer);
    CHECK_FALSE(driver->take_answer());
    return *answer;
  }
  bool write(std::uint32_t address, const CardBlock& content) {
    return ask({.operation = CardOperation::write, .address = address, .sector = content.data()})
        .ok;
  }
  std::optional<CardBlock> read(std::uint32_t address) {
    const CardAnswer answer = ask({.operation = CardOperation::read, .address = address});
    if (!answer.ok) return std::nullopt;
    REQUIRE(answer.sector != nullptr);
    CardBlock block{};
    std::copy_n(answer.sector, block.size(), block.begin());
    return block;
  }

  // The machine starts again; the card does not.
  void restart_machine() {
    driver.emplace(slot);
    fresh = true;
  }

  Tick now = 0;
  SimulatedSlot slot{now};
  std::optional<Driver> driver{std::in_place, slot};
  std::size_t most_exchanges = 0;
  int calls_in_ms = 0;
  bool fresh = true;
};

// A bench with a card in it that is ready, and whose first write was read back.
class ReadyCard : public CardBench {
 public:
  explicit ReadyCard(SimulatedKind kind = SimulatedKind::sdhc) : card(card_of(kind)) {
    slot.insert(card);
    REQUIRE(run_until_ready(1'000));
    REQUIRE(write(1, block_of(1)));
    card.commands.clear();
    card.programmed.clear();
    most_exchanges = 0;
  }
  [[nodiscard]] auto count(int index) const {
    return std::count(card.commands.begin(), card.commands.end(), index);
  }

  SimulatedCard card;
};

}  // namespace packmile::testing
