// Rows as a spreadsheet: one workbook, one sheet a table.
//
// Standard  ECMA-376 (Office Open XML), written by libxlsxwriter.
// Output    the columns of the CSV under the same keys. A time is a date in the
//           depot's zone, and the heading names the zone: a spreadsheet knows no
//           zones, so that in the night when clocks go back an hour comes twice
//           (CSV has the offset). An unknown x is empty; x_why is there only where
//           an x is unknown. Text is text, whatever it begins with.
// Bounded   rows go one by one into a temporary file of the library's, not held.
#pragma once
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "calendar/zone.hpp"
#include "cli/output.hpp"
#include "ledger/row.hpp"
#include "result.hpp"

struct lxw_workbook;
struct lxw_worksheet;

namespace packmile::cli {

// What one sheet holds beside its heading (ECMA-376 has 1,048,576 rows).
inline constexpr std::size_t kMostSheetRows = 1'048'575;

class Workbook {
 public:
  // `out` must be a file, and must outlive the workbook.
  [[nodiscard]] static Result<Workbook> begin(Output& out);
  Workbook(Workbook&& other) noexcept;
  Workbook& operator=(Workbook&&) = delete;
  ~Workbook();  // not finished: the output must not be committed

  // Sheets in the order of the calls. `name`: at most 31 letters, no two the same.
  // Error: more rows than a sheet holds, or no room.
  [[nodiscard]] Result<Done> add_sheet(std::string_view name, const Rows& rows, const Zone& zone);
  // Rows that nobody holds: `fill` hands them over one by one, and stops at false. What
  // may be unknown has its column of reasons, filled or not.
  [[nodiscard]] Result<Done> stream_sheet(
      std::string_view name, const std::vector<Column>& columns, const Zone& zone,
      const std::function<void(const std::function<bool(const Row&)>&)>& fill);
  // Before the output's commit(), once, with at least one sheet.
  [[nodiscard]] Result<Done> finish();

 private:
  Workbook(lxw_workbook* book, std::string file) : book_(book), file_(std::move(file)) {}
  [[nodiscard]] Result<lxw_worksheet*> new_sheet(std::string_view name);
  [[nodiscard]] Result<Done> written(int error) const;
  lxw_workbook* book_ = nullptr;
  std::string file_;  // as the user named it
};

}  // namespace packmile::cli
