#include "report/page_parts.hpp"

#include <fmt/format.h>

#include "report/web/assets.hpp"

namespace packmile::report {
namespace {

constexpr char kPolicy[] =
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:";

}  // namespace

void begin_page(Html& html, std::string_view title) {
  html.raw("<!DOCTYPE html>\n");
  html.open("html", {{"lang", "en"}}).open("head");
  html.lone("meta", {{"charset", "utf-8"}});
  html.lone("meta", {{"http-equiv", "Content-Security-Policy"}, {"content", kPolicy}});
  html.lone("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
  html.leaf("title", title);
  html.open("style").raw(style_css()).close().close();
  html.open("body").open("main", {{"id", "page"}});
  if (!charts_js().empty())
    html.open("noscript")
        .leaf("p", "Charts need scripts, which are off here: every figure is in the tables.")
        .close();
}

void end_page(Html& html, const ChartList& charts) {
  html.close();  // main
  if (!charts_js().empty() && !charts.empty()) {
    html.open("script", {{"type", "application/json"}, {"id", "chart-data"}})
        .raw(chart_json(charts))
        .close();
    html.open("script").raw(charts_js()).close();
  }
}

void write_exhibit(Html& html, const Exhibit& exhibit, std::string_view prefix, ChartList& charts) {
  html.leaf("h3", exhibit.title);
  const bool drawn = !exhibit.chart.points.empty();
  if (exhibit.table.lines.empty()) {
    html.leaf("p", exhibit.finding, {{"class", "finding"}});
    return;
  }
  Attributes attributes{{"class", drawn ? "chart" : "figures"}};
  if (drawn) {
    std::string key = fmt::format("{}-{}", prefix, exhibit.key);
    attributes.emplace_back("data-chart", key);
    charts.emplace_back(std::move(key), exhibit.chart);
  }
  html.open("figure", attributes);
  html.leaf("figcaption", exhibit.finding);
  if (drawn) html.leaf("div", "", {{"class", "plot"}, {"hidden", ""}});
  html.open("details").leaf("summary", "Figures");
  html.open("div", {{"class", "scroll"},
                    {"tabindex", "0"},
                    {"role", "region"},
                    {"aria-label", exhibit.table.caption}});
  write_table(html, exhibit.table);
  html.close().close().close();
}

}  // namespace packmile::report
