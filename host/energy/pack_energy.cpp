#include "energy/pack_energy.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "energy/slow_signals.hpp"
#include "energy/soc_energy.hpp"

namespace packmile {
namespace {

constexpr std::size_t kLeastPairs = 10;
constexpr std::int64_t kFrozenMs = 60'000;
constexpr double kLowCoverage = 0.5;
// Held values: the word keeps for more than 2.5 answers and then jumps by more
// than its own step. A current that is truly steady moves by one code.
constexpr int kHeldTenthsA = 50;
constexpr std::size_t kHeldFewest = 30;
constexpr std::size_t kHeldMost = 4'096;  // more would tell nothing new
constexpr std::size_t kHeldAnswers = 2;
constexpr double kHeldJumpSteps = 2;
constexpr double kHalfStep = 0.5;  // steps need not be whole codes

// SoC against current. A controller's filter lags by up to five codes on
// measured drives that are sound; eight codes are three points of charge.
// Common practice, no source.
constexpr double kApartShare = 4.0 / 3;
constexpr double kApartCodes = 8;
constexpr double kPartCodes = 6;
// Where one step of the controller is long, two of them tell nothing yet.
constexpr double kApartSteps = 2;
constexpr unsigned kFallenCodes = 2;

// Filling, by the length of the gap; widths found on modelled and measured
// drives.
constexpr double kShortGapS = 10;
constexpr double kLongGapS = 600;
constexpr double kStandingGapU = 0.1;
constexpr double kUnseenPauseU = 0.5;  // common practice, no source

double short_gap_u_kwh(double seconds) { return 1.1e-3 * std::pow(seconds, 1.34); }
double drive_gap_u_kwh(double seconds) { return 40e-3 * std::pow(seconds / 10, 0.8); }

// A step of the current shows in the voltage at once. How large a step counts, how
// many are asked for and by how much a later row has to say more than the same one:
// common practice, no source.
constexpr std::size_t kLagMostRows = 6;
constexpr std::size_t kLagRows = 8'192;  // more would tell nothing new
constexpr std::size_t kLagLeastSteps = 200;
constexpr int kLagStepTenthsA = 20;
constexpr double kLagApart = 1.3;

// Sums of (step of the current) * (fall of the voltage k rows later): largest at
// k = 0 where the two are of one moment.
bool voltage_lags(const PackRows& rows, std::size_t from, std::size_t to) {
  to = std::min(to, from + kLagRows);
  std::array<double, kLagMostRows + 1> sums{};
  std::size_t steps = 0;
  for (std::size_t i = from + 1; i + kLagMostRows <= to; ++i) {
    const int step = rows.tenths_a[i] - rows.tenths_a[i - 1];
    if (std::abs(step) < kLagStepTenthsA) continue;
    // Rows that came at one pace.
    const std::int64_t pace_ms = rows.time_ms[i] - rows.time_ms[i - 1];
    const auto span_ms = static_cast<double>(rows.time_ms[i + kLagMostRows] - rows.time_ms[i - 1]);
    const double even_ms = static_cast<double>(pace_ms) * (kLagMostRows + 1);
    if (std::abs(span_ms - even_ms) > even_ms / 4) continue;
    ++steps;
    for (std::size_t k = 0; k <= kLagMostRows; ++k) {
      const int fall =
          static_cast<int>(rows.v_raw[i + k - 1]) - static_cast<int>(rows.v_raw[i + k]);
      sums[k] += static_cast<double>(step) * fall;
    }
  }
  if (steps < kLagLeastSteps) return false;
  const double later = *std::max_element(sums.begin() + 1, sums.end());
  return later > 0 && later > kLagApart * sums[0];
}

struct CodePoint {
  double code;  // of 100/255 %
  double ah;    // given by the pack so far
};

// Charge that the pack gave up to a moment of the segment; moments must not go
// backwards. Pauses are bridged.
class ChargeWalk {
 public:
  ChargeWalk(const PackRows& rows, const Segment& segment)
      : rows_(rows), row_(segment.row_from), last_(segment.row_to) {}
  double ah_at(std::int64_t t_ms) {
    const std::int64_t* time_ms = rows_.time_ms.data();
    const std::int16_t* tenths = rows_.tenths_a.data();
    for (; row_ < last_ && time_ms[row_] < t_ms; ++row_) {
      sum_ += static_cast<std::int64_t>(tenths[row_] + tenths[row_ + 1]) *
              (time_ms[row_ + 1] - time_ms[row_]);
    }
    return static_cast<double>(sum_) / 2 * kAhPerRaw;
  }

