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

std::string part_text(const UpkeepRow& row) {
  return clean_text(row.part) + (row.position.empty() ? "" : " " + row.position);
}

// What needs somebody's hands, one line each.
std::string soon_text(const VanUpkeep& van) {
  std::string out;
  for (const UpkeepRow& row : van.rows) {
    if (row.legal_due && row.legal_due->earliest <= van.today + kSoonDays)
      out += fmt::format("{}, {}: may be down to the law's {:.1f} mm by {}; measure it\n",
                         clean_text(van.names.van), part_text(row), *row.legal_limit_mm,
                         text_of(row.legal_due->earliest));
    if (!row.state.due || row.decided_by != row.state.rule ||
        row.state.due->likely > van.today + kSoonDays)
      continue;
    out +=
        row.state.due->likely <= van.today
            ? fmt::format("{}, {}: overdue by {}\n", clean_text(van.names.van), part_text(row),
                          word_of(row.state.rule))
            : fmt::format("{}, {}: due about {} by {}\n", clean_text(van.names.van), part_text(row),
                          text_of(row.state.due->likely), word_of(row.state.rule));
  }
  return out;
}

std::string life_text(const VanUpkeep& van, bool miles) {
  const std::string name = clean_text(van.names.van);
  if (!van.odometer_km.figure) return fmt::format("{}: {}\n", name, van.odometer_km.why);
  return fmt::format("{}: {:.0f} {} by its odometer, {:.1f} years of average use{}\n", name,
                     van.odometer_km.figure->value * (miles ? 1 / kKmPerMile : 1),
                     miles ? "miles" : "km", van.equivalent_years.figure->value,
                     van.calendar_years
                         ? fmt::format(", {:.1f} years after it was bought", *van.calendar_years)
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
      const auto number = [&](const MaybeFigure& figure) {
        return figure.figure ? plain(figure.figure->value * factor, rule) : std::string{"-"};
      };
      if (!row.state.due) reasons.note(Cell::unknown(row.state.due_why));
      lines.push_back({clean_text(van.names.van), clean_text(row.part), row.position,
                       std::string{word_of(rule)}, row.last ? text_of(*row.last) : "-",
                       number(row.state.used),
                       row.state.limit ? plain(*row.state.limit * factor, rule) : "-",
                       number(row.state.remaining), unit_text(rule, miles), due_text(row.state.due),
                       row.decided_by == rule && row.state.due ? "first" : "",
                       share_or_dash(row.used_share), share_or_dash(row.age_share)});
    }
    soon += soon_text(upkeep);
    lives += life_text(upkeep, miles);
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
           fmt::format("Today: {}. Due: likely (95 % of what the van's own use leaves open).\n",
                       as_of.as_of->text) +
           soon + lives + kAverageMilesSource + ".\n" + missing + kUpkeepCaution;
  });
}

}  // namespace packmile::cli
