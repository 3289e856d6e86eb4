#include "money/cost.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>
#include <tuple>

#include "energy/figure_sum.hpp"
#include "energy/uncertainty.hpp"
#include "money/energy_cost.hpp"

namespace packmile {
namespace {

using std::chrono::milliseconds;

// 1 sd, relative: the odometer's own scale (EnergyRules has its reason).
constexpr double kScaleU = EnergyRules{}.odometer_scale_u;
// 1 sd of what is in the pack at either end, where that is the moment of some reading
// and not the turn of a day (from memory): anything from a quarter to full.
constexpr double kFillOfAnyMoment = 0.25;
constexpr double kDaysOfYear = 365.25;
// Behind the last valuation the pace before it goes on this long, and is taken over this
// long at least (from memory).
constexpr double kMostDaysBehind = 366;
constexpr double kLeastDaysOfPace = 180;

Figure exactly(double value) { return {value, value, value, 0}; }

// A logger's reading and a note beside it are rounded, cut or read at other moments.
constexpr double kFallKm = 2;

// Local days of [from, to) that lie in the span.
double days_in(const Zone& zone, const CostSpan& span, std::optional<UtcTime> from,
               std::optional<UtcTime> to) {
  const UtcTime begin = std::max(span.from, from.value_or(span.from));
  const UtcTime end = std::min(span.to, to.value_or(span.to));
  return begin < end ? zone.days_at(end) - zone.days_at(begin) : 0;
}

class Account {
 public:
  Account(const CostInput& input, UtcTime from, UtcTime to)
      : in_(input), zone_(input.money->zone), span_{from, to} {
    out_.from = from;
    out_.to = to;
  }

  VanCost run() {
    distance();
    energy();
    jobs();
    off_road();
    fixed();
    out_.depreciation_cost = depreciation(in_.values, zone_, span_.from, span_.to);
    totals();
    return std::move(out_);
  }

 private:
  void leave_out(const char* word, const std::string& why) {
    out_.not_included.push_back({word, why});
  }

  // The readings of the period in order of time; those of one moment or day from the
  // least on.
  [[nodiscard]] std::vector<OdometerPoint> readings() const {
    std::vector<OdometerPoint> out;
    for (const OdometerPoint& reading : in_.odometer)
      if (span_.holds(reading.when.from)) out.push_back(reading);
    std::ranges::sort(out, {}, [](const OdometerPoint& r) {
      return std::tuple{r.when.from, r.km, r.when.to};
    });
    return out;
  }

  // A reading that is higher than a later one: one of the two is wrong.
  [[nodiscard]] std::string fall_in(const std::vector<OdometerPoint>& points) const {
    const OdometerPoint* most = nullptr;
    for (const OdometerPoint& point : points) {
      if (most != nullptr && most->km > point.km + point.step_km + kFallKm &&
          most->when.before(point.when))
        return fmt::format(
            "the odometer fell from {:.0f} to {:.0f} km between {} and {}: correct the note, or "
            "ask for the time before and after by themselves",
            most->km, point.km, zone_.day(most->when.from), zone_.day(point.when.from));
      if (most == nullptr || point.km >= most->km) most = &point;
    }
    return {};
  }

  void distance() {
    const std::vector<OdometerPoint> points = readings();
    if (points.size() < 2) {
      distance_of_trips();
      return;
    }
    if (std::string fall = fall_in(points); !fall.empty()) {
      out_.distance_km = MaybeFigure::unknown(std::move(fall));
      return;
    }
    const auto [least, most] = std::ranges::minmax_element(points, {}, &OdometerPoint::km);
    const double km = most->km - least->km;
    // A floored reading each: triangular for equal steps.
    const double u = std::hypot(least->step_km, most->step_km) / std::sqrt(12.0);
    out_.distance_km = MaybeFigure::known(figure_of(km, u, kScaleU * km));
    out_.distance_from = points.front().when.from;
    out_.distance_to = points.back().when.from;
    const double days = zone_.days_at(span_.to) - zone_.days_at(span_.from);
    // A reading of a day may be of its end.
    const double driven = zone_.days_at(std::max(points.back().when.to, *out_.distance_to)) -
                          zone_.days_at(*out_.distance_from);
    if (driven < kLeastShareDriven * days) {
      out_.short_distance =
          fmt::format("its distance is that of {:.0f} of the {:.0f} days, {} to {}", driven, days,
                      zone_.day(*out_.distance_from), zone_.day(*out_.distance_to));
      out_.short_distance_cure = fmt::format(
          "its sums are of all of them, and by the mile they read high; ask for the days that are "
          "known: --from {}",
          zone_.day(*out_.distance_from));
    }
  }

