#include "reading/offset_watch.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>

#include "reading/rest_scatter.hpp"

namespace packmile {
namespace {

constexpr std::int64_t kRestMs = 1'800'000;
constexpr std::int64_t kSameStretchMs = 120'000;
constexpr std::int64_t kFirstReadingMs = 60'000;
// A parked van is asked for its state of charge every minute.
constexpr std::int64_t kLastReadingMs = 150'000;
constexpr double kRestTenthsA = 50;
constexpr std::uint32_t kUnseenDriveSteps = 2;  // of the odometer, 0.1 km
// The current is asked at once; what passes before it is not seen.
constexpr std::int64_t kEdgeMs = 10'000;

constexpr double kBalanceLeastH = 20;
constexpr std::int64_t kBalanceMostMs = std::int64_t{31} * 86'400'000;
constexpr double kBalancePct = 2 * kSocPctPerCode;
constexpr double kLeastCoverage = 0.98;
constexpr double kMostOffsetA = 2;
// At one and the same state of charge the voltage at rest is the same within the
// load of a waking van and some degrees: a controller whose count has moved by 3
// points shows more where the voltage has a slope. Common practice, no source.
constexpr double kSameRestV = 0.005;
// Of one state of charge at rest, in steps: half of one, rectangular, and a little
// (0.0016 of the pack for a code of 1/255).
constexpr double kSocSteps = 0.408;
// Gain of discharge against charge, and what the straight line puts into a gap.
// Judgments.
constexpr double kAsymmetryU = 0.001;
constexpr double kMissedU = 0.5;
// Residuals are believed beyond three of their own spreads (1 in 100), of so many rests; what is
// between two of them tells an offset from this long on. Judgments.
constexpr std::size_t kDriftLeastRests = 5;
constexpr double kDriftApart = 3;
constexpr double kDriftStretchH = 10;
constexpr double kDriftStretches = 6;
// Less sure than half of what is taken without evidence (0.3 A) is none.
constexpr double kUntoldA = 0.3;
constexpr double kSureA = kUntoldA / 2;

// Charges of like power: so many, each so near to the usual hours for a rise. 1 sd of a
// charge's rise by the controller's count: 30 published drives of one van, 8 points and
// more, have 0.07 points. From here on the cells' voltage puts the count right. Common
// practice, no source.
constexpr std::size_t kWanderLeast = 5;
constexpr double kWanderLike = 0.15;
constexpr double kWanderCountU = 0.001;
constexpr double kCountedUpToPct = 95;

constexpr double kFitLeastShare = 0.3;
constexpr double kCapacityLeastShare = 0.1;
constexpr double kUnlike = 3;
constexpr double kChargeControllerU = 0.015;
constexpr double kChargeU_ah = 0.05;
constexpr std::int64_t kSocPauseMs = 120'000;
constexpr double kJumpPct = 3.2;
// Two ways that differ by more than three of their own errors contradict.
constexpr double kApart = 3;
constexpr double kRoundingPct = 1e-3;

std::int64_t ms_of(UtcTime at) { return at.time_since_epoch().count(); }

// Charge up to a moment on the straight line between rows; t lies within them.
double charge_at(const PackSeries& pack, const std::vector<std::int64_t>& sum, std::int64_t t_ms) {
  const auto behind = std::lower_bound(pack.time_ms.begin(), pack.time_ms.end(), t_ms);
  if (behind == pack.time_ms.end()) return static_cast<double>(sum.back());
  const auto i = static_cast<std::size_t>(behind - pack.time_ms.begin());
  if (i == 0) return static_cast<double>(sum[0]);
  const auto step = static_cast<double>(pack.time_ms[i] - pack.time_ms[i - 1]);
  const double share = static_cast<double>(t_ms - pack.time_ms[i - 1]) / step;
  return static_cast<double>(sum[i - 1]) + share * static_cast<double>(sum[i] - sum[i - 1]);
}

struct Combined {
  SensorOffset offset;
  double scatter = 1;
};

std::string offset_text(const SensorOffset& offset) {
  return fmt::format("{:+.2f} A +-{:.2f}", offset.a, kZ95 * offset.u_a);
}

}  // namespace

std::string utc_day_text(UtcTime at) {
  return fmt::format("{:%Y-%m-%d}", std::chrono::floor<std::chrono::seconds>(at));
}

double u_of_balance_a(const BalanceErrors& e) {
  return std::hypot(std::sqrt(2.0) * e.u_share * e.capacity_ah, kAsymmetryU * e.one_way_ah,
                    e.missed_ah) /
         e.awake_h;
}

std::optional<CapacityAndOffset> fit_capacity_and_offset(std::span<const ChargeRise> charges,
                                                         bool weighted) {
  if (charges.size() < 3) return std::nullopt;
  double least = std::numeric_limits<double>::infinity();
  double most = 0;
  double ratio_ah = 0, ratio_share = 0;
  for (const ChargeRise& c : charges) {
    if (!(c.share > 0) || !(c.hours > 0)) return std::nullopt;
    least = std::min(least, c.hours / c.share);
    most = std::max(most, c.hours / c.share);
    ratio_ah += c.ah;
    ratio_share += c.share;
  }
  if (most < kUnlike * least) return std::nullopt;
  CapacityAndOffset fit;
  fit.ah = ratio_ah / ratio_share;
  const double degrees = static_cast<double>(charges.size()) - 2;
  double chi2 = 0;
  for (int pass = 0; pass < (weighted ? 2 : 1); ++pass) {
    const auto weight = [&, ah = fit.ah](const ChargeRise& c) {
      if (!weighted) return 1.0;
      const double u = std::hypot(c.u_ah, ah * c.u_share);
      return u > 0 ? 1 / (u * u) : 0.0;
    };
    double xx = 0, xt = 0, tt = 0, xy = 0, ty = 0;
    for (const ChargeRise& c : charges) {
      const double w = weight(c);
      xx += w * c.share * c.share;
      xt += w * c.share * c.hours;
      tt += w * c.hours * c.hours;
      xy += w * c.share * c.ah;
      ty += w * c.hours * c.ah;
    }
    const double det = xx * tt - xt * xt;
    if (!(det > 0)) return std::nullopt;
    const double ah = (xy * tt - ty * xt) / det;
    const double offset_a = (ty * xx - xy * xt) / det;
    chi2 = 0;
    for (const ChargeRise& c : charges) {
      const double left = c.ah - ah * c.share - offset_a * c.hours;
      chi2 += weight(c) * left * left;
    }
    fit.ah = ah;
    fit.offset_a = offset_a;
    fit.u_ah = std::sqrt(tt / det);
    fit.u_offset_a = std::sqrt(xx / det);
  }
  fit.scatter = std::sqrt(chi2 / degrees);
  const double widen = weighted ? std::max(1.0, fit.scatter) : fit.scatter;
  fit.u_ah *= widen;
  fit.u_offset_a *= widen;
  if (!std::isfinite(fit.ah) || !std::isfinite(fit.u_offset_a)) return std::nullopt;
  return fit;
}

void OffsetWatch::observe(const Episode& episode, CurrentCoding coding, const PackCharge& charge) {
  const PackSeries& pack = episode.pack;
  const SignalSeries& soc = episode.soc;
  if (pack.time_ms.size() < 2) return;
  Stretch stretch;
  stretch.start_ms = ms_of(episode.start);
  const std::int64_t end_ms = ms_of(episode.end);
  stretch.awake_ms = pack.time_ms.back() - pack.time_ms.front();
  stretch.unseen_ms = charge.gap_ms();
  for (const std::int64_t edge_ms :
       {pack.time_ms.front() - stretch.start_ms, end_ms - pack.time_ms.back()})
    if (edge_ms > kEdgeMs) stretch.unseen_ms += edge_ms;
  stretch.net = charge.positive() - charge.negative();
  stretch.one_way = (charge.positive() + charge.negative()) / 2;
  stretch.gap = charge.gap_charge();
  stretch.soc_step_pct = static_cast<float>(episode.soc_step_pct);
  const auto soc_pct = [&](std::uint32_t raw) {
    return static_cast<float>(std::min(100.0, raw * episode.soc_step_pct));
  };
  if (!soc.time_ms.empty()) {
    if (soc.time_ms.front() - stretch.start_ms <= kFirstReadingMs)
      stretch.soc_first_pct = soc_pct(soc.raw.front());
    stretch.head = std::llround(charge_at(pack, charge.sum(), soc.time_ms.front()));
    stretch.tail =
        charge.sum().back() - std::llround(charge_at(pack, charge.sum(), soc.time_ms.back()));
    if (end_ms - soc.time_ms.back() <= kLastReadingMs)
      stretch.soc_last_pct = soc_pct(soc.raw.back());
  }
  const bool first = stretches_.empty();
  const std::int64_t silent_ms = stretch.start_ms - last_end_ms_;
  if (!first && silent_ms >= 0) {
    const bool drove = last_odometer_ && !episode.odometer.raw.empty() &&
                       (episode.odometer.raw.front() >= *last_odometer_ + kUnseenDriveSteps ||
                        episode.odometer.raw.front() < *last_odometer_);
    const Stretch& before = stretches_.back();
    const bool told = before.soc_last_pct >= 0 && stretch.soc_first_pct >= 0;
    const double code_pct = std::max<double>(kSocPctPerCode, stretch.soc_step_pct);
    const bool moved =
        told && std::abs(stretch.soc_first_pct - before.soc_last_pct) > code_pct + kRoundingPct;
    stretch.carries_on =
        !drove && !moved && (told || silent_ms < kSameStretchMs) && !episode.clock_guessed;
  }
  const std::uint16_t flip = coding == CurrentCoding::offset_binary ? 0x8000 : 0;
  const int first_tenths = static_cast<std::int16_t>(pack.a_raw.front() ^ flip);
  const bool rested = !first && silent_ms >= kRestMs && !episode.clock_guessed;
  if (rested && stretch.soc_first_pct >= 0 && std::abs(first_tenths) < kRestTenthsA &&
      pack.time_ms.front() - stretch.start_ms <= kFirstReadingMs)
    stretch.rest_v = static_cast<float>(pack.v_raw.front() * kVoltPerCode);
  stretches_.push_back(stretch);
  last_end_ms_ = std::max(last_end_ms_, end_ms);
  if (!episode.odometer.raw.empty()) last_odometer_ = episode.odometer.raw.back();
  find_rises(episode, charge);
}

void OffsetWatch::find_rises(const Episode& episode, const PackCharge& charge) {
  const SignalSeries& soc = episode.soc;
  const SignalSeries& odometer = episode.odometer;
  const SignalSeries& speed = episode.speed;
  const PackSeries& pack = episode.pack;
  struct Edge {
    std::int64_t time_ms = 0;
    std::uint32_t raw = 0;
  };
  std::optional<Edge> first, last;
  const double step_pct = episode.soc_step_pct;
  const auto close = [&] {
    if (first && last && last->raw > first->raw) {
      const double share = (last->raw - first->raw) * step_pct / 100;
      if (share >= kCapacityLeastShare) {
        Rise rise;
        rise.share = static_cast<float>(share);
        rise.step_pct = static_cast<float>(step_pct);
        rise.charge = std::llround(charge_at(pack, charge.sum(), last->time_ms) -
                                   charge_at(pack, charge.sum(), first->time_ms));
        rise.time_ms = last->time_ms - first->time_ms;
        rise.start_ms = first->time_ms;
        rises_.push_back(rise);
      }
    }
    first.reset();
    last.reset();
  };
  const bool by_odometer = odometer.raw.size() >= 2;
  std::size_t odometer_at = 0;
  std::size_t speed_at = 0;
  for (std::size_t i = 1; i < soc.raw.size(); ++i) {
    const std::int64_t now_ms = soc.time_ms[i];
    bool moved = false;
    if (by_odometer) {
      const std::size_t from = odometer_at;
      while (odometer_at < odometer.time_ms.size() && odometer.time_ms[odometer_at] <= now_ms)
        ++odometer_at;
      moved =
          from > 0 && odometer_at > from && odometer.raw[odometer_at - 1] != odometer.raw[from - 1];
    } else {
      for (; speed_at < speed.time_ms.size() && speed.time_ms[speed_at] <= now_ms; ++speed_at)
        moved = moved || speed.raw[speed_at] > 0;
    }
    const std::uint32_t before = soc.raw[i - 1];
    const std::uint32_t now = soc.raw[i];
    const bool within = !pack.time_ms.empty() && soc.time_ms[i - 1] >= pack.time_ms.front() &&
                        now_ms <= pack.time_ms.back();
    if (moved || now < before || now_ms - soc.time_ms[i - 1] > kSocPauseMs || !within ||
        now * step_pct > kCountedUpToPct ||
        (now - before) * step_pct > std::max(kJumpPct, 2 * step_pct)) {
      close();
      continue;
    }
    if (now == before) continue;
    // The edge lies between the two answers.
    const Edge edge{(soc.time_ms[i - 1] + now_ms) / 2, now};
    if (!first) first = edge;
    last = edge;
  }
  close();
}

double OffsetWatch::capacity_ah(int turn) const {
  double ah = 0;
  double share = 0;
  for (const Rise& rise : rises_) {
    const double in_ah = -turn * static_cast<double>(rise.charge) / kChargePerAh;
    if (in_ah <= 0) continue;
    ah += in_ah;
    share += rise.share;
  }
  return share > 0 ? ah / share : 0;
}

// The straight line by weighted least squares, the first rest (0, 0) as one of them.
double OffsetWatch::drift_of(std::span<const LeftOver> rests) {
  if (rests.size() < kDriftLeastRests) return 0;
  double w = 0, x = 0, y = 0, xx = 0, xy = 0;
  for (const LeftOver& rest : rests) {
    const double weight = 1 / (rest.u_ah * rest.u_ah);
    w += weight;
    x += weight * rest.awake_h;
    y += weight * rest.ah;
    xx += weight * rest.awake_h * rest.awake_h;
    xy += weight * rest.awake_h * rest.ah;
  }
  const double det = w * xx - x * x;
  if (!(det > 0)) return 0;
  const double slope = (w * xy - x * y) / det;
  const double start = (y - slope * x) / w;
  double chi2 = 0;
  for (const LeftOver& rest : rests)
    chi2 += std::pow((rest.ah - start - slope * rest.awake_h) / rest.u_ah, 2);
  const double degrees = static_cast<double>(rests.size()) - 2;
  if (chi2 <= degrees + kDriftApart * std::sqrt(2 * degrees)) return 0;
  // The slopes of a few stretches next to each other. What their own ends make of
  // them is not taken off: it is seen only where it is small.
  const double stretch_h = std::max(kDriftStretchH, rests.back().awake_h / kDriftStretches);
  double seen = 0, hours = 0;
  const LeftOver* from = &rests.front();
  for (const LeftOver& rest : rests) {
    const double h = rest.awake_h - from->awake_h;
    if (h < stretch_h) continue;
    seen += h * std::pow((rest.ah - from->ah) / h - slope, 2);
    hours += h;
    from = &rest;
  }
  return hours > 0 ? std::sqrt(seen / hours) : 0;
}

double OffsetWatch::wander_a(int turn) const {
  struct Charge {
    double share = 0, ah = 0, hours = 0;
    std::int64_t start_ms = 0;
    double left_ah = 0;
  };
  std::vector<Charge> charges;
  for (const Rise& rise : rises_) {
    const double ah = -turn * static_cast<double>(rise.charge) / kChargePerAh;
    if (ah > 0 && rise.time_ms > 0)
      charges.push_back(
          {rise.share, ah, static_cast<double>(rise.time_ms) / 3.6e6, rise.start_ms, 0});
  }
  if (charges.size() < kWanderLeast) return 0;
  std::vector<double> slow;
  for (const Charge& c : charges) slow.push_back(c.hours / c.share);
  const auto middle = slow.begin() + static_cast<std::ptrdiff_t>(slow.size() / 2);
  std::nth_element(slow.begin(), middle, slow.end());
  std::erase_if(charges, [usual = *middle](const Charge& c) {
    return std::abs(c.hours / c.share - usual) > kWanderLike * usual;
  });
  // Ah for the whole pack with the mean offset in it, and what each has beyond that.
  const auto leave = [](std::vector<Charge>& of_month) {
    double xx = 0, xy = 0;
    for (const Charge& c : of_month) {
      xx += c.share * c.share;
      xy += c.share * c.ah;
    }
    for (Charge& c : of_month) c.left_ah = c.ah - xy / xx * c.share;
  };
  double chi2 = 0, seen = 0, hours = 0, degrees = 0;
  // A month of them at a time: a pack fades, and seasons change.
  for (auto from = charges.begin(); from != charges.end();) {
    const auto to = std::find_if(from, charges.end(), [&](const Charge& c) {
      return c.start_ms - from->start_ms > kBalanceMostMs;
    });
    std::vector<Charge> of_month(from, to);
    from = to;
    if (of_month.size() < kWanderLeast) continue;
    leave(of_month);
    // One alone may be a change of the controller's mind.
    of_month.erase(
        std::max_element(of_month.begin(), of_month.end(), [](const Charge& a, const Charge& b) {
          return std::abs(a.left_ah) < std::abs(b.left_ah);
        }));
    leave(of_month);
    const double kept = 1 - 1 / static_cast<double>(of_month.size());
    for (const Charge& c : of_month) {
      chi2 += std::pow(c.left_ah / std::hypot(kChargeU_ah, kWanderCountU * c.ah / c.share), 2);
      seen += c.left_ah * c.left_ah / c.hours;
      hours += kept * c.hours;
      degrees += kept;
    }
  }
  if (!(degrees > 0) || chi2 <= degrees + kDriftApart * std::sqrt(2 * degrees)) return 0;
  return std::sqrt(seen / hours);
}

double OffsetWatch::rest_u() const {
  std::vector<RestReading> rests;
  for (const Stretch& s : stretches_)
    if (s.rest_v > 0) rests.push_back({s.rest_v, s.soc_first_pct, s.soc_step_pct});
  return rest_scatter_u(rests);
}

std::vector<OffsetWatch::Balance> OffsetWatch::find_balances(int turn, double capacity_ah,
                                                             double rest_u,
                                                             Refusals& refusals) const {
  std::vector<Balance> balances;
  for (std::size_t from = 0; from < stretches_.size();) {
    const Stretch& a = stretches_[from];
    std::optional<Balance> longest;
    std::vector<LeftOver> rests;
    std::size_t end = from;
    double net = 0, one_way = 0, gap = 0, awake_ms = 0, unseen_ms = 0, asleep_pct = 0,
           answered_late = 0, sleeps = 0;
    for (std::size_t to = from + 1; a.rest_v > 0 && to < stretches_.size(); ++to) {
      const Stretch& b = stretches_[to];
      const Stretch& last = stretches_[to - 1];
      if (!b.carries_on || b.start_ms - a.start_ms > kBalanceMostMs) break;
      net += static_cast<double>(last.net);
      one_way += static_cast<double>(last.one_way);
      gap += static_cast<double>(last.gap);
      awake_ms += static_cast<double>(last.awake_ms);
      unseen_ms += static_cast<double>(last.unseen_ms);
      if (b.soc_first_pct >= 0 && last.soc_last_pct >= 0) {
        asleep_pct += b.soc_first_pct - last.soc_last_pct;
        sleeps += 1;
        // Awake, but between the two answers.
        answered_late += static_cast<double>(last.tail + b.head);
      }
      if (b.rest_v <= 0) continue;
      const double step_pct = std::max(a.soc_step_pct, b.soc_step_pct);
      const double risen_pct = b.soc_first_pct - a.soc_first_pct;
      // Without a capacity only one and the same answer stands for nothing.
      const double most_pct = capacity_ah > 0 ? std::max(kBalancePct, step_pct) : 0;
      if (std::abs(risen_pct) > most_pct + kRoundingPct) continue;
      const double awake_h = awake_ms / 3.6e6;
      const bool seen = unseen_ms <= (1 - kLeastCoverage) * awake_ms;
      const bool same_v = std::abs(b.rest_v - a.rest_v) <= kSameRestV * a.rest_v;
      if (seen && same_v && awake_h > 0) {
        const double ah = capacity_ah > 0 ? capacity_ah : one_way / kChargePerAh;
        if (rests.empty())
          rests.push_back({0, 0, ah * std::hypot(kSocSteps * a.soc_step_pct / 100, rest_u)});
        const double flowed = net - static_cast<double>(a.head) + static_cast<double>(b.head);
        rests.push_back({awake_h, turn * flowed / kChargePerAh + risen_pct / 100 * ah,
                         ah * std::hypot(kSocSteps * step_pct / 100, rest_u)});
      }
      if (awake_h < kBalanceLeastH || !seen || !same_v) {
        if (seen && same_v) refusals.longest_h = std::max(refusals.longest_h, awake_h);
        refusals.unseen = refusals.unseen || (awake_h >= kBalanceLeastH && !seen);
        refusals.count_moved = refusals.count_moved || (awake_h >= kBalanceLeastH && !same_v);
        continue;
      }
      Balance balance;
      balance.ah = one_way / kChargePerAh;
      // A pack without a known capacity holds no more than all that flowed.
      const double ah = capacity_ah > 0 ? capacity_ah : balance.ah;
      // From answer to answer. What the pack's charge did asleep is not the sensor's.
      const double flowed = net - static_cast<double>(a.head) + static_cast<double>(b.head);
      const double asleep_ah = asleep_pct / 100 * ah + turn * answered_late / kChargePerAh;
      // Answers jump by a step now and then where nothing was lost.
      const double jumps_ah = kSocSteps * step_pct / 100 * ah * std::sqrt(2.0 * sleeps);
      const bool leaks = std::abs(asleep_ah) > 2 * jumps_ah;
      balance.offset_a =
          (turn * flowed / kChargePerAh + risen_pct / 100 * ah - (leaks ? asleep_ah : 0)) / awake_h;
      BalanceErrors errors;
      errors.capacity_ah = ah;
      errors.u_share = std::hypot(kSocSteps * step_pct / 100, rest_u);
      errors.one_way_ah = balance.ah;
      errors.missed_ah = std::hypot(kMissedU * gap / kChargePerAh, kMissedU * asleep_ah);
      errors.awake_h = awake_h;
      balance.u_a = u_of_balance_a(errors);
      balance.awake_h = awake_h;
      balance.from_ms = a.start_ms;
      balance.to_ms = b.start_ms;
      balance.drift_a = drift_of(rests);
      longest = balance;
      end = to;
    }
    if (longest) balances.push_back(*longest);
    from = longest ? end : from + 1;
  }
  return balances;
}

OffsetFound OffsetWatch::decide(int turn) const {
  OffsetFound found;
  const double capacity = capacity_ah(turn);
  Refusals refusals;
  const std::vector<Balance> balances = find_balances(turn, capacity, rest_u(), refusals);

  std::optional<Combined> by_balance;
  double hours = 0, ah = 0, drift_a = 0;
  if (!balances.empty()) {
    double weights = 0, weighted = 0, chi2 = 0;
    for (const Balance& b : balances) {
      weights += 1 / (b.u_a * b.u_a);
      weighted += b.offset_a / (b.u_a * b.u_a);
      hours += b.awake_h;
      ah += b.ah;
      drift_a = std::max(drift_a, b.drift_a);
    }
    const double mean = weighted / weights;
    for (const Balance& b : balances) chi2 += std::pow((b.offset_a - mean) / b.u_a, 2);
    const auto n = static_cast<double>(balances.size());
    const double scatter = n > 1 ? std::sqrt(chi2 / (n - 1)) : 1;
    // The gain of discharge against charge is the same in every month: the mean is
    // no surer than a typical month.
    by_balance = Combined{{mean, std::sqrt(n / weights) * std::max(1.0, scatter)}, scatter};
  }

  std::vector<ChargeRise> charges;
  for (const Rise& rise : rises_) {
    if (rise.share < kFitLeastShare) continue;
    ChargeRise charge;
    charge.share = rise.share;
    charge.ah = -turn * static_cast<double>(rise.charge) / kChargePerAh;
    charge.hours = static_cast<double>(rise.time_ms) / 3.6e6;
    charge.u_share =
        std::hypot(std::sqrt(2.0) * kSocSteps * rise.step_pct / 100, kChargeControllerU);
    charge.u_ah = kChargeU_ah;
    if (charge.ah > 0 && charge.hours > 0) charges.push_back(charge);
  }
  std::optional<SensorOffset> by_charges;
  if (const auto fit = fit_capacity_and_offset(charges, true))
    // The words lack what they should show of a charge: discharge is positive here.
    by_charges = SensorOffset{-fit->offset_a, fit->u_offset_a};

  if (by_balance)
    found.evidence = fmt::format(
        "balance of {} {} between rests alike, {:.0f} h awake, {:.0f} Ah each way, {} to {}: {}",
        balances.size(), balances.size() == 1 ? "span" : "spans", hours, ah,
        utc_day_text(utc_of(balances.front().from_ms)), utc_day_text(utc_of(balances.back().to_ms)),
        offset_text(by_balance->offset));
  if (by_charges)
    found.evidence += fmt::format("{}{} charges of unlike power: {}", by_balance ? "; " : "",
                                  charges.size(), offset_text(*by_charges));
  const double wandered_a = wander_a(turn);
  found.wander_a = wandered_a;
  if (wandered_a > 0)
    found.evidence += fmt::format(
        "{}from charge to charge of like power it wandered by +-{:.2f} A, or the controller's "
        "count did",
        found.evidence.empty() ? "" : "; ", kZ95 * wandered_a);
  if (!by_balance && !by_charges) {
    if (!found.evidence.empty()) found.evidence += "; ";
    if (refusals.count_moved)
      found.evidence +=
          "the voltage at rest does not come back with the state of charge: the controller's count "
          "has moved, and nothing balances against it";
    else if (refusals.unseen)
      found.evidence +=
          "more than 2 % of the time awake between like rests was not answered; look at gaps and "
          "at the card";
    else
      found.evidence += fmt::format(
          "{:.1f} h awake between two rests at the same state of charge, 20 are needed; {} charges "
          "of 30 points or more, of unlike power (3 to 1) are needed: leave the logger in for a "
          "month, and park over night at like states of charge",
          refusals.longest_h, charges.size());
    return found;
  }

  SensorOffset offset = by_balance ? by_balance->offset : *by_charges;
  if (by_balance && by_charges) {
    const SensorOffset& a = by_balance->offset;
    const SensorOffset& b = *by_charges;
    if (std::abs(a.a - b.a) > kApart * std::hypot(a.u_a, b.u_a)) {
      found.answer = VerdictAnswer::contradictory;
      found.evidence += "; the two do not agree";
      return found;
    }
    const double wa = 1 / (a.u_a * a.u_a);
    const double wb = 1 / (b.u_a * b.u_a);
    offset = {(wa * a.a + wb * b.a) / (wa + wb), 1 / std::sqrt(wa + wb)};
  }
  if (drift_a > 0) {
    offset.u_a = std::hypot(offset.u_a, drift_a);
    found.evidence += fmt::format("; from rest to rest it wandered by +-{:.2f} A", kZ95 * drift_a);
  }
  // Of the mean it takes nothing, and it may be the controller's or the season's: it
  // widens what is told of any one trip or charge, up to what an offset is off by that
  // nobody has told. Rests told a part of the same.
  const double widened_a =
      std::hypot(offset.u_a, std::sqrt(std::max(0.0, wandered_a * wandered_a - drift_a * drift_a)));
  found.offset = offset;
  if (std::abs(offset.a) > kMostOffsetA) {
    found.answer = VerdictAnswer::contradictory;
    found.evidence +=
        "; above 2 A it is a fault of the sensor, or charge that nobody saw, and is "
        "not taken out";
  } else if (offset.u_a > kSureA) {
    const bool drifts = drift_a > 0 || (by_balance && by_balance->scatter > kApart);
    found.answer = drifts ? VerdictAnswer::contradictory : VerdictAnswer::too_little;
    found.evidence += drifts ? "; no one offset fits: it drifts, and is not taken out"
                             : "; not surer than +-0.3 A: more months, or charges of unlike power";
  } else {
    found.answer = VerdictAnswer::agreed;
    found.offset->u_a = std::min(widened_a, std::max(kUntoldA, offset.u_a));
  }
  return found;
}

}  // namespace packmile
