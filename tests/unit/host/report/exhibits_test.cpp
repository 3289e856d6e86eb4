#include "report/exhibits.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "report/pack_words.hpp"
#include "report/pages.hpp"
#include "report/unknown_words.hpp"

using namespace packmile;
using namespace packmile::report;

namespace {

MonthThroughput shown_month(std::string month, double low, double high) {
  MonthThroughput out;
  out.month = std::move(month);
  out.through.kwh_per_mile = MaybeFigure::known({(low + high) / 2, low, high, 0});
  out.distance = MaybeFigure::known({1000, 990, 1010, 0});
  return out;
}

CapacityRow shown_capacity(CapacityMethod method, std::optional<Figure> ah) {
  CapacityRow row;
  row.method = method;
  row.scope = CapacityScope::latest;
  row.reason = "five charges are needed";
  row.ah = ah ? MaybeFigure::known(*ah) : MaybeFigure::unknown("five charges are needed");
  return row;
}

VanEvidence shown_van(std::string name) {
  VanEvidence van;
  van.names.van = std::move(name);
  van.capacity = {shown_capacity(CapacityMethod::controller_edges, std::nullopt)};
  van.through.kwh_per_mile = MaybeFigure::unknown("no trip has both energy and distance");
  van.cost.cost_per_mile = MaybeFigure::unknown("under 100 miles");
  return van;
}

DepotEvidence shown_depot(std::vector<VanEvidence> vans) {
  DepotEvidence depot;
  depot.zone = Zone::find("UTC").value();
  depot.words.currency = "GBP";
  depot.words.today = std::chrono::local_days{std::chrono::year{2026} / 2 / 4};
  depot.vans = std::move(vans);
  return depot;
}

}  // namespace

// No source: months are told apart only where their intervals have nothing in common.
TEST_CASE("exhibits: a month took more only where intervals are apart") {
  VanEvidence van = shown_van("Rowan");
  const DepotEvidence depot = shown_depot({});
  CHECK(energy_by_month(van, depot).finding ==
        "Its energy by distance is not known: no trip has both energy and distance.");
  CHECK(energy_by_month(van, depot).chart.points.empty());
  van.months = {shown_month("2026-01", 0.5, 0.52), shown_month("2025-07", 0.4, 0.42)};
  const Exhibit told = energy_by_month(van, depot);
  CHECK(told.finding ==
        "It took more in January 2026, 0.510 (0.500 to 0.520) kWh a mile, than in July 2025, 0.410 "
        "(0.400 to 0.420) kWh a mile.");
  REQUIRE(told.chart.points.size() == 2);
  CHECK(told.table.lines.size() == 2);
  CHECK(told.chart.says == told.finding);
  van.months[1] = shown_month("2025-07", 0.46, 0.505);
  CHECK(energy_by_month(van, depot).finding.starts_with("No month is told apart from another"));
}

// No source: a band of few trips is shown and says nothing.
TEST_CASE("exhibits: the cold needs bands of five trips") {
  VanEvidence van = shown_van("Rowan");
  const auto band = [](double from_c, std::size_t trips, double value) {
    return MileBand{from_c, trips, from_c + 2,
                    MaybeFigure::known({value, value - 0.01, value + 0.01, 0}),
                    MaybeFigure::known({100, 99, 101, 0})};
  };
  van.bands = {band(-10, 4, 0.9), band(0, 9, 0.6), band(15, 9, 0.4)};
  const Exhibit told = energy_by_temperature(van, shown_depot({}));
  CHECK(told.finding.starts_with("It took more at 0 to 5 degC, 0.600"));
  CHECK(told.chart.points.size() == 3);
  van.bands = {band(0, 9, 0.405), band(15, 9, 0.4)};
  CHECK(
      energy_by_temperature(van, shown_depot({})).finding.starts_with("The temperature does not"));
}

// No source: prices of a place that nobody knows are in the table and not compared.
TEST_CASE("exhibits: what a kWh cost at places that are known") {
  VanEvidence van = shown_van("Rowan");
  const auto sum = [](std::string place, double price) {
    ChargeSum out;
    out.place = std::move(place);
    out.charges = 3;
    out.grid_kwh = MaybeFigure::known({30, 29, 31, 0});
    out.cost_per_kwh = MaybeFigure::known({price, price, price, 0});
    return out;
  };
  van.by_place = {sum("Yard", 0.2), sum("Post", 0.6), sum("", 0.9)};
  const Exhibit told = charges_by_place(van, shown_depot({}));
  CHECK(told.finding == "A kWh cost more at Post, £0.600, than at Yard, £0.200.");
  CHECK(told.table.lines.size() == 3);
}

