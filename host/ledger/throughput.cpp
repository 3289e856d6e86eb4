#include "ledger/throughput.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "energy/swings.hpp"
#include "ledger/figure_sum.hpp"
#include "reading/pack_reading.hpp"

namespace packmile {
namespace {

// 1 sd of a nominal capacity that the owner entered (common practice, no source).
constexpr double kNominalU = 0.05;
// Half-width of the assumption for the time before logging: until a year of
// months is known, and the least that is ever claimed (common practice, no source).
constexpr double kBeforeLoggingShare = 0.25;
constexpr double kBeforeLoggingLeastShare = 0.10;
constexpr std::size_t kBeforeLoggingMonths = 12;
// kWh per mile of less is noise over a short distance, as for one trip.
constexpr double kLeastDistanceKm = 1;
constexpr double kOdometerStepKm = 0.1;
constexpr double kMsPerHour = 3'600'000;

double ms_between(UtcTime from, UtcTime to) { return static_cast<double>((to - from).count()); }

Figure scaled(const Figure& f, double factor) {
  FigureSum sum;
  sum.add(f, factor);
  return sum.figure();
}

// Adds an estimate for gaps to the side that it belongs to: positive is `out`
// of the pack. Ah follow from the stretch's own volts, where it has any.
struct Account {
  FigureSum out_kwh, in_kwh, out_ah, in_ah;

  void add_filled(const MaybeFigure& filled_kwh, const MaybeFigure& kwh, const MaybeFigure& ah) {
    if (!filled_kwh.figure || filled_kwh.figure->value == 0) return;
    const bool out = filled_kwh.figure->value > 0;
    (out ? out_kwh : in_kwh).add(*filled_kwh.figure, out ? 1 : -1);
    if (kwh.figure && ah.figure && kwh.figure->value > 0)
      (out ? out_ah : in_ah)
          .add(scaled(*filled_kwh.figure, (out ? 1 : -1) * ah.figure->value / kwh.figure->value));
  }
};

// How much of the time and of the way the figures stand on.
struct Coverage {
  double ms = 0, covered_ms = 0;
  double covered_km = 0;

