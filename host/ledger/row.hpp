// Rows: what every command prints and the ledger stores, as cells under named
// columns. One spelling from struct to SQL column to CSV header to JSON key.
//
// Rule      a figure `x` has x_low, x_high, x_scatter beside it; what is not
//           known is empty (JSON null) and x_why says the reason.
#pragma once
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "energy/van_account.hpp"
#include "figure.hpp"
#include "money/session_cost.hpp"
#include "pack/capacity.hpp"
#include "reading/verdict.hpp"
#include "timeline/lost_stretch.hpp"

namespace packmile {

enum class ColumnKind : std::uint8_t {
  text,
  day,  // text such as 2026-03-01, of a calendar: no moment of it is meant
  time,
  real,         // a plain number that is no measured figure, such as coverage
  count,        // a whole number
  figure,       // a number with its interval
  words,        // a list of words
  swings,       // depth_pct and count; JSON only
  powers,       // kind, from_kw, to_kw, hours; JSON only
  differences,  // other, kwh_per_mile and its interval, decided, more_days; JSON only
  lost,         // from, to, sectors, why; JSON only
  questions,    // of the owner, and what answers them; JSON only
  verdicts      // about the words of a card's van; JSON only
};

// Hours of charging with power from..to, kW into the pack.
struct ChargePower {
  std::string kind;  // ac, dc, unknown
  double from_kw = 0;
  std::optional<double> to_kw;  // absent: without end
  double hours = 0;
};

// How a van differs from another one at reference conditions.
struct VanDifference {
  std::string other;
  Figure kwh_per_mile;  // above 0: the van takes more than the other
  bool decided = false;
  std::optional<double> more_days;
  std::string more_days_why;  // why there are none
};

// Whether a van's answers settle a question of its owner's.
struct OwnersQuestion {
  std::string question;              // energy_per_mile, ..
  std::string answered;              // yes, partly, no
  std::string family;                // how the van tells; empty: it does not
  std::vector<std::string> signals;  // what it answers towards it
  std::optional<double> period_ms;   // median step of the first of them
  std::optional<double> share;       // 0..1, of the time that such steps cover
  std::string missing;               // empty: nothing
  std::string how;                   // to get it; empty: nothing is to be done
  std::string told;                  // signals, family and rate for people
};

struct Column {
  std::string name;
  ColumnKind kind = ColumnKind::text;
  // May be null and then has x_why; a figure always may.
  bool may_be_unknown = false;
};

struct Cell {
  std::variant<std::monostate, std::string, UtcTime, double, std::int64_t, Figure,
               std::vector<std::string>, std::vector<SwingCount>, std::vector<LostStretch>,
               std::vector<OwnersQuestion>, std::vector<Verdict>, std::vector<ChargePower>,
               std::vector<VanDifference>>
      value;
  std::string why;  // the reason, when there is no value

  [[nodiscard]] bool known() const { return value.index() != 0; }
  static Cell unknown(std::string reason) { return {std::monostate{}, std::move(reason)}; }
  static Cell of(const MaybeFigure& f) {
    if (!f.figure) return unknown(f.why.empty() ? "not worked out" : f.why);
    if (!std::isfinite(f.figure->value)) return unknown("the arithmetic has no result here");
    return {*f.figure, {}};
  }
};

using Row = std::vector<Cell>;  // one cell for each column

struct Rows {
  std::vector<Column> columns;
  std::vector<Row> rows;

  // Index of a column; columns.size() when there is none of that name.
  [[nodiscard]] std::size_t column_of(std::string_view name) const {
    std::size_t k = 0;
    while (k < columns.size() && columns[k].name != name) ++k;
    return k;
  }
};

// The keys that one column becomes, in order: x, x_low, x_high, x_scatter, x_why.
[[nodiscard]] inline std::vector<std::string> keys_of(const Column& column) {
  std::vector<std::string> keys{column.name};
  if (column.kind == ColumnKind::figure)
    for (const char* end : {"_low", "_high", "_scatter"}) keys.push_back(column.name + end);
  if (column.kind == ColumnKind::figure || column.may_be_unknown)
    keys.push_back(column.name + "_why");
  return keys;
}

// Their words with spaces between.
[[nodiscard]] std::string text_of(const std::vector<Finding>& findings);

// Whose row it is.
struct VanNames {
  std::string van;
  std::string vin;  // empty: never read
};

// The columns and cells of `trips`, `sessions` and `capacity` (van and vin come
// first).
[[nodiscard]] std::vector<Column> trip_columns();
[[nodiscard]] Row row_of(const VanNames& van, const Trip& trip);
[[nodiscard]] std::vector<Column> session_columns();
// grid_kwh is that of the note where one is about the session.
[[nodiscard]] Row row_of(const VanNames& van, const ChargeSession& session,
                         const SessionCost& money, const std::string& currency);
// Of `verdicts` without van and vin, which come first in its rows.
[[nodiscard]] std::vector<Column> verdict_columns();
[[nodiscard]] Row row_of(const Verdict& verdict);
// The two cells that begin every row of a van.
[[nodiscard]] Row row_begin(const VanNames& van);
[[nodiscard]] std::vector<Column> capacity_columns();
[[nodiscard]] Row row_of(const VanNames& van, const CapacityRow& capacity);

}  // namespace packmile
