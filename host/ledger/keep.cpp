#include "ledger/keep.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "energy/figure_sum.hpp"
#include "notes/currency.hpp"

namespace packmile {
namespace {

constexpr double kDaysAYear = 365.2425;
constexpr std::size_t kInputsTold = 3;
// A month with less tells no winter.
constexpr double kLeastMonthMiles = 100;
// Above this mean the coldest month on record was no winter.
constexpr double kWinterBelowC = 10;
constexpr double kRoundShare = 0.95;
// Fewer days with a drive tell no longest one in twenty.
constexpr std::size_t kLeastRoundDays = 20;

std::optional<ThreePoint> points_of(const std::optional<OwnersRange>& range, double factor = 1) {
  if (!range) return std::nullopt;
  return ThreePoint{range->low * factor, range->likely * factor, range->high * factor};
}

ByYear points_of(const std::vector<OwnersRange>& years) {
  ByYear out;
  for (const OwnersRange& range : years) out.push_back({range.low, range.likely, range.high});
  return out;
}

// A year of the van's own use; the rate and the scatter of days both leave it open.
std::optional<ThreePoint> own_miles(const VanDuty& duty) {
  const UseRateOrWhy rate = duty.rate_of(DutyCounter::km);
  if (!rate.rate || !(rate.rate->per_day > 0)) return std::nullopt;
  const double likely = rate.rate->per_day * kDaysAYear / kKmPerMile;
  const double half =
      rate.rate->factor_95 *
      std::hypot(rate.rate->u_per_day * kDaysAYear, rate.rate->sd_day * std::sqrt(kDaysAYear)) /
      kKmPerMile;
  // A van that does not drive has no cost per mile.
  return ThreePoint{std::max(likely - half, likely / 10), likely, likely + half};
}

std::string whole_text(double value) { return fmt::format("{:.0f}", std::round(value) + 0.0); }

std::string per_mile_text(const Figure& f, const std::string& currency) {
  return fmt::format("{} ({} to {}) a mile", price_text(f.value, currency),
                     price_text(f.low, currency), price_text(f.high, currency));
}

std::string inputs_text(const std::vector<InputSwing>& swings) {
  std::string out;
  std::size_t told = 0;
  for (const InputSwing& swing : swings) {
    if (!swing.moves_price || !(swing.width() > 0)) continue;
    if (told++ == kInputsTold) break;
    out += fmt::format("{}{}: {} to {}", out.empty() ? "" : "; ", swing.input,
                       whole_text(swing.low), whole_text(swing.high));
  }
  return out;
}

std::string reason_of(const KeepOrSell& told, const std::string& currency,
                      const std::string& miles_source) {
  std::string costs =
      told.keeping_searched
          ? fmt::format(
                "kept for {} more, which is best for it, it costs {}",
                told.keeping_years == 1 ? "one year" : fmt::format("{} years", told.keeping_years),
                per_mile_text(told.keeping_per_mile, currency))
          : fmt::format("one more year costs {}", per_mile_text(told.keeping_per_mile, currency));
  costs += fmt::format(", the challenger {}", per_mile_text(told.challenger_per_mile, currency));
  if (told.challenger_searched)
    costs += fmt::format(
        " kept for {}, its cheapest",
        told.challenger_years == 1 ? "one year" : fmt::format("{} years", told.challenger_years));
  const Figure& price = told.break_even_price;
  const std::string worth =
      fmt::format("below {} ({} to {}) {} it is worth keeping", whole_text(price.value),
                  whole_text(price.low), whole_text(price.high), currency);
  const std::string share = fmt::format("selling is cheaper in {:.0f} % of {} draws",
                                        told.selling_is_cheaper * 100, kKeepDraws);
  std::string out;
  switch (told.verdict) {
    case KeepVerdict::keep:
      out = "keep: ";
      break;
    case KeepVerdict::sell:
      out = "sell: ";
      break;
    case KeepVerdict::open:
      out = "open: ";
      break;
  }
  out += costs + "; " + worth + "; " + share;
  if (told.verdict == KeepVerdict::open) {
    std::string firmer;
    for (std::size_t k = 0; k < std::min(told.swings.size(), kInputsTold); ++k)
      firmer += (k == 0 ? "" : ", ") + told.swings[k].input;
    out += "; to decide it make firmer: " + firmer;
  }
  return out + "; " + told.basis + miles_source;
}

}  // namespace

WinterRange winter_range_of(const std::vector<Trip>& trips, const VanDuty& duty,
                            const std::vector<CapacityRow>& capacity, const Zone& zone) {
  WinterRange out;
  std::vector<double> driven;
  for (const VanDay& day : duty.days)
    if (day.used[0].value > 0) driven.push_back(day.used[0].value);
  if (driven.size() >= kLeastRoundDays) {
    std::ranges::sort(driven);
    out.round_km =
        driven[static_cast<std::size_t>(kRoundShare * static_cast<double>(driven.size() - 1))];
  } else {
    out.round_why = fmt::format("{} days with a drive are on record, {} are needed", driven.size(),
                                kLeastRoundDays);
  }

  struct Month {
    FigureSum kwh, km;
    double ambient_km = 0, km_with_ambient = 0;
  };
  std::map<std::string, Month> months;
  for (const Trip& trip : trips) {
    if (!trip.net_kwh.figure || !trip.distance_km.figure || !trip.ambient_mean_c) continue;
    Month& month = months[zone.day(trip.start).substr(0, 7)];
    month.kwh.add(*trip.net_kwh.figure);
    month.km.add(*trip.distance_km.figure);
    month.ambient_km += *trip.ambient_mean_c * trip.distance_km.figure->value;
    month.km_with_ambient += trip.distance_km.figure->value;
  }
  const Month* coldest = nullptr;
  for (const auto& [name, month] : months) {
    if (month.km_with_ambient / kKmPerMile < kLeastMonthMiles) continue;
    const double ambient = month.ambient_km / month.km_with_ambient;
    if (out.ambient_c && ambient >= *out.ambient_c) continue;
    out.ambient_c = ambient;
    out.month = name;
    coldest = &month;
  }
  // The newest whole-record or monthly row that says kWh by a measurement: neither what
  // the owner entered nor what the van says of itself.
  const CapacityRow* newest = nullptr;
  for (const CapacityRow& row : capacity)
    if (row.kwh.figure && row.method == CapacityMethod::controller_edges &&
        (newest == nullptr || (row.date && (!newest->date || *row.date >= *newest->date))))
      newest = &row;
  const auto unknown = [&](std::string why) {
    out.range_km = MaybeFigure::unknown(why);
    out.text = "whether it still does its round in winter is not known: " + std::move(why);
    return out;
  };
  if (coldest == nullptr)
    return unknown("no month on record has 100 miles with energy and temperature");
  if (*out.ambient_c >= kWinterBelowC)
    return unknown(fmt::format("the coldest month on record, {}, had {:.0f} degC: no winter yet",
                               out.month, *out.ambient_c));
  if (newest == nullptr) return unknown("no capacity in kWh is known; see packmile capacity");
  const Figure e = coldest->kwh.figure(), km = coldest->km.figure();
  const Figure& pack = *newest->kwh.figure;
  if (!(e.value > 0 && km.value > 0))
    return unknown("the energy of the coldest month has no result here");
  const double value = pack.value * km.value / e.value;
  const auto share = [](const Figure& f) { return (f.high - f.low) / 2 / kZ95 / f.value; };
  const double u = value * std::hypot(share(e), share(km), share(pack));
  out.range_km = MaybeFigure::known(figure_of(value, 0, u));
  const Figure& range = *out.range_km.figure;
  out.text = fmt::format(
      "on one charge, at the energy of {} ({:.0f} degC), it reaches {:.0f} "
      "({:.0f} to {:.0f}) miles",
      out.month, *out.ambient_c, range.value / kKmPerMile, range.low / kKmPerMile,
      range.high / kKmPerMile);
  if (!out.round_km)
    out.text += "; its round is not known: " + out.round_why;
  else
    out.text += fmt::format(", and 19 of 20 of its days were within {:.0f} miles: {}",
                            *out.round_km / kKmPerMile,
                            range.low >= *out.round_km    ? "it does its round"
                            : range.high <= *out.round_km ? "it needs a charge on the way"
                                                          : "it may need a charge on the way");
  return out;
}

VanKeep keep_van(const FleetKeep& keep, std::optional<double> annual_km, const VanDuty& duty,
                 const std::vector<Trip>& trips, const std::vector<CapacityRow>& capacity,
                 const Zone& zone, const std::string& currency) {
  VanKeep out;
  out.winter = winter_range_of(trips, duty, capacity, zone);
  KeepInputs in;
  in.challenger_price = points_of(keep.challenger_price);
  in.challenger_resale = points_of(keep.challenger_resale);
  in.challenger_years = keep.challenger_years;
  in.challenger_resale_by_year = points_of(keep.challenger_resale_by_year);
  in.challenger_repairs_by_year = points_of(keep.challenger_repairs_by_year);
  in.resale_by_year = points_of(keep.resale_by_year);
  in.repairs_by_year = points_of(keep.repairs_by_year);
  in.challenger_repairs = points_of(keep.challenger_repairs);
  in.challenger_lost_days = points_of(keep.challenger_lost_days);
  in.resale_now = points_of(keep.resale_now);
  in.resale_next_year = points_of(keep.resale_next_year);
  in.repairs_next_year = points_of(keep.repairs_next_year);
  in.lost_days_next_year = points_of(keep.lost_days_next_year);
  in.hire_per_lost_day = keep.hire_per_lost_day;
  in.miles_per_year = points_of(keep.km_per_year, 1 / kKmPerMile);
  in.cost_per_mile = points_of(keep.cost_per_km, kKmPerMile);
  in.challenger_cost_per_mile = points_of(keep.challenger_cost_per_km, kKmPerMile);
  if (keep.rate_pct) in.rate = *keep.rate_pct / 100;
  if (keep.rate_kind)
    in.rate_basis = *keep.rate_kind == RateKind::real ? RateBasis::real : RateBasis::nominal;
  std::string miles_source;
  if (!in.miles_per_year && annual_km) {
    const double miles = *annual_km / kKmPerMile;
    in.miles_per_year = ThreePoint{miles, miles, miles};
    miles_source = fmt::format("; {:.0f} miles a year, as fleet.toml expects", miles);
  }
  if (!in.miles_per_year) {
    in.miles_per_year = own_miles(duty);
    if (in.miles_per_year)
      miles_source =
          fmt::format("; {:.0f} miles a year by its own use, {}", in.miles_per_year->likely,
                      duty.rate_of(DutyCounter::km).rate->basis);
  }
  const std::vector<std::string> missing = missing_inputs(in);
  if (!missing.empty()) {
    out.why = fmt::format("no price is assumed; [[keep]] in fleet.toml lacks {}",
                          fmt::join(missing, ", "));
    out.reason = out.why;
    return out;
  }
  out.told = keep_or_sell(in);
  out.inputs = inputs_text(out.told->swings);
  out.reason = reason_of(*out.told, currency, miles_source);
  return out;
}

}  // namespace packmile
