#include "report/pages.hpp"

#include <fmt/format.h>

#include <set>

#include "report/page_parts.hpp"

namespace packmile::report {
namespace {

// The script shows the form and works it; without one nothing can be chosen.
void write_filter(Html& html, const DepotEvidence& depot) {
  std::set<std::string> months;
  for (const VanEvidence& van : depot.vans)
    for (const MonthThroughput& month : van.months) months.insert(month.month);
  html.open("form", {{"id", "filter"}, {"hidden", ""}});
  html.open("fieldset").leaf("legend", "Vans");
  for (const VanEvidence& van : depot.vans) {
    html.open("label");
    html.lone("input",
              {{"type", "checkbox"}, {"name", "van"}, {"value", van.names.van}, {"checked", ""}});
    html.text(" " + van.names.van).close();
  }
  html.close();
  for (const auto& [name, label] : {std::pair{"from", "From"}, std::pair{"to", "To"}}) {
    html.open("label").text(std::string{label} + " ");
    html.open("select", {{"name", name}});
    for (const std::string& month : months) {
      Attributes attributes{{"value", month}};
      if (month == (std::string_view{name} == "from" ? *months.begin() : *months.rbegin()))
        attributes.emplace_back("selected", "");
      html.leaf("option", month_words(month), attributes);
    }
    html.close().close();
  }
  html.leaf("p", "", {{"id", "filter-says"}, {"role", "status"}});
  html.close();
}

}  // namespace

std::string report_page(const DepotEvidence& depot) {
  Html html;
  ChartList charts;
  begin_page(html, fmt::format("Report on {}, {}", counted(depot.vans.size(), "van", "vans"),
                               depot.words.day(depot.words.today)));
  write_filter(html, depot);
  write_page_one(html, depot, charts);
  for (std::size_t k = 0; k < depot.vans.size(); ++k)
    write_van_page(html, depot.vans[k], k + 1, depot, charts);
  end_page(html, charts);
  return html.finish();
}

}  // namespace packmile::report
