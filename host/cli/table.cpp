#include "cli/table.hpp"

#include <algorithm>
#include <cwchar>

namespace packmile::cli {

std::size_t width_of(std::string_view text) {
  std::mbstate_t state{};
  std::size_t width = 0;
  while (!text.empty()) {
    wchar_t wide = 0;
    std::size_t used = std::mbrtowc(&wide, text.data(), text.size(), &state);
    if (used == 0 || used > text.size()) {  // NUL, or not UTF-8: one column a byte
      state = {};
      used = 1;
      ++width;
    } else {
      width += static_cast<std::size_t>(std::max(0, wcwidth(wide)));
    }
    text.remove_prefix(used);
  }
  return width;
}

std::string render_table(const std::vector<TableColumn>& columns,
                         const std::vector<std::vector<std::string>>& rows) {
  constexpr std::string_view kBetween = "  ";
  std::vector<std::size_t> widths;
  for (const auto& column : columns) widths.push_back(width_of(column.title));
  for (const auto& row : rows)
    for (std::size_t k = 0; k < std::min(row.size(), widths.size()); ++k)
      widths[k] = std::max(widths[k], width_of(row[k]));

  std::string out;
  const auto line = [&](auto&& text_of) {
    std::string text;
    for (std::size_t k = 0; k < columns.size(); ++k) {
      const std::string cell = text_of(k);
      const std::string pad(widths[k] - std::min(widths[k], width_of(cell)), ' ');
      if (k > 0) text += kBetween;
      text += columns[k].right ? pad + cell : cell + pad;
    }
    text.erase(text.find_last_not_of(' ') + 1);
    out += text + '\n';
  };
  line([&](std::size_t k) { return columns[k].title; });
  line([&](std::size_t k) { return std::string(widths[k], '-'); });
  for (const auto& row : rows)
    line([&](std::size_t k) { return k < row.size() ? row[k] : std::string{}; });
  return out;
}

std::string wrapped_words(std::string_view text, std::size_t indent, std::size_t columns) {
  std::string out;
  std::size_t at = indent;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find(' '), text.size());
    const std::string_view word = text.substr(0, end);
    const std::size_t width = width_of(word);
    if (!out.empty() && at + 1 + width > columns) {
      out += "\n" + std::string(indent, ' ');
      at = indent;
    } else if (!out.empty()) {
      out += ' ';
      ++at;
    }
    out += word;
    at += width;
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return out;
}

std::string wrapped_lines(std::string_view lines, std::size_t columns) {
  constexpr std::size_t kIndent = 2;
  if (columns <= kIndent) return std::string{lines};
  std::string out;
  while (!lines.empty()) {
    const std::size_t end = std::min(lines.find('\n'), lines.size());
    const std::string_view line = lines.substr(0, end);
    // The first word stands at the left edge.
    const std::string wrapped =
        width_of(line) <= columns ? std::string{line} : wrapped_words(line, kIndent, columns);
    out += wrapped;
    if (end < lines.size()) out += '\n';
    lines.remove_prefix(std::min(end + 1, lines.size()));
  }
  return out;
}

}  // namespace packmile::cli