  void distance_of_trips() {
    FigureSum trips;
    std::size_t without = 0;
    for (const Trip& trip : in_.trips) {
      if (!span_.holds(trip.start)) continue;
      if (!trip.distance_km.figure) {
        ++without;
        continue;
      }
      trips.add(*trip.distance_km.figure);
      if (!out_.distance_from) out_.distance_from = trip.start;
      out_.distance_to = trip.end;
    }
    out_.distance_km = trips.maybe(
        "there are no two odometer readings in this period, and no trip was measured: note the "
        "odometer at its beginning and end");
    if (!trips.known()) return;
    out_.short_distance = "its distance is that of the trips that were measured alone";
    if (without > 0)
      out_.short_distance += fmt::format(", without {} trips without a distance", without);
    out_.short_distance_cure =
        "what was not heard is missing, and by the mile its sums may read high; note the odometer "
        "at the beginning and end";
  }

  void energy() {
    EnergyCost energy = energy_cost_of(in_, span_);
    out_.energy_cost = std::move(energy.energy_cost);
    out_.grid_kwh = std::move(energy.grid_kwh);
    out_.charger_loss_cost = std::move(energy.charger_loss_cost);
    out_.standing_cost = std::move(energy.standing_cost);
    out_.not_included = std::move(energy.left_out);
    out_.unsure_sessions = energy.unsure_sessions;
    too_little_energy_ = std::move(energy.too_little);
  }

  static bool is_tyre(const JobNote& job) {
    // "tyre", "tyres front", "Tyre fl".
    constexpr std::string_view kTyre = "tyre";
    return job.part.size() >= kTyre.size() &&
           std::equal(kTyre.begin(), kTyre.end(), job.part.begin(), [](char a, char b) {
             return a == (b >= 'A' && b <= 'Z' ? static_cast<char>(b - 'A' + 'a') : b);
           });
  }

  void jobs() {
    double tyres = 0, parts = 0, hours = 0;
    bool any_tyres = false, any_parts = false, any_hours = false;
    for (const JobNote& job : in_.notes->jobs) {
      (is_tyre(job) ? any_tyres : any_parts) = true;
      any_hours = any_hours || job.hours;
      if (!span_.holds(job.when.from)) continue;
      (is_tyre(job) ? tyres : parts) += job.sum;
      hours += job.hours.value_or(0);
    }
    const auto told = [&](bool any, double sum, const char* what, const char* how) {
      if (any) return MaybeFigure::known(exactly(sum));
      leave_out(what, how);
      return MaybeFigure::unknown(how);
    };
    out_.tyres_cost =
        told(any_tyres, tyres, "tyres",
             "no tyre was ever noted for this van: packmile note --van V --date D job tyre SUM");
    out_.parts_cost =
        told(any_parts, parts, "parts",
             "no part was ever noted for this van: packmile note --van V --date D job PART SUM");
    if (any_hours && (in_.labour_rate || hours == 0)) {
      out_.labour_cost = MaybeFigure::known(exactly(hours * in_.labour_rate.value_or(0)));
    } else if (any_hours) {
      leave_out("labour",
                fmt::format("{:g} hours of labour: fleet.toml has no labour_rate", hours));
      out_.labour_cost = MaybeFigure::unknown(
          "hours are noted, and fleet.toml has no labour_rate to reckon them by");
    } else {
      leave_out("labour", "no hours were noted with a job");
      out_.labour_cost = MaybeFigure::unknown(
          "no hours were ever noted with a job: packmile note --van V --date D job PART SUM HOURS");
    }
  }

