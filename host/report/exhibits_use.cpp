#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "report/due_words.hpp"
#include "report/exhibits.hpp"
#include "report/number_text.hpp"

namespace packmile::report {
namespace {

// The moments of a row are sure enough for a list by the minute.
constexpr std::int64_t kSureMomentMs = 600'000;

bool is_sure(const TimeDoubt& doubt) {
  return doubt.too_late_ms && doubt.too_early_ms &&
         *doubt.too_late_ms + *doubt.too_early_ms <= kSureMomentMs;
}

std::string of_rule(const MaybeFigure& figure, PartRule rule, const Words& words) {
  if (!figure.figure) return "not known";
  const bool distance = rule == PartRule::distance;
  return range_words(*figure.figure, distance ? words.of_km() : 1,
                     rule == PartRule::age || rule == PartRule::measured ? 1 : 0);
}

std::string limit_of(const RuleState& state, const Words& words) {
  if (!state.limit) return "not given";
  const bool distance = state.rule == PartRule::distance;
  return grouped(number_text(*state.limit * (distance ? words.of_km() : 1),
                             state.rule == PartRule::age || state.rule == PartRule::measured));
}

std::string unit_words(PartRule rule, const Words& words) {
  return std::string{rule == PartRule::distance ? words.distance_unit() : unit_of(rule)};
}

}  // namespace

Exhibit duty_by_month(const VanEvidence& van, const DepotEvidence& depot) {
  const Words& words = depot.words;
  Exhibit out{"duty", "Distance by month", {}, {}, {}};
  out.table = {fmt::format("{}: distance of its trips by month", van.names.van),
               {{"month"}, {std::string{words.distance_unit()}, true}},
               {}};
  for (const MonthThroughput& month : van.months) {
    out.table.lines.push_back(
        {month.month,
         {},
         {month_words(month.month), month.distance.figure
                                        ? range_words(*month.distance.figure, words.of_km(), 0)
                                        : "not known"}});
    if (month.distance.figure)
      out.chart.points.push_back(point_of(month.month, *month.distance.figure, words.of_km()));
  }
  out.chart.kind = "bars";
  out.chart.van = van.names.van;
  out.chart.x_label = "month";
  out.chart.y_label = std::string{words.distance_unit()};
  out.chart.from_zero = true;
  const VanUpkeep& upkeep = van.upkeep;
  if (!upkeep.odometer_km.figure) {
    out.finding = sentence("its odometer is not known: " + upkeep.odometer_km.why);
  } else {
    // What it shows, or with its range what it may show by now.
    const bool since = upkeep.odometer_known_to && *upkeep.odometer_known_to < upkeep.today;
    out.finding =
        since
            ? fmt::format(
                  "{} by its odometer (known to {}, {})",
                  words.distance(*upkeep.odometer_km.figure), words.day(*upkeep.odometer_known_to),
                  upkeep.odometer_goes_on ? "then by its own use" : "what came since is not known")
            : fmt::format("{} {} by its odometer",
                          grouped(number_text(upkeep.odometer_km.figure->value * words.of_km(), 0)),
                          words.distance_unit());
    if (upkeep.equivalent_years.figure)
      out.finding +=
          fmt::format(", {:.1f} years of average use", upkeep.equivalent_years.figure->value);
    if (upkeep.calendar_years)
      out.finding +=
          fmt::format(" in the {:.1f} years since it was bought", *upkeep.calendar_years);
    if (van.km_per_day)
      out.finding +=
          fmt::format("; of late {} {} a day, idle days counted",
                      number_text(*van.km_per_day * words.of_km(), 0), words.distance_unit());
    out.finding = sentence(out.finding);
  }
  out.chart.says = out.finding;
  return out;
}

Exhibit upkeep_of_parts(const VanEvidence& van, const DepotEvidence& depot) {
  const Words& words = depot.words;
  Exhibit out{"upkeep", "Parts and when they are due", {}, {}, {}};
  out.table = {fmt::format("{}: parts, by every rule of their life", van.names.van),
               {{"part"},
                {"rule"},
                {"used", true},
                {"limit", true},
                {"unit"},
                {"left", true},
                {"due, likely"},
                {"earliest"},
                {"latest"},
                {"comes first"}},
               {}};
  for (const UpkeepRow& row : van.upkeep.rows) {
    const RuleState& state = row.state;
    const std::string place = place_words(row.position);
    const auto day = [&](const std::optional<LocalDay>& at) {
      return at ? text_of(*at) : std::string{"not known"};
    };
    out.table.lines.push_back(
        {{},
         {},
         {place.empty() ? row.part : place + " " + row.part, std::string{word_of(state.rule)},
          of_rule(state.used, state.rule, words), limit_of(state, words),
          unit_words(state.rule, words), of_rule(state.remaining, state.rule, words),
          state.due ? day(state.due->likely) : "not known",
          state.due ? day(state.due->earliest) : "not known",
          !state.due          ? "not known"
          : state.due->latest ? day(state.due->latest)
                              : "not bounded",
          row.decided_by == state.rule && state.due ? "yes" : ""}});
  }
  std::vector<DueItem> items = due_items(van.upkeep);
  std::erase_if(items, [](const DueItem& item) { return item.legal_mm.has_value(); });
  for (const DueItem& item : items) {
    const auto days = [&](LocalDay at) {
      return static_cast<double>((at - van.upkeep.today).count());
    };
    ChartPoint point;
    point.x = item.what;
    point.y = days(item.due.likely);
    point.low = days(item.due.earliest);
    if (item.due.latest) point.high = days(*item.due.latest);
    point.note = std::string{rule_words(item.rule)};
    if (!item.due.latest) point.note += ", no latest day";
    out.chart.points.push_back(std::move(point));
  }
  out.chart.van = van.names.van;
  out.chart.x_type = "category";
  out.chart.x_label = "part";
  out.chart.y_label = "days from today";
  out.chart.from_zero = true;
  out.finding = items.empty() ? "When a part is due is not known: " +
                                    (van.upkeep.missing.empty()
                                         ? std::string{"no part has a limit and a day."}
                                         : "enter " + van.upkeep.missing.front() + ".")
                              : first_due_sentence(items, undated_parts(van.upkeep), words);
  out.chart.says = out.finding;
  return out;
}

Exhibit hours_seen(const VanEvidence& van, const DepotEvidence&) {
  Exhibit out{"days", "Hours heard each day", {}, {}, {}};
  out.table = {fmt::format("{}: hours awake and heard, by day", van.names.van),
               {{"day"}, {"awake, h", true}, {"heard, h", true}},
               {}};
  std::size_t heard = 0;
  double awake = 0;
  for (const SeenDay& day : van.days) {
    out.table.lines.push_back(
        {day.day, {}, {day.day, number_text(day.awake_hours, 1), number_text(day.seen_hours, 1)}});
    ChartPoint point;
    point.x = day.day;
    point.y = day.seen_hours;
    out.chart.points.push_back(std::move(point));
    heard += day.seen_hours > 0;
    awake += day.awake_hours;
  }
  out.chart.kind = "days";
  out.chart.van = van.names.van;
  out.chart.x_label = "day";
  out.chart.y_label = "hours heard";
  out.chart.from_zero = true;
  if (van.days.empty()) {
    out.finding = sentence("nothing of it was heard in this period: " + van.through.none_why);
  } else {
    out.finding = fmt::format("It was heard on {} of {} days, awake for {} hours", heard,
                              van.days.size(), grouped(number_text(awake, 0)));
    if (van.through.coverage)
      out.finding +=
          fmt::format("; {} of what it did is in the figures", share_text(*van.through.coverage));
    out.finding = sentence(out.finding);
  }
  out.chart.says = out.finding;
  return out;
}

std::vector<std::string> data_sentences(const VanEvidence& van, const DepotEvidence& depot) {
  std::vector<std::string> out;
  std::size_t rows = 0, unsure = 0;
  const auto count = [&](const auto& list) {
    for (const auto& row : list) {
      if (row.start < depot.from || row.start >= depot.to) continue;
      ++rows;
      unsure += !is_sure(row.start_doubt) || !is_sure(row.end_doubt);
    }
  };
  count(van.money.parts.trips);
  count(van.money.parts.sessions);
  if (rows > 0)
    out.push_back(unsure == 0
                      ? fmt::format("Of all its {} it is sure to ten minutes when they were.",
                                    counted(rows, "trip and charge", "trips and charges"))
                      : fmt::format("Of {} of its {} it is not sure to ten minutes when they were: "
                                    "a logger without a clock, or nobody heard them.",
                                    unsure, counted(rows, "trip and charge", "trips and charges")));
  std::uint64_t boots = 0, without_clock = 0, sectors = 0, parked = 0;
  for (const CardUse& card : van.cards) {
    boots += card.boots;
    without_clock += card.boots_without_clock;
    sectors += card.sectors;
    parked += card.requests_while_parked;
  }
  if (boots > 0)
    out.push_back(
        fmt::format("On {} are {} of its logger, {}, and {} good sectors.",
                    counted(van.cards.size(), "card", "cards"), counted(boots, "start", "starts"),
                    without_clock == 0 ? std::string{"all with a clock"}
                                       : fmt::format("{} without a sure clock", without_clock),
                    grouped(std::to_string(sectors))));
  if (van.heard)
    out.push_back(fmt::format("While it was parked its logger asked it {}.",
                              counted(parked, "question", "questions")));
  std::uint64_t overwritten = 0, damaged = 0;
  for (const LostStretch& lost : van.through.lost)
    (lost.why == LostWhy::overwritten ? overwritten : damaged) += lost.sectors;
  if (overwritten > 0)
    out.push_back(fmt::format(
        "{} were overwritten before the card was read: fetch it sooner, or prepare a larger log.",
        counted(overwritten, "sector", "sectors")));
  if (damaged > 0)
    out.push_back(fmt::format("{} of its cards were damaged or missing.",
                              counted(damaged, "sector", "sectors")));
  if (van.heard && overwritten + damaged == 0)
    out.emplace_back("No sector that its logger wrote is missing between those that were read.");
  for (const Finding finding : van.through.findings)
    out.push_back(sentence(std::string{entry_of(finding).text}));
  std::vector<Finding> told;
  for (const CardUse& card : van.cards)
    for (const Finding finding : card.findings) {
      if (std::ranges::find(told, finding) != told.end()) continue;
      told.push_back(finding);
      out.push_back(sentence(std::string{entry_of(finding).text}));
    }
  return out;
}

}  // namespace packmile::report
