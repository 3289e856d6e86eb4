// Rows as CSV, JSON and a spreadsheet, for other programs.
//
// Standard  RFC 4180 with LF (RFC says CRLF; cut and awk want LF); RFC 8259.
// Rule      JSON: an unknown x is null, and x_why stands beside it; x_why is
//           there only then. CSV: the same keys as columns, empty = unknown;
//           lists are words with spaces between.
#pragma once
#include <string>
#include <string_view>

#include "cli/output.hpp"
#include "ledger/row.hpp"
#include "calendar/zone.hpp"

namespace packmile::cli {

inline constexpr int kSchemaVersion = 1;

// Times in `zone`, with offset.
void write_csv(Output& out, const Rows& rows, const Zone& zone);
void write_json(Output& out, std::string_view command, const Rows& rows, const Zone& zone);

// A workbook of one sheet (workbook.hpp), into an output that is a file.
[[nodiscard]] Result<Done> write_xlsx(Output& out, std::string_view sheet, const Rows& rows,
                                      const Zone& zone);

// One CSV field. Free text that a spreadsheet would take for a formula gets an
// apostrophe in front.
[[nodiscard]] std::string csv_field(std::string_view text);

}  // namespace packmile::cli
