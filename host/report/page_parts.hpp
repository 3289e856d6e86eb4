// Parts that every page of the report is made of.
#pragma once
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "report/chart.hpp"
#include "report/evidence.hpp"
#include "report/exhibits.hpp"
#include "report/html.hpp"

namespace packmile::report {

// Charts of the page so far, by key.
using ChartList = std::vector<std::pair<std::string, Chart>>;

// <!doctype> to <main>; the page is what may be read without a network.
void begin_page(Html& html, std::string_view title);
// What is behind </main>: charts' data and script, where the build has charts.
void end_page(Html& html, const ChartList& charts);

// The chart with its finding and its table; a sentence alone where it has no point.
// prefix: of the key, van or page.
void write_exhibit(Html& html, const Exhibit& exhibit, std::string_view prefix, ChartList& charts);

void write_page_one(Html& html, const DepotEvidence& depot, ChartList& charts);
// number: from 1.
void write_van_page(Html& html, const VanEvidence& van, std::size_t number,
                    const DepotEvidence& depot, ChartList& charts);

}  // namespace packmile::report
