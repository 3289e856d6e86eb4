#include "ledger/throughput.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <utility>

#include "energy/swings.hpp"
#include "energy/figure_sum.hpp"
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
// Below this share of the odometer's distance the sums are those of a part.
constexpr double kPartlySeenShare = 0.8;
// 1 sd of the mean voltage of one stretch against that of the period, relative:
// it moves by a few per cent between driving and charging, full and empty
// (common practice, no source).
constexpr double kMeanVoltageU = 0.03;
// Out and in may differ by this share before it is worth a word, and by what the
// controller's own error of its state of charge (1 sd, points) leaves open.
constexpr double kOutAgainstInShare = 0.01;
constexpr double kSocErrorU = kSocErrorPct / kZ95;

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
  FigureSum out_kwh_alone, in_kwh_alone;  // energies whose Ah are not known

  void add_filled(const MaybeFigure& filled_kwh, const MaybeFigure& kwh, const MaybeFigure& ah) {
    if (!filled_kwh.figure || filled_kwh.figure->value == 0) return;
    const bool out = filled_kwh.figure->value > 0;
    const int sign = out ? 1 : -1;
    if (kwh.figure && ah.figure && kwh.figure->value > 0) {
      (out ? out_kwh : in_kwh).add(*filled_kwh.figure, sign);
      (out ? out_ah : in_ah)
          .add(scaled(*filled_kwh.figure, sign * ah.figure->value / kwh.figure->value));
    } else {
      (out ? out_kwh_alone : in_kwh_alone).add(*filled_kwh.figure, sign);
    }
  }
  void add_side(bool out, const MaybeFigure& kwh, const MaybeFigure& ah) {
    if (kwh.figure && !ah.figure) {
      (out ? out_kwh_alone : in_kwh_alone).add(kwh);
      (out ? out_ah : in_ah).add(ah);  // its reason
      return;
    }
    (out ? out_kwh : in_kwh).add(kwh);
    (out ? out_ah : in_ah).add(ah);
  }
  [[nodiscard]] bool known() const {
    return out_kwh.known() || in_kwh.known() || out_kwh_alone.known() || in_kwh_alone.known();
  }
  // Turns what has no Ah of its own into Ah, by the mean voltage of the rest or
  // the nominal one, and takes it in.
  void close(const VanFacts& facts) {
    const double kwh = out_kwh.figure().value + in_kwh.figure().value;
    const double ah = out_ah.figure().value + in_ah.figure().value;
    double kv = 0;
    if (ah > 0 && kwh > 0)
      kv = kwh / ah;
    else if (facts.nominal_kwh && facts.nominal_ah)
      kv = *facts.nominal_kwh / *facts.nominal_ah;
    const auto take = [&](const FigureSum& alone, FigureSum& sum_kwh, FigureSum& sum_ah) {
      if (!alone.known()) return;
      sum_kwh.add(alone.figure());
      if (kv > 0) sum_ah.add(quotient(alone.figure(), figure_of(kv, 0, kv * kMeanVoltageU)));
    };
    take(out_kwh_alone, out_kwh, out_ah);
    take(in_kwh_alone, in_kwh, in_ah);
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

struct BeforeLogging {
  MaybeFigure kwh, ah;
  static BeforeLogging unknown(const std::string& why) {
    return {MaybeFigure::unknown(why), MaybeFigure::unknown(why)};
  }
};

constexpr char kNeverHeard[] =
    "no logger ever heard this van: packmile check CARD says what its port answers, "
    "hardware-notes/signals.md how to ask for more; until then notes tell what it costs and its "
    "kWh at the socket (packmile cost)";

bool never_heard(const VanParts& parts) {
  return parts.trips.empty() && parts.sessions.empty() && parts.stands.empty() &&
         parts.trace.odometer.empty() && parts.trace.turns.empty();
}

BeforeLogging before_logging(const VanParts& parts, const Zone& zone) {
  if (parts.trace.odometer.empty())
    return BeforeLogging::unknown("the van never answered its odometer");
  std::map<UtcTime, std::pair<double, double>> months;  // start: kWh, km
  double kwh = 0, ah = 0, km = 0;
  for (const Trip& trip : parts.trips) {
    if (!trip.discharge_kwh.figure || !trip.distance_km.figure || distance_doubted(trip)) continue;
    auto& month = months[zone.month_of(trip.start).from];
    month.first += trip.discharge_kwh.figure->value;
    month.second += trip.distance_km.figure->value;
    kwh += trip.discharge_kwh.figure->value;
    if (trip.discharge_ah.figure) ah += trip.discharge_ah.figure->value;
    km += trip.distance_km.figure->value;
  }
  if (km < kLeastDistanceKm)
    return BeforeLogging::unknown("no trip with energy and distance tells what a kilometre takes");
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
  const auto assumed = [&](double sum) {
    const double value = parts.trace.odometer.front().odometer_km * sum / km;
    return MaybeFigure::known({value, value * std::max(0.0, 1 - share), value * (1 + share), 0});
  };
  return {assumed(kwh), assumed(ah)};
}

MaybeFigure full_cycles_of(const MaybeFigure& ah, const VanFacts& facts) {
  if (!facts.nominal_ah)
    return MaybeFigure::unknown("nominal_ah is not in fleet.toml for this van");
  if (!ah.figure) return MaybeFigure::unknown(ah.why);
  return MaybeFigure::known(
      quotient(*ah.figure, figure_of(*facts.nominal_ah, 0, *facts.nominal_ah * kNominalU)));
}

// Half of what went out and came in. Of the systematic parts an offset goes one
// way in the one and the other way in the other, a gain the same way in both.
MaybeFigure mean_of_out_and_in(const MaybeFigure& out_ah, const MaybeFigure& in_ah) {
  if (!out_ah.figure) return MaybeFigure::unknown(out_ah.why);
  if (!in_ah.figure) return MaybeFigure::unknown(in_ah.why);
  const IntervalParts out = parts_of(*out_ah.figure), in = parts_of(*in_ah.figure);
  const double value = (out_ah.figure->value + in_ah.figure->value) / 2;
  const double gain = kZ95 * EnergyRules{}.current_gain_u * value;
  const double below = std::hypot(gain, (out.systematic_below - in.systematic_above) / 2);
  const double above = std::hypot(gain, (out.systematic_above - in.systematic_below) / 2);
  return MaybeFigure::known(
      figure_from(value, {std::hypot(out.random, in.random) / 2, below, above}));
}

// The state of charge with which the period begins and ends.
struct SocEnds {
  std::optional<double> first_pct, last_pct;
  std::optional<UtcTime> first, last;

  void add(UtcTime start, UtcTime end, const std::optional<double>& start_pct,
           const std::optional<double>& end_pct) {
    if (start_pct && (!first || start < *first)) {
      first = start;
      first_pct = start_pct;
    }
    if (end_pct && (!last || end > *last)) {
      last = end;
      last_pct = end_pct;
    }
  }
};

bool out_against_in(const MaybeFigure& out_ah, const MaybeFigure& in_ah, const SocEnds& soc,
                    const VanFacts& facts) {
  if (!out_ah.figure || !in_ah.figure || !soc.first_pct || !soc.last_pct || !facts.nominal_ah)
    return false;
  const double fallen_pct = *soc.first_pct - *soc.last_pct;
  const double ah_per_pct = *facts.nominal_ah / 100;
  const double apart_ah =
      std::abs(out_ah.figure->value - in_ah.figure->value - fallen_pct * ah_per_pct);
  const double u_ah = ah_per_pct * std::hypot(kSocErrorU * std::sqrt(2.0), kNominalU * fallen_pct);
  return apart_ah > kZ95 * u_ah &&
         apart_ah > kOutAgainstInShare * (out_ah.figure->value + in_ah.figure->value);
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
  double hours = 0, unseen_hours = 0, doubtful_hours = 0;
  std::array<ChargeBandHours, 3> powers{};  // by ChargeKind
  bool any = false;
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
    any = true;
    double power_hours = 0;
    for (std::size_t k = 0; k < session.band_hours.size(); ++k) {
      power_hours += session.band_hours[k];
      powers[static_cast<std::size_t>(session.kind)][k] += session.band_hours[k];
    }
    if (session.kind == ChargeKind::ac && seen) {
      hours += power_hours;
      unseen_hours += (1 - session.coverage) * session_hours;
    } else if (session.kind != ChargeKind::dc) {
      doubtful_hours += power_hours > 0 ? power_hours : session_hours;
    }
  }
  // Never 0 because nobody knows. A gap in a charge may have had power or not.
  out.charger_hours =
      hours > 0 || doubtful_hours == 0
          ? MaybeFigure::known(
                {hours + unseen_hours / 2, hours, hours + unseen_hours + doubtful_hours, 0})
          : MaybeFigure::unknown("no charge shows whether it used the on-board charger");
  std::vector<ChargePower> bands;
  for (const ChargeKind kind : {ChargeKind::ac, ChargeKind::dc, ChargeKind::unknown}) {
    const ChargeBandHours& of_kind = powers[static_cast<std::size_t>(kind)];
    for (std::size_t k = 0; k < of_kind.size(); ++k) {
      if (!(of_kind[k] > 0)) continue;
      bands.push_back({std::string{word_of(kind)}, kChargeBandFromKw[k], std::nullopt, of_kind[k]});
      if (k + 1 < of_kind.size()) bands.back().to_kw = kChargeBandFromKw[k + 1];
    }
  }
  if (!bands.empty())
    out.charge_power = std::move(bands);
  else
    out.charge_power_why =
        any ? "of no charge in this period the power was seen" : "no charge in this period";

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
  SocEnds soc;
  Coverage known, seen;
  bool left_out = false;  // a trip or a charge, because its energy is not known
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
    soc.add(trip.start, trip.end, trip.soc_start_pct, trip.soc_end_pct);
    account.add_side(true, trip.discharge_kwh, trip.discharge_ah);
    account.add_side(false, trip.regen_kwh, trip.regen_ah);
    const bool has_lobes = trip.discharge_kwh.figure.has_value();
    // An energy from the SoC alone has no lobes: its net goes to one side.
    if (!has_lobes) account.add_filled(trip.net_kwh, {}, {});
    account.add_filled(trip.filled_kwh, trip.discharge_kwh, trip.discharge_ah);
    const bool energy = trip.net_kwh.figure.has_value();
    left_out = left_out || !energy;
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
    soc.add(session.start, session.end, session.soc_start_pct, session.soc_end_pct);
    account.add_side(false, session.pack_kwh, session.pack_ah);
    left_out = left_out || !session.pack_kwh.figure;
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
    account.add_side(true, stand.discharge_kwh, stand.discharge_ah);
    account.add_side(false, stand.charge_kwh, stand.charge_ah);
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

  const bool any_energy = account.known();
  if (any_energy && left_out) out.findings.push_back(Finding::energy_partly_known);
  account.close(parts.facts);
  const std::string& none = out.none_why;
  out.discharge_kwh = account.out_kwh.maybe(none);
  out.charge_kwh = account.in_kwh.maybe(none);
  out.discharge_ah = account.out_ah.maybe(none);
  out.charge_ah = account.in_ah.maybe(none);
  out.standing_kwh = standing_kwh.maybe(out.measured_from ? "no standing time was seen" : none);
  out.full_cycles = full_cycles_of(out.discharge_ah, parts.facts);
  out.full_cycles_check =
      full_cycles_of(mean_of_out_and_in(out.discharge_ah, out.charge_ah), parts.facts);
  if (out_against_in(out.discharge_ah, out.charge_ah, soc, parts.facts))
    out.findings.push_back(Finding::ah_out_against_in);

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
  const Coverage& basis = any_energy ? known : seen;
  if (basis.ms > 0) {
    double coverage = basis.covered_ms / basis.ms;
    if (odometer_last_km && *odometer_last_km - *odometer_first_km > kLeastDistanceKm) {
      const double share = basis.covered_km / (*odometer_last_km - *odometer_first_km);
      coverage = std::min(coverage, share);
      if (share < kPartlySeenShare) out.findings.push_back(Finding::distance_partly_seen);
    }
    out.coverage = std::clamp(coverage, 0.0, 1.0);
  }

  const BeforeLogging before = before_logging(parts, zone);
  out.before_logging_kwh = before.kwh;
  out.before_logging_full_cycles = full_cycles_of(before.ah, parts.facts);
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
  if (never_heard(parts)) {
    out.none_why = out.charge_power_why = out.swings_why = kNeverHeard;
    for (MaybeFigure* figure :
         {&out.discharge_kwh, &out.charge_kwh, &out.discharge_ah, &out.charge_ah, &out.full_cycles,
          &out.full_cycles_check, &out.odometer_km, &out.kwh_per_mile, &out.standing_kwh,
          &out.before_logging_kwh, &out.before_logging_full_cycles, &out.dc_share,
          &out.charger_hours, &out.hours_soc_high, &out.hours_soc_low})
      *figure = MaybeFigure::unknown(kNeverHeard);
  }
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
        &Throughput::charge_ah, &Throughput::full_cycles, &Throughput::full_cycles_check,
        &Throughput::standing_kwh, &Throughput::charger_hours})
    widen(out.*figure, sure.*figure, all.*figure, true);
  for (const auto figure : {&Throughput::kwh_per_mile, &Throughput::dc_share})
    widen(out.*figure, sure.*figure, all.*figure, false);
  return out;
}

SwingCounts swings_by_depth(const std::vector<SwingCount>& swings) {
  SwingCounts counts{};
  for (const SwingCount& swing : swings) {
    std::size_t k = counts.size() - 1;
    while (k > 0 && swing.depth_pct < kSwingDepthsPct[k]) --k;
    counts[k] += swing.count;
  }
  return counts;
}

}  // namespace packmile
