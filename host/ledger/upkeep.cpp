#include "ledger/upkeep.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "duty/tyre_history.hpp"
#include "ledger/part_words.hpp"
#include "notes/positions.hpp"

namespace packmile {
namespace {

// Where a note gives no gauge error of a pad: a hand gauge between disc and plate
// (common practice, no source).
constexpr double kPadGaugeErrorMm = 0.25;
// A van that was bought with less on its odometer was new, and all its parts with it
// (common practice, no source): the drive from the factory and the dealer's.
constexpr double kNewVanKm = 300;
constexpr char kMotorName[] = "motor and gearbox";
constexpr char kChargerName[] = "on-board charger";
constexpr char kNoRecord[] =
    "this is counted by a logger, and no card of this van is in the archive";

// Whether a note that names `place` is about `position`: an axle is both its wheels.
bool covers(const std::string& place, const std::string& position) {
  if (place == position) return true;
  const auto axle = axle_named(place);
  const auto wheel = wheel_named(position);
  return axle && wheel && axle_of(*wheel) == *axle;
}

struct Fitting {
  std::optional<LocalDay> day;
  std::string source;  // or why there is none
  std::optional<double> km;
};

class UpkeepOfVan {
 public:
  UpkeepOfVan(const FleetVan* van, const VanDuty& duty, const VanNotes& notes, const Zone& zone,
              VanUpkeep& out)
      : van_(van), duty_(duty), notes_(notes), zone_(zone), out_(out) {
    for (const auto& note : notes.jobs)
      renewals_.push_back({note.id, day_of(note.when), note.part});
    for (const auto& note : notes.fluids)
      renewals_.push_back({note.id, day_of(note.when), note.name});
  }

  // Treads of each wheel's tyre, wherever it was: before parts are added. parts: those
  // that treads are measured of.
  void find_tyres(const std::vector<FleetPart>& parts) {
    std::vector<WheelReading> readings;
    for (const TreadNote& note : notes_.treads)
      if (day_of(note.when) <= duty_.today)
        readings.push_back({note.wheel, reading_of(note.id, note.when, note.depth_mm,
                                                   note.gauge_error_mm, note.step_mm)});
    std::vector<WheelMove> moves;
    for (const TyreMovedNote& note : notes_.tyres_moved)
      if (day_of(note.when) <= duty_.today)
        moves.push_back({day_of(note.when), note.from, note.to});
    std::vector<WheelFitting> fittings;
    const auto fit = [&](LocalDay day, const std::vector<std::string>& places) {
      WheelFitting fitting{day, {}};
      for (const Wheel wheel : kWheels)
        if (std::ranges::any_of(places, [&](const std::string& place) {
              return covers(place, std::string{word_of(wheel)});
            }))
          fitting.wheels.push_back(wheel);
      if (day <= duty_.today) fittings.push_back(std::move(fitting));
    };
    for (const FleetPart& part : parts) {
      for (const Renewal& renewal : renewals_)
        if (const auto places = places_in(renewal.part, part.name)) fit(renewal.day, *places);
      if (part.fitted)
        fit(*part.fitted, part.positions.empty()
                              ? std::vector<std::string>{kAxleWords.begin(), kAxleWords.end()}
                              : part.positions);
    }
    tyres_ = tyres_now(readings, moves, fittings);
  }

  // Hours and energy of what has no limit in fleet.toml: since the first day on record.
  void add_counters(const char* name, DutyCounter hours, DutyCounter kwh) {
    Fitting fitting{std::nullopt, kNoRecord, std::nullopt};
    if (!duty_.days.empty()) fitting = {duty_.days.front().day, "the first day on record", {}};
    std::vector<Draft> drafts;
    for (const auto& [rule, counter] :
         {std::pair{PartRule::hours, hours}, std::pair{PartRule::energy, kwh}}) {
      const MaybeFigure used =
          fitting.day ? duty_.used_since(*fitting.day, counter) : MaybeFigure::unknown(kNoRecord);
      const UseRateOrWhy rate = duty_.rate_of(counter);
      drafts.push_back({state_by_counter(rule, used, std::nullopt, rate, duty_.today), rate});
    }
    finish(name, {}, fitting, std::move(drafts), {});
  }

