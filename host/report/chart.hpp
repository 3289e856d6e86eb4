// What a chart is drawn from, and its JSON in the page.
//
// Output    one object by key, read by the page's script; every figure of it is in
//           the table behind the chart, too.
// Standard  RFC 8259; < as \u003c and U+2028, U+2029 escaped, so that no text can
//           end the script element that holds it (HTML5 8.1.3).
// Times     "YYYY-MM" or "YYYY-MM-DD", local days of the fleet.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "figure.hpp"

namespace packmile::report {

using ChartX = std::variant<std::string, double>;

struct ChartPoint {
  ChartX x{};
  double y = 0;
  std::optional<double> low, high;                  // 95 %
  std::optional<double> scatter_low, scatter_high;  // random part alone
  std::string group, note;                          // may be empty
};
// factor: into the unit of the axis.
[[nodiscard]] ChartPoint point_of(ChartX x, const Figure& figure, double factor = 1);

struct ChartLine {
  std::string name;
  std::vector<std::pair<ChartX, double>> at;
};

struct Chart {
  std::string_view kind = "ranges";  // ranges, bars, days
  std::string van;                   // empty: of all
  std::string says;                  // one sentence for who does not see it
  std::string x_label, y_label;
  std::string_view x_type = "time";  // time, number, category
  bool from_zero = false;
  std::vector<ChartPoint> points;
  std::vector<ChartLine> lines;
};

// {"KEY": CHART, ...}
[[nodiscard]] std::string chart_json(const std::vector<std::pair<std::string, Chart>>& charts);
// A JSON string with its quotes.
[[nodiscard]] std::string json_text(std::string_view text);

}  // namespace packmile::report
