#include "report/chart.hpp"

#include <fmt/format.h>

#include <cmath>

#include "report/safe_text.hpp"

namespace packmile::report {
namespace {

// Six digits are more than any axis shows; JSON has no infinity.
std::string number_json(double value) {
  return std::isfinite(value) ? fmt::format("{:.6g}", value + 0.0) : "null";
}

std::string x_json(const ChartX& x) {
  return x.index() == 0 ? json_text(std::get<0>(x)) : number_json(std::get<1>(x));
}

std::string point_json(const ChartPoint& point) {
  std::string out = "{\"x\":" + x_json(point.x) + ",\"y\":" + number_json(point.y);
  const auto add = [&](std::string_view key, const std::optional<double>& value) {
    if (value) out += fmt::format(",\"{}\":{}", key, number_json(*value));
  };
  add("low", point.low);
  add("high", point.high);
  add("scatter_low", point.scatter_low);
  add("scatter_high", point.scatter_high);
  if (!point.group.empty()) out += ",\"group\":" + json_text(point.group);
  if (!point.note.empty()) out += ",\"note\":" + json_text(point.note);
  return out + "}";
}

std::string one_json(const Chart& chart) {
  std::string out = fmt::format(
      "{{\"kind\":{},\"van\":{},\"says\":{},\"x\":{{\"label\":{},\"type\":{}}},"
      "\"y\":{{\"label\":{},\"from_zero\":{}}},\"points\":[",
      json_text(chart.kind), json_text(chart.van), json_text(chart.says), json_text(chart.x_label),
      json_text(chart.x_type), json_text(chart.y_label), chart.from_zero);
  for (const ChartPoint& point : chart.points)
    out += (&point == &chart.points.front() ? "" : ",") + point_json(point);
  out += "],\"lines\":[";
  for (const ChartLine& line : chart.lines) {
    out += (&line == &chart.lines.front() ? "" : ",") +
           ("{\"name\":" + json_text(line.name) + ",\"at\":[");
    for (std::size_t k = 0; k < line.at.size(); ++k)
      out += fmt::format("{}[{},{}]", k == 0 ? "" : ",", x_json(line.at[k].first),
                         number_json(line.at[k].second));
    out += "]}";
  }
  return out + "]}";
}

}  // namespace

ChartPoint point_of(ChartX x, const Figure& figure, double factor) {
  ChartPoint out{std::move(x),
                 figure.value * factor,
                 figure.low * factor,
                 figure.high * factor,
                 {},
                 {},
                 {},
                 {}};
  if (figure.scatter > 0) {
    out.scatter_low = (figure.value - figure.scatter) * factor;
    out.scatter_high = (figure.value + figure.scatter) * factor;
  }
  return out;
}

std::string json_text(std::string_view text) {
  std::string out = "\"";
  // clean_text has left no control characters and no U+2028, U+2029.
  for (const char c : clean_text(text)) {
    if (c == '"' || c == '\\') out += '\\';
    if (c == '<')
      out += "\\u003c";
    else
      out += c;
  }
  return out + '"';
}

std::string chart_json(const std::vector<std::pair<std::string, Chart>>& charts) {
  std::string out = "{";
  for (std::size_t k = 0; k < charts.size(); ++k)
    out += (k == 0 ? "" : ",\n") + json_text(charts[k].first) + ":" + one_json(charts[k].second);
  return out + "}";
}

}  // namespace packmile::report
