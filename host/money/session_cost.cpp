#include "money/session_cost.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "energy/session.hpp"
#include "energy/uncertainty.hpp"
#include "money/meter_stretches.hpp"

namespace packmile {
namespace {

using std::chrono::milliseconds;

constexpr char kNoTariff[] =
    "fleet.toml has no tariff: write a [[tariff]] with its bands, and a [[place]] that has it";
constexpr char kNoPlace[] =
    "nobody has said where this charge was: note its receipt or the meter, or give the place in "
    "fleet.toml hours or a driven distance that fit it";

double hours_of(const ChargeSession& session) {
  return std::chrono::duration<double, std::ratio<3600>>(session.end - session.start).count();
}

// The session's time was heard: it came as its curve says, and no earlier or later
// than its clock may be wrong.
bool heard(const ChargeSession& session) {
  return session.source == SessionSource::measured && session.end > session.start;
}

std::vector<CurvePoint> curve_of(const ChargeSession& session) {
  if (session.curve.size() >= 2 && session.curve.back().kwh > session.curve.front().kwh)
    return session.curve;
  // Evenly, where only the state of charge told of it.
  return {{0, 0}, {(session.end - session.start).count(), 1}};
}

// Without a kind: from what a post would have given to what a charger on board
// would have drawn.
MaybeFigure grid_of(const ChargeSession& session) {
  if (session.grid_kwh.figure || !session.pack_kwh.figure) return session.grid_kwh;
  Figure all = *session.pack_kwh.figure;
  if (session.filled_kwh.figure) all = sum_of(all, *session.filled_kwh.figure);
  const double hours = heard(session) ? hours_of(session) : 0;
  const Figure least = *grid_energy_kwh(ChargeKind::dc, all, hours).figure;
  const Figure most = *grid_energy_kwh(ChargeKind::ac, all, hours).figure;
  return MaybeFigure::known({(least.value + most.value) / 2, least.low, most.high, least.scatter});
}

MaybeFigure cost_at(const ChargeSession& session, const Figure& grid, const Tariff& tariff,
                    const Zone& zone) {
  const PriceList* list = list_at(tariff, session.start);
  const auto no_price = [&] {
    return MaybeFigure::unknown(fmt::format(
        "tariff '{}' has no price for all of {}: give it a list that is valid from then",
        tariff.name, zone.day(session.start)));
  };
  if (list == nullptr) return no_price();
  std::optional<PriceRange> price;
  const auto start_low = session.start_doubt.earliest(session.start);
  const auto end_high = session.end_doubt.latest(session.end);
  double least_minutes = 0, minutes = 0, most_minutes = 0;
  if (heard(session)) {
    const auto end_low = session.end_doubt.earliest(session.end);
    const auto start_high = session.start_doubt.latest(session.start);
    if (start_low && start_high && end_low && end_high) {
      const milliseconds early = std::max(session.start - *start_low, session.end - *end_low);
      const milliseconds late = std::max(*start_high - session.start, *end_high - session.end);
      price = mean_price_within(tariff, zone, curve_of(session), session.start,
                                session.start - early, session.start + late);
    }
    least_minutes = minutes = most_minutes = hours_of(session) * 60;
  } else {
    if (start_low && end_high) price = price_range(tariff, zone, *start_low, *end_high);
    most_minutes = hours_of(session) * 60;
    minutes = most_minutes / 2;
  }
  if (!start_low || !end_high) {
    // It may have been at any time: every price that the tariff ever had.
    price = PriceRange{list->bands.front().per_kwh, 0, list->bands.front().per_kwh};
    for (const PriceList& one : tariff.lists)
      for (const PriceBand& band : one.bands) {
        price->low = std::min(price->low, band.per_kwh);
        price->high = std::max(price->high, band.per_kwh);
      }
    price->mean = (price->low + price->high) / 2;
  }
  if (!price) return no_price();
  const auto fees = [&](double of_minutes) {
    return list->per_session + list->per_minute * of_minutes;
  };
  return MaybeFigure::known({grid.value * price->mean + fees(minutes),
                             std::fmax(0, grid.low) * price->low + fees(least_minutes),
                             grid.high * price->high + fees(most_minutes),
                             grid.scatter * price->mean});
}

// Cheapest to dearest: whichever of the tariffs it was.
MaybeFigure cost_at_any(const ChargeSession& session, const Figure& grid,
                        const std::vector<const Tariff*>& tariffs, const Zone& zone) {
  std::optional<Figure> out;
  double least = 0, most = 0;
  for (const Tariff* tariff : tariffs) {
    const MaybeFigure one = cost_at(session, grid, *tariff, zone);
    if (!one.figure) return one;
    if (!out) {
      out = one.figure;
      least = most = out->value;
    }
    out->low = std::min(out->low, one.figure->low);
    out->high = std::max(out->high, one.figure->high);
    out->scatter = std::max(out->scatter, one.figure->scatter);
    least = std::min(least, one.figure->value);
    most = std::max(most, one.figure->value);
  }
  if (!out) return MaybeFigure::unknown(kNoTariff);
  out->value = (least + most) / 2;
  return MaybeFigure::known(*out);
}

// What the van drove since the charge before, trip by trip.
class Driven {
 public:
  explicit Driven(std::span<const Trip> trips) : trips_(trips) {}

  // Sessions come in order of start. Absent: the first charge, or a trip whose
  // distance is not known.
  [[nodiscard]] std::optional<double> before(const ChargeSession& session) {
    std::optional<double> km = any_ ? std::optional{0.0} : std::nullopt;
    for (; next_ < trips_.size() && trips_[next_].start < session.start; ++next_) {
      const MaybeFigure& distance = trips_[next_].distance_km;
      km = km && distance.figure ? std::optional{*km + distance.figure->value} : std::nullopt;
    }
    any_ = true;
    return km;
  }

