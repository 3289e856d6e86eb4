#include "ledger/van_cost.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "energy/figure_sum.hpp"

namespace packmile {
namespace {

constexpr char kNotHeard[] = "a note tells of this charge; the van was not heard";

// nullptr: the owner has not said what was paid for it.
const Purchase* purchase_of(const VanNames& names, const Fleet& fleet) {
  const FleetVan* van = fleet.van_of_name(names.van);
  const bool other =
      van != nullptr && !van->vin.empty() && !names.vin.empty() && van->vin != names.vin;
  return van == nullptr || other || !van->purchase ? nullptr : &*van->purchase;
}

NoteTime day_of(const std::chrono::year_month_day& day, const Zone& zone) {
  const auto at =
      zone.read(fmt::format("{:04}-{:02}-{:02}", static_cast<int>(day.year()),
                            static_cast<unsigned>(day.month()), static_cast<unsigned>(day.day())));
  if (!at) return {};
  const Zone::Day whole = zone.day_of(*at);
  return {whole.from, whole.to};
}

// Opinions of one day count as their mean, and beside what was paid not at all.
std::vector<ValuePoint> one_a_day(const std::vector<ValuePoint>& points) {
  std::vector<ValuePoint> out;
  for (std::size_t k = 0; k < points.size();) {
    std::size_t end = k + 1;
    while (end < points.size() && points[end].at == points[k].at) ++end;
    ValuePoint one{points[k].at, 0, 0, false};
    const ValuePoint* paid = nullptr;
    for (std::size_t i = k; i < end; ++i) {
      one.sum += points[i].sum / static_cast<double>(end - k);
      one.u += points[i].u / static_cast<double>(end - k);
      if (points[i].u == 0 && (paid == nullptr || points[i].sold)) paid = &points[i];
    }
    out.push_back(paid != nullptr ? *paid : one);
    k = end;
  }
  return out;
}

std::vector<ValuePoint> values_of(const VanNotes& notes, const Purchase* purchase,
                                  const Zone& zone) {
  std::vector<ValuePoint> out;
  if (purchase != nullptr)
    out.push_back({day_of(purchase->day, zone).from, purchase->sum, 0, false});
  for (const ValuationNote& note : notes.valuations)
    out.push_back({note.when.from, note.sum, kValuationShare * note.sum / std::sqrt(3.0), false});
  for (const SoldNote& note : notes.sold) out.push_back({note.when.from, note.sum, 0, true});
  std::ranges::stable_sort(out, {}, &ValuePoint::at);
  // What was noted behind the sale is another owner's.
  const auto sold = std::ranges::find(out, true, &ValuePoint::sold);
  if (sold != out.end()) out.erase(sold + 1, out.end());
  return one_a_day(out);
}

// What the van was this owner's; a sale that is dated before the purchase is none.
OwnedSpan owned_span(const VanNames& names, std::span<const ValuePoint> values,
                     const Fleet& fleet) {
  OwnedSpan out;
  if (const Purchase* purchase = purchase_of(names, fleet))
    out.from = day_of(purchase->day, fleet.zone).from;
  if (!values.empty() && values.back().sold && (!out.from || values.back().at > *out.from))
    out.to = values.back().at;
  return out;
}

}  // namespace

VanMoney van_money(const VanNames& names, VanParts parts, VanNotes notes, const Fleet& fleet) {
  VanMoney out{names.van, std::move(parts), std::move(notes), {}, {}, {}, {}};
  out.priced = price_charges(out.parts.sessions, out.parts.trips, out.notes, fleet.money,
                             [&](UtcTime at) { return fleet.zone.minute(at); });
  const Purchase* purchase = purchase_of(names, fleet);
  out.values = values_of(out.notes, purchase, fleet.zone);
  out.owned = owned_span(names, out.values, fleet);
  for (const OdometerReading& reading : out.parts.trace.odometer)
    out.odometer.push_back({{reading.time, reading.time}, reading.odometer_km});
  for (const OdometerNote& note : out.notes.odometer)
    out.odometer.push_back({note.when, note.km, note.step_km});
  if (purchase != nullptr && purchase->odometer_km)
    out.odometer.push_back({day_of(purchase->day, fleet.zone), *purchase->odometer_km, 1});
  return out;
}

OwnedSpan owned_of(const VanNames& names, const VanNotes& notes, const Fleet& fleet) {
  return owned_span(names, values_of(notes, purchase_of(names, fleet), fleet.zone), fleet);
}

CostInput cost_input(const VanMoney& van, const Fleet& fleet, std::span<const OwnedSpan> sharing) {
  CostInput input;
  input.van = van.van;
  input.nominal_kwh = van.parts.facts.nominal_kwh;
  input.sessions = van.parts.sessions;
  input.trips = van.parts.trips;
  input.stands = van.parts.stands;
  input.priced = &van.priced;
  input.notes = &van.notes;
  input.odometer = van.odometer;
  input.values = van.values;
  input.money = &fleet.money;
  input.fixed = fleet.fixed_costs;
  input.labour_rate = fleet.labour_rate;
  input.owned_from = van.owned.from;
  input.owned_to = van.owned.to;
  // A standing charge is shared by the vans of fleet.toml.
  if (fleet.van_of_name(van.van) != nullptr) input.sharing = sharing;
  return input;
}

MaybeFigure fleet_cost_per_mile(std::span<const VanCost> costs) {
  FigureSum sum, km;
  for (const VanCost& cost : costs) {
    if (!cost.cost_per_mile.figure || !cost.total_cost.figure || !cost.distance_km.figure) continue;
    sum.add(*cost.total_cost.figure);
    km.add(*cost.distance_km.figure, 1 / kKmPerMile);
  }
  if (!sum.known() || !(km.figure().low > 0))
    return MaybeFigure::unknown("no van has a cost per mile in this period");
  return MaybeFigure::known(quotient(sum.figure(), km.figure()));
}

NotedSessions noted_sessions(const VanMoney& van, const Fleet& fleet) {
  NotedSessions out;
  for (const NotedCharge& noted : van.priced.noted) {
    // A counter that did not tell one charge may have counted many.
    if (noted.session || !noted.candidates.empty() || noted.kind != NoteKind::receipt) continue;
    const auto receipt = std::ranges::find(van.notes.receipts, noted.note_id, &ReceiptNote::id);
    ChargeSession session;
    session.start = noted.when.from;
    session.end = noted.when.to;
    // Somewhere in its day.
    const auto length = (noted.when.to - noted.when.from).count();
    session.start_doubt = {0, length};
    session.end_doubt = {length, 0};
    session.source = SessionSource::noted;
    session.pack_kwh = session.pack_ah = session.peak_kw = MaybeFigure::unknown(kNotHeard);
    session.filled_kwh = MaybeFigure::unknown(kNotHeard);
    SessionCost cost;
    cost.place = receipt->place;
    cost.source = PlaceSource::noted;
    cost.receipt = noted.note_id;
    cost.cost = MaybeFigure::known({receipt->sum_paid, receipt->sum_paid, receipt->sum_paid, 0});
    cost.grid_kwh = MaybeFigure::known(
        metered_kwh(noted.kwh, noted.step_kwh, fleet.money.meter.value_or(DepotMeter{}).error_pct));
    session.grid_kwh = cost.grid_kwh;
    out.sessions.push_back(std::move(session));
    out.costs.push_back(std::move(cost));
  }
  return out;
}

std::vector<Column> cost_columns() {
  using enum ColumnKind;
  return {{"van", text, false},
          {"period_start", time, false},
          {"period_end", time, false},
          {"distance_km", figure, true},
          {"energy_cost", figure, true},
          {"tyres_cost", figure, true},
          {"parts_cost", figure, true},
          {"labour_cost", figure, true},
          {"fixed_cost", figure, true},
          {"lost_days", figure, true},
          {"depreciation_cost", figure, true},
          {"total_cost", figure, true},
          {"cost_per_mile", figure, true},
          {"energy_cost_per_mile", figure, true},
          {"not_included", words, false},
          {"currency", text, false},
          {"cost_per_mile_without_depreciation", figure, true},
          {"hire_cost", figure, true},
          {"grid_kwh", figure, true},
          {"grid_kwh_per_mile", figure, true},
          {"charger_loss_cost", figure, true},
          {"standing_cost", figure, true},
          {"distance_from", time, true},
          {"distance_to", time, true}};
}

Row row_of(const std::string& van, const VanCost& cost, const std::string& currency) {
  const auto time = [&](const std::optional<UtcTime>& at) {
    return at ? Cell{*at, {}} : Cell::unknown(cost.distance_km.why);
  };
  Row row{{van, {}}, {cost.from, {}}, {cost.to, {}}};
  for (const MaybeFigure* f :
       {&cost.distance_km, &cost.energy_cost, &cost.tyres_cost, &cost.parts_cost, &cost.labour_cost,
        &cost.fixed_cost, &cost.lost_days, &cost.depreciation_cost, &cost.total_cost,
        &cost.cost_per_mile, &cost.energy_cost_per_mile})
    row.push_back(Cell::of(*f));
  std::vector<std::string> not_included;
  for (const LeftOut& one : cost.not_included) not_included.push_back(one.word);
  row.push_back({std::move(not_included), {}});
  row.push_back({currency, {}});
  for (const MaybeFigure* f :
       {&cost.cost_per_mile_without_depreciation, &cost.hire_cost, &cost.grid_kwh,
        &cost.grid_kwh_per_mile, &cost.charger_loss_cost, &cost.standing_cost})
    row.push_back(Cell::of(*f));
  row.push_back(time(cost.distance_from));
  row.push_back(time(cost.distance_to));
  return row;
}

}  // namespace packmile