  void add(const FleetPart& part) {
    std::vector<std::string> positions = part.positions;
    if (positions.empty() && part.gauge == PartGauge::tread)
      positions.assign(kWheelWords.begin(), kWheelWords.end());
    if (positions.empty() && part.gauge == PartGauge::pad)
      positions.assign(kAxleWords.begin(), kAxleWords.end());
    if (positions.empty()) positions.emplace_back();
    for (const std::string& position : positions) add_at(part, position);
  }

  // One rule, or two, of a promise that runs out.
  void add_warranty(const Warranty& warranty) {
    const std::string name = "warranty: " + warranty.name;
    Fitting from{std::nullopt, "fleet.toml does not say from which day", warranty.from_km};
    if (warranty.from_day) {
      from.day = LocalDay{*warranty.from_day};
      from.source = "fleet.toml";
    }
    std::vector<Draft> drafts;
    if (warranty.limit_km) {
      const MaybeFigure now = duty_.odometer_now();
      const MaybeFigure used = now.figure
                                   ? MaybeFigure::known({now.figure->value - warranty.from_km,
                                                         now.figure->low - warranty.from_km,
                                                         now.figure->high - warranty.from_km, 0})
                                   : now;
      const UseRateOrWhy rate = duty_.rate_of(DutyCounter::km);
      drafts.push_back(
          {state_by_counter(PartRule::distance, used, warranty.limit_km, rate, duty_.today), rate});
    }
    if (warranty.limit_years)
      drafts.push_back(
          {state_by_age(from.day, from.source,
                        static_cast<int>(std::lround(*warranty.limit_years * 12)), duty_.today),
           {std::nullopt, "a calendar has no rate"}});
    finish(name, {}, from, std::move(drafts), {});
  }

 private:
  struct Renewal {
    std::uint32_t id;
    LocalDay day;
    std::string part;
  };
  struct Draft {
    RuleState state;
    UseRateOrWhy rate;
  };

  [[nodiscard]] LocalDay day_of(const NoteTime& when) const { return local_day(zone_, when.from); }

  [[nodiscard]] Fitting fitting_of(const FleetPart& part, const std::string& position) const {
    Fitting out;
    if (van_ != nullptr && van_->purchase && van_->purchase->odometer_km &&
        *van_->purchase->odometer_km < kNewVanKm)
      out = {LocalDay{van_->purchase->day}, "new with the van", van_->purchase->odometer_km};
    if (part.fitted) out = {*part.fitted, "fleet.toml", part.fitted_km};
    for (const Renewal& renewal : renewals_) {
      if (renewal.day > duty_.today || (out.day && renewal.day < *out.day)) continue;
      const auto places = places_in(renewal.part, part.name);
      if (!places) continue;
      const bool here = places->empty()
                            ? part.gauge != PartGauge::tread || position.empty()
                            : std::ranges::any_of(*places, [&](const std::string& place) {
                                return covers(place, position);
                              });
      if (here) out = {renewal.day, fmt::format("note {}", renewal.id), std::nullopt};
    }
    if (!out.day) out.source = not_fitted(part, position);
    return out;
  }

  [[nodiscard]] std::string not_fitted(const FleetPart& part, const std::string& position) const {
    return fmt::format(
        "nobody said when it was fitted; enter it: fitted in fleet.toml, or packmile note --van "
        "'{}' --date DAY job '{}' SUM",
        out_.names.van, part.name + (position.empty() ? "" : " " + position));
  }

  // Of a tyre that came from another wheel.
  [[nodiscard]] std::string source_of(const FleetPart& part, LocalDay day) const {
    for (const Renewal& renewal : renewals_)
      if (renewal.day == day && places_in(renewal.part, part.name))
        return fmt::format("note {}", renewal.id);
    return part.fitted && *part.fitted == day ? "fleet.toml" : "a new tyre by its tread";
  }

