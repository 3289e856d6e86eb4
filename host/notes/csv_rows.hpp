// Rows of a CSV text, each field with its place.
//
// Standard  RFC 4180, read by libcsv; line ends LF, CRLF or CR; UTF-8, with or
//           without a byte order mark. Empty lines are passed over, spaces
//           around a field that is not in quotes do not count.
// Bounded   kMostCsvFields a row.
#pragma once
#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace packmile {

inline constexpr std::size_t kMostCsvFields = 64;

// Lines and columns count from 1, columns in letters as an editor does.
struct CsvPlace {
  std::size_t line = 1;
  std::size_t column = 1;
};

struct CsvField {
  std::string text;  // UTF-8; without the quotes
  CsvPlace at;
};

struct CsvRow {
  std::vector<CsvField> fields;  // at least one
  CsvPlace at;
  // Its bytes in the text, without the line end.
  std::size_t begin = 0;
  std::size_t end = 0;
};

// Why the text is no CSV from this place on.
struct CsvTrouble {
  std::string what;
  std::string hint;
  CsvPlace at;
};

// Calls `take` for each row in order, as long as it answers true. None: the
// whole text was read, or `take` had enough.
[[nodiscard]] std::optional<CsvTrouble> read_csv(std::string_view text,
                                                 const std::function<bool(CsvRow&&)>& take);

// One field as it has to be written: in quotes only where it must be.
[[nodiscard]] std::string csv_quoted(std::string_view text);

}  // namespace packmile
