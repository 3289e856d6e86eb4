// The walk-round form as pages to print and fill in by hand.
//
// Input     what was known of each van.
// Output    kSheetVansAPage vans on one A4: HTML without anything from outside, in
//           black and white, lying; or text of at most kSheetLinesAPage lines of
//           kSheetColumns.
// Standard  HTML5; text from notes is escaped.
#pragma once
#include <span>
#include <string>

#include "ledger/sheet.hpp"

namespace packmile::cli {

inline constexpr std::size_t kSheetVansAPage = 8;
// An A4 as printers set plain text: six lines and ten letters an inch (common
// practice, no source).
inline constexpr std::size_t kSheetLinesAPage = 64;
inline constexpr std::size_t kSheetColumns = 80;

[[nodiscard]] std::string sheet_text(std::span<const SheetVan> vans);
[[nodiscard]] std::string sheet_html(std::span<const SheetVan> vans);

}  // namespace packmile::cli
