// One van's days through the logger onto a card, as a plan of acts has them.
#pragma once
#include <cstdint>
#include <optional>
#include <string>

#include "benchvan/bench.hpp"
#include "benchvan/month_plan.hpp"
#include "benchvan/run_identity.hpp"

namespace packmile::benchvan {

struct VanRunSetup {
  std::string card;  // a log file that is not there yet
  std::uint64_t card_bytes = 0;
  std::string lines{};                   // every line of the logger into this file; empty: none
  std::int64_t start_unix_ms = 0;        // of bench time 0, and of the card's preparation
  bool clock = true;                     // the logger can read one
  bool speed_cut = false;                // of the speed's code, never rounded
  bool direct = false;                   // no line, no adapter, no ISO-TP
  Answers answers = Answers::service01;  // or none
  std::optional<std::uint32_t> poll_period_ms{};  // absent: the logger's own schedule
  Faults faults{};
};

struct VanRunCounts {
  BenchCounts bench;
  std::uint64_t sectors = 0;  // written
};

// Lives through the whole plan. Throws BenchError; refuses a card that exists.
[[nodiscard]] VanRunCounts run_van(const MonthVan& van, MonthPlan& plan,
                                   const RunIdentity& identity, const VanRunSetup& setup);

}  // namespace packmile::benchvan