// No source: the controller's own scale is called that; a fade is told only beyond 0.
TEST_CASE("pack words: method, fade and what confirms it") {
  VanEvidence van = shown_van("Rowan");
  const DepotEvidence depot = shown_depot({});
  const auto said = [&] { return pack_sentence(van, depot.zone, depot.words); };
  CHECK(said() == "not known: five charges are needed");
  van.capacity = {shown_capacity(CapacityMethod::rest_to_rest, Figure{151, 149, 153, 0}),
                  shown_capacity(CapacityMethod::controller_edges, Figure{150, 148, 152, 0})};
  van.capacity[1].findings = {Finding::scale_not_confirmed};
  FadeRow fade;
  fade.against = FadeAxis::age_years;
  fade.slope_pct_per_unit = MaybeFigure::known({2, 1, 3, 0});
  van.fade = {fade};
  CHECK(said().starts_with("150.0 (148.0 to 152.0) Ah by the controller's own scale"));
  CHECK(said().find("it loses 2.00 (1.00 to 3.00) points a year") != std::string::npos);
  CHECK(said().ends_with("nothing independent confirms that scale"));
  van.fade[0].slope_pct_per_unit = MaybeFigure::known({1, -1, 3, 0});
  van.fade[0].smallest_detectable_pct_per_year = 4;
  CHECK(said().find("no loss can be told from none yet (above 4.0 points a year it would show)") !=
        std::string::npos);
}

// Source: HTML5 escaping; the name is text wherever it stands, in the chart's data too.
TEST_CASE("report page: a van named like a script is text") {
  const std::string name = "<script>alert(1)</script>";
  VanEvidence van = shown_van(name);
  van.months = {shown_month("2026-01", 0.5, 0.52)};
  const std::string page = report_page(shown_depot({van, shown_van("Rowan")}));
  CHECK(page.find(name) == std::string::npos);
  CHECK(page.find("&lt;script&gt;alert(1)&lt;/script&gt;") != std::string::npos);
  CHECK(page.find("data-van=\"&lt;script&gt;") != std::string::npos);
  CHECK(page.find("id=\"van-2\"") != std::string::npos);
  CHECK(page.starts_with("<!DOCTYPE html>"));
}

// No source: what an odometer showed is one figure, what it may show by now a range.
TEST_CASE("exhibits: an odometer carried on to today says since when, and its range") {
  using namespace std::chrono;
  VanEvidence van = shown_van("Rowan");
  const DepotEvidence depot = shown_depot({});
  van.upkeep.today = depot.words.today;
  van.upkeep.odometer_km = MaybeFigure::known({16093.44, 16093.44, 16093.44, 0});
  van.upkeep.odometer_known_to = van.upkeep.today;
  CHECK(duty_by_month(van, depot).finding == "10,000 miles by its odometer.");
  van.upkeep.odometer_km = MaybeFigure::known({16254.3744, 16093.44, 16415.3088, 0});
  van.upkeep.odometer_known_to = van.upkeep.today - days{9};
  CHECK(duty_by_month(van, depot)
            .finding.find("10,100 (10,000 to 10,200) miles by its odometer "
                          "(known to 26 January, what came since is not "
                          "known)") == 0);
  van.upkeep.odometer_goes_on = true;
  CHECK(duty_by_month(van, depot).finding.find("then by its own use") != std::string::npos);
}

// No source: what is missing is said with its cure, and each thing once.
TEST_CASE("unknown words: what is missing is said once") {
  VanEvidence van = shown_van("Rowan");
  van.upkeep.missing = {"the odometer: packmile note", "the odometer: packmile note"};
  van.compared.keep.why = "[[keep]] lacks resale_now";
  const auto told = unknown_sentences(van, shown_depot({}));
  CHECK(std::ranges::count(told, "To enter: the odometer: packmile note.") == 1);
  CHECK(std::ranges::count(told, "Whether to keep it: [[keep]] lacks resale_now.") == 1);
  CHECK(std::ranges::count(told, "Cost of a mile: under 100 miles.") == 1);
}
