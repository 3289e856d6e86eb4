#include "money/counter_cost.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <tuple>

#include "energy/figure_sum.hpp"
#include "energy/uncertainty.hpp"
#include "money/energy_cost.hpp"

namespace packmile {
namespace {

// Charges and notes of several vans as if they were one van's.
class Together {
 public:
  explicit Together(const std::vector<const CostInput*>& vans) : money_(*vans.front()->money) {
    for (const CostInput* van : vans) add(*van);
    std::ranges::sort(notes_.meter, {}, [](const MeterNote& note) {
      return std::tuple{note.when.from, note.when.to, note.id};
    });
    money_.meter->vans = {kName};
  }

  [[nodiscard]] EnergyCost energy(const CostSpan& span) const {
    CostInput input;
    input.van = kName;
    input.nominal_kwh = nominal_kwh_;
    input.sessions = sessions_;
    input.trips = trips_;
    input.priced = &priced_;
    input.notes = &notes_;
    input.money = &money_;
    return energy_cost_of(input, span);
  }
  [[nodiscard]] bool metered() const { return !notes_.meter.empty(); }

 private:
  static constexpr char kName[] = "together";

  void add(const CostInput& van) {
    const std::size_t before = sessions_.size();
    sessions_.insert(sessions_.end(), van.sessions.begin(), van.sessions.end());
    trips_.insert(trips_.end(), van.trips.begin(), van.trips.end());
    priced_.sessions.insert(priced_.sessions.end(), van.priced->sessions.begin(),
                            van.priced->sessions.end());
    for (NotedCharge noted : van.priced->noted) {
      if (noted.session) *noted.session += before;
      for (std::size_t& candidate : noted.candidates) candidate += before;
      priced_.noted.push_back(std::move(noted));
    }
    notes_.receipts.insert(notes_.receipts.end(), van.notes->receipts.begin(),
                           van.notes->receipts.end());
    notes_.meter.insert(notes_.meter.end(), van.notes->meter.begin(), van.notes->meter.end());
    // A charge of each may lie on either side of the period's border.
    if (van.nominal_kwh) nominal_kwh_ = nominal_kwh_.value_or(0) + *van.nominal_kwh;
  }

  MoneyFacts money_;
  std::vector<ChargeSession> sessions_;
  std::vector<Trip> trips_;
  PricedCharges priced_;
  VanNotes notes_;
  std::optional<double> nominal_kwh_;
};

MaybeFigure distance_of_all(const std::vector<const CostInput*>& vans, UtcTime from, UtcTime to) {
  FigureSum km;
  for (const CostInput* van : vans) {
    const VanCost cost = cost_of(*van, from, to);
    if (!cost.distance_km.figure)
      return MaybeFigure::unknown(fmt::format("{}: {}", van->van, cost.distance_km.why));
    if (!cost.short_distance.empty())
      return MaybeFigure::unknown(fmt::format("{}: {}", van->van, cost.short_distance));
    // Each odometer is off by itself: in quadrature.
    Figure one = *cost.distance_km.figure;
    one.scatter = one.high - one.value;
    km.add(one);
  }
  return km.maybe("the counter has no van");
}

}  // namespace

std::optional<CounterCost> counter_cost_of(std::span<const CostInput> vans, UtcTime from,
                                           UtcTime to) {
  if (vans.empty() || !vans.front().money->meter) return std::nullopt;
  const DepotMeter& meter = *vans.front().money->meter;
  if (meter.vans.size() < 2) return std::nullopt;
  CounterCost out;
  out.from = from;
  out.to = to;
  out.vans = meter.vans;
  if (const Place* place = vans.front().money->metered_place()) out.place = place->name;
  std::vector<const CostInput*> of_counter;
  double fill_squared = 0;
  std::string no_nominal;
  for (const std::string& name : meter.vans) {
    const auto van = std::ranges::find(vans, name, &CostInput::van);
    if (van == vans.end()) return std::nullopt;
    of_counter.push_back(&*van);
    if (van->nominal_kwh)
      fill_squared += *van->nominal_kwh * *van->nominal_kwh;
    else
      no_nominal = name;
  }
  const Together together{of_counter};
  if (!together.metered()) return std::nullopt;
  const EnergyCost energy = together.energy({from, to});
  out.grid_kwh = energy.grid_kwh;
  out.energy_cost = energy.energy_cost;
  out.distance_km = distance_of_all(of_counter, from, to);
  const Zone& zone = vans.front().money->zone;
  const double days = zone.days_at(to) - zone.days_at(from);
  std::string why;
  if (!out.distance_km.figure)
    why = out.distance_km.why;
  else if (out.distance_km.figure->value < kLeastMiles * kKmPerMile)
    why = fmt::format("under {:.0f} miles there is no figure by the mile", kLeastMiles);
  const auto by_mile = [&](const MaybeFigure& figure, const std::string& no) {
    if (!no.empty()) return MaybeFigure::unknown(no);
    if (!figure.figure) return MaybeFigure::unknown(figure.why);
    return MaybeFigure::known(
        quotient(*figure.figure, scaled(*out.distance_km.figure, 1 / kKmPerMile)));
  };
  out.energy_cost_per_mile = by_mile(out.energy_cost, why.empty() ? energy.too_little : why);
  if (why.empty() && !no_nominal.empty())
    why = fmt::format("enter nominal_kwh of {} in fleet.toml", no_nominal);
  if (why.empty() && days < kLeastMeterDays)
    why = fmt::format("what was in the packs at either end weighs too much under {:.0f} days",
                      kLeastMeterDays);
  out.grid_kwh_per_mile =
      !why.empty() || !out.grid_kwh.figure
          ? by_mile(out.grid_kwh, why)
          : MaybeFigure::known(meter_kwh_per_mile(*out.grid_kwh.figure, *out.distance_km.figure,
                                                  std::sqrt(fill_squared)));
  return out;
}

}  // namespace packmile
