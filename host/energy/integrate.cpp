#include "energy/integrate.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "reading/coding_votes.hpp"

namespace packmile {
namespace {

// A current that keeps one code this long is not dithered by driving.
constexpr std::int64_t kStillMs = 60'000;
// Of the van's own step.
constexpr int kStillSteps = 1;
constexpr std::int64_t kCombMs = 20'000;
// Rectangular, +-half a step.
const double kUOfStep = 1 / std::sqrt(12.0);
// Errors of successive levels are taken as independent with variance ratio
// rho^2: a geometric series. Bounds found on modelled drives.
constexpr double kLeastFactor = 0.15;
constexpr double kMostFactor = 0.9;
constexpr std::size_t kFewRows = 16;

// A step longer than one and a half periods came late; back to back polling
// promises no period.
std::int64_t late_step_ms(std::uint32_t period_ms) {
  return period_ms == 0 ? std::numeric_limits<std::int64_t>::max()
                        : static_cast<std::int64_t>(period_ms) * 3 / 2;
}

// Coarse trapezoid over t0..t2 minus the two fine ones. Whole numbers to the
// last step: powers are below 2^30, an episode is shorter than 2^28 ms.
double bend(std::int64_t t0, std::int64_t p0, std::int64_t t1, std::int64_t p1, std::int64_t t2,
            std::int64_t p2) {
  const std::int64_t first = t1 - t0;
  const std::int64_t second = t2 - t1;
  return static_cast<double>((p0 - p1) * second + (p2 - p1) * first) * 0.5;
}

// A code of 0.1 A, or the van's own step where that is coarser.
int still_codes_of(const PackRows& rows) {
  return static_cast<int>(std::ceil(kStillSteps * rows.a_step_a / kAmpPerCode - 1e-6));
}

struct Bends {  // sums of squares
  double net = 0;
  double giving = 0;
  double taking = 0;
};

// Triples of rows i, i + stride, i + 2 * stride, side by side from `first` on.
Bends bends_of(std::span<const std::int64_t> time_ms, std::span<const std::int32_t> power,
               std::size_t first, std::size_t stride) {
  Bends sum;
  const std::int64_t* t = time_ms.data();
  const std::int32_t* p = power.data();
  const std::size_t n = time_ms.size();
  for (std::size_t i = first; i + 2 * stride < n; i += 2 * stride) {
    const std::size_t m = i + stride;
    const std::size_t e = m + stride;
    const double d = bend(t[i], p[i], t[m], p[m], t[e], p[e]);
    const double square = d * d;
    sum.net += square;
    if ((p[i] | p[m] | p[e]) >= 0) {
      sum.giving += square;
    } else if ((p[i] & p[m] & p[e]) < 0) {
      sum.taking += square;
    } else {
      const double up =
          bend(t[i], std::max(p[i], 0), t[m], std::max(p[m], 0), t[e], std::max(p[e], 0));
      sum.giving += up * up;
      sum.taking += (d - up) * (d - up);
    }
  }
  return sum;
}

// The three curvatures (net, giving, taking) of one run without gaps.
void bends_of_run(std::span<const std::int64_t> t, std::span<const std::int32_t> p, Curvature& net,
                  Curvature& giving, Curvature& taking) {
  const auto add_to = [&](const Bends& bends, double Curvature::*level) {
    net.*level += bends.net;
    giving.*level += bends.giving;
    taking.*level += bends.taking;
  };
  add_to(bends_of(t, p, 0, 1), &Curvature::fine);
  add_to(bends_of(t, p, 0, 2), &Curvature::coarse_even);
  add_to(bends_of(t, p, 1, 2), &Curvature::coarse_odd);
}

void add(Curvature& to, const Curvature& other) {
  to.fine += other.fine;
  to.coarse_even += other.coarse_even;
  to.coarse_odd += other.coarse_odd;
}

}  // namespace

PackRows PackDecoder::decode(const PackSeries& pack, const PackReading* reading) {
  if (reading == nullptr || reading->verdict != CurrentVerdict::agreed) return {};
  const std::size_t n = pack.time_ms.size();
  power_raw_.resize(n);
  tenths_a_.resize(n);
  std::size_t impossible = 0;
  const std::uint16_t flip = reading->coding == CurrentCoding::offset_binary ? 0x8000 : 0;
  const std::int32_t turn = reading->sign == CurrentSign::discharge_negative ? -1 : 1;
  const double offset_tenths = reading->offset ? reading->offset->a / kAmpPerCode : 0;
  const auto shift = static_cast<std::int32_t>(std::lround(offset_tenths));
  const OffsetLeft left{
      .a = (offset_tenths - shift) * kAmpPerCode,
      .u_a = reading->offset ? std::hypot(reading->offset->u_a, kOffsetWanderU) : -1,
      .wander_a = reading->offset_wander_a};
  for (std::size_t i = 0; i < n; ++i) {
    const std::int32_t tenths =
        turn * static_cast<std::int16_t>(static_cast<std::uint16_t>(pack.a_raw[i] ^ flip));
    impossible += !possible_tenths_a(tenths);
    const std::int32_t kept = std::clamp(tenths, -kPossibleTenthsA, kPossibleTenthsA) - shift;
    tenths_a_[i] = static_cast<std::int16_t>(kept);
    power_raw_[i] = kept * static_cast<std::int32_t>(pack.v_raw[i]);
  }
  if (impossible == 0) {
    return {pack.time_ms,  power_raw_,    tenths_a_, pack.v_raw,   pack.period_ms,
            pack.a_step_a, pack.v_step_v, left,      reading->gain};
  }
  time_ms_.clear();
  v_raw_.clear();
  period_ms_.clear();
  std::size_t kept = 0;
  for (std::size_t i = 0; i < n; ++i) {
    if (!possible_tenths_a(reading->pack_tenths_a(pack.a_raw[i]))) continue;
    time_ms_.push_back(pack.time_ms[i]);
    v_raw_.push_back(pack.v_raw[i]);
    period_ms_.push_back(pack.period_ms[i]);
    tenths_a_[kept] = tenths_a_[i];
    power_raw_[kept] = power_raw_[i];
    ++kept;
  }
  tenths_a_.resize(kept);
  power_raw_.resize(kept);
  return {time_ms_,      power_raw_,    tenths_a_, v_raw_,       period_ms_,
          pack.a_step_a, pack.v_step_v, left,      reading->gain};
}

double longest_step_ms(std::uint32_t period_ms, std::uint32_t next_period_ms, double gap_periods) {
  const std::uint32_t first = period_ms == 0 ? kBackToBackMs : period_ms;
  const std::uint32_t second = next_period_ms == 0 ? kBackToBackMs : next_period_ms;
  return gap_periods * std::max(first, second);
}

Lobes& Lobes::operator+=(const Lobes& other) {
  net += other.net;
  positive += other.positive;
  return *this;
}

double Curvature::u_kwh(std::size_t rows) const {
  const double coarse = (coarse_even + coarse_odd) / 2;
  double factor = kMostFactor;
  if (rows >= kFewRows && fine > 0) {
    const double ratio = coarse / fine;
    factor =
        ratio > 1 ? std::clamp(1 / std::sqrt(ratio - 1), kLeastFactor, kMostFactor) : kMostFactor;
  }
  return std::sqrt(fine) * factor * kKwhPerRaw;
}

void PowerIntegral::add(const PackRows& rows, std::size_t from, std::size_t to, double gap_periods,
                        std::vector<Gap>* gaps) {
  if (to >= rows.size() || from >= to) return;
  a_step_a_ = std::max(a_step_a_, rows.a_step_a);
  v_step_v_ = std::max(v_step_v_, rows.v_step_v);
  offset_ = rows.offset;
  gain_ = rows.gain;
  const std::int64_t* time_ms = rows.time_ms.data();
  const std::uint32_t* periods = rows.period_ms.data();
  const auto longest = [&](std::uint32_t first_ms, std::uint32_t second_ms) {
    return static_cast<std::int64_t>(longest_step_ms(first_ms, second_ms, gap_periods));
  };
  std::uint32_t period_ms = periods[from];
  std::int64_t longest_ms = longest(period_ms, period_ms);
  std::int64_t late_ms = late_step_ms(period_ms);
  std::size_t late = 0;
  std::size_t start = from;
  for (std::size_t i = from; i < to; ++i) {
    const std::int64_t step_ms = time_ms[i + 1] - time_ms[i];
    std::int64_t limit_ms = longest_ms;
    if (periods[i + 1] != period_ms) {
      limit_ms = longest(period_ms, periods[i + 1]);
      period_ms = periods[i + 1];
      longest_ms = longest(period_ms, period_ms);
      late_ms = late_step_ms(period_ms);
    }
    late += step_ms > late_ms;
    if (step_ms <= limit_ms) continue;
    add_run(rows, start, i);
    if (gaps != nullptr) gaps->push_back({i, step_ms});
    start = i + 1;
  }
  add_run(rows, start, to);
  late_ += late;
}

// Rows without a gap between them.
void PowerIntegral::add_run(const PackRows& rows, std::size_t from, std::size_t to) {
  if (to <= from) return;
  const std::int64_t* time_ms = rows.time_ms.data();
  const std::int32_t* power = rows.power_raw.data();
  const std::int16_t* tenths = rows.tenths_a.data();
  const std::uint16_t* volts = rows.v_raw.data();
  Lobes energy, charge;
  std::int64_t volt_all = 0;
  std::int64_t volt_giving = 0;
  std::int64_t squares_ms2 = 0;
  for (std::size_t i = from; i < to; ++i) {
    const std::int64_t step_ms = time_ms[i + 1] - time_ms[i];
    const std::int64_t p0 = power[i];
    const std::int64_t p1 = power[i + 1];
    const int a0 = tenths[i];
    const int a1 = tenths[i + 1];
    const std::int64_t energy_step = (p0 + p1) * step_ms;
    const std::int64_t charge_step = (a0 + a1) * step_ms;
    energy.net += energy_step;
    charge.net += charge_step;
    energy.positive += (std::max<std::int64_t>(p0, 0) + std::max<std::int64_t>(p1, 0)) * step_ms;
    charge.positive += (std::max(a0, 0) + std::max(a1, 0)) * step_ms;
    const std::int64_t volt_step = static_cast<std::int64_t>(volts[i] + volts[i + 1]) * step_ms;
    volt_all += volt_step;
    volt_giving += charge_step > 0 ? volt_step : 0;
    squares_ms2 += step_ms * step_ms;
  }
  power_ += energy;
  current_ += charge;
  volt_time_.all += volt_all;
  volt_time_.giving += volt_giving;
  covered_ms_ += time_ms[to] - time_ms[from];
  step_squares_ms2_ += squares_ms2;
  pairs_ += to - from;
  add_still(rows, from, to);
}

// Of one run: the parts in which the current keeps its code for a minute. Such
// a part holds two neighbours of any comb of 20 s; where the comb's current
// differs nothing needs a closer look, and while driving it nearly always does.
void PowerIntegral::add_still(const PackRows& rows, std::size_t from, std::size_t to) {
  const std::int64_t* time_ms = rows.time_ms.data();
  const std::int16_t* tenths = rows.tenths_a.data();
  const std::int64_t mean_step_ms = std::max<std::int64_t>(
      1, (time_ms[to] - time_ms[from]) / static_cast<std::int64_t>(to - from));
  const auto comb = static_cast<std::size_t>(std::max<std::int64_t>(1, kCombMs / mean_step_ms));
  const int still_codes = still_codes_of(rows);
  const auto differ = [&](std::size_t first, std::size_t second) {
    return std::abs(tenths[second] - tenths[first]) > still_codes &&
           time_ms[second] - time_ms[first] < kStillMs / 2;
  };
  std::size_t closed = from;  // rows before it have been looked at
  std::size_t tooth = from;
  while (tooth < to) {
    const std::size_t next = std::min(tooth + comb, to);
    if (differ(tooth, next)) {
      tooth = next;
      continue;
    }
    std::size_t last = next;
    while (last < to && !differ(last, std::min(last + comb, to))) last = std::min(last + comb, to);
    const std::size_t begin = std::max(closed, tooth > from + comb ? tooth - comb : from);
    const std::size_t end = std::min(last + comb, to);
    find_still(rows, begin, end);
    closed = tooth = end;
  }
}

void PowerIntegral::find_still(const PackRows& rows, std::size_t from, std::size_t to) {
  const std::int64_t* time_ms = rows.time_ms.data();
  const std::int16_t* tenths = rows.tenths_a.data();
  const auto close = [&](std::size_t first, std::size_t last) {
    if (time_ms[last] - time_ms[first] < kStillMs) return;
    for (std::size_t i = first; i < last; ++i) {
      const std::int64_t volt_step = static_cast<std::int64_t>(rows.v_raw[i] + rows.v_raw[i + 1]) *
                                     (time_ms[i + 1] - time_ms[i]);
      (tenths[i] + tenths[i + 1] > 0 ? volt_time_.still_giving : volt_time_.still_taking) +=
          volt_step;
    }
  };
  const int still_codes = still_codes_of(rows);
  std::size_t start = from;
  int low = tenths[from];
  int high = low;
  for (std::size_t i = from + 1; i <= to; ++i) {
    const int now = tenths[i];
    low = std::min(low, now);
    high = std::max(high, now);
    if (high - low <= still_codes) continue;
    close(start, i - 1);
    start = i;
    low = high = now;
  }
  close(start, to);
}

void PowerIntegral::add_sampling(const PackRows& rows, std::size_t from, std::size_t to,
                                 std::span<const Gap> gaps) {
  if (to >= rows.size() || from >= to) return;
  std::size_t start = from;
  const auto run = [&](std::size_t end) {
    const std::size_t n = end - start + 1;
    bends_of_run(rows.time_ms.subspan(start, n), rows.power_raw.subspan(start, n), net_, giving_,
                 taking_);
  };
  for (const Gap& gap : gaps) {
    if (gap.row < start || gap.row >= to) continue;
    run(gap.row);
    start = gap.row + 1;
  }
  run(to);
}

void PowerIntegral::add_held_sampling(const PackRows& rows, std::size_t from, std::size_t to) {
  if (to >= rows.size() || from >= to) return;
  held_time_ms_.clear();
  held_power_.clear();
  for (std::size_t i = from; i <= to; ++i) {
    if (i > from && rows.tenths_a[i] == rows.tenths_a[i - 1] &&
        rows.v_raw[i] == rows.v_raw[i - 1]) {
      continue;
    }
    held_time_ms_.push_back(rows.time_ms[i]);
    held_power_.push_back(rows.power_raw[i]);
  }
  bends_of_run(held_time_ms_, held_power_, net_, giving_, taking_);
}

PowerIntegral& PowerIntegral::operator+=(const PowerIntegral& other) {
  // Of one van's neighbouring rows: where both have an offset it is the same.
  if (pairs_ == 0) {
    offset_ = other.offset_;
    gain_ = other.gain_;
  }
  power_ += other.power_;
  current_ += other.current_;
  volt_time_.all += other.volt_time_.all;
  volt_time_.giving += other.volt_time_.giving;
  volt_time_.still_giving += other.volt_time_.still_giving;
  volt_time_.still_taking += other.volt_time_.still_taking;
  packmile::add(net_, other.net_);
  packmile::add(giving_, other.giving_);
  packmile::add(taking_, other.taking_);
  step_squares_ms2_ += other.step_squares_ms2_;
  covered_ms_ += other.covered_ms_;
  pairs_ += other.pairs_;
  late_ += other.late_;
  a_step_a_ = std::max(a_step_a_, other.a_step_a_);
  v_step_v_ = std::max(v_step_v_, other.v_step_v_);
  return *this;
}

// What is left of an offset moves a lobe by its own time. A lobe is never below
// nothing: what is taken from it there is the other's.
double PowerIntegral::discharge_kwh() const {
  const double lobe = power_.positive_raw() * kKwhPerRaw - offset_.a * kwh_per_a(volt_time_.giving);
  return energy_gain() * (offset_.a == 0 ? lobe : std::max({lobe, 0.0, net_words_kwh()}));
}

double PowerIntegral::discharge_ah() const {
  const double giving = volt_time_.all > 0 ? static_cast<double>(volt_time_.giving) /
                                                 static_cast<double>(volt_time_.all)
                                           : 0;
  const double lobe = current_.positive_raw() * kAhPerRaw - offset_.a * hours() * giving;
  return charge_gain() * (offset_.a == 0 ? lobe : std::max({lobe, 0.0, net_words_ah()}));
}

double PowerIntegral::mean_v() const {
  if (covered_ms_ <= 0) return 0;
  return static_cast<double>(volt_time_.all) / 2 / static_cast<double>(covered_ms_) * kVoltPerCode;
}

double PowerIntegral::kwh_per_a(std::int64_t volt_time) {
  return static_cast<double>(volt_time) / 2 * kVoltPerCode / 3.6e9;
}

double PowerIntegral::still_u_a() const { return a_step_a_ * kUOfStep; }

// The standard's own step is a hundredth of what the current's makes.
double PowerIntegral::volt_step_u_kwh(double ah) const {
  return v_step_v_ > kVoltPerCode ? v_step_v_ * kUOfStep * ah / 1e3 : 0;
}

// The word of the current is dithered by driving: independent errors of a
// twelfth of a step squared. The voltage word's part is a hundredth of that.
double PowerIntegral::words_u_kwh(double share) const {
  return a_step_a_ * kUOfStep * mean_v() *
         std::sqrt(static_cast<double>(step_squares_ms2_) * share) / 3.6e9;
}

Figure PowerIntegral::net_figure_kwh(const EnergyRules& rules) const {
  const double u_random = std::hypot(net_.u_kwh(pairs_ + 1), words_u_kwh(1));
  const double gain = energy_gain_u(rules) * net_kwh();
  const double offset = offset_.u_or(rules) * kwh_per_a(volt_time_.all);
  const double still = still_u_a() * kwh_per_a(volt_time_.still_giving + volt_time_.still_taking);
  const double volts = volt_step_u_kwh(discharge_ah() + charge_ah());
  return figure_of(net_kwh(), u_random, std::hypot(std::hypot(gain, offset, still), volts));
}

Figure PowerIntegral::lobe_kwh(double value, const Curvature& curvature, bool giving,
                               const EnergyRules& rules) const {
  const std::int64_t volt_time = giving ? volt_time_.giving : volt_time_.all - volt_time_.giving;
  const std::int64_t still = giving ? volt_time_.still_giving : volt_time_.still_taking;
  const double share =
      volt_time_.all > 0 ? static_cast<double>(volt_time) / static_cast<double>(volt_time_.all) : 0;
  const double gain = energy_gain_u(rules) * value;
  const double words = std::hypot(still_u_a() * kwh_per_a(still),
                                  volt_step_u_kwh(giving ? discharge_ah() : charge_ah()));
  return figure_of(value, std::hypot(curvature.u_kwh(pairs_ + 1), words_u_kwh(share)),
                   std::hypot(gain, offset_.u_or(rules) * kwh_per_a(volt_time), words));
}

Figure PowerIntegral::discharge_figure_kwh(const EnergyRules& rules) const {
  return lobe_kwh(discharge_kwh(), giving_, true, rules);
}

Figure PowerIntegral::charge_figure_kwh(const EnergyRules& rules) const {
  return lobe_kwh(charge_kwh(), taking_, false, rules);
}

Figure PowerIntegral::lobe_ah(double value_ah, const Figure& kwh, bool giving,
                              const EnergyRules& rules) const {
  // The pack's voltage changes little within one trip: what is random about the
  // energy is random about the charge in the same proportion.
  const double v = mean_v();
  if (v <= 0) return figure_of(value_ah, 0, charge_gain_u(rules) * value_ah);
  const double per_volt = 1e3 / v;
  const std::int64_t volt_time = giving ? volt_time_.giving : volt_time_.all - volt_time_.giving;
  const std::int64_t still = giving ? volt_time_.still_giving : volt_time_.still_taking;
  const double offset = offset_.u_or(rules) * kwh_per_a(volt_time) * per_volt;
  const double words = still_u_a() * kwh_per_a(still) * per_volt;
  return figure_of(value_ah, kwh.scatter / kZ95 * per_volt,
                   std::hypot(charge_gain_u(rules) * value_ah, offset, words));
}

Figure PowerIntegral::discharge_figure_ah(const EnergyRules& rules) const {
  return lobe_ah(discharge_ah(), discharge_figure_kwh(rules), true, rules);
}

Figure PowerIntegral::charge_figure_ah(const EnergyRules& rules) const {
  return lobe_ah(charge_ah(), charge_figure_kwh(rules), false, rules);
}

}  // namespace packmile
