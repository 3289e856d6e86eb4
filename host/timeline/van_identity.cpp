#include "timeline/van_identity.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>
#include <tuple>

#include "timeline/odometer_span.hpp"

namespace packmile {
namespace {

constexpr double kMsInHour = 3'600'000;
// How far an odometer may go on between two readings of one van: a drive that
// was not logged, and no more than this an hour, day and night (common practice,
// no source).
constexpr double kUnseenKm = 5;
constexpr double kMostKmPerHour = 40;
// Two ECUs round differently.
constexpr double kBackwardsKm = 1;
// With less sure a clock nothing can be said of what came before what.
constexpr std::int64_t kSureClockMs = 48LL * 3'600'000;

// More of either is a forged archive; what is beyond is kept apart.
constexpr std::size_t kMostVans = 1000;
constexpr std::size_t kMostBootsDecoded = 20'000;
// Boots that are asked for their odometer on each side, the nearest first.
constexpr std::size_t kMostNeighbours = 64;

enum class Evidence { fits, contradicts, none };

std::int64_t start_ms_of(const Boot& boot) {
  return boot.clock_offset_ms + static_cast<std::int64_t>(boot.first_tick);
}
std::int64_t end_ms_of(const Boot& boot) {
  return boot.clock_offset_ms + static_cast<std::int64_t>(boot.last_tick);
}

bool tells_odometer(const Boot& boot) {
  return boot.has_samples && boot.series_ecu.odometer != 0 &&
         boot.clock_uncertainty_ms < kSureClockMs;
}

// Can the odometer have gone from one reading to the later one?
bool continues(double before_km, double behind_km, std::int64_t elapsed_ms) {
  const double km = behind_km - before_km;
  const double hours = static_cast<double>(std::max<std::int64_t>(0, elapsed_ms)) / kMsInHour;
  return km >= -kBackwardsKm && km <= kUnseenKm + kMostKmPerHour * hours;
}

// Boots of one log that follow each other, none with a VIN, all with the same
// ECUs.
struct Stretch {
  std::size_t log = 0;
  std::size_t begin = 0;
  std::size_t end = 0;
};

bool same_ecus(const Boot& a, const Boot& b) {
  // A boot in which nothing was asked says nothing.
  if (a.ecus.empty() || b.ecus.empty()) return true;
  return std::equal(a.ecus.begin(), a.ecus.end(), b.ecus.begin(), b.ecus.end(),
                    [](const EcuFacts& x, const EcuFacts& y) {
                      return x.response_id == y.response_id && x.name == y.name &&
                             x.calibration_id == y.calibration_id;
                    });
}

class Teller {
 public:
  Teller(std::vector<LogBoots>& logs, const SectorSource& source, const NameOwners& owners)
      : logs_(logs), source_(source), owners_(owners) {
    for (const LogBoots& log : logs_) {
      for (const Boot& boot : log.boots) {
        if (boot.vin.empty()) continue;
        KnownVan& van = known_[boot.vin];
        van.boots.push_back(&boot);
        for (const EcuFacts& ecu : boot.ecus) {
          if (ecu.calibration_id.empty()) continue;
          van.calibrations.emplace(ecu.response_id, ecu.name, ecu.calibration_id);
          van.ecus.insert(ecu.response_id);
        }
      }
    }
    for (auto& [vin, van] : known_)
      std::sort(van.boots.begin(), van.boots.end(), [](const Boot* a, const Boot* b) {
        return std::pair(start_ms_of(*a), a->boot_id) < std::pair(start_ms_of(*b), b->boot_id);
      });
  }

