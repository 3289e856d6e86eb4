// Do the intervals of a fade's slope hold the truth? Two years of charges of made-up
// vans, and nothing else of them: what the pack room makes of such a series.
//
// Input     seeds. Pack, sensor and controller are the bench van's, drawn anew for
//           each seed from the spreads that the intervals state; the pack fades by
//           age and by use, and the controller learns its capacity anew every month,
//           0.3 % (1 sd) beside its constant error (from memory: learning
//           controllers move by parts of a per cent).
// Output    share of 95 % intervals of the slope against age that hold the true one,
//           their median width and the best possible; how often the change is told
//           from the owner's line, and how often wrongly.
// Rests     four hours before and after each charge, after which the controller puts its
//           count right by the cells.
// Best      least squares over the months, their true scatter known.
// Not       a whole logger: the months of coverage_study.py go through that.
#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "benchvan/generator.hpp"
#include "benchvan/sensors.hpp"
#include "benchvan/van_traits.hpp"
#include "pack/assessment.hpp"
#include "pack/robust.hpp"
#include "pack/trend.hpp"
#include "reading/offset_watch.hpp"

namespace packmile {
namespace {

using benchvan::Generator;
using benchvan::PackModel;
using benchvan::Quantity;
using benchvan::Sensors;
using benchvan::Track;
using benchvan::VanTraits;

constexpr UtcTime kStart{std::chrono::sys_days{std::chrono::year{2024} / 3 / 1}};
constexpr int kMonths = 24;
constexpr int kChargesAMonth = 9;
constexpr double kMonthDays = 365.25 / 12;
constexpr double kLearningU = 0.003;
constexpr double kAgeAtStartYears = 1.5;
constexpr double kExpectedPctAYear = 3;
constexpr double kDriveKw = 18;
constexpr double kDriveKmh = 60;
constexpr double kAcKw = 6.5;
constexpr double kDcKw = 42;
constexpr double kRestS = 4 * 3600;

struct Series {
  PackObservations seen;
  std::vector<double> years;  // of each charge since the start
  std::vector<double> true_ah;
};

// A van that drives and charges at constant power, each to a state of charge.
class Legs {
 public:
  Legs(const VanTraits& traits, std::uint64_t seed, double soc_pct)
      : traits_(traits),
        seed_(seed),
        pack_(traits.pack, soc_pct),
        sensors_(traits, seed, soc_pct, 0) {}

  [[nodiscard]] double soc_pct() const { return pack_.soc_pct(); }
  [[nodiscard]] double capacity_ah() const { return pack_.capacity_ah(); }
  [[nodiscard]] double cycles() const { return out_ah_ / traits_.pack.capacity_ah; }
  void fade_to(double ah) { pack_.fade_to(ah); }
  void learn(double believed_ah) {
    const double known_pct = sensors_.controller_soc_pct();
    traits_.believed_ah = believed_ah;
    sensors_ = Sensors(traits_, seed_ ^ ++learnt_, known_pct, odometer_km_);
  }
  // As the van shows it, before and after.
  struct Rest {
    double before_pct = 0, after_pct = 0;
  };
  Rest rest(double ambient_c) {
    Rest rest;
    rest.before_pct = shown_pct(sensors_.controller_soc_pct());
    pack_.rest(kRestS, ambient_c);
    sensors_.rest(kRestS, pack_.soc_pct());
    rest.after_pct = shown_pct(sensors_.controller_soc_pct());
    return rest;
  }
  Track drive(double to_soc_pct, double ambient_c, double step_s) {
    const auto goes_on = [=](double soc_pct) { return soc_pct > to_soc_pct; };
    return leg(kDriveKw, step_s, ambient_c, kDriveKmh, goes_on);
  }
  Track charge(double to_soc_pct, double kw, double ambient_c, double step_s) {
    const auto goes_on = [=](double soc_pct) { return soc_pct < to_soc_pct; };
    return leg(-kw, step_s, ambient_c, 0, goes_on);
  }
  [[nodiscard]] double odometer_km() const { return odometer_km_; }

