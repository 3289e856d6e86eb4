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

// A van that was bought with less on its odometer was new, and all its parts with it
// (common practice, no source): the drive from the factory and the dealer's.
constexpr double kNewVanKm = 300;
constexpr char kMotorName[] = "motor and gearbox";
constexpr char kChargerName[] = "on-board charger";
constexpr char kNoRecord[] =
    "this is counted by a logger, and no card of this van is in the archive";
constexpr char kNoSuchLimit[] = "no limit of that kind";
// Contradictions that are told one by one.
constexpr std::size_t kMostLeftOutTold = 3;
constexpr char kByCalendar[] = "a calendar has no rate";
constexpr char kNewWithVan[] = "new with the van";
// A part that is measured so soon after its fitting is measured as new: a van drives
// some 2,000 km in that time, which takes a few tenths of a millimetre (common
// practice, no source).
constexpr std::chrono::days kMeasuredAsNew{31};

struct Fitting {
  std::optional<LocalDay> day;
  std::string source;  // or why there is none
  std::optional<double> km;
  // Seen by a measurement alone: it was fitted between then and `day`.
  std::optional<LocalDay> not_before{};
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
        moves.push_back({day_of(note.when), note.from, note.to, km_on(day_of(note.when)), note.id});
    std::vector<WheelFitting> fittings;
    const auto fit = [&](LocalDay day, const std::vector<std::string>& places) {
      WheelFitting fitting{day, {}};
      for (const Wheel wheel : kWheels)
        if (std::ranges::any_of(places, [&](const std::string& place) {
              return place_covers(place, std::string{word_of(wheel)});
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

  // Hours or energy of what has no limit in fleet.toml: since the first day on record.
  void add_counters(const char* name,
                    const std::vector<std::pair<PartRule, DutyCounter>>& counters) {
    if (counters.empty()) return;
    Fitting fitting{std::nullopt, kNoRecord, std::nullopt};
    if (!duty_.days.empty()) fitting = {duty_.days.front().day, "the first day on record", {}};
    std::vector<Draft> drafts;
    for (const auto& [rule, counter] : counters)
      drafts.push_back(counted(rule, counter, fitting, std::nullopt));
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
    // The odometer tells it without the day.
    if (warranty.limit_km)
      drafts.push_back(
          counted(PartRule::distance, DutyCounter::km,
                  {from.day ? *from.day : first_reading(), from.source, warranty.from_km},
                  warranty.limit_km));
    if (warranty.limit_years)
      drafts.push_back(
          {state_by_age(from.day, from.source,
                        static_cast<int>(std::lround(*warranty.limit_years * 12)), duty_.today),
           {std::nullopt, kByCalendar}});
    const std::size_t before = out_.rows.size();
    finish(name, {}, from, std::move(drafts), {});
    for (std::size_t k = before; k < out_.rows.size(); ++k) out_.rows[k].is_warranty = true;
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
      out = {LocalDay{van_->purchase->day}, kNewWithVan, van_->purchase->odometer_km};
    if (part.fitted) out = {*part.fitted, "fleet.toml", part.fitted_km};
    for (const Renewal& renewal : renewals_) {
      if (renewal.day > duty_.today || (out.day && renewal.day < *out.day)) continue;
      const auto places = places_in(renewal.part, part.name);
      if (!places) continue;
      const bool here = places->empty()
                            ? part.gauge != PartGauge::tread || position.empty()
                            : std::ranges::any_of(*places, [&](const std::string& place) {
                                return place_covers(place, position);
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

  [[nodiscard]] std::optional<double> km_on(LocalDay day) const {
    const MaybeFigure km = duty_.odometer_on(day);
    return km.figure ? std::optional{km.figure->value} : std::nullopt;
  }

  [[nodiscard]] LocalDay first_reading() const {
    return duty_.odometer.empty() ? duty_.today : duty_.odometer.front().day;
  }

  // A rule that counts something since the fitting.
  [[nodiscard]] Draft counted(PartRule rule, DutyCounter counter, const Fitting& fitting,
                              std::optional<double> limit) const {
    MaybeFigure used = MaybeFigure::unknown(fitting.source);
    LocalDay known_to = duty_.known_to(counter).value_or(duty_.today);
    if (fitting.day && *fitting.day > known_to) {
      // Fitted behind the last day on record: all of its use is by the rate.
      used = MaybeFigure::known({});
      known_to = *fitting.day;
    } else if (fitting.day) {
      used = duty_.used_since(*fitting.day, counter, fitting.km);
    }
    if (used.figure && fitting.not_before) {
      // Fitted on some day between the two.
      const MaybeFigure most = duty_.used_since(*fitting.not_before, counter);
      used.figure->high = std::max(used.figure->high, most.figure ? most.figure->high : 0.0);
      if (most.figure) used.figure->value = (used.figure->value + most.figure->value) / 2;
    }
    const UseRateOrWhy rate = duty_.rate_of(counter);
    std::optional<DueDates> passed;
    if (used.figure && limit && used.figure->value >= *limit)
      passed = duty_.passed_on(*fitting.day, counter, *limit, fitting.km);
    return {state_by_counter(rule, used, limit, rate, known_to, duty_.today, passed), rate};
  }

  [[nodiscard]] DepthReading reading_of(std::uint32_t id, const NoteTime& when, double depth_mm,
                                        double gauge_u_mm, double step_mm) const {
    const LocalDay day = day_of(when);
    return {id, day, km_on(day), depth_mm, gauge_u_mm, step_mm};
  }

  [[nodiscard]] std::vector<DepthReading> pad_readings(const std::string& position,
                                                       const Fitting& fitting) const {
    std::vector<DepthReading> out;
    std::optional<double> before_mm;
    for (const PadNote& note : notes_.pads) {
      const LocalDay day = day_of(note.when);
      if (word_of(note.axle) != position || day > duty_.today) continue;
      // Measured on the day of the work: the new pads where it is a rise.
      const double rise_mm = new_start_rise_mm(kPadGaugeErrorMm, kPadGaugeErrorMm);
      const bool of_old =
          fitting.day && (day < *fitting.day || (day == *fitting.day && before_mm &&
                                                 note.thickness_mm <= *before_mm + rise_mm));
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
    Measured gauged;
    if (part.gauge == PartGauge::tread) {
      const TyreOnWheel& tyre = tyres_[static_cast<std::size_t>(*wheel_named(position))];
      gauged = {tyre.readings, tyre.borders, false};
      // The tyre that is there now may have come from another wheel.
      const bool as_new = fitting.source == kNewWithVan && tyre.from_start;
      if (!tyre.fitted && !as_new)
        fitting = {std::nullopt, not_fitted(part, position), std::nullopt};
      else if (tyre.fitted && (!fitting.day || *fitting.day != *tyre.fitted))
        fitting = {tyre.fitted, source_of(part, *tyre.fitted), std::nullopt, tyre.not_before};
    } else if (part.gauge == PartGauge::pad) {
      gauged.readings = pad_readings(position, fitting);
      take_rise(gauged.readings, fitting);
    }
    gauged.since_new = fitting.day && !gauged.readings.empty() &&
                       gauged.readings.front().day <= *fitting.day + kMeasuredAsNew;
    std::vector<Draft> drafts;
    const auto by_counter = [&](PartRule rule, std::optional<double> limit, DutyCounter counter) {
      drafts.push_back(counted(rule, counter, fitting, limit));
    };
    if (part.gauge != PartGauge::none) drafts.push_back(measured(part, gauged));
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
      drafts.push_back({state_by_age(fitting.day, fitting.source, part.limit_months, duty_.today,
                                     fitting.not_before),
                        {std::nullopt, kByCalendar}});
    finish(part.name, position, fitting, std::move(drafts), gauged, part.gauge == PartGauge::tread);
  }

  // New pads that no note tells of: what lies before them is of others.
  static void take_rise(std::vector<DepthReading>& readings, Fitting& fitting) {
    const auto own = since_rise(readings);
    const std::size_t before = readings.size() - own.size();
    if (before == 0) return;
    fitting = {own.front().day, "new pads by their thickness", std::nullopt,
               readings[before - 1].day};
    readings.erase(readings.begin(), readings.begin() + static_cast<std::ptrdiff_t>(before));
  }

  [[nodiscard]] Draft measured(const FleetPart& part, const Measured& gauged) const {
    const double limit =
        part.least_mm.value_or(part.gauge == PartGauge::tread ? kPlanTreadMm : kPlanPadMm);
    return {by_measure(gauged, limit), duty_.rate_of(DutyCounter::km)};
  }
  [[nodiscard]] RuleState by_measure(const Measured& gauged, double limit_mm) const {
    return state_by_measure(gauged, limit_mm, duty_.odometer_known(),
                            duty_.rate_of(DutyCounter::km),
                            duty_.known_to(DutyCounter::km).value_or(duty_.today));
  }

  void finish(const std::string& part, const std::string& position, const Fitting& fitting,
              std::vector<Draft> drafts, const Measured& gauged, bool is_tread = false) {
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
      if (!row.used_share) row.used_share_why = used_share_why(life);
      if (!row.age_share) row.age_share_why = fitting.day ? kNoSuchLimit : fitting.source;
      row.mm_per_1000_km = MaybeFigure::unknown("nothing of this rule is measured by a gauge");
      row.perhaps = row.remark = life.perhaps;
      if (row.state.counted_to)
        row.remark += fmt::format(
            "{}counted to {}, {}", row.remark.empty() ? "" : "; ", text_of(*row.state.counted_to),
            row.state.counted_on ? "then by its rate of use" : "what was used since is not known");
      if (row.state.rule == PartRule::measured) take_measured(row, gauged, is_tread);
      out_.rows.push_back(std::move(row));
    }
  }

  [[nodiscard]] static std::string used_share_why(const PartLife& life) {
    for (const RuleState& state : life.rules) {
      if (state.rule == PartRule::age || !state.limit) continue;
      if (!state.used.figure) return state.used.why;
      return "it was not measured when it was new: how much of its life is gone is not known";
    }
    return kNoSuchLimit;
  }

  void take_measured(UpkeepRow& row, const Measured& gauged, bool is_tread) {
    const std::vector<DepthReading>& readings = gauged.readings;
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
    const WearOrWhy fit = wear_of(gauged);
    row.mm_per_1000_km =
        fit.wear ? MaybeFigure::known(fit.wear->mm_per_1000_km) : MaybeFigure::unknown(fit.why);
    row.is_pad = !is_tread;
    if (!is_tread) return;
    const auto weight = van_ != nullptr ? van_->plated_weight_kg : std::nullopt;
    row.legal_limit_mm = legal_tread_mm(weight);
    if (!weight)
      row.remark +=
          (row.remark.empty() ? "" : "; ") +
          std::string{"plated_weight_kg is not in fleet.toml: 3,500 kg or less is assumed"};
    const RuleState legal = by_measure(gauged, *row.legal_limit_mm);
    row.legal_due = legal.due;
    row.legal_due_why = legal.due_why;
    row.legal_remaining_mm = legal.remaining;
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

std::optional<LocalDay> sold_on(const VanNotes& notes, const Zone& zone, LocalDay today) {
  for (const SoldNote& note : notes.sold)
    if (const LocalDay day = local_day(zone, note.when.from); day <= today) return day;
  return std::nullopt;
}

// What nobody here has to do any more.
void forget_dates(const std::string& why, VanUpkeep& out) {
  for (UpkeepRow& row : out.rows) {
    row.state.due.reset();
    row.legal_due.reset();
    row.decided_by.reset();
    row.state.due_why = row.legal_due_why = row.decided_why = why;
    row.state.basis.clear();
    row.perhaps.clear();
    row.remark = why;
  }
}

void take_calendar(const FleetVan* van, VanUpkeep& out) {
  const auto since = [&](std::chrono::local_days day) {
    out.calendar_years = years_between(day, out.today);
  };
  if (van != nullptr && van->facts.first_used) {
    since(LocalDay{van->facts.first_used->time_since_epoch()});
  } else if (van != nullptr && van->purchase) {
    const auto& km = van->purchase->odometer_km;
    if (km && *km < kNewVanKm)
      since(LocalDay{van->purchase->day});
    else
      out.calendar_why = fmt::format(
          "it was bought {}; since when it is used is not known: first_used in fleet.toml",
          km ? fmt::format("with {:.0f} km", *km)
             : "with an odometer that fleet.toml does not name");
  } else {
    out.calendar_why = "since when it is used is not known: first_used in fleet.toml";
  }
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
  out.odometer_known_to = duty.known_to(DutyCounter::km);
  out.odometer_goes_on = duty.rate_of(DutyCounter::km).rate.has_value();
  out.equivalent_years = equivalent_years_of(duty);
  const FleetVan* van = fleet.van_of_name(names.van);
  if (van == nullptr && !names.vin.empty()) van = fleet.van_of_vin(names.vin);
  take_calendar(van, out);

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
  // What no part of fleet.toml tells is listed without a limit.
  const auto not_told = [&](PartCounter counter, DutyCounter hours, DutyCounter kwh) {
    const auto told = [&](PartRule rule) {
      return std::ranges::any_of(parts, [&](const FleetPart& part) {
        return part.counts == counter && std::ranges::any_of(out.rows, [&](const UpkeepRow& row) {
                 return row.part == part.name && row.state.rule == rule && row.state.used.figure;
               });
      });
    };
    std::vector<std::pair<PartRule, DutyCounter>> rules;
    if (!told(PartRule::hours)) rules.emplace_back(PartRule::hours, hours);
    if (!told(PartRule::energy)) rules.emplace_back(PartRule::energy, kwh);
    return rules;
  };
  std::vector<FleetPart> treads = parts;
  std::erase_if(treads, [](const FleetPart& part) { return part.gauge != PartGauge::tread; });
  work.find_tyres(treads);
  for (const FleetPart& part : parts) work.add(part);
  work.add_counters(kMotorName,
                    not_told(PartCounter::motor, DutyCounter::motor_hours, DutyCounter::motor_kwh));
  work.add_counters(kChargerName, not_told(PartCounter::charger, DutyCounter::charger_hours,
                                           DutyCounter::charger_kwh));
  if (van != nullptr)
    for (const Warranty& warranty : van->warranties) work.add_warranty(warranty);

  if (const auto day = sold_on(notes, fleet.zone, duty.today)) {
    forget_dates(fmt::format("it was sold on {}", text_of(*day)), out);
    return out;
  }
  const auto ask = [&](bool needed, std::string text) {
    if (needed) out.missing.push_back(std::move(text));
  };
  for (std::size_t k = 0; k < std::min(duty.left_out.size(), kMostLeftOutTold); ++k)
    ask(true, duty.left_out[k].why);
  if (duty.left_out.size() > kMostLeftOutTold)
    ask(true, fmt::format("{} more odometer notes contradict the van's own",
                          duty.left_out.size() - kMostLeftOutTold));
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

std::vector<DuePart> parts_due_by(const VanUpkeep& van, LocalDay day) {
  std::vector<DuePart> out;
  for (const UpkeepRow& row : van.rows) {
    if (row.is_warranty || row.state.rule == PartRule::measured || !row.state.due ||
        row.state.due->likely > day)
      continue;
    const std::string part = row.part + (row.position.empty() ? "" : " " + row.position);
    const auto known = std::ranges::find(out, part, &DuePart::part);
    if (known == out.end())
      out.push_back({part, row.state.due->likely});
    else
      known->due = std::min(known->due, row.state.due->likely);
  }
  std::ranges::stable_sort(out, {}, &DuePart::due);
  return out;
}

}  // namespace packmile