 private:
  std::span<const Trip> trips_;
  std::size_t next_ = 0;
  bool any_ = false;
};

bool fits(const Place& place, const Zone& zone, const ChargeSession& session,
          const std::optional<double>& driven_km) {
  if (!place.has_rule()) return false;
  if (place.hours && !surely_holds(*place.hours, zone, session.start, session.start_doubt))
    return false;
  if (place.driven_from_km && !(driven_km && *driven_km >= *place.driven_from_km)) return false;
  return !place.driven_to_km || (driven_km && *driven_km < *place.driven_to_km);
}

void add_once(std::vector<const Tariff*>& list, const Tariff* tariff) {
  if (tariff != nullptr && std::ranges::find(list, tariff) == list.end()) list.push_back(tariff);
}

class Pricing {
 public:
  explicit Pricing(const MoneyFacts& facts) : facts_(facts) {}

  void price(const ChargeSession& session, const std::optional<double>& driven_km,
             SessionCost& out) const {
    if (out.source == PlaceSource::unknown) place(session, driven_km, out);
    if (out.cost.figure) return;
    if (!out.grid_kwh.figure) {
      out.cost = MaybeFigure::unknown(out.grid_kwh.why);
      return;
    }
    if (const Place* known = facts_.place_named(out.place)) {
      const Tariff* tariff = facts_.tariff_named(known->tariff);
      out.cost =
          tariff != nullptr
              ? cost_at(session, *out.grid_kwh.figure, *tariff, facts_.zone)
              : MaybeFigure::unknown(fmt::format(
                    "place '{}' has no tariff in fleet.toml: note the receipt, or give it one",
                    known->name));
      return;
    }
    std::vector<const Tariff*> tariffs;
    bool all_known = true;
    for (const Place* place : candidates_of(session, driven_km)) {
      const Tariff* tariff = facts_.tariff_named(place->tariff);
      all_known = all_known && tariff != nullptr;
      add_once(tariffs, tariff);
    }
    // At a place without a tariff it may have cost what it does anywhere.
    if (tariffs.empty() || !all_known)
      for (const Tariff& tariff : facts_.tariffs) add_once(tariffs, &tariff);
    out.cost = cost_at_any(session, *out.grid_kwh.figure, tariffs, facts_.zone);
  }

 private:
  [[nodiscard]] std::vector<const Place*> candidates_of(
      const ChargeSession& session, const std::optional<double>& driven_km) const {
    std::vector<const Place*> out;
    for (const Place& place : facts_.places)
      if (fits(place, facts_.zone, session, driven_km)) out.push_back(&place);
    return out;
  }

  void place(const ChargeSession& session, const std::optional<double>& driven_km,
             SessionCost& out) const {
    const auto candidates = candidates_of(session, driven_km);
    if (candidates.size() == 1) {
      out.place = candidates.front()->name;
      out.source = PlaceSource::assumed;
      out.place_why.clear();
      return;
    }
    out.place_why = kNoPlace;
    if (candidates.empty()) return;
    std::vector<std::string> names;
    for (const Place* place : candidates) names.push_back("'" + place->name + "'");
    out.place_why = fmt::format(
        "the rules of {} all fit it: make hours or driven distances in fleet.toml tell them apart, "
        "or note the receipt",
        fmt::join(names, " and "));
  }

  const MoneyFacts& facts_;
};

}  // namespace

PricedCharges price_charges(std::span<const ChargeSession> sessions, std::span<const Trip> trips,
                            const VanNotes& notes, const MoneyFacts& facts,
                            const std::function<std::string(UtcTime)>& time_text) {
  PricedCharges out;
  out.noted = match_noted_charges(notes, sessions, time_text);
  out.sessions.resize(sessions.size());
  for (std::size_t k = 0; k < sessions.size(); ++k) {
    out.sessions[k].grid_kwh = grid_of(sessions[k]);
    out.sessions[k].cost = MaybeFigure::unknown(kNoTariff);
  }
  for (const NotedCharge& noted : out.noted) {
    if (!noted.session) continue;
    SessionCost& session = out.sessions[*noted.session];
    session.source = PlaceSource::noted;
    if (noted.kind == NoteKind::meter) {
      session.meter = noted.note_id;
      session.grid_kwh = MaybeFigure::known(
          metered_kwh(noted.kwh, noted.step_kwh, facts.meter.value_or(DepotMeter{}).error_pct));
      if (const Place* place = facts.metered_place()) {
        session.place = place->name;
      } else {
        session.source = PlaceSource::unknown;
        session.place_why =
            "which place the counter belongs to is not told: name it in [depot_meter] of "
            "fleet.toml";
      }
      continue;
    }
    const auto receipt = std::ranges::find(notes.receipts, noted.note_id, &ReceiptNote::id);
    session.receipt = noted.note_id;
    session.place = receipt->place;
    session.cost = MaybeFigure::known({receipt->sum_paid, receipt->sum_paid, receipt->sum_paid, 0});
    // A post may bill what it took from the grid, and is no better than a counter.
    if (!session.meter)
      session.grid_kwh =
          MaybeFigure::known(metered_kwh(noted.kwh, noted.step_kwh, DepotMeter{}.error_pct));
  }
  const Pricing pricing{facts};
  Driven driven{trips};
  for (std::size_t k = 0; k < sessions.size(); ++k)
    pricing.price(sessions[k], driven.before(sessions[k]), out.sessions[k]);
  return out;
}

}  // namespace packmile