  [[nodiscard]] DepthReading reading_of(std::uint32_t id, const NoteTime& when, double depth_mm,
                                        double gauge_u_mm, double step_mm) const {
    const LocalDay day = day_of(when);
    const MaybeFigure km = duty_.odometer_on(day);
    return {id,       day,        km.figure ? std::optional{km.figure->value} : std::nullopt,
            depth_mm, gauge_u_mm, step_mm};
  }

  [[nodiscard]] std::vector<DepthReading> pad_readings(const std::string& position,
                                                       const Fitting& fitting) const {
    std::vector<DepthReading> out;
    std::optional<double> before_mm;
    for (const PadNote& note : notes_.pads) {
      const LocalDay day = day_of(note.when);
      if (word_of(note.axle) != position || day > duty_.today) continue;
      // Measured on the day of the work: the new pads where it is a rise.
      const bool of_old =
          fitting.day &&
          (day < *fitting.day ||
           (day == *fitting.day && before_mm && note.thickness_mm <= *before_mm + kNewStartRiseMm));
      if (of_old)
        before_mm = note.thickness_mm;
      else
        out.push_back(
            reading_of(note.id, note.when, note.thickness_mm, kPadGaugeErrorMm, note.step_mm));
    }
    return out;
  }

  void add_at(const FleetPart& part, const std::string& position) {
    Fitting fitting = fitting_of(part, position);
    std::vector<DepthReading> readings;
    if (part.gauge == PartGauge::tread) {
      const TyreOnWheel& tyre = tyres_[static_cast<std::size_t>(*wheel_named(position))];
      readings = tyre.readings;
      // The tyre that is there now may have come from another wheel.
      const bool as_new = fitting.source == "new with the van";
      if (!tyre.fitted && !as_new)
        fitting = {std::nullopt, not_fitted(part, position), std::nullopt};
      else if (tyre.fitted && (!fitting.day || *fitting.day != *tyre.fitted))
        fitting = {tyre.fitted, source_of(part, *tyre.fitted), std::nullopt};
    } else if (part.gauge == PartGauge::pad) {
      readings = pad_readings(position, fitting);
    }
    std::vector<Draft> drafts;
    const auto by_counter = [&](PartRule rule, std::optional<double> limit, DutyCounter counter) {
      MaybeFigure used = MaybeFigure::unknown(fitting.source);
      if (fitting.day) used = duty_.used_since(*fitting.day, counter);
      if (fitting.km && counter == DutyCounter::km) {
        used = duty_.odometer_now();
        if (used.figure)
          for (double* value : {&used.figure->value, &used.figure->low, &used.figure->high})
            *value = std::max(0.0, *value - *fitting.km);
      }
      const UseRateOrWhy rate = duty_.rate_of(counter);
      drafts.push_back({state_by_counter(rule, used, limit, rate, duty_.today), rate});
    };
    if (part.gauge != PartGauge::none) drafts.push_back(measured(part, readings));
    if (part.limit_km) by_counter(PartRule::distance, part.limit_km, DutyCounter::km);
    if (part.limit_hours)
      by_counter(PartRule::hours, part.limit_hours,
                 part.counts == PartCounter::charger ? DutyCounter::charger_hours
                                                     : DutyCounter::motor_hours);
    if (part.limit_starts) by_counter(PartRule::starts, part.limit_starts, DutyCounter::starts);
    if (part.limit_kwh) {
      DutyCounter counter = DutyCounter::motor_kwh;
      switch (part.counts) {
        case PartCounter::motor:
          break;
        case PartCounter::charger:
          counter = DutyCounter::charger_kwh;
          break;
        case PartCounter::pack:
          counter = DutyCounter::pack_kwh;
          break;
      }
      by_counter(PartRule::energy, part.limit_kwh, counter);
    }
    if (part.limit_months)
      drafts.push_back({state_by_age(fitting.day, fitting.source, part.limit_months, duty_.today),
                        {std::nullopt, "a calendar has no rate"}});
    finish(part.name, position, fitting, std::move(drafts), readings,
           part.gauge == PartGauge::tread);
  }