  void off_road() {
    if (in_.notes->off_road.empty()) {
      const char* why =
          "no day off the road was ever noted for this van: packmile note --van V --date D "
          "off_road DAYS [SUM]";
      leave_out("off_road", why);
      out_.lost_days = MaybeFigure::unknown(why);
      out_.hire_cost = MaybeFigure::unknown(why);
      return;
    }
    // By local days, so that a week from a Monday on ends with its Sunday, whatever the
    // clocks do.
    const double begin = zone_.days_at(span_.from), end = zone_.days_at(span_.to);
    double days = 0, hire = 0, days_without_sum = 0;
    double lost_until = begin;  // a day that two notes have is lost once
    bool any_hire = false;
    for (const OffRoadNote& note : in_.notes->off_road) {
      const double from = zone_.days_at(note.when.from);
      const double here = std::min(end, from + note.days) - std::max(begin, from);
      any_hire = any_hire || note.sum;
      if (here <= 0) continue;
      days += std::fmax(0, std::min(end, from + note.days) - std::max(lost_until, from));
      lost_until = std::max(lost_until, std::min(end, from + note.days));
      hire += note.sum.value_or(0) * here / note.days;
      if (!note.sum) days_without_sum += here;
    }
    out_.lost_days = MaybeFigure::known(exactly(days));
    if (days_without_sum > 0)
      leave_out("hire", fmt::format("{:g} days off the road whose stand-in has no sum: a note "
                                    "off_road DAYS SUM --replaces the one without",
                                    std::round(days_without_sum * 10) / 10));
    out_.hire_cost = any_hire || days == 0 ? MaybeFigure::known(exactly(hire))
                                           : MaybeFigure::unknown("no off_road note has a sum");
  }

  void fixed() {
    double sum = 0;
    bool any = false;
    for (const FixedCost& one : in_.fixed) {
      if (!one.vans.empty() && std::ranges::find(one.vans, in_.van) == one.vans.end()) continue;
      any = true;
      sum += one.per_year / kDaysOfYear *
             days_in(zone_, span_, one.from ? one.from : in_.owned_from,
                     one.to ? one.to : in_.owned_to);
    }
    if (!any) leave_out("fixed", "fleet.toml has no [[fixed_cost]] for this van");
    for (const Tariff& tariff : in_.money->tariffs) {
      for (std::size_t k = 0; k < tariff.lists.size(); ++k) {
        const PriceList& list = tariff.lists[k];
        if (list.standing_per_day <= 0) continue;
        const bool last = k + 1 == tariff.lists.size();
        any = any || !in_.sharing.empty();
        sum += list.standing_per_day *
               shared_days(list.valid_from, last ? std::nullopt : tariff.lists[k + 1].valid_from);
      }
    }
    out_.fixed_cost =
        any ? MaybeFigure::known(exactly(sum))
            : MaybeFigure::unknown(
                  "fleet.toml has no [[fixed_cost]] for this van and no standing charge");
  }

  // Days of this van, each divided by the vans that there were on it.
  [[nodiscard]] double shared_days(std::optional<UtcTime> from, std::optional<UtcTime> to) const {
    if (in_.sharing.empty()) return 0;
    std::set<UtcTime> cuts{span_.from, span_.to};
    for (const OwnedSpan& one : in_.sharing)
      for (const auto& at : {one.from, one.to})
        if (at && span_.holds(*at)) cuts.insert(*at);
    double days = 0;
    for (auto at = cuts.begin(); std::next(at) != cuts.end(); ++at) {
      const CostSpan piece{*at, *std::next(at)};
      const auto owned = [&](const OwnedSpan& one) {
        return (!one.from || *one.from <= piece.from) && (!one.to || *one.to > piece.from);
      };
      if (!owned({in_.owned_from, in_.owned_to})) continue;
      const auto vans = std::ranges::count_if(in_.sharing, owned);
      days +=
          days_in(zone_, piece, from, to) / static_cast<double>(std::max<std::ptrdiff_t>(vans, 1));
    }
    return days;
  }