 private:
  [[nodiscard]] double shown_pct(double pct) const {
    const double step_pct = std::max(traits_.soc_step_pct, kSocStepPct);
    return std::floor(pct / step_pct + 1e-9) * step_pct;
  }
  template <typename GoesOn>
  Track leg(double kw, double step_s, double ambient_c, double kmh, GoesOn goes_on) {
    Track track;
    for (double t_s = 0; goes_on(pack_.soc_pct()); t_s += step_s) {
      const PackModel::Terminals shown = pack_.at_power(kw, ambient_c);
      const double pack_a = shown.pack_a;
      track.time_s.push_back(t_s);
      track.column(Quantity::pack_a).push_back(pack_a);
      track.column(Quantity::pack_v).push_back(shown.pack_v);
      track.column(Quantity::speed_kmh).push_back(kmh);
      track.column(Quantity::soc_pct).push_back(pack_.soc_pct());
      track.column(Quantity::odometer_km).push_back(odometer_km_);
      pack_.flow(pack_a, step_s, ambient_c);
      out_ah_ += std::max(0.0, pack_a) * step_s / 3600;
      odometer_km_ += kmh * step_s / 3600;
    }
    sensors_.show(track, 0, pack_.temp_c(ambient_c));
    return track;
  }

  VanTraits traits_;
  std::uint64_t seed_;
  PackModel pack_;
  Sensors sensors_;
  double out_ah_ = 0;
  double odometer_km_ = 0;
  std::uint64_t learnt_ = 0;
};

// As a logger writes it and the decoder reads it.
ChargeTrace trace_of(const Track& track, UtcTime start, ChargeKind kind, double ambient_c,
                     double odometer_km) {
  ChargeTrace trace;
  trace.kind = kind;
  trace.verdict = CurrentVerdict::agreed;
  trace.ambient_c = std::round(ambient_c);
  trace.odometer_km = odometer_km;
  for (std::size_t i = 0; i < track.time_s.size(); ++i) {
    const std::int64_t t_ms =
        start.time_since_epoch().count() + static_cast<std::int64_t>(track.time_s[i] * 1000);
    trace.push(t_ms, std::round(-track.column(Quantity::pack_a)[i] / kPackAStep) * kPackAStep,
               std::round(track.column(Quantity::pack_v)[i] / kPackVStep) * kPackVStep);
    trace.soc.time_ms.push_back(t_ms);
    trace.soc.raw.push_back(static_cast<std::uint32_t>(
        std::floor(track.column(Quantity::soc_pct)[i] / kSocStepPct + 1e-9)));
  }
  trace.close();
  return trace;
}

// From the rest before a charge to the one after it, as rest.cpp makes it.
RestToRest rest_pair(const ChargeTrace& trace, double from_pct, double to_pct, double step_pct) {
  RestToRest pair;
  pair.start = trace.start;
  pair.end = trace.end;
  pair.ambient_c = trace.ambient_c;
  pair.soc_low_pct = from_pct;
  pair.soc_high_pct = to_pct;
  pair.soc_step_pct = step_pct;
  pair.awake_h = static_cast<double>((trace.end - trace.start).count()) / 3.6e6;
  pair.point.x = (to_pct - from_pct) / 100;
  pair.point.y = trace.ah.back();
  pair.point.t = -pair.awake_h;
  pair.point.u_x = std::sqrt(2.0) * std::hypot(step_pct / 100 / std::sqrt(12.0), kSocAtRestU);
  pair.point.u_y = 0.05;
  return pair;
}

Series live(std::uint64_t seed) {
  benchvan::Mechanisms mechanisms;
  static_cast<void>(benchvan::set_mechanism(mechanisms, benchvan::kDrawn));
  const VanTraits traits = benchvan::draw_traits(mechanisms, seed);
  Generator chance(seed ^ 0x66616465u);
  const double new_ah = traits.pack.capacity_ah;
  const double believed = traits.believed_ah / new_ah;
  Legs legs(traits, seed, 80);
  Series series;
  for (int month = 0; month < kMonths; ++month) {
    const double learnt = 1 + kLearningU * chance.normal();
    for (int k = 0; k < kChargesAMonth; ++k) {
      const double day = (month + (k + 0.5) / kChargesAMonth) * kMonthDays;
      const double years = day / 365.25;
      const double ambient_c =
          11 - 8 * std::cos(years * 2 * std::numbers::pi) + 3 * chance.normal();
      legs.fade_to(new_ah * (1 - (traits.fade_pct_per_year * (kAgeAtStartYears + years) +
                                  traits.fade_pct_per_cycle * legs.cycles()) /
                                     100));
      if (k == 0) legs.learn(believed * learnt * legs.capacity_ah());
      static_cast<void>(legs.drive(chance.between(20, 50), ambient_c, 60));
      const auto [driven_pct, rested_pct] = legs.rest(ambient_c);
      // What rest.cpp takes for a look at the cells: at least two codes for each step.
      const double risen_pct = rested_pct - driven_pct;
      const double most_pct = 2 * std::max(traits.soc_step_pct, kSocStepPct);
      series.seen.rests.n_risen_at_rest += risen_pct > 1e-9 && risen_pct <= most_pct + 1e-9;
      const bool fast = chance.share() < 0.2;
      const double odometer_km = legs.odometer_km();
      const Track track =
          legs.charge(chance.between(80, 95), fast ? kDcKw : kAcKw, ambient_c, fast ? 5 : 20);
      const UtcTime start = kStart + std::chrono::milliseconds{std::llround(day * 86.4e6)};
      const ChargeTrace trace =
          trace_of(track, start, fast ? ChargeKind::dc : ChargeKind::ac, ambient_c, odometer_km);
      series.seen.charges.push_back(measure_charge(trace));
      if (auto profile = profile_charge(trace).profile)
        series.seen.profiles.push_back(std::move(*profile));
      series.years.push_back(years);
      series.true_ah.push_back(legs.capacity_ah());
      const double step_pct = most_pct / 2;
      const auto [charged_pct, settled_pct] = legs.rest(ambient_c);
      // As rest.cpp refuses: a small window, a sleep that moved it by more than a step.
      if (settled_pct - rested_pct >= CapacityRules{}.least_window_pct &&
          std::abs(settled_pct - charged_pct) <= step_pct + 1e-9)
        series.seen.rests.pairs.push_back(rest_pair(trace, rested_pct, settled_pct, step_pct));
    }
  }
  return series;
}

struct Told {
  std::uint64_t seed = 0;
  bool slope_told = false;
  double true_pct = 0;  // lost a year
  Figure slope;
  double month_sd_pct = 0;  // of monthly values about what the pack held
  LineVerdict verdict = LineVerdict::cannot_tell;
  WitnessVerdict witness = WitnessVerdict::too_little;
  std::string reason;
  double apart_pct = 0;  // lost since first logged, less expected
};

// What the reading tells of the offset from charges of unlike power, as
// reading/offset_watch.cpp weighs them; nullopt: not surely enough.
std::optional<SensorOffset> offset_of(const Series& series) {
  std::vector<ChargeRise> rises;
  for (const ChargeCapacity& charge : series.seen.charges) {
    if (!charge.ah.figure) continue;
    ChargeRise rise;
    rise.share = charge.point.x;
    rise.ah = charge.point.y;
    rise.hours = charge.point.t;
    rise.u_share = std::hypot(std::sqrt(2.0) * 0.408 * charge.soc_step_pct / 100, 0.015);
    rise.u_ah = 0.05;
    rises.push_back(rise);
  }
  const auto fit = fit_capacity_and_offset(rises, true);
  if (!fit || fit->u_offset_a > 0.15) return std::nullopt;
  return SensorOffset{-fit->offset_a, fit->u_offset_a};
}

Told study(std::uint64_t seed) {
  Series series = live(seed);
  if (const auto offset = offset_of(series)) series.seen.offsets[0] = *offset;
  PackFacts facts;
  facts.usable_ah = facts.nominal_ah = benchvan::kNominalAh;
  facts.first_used = kStart - std::chrono::days{std::lround(365.25 * kAgeAtStartYears)};
  facts.expectations = {{FadeAxis::age_years, {{20, 20 * kExpectedPctAYear}}}};
  const PackAssessment assessed = assess_pack(series.seen, facts);
  Told told;
  told.seed = seed;
  // The first three months are what both count from.
  double reference_ah = 0;
  constexpr int kReference = 3 * kChargesAMonth;
  for (int i = 0; i < kReference; ++i)
    reference_ah += series.true_ah[static_cast<std::size_t>(i)] / kReference;
  const auto line = fit_line(series.years, series.true_ah);
  if (line) told.true_pct = -100 * line->slope / reference_ah;
  std::vector<double> ratios;
  for (const MonthCapacity& month : assessed.capacity.months) {
    double ah = 0;
    int n = 0;
    for (std::size_t i = 0; i < series.years.size(); ++i) {
      if (month_of(series.seen.charges[i].start, {}) != month.month) continue;
      ah += series.true_ah[i];
      ++n;
    }
    if (n > 0) ratios.push_back(100 * month.ah * n / ah);
  }
  double mean = 0;
  for (const double r : ratios) mean += r / static_cast<double>(ratios.size());
  for (const double r : ratios)
    told.month_sd_pct += (r - mean) * (r - mean) / static_cast<double>(ratios.size() - 1);
  told.month_sd_pct = std::sqrt(told.month_sd_pct);
  for (const FadeRow& row : assessed.fade) {
    if (row.against != FadeAxis::age_years) continue;
    told.slope_told = row.slope_pct_per_unit.figure.has_value();
    if (told.slope_told) told.slope = *row.slope_pct_per_unit.figure;
    told.verdict = row.against_expectation;
    told.witness = row.witness;
    told.reason = row.reason;
    const double span_years = (kMonths - 2.0) / 12;
    // What the line takes from the middle of the first months, of what it leaves there.
    const double then_pct = kExpectedPctAYear * (kAgeAtStartYears + 1.5 / 12);
    told.apart_pct =
        told.true_pct * span_years - 100 * kExpectedPctAYear * span_years / (100 - then_pct);
  }
  return told;
}

}  // namespace
}  // namespace packmile