  Result<std::vector<std::vector<VanTold>>> tell() {
    std::vector<std::vector<VanTold>> told;
    for (std::size_t k = 0; k < logs_.size(); ++k) {
      const LogBoots& log = logs_[k];
      told.emplace_back(log.boots.size(), VanTold::read);
      std::set<std::string> in_log;
      for (const Boot& boot : log.boots)
        if (!boot.vin.empty()) in_log.insert(boot.vin);
      for (std::size_t begin = 0; begin < log.boots.size();) {
        std::size_t end = begin + 1;
        if (log.boots[begin].vin.empty()) {
          while (end < log.boots.size() && log.boots[end].vin.empty() &&
                 log.boots[end].settings_van == log.boots[begin].settings_van &&
                 same_ecus(log.boots[begin], log.boots[end]))
            ++end;
          auto one = tell_stretch({k, begin, end}, in_log);
          if (!one) return one.error();
          std::fill(told.back().begin() + static_cast<std::ptrdiff_t>(begin),
                    told.back().begin() + static_cast<std::ptrdiff_t>(end), *one);
        }
        begin = end;
      }
    }
    // Only now: what was told is no evidence for the next one.
    for (const auto& [stretch, vin] : decided_)
      for (std::size_t i = stretch.begin; i < stretch.end; ++i)
        logs_[stretch.log].boots[i].vin = vin;
    return told;
  }

 private:
  struct KnownVan {
    std::vector<const Boot*> boots;  // in order of time
    // Every calibration that the van was ever seen with: a workshop changes them.
    std::set<std::tuple<std::uint32_t, std::string, std::string>> calibrations;
    std::set<std::uint32_t> ecus;
  };

  Result<VanTold> tell_stretch(const Stretch& stretch, const std::set<std::string>& in_log) {
    const LogBoots& log = logs_[stretch.log];
    const std::string& name = log.boots[stretch.begin].settings_van;
    const auto owner = owners_.vin_of_name.find(name);
    std::string likely;
    if (in_log.size() == 1)
      likely = *in_log.begin();
    else if (in_log.empty() && !name.empty() && owner != owners_.vin_of_name.end())
      likely = owner->second;
    bool contradicted = false;
    if (!likely.empty()) {
      auto odometer = odometer_fits(stretch, likely);
      if (!odometer) return odometer.error();
      contradicted =
          ecus_fit(stretch, likely) == Evidence::contradicts || *odometer == Evidence::contradicts;
      if (!contradicted) {
        decided_.emplace_back(stretch, likely);
        return VanTold::inferred;
      }
    } else if (in_log.empty() && !name.empty()) {
      return VanTold::name;
    }
    std::string fitting;
    if (known_.size() > kMostVans) return VanTold::not_told;
    for (const auto& [vin, van] : known_) {
      if (vin == likely || ecus_fit(stretch, vin) != Evidence::fits) continue;
      auto odometer = odometer_fits(stretch, vin);
      if (!odometer) return odometer.error();
      if (*odometer != Evidence::fits) continue;
      if (!fitting.empty()) return VanTold::not_told;  // two vans could be it
      fitting = vin;
    }
    if (fitting.empty()) return VanTold::not_told;
    decided_.emplace_back(stretch, fitting);
    return VanTold::evidence;
  }

  Evidence ecus_fit(const Stretch& stretch, const std::string& vin) const {
    const auto found = known_.find(vin);
    if (found == known_.end()) return Evidence::none;
    const KnownVan& van = found->second;
    bool common = false;
    for (std::size_t i = stretch.begin; i < stretch.end; ++i) {
      for (const EcuFacts& ecu : logs_[stretch.log].boots[i].ecus) {
        if (ecu.calibration_id.empty() || !van.ecus.contains(ecu.response_id)) continue;
        if (!van.calibrations.contains({ecu.response_id, ecu.name, ecu.calibration_id}))
          return Evidence::contradicts;
        common = true;
      }
    }
    return common ? Evidence::fits : Evidence::none;
  }