  void totals() {
    FigureSum without;
    for (const MaybeFigure* part : {&out_.energy_cost, &out_.tyres_cost, &out_.parts_cost,
                                    &out_.labour_cost, &out_.hire_cost, &out_.fixed_cost})
      if (part->figure) without.add(*part->figure);
    FigureSum all = without;
    if (out_.depreciation_cost.figure)
      all.add(*out_.depreciation_cost.figure);
    else
      leave_out("depreciation", out_.depreciation_cost.why);
    out_.total_cost = all.maybe("no cost of this van is known in this period");

    std::string why;
    if (!out_.distance_km.figure)
      why = out_.distance_km.why;
    else if (out_.distance_km.figure->value < kLeastMiles * kKmPerMile)
      why =
          fmt::format("{:.0f} miles are too few to tell a cost by the mile from: {:.0f} are wanted",
                      out_.distance_km.figure->value / kKmPerMile, kLeastMiles);
    const std::string energy_why = !why.empty()               ? why
                                   : !out_.energy_cost.figure ? out_.energy_cost.why
                                                              : too_little_energy_;
    if (!energy_why.empty()) {
      for (MaybeFigure* f : {&out_.cost_per_mile, &out_.cost_per_mile_without_depreciation,
                             &out_.energy_cost_per_mile})
        *f = MaybeFigure::unknown(energy_why);
    } else {
      const Figure miles = scaled(*out_.distance_km.figure, 1 / kKmPerMile);
      out_.energy_cost_per_mile = MaybeFigure::known(quotient(*out_.energy_cost.figure, miles));
      out_.cost_per_mile_without_depreciation =
          MaybeFigure::known(quotient(without.figure(), miles));
      out_.cost_per_mile = out_.depreciation_cost.figure
                               ? MaybeFigure::known(quotient(all.figure(), miles))
                               : out_.cost_per_mile_without_depreciation;
    }
    kwh_per_mile(why);
  }

  void kwh_per_mile(const std::string& no_miles) {
    MaybeFigure& out = out_.grid_kwh_per_mile;
    if (!no_miles.empty()) {
      out = MaybeFigure::unknown(no_miles);
    } else if (!out_.grid_kwh.figure) {
      out = MaybeFigure::unknown(out_.grid_kwh.why);
    } else if (!in_.nominal_kwh) {
      out = MaybeFigure::unknown(
          "how much was in the pack at either end is not known to any width: enter nominal_kwh of "
          "the van in fleet.toml");
    } else if (days_between_readings() < kLeastMeterDays) {
      out = MaybeFigure::unknown(fmt::format(
          "the readings are {:.0f} days apart, and what was in the pack at either end weighs too "
          "much under {:.0f}",
          days_between_readings(), kLeastMeterDays));
    } else {
      // Without charges that were heard the readings go together, odometer and counter;
      // and a short distance has the energy of its own days.
      const bool any_heard = std::ranges::any_of(
          in_.sessions, [&](const ChargeSession& s) { return span_.holds(s.start); });
      const bool between = !any_heard || !out_.short_distance.empty();
      const MaybeFigure grid =
          between ? energy_cost_of(in_, {*out_.distance_from,
                                         std::min(span_.to, *out_.distance_to + milliseconds{1})})
                        .grid_kwh
                  : out_.grid_kwh;
      out = grid.figure ? MaybeFigure::known(meter_kwh_per_mile(
                              *grid.figure, *out_.distance_km.figure, *in_.nominal_kwh,
                              between && any_heard ? kFillOfAnyMoment : kFillShare))
                        : MaybeFigure::unknown(grid.why);
    }
  }

  // The first and the last day count: 1 to 28 February are 28.
  [[nodiscard]] double days_between_readings() const {
    return std::floor(zone_.days_at(*out_.distance_to)) -
           std::floor(zone_.days_at(*out_.distance_from)) + 1;
  }