int main(int argc, char** argv) {
  using namespace packmile;
  std::uint64_t vans = 1000, first = 1, jobs = 2;
  bool check = false, why = false;
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    std::uint64_t* into = word == "--vans"   ? &vans
                          : word == "--seed" ? &first
                          : word == "--jobs" ? &jobs
                                             : nullptr;
    if (word == "--check") {
      check = true;
    } else if (word == "--why") {
      why = true;
    } else if (into != nullptr && i + 1 < argc) {
      ++i;
      const auto read = std::from_chars(argv[i], argv[i] + std::strlen(argv[i]), *into);
      if (read.ec != std::errc{}) return 2;
    } else {
      std::fprintf(
          stderr,
          "usage: packmile_fade_study [--vans N] [--seed N] [--jobs N] [--check] [--why]\n");
      return 2;
    }
  }
  if (vans == 0 || jobs == 0) return 2;
  const auto began = std::chrono::steady_clock::now();
  std::vector<Told> told(vans);
  std::vector<std::jthread> threads;
  for (std::uint64_t job = 0; job < jobs; ++job)
    threads.emplace_back([&, job] {
      for (std::uint64_t i = job; i < vans; i += jobs) told[i] = study(first + i);
    });
  threads.clear();

  double squares = 0;
  std::vector<double> widths;
  std::uint64_t held = 0, n = 0, wrong = 0;
  std::map<std::string_view, std::uint64_t> verdicts;
  for (const Told& one : told) {
    squares += one.month_sd_pct * one.month_sd_pct / static_cast<double>(vans);
    ++verdicts[word_of(one.verdict)];
    const double d = one.apart_pct;
    wrong += (one.verdict == LineVerdict::better && d > 0) ||
             (one.verdict == LineVerdict::worse && d < 0) ||
             (one.verdict == LineVerdict::on && std::abs(d) > kExpectationBandPct);
    if (!one.slope_told) continue;
    ++n;
    held += one.slope.low <= one.true_pct && one.true_pct <= one.slope.high;
    widths.push_back(one.slope.high - one.slope.low);
  }
  // Sum of (month - mean)^2 of so many months, in years^2.
  const double spread = kMonths * (kMonths * kMonths - 1.0) / 12 / 144;
  const double best = 2 * kZ95 * std::sqrt(squares / spread);
  const double share = n > 0 ? 100.0 * static_cast<double>(held) / static_cast<double>(n) : 0;
  const double by_chance = n > 0 ? 196 * std::sqrt(0.95 * 0.05 / static_cast<double>(n)) : 0;
  const double width = median_of(widths);
  std::printf("seeds %llu..%llu: %d months of %d charges each\n",
              static_cast<unsigned long long>(first),
              static_cast<unsigned long long>(first + vans - 1), kMonths, kChargesAMonth);
  std::printf(
      "slope against age told for %llu of %llu vans; 95 %% intervals that hold the truth: "
      "%.1f %% (95.0 +-%.1f by chance)\n",
      static_cast<unsigned long long>(n), static_cast<unsigned long long>(vans), share, by_chance);
  std::printf(
      "width, median: %.2f points a year; the best possible: %.2f (months scatter by %.2f "
      "%%)\n",
      width, best, std::sqrt(squares));
  std::printf("against a line of %.0f points a year:", kExpectedPctAYear);
  for (const auto& [word, count] : verdicts)
    std::printf(" %.*s %llu", static_cast<int>(word.size()), word.data(),
                static_cast<unsigned long long>(count));
  std::printf("; wrong: %llu\n", static_cast<unsigned long long>(wrong));
  std::map<std::string_view, std::uint64_t> untold;
  for (const Told& one : told)
    if (one.verdict == LineVerdict::cannot_tell) ++untold[word_of(one.witness)];
  std::printf("cannot tell, by what the witness says:");
  for (const auto& [word, count] : untold)
    std::printf(" %.*s %llu", static_cast<int>(word.size()), word.data(),
                static_cast<unsigned long long>(count));
  std::printf("\n");
  if (why)
    for (const Told& one : told)
      if (one.verdict == LineVerdict::cannot_tell)
        std::printf("  seed %llu: %s\n", static_cast<unsigned long long>(one.seed),
                    one.reason.c_str());
  std::printf("%.0f s\n",
              std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count());
  if (!check) return 0;
  // What a few seeds can tell: with 95 % right 20 of them hold fewer than 16 once
  // in 400 times.
  const bool few = n < vans || share < 80;
  const bool useless = !(width < 3 * best);
  // A right controller with two years of charges is told, but for a few.
  const bool left_open =
      verdicts[word_of(LineVerdict::cannot_tell)] * 5 > vans || wrong * 10 > vans;
  if (left_open) std::printf("FAILED: too many vans in cannot tell, or told wrongly\n");
  if (few) std::printf("FAILED: too few intervals hold the truth, or slopes are missing\n");
  if (useless) std::printf("FAILED: more than three times as wide as the best possible\n");
  return few || useless || left_open ? 1 : 0;
}
