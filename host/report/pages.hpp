// The report: one self-contained HTML page.
//
// Input     the evidence of a depot.
// Output    page one, then a page for each van; style and script inside; nothing is
//           fetched. With scripts off every finding and table is there.
// Standard  HTML5.
#pragma once
#include <string>

#include "report/evidence.hpp"

namespace packmile::report {

[[nodiscard]] std::string report_page(const DepotEvidence& depot);

}  // namespace packmile::report
