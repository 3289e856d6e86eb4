// packmile upkeep: what is due on each van, when, and what says so.
#include "ledger/upkeep.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/as_of.hpp"
#include "report/number_text.hpp"
#include "cli/van_evidence.hpp"

namespace packmile::cli {
namespace {

// What is due within so many days is said below the table.
constexpr std::chrono::days kSoonDays{28};

// Narrower ranges than this are not shown: km, hours, starts, kWh; years and mm.
constexpr double kNarrow = 3, kNarrowFine = 0.1;

constexpr char kUpkeepCaution[] =
    "It informs; the maker's schedule, the law where you are and a competent inspection decide.\n"
    "Wheels off the ground only on stands. Orange cables are high voltage: licensed people only.\n";

double factor_of(PartRule rule, bool miles) {
  return rule == PartRule::distance && miles ? 1 / kKmPerMile : 1;
}

std::string unit_text(PartRule rule, bool miles) {
  return rule == PartRule::distance && miles ? "miles" : std::string{unit_of(rule)};
}

// As many decimals as people use for it.
std::string plain(double value, PartRule rule) {
  const bool fine = rule == PartRule::age || rule == PartRule::measured;
  const double rounded = std::round(value * 10) / 10 + 0.0;  // no "-0.0"
  return fine ? fmt::format("{:.1f}", rounded) : fmt::format("{:.0f}", std::round(value) + 0.0);
}

// With its range where that is wider than people care for.
std::string ranged(const MaybeFigure& figure, PartRule rule, double factor) {
  if (!figure.figure) return "-";
  const Figure& f = *figure.figure;
  const bool fine = rule == PartRule::age || rule == PartRule::measured;
  const std::string value = plain(f.value * factor, rule);
  if ((f.high - f.low) * factor < (fine ? kNarrowFine : kNarrow)) return value;
  return fmt::format("{} ({} to {})", value, plain(f.low * factor, rule),
                     plain(f.high * factor, rule));
}

std::string due_text(const std::optional<DueDates>& due) {
  if (!due) return "-";
  if (due->latest && *due->latest == due->earliest) return text_of(due->likely);
  return fmt::format("{} ({} to {})", text_of(due->likely), text_of(due->earliest),
                     due->latest ? text_of(*due->latest) : "not bounded");
}

std::string share_or_dash(const std::optional<double>& share) {
  return share ? fmt::format("{:.0f}", std::floor(*share * 100 + 1e-9)) : "-";
}

bool is_due_in(const UpkeepRow& row, const Period& period, const Zone& zone) {
  if (!period.from && !period.to) return true;
  if (!row.state.due) return false;
  const auto at = zone.read(text_of(row.state.due->likely));
  return at && period.holds(*at);
}

std::string first_text(const UpkeepRow& row) {
  if (row.decided_by != row.state.rule || !row.state.due) return {};
  return row.perhaps.empty() ? "first" : "first?";
}

std::string part_text(const UpkeepRow& row) {
  return clean_text(row.part) + (row.position.empty() ? "" : " " + row.position);
}

// A tread that may be down to the law's least depth within the next weeks; empty: none.
std::string legal_text(const UpkeepRow& row, LocalDay today, const std::string& what) {
  if (!row.legal_limit_mm || !row.last) return {};
  const auto& left = row.legal_remaining_mm.figure;
  if (left && left->low <= 0)
    return fmt::format("{}: {} the law's {:.1f} mm when it was measured on {}; have it looked at\n",
                       what, left->value <= 0 ? "was down to" : "may have been down to",
                       *row.legal_limit_mm, text_of(*row.last));
  if (!row.legal_due || row.legal_due->earliest > today + kSoonDays) return {};
  return fmt::format("{}: may be down to the law's {:.1f} mm {}; measure it\n", what,
                     *row.legal_limit_mm,
                     row.legal_due->earliest <= today ? std::string{"by now"}
                                                      : "by " + text_of(row.legal_due->earliest));
}

// A measurement that may be at the plan's limit, of which no date tells; empty: none.
std::string gauge_text(const UpkeepRow& row, const std::string& what) {
  const auto& left = row.state.remaining.figure;
  if (row.state.rule != PartRule::measured || row.state.due || !row.last || !left ||
      left->low > 0 || !row.state.limit)
    return {};
  return fmt::format(
      "{}: measured on {}, {:.1f} mm above the {:.1f} mm you plan with: within the "
      "gauge's error, so measure it again\n",
      what, text_of(*row.last), left->value, *row.state.limit);
}

// What became due or ran out, and how sure that is.
std::string due_line(const UpkeepRow& row, LocalDay today) {
  const DueDates& due = *row.state.due;
  const std::string_view rule =
      row.state.rule == PartRule::measured ? "measurement" : word_of(row.state.rule);
  const std::string day = text_of(due.likely);
  if (due.likely > today)
    return fmt::format("{} about {} by {}", row.is_warranty ? "runs out" : "due", day, rule);
  const bool sure = due.latest && *due.latest <= today;
  return fmt::format("{}{} by {}, since about {}", sure ? "" : "probably ",
                     row.is_warranty ? "run out" : "overdue", rule, day);
}

// What needs somebody's hands, one line each.
std::string soon_text(const VanUpkeep& van) {
  std::string out;
  for (const UpkeepRow& row : van.rows) {
    const std::string what = clean_text(van.names.van) + ", " + part_text(row);
    out += legal_text(row, van.today, what) + gauge_text(row, what);
    if (!row.state.due || row.decided_by != row.state.rule ||
        row.state.due->likely > van.today + kSoonDays)
      continue;
    out += fmt::format("{}: {}{}\n", what, due_line(row, van.today),
                       row.perhaps.empty() ? "" : "; " + clean_text(row.perhaps));
  }
  return out;
}

std::string life_text(const VanUpkeep& van, bool miles) {
  const std::string name = clean_text(van.names.van);
  if (!van.odometer_km.figure) return fmt::format("{}: {}\n", name, van.odometer_km.why);
  const double factor = miles ? 1 / kKmPerMile : 1;
  const bool projected = van.odometer_known_to && *van.odometer_known_to < van.today;
  return fmt::format("{}: {} {} by its odometer{}, {:.1f} years of average use{}\n", name,
                     ranged(van.odometer_km, PartRule::distance, factor), miles ? "miles" : "km",
                     projected ? fmt::format(" (known to {}, {})", text_of(*van.odometer_known_to),
                                             van.odometer_goes_on ? "then by its own use"
                                                                  : "what came since is not known")
                               : std::string{},
                     van.equivalent_years.figure->value,
                     van.calendar_years
                         ? fmt::format(" beside {:.1f} by the calendar", *van.calendar_years)
                         : std::string{});
}

}  // namespace

ExitCode run_upkeep(const RowsOptions& options) {
  AskedOr answer = ask(options, true);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const AsOfOr as_of = find_as_of(asked, options.as_of);
  if (!as_of.as_of) return as_of.code;
  const bool miles = options.units == Units::miles;

  Rows rows{upkeep_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  std::string soon, lives, missing;
  bool any_friction = false;
  Reasons reasons;
  for (const AskedVan& van : asked.vans) {
    auto record = on_record(asked, van);
    if (!record) {
      say(record.error());
      return ExitCode::failed;
    }
    const VanDuty duty = duty_of(record->parts, record->notes, asked.zone(), as_of.as_of->at);
    const auto told = upkeep_of_van(asked, van, duty, record->notes);
    if (!told) {
      say(told.error());
      return ExitCode::failed;
    }
    const VanUpkeep& upkeep = *told;
    for (const UpkeepRow& row : upkeep.rows) {
      if (!is_due_in(row, asked.period, asked.zone())) continue;
      rows.rows.push_back(row_of(upkeep, row));
      if (options.format != Format::table) continue;
      const PartRule rule = row.state.rule;
      const double factor = factor_of(rule, miles);
      // What is left tells the range of what was used as well.
      const std::string used = row.state.limit && row.state.used.figure
                                   ? plain(row.state.used.figure->value * factor, rule)
                                   : ranged(row.state.used, rule, factor);
      if (!row.state.due) reasons.note(Cell::unknown(row.state.due_why));
      lines.push_back({clean_text(van.names.van), clean_text(row.part), row.position,
                       std::string{word_of(rule)}, row.last ? text_of(*row.last) : "-", used,
                       row.state.limit ? plain(*row.state.limit * factor, rule) : "-",
                       ranged(row.state.remaining, rule, factor), unit_text(rule, miles),
                       due_text(row.state.due), first_text(row), share_or_dash(row.used_share),
                       share_or_dash(row.age_share)});
    }
    soon += soon_text(upkeep);
    lives += life_text(upkeep, miles);
    any_friction = any_friction || upkeep.friction_share.figure.has_value();
    if (upkeep.friction_share.figure)
      lives += fmt::format(
          "{}: friction brakes took {} % of the braking of the last {} days: a trend to hold "
          "against itself and like vans, no thickness\n",
          clean_text(van.names.van), figure_text(*upkeep.friction_share.figure, 100),
          kBrakingDays.count());
    if (!upkeep.missing.empty())
      missing += fmt::format("{}, not known yet:\n  {}\n", clean_text(van.names.van),
                             clean_text(fmt::format("{}", fmt::join(upkeep.missing, "; "))));
  }
  return write_rows(options, "upkeep", rows, asked.zone(), [&]() -> Result<std::string> {
    const std::vector<TableColumn> columns{
        {"van", false},   {"part", false}, {"place", false}, {"rule", false}, {"last", false},
        {"used", true},   {"limit", true}, {"left", true},   {"unit", false}, {"due", false},
        {"first", false}, {"use %", true}, {"age %", true}};
    return render_table(columns, lines) + foot_of(asked, reasons) +
           fmt::format(
               "Today: {}. Due: likely (95 % of what the van's own use leaves open). "
               "first?: another rule of the part may come first.\n",
               as_of.as_of->text) +
           soon + lives + (any_friction ? "Friction's share: " + friction_assumes() + ".\n" : "") +
           kAverageMilesSource + ".\nLeast tread by law: " + kLegalTreadSource + ".\n" + missing +
           kUpkeepCaution;
  });
}

}  // namespace packmile::cli