  void add(UtcTime start, UtcTime end, double share) {
    ms += ms_between(start, end);
    covered_ms += share * ms_between(start, end);
  }
};

// Such a distance is kept in its trip, and goes into nothing by the mile.
bool distance_doubted(const Trip& trip) {
  return std::ranges::any_of(trip.findings, [](Finding finding) {
    return finding == Finding::odometer_fell || finding == Finding::odometer_against_speed;
  });
}

MaybeFigure before_logging(const VanParts& parts, const Zone& zone) {
  if (parts.trace.odometer.empty())
    return MaybeFigure::unknown("the van never answered its odometer");
  std::map<UtcTime, std::pair<double, double>> months;  // start: kWh, km
  double kwh = 0, km = 0;
  for (const Trip& trip : parts.trips) {
    if (!trip.discharge_kwh.figure || !trip.distance_km.figure || distance_doubted(trip)) continue;
    auto& month = months[zone.month_of(trip.start).from];
    month.first += trip.discharge_kwh.figure->value;
    month.second += trip.distance_km.figure->value;
    kwh += trip.discharge_kwh.figure->value;
    km += trip.distance_km.figure->value;
  }
  if (km < kLeastDistanceKm)
    return MaybeFigure::unknown("no trip with energy and distance tells what a kilometre takes");
  double share = kBeforeLoggingShare;
  if (months.size() >= kBeforeLoggingMonths) {
    double sum = 0, squares = 0;
    std::size_t n = 0;
    for (const auto& [start, month] : months) {
      if (month.second < kLeastDistanceKm) continue;
      const double per_km = month.first / month.second;
      sum += per_km;
      squares += per_km * per_km;
      ++n;
    }
    if (n >= kBeforeLoggingMonths) {
      const auto count = static_cast<double>(n);
      const double mean = sum / count;
      const double sd = std::sqrt(std::max(0.0, (squares - sum * mean) / (count - 1)));
      share = std::max(kBeforeLoggingLeastShare, 2 * sd / mean);
    }
  }
  const double value = parts.trace.odometer.front().odometer_km * kwh / km;
  return MaybeFigure::known({value, value * std::max(0.0, 1 - share), value * (1 + share), 0});
}

MaybeFigure full_cycles_of(const MaybeFigure& discharge_ah, const VanFacts& facts) {
  if (!facts.nominal_ah)
    return MaybeFigure::unknown("nominal_ah is not in fleet.toml for this van");
  if (!discharge_ah.figure) return MaybeFigure::unknown(discharge_ah.why);
  return MaybeFigure::known(quotient(
      *discharge_ah.figure, figure_of(*facts.nominal_ah, 0, *facts.nominal_ah * kNominalU)));
}

// Hours of one band; the other two kinds of it give the interval.
MaybeFigure hours_of(const TraceLines& trace, const Period& period, SocBandKind middle,
                     SocBandKind least, SocBandKind most) {
  if (trace.turns.empty())
    return MaybeFigure::unknown("the van never answered its state of charge");
  const auto hours = [&](SocBandKind kind) {
    double ms = 0;
    for (const SocBand& band : trace.bands) {
      if (band.kind != kind) continue;
      const UtcTime from = period.from ? std::max(band.start, *period.from) : band.start;
      const UtcTime to = period.to ? std::min(band.end, *period.to) : band.end;
      if (to > from) ms += ms_between(from, to);
    }
    return ms / kMsPerHour;
  };
  return MaybeFigure::known({hours(middle), hours(least), hours(most), 0});
}

// Which rows a period takes: those whose said start lies in it; only those that
// cannot have started outside; or all that may have started in it.
enum class Takes : std::uint8_t { said, sure, all };

struct Membership {
  const Period& period;
  Takes takes = Takes::said;