  const CostInput& in_;
  const Zone& zone_;
  CostSpan span_;
  std::string too_little_energy_;  // by the mile
  VanCost out_;
};

}  // namespace

std::string narrower_by(const VanCost& cost) {
  const auto open = [](const MaybeFigure& f) {
    return f.figure ? f.figure->high - f.figure->low : 0;
  };
  const double value = open(cost.depreciation_cost);
  const double energy = open(cost.energy_cost);
  const bool totals = cost.distance_km.figure && cost.total_cost.figure;
  const double way = totals ? open(cost.distance_km) / cost.distance_km.figure->value *
                                  std::abs(cost.total_cost.figure->value)
                            : 0;
  if (value >= std::max(energy, way))
    return "most is left open by what it lost in value, which valuations tell to a tenth: take a "
           "longer period, or note what somebody offers";
  if (energy >= way)
    return "most is left open by what its energy cost: receipts or meter readings in place of "
           "assumed charges, or a longer period";
  return "most is left open by its distance: odometer notes of the first and the last day, or a "
         "longer period";
}

MaybeFigure depreciation(std::span<const ValuePoint> values, const Zone& zone, UtcTime from,
                         UtcTime to) {
  if (values.size() < 2)
    return MaybeFigure::unknown(
        "needs two values of the van: its purchase in fleet.toml, and a valuation or the price it "
        "was sold at: packmile note --van V --date D valuation SUM");
  const ValuePoint& last = values.back();
  const UtcTime begin = std::max(from, values.front().at);
  if (begin >= to) return MaybeFigure::unknown("the van was not owned in this period");
  if (last.sold && begin >= last.at) return MaybeFigure::unknown("the van was sold before");
  const UtcTime end = last.sold ? std::min(to, last.at) : to;
  if (zone.days_at(end) - zone.days_at(last.at) > kMostDaysBehind)
    return MaybeFigure::unknown(
        fmt::format("the last valuation is of {}, more than a year before the end of this period: "
                    "note a new one",
                    zone.day(last.at)));
  // The pace behind the last point.
  std::size_t pace = values.size() - 2;
  while (pace > 0 && zone.days_at(last.at) - zone.days_at(values[pace].at) < kLeastDaysOfPace)
    --pace;
  const auto around = [&](UtcTime at) {
    std::size_t right = 1;
    while (right + 1 < values.size() && values[right].at < at) ++right;
    return std::pair{at > last.at ? pace : right - 1, right};
  };
  // The value is a sum of the points, each with a weight, and so is what is lost of it.
  const auto weigh = [&](UtcTime at, double sign, std::vector<double>& weights) {
    const auto [left, right] = around(at);
    const double a = zone.days_at(values[left].at), b = zone.days_at(values[right].at);
    const double share = b > a ? (zone.days_at(at) - a) / (b - a) : 1;
    weights[left] += sign * (1 - share);
    weights[right] += sign * share;
  };
  const auto sum = [&](const std::vector<double>& weights) {
    double value = 0;
    for (std::size_t k = 0; k < values.size(); ++k) value += weights[k] * values[k].sum;
    return value;
  };
  const auto worth_at = [&](UtcTime at) {
    std::vector<double> weights(values.size(), 0);
    weigh(at, 1, weights);
    return sum(weights);
  };
  if (worth_at(end) < 0)
    return MaybeFigure::unknown(
        fmt::format("at the pace before it, the valuation of {} has fallen below nothing: note a "
                    "new one",
                    zone.day(last.at)));
  std::vector<double> weights(values.size(), 0);
  weigh(begin, 1, weights);
  weigh(end, -1, weights);
  double u = 0;
  for (std::size_t k = 0; k < values.size(); ++k) u = std::hypot(u, weights[k] * values[k].u);
  Figure lost = figure_of(sum(weights), 0, u);
  // The same two moments on the curve of which each year takes the same share: more is
  // lost early in a stretch, less late. Nobody knows which of the two a van follows.
  const auto on_curve = [&](UtcTime at) {
    const auto [left, right] = around(at);
    const double a = zone.days_at(values[left].at), b = zone.days_at(values[right].at);
    if (!(values[left].sum > 0) || !(values[right].sum > 0) || !(b > a)) return worth_at(at);
    return values[left].sum *
           std::pow(values[right].sum / values[left].sum, (zone.days_at(at) - a) / (b - a));
  };
  const double by_share = on_curve(begin) - on_curve(end);
  lost.low -= std::fmax(0, lost.value - by_share);
  lost.high += std::fmax(0, by_share - lost.value);
  return MaybeFigure::known(lost);
}

Figure meter_kwh_per_mile(const Figure& kwh, const Figure& km, double nominal_kwh,
                          double fill_share) {
  const double fill = fill_share * nominal_kwh * std::sqrt(2.0);
  const Uncertainty u = uncertainty_of(kwh);
  return quotient(figure_of(kwh.value, std::hypot(u.random, fill), u.systematic),
                  scaled(km, 1 / kKmPerMile));
}

VanCost cost_of(const CostInput& input, UtcTime from, UtcTime to) {
  return Account{input, from, to}.run();
}

}  // namespace packmile
