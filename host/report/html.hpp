// HTML in which nothing unescaped can get from data.
//
// Standard  HTML5, elements closed in order.
// Rule      raw() is for the program's own style and script alone.
#pragma once
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace packmile::report {

using Attributes = std::vector<std::pair<std::string_view, std::string>>;

class Html {
 public:
  // An attribute without a value is its name alone: {"hidden", ""}.
  Html& open(std::string_view tag, const Attributes& attributes = {});
  Html& close();  // the innermost that is open
  Html& text(std::string_view text);
  Html& raw(std::string_view html);
  // An element with text alone.
  Html& leaf(std::string_view tag, std::string_view text, const Attributes& attributes = {});
  // An element that HTML never closes: meta.
  Html& lone(std::string_view tag, const Attributes& attributes);
  // Everything that is still open is closed.
  [[nodiscard]] std::string finish();

 private:
  std::string out_;
  std::vector<std::string> open_;
};

struct TableHead {
  std::string title;
  bool number = false;  // stands right
};
struct TableLine {
  std::string at;   // "2026-03", "2026-03-01": hidden by the period; empty: of none
  std::string van;  // hidden by the choice of vans; empty: of none
  std::vector<std::string> cells;
};
struct DataTable {
  std::string caption;
  std::vector<TableHead> head;
  std::vector<TableLine> lines;
};
// The first cell of each line is its heading.
void write_table(Html& html, const DataTable& table);

}  // namespace packmile::report
