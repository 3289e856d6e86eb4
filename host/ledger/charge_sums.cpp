#include "ledger/charge_sums.hpp"

#include <algorithm>
#include <charconv>
#include <map>

#include "energy/figure_sum.hpp"

namespace packmile {
namespace {

constexpr std::int64_t kSureHourMs = 600'000;

struct RunningSum {
  ChargeSum out;
  FigureSum kwh, cost, kwh_of_both, cost_of_both;

  void add(const PricedCharge& charge) {
    ++out.charges;
    out.without_kwh += !charge.cost.grid_kwh.figure;
    out.without_cost += !charge.cost.cost.figure;
    kwh.add(charge.cost.grid_kwh);
    cost.add(charge.cost.cost);
    if (!charge.cost.grid_kwh.figure || !charge.cost.cost.figure) return;
    kwh_of_both.add(*charge.cost.grid_kwh.figure);
    cost_of_both.add(*charge.cost.cost.figure);
  }

  [[nodiscard]] ChargeSum finish() {
    out.grid_kwh = kwh.maybe("no charge of these has its energy at the socket");
    out.cost = cost.maybe("no charge of these has a cost");
    out.cost_per_kwh = MaybeFigure::unknown("no charge of these has both energy and cost");
    if (!kwh_of_both.known()) return out;
    const Figure e = kwh_of_both.figure(), c = cost_of_both.figure();
    if (!(e.low > 0)) {
      out.cost_per_kwh = MaybeFigure::unknown("their energy may be nothing");
      return out;
    }
    const double by_low = c.low / e.low, by_high = c.high / e.high, value = c.value / e.value;
    out.cost_per_kwh = MaybeFigure::known(
        {value, std::min({by_low, by_high, value}), std::max({by_low, by_high, value}), 0});
    return out;
  }
};

}  // namespace

std::vector<PricedCharge> priced_charges(const VanMoney& van, const Fleet& fleet) {
  std::vector<PricedCharge> out;
  for (std::size_t k = 0; k < van.parts.sessions.size(); ++k)
    out.push_back({van.parts.sessions[k], van.priced.sessions[k]});
  NotedSessions noted = noted_sessions(van, fleet);
  for (std::size_t k = 0; k < noted.sessions.size(); ++k)
    out.push_back({std::move(noted.sessions[k]), std::move(noted.costs[k])});
  std::ranges::stable_sort(out, {}, [](const PricedCharge& one) { return one.session.start; });
  return out;
}

std::vector<ChargeSum> sums_by_place(const std::vector<PricedCharge>& charges,
                                     const Period& period) {
  std::map<std::string, RunningSum> places;
  for (const PricedCharge& charge : charges)
    if (period.holds(charge.session.start)) places[charge.cost.place].add(charge);
  std::vector<ChargeSum> out;
  for (auto& [place, sum] : places) {
    sum.out.place = place;
    out.push_back(sum.finish());
  }
  std::ranges::stable_sort(out, std::ranges::greater{}, [](const ChargeSum& sum) {
    return sum.grid_kwh.figure ? sum.grid_kwh.figure->value : -1;
  });
  return out;
}

std::vector<ChargeSum> sums_by_month(const std::vector<PricedCharge>& charges, const Period& period,
                                     const Zone& zone) {
  std::map<std::pair<std::string, std::string>, RunningSum> months;
  for (const PricedCharge& charge : charges)
    if (period.holds(charge.session.start))
      months[{zone.day(charge.session.start).substr(0, 7), charge.cost.place}].add(charge);
  std::vector<ChargeSum> out;
  for (auto& [key, sum] : months) {
    std::tie(sum.out.month, sum.out.place) = key;
    out.push_back(sum.finish());
  }
  return out;
}

ChargeHours charge_hours(const std::vector<PricedCharge>& charges, const Period& period,
                         const Zone& zone) {
  ChargeHours out;
  for (const PricedCharge& charge : charges) {
    if (!period.holds(charge.session.start)) continue;
    const TimeDoubt& doubt = charge.session.start_doubt;
    if (!doubt.too_late_ms || !doubt.too_early_ms ||
        *doubt.too_late_ms + *doubt.too_early_ms > kSureHourMs) {
      ++out.unsure;
      continue;
    }
    // "2026-03-01 06:00"
    const std::string minute = zone.minute(charge.session.start);
    std::size_t hour = 0;
    std::from_chars(minute.data() + 11, minute.data() + 13, hour);
    ++out.begun[std::min<std::size_t>(hour, 23)];
  }
  return out;
}

}  // namespace packmile