  [[nodiscard]] Draft measured(const FleetPart& part,
                               const std::vector<DepthReading>& readings) const {
    const UseRateOrWhy rate = duty_.rate_of(DutyCounter::km);
    const double limit =
        part.least_mm.value_or(part.gauge == PartGauge::tread ? kPlanTreadMm : kPlanPadMm);
    const MaybeFigure now = duty_.odometer_now();
    return {state_by_measure(readings, limit,
                             now.figure ? std::optional{now.figure->value} : std::nullopt, rate,
                             duty_.today),
            rate};
  }

  void finish(const std::string& part, const std::string& position, const Fitting& fitting,
              std::vector<Draft> drafts, const std::vector<DepthReading>& readings,
              bool is_tread = false) {
    std::vector<RuleState> states;
    for (const Draft& draft : drafts) states.push_back(draft.state);
    const PartLife life = judge_part(std::move(states));
    for (std::size_t k = 0; k < drafts.size(); ++k) {
      UpkeepRow row;
      row.part = part;
      row.position = position;
      row.state = life.rules[k];
      row.rate = drafts[k].rate;
      row.decided_by = life.decided_by;
      row.decided_why = life.decided_why;
      row.used_share = life.used_share;
      row.age_share = life.age_share;
      row.last = fitting.day;
      row.last_source = fitting.source;
      row.last_km = MaybeFigure::unknown(fitting.source);
      if (fitting.day) row.last_km = duty_.odometer_on(*fitting.day);
      if (fitting.km) row.last_km = MaybeFigure::known({*fitting.km, *fitting.km, *fitting.km, 0});
      if (!row.used_share || !row.age_share)
        row.shares_why = row.decided_why.empty() ? "no limit of that kind" : row.decided_why;
      row.mm_per_1000_km = MaybeFigure::unknown("nothing of this rule is measured by a gauge");
      if (row.state.rule == PartRule::measured) take_measured(row, readings, is_tread);
      out_.rows.push_back(std::move(row));
    }
  }

  void take_measured(UpkeepRow& row, const std::vector<DepthReading>& readings, bool is_tread) {
    if (readings.empty()) {
      row.last.reset();
      row.last_source = row.state.due_why;
      row.last_km = MaybeFigure::unknown(row.state.due_why);
    } else {
      const DepthReading& last = readings.back();
      row.last = last.day;
      row.last_source = fmt::format("note {}", last.id);
      row.last_km = duty_.odometer_on(last.day);
    }
    const WearOrWhy fit = fit_wear(readings);
    row.mm_per_1000_km =
        fit.wear ? MaybeFigure::known(fit.wear->mm_per_1000_km) : MaybeFigure::unknown(fit.why);
    row.is_pad = !is_tread;
    if (!is_tread) return;
    const auto weight = van_ != nullptr ? van_->plated_weight_kg : std::nullopt;
    row.legal_limit_mm = legal_tread_mm(weight);
    if (!weight) row.remark = "plated_weight_kg is not in fleet.toml: 3,500 kg or less is assumed";
    const MaybeFigure now = duty_.odometer_now();
    const RuleState legal = state_by_measure(
        readings, *row.legal_limit_mm, now.figure ? std::optional{now.figure->value} : std::nullopt,
        row.rate, duty_.today);
    row.legal_due = legal.due;
    row.legal_due_why = legal.due_why;
  }

