// Tables for people: columns as wide as their widest cell.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace packmile::cli {

// Columns of a terminal that a text takes (UTF-8, wcwidth). The caller sets
// LC_CTYPE to a UTF-8 locale once, and only LC_CTYPE.
[[nodiscard]] std::size_t width_of(std::string_view text);

struct TableColumn {
  std::string title;
  bool right = false;  // numbers stand right
};

// A heading, a rule, the rows; no space at the ends of lines. Cells that are
// missing at the end of a row are empty.
[[nodiscard]] std::string render_table(const std::vector<TableColumn>& columns,
                                       const std::vector<std::vector<std::string>>& rows);

// Words to so many columns, lines after the first moved in by `indent`; the first
// word stands at `indent` already. A word that is longer has its line to itself.
[[nodiscard]] std::string wrapped_words(std::string_view text, std::size_t indent,
                                        std::size_t columns);
// Every line to so many columns, what follows it moved in by two; 0: as it is.
[[nodiscard]] std::string wrapped_lines(std::string_view lines, std::size_t columns);

}  // namespace packmile::cli