 private:
  const PackRows& rows_;
  std::size_t row_;
  std::size_t last_;
  std::int64_t sum_ = 0;
};

// step_codes: one step of the van's, in codes.
bool apart(double ah, double codes, double ah_per_code, double step_codes) {
  if (std::abs(codes) < std::max(kPartCodes, kApartSteps * step_codes) || ah_per_code <= 0)
    return false;
  const double ratio = ah / codes / ah_per_code;
  const double excess_codes = std::abs(ah / ah_per_code - codes);
  return excess_codes >= std::max(kApartCodes, kApartSteps * step_codes) &&
         (ratio > kApartShare || ratio < 1 / kApartShare);
}

// Charge per code differs between the part before and the part after some
// change of the code, or between one of them and the nominal capacity.
bool parts_disagree(const std::vector<CodePoint>& points, std::optional<double> nominal_ah,
                    double step_codes) {
  if (points.size() < 3) return false;
  const CodePoint& first = points.front();
  const CodePoint& last = points.back();
  const auto against_nominal = [&](double ah, double codes) {
    return nominal_ah.has_value() && apart(ah, codes, *nominal_ah / 255, step_codes);
  };
  for (const CodePoint& cut : points) {
    const double head_codes = first.code - cut.code;
    const double head_ah = cut.ah - first.ah;
    const double tail_codes = cut.code - last.code;
    const double tail_ah = last.ah - cut.ah;
    if (against_nominal(head_ah, head_codes) || against_nominal(tail_ah, tail_codes)) return true;
    if (std::abs(head_codes) < kPartCodes || std::abs(tail_codes) < kPartCodes) continue;
    // The longer part tells what a code is worth.
    const bool head_is_part = std::abs(head_codes) <= std::abs(tail_codes);
    const double worth = head_is_part ? tail_ah / tail_codes : head_ah / head_codes;
    if (head_is_part ? apart(head_ah, head_codes, worth, step_codes)
                     : apart(tail_ah, tail_codes, worth, step_codes)) {
      return true;
    }
  }
  return false;
}

// A controller whose count ran ahead stands still until the pack has caught up, most of
// all near full, where the voltage tells it so: as much as it may be wrong by is no
// contradiction, and in a large pack that is more than the least of stuck_ah().
double stuck_ah_of(const std::vector<CodePoint>& points, std::optional<double> nominal_ah,
                   double step_pct) {
  double ah_per_code = 0;
  if (nominal_ah) {
    ah_per_code = *nominal_ah / 255;
  } else if (points.size() >= 2) {
    const double codes = points.front().code - points.back().code;
    const double ah = points.back().ah - points.front().ah;
    if (std::abs(codes) >= kPartCodes) ah_per_code = std::max(0.0, ah / codes);
  }
  const double step_codes = step_pct / kSocStepPct;
  return std::max(stuck_ah(step_pct),
                  std::max(kApartCodes, kApartSteps * step_codes) * ah_per_code);
}

}  // namespace

void add_finding(std::vector<Finding>& findings, Finding finding) {
  if (std::find(findings.begin(), findings.end(), finding) == findings.end()) {
    findings.push_back(finding);
  }
}

void add_clock_findings(std::vector<Finding>& findings, const Episode& episode) {
  if (episode.clock_guessed) add_finding(findings, Finding::clock_guessed);
  if (episode.order_conflict) add_finding(findings, Finding::order_conflict);
}

WordHabits look_at_words(const PackRows& rows, std::size_t from, std::size_t to) {
  WordHabits habits;
  const double steps_per_a_code = kAmpPerCode / std::max(rows.a_step_a, kAmpPerCode);
  const double steps_per_v_code = kVoltPerCode / std::max(rows.v_step_v, kVoltPerCode);
  std::size_t holds = 0;
  std::size_t short_holds = 0;
  std::size_t jumps = 0;
  std::size_t hold_start = from;
  for (std::size_t i = from + 1; i <= to; ++i) {
    const int change_a = rows.tenths_a[i] - rows.tenths_a[i - 1];
    const int change_v = static_cast<int>(rows.v_raw[i]) - static_cast<int>(rows.v_raw[i - 1]);
    if (change_a == 0 && change_v == 0) continue;
    if (holds < kHeldMost && std::abs(rows.tenths_a[i - 1]) > kHeldTenthsA) {
      ++holds;
      short_holds += i - hold_start <= kHeldAnswers;
      jumps += std::max(std::abs(change_a) * steps_per_a_code,
                        std::abs(change_v) * steps_per_v_code) >= kHeldJumpSteps - kHalfStep;
    }
    if (i - 1 > hold_start && rows.time_ms[i - 1] - rows.time_ms[hold_start] > kFrozenMs) {
      habits.frozen.push_back({rows.time_ms[hold_start], rows.time_ms[i - 1]});
    }
    hold_start = i;
  }
  if (to > from && rows.time_ms[to] - rows.time_ms[hold_start] > kFrozenMs) {
    habits.frozen.push_back({rows.time_ms[hold_start], rows.time_ms[to]});
  }
  habits.lags = voltage_lags(rows, from, to);
  habits.held = holds >= kHeldFewest && 2 * short_holds < holds && 2 * jumps >= holds;
  return habits;
}

SocStory soc_story(const SegmentInput& input, const Segment& segment) {
  SocStory story;
  const SignalSeries& soc = input.episode.soc;
  const IndexRange range = samples_in(soc, segment.span);
  if (!segment.has_rows || range.size() < 2) return story;
  ChargeWalk walk{input.rows, segment};
  std::vector<CodePoint> points;  // at every change of the code
  const double step_pct = input.episode.soc_step_pct;
  const double step_codes = step_pct / kSocStepPct;
  const std::uint32_t full = soc_full(step_pct);
  double ah = walk.ah_at(soc.time_ms[range.from]);
  double anchor_ah = ah;
  double stood_ah = 0;  // the most that flowed while the code stood
  for (std::size_t i = range.from + 1; i < range.past; ++i) {
    const double before_ah = ah;
    ah = walk.ah_at(soc.time_ms[i]);
    if (soc.raw[i] != soc.raw[i - 1]) {
      anchor_ah = ah;
      // The change lies between two samples. A code is left downwards at its
      // lower border and upwards at its upper one: the higher code's lower
      // border in both cases.
      points.push_back({std::max(soc.raw[i], soc.raw[i - 1]) * step_codes, (before_ah + ah) / 2});
    }
    const double flowed = ah - anchor_ah;
    // A clamped reading cannot move.
    const bool clamped = (soc.raw[i] >= full && flowed < 0) || (soc.raw[i] == 0 && flowed > 0);
    if (!clamped) stood_ah = std::max(stood_ah, std::abs(flowed));
  }
  if (stood_ah >= stuck_ah_of(points, input.facts.nominal_ah, step_pct)) {
    story.stuck_why = fmt::format(
        "the state of charge is answered and did not move while {:.1f} Ah flowed one way",
        stood_ah);
  }
  story.against_current = parts_disagree(points, input.facts.nominal_ah, step_codes);
  return story;
}

PackEnergy pack_energy_of(const SegmentInput& input, const Segment& segment) {
  PackEnergy energy;
  const PackSeries& pack = input.episode.pack;
  if (input.reading == nullptr) {
    energy.silent = true;
    energy.why = pack.rows_not_supported > 0
                     ? "the van marks its pack voltage or current as not supported"
                     : "the van does not answer pack voltage and current";
    if (pack.rows_not_supported > 0) {
      add_finding(energy.findings, Finding::pack_words_not_supported);
    }
    return energy;
  }
  energy.verdict = input.reading->verdict;
  if (energy.verdict != CurrentVerdict::agreed) {
    energy.why =
        "pack current " + std::string(word_of(energy.verdict)) + ": " + input.reading->evidence;
    add_finding(energy.findings, Finding::pack_current_undecided);
    return energy;
  }
  if (!segment.has_rows) {
    energy.why = "pack voltage and current were not answered in this time";
    add_finding(energy.findings, Finding::gap);
    return energy;
  }
  energy.integral.add(input.rows, segment.row_from, segment.row_to, input.rules.gap_periods,
                      &energy.gaps);
  energy.habits = look_at_words(input.rows, segment.row_from, segment.row_to);
  if (energy.habits.held) {
    energy.integral.add_held_sampling(input.rows, segment.row_from, segment.row_to);
    add_finding(energy.findings, Finding::held_values);
  } else {
    if (energy.habits.lags) add_finding(energy.findings, Finding::voltage_lags);
    energy.integral.add_sampling(input.rows, segment.row_from, segment.row_to, energy.gaps);
  }
  const std::int64_t length_ms = segment.span.length_ms();
  if (length_ms > 0) {
    energy.coverage = std::min(
        1.0, static_cast<double>(energy.integral.covered_ms()) / static_cast<double>(length_ms));
  }
  if (!energy.gaps.empty()) {
    add_finding(energy.findings, Finding::gap);
    add_finding(energy.findings, Finding::filled_gap);
  }
  if (energy.coverage < kLowCoverage) add_finding(energy.findings, Finding::low_coverage);
  if (energy.integral.poll_missed(energy.gaps.size()))
    add_finding(energy.findings, Finding::poll_rate_missed);
  if (energy.integral.pairs() < kLeastPairs) {
    energy.why = "fewer than ten pairs of pack voltage and current";
    return energy;
  }
  energy.shown = true;
  return energy;
}

MaybeFigure fill_gaps(const SegmentInput& input, const Segment& segment, const PackEnergy& energy,
                      double km) {
  if (!energy.shown) return MaybeFigure::unknown(energy.why);
  const PackRows& rows = input.rows;
  const Episode& episode = input.episode;
  const double step_pct = episode.soc_step_pct;
  struct Filled {
    double kwh = 0;
    double u_kwh2 = 0;
  };
  Filled sum;
  // First what was driven unseen, so that the rest gives the kWh per km.
  std::vector<double> gap_km(energy.gaps.size(), 0.0);
  double unseen_km = 0;
  for (std::size_t g = 0; g < energy.gaps.size(); ++g) {
    const Span gap{rows.time_ms[energy.gaps[g].row], rows.time_ms[energy.gaps[g].row + 1]};
    if (segment.kind != SegmentKind::trip) continue;
    const auto odometer_before = before(episode.odometer, gap.from_ms);
    const auto odometer_after = after(episode.odometer, gap.to_ms);
    const SpeedDistance speed = km_by_speed(episode.speed, gap);
    // Speed where it was answered through the gap; the odometer's coarse step
    // where the gap is long.
    if (speed.known) {
      gap_km[g] = input.rules.km_per_speed_km * speed.km;
    } else if (odometer_before && odometer_after && odometer_after->raw > odometer_before->raw) {
      gap_km[g] = (odometer_after->raw - odometer_before->raw) * 0.1;
    }
    unseen_km += gap_km[g];
  }
  const double seen_km = km - unseen_km;
  for (std::size_t g = 0; g < energy.gaps.size(); ++g) {
    const std::size_t row = energy.gaps[g].row;
    const double seconds = static_cast<double>(energy.gaps[g].length_ms) / 1e3;
    const Span gap{rows.time_ms[row], rows.time_ms[row + 1]};
    const double trapezoid = (rows.power_kw(row) + rows.power_kw(row + 1)) / 2 * seconds / 3600;
    const auto soc_before = before(episode.soc, gap.from_ms);
    const auto soc_after = after(episode.soc, gap.to_ms);
    const bool by_soc = input.facts.nominal_kwh.has_value() && soc_before && soc_after;
    const double fallen_steps =
        by_soc ? static_cast<double>(soc_before->raw) - static_cast<double>(soc_after->raw) : 0;
    double kwh = trapezoid;
    double u = kStandingGapU * std::abs(trapezoid);
    const bool moved = segment.kind == SegmentKind::trip && gap_km[g] > 0;
    if (by_soc && (seconds > kLongGapS || (seconds > kShortGapS &&
                                           fallen_steps >= soc_steps(step_pct, kFallenCodes, 2)))) {
      const Figure figure =
          soc_energy_kwh(fallen_steps * step_pct, step_pct, *input.facts.nominal_kwh);
      kwh = figure.value;
      u = (figure.high - figure.low) / 2 / kZ95;
    } else if (seconds > kLongGapS) {
      u = kUnseenPauseU * std::abs(trapezoid);
    } else if (seconds > kShortGapS) {
      if (moved) {
        if (seen_km >= 1) kwh = gap_km[g] * energy.integral.net_kwh() / seen_km;
        u = drive_gap_u_kwh(seconds);
      }
    } else if (segment.kind == SegmentKind::trip) {
      u = short_gap_u_kwh(seconds);
    }
    sum.kwh += kwh;
    sum.u_kwh2 += u * u;
  }
  return MaybeFigure::known(figure_of(sum.kwh, std::sqrt(sum.u_kwh2), 0));
}

}  // namespace packmile
