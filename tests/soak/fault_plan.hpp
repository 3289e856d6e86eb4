// Which faults there are at which moment of a soak: drawn from a seed, each for a
// random while, several at once now and then.
#pragma once
#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "benchvan/bench_time.hpp"
#include "benchvan/clockwork.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/generator.hpp"

namespace packmile::soak {

// Everything that is wrong at one moment.
struct Troubles {
  benchvan::Faults faults{};
  bool supply_unknown = false;
  benchvan::CardTrouble card{};
};

class FaultPlan {
 public:
  explicit FaultPlan(std::uint64_t seed);
  // When the troubles change next.
  [[nodiscard]] benchvan::Nanos next_change_ns() const;
  // What is wrong from now on; call at next_change_ns().
  [[nodiscard]] Troubles at(benchvan::Nanos now_ns);
  struct Count {
    std::string name;
    std::uint64_t times = 0;
    double hours = 0;
  };
  [[nodiscard]] const std::vector<Count>& counts() const { return counts_; }

 private:
  struct Episode {
    std::size_t kind;
    benchvan::Nanos until_ns;
    benchvan::Nanos busy_ns;  // of the card
  };

  benchvan::Generator generator_;
  benchvan::Nanos next_begin_ns_;
  std::vector<Episode> going_on_;
  std::vector<Count> counts_;
};

}  // namespace packmile::soak
