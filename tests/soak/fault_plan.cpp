#include "soak/fault_plan.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace packmile::soak {
namespace {

using benchvan::kNanosPerMs;
using benchvan::Nanos;
using benchvan::nanos_of_seconds;

constexpr std::string_view kSupplyUnknown = "supply-unknown";
constexpr std::string_view kCardSlow = "card-slow";
constexpr std::string_view kCardRefuses = "card-refuses";

struct Kind {
  std::string_view name;  // of the bench, or one of the above
  unsigned share;         // how often against the others
  double shortest_s, longest_s;
};
// What a van is by its make (ids, bit rate, what it can answer) is drawn once, not
// here. Another tester is rare: each visit costs ten minutes of silence.
constexpr std::array kKinds{
    Kind{"z-confirm", 2, 5, 1800},        Kind{"bus-traffic", 3, 5, 3600},
    Kind{"no-ack-asleep", 1, 60, 7200},   Kind{"pids-reversed", 1, 5, 600},
    Kind{"response-pending", 2, 5, 900},  Kind{"pending-chain", 1, 5, 300},
    Kind{"ecu-silent", 2, 0.2, 900},      Kind{"ecu-stops", 2, 0.2, 300},
    Kind{"ecu-49ms", 2, 5, 900},          Kind{"ecu-51ms", 2, 5, 900},
    Kind{"ecu-500ms", 1, 1, 300},         Kind{"ecus-differ", 1, 5, 900},
    Kind{"wrong-sequence", 2, 5, 600},    Kind{"wrong-length", 2, 5, 600},
    Kind{"short-last-frame", 1, 5, 900},  Kind{"stays-awake", 2, 60, 86400},
    Kind{"bus-off", 2, 0.1, 120},         Kind{"dead-bus", 1, 0.1, 300},
    Kind{"foreign-tester", 1, 0.2, 60},   Kind{"adapter-resets", 2, 1, 900},
    Kind{"adapter-half-line", 3, 1, 600}, Kind{"adapter-late", 2, 1, 600},
    Kind{"adapter-echo", 2, 1, 900},      Kind{"adapter-flood", 1, 0.5, 60},
    Kind{"adapter-mute", 2, 1, 600},      Kind{"supply-low", 1, 1, 1800},
    Kind{kSupplyUnknown, 1, 60, 36000},   Kind{kCardSlow, 3, 5, 900},
    Kind{kCardRefuses, 2, 0.1, 60},
};
// Between two beginnings.
constexpr double kMeanPauseS = 300;
// How long a slow card takes over one write, at the longest.
constexpr double kSlowestWriteMs = 4000;

}  // namespace

FaultPlan::FaultPlan(std::uint64_t seed)
    : generator_(seed), next_begin_ns_(nanos_of_seconds(generator_.between(1, kMeanPauseS))) {
  for (const Kind& kind : kKinds) counts_.push_back({.name = std::string(kind.name)});
}

Nanos FaultPlan::next_change_ns() const {
  Nanos next_ns = next_begin_ns_;
  for (const Episode& one : going_on_) next_ns = std::min(next_ns, one.until_ns);
  return next_ns;
}

Troubles FaultPlan::at(Nanos now_ns) {
  std::erase_if(going_on_, [&](const Episode& one) { return one.until_ns <= now_ns; });
  while (next_begin_ns_ <= now_ns) {
    unsigned shares = 0;
    for (const Kind& kind : kKinds) shares += kind.share;
    auto drawn = static_cast<unsigned>(generator_.below(shares));
    std::size_t index = 0;
    while (drawn >= kKinds[index].share) drawn -= kKinds[index++].share;
    const Kind& kind = kKinds[index];
    // As many short ones as long ones: even in the logarithm.
    const double for_s =
        kind.shortest_s * std::pow(kind.longest_s / kind.shortest_s, generator_.share());
    const double busy_ms = std::pow(kSlowestWriteMs, generator_.share());
    going_on_.push_back(
        {.kind = index,
         .until_ns = now_ns + nanos_of_seconds(for_s),
         .busy_ns = static_cast<Nanos>(busy_ms * static_cast<double>(kNanosPerMs))});
    ++counts_[index].times;
    counts_[index].hours += for_s / 3600;
    next_begin_ns_ += nanos_of_seconds(-kMeanPauseS * std::log(1 - generator_.share())) + 1;
  }
  Troubles troubles;
  for (const Episode& one : going_on_) {
    const std::string_view name = kKinds[one.kind].name;
    if (name == kSupplyUnknown) {
      troubles.supply_unknown = true;
    } else if (name == kCardSlow) {
      troubles.card.busy_ns = one.busy_ns;
    } else if (name == kCardRefuses) {
      troubles.card.refuses_writes = true;
    } else {
      (void)set_fault(troubles.faults, name);
    }
  }
  return troubles;
}

}  // namespace packmile::soak