  // Against the van's last reading before the stretch and its first one behind.
  Result<Evidence> odometer_fits(const Stretch& stretch, const std::string& vin) {
    const auto found = known_.find(vin);
    if (found == known_.end()) return Evidence::none;
    const auto& boots = logs_[stretch.log].boots;
    std::size_t first = stretch.begin;
    while (first < stretch.end && !tells_odometer(boots[first])) ++first;
    if (first == stretch.end) return Evidence::none;
    std::size_t last = stretch.end - 1;
    while (!tells_odometer(boots[last])) --last;
    const Boot* before = nullptr;
    const Boot* behind = nullptr;
    // The nearest boots that tell it: of a few, so that a card of endless boots
    // takes no time.
    const auto& known = found->second.boots;
    const auto starts_by = [&](std::int64_t ms) {
      return std::partition_point(known.begin(), known.end(),
                                  [&](const Boot* boot) { return start_ms_of(*boot) < ms; }) -
             known.begin();
    };
    const auto from = static_cast<std::size_t>(starts_by(start_ms_of(boots[first])));
    for (std::size_t k = 0; k < kMostNeighbours && k < from && !before; ++k) {
      const Boot* const boot = known[from - 1 - k];
      if (tells_odometer(*boot) && end_ms_of(*boot) <= start_ms_of(boots[first])) before = boot;
    }
    const auto to = static_cast<std::size_t>(starts_by(end_ms_of(boots[last])));
    for (std::size_t k = to; k < known.size() && k < to + kMostNeighbours && !behind; ++k)
      if (tells_odometer(*known[k])) behind = known[k];
    Evidence evidence = Evidence::none;
    for (const auto& [earlier, later] :
         {std::pair{before, &boots[first]}, std::pair{&boots[last], behind}}) {
      if (!earlier || !later) continue;
      if (decoded_ >= kMostBootsDecoded) return Evidence::contradicts;
      decoded_ += 2;
      auto left = odometer_of(source_, *earlier);
      if (!left) return left.error();
      auto came = odometer_of(source_, *later);
      if (!came) return came.error();
      if (!*left || !*came) continue;
      const std::int64_t elapsed_ms = start_ms_of(*later) - end_ms_of(*earlier) +
                                      earlier->clock_uncertainty_ms + later->clock_uncertainty_ms;
      if (!continues((*left)->last_km(), (*came)->first_km(), elapsed_ms))
        return Evidence::contradicts;
      evidence = Evidence::fits;
    }
    return evidence;
  }

  std::vector<LogBoots>& logs_;
  const SectorSource& source_;
  const NameOwners& owners_;
  std::map<std::string, KnownVan> known_;  // by VIN
  std::size_t decoded_ = 0;
  std::vector<std::pair<Stretch, std::string>> decided_;
};

}  // namespace

NameOwners name_owners(const std::vector<LogBoots>& logs,
                       const std::map<std::string, std::string>& fleet) {
  NameOwners owners{fleet};
  std::map<std::string, std::pair<std::int64_t, std::string>> first;
  for (const LogBoots& log : logs) {
    for (const Boot& boot : log.boots) {
      if (boot.vin.empty() || boot.settings_van.empty()) continue;
      const std::pair seen{start_ms_of(boot), boot.vin};
      const auto [at, is_new] = first.try_emplace(boot.settings_van, seen);
      if (!is_new) at->second = std::min(at->second, seen);
    }
  }
  for (const auto& [name, seen] : first) owners.vin_of_name.try_emplace(name, seen.second);
  return owners;
}

Result<std::vector<std::vector<VanTold>>> tell_vans(std::vector<LogBoots>& logs,
                                                    const SectorSource& source,
                                                    const NameOwners& owners) {
  std::map<std::uint32_t, std::string> by_tag;
  for (const LogBoots& log : logs)
    for (const Boot& boot : log.boots)
      if (!boot.vin.empty()) by_tag[van_tag_of(boot.vin)] = boot.vin;
  for (LogBoots& log : logs) {
    for (std::size_t i = 0; i < log.boots.size(); ++i) {
      if (!log.boots[i].vin.empty() || log.van_tags[i] == 0) continue;
      const auto tagged = by_tag.find(log.van_tags[i]);
      if (tagged != by_tag.end()) log.boots[i].vin = tagged->second;
    }
  }
  return Teller(logs, source, owners).tell();
}

}  // namespace packmile
