// What a boot has left on the card, read by libprotobuf and nothing of the host.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "tick.hpp"

namespace packmile::soak {

struct CardSample {
  Tick tick = 0;
  std::uint32_t ecu = 0;
  std::uint32_t raw = 0;
  std::uint16_t signal = 0;
};

// Counters of the last session record, and what the records say together.
struct CardBoot {
  std::vector<CardSample> samples{};
  std::uint64_t sectors = 0;
  std::uint64_t dropped_samples = 0;  // sum of Record.dropped_samples
  bool has_counters = false;
  bool clean_stop = false;
  std::uint32_t requests = 0, timeouts = 0, isotp_dropped = 0, lines_discarded = 0,
                pending_responses = 0, foreign_tester_events = 0, card_write_failures = 0,
                counted_dropped = 0;
  std::string trouble{};  // what cannot be; empty: nothing
};

class CardReading {
 public:
  explicit CardReading(std::string path) : path_(std::move(path)) {}
  // The sectors since the last call: of one boot, none blank, in their places.
  [[nodiscard]] CardBoot read_boot();

 private:
  std::string path_;
  std::uint64_t next_address_ = 32;  // behind the head
};

}  // namespace packmile::soak
