#include "money/cost.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

using std::chrono::milliseconds;

// 1 sd, relative: the odometer's own scale (EnergyRules has its reason).
constexpr double kScaleU = EnergyRules{}.odometer_scale_u;
// 1 sd of what is in the pack at either end of a stretch, of its nominal energy.
constexpr double kFillU = 0.1;
constexpr double kDaysOfYear = 365.25;
// Behind the last valuation its stretch goes on this long.
constexpr double kMostDaysBehind = 366;
constexpr milliseconds kFirstMeterNote = std::chrono::days{31};

Figure exactly(double value) { return {value, value, value, 0}; }

// Sums hulls: what is uncertain together (a tariff, a charger, a clock) is added
// as it stands, scatter in quadrature inside it.
class Sum {
 public:
  void add(const Figure& f, double factor = 1) {
    value_ += factor * f.value;
    scatter_ = std::hypot(scatter_, factor * f.scatter);
    const auto beyond = [&](double half) {
      return std::sqrt(std::fmax(0, half * half - f.scatter * f.scatter));
    };
    below_ += factor * beyond(f.value - f.low);
    above_ += factor * beyond(f.high - f.value);
    any_ = true;
  }
  void widen(double below, double above) {
    below_ += std::fmax(0, below);
    above_ += std::fmax(0, above);
  }
  void shift(double by) { value_ += by; }
  [[nodiscard]] bool any() const { return any_; }
  [[nodiscard]] Figure figure() const {
    return {value_, value_ - std::hypot(scatter_, below_), value_ + std::hypot(scatter_, above_),
            scatter_};
  }
  [[nodiscard]] MaybeFigure maybe(const std::string& why) const {
    return any_ ? MaybeFigure::known(figure()) : MaybeFigure::unknown(why);
  }

 private:
  double value_ = 0, scatter_ = 0, below_ = 0, above_ = 0;
  bool any_ = false;
};

// a / b of figures whose intervals need not be even.
Figure by(const Figure& a, const Figure& b) {
  const double ratio = a.value / b.value;
  const double b_down = (b.value - b.low) / b.value, b_up = (b.high - b.value) / b.value;
  return {ratio, ratio - std::hypot((a.value - a.low) / b.value, ratio * b_up),
          ratio + std::hypot((a.high - a.value) / b.value, ratio * b_down),
          std::hypot(a.scatter / b.value, ratio * b.scatter / b.value)};
}

struct Span {
  UtcTime from, to;

  [[nodiscard]] bool holds(UtcTime at) const { return at >= from && at < to; }
  [[nodiscard]] bool surely(UtcTime at, const TimeDoubt& doubt) const {
    const auto low = doubt.earliest(at), high = doubt.latest(at);
    return low && high && holds(*low) && holds(*high);
  }
  [[nodiscard]] bool maybe(UtcTime at, const TimeDoubt& doubt) const {
    const auto low = doubt.earliest(at), high = doubt.latest(at);
    return (!low || *low < to) && (!high || *high >= from);
  }
};