  template <typename Row>
  [[nodiscard]] bool has(const Row& row) const {
    switch (takes) {
      case Takes::said:
        return period.holds(row.start);
      case Takes::sure:
        return period.surely_holds(row.start, row.start_doubt);
      case Takes::all:
        return period.may_hold(row.start, row.start_doubt);
    }
    return false;
  }
  template <typename Row>
  [[nodiscard]] std::int64_t unsure(const std::vector<Row>& rows) const {
    return std::ranges::count_if(rows, [&](const Row& row) {
      return period.may_hold(row.start, row.start_doubt) &&
             !period.surely_holds(row.start, row.start_doubt);
    });
  }
};

void add_charging(const VanParts& parts, const Membership& member, Throughput& out) {
  FigureSum dc, ac, other;
  double hours = 0, doubtful_hours = 0;
  for (const ChargeSession& session : parts.sessions) {
    if (!member.has(session)) continue;
    const double session_hours = ms_between(session.start, session.end) / kMsPerHour;
    FigureSum* side = &other;
    switch (session.kind) {
      case ChargeKind::ac:
        side = &ac;
        break;
      case ChargeKind::dc:
        side = &dc;
        break;
      case ChargeKind::unknown:
        break;
    }
    side->add(session.pack_kwh);
    // A charge that was only inferred lies somewhere in its silence.
    const bool seen = session.source == SessionSource::measured;
    if (session.kind == ChargeKind::ac && seen) hours += session_hours;
    if (session.kind != ChargeKind::dc && !(session.kind == ChargeKind::ac && seen))
      doubtful_hours += session_hours;
  }
  // Never 0 because nobody knows.
  out.charger_hours =
      hours > 0 || doubtful_hours == 0
          ? MaybeFigure::known({hours, hours, hours + doubtful_hours, 0})
          : MaybeFigure::unknown("no charge shows whether it used the on-board charger");

  const Figure d = dc.figure(), a = ac.figure();
  const double known_kwh = d.value + a.value;
  const double all_kwh = known_kwh + other.figure().value;
  if (!(known_kwh > 0)) {
    out.dc_share = other.known()
                       ? MaybeFigure::unknown("no charge shows whether it was AC or DC")
                       : MaybeFigure::unknown(other.maybe("no charge in this period").why);
    return;
  }
  const double share = d.value / known_kwh;
  const IntervalParts pd = parts_of(d), pa = parts_of(a);
  const double random = std::hypot((1 - share) * pd.random, share * pa.random) / known_kwh;
  // One sensor measures both: what it errs by goes the same way in each.
  const double systematic =
      std::abs((1 - share) * pd.systematic_above - share * pa.systematic_above) / known_kwh;
  const double half = std::hypot(random, systematic);
  out.dc_share = MaybeFigure::known(
      {share, std::max(0.0, d.value / all_kwh - half),
       std::min(1.0, (d.value + other.figure().value) / all_kwh + half), random});
}

// Of the rows that a membership takes.
Throughput figures_of(const VanParts& parts, const Membership& member, const Zone& zone) {
  const Period& period = member.period;
  Throughput out;
  out.none_why = "no record of this van in the period";
  Account account;
  FigureSum standing_kwh, trip_kwh, trip_km;
  Coverage known, seen;
  const auto span = [&](const auto& row) {
    const auto& [start, end] = std::pair{row.start, row.end};
    // Nothing says when that was.
    if (row.start_doubt.boundless()) return;
    if (!out.measured_from || start < *out.measured_from) out.measured_from = start;
    if (!out.measured_to || end > *out.measured_to) out.measured_to = end;
  };

  for (const Trip& trip : parts.trips) {
    if (!member.has(trip)) continue;
    span(trip);
    account.out_kwh.add(trip.discharge_kwh);
    account.in_kwh.add(trip.regen_kwh);
    account.out_ah.add(trip.discharge_ah);
    account.in_ah.add(trip.regen_ah);
    const bool has_lobes = trip.discharge_kwh.figure.has_value();
    // An energy from the SoC alone has no lobes: its net goes to one side.
    if (!has_lobes) account.add_filled(trip.net_kwh, {}, {});
    account.add_filled(trip.filled_kwh, trip.discharge_kwh, trip.discharge_ah);
    const bool energy = trip.net_kwh.figure.has_value();
    known.add(trip.start, trip.end, energy ? trip.coverage : 0);
    seen.add(trip.start, trip.end, trip.coverage);
    if (trip.distance_km.figure) {
      (energy ? known : seen).covered_km += trip.distance_km.figure->value;
      if (energy) seen.covered_km += trip.distance_km.figure->value;
      if (energy && !distance_doubted(trip)) {
        trip_km.add(*trip.distance_km.figure);
        trip_kwh.add(*trip.net_kwh.figure);
        if (trip.filled_kwh.figure) trip_kwh.add(*trip.filled_kwh.figure);
      }
    }
  }
  for (const ChargeSession& session : parts.sessions) {
    if (!member.has(session)) continue;
    account.in_kwh.add(session.pack_kwh);
    account.in_ah.add(session.pack_ah);
    if (session.filled_kwh.figure)
      account.add_filled(MaybeFigure::known(scaled(*session.filled_kwh.figure, -1)),
                         session.pack_kwh, session.pack_ah);
    // The silence in which an inferred charge lies is no awake time.
    if (session.source != SessionSource::measured) continue;
    span(session);
    known.add(session.start, session.end, session.pack_kwh.figure ? session.coverage : 0);
    seen.add(session.start, session.end, session.coverage);
  }
  for (const Stand& stand : parts.stands) {
    if (!member.has(stand)) continue;
    account.out_kwh.add(stand.discharge_kwh);
    account.in_kwh.add(stand.charge_kwh);
    account.out_ah.add(stand.discharge_ah);
    account.in_ah.add(stand.charge_ah);
    standing_kwh.add(stand.discharge_kwh);
    if (stand.filled_kwh.figure) {
      account.add_filled(stand.filled_kwh, stand.discharge_kwh, stand.discharge_ah);
      if (stand.filled_kwh.figure->value > 0) standing_kwh.add(*stand.filled_kwh.figure);
    }
    // A silence in which the charge fell is no awake time.
    if (stand.coverage <= 0) continue;
    span(stand);
    const bool energy = stand.net_kwh.figure.has_value();
    known.add(stand.start, stand.end, energy ? stand.coverage : 0);
    seen.add(stand.start, stand.end, stand.coverage);
  }

  const std::string& none = out.none_why;
  out.discharge_kwh = account.out_kwh.maybe(none);
  out.charge_kwh = account.in_kwh.maybe(none);
  out.discharge_ah = account.out_ah.maybe(none);
  out.charge_ah = account.in_ah.maybe(none);
  out.standing_kwh = standing_kwh.maybe(out.measured_from ? "no standing time was seen" : none);
  out.full_cycles = full_cycles_of(out.discharge_ah, parts.facts);

  if (!trip_km.known()) {
    out.kwh_per_mile = MaybeFigure::unknown(
        account.out_kwh.known() ? "no trip has both energy and distance" : out.discharge_kwh.why);
  } else if (trip_km.figure().value < kLeastDistanceKm) {
    out.kwh_per_mile = MaybeFigure::unknown("less than 1 km was driven");
  } else {
    out.kwh_per_mile =
        MaybeFigure::known(quotient(trip_kwh.figure(), scaled(trip_km.figure(), 1 / kKmPerMile)));
  }

  std::optional<double> odometer_first_km, odometer_last_km;
  for (const OdometerReading& reading : parts.trace.odometer) {
    if (!period.holds(reading.time)) continue;
    if (!odometer_first_km) odometer_first_km = reading.odometer_km;
    odometer_last_km = reading.odometer_km;
  }
  // The van cuts its reading down to the step.
  out.odometer_km = odometer_last_km
                        ? MaybeFigure::known({*odometer_last_km, *odometer_last_km,
                                              *odometer_last_km + kOdometerStepKm, 0})
                        : MaybeFigure::unknown("the van answered no odometer in this period");

  // Where no energy at all is known, the figures are null anyway, and the
  // coverage says what was seen.
  const Coverage& basis = account.out_kwh.known() || account.in_kwh.known() ? known : seen;
  if (basis.ms > 0) {
    double coverage = basis.covered_ms / basis.ms;
    if (odometer_last_km && *odometer_last_km - *odometer_first_km > kLeastDistanceKm)
      coverage = std::min(coverage, basis.covered_km / (*odometer_last_km - *odometer_first_km));
    out.coverage = std::clamp(coverage, 0.0, 1.0);
  }

  out.before_logging_kwh = before_logging(parts, zone);
  add_charging(parts, member, out);
  out.hours_soc_high = hours_of(parts.trace, period, SocBandKind::high, SocBandKind::high_at_least,
                                SocBandKind::high_at_most);
  out.hours_soc_low = hours_of(parts.trace, period, SocBandKind::low, SocBandKind::low_at_least,
                               SocBandKind::low_at_most);

  SocSwings swings;
  bool any_soc = false;
  for (const SocTurn& turn : parts.trace.turns) {
    if (!period.holds(turn.time)) continue;
    any_soc = true;
    // Turns have their hysteresis already; whole codes are whole again.
    swings.observe(std::round(turn.soc_pct / kSocPctPerCode * 1e6) / 1e6);
  }
  if (any_soc)
    out.swings = swings.finish();
  else
    out.swings_why = "the van answered no state of charge in this period";
  for (const LostStretch& lost : parts.lost)
    if ((!period.to || !lost.from || *lost.from < *period.to) &&
        (!period.from || !lost.to || *lost.to > *period.from))
      out.lost.push_back(lost);
  return out;
}

// The figure of the rows that were said to be in the period, with an interval that
// holds it for any of those that may be. `sum`: of none of them it is 0.
void widen(MaybeFigure& said, const MaybeFigure& sure, const MaybeFigure& all, bool sum) {
  if (!said.figure) return;
  if (sum && !sure.figure) said.figure->low = std::min(said.figure->low, 0.0);
  for (const MaybeFigure* other : {&sure, &all}) {
    if (!other->figure) continue;
    said.figure->low = std::min(said.figure->low, other->figure->low);
    said.figure->high = std::max(said.figure->high, other->figure->high);
  }
}

}  // namespace

Throughput throughput_of(const VanParts& parts, const Period& period, const Zone& zone) {
  const Membership member{period, Takes::said};
  Throughput out = figures_of(parts, member, zone);
  out.unsure_rows = member.unsure(parts.trips) + member.unsure(parts.sessions);
  if (out.unsure_rows + member.unsure(parts.stands) == 0) return out;
  const Throughput sure = figures_of(parts, {period, Takes::sure}, zone);
  const Throughput all = figures_of(parts, {period, Takes::all}, zone);
  for (const auto figure :
       {&Throughput::discharge_kwh, &Throughput::charge_kwh, &Throughput::discharge_ah,
        &Throughput::charge_ah, &Throughput::full_cycles, &Throughput::standing_kwh,
        &Throughput::charger_hours})
    widen(out.*figure, sure.*figure, all.*figure, true);
  for (const auto figure : {&Throughput::kwh_per_mile, &Throughput::dc_share})
    widen(out.*figure, sure.*figure, all.*figure, false);
  return out;
}

std::vector<Column> throughput_columns() {
  using enum ColumnKind;
  return {{"van", text, false},
          {"vin", text, true},
          {"discharge_kwh", figure, true},
          {"charge_kwh", figure, true},
          {"discharge_ah", figure, true},
          {"charge_ah", figure, true},
          {"full_cycles", figure, true},
          {"odometer_km", figure, true},
          {"kwh_per_mile", figure, true},
          {"standing_kwh", figure, true},
          {"measured_from", time, true},
          {"measured_to", time, true},
          {"coverage", real, true},
          {"before_logging_kwh", figure, true},
          {"before_logging_source", text, false},
          {"dc_share", figure, true},
          {"charger_hours", figure, true},
          {"hours_soc_high", figure, true},
          {"hours_soc_low", figure, true},
          {"swings", swings, true},
          {"lost", lost, false}};
}

Row row_of(const VanNames& van, const Throughput& t) {
  const auto time_or = [&](const std::optional<UtcTime>& at) {
    return at ? Cell{*at, {}} : Cell::unknown(t.none_why);
  };
  Row row;
  row.push_back({van.van, {}});
  row.push_back(van.vin.empty() ? Cell::unknown("the van never answered its VIN")
                                : Cell{van.vin, {}});
  for (const MaybeFigure* f : {&t.discharge_kwh, &t.charge_kwh, &t.discharge_ah, &t.charge_ah,
                               &t.full_cycles, &t.odometer_km, &t.kwh_per_mile, &t.standing_kwh})
    row.push_back(Cell::of(*f));
  row.push_back(time_or(t.measured_from));
  row.push_back(time_or(t.measured_to));
  row.push_back(t.coverage ? Cell{*t.coverage, {}} : Cell::unknown(t.none_why));
  row.push_back(Cell::of(t.before_logging_kwh));
  row.push_back({std::string{t.before_logging_kwh.figure ? "assumed" : "unknown"}, {}});
  for (const MaybeFigure* f : {&t.dc_share, &t.charger_hours, &t.hours_soc_high, &t.hours_soc_low})
    row.push_back(Cell::of(*f));
  row.push_back(t.swings ? Cell{*t.swings, {}} : Cell::unknown(t.swings_why));
  row.push_back({t.lost, {}});
  return row;
}

}  // namespace packmile
