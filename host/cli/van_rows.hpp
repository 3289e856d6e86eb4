// What the commands that print rows of vans have in common: a depot brought up to date,
// the vans and the period that were asked for, and the formats.
#pragma once
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"
#include "cli/table.hpp"
#include "ledger/row.hpp"
#include "ledger/throughput.hpp"

namespace packmile::cli {

struct AskedVan {
  VanNames names;
  std::optional<std::int64_t> id;  // absent: fleet.toml knows it, the archive does not
};

struct Asked {
  OpenDepot open;
  Period period;
  std::vector<AskedVan> vans;  // by name
  std::vector<AskedVan> all;   // also where one van was asked for
  std::string period_text;     // for the line below a table

  [[nodiscard]] const Zone& zone() const { return open.depot.fleet.zone; }
};

// Either what was asked for, or the exit code; the error has been said.
struct AskedOr {
  std::optional<Asked> asked;
  ExitCode code = ExitCode::failed;
};
// with_noted: also vans of which there are notes alone.
[[nodiscard]] AskedOr ask(const RowsOptions& options, bool with_noted = false);

// Everything that the ledger has of a van's life; nothing of one that only
// fleet.toml knows.
[[nodiscard]] Result<VanParts> parts_of_van(OpenDepot& open, const AskedVan& van);
[[nodiscard]] inline Result<VanParts> parts_of_van(Asked& asked, const AskedVan& van) {
  return parts_of_van(asked.open, van);
}

// The same, and what its notes say.
struct VanOnRecord {
  VanParts parts;
  VanNotes notes;
};
[[nodiscard]] Result<VanOnRecord> on_record(Asked& asked, const AskedVan& van);

// Collects why figures of a table are not known, each reason once.
class Reasons {
 public:
  void note(const Cell& cell);
  void note(const MaybeFigure& figure);
  // "- is not known: ...", one reason a line; empty when all was known.
  [[nodiscard]] std::string text() const;

 private:
  std::vector<std::string> seen_;
};

// Lines below a table: the depot, its zone, the period, what brackets mean.
[[nodiscard]] std::string foot_of(const Asked& asked, const Reasons& reasons);
// "2026-03-02 07:10"; where that is not sure to ten minutes, "between .. and ..",
// "after ..", "before .." or "not known".
[[nodiscard]] std::string moment_text(const Zone& zone, UtcTime at, const TimeDoubt& doubt);
// Whole minutes; "-" for what was not heard, between boots whose clocks leave it
// open. What was heard is of one boot, and its length sure.
[[nodiscard]] std::string minutes_text(UtcTime start, UtcTime end, bool heard,
                                       const TimeDoubt& of_start, const TimeDoubt& of_end);
template <typename Row>
[[nodiscard]] std::string minutes_text(const Row& row) {
  return minutes_text(row.start, row.end, row.coverage > 0, row.start_doubt, row.end_doubt);
}
// A line for a table of one period: how many rows beside it may belong to it, and
// what becomes of those that are in it. Empty: none.
[[nodiscard]] std::string beside_text(std::int64_t beside, std::int64_t unsure, const char* what);
// One line a van: what its pack current was taken for, and why.
// undecided_only: leaves out the vans whose pack current is agreed.
[[nodiscard]] Result<std::string> evidence_of(Asked& asked, bool undecided_only);

// Sentences below a table, to the width of the terminal; into a pipe or a file as
// they are.
[[nodiscard]] std::string prose(const RowsOptions& options, std::string_view lines);

// "lost before it was read: Rowan, 2026-03-02 07:10 to 2026-03-04 18:22, 4210
// sectors overwritten", one line a stretch, the newest last; of many only the
// newest. Empty when nothing was lost.
[[nodiscard]] std::string lost_text(const std::string& van, const std::vector<LostStretch>& lost,
                                    const Zone& zone);

// Writes `rows` as CSV or JSON, or the text of `table`, to where it was asked.
[[nodiscard]] ExitCode write_rows(const RowsOptions& options, std::string_view command,
                                  const Rows& rows, const Zone& zone,
                                  const std::function<Result<std::string>()>& table);

}  // namespace packmile::cli