  const FleetVan* van_;
  const VanDuty& duty_;
  const VanNotes& notes_;
  const Zone& zone_;
  VanUpkeep& out_;
  std::vector<Renewal> renewals_;
  std::array<TyreOnWheel, kWheels.size()> tyres_{};
};

FleetPart plain_part(const char* name, PartGauge gauge) {
  FleetPart out;
  out.name = name;
  out.gauge = gauge;
  return out;
}

// Of the days up to today.
MaybeFigure friction_of(const FleetVan* van, const std::vector<TripBraking>& braking,
                        const Zone& zone, LocalDay today) {
  if (braking.empty())
    return MaybeFigure::unknown("no braking with speed and pack power is on record");
  if (van == nullptr || !van->plated_weight_kg || !van->unladen_weight_kg)
    return MaybeFigure::unknown(
        "needs plated_weight_kg and unladen_weight_kg of the van in fleet.toml");
  FallSums falls;
  for (const TripBraking& trip : braking) {
    const LocalDay day = local_day(zone, trip.start);
    if (day <= today && day > today - kBrakingDays) falls += trip.falls;
  }
  // The empty van and half of what it may carry.
  return friction_share(falls, (*van->plated_weight_kg + *van->unladen_weight_kg) / 2);
}

}  // namespace

MaybeFigure equivalent_years_of(const VanDuty& duty) {
  const MaybeFigure km = duty.odometer_now();
  if (!km.figure) return km;
  return MaybeFigure::known({equivalent_years(km.figure->value), equivalent_years(km.figure->low),
                             equivalent_years(km.figure->high), 0});
}

VanUpkeep upkeep_of(const Fleet& fleet, const VanNames& names, const VanDuty& duty,
                    const VanNotes& notes, const std::vector<TripBraking>& braking) {
  VanUpkeep out;
  out.names = names;
  out.today = duty.today;
  out.odometer_km = duty.odometer_now();
  out.equivalent_years = equivalent_years_of(duty);
  const FleetVan* van = fleet.van_of_name(names.van);
  if (van == nullptr && !names.vin.empty()) van = fleet.van_of_vin(names.vin);
  if (van != nullptr && van->purchase)
    out.calendar_years = years_between(LocalDay{van->purchase->day}, duty.today);

  out.friction_share = friction_of(van, braking, fleet.zone, duty.today);
  UpkeepOfVan work{van, duty, notes, fleet.zone, out};
  std::vector<FleetPart> parts;
  for (const FleetPart* part : fleet.parts_of(names.van)) parts.push_back(*part);
  const bool own_parts = !parts.empty();
  const auto has = [&](PartGauge gauge) {
    return std::ranges::any_of(parts, [&](const FleetPart& part) { return part.gauge == gauge; });
  };
  if (!has(PartGauge::tread)) parts.push_back(plain_part(kTyreName, PartGauge::tread));
  if (!has(PartGauge::pad)) parts.push_back(plain_part(kPadName, PartGauge::pad));
  const auto counted = [&](PartCounter counter) {
    return std::ranges::any_of(parts, [&](const FleetPart& part) {
      return (part.limit_hours || part.limit_kwh) && part.counts == counter;
    });
  };
  std::vector<FleetPart> treads = parts;
  std::erase_if(treads, [](const FleetPart& part) { return part.gauge != PartGauge::tread; });
  work.find_tyres(treads);
  for (const FleetPart& part : parts) work.add(part);
  if (!counted(PartCounter::motor))
    work.add_counters(kMotorName, DutyCounter::motor_hours, DutyCounter::motor_kwh);
  if (!counted(PartCounter::charger))
    work.add_counters(kChargerName, DutyCounter::charger_hours, DutyCounter::charger_kwh);
  if (van != nullptr)
    for (const Warranty& warranty : van->warranties) work.add_warranty(warranty);

  const auto ask = [&](bool needed, std::string text) {
    if (needed) out.missing.push_back(std::move(text));
  };
  ask(duty.odometer.empty(),
      fmt::format("the odometer: packmile note --van '{}' --date DAY odometer READING", names.van));
  ask(notes.treads.empty(),
      fmt::format("the treads: packmile note --van '{}' --date DAY tread fl MM", names.van));
  ask(notes.pads.empty(),
      fmt::format("the brake pads: packmile note --van '{}' --date DAY pad front MM", names.van));
  ask(!own_parts, "the parts and their limits: [[part]] in fleet.toml, by the maker's schedule");
  ask(van == nullptr, "the van itself: [[van]] in fleet.toml");
  ask(van != nullptr && van->warranties.empty(),
      "its warranties: warranty in [[van]] of fleet.toml");
  return out;
}

}  // namespace packmile
