#include <fmt/format.h>

#include <cmath>

#include "cli/render.hpp"

namespace packmile::cli {
namespace {

bool json_only(ColumnKind kind) {
  return kind == ColumnKind::swings || kind == ColumnKind::powers || kind == ColumnKind::lost ||
         kind == ColumnKind::differences || kind == ColumnKind::questions ||
         kind == ColumnKind::verdicts;
}

std::string number(double value) { return std::isfinite(value) ? fmt::format("{}", value) : ""; }

struct Writer {
  const Zone& zone;

  std::string operator()(std::monostate) const { return {}; }
  std::string operator()(const std::string& text) const { return csv_field(text); }
  std::string operator()(UtcTime at) const { return zone.iso(at); }
  std::string operator()(double value) const { return number(value); }
  std::string operator()(std::int64_t value) const { return fmt::format("{}", value); }
  std::string operator()(const Figure& f) const { return number(f.value); }
  std::string operator()(const std::vector<std::string>& words) const {
    return csv_field(fmt::format("{}", fmt::join(words, " ")));
  }
  std::string operator()(const std::vector<SwingCount>&) const { return {}; }
  std::string operator()(const std::vector<ChargePower>&) const { return {}; }
  std::string operator()(const std::vector<VanDifference>&) const { return {}; }
  std::string operator()(const std::vector<LostStretch>&) const { return {}; }
  std::string operator()(const std::vector<OwnersQuestion>&) const { return {}; }
  std::string operator()(const std::vector<Verdict>&) const { return {}; }
};

}  // namespace

std::string csv_field(std::string_view text) {
  std::string out;
  if (!text.empty() && std::string_view{"=+-@\t\r"}.find(text.front()) != std::string_view::npos)
    out += '\'';
  out += text;
  if (out.find_first_of(",\"\r\n") == std::string::npos) return out;
  std::string quoted = "\"";
  for (const char c : out) {
    if (c == '"') quoted += '"';
    quoted += c;
  }
  return quoted + '"';
}

void write_csv(Output& out, const Rows& rows, const Zone& zone) {
  std::string line;
  const auto field = [&](std::string_view text) {
    if (!line.empty()) line += ',';
    line += text;
  };
  for (const Column& column : rows.columns) {
    if (json_only(column.kind)) continue;
    for (const std::string& key : keys_of(column)) field(key);
  }
  out.write(line + '\n');
  const Writer writer{zone};
  for (const Row& row : rows.rows) {
    line.clear();
    bool first = true;
    const auto cell_field = [&](std::string_view text) {
      if (!first) line += ',';
      first = false;
      line += text;
    };
    for (std::size_t k = 0; k < rows.columns.size(); ++k) {
      const Column& column = rows.columns[k];
      const Cell& cell = row[k];
      if (json_only(column.kind)) continue;
      cell_field(std::visit(writer, cell.value));
      if (column.kind == ColumnKind::figure) {
        const auto* f = std::get_if<Figure>(&cell.value);
        for (const double value : {f ? f->low : NAN, f ? f->high : NAN, f ? f->scatter : NAN})
          cell_field(number(value));
      }
      if (column.kind == ColumnKind::figure || column.may_be_unknown)
        cell_field(cell.known() ? std::string{} : csv_field(cell.why));
    }
    out.write(line + '\n');
    if (!out.good()) return;
  }
}

}  // namespace packmile::cli