// Local days of [from, to) that lie in the span.
double days_in(const Zone& zone, const Span& span, std::optional<UtcTime> from,
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
    out_.not_included.push_back(word);
    out_.remarks.push_back(why);
  }

  void distance() {
    std::vector<OdometerPoint> readings;
    for (const OdometerPoint& reading : in_.odometer)
      if (span_.holds(reading.when.from)) readings.push_back(reading);
    std::ranges::stable_sort(readings, {}, [](const OdometerPoint& r) { return r.when.from; });
    if (readings.size() >= 2) {
      const OdometerPoint *least = &readings.front(), *most = &readings.front();
      for (const OdometerPoint& reading : readings) {
        if (reading.km < least->km) least = &reading;
        if (reading.km > most->km) most = &reading;
      }
      // Within a day nothing is known of what came first.
      if (most->when.before(least->when)) {
        out_.distance_km = MaybeFigure::unknown(fmt::format(
            "the odometer fell from {:.0f} to {:.0f} km between {} and {}: correct the note, or "
            "ask for the time before and after by themselves",
            most->km, least->km, zone_.day(most->when.from), zone_.day(least->when.from)));
        return;
      }
      const double km = most->km - least->km;
      // A floored reading each: triangular for equal steps.
      const double u = std::hypot(least->step_km, most->step_km) / std::sqrt(12.0);
      out_.distance_km = MaybeFigure::known(figure_of(km, u, kScaleU * km));
      out_.distance_from = std::min(least->when.from, most->when.from);
      out_.distance_to = std::max(least->when.from, most->when.from);
      return;
    }
    Sum trips;
    for (const Trip& trip : in_.trips) {
      if (!span_.holds(trip.start) || !trip.distance_km.figure) continue;
      trips.add(*trip.distance_km.figure);
      if (!out_.distance_from) out_.distance_from = trip.start;
      out_.distance_to = trip.end;
    }
    out_.distance_km = trips.maybe(
        "there are no two odometer readings in this period, and no trip was measured: note the "
        "odometer at its beginning and end");
  }

  [[nodiscard]] const ChargeSession& session(std::size_t k) const { return in_.sessions[k]; }
  [[nodiscard]] const SessionCost& cost(std::size_t k) const { return in_.priced->sessions[k]; }

  void energy() {
    Sum costs, grid, loss;
    double pack_kwh = 0, pack_cost = 0;  // of charges with both
    std::size_t unknown = 0;
    std::string why;
    for (std::size_t k = 0; k < in_.sessions.size(); ++k) {
      const ChargeSession& s = session(k);
      const SessionCost& c = cost(k);
      const bool said = span_.holds(s.start), sure = span_.surely(s.start, s.start_doubt);
      const bool may = span_.maybe(s.start, s.start_doubt);
      if (said != sure || (may && !said)) ++out_.unsure_sessions;
      if (!said) {
        if (may && c.cost.figure) costs.widen(0, c.cost.figure->high);
        if (may && c.grid_kwh.figure) grid.widen(0, c.grid_kwh.figure->high);
        continue;
      }
      if (c.grid_kwh.figure) {
        grid.add(*c.grid_kwh.figure);
        if (!sure) grid.widen(c.grid_kwh.figure->low, 0);
      }
      if (!c.cost.figure) {
        ++unknown;
        if (why.empty()) why = c.cost.why;
        continue;
      }
      costs.add(*c.cost.figure);
      if (!sure) costs.widen(c.cost.figure->low, 0);
      if (c.grid_kwh.figure && s.pack_kwh.figure && c.grid_kwh.figure->value > 0) {
        Figure pack = *s.pack_kwh.figure;
        if (s.filled_kwh.figure) pack = sum_of(pack, *s.filled_kwh.figure);
        const Figure& socket = *c.grid_kwh.figure;
        const double price = c.cost.figure->value / socket.value;
        loss.add({(socket.value - pack.value) * price, (socket.low - pack.value) * price,
                  (socket.high - pack.value) * price, 0});
        pack_kwh += pack.value;
        pack_cost += c.cost.figure->value;
      }
    }
    notes_of_energy(costs, grid);
    const std::string none = why.empty() ? no_energy_why() : why;
    out_.energy_cost = costs.maybe(none);
    out_.grid_kwh = grid.maybe(none);
    out_.charger_loss_cost = loss.maybe(
        "no charge of this period has its energy at the pack, at the socket and its cost");
    Sum standing;
    if (pack_kwh > 0) {
      const double per_kwh = pack_cost / pack_kwh;
      for (const Stand& stand : in_.stands)
        if (span_.holds(stand.start) && stand.discharge_kwh.figure)
          standing.add(scaled(*stand.discharge_kwh.figure, per_kwh));
    }
    out_.standing_cost =
        standing.maybe("the energy of no stand, or the price of no charge, is known");
    if (out_.energy_cost.figure && unknown > 0)
      leave_out(
          "charges_without_cost",
          fmt::format("charges of this period whose cost is not known: {}: {}", unknown, why));
    if (!out_.energy_cost.figure) leave_out("energy", none);
  }

  [[nodiscard]] std::string no_energy_why() const {
    return in_.sessions.empty() && in_.notes->receipts.empty() && in_.notes->meter.empty()
               ? "no charge was measured or noted for this van: note its receipts and the meter"
               : "no charge of this period was measured or noted";
  }

  // Receipts of charges that nobody heard were paid all the same; of a meter what
  // no measured charge holds already.
  void notes_of_energy(Sum& costs, Sum& grid) {
    for (const NotedCharge& noted : in_.priced->noted) {
      if (noted.session || noted.kind != NoteKind::receipt || !span_.holds(noted.when.from))
        continue;
      const auto receipt = std::ranges::find(in_.notes->receipts, noted.note_id, &ReceiptNote::id);
      costs.add(exactly(receipt->sum_paid));
      grid.add(metered_kwh(noted.kwh, noted.step_kwh, DepotMeter{}.error_pct));
      once_only(noted, costs, &SessionCost::cost);
      once_only(noted, grid, &SessionCost::grid_kwh);
    }
    const std::vector<MeterNote>& meter = in_.notes->meter;
    const auto& facts = in_.money->meter;
    // A counter of this van alone has counted its charges between two notes, too.
    const bool own = facts && facts->vans.size() == 1 && facts->vans.front() == in_.van;
    for (std::size_t k = 0; k < meter.size(); ++k) {
      const MeterNote& note = meter[k];
      if (!span_.holds(note.when.from) || heard_at(note)) continue;
      const MeterNote* last = k > 0 ? &meter[k - 1] : nullptr;
      const bool chained = own && last != nullptr && last->after_kwh <= note.before_kwh;
      const double kwh = note.after_kwh - (chained ? last->after_kwh : note.before_kwh);
      const Figure energy = metered_kwh(kwh, note.step_kwh, facts.value_or(DepotMeter{}).error_pct);
      grid.add(energy);
      const UtcTime since = last != nullptr ? last->when.from : note.when.from - kFirstMeterNote;
      if (const auto price = meter_price(since, std::max(note.when.to, note.when.from)))
        costs.add({energy.value * price->mean, energy.low * price->low, energy.high * price->high,
                   energy.scatter * price->mean});
      else
        leave_out(
            "meter_without_price",
            fmt::format("{:.1f} kWh of the meter: no tariff in fleet.toml says their price", kwh));
    }
  }

  // A receipt that may be of several charges is of one of them, and that one is
  // not to be paid twice.
  void once_only(const NotedCharge& noted, Sum& sum, MaybeFigure SessionCost::*member) const {
    std::optional<Figure> hull;
    double mean = 0;
    std::size_t known = 0;
    for (const std::size_t k : noted.candidates) {
      const MaybeFigure& figure = cost(k).*member;
      if (!span_.holds(session(k).start) || !figure.figure) continue;
      if (!hull) hull = *figure.figure;
      hull->low = std::min(hull->low, figure.figure->low);
      hull->high = std::max(hull->high, figure.figure->high);
      mean += figure.figure->value;
      ++known;
    }
    if (!hull) return;
    mean /= static_cast<double>(known);
    sum.shift(-mean);
    sum.widen(hull->high - mean, mean - hull->low);
  }

  // The van's charges of that time were measured: the meter says nothing more.
  [[nodiscard]] bool heard_at(const MeterNote& note) const {
    bool any = false;
    UtcTime first{}, last{};
    for (std::size_t k = 0; k < in_.sessions.size(); ++k) {
      if (!cost(k).grid_kwh.figure) continue;
      first = any ? std::min(first, session(k).start) : session(k).start;
      last = any ? std::max(last, session(k).end) : session(k).end;
      any = true;
    }
    return any && note.when.to >= first && note.when.from <= last + std::chrono::days{1};
  }

  [[nodiscard]] std::optional<PriceRange> meter_price(UtcTime from, UtcTime to) const {
    if (const Place* place = in_.money->metered_place())
      if (const Tariff* tariff = in_.money->tariff_named(place->tariff))
        return price_range(*tariff, *place, zone_, from,
                           std::max(to, from + std::chrono::minutes{1}));
    std::optional<PriceRange> out;
    double least = 0, most = 0;
    for (const Tariff& tariff : in_.money->tariffs) {
      const auto one = price_range(tariff, zone_, from, to);
      if (!one) return std::nullopt;
      if (!out) {
        out = one;
        least = most = one->mean;
      }
      out->low = std::min(out->low, one->low);
      out->high = std::max(out->high, one->high);
      least = std::min(least, one->mean);
      most = std::max(most, one->mean);
    }
    if (out) out->mean = (least + most) / 2;
    return out;
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
    double days = 0, hire = 0;
    bool any_hire = false;
    for (const OffRoadNote& note : in_.notes->off_road) {
      const UtcTime from = note.when.from;
      const auto length = std::chrono::duration_cast<milliseconds>(
          std::chrono::duration<double, std::ratio<86400>>(note.days));
      // By time and not by local days: what was typed is a number of days.
      const double share = std::chrono::duration<double>(std::min(span_.to, from + length) -
                                                         std::max(span_.from, from)) /
                           std::chrono::duration<double>(length);
      any_hire = any_hire || note.sum;
      if (share <= 0) continue;
      days += note.days * share;
      hire += note.sum.value_or(0) * share;
    }
    out_.lost_days = MaybeFigure::known(exactly(days));
    out_.hire_cost = any_hire ? MaybeFigure::known(exactly(hire))
                              : MaybeFigure::unknown("no off_road note has a sum");
  }

  void fixed() {
    double sum = 0;
    bool any = false;
    for (const FixedCost& one : in_.fixed) {
      if (!one.vans.empty() && std::ranges::find(one.vans, in_.van) == one.vans.end()) continue;
      any = true;
      sum += one.per_year / kDaysOfYear * days_in(zone_, span_, one.from, one.to);
    }
    if (!any) leave_out("fixed", "fleet.toml has no [[fixed_cost]] for this van");
    for (const Tariff& tariff : in_.money->tariffs) {
      for (std::size_t k = 0; k < tariff.lists.size(); ++k) {
        const PriceList& list = tariff.lists[k];
        if (list.standing_per_day <= 0) continue;
        const bool last = k + 1 == tariff.lists.size();
        any = true;
        sum += list.standing_per_day *
               days_in(zone_, span_, list.valid_from,
                       last ? std::nullopt : tariff.lists[k + 1].valid_from) /
               static_cast<double>(std::max<std::size_t>(in_.fleet_vans, 1));
      }
    }
    out_.fixed_cost =
        any ? MaybeFigure::known(exactly(sum))
            : MaybeFigure::unknown(
                  "fleet.toml has no [[fixed_cost]] for this van and no standing charge");
  }

  void totals() {
    Sum without;
    for (const MaybeFigure* part : {&out_.energy_cost, &out_.tyres_cost, &out_.parts_cost,
                                    &out_.labour_cost, &out_.hire_cost, &out_.fixed_cost})
      if (part->figure) without.add(*part->figure);
    Sum all = without;
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
    const std::string energy_why = why.empty() ? out_.energy_cost.why : why;
    if (!why.empty() || !out_.energy_cost.figure) {
      for (MaybeFigure* f : {&out_.cost_per_mile, &out_.cost_per_mile_without_depreciation,
                             &out_.energy_cost_per_mile})
        *f = MaybeFigure::unknown(energy_why);
    } else {
      const Figure miles = scaled(*out_.distance_km.figure, 1 / kKmPerMile);
      out_.energy_cost_per_mile = MaybeFigure::known(by(*out_.energy_cost.figure, miles));
      out_.cost_per_mile_without_depreciation = MaybeFigure::known(by(without.figure(), miles));
      out_.cost_per_mile = out_.depreciation_cost.figure
                               ? MaybeFigure::known(by(all.figure(), miles))
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
      out = MaybeFigure::known(
          meter_kwh_per_mile(*out_.grid_kwh.figure, *out_.distance_km.figure, *in_.nominal_kwh));
    }
  }

  // The first and the last day count: 1 to 28 February are 28.
  [[nodiscard]] double days_between_readings() const {
    return std::floor(zone_.days_at(*out_.distance_to)) -
           std::floor(zone_.days_at(*out_.distance_from)) + 1;
  }

  const CostInput& in_;
  const Zone& zone_;
  Span span_;
  VanCost out_;
};

}  // namespace

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
  // What is lost is a sum of the values, each with a weight.
  std::vector<double> weights(values.size(), 0);
  const auto weigh = [&](UtcTime at, double sign) {
    std::size_t right = 1;
    while (right + 1 < values.size() && values[right].at < at) ++right;
    const double a = zone.days_at(values[right - 1].at), b = zone.days_at(values[right].at);
    const double share = b > a ? (zone.days_at(at) - a) / (b - a) : 1;
    weights[right - 1] += sign * (1 - share);
    weights[right] += sign * share;
  };
  weigh(begin, 1);
  weigh(end, -1);
  double lost = 0, u = 0;
  for (std::size_t k = 0; k < values.size(); ++k) {
    lost += weights[k] * values[k].sum;
    u = std::hypot(u, weights[k] * values[k].u);
  }
  return MaybeFigure::known(figure_of(lost, 0, u));
}

Figure meter_kwh_per_mile(const Figure& kwh, const Figure& km, double nominal_kwh) {
  const double fill = kFillU * nominal_kwh * std::sqrt(2.0);
  const Uncertainty u = uncertainty_of(kwh);
  return by(figure_of(kwh.value, std::hypot(u.random, fill), u.systematic),
            scaled(km, 1 / kKmPerMile));
}

VanCost cost_of(const CostInput& input, UtcTime from, UtcTime to) {
  return Account{input, from, to}.run();
}

}  // namespace packmile
