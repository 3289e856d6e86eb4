#include "cli/render.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>

#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using namespace packmile::cli;

namespace {

Rows some_rows() {
  using enum ColumnKind;
  Rows rows{{{"van", text, false},
             {"vin", text, true},
             {"start", time, false},
             {"net_kwh", figure, false},
             {"coverage", real, false},
             {"findings", words, false},
             {"swings", swings, true},
             {"lost", lost, false},
             {"charge_power", powers, true}},
            {}};
  const UtcTime start{std::chrono::milliseconds{1'782'885'600'250}};  // 2026-07-01T06:00:00.250Z
  rows.rows.push_back(
      {{std::string{"Linden"}, {}},
       Cell::unknown("never read"),
       {start, {}},
       {Figure{1.25, 1.2, 1.3, 0.01}, {}},
       {0.5, {}},
       {std::vector<std::string>{"gap", "held_values"}, {}},
       {std::vector<SwingCount>{{20, 1.5}}, {}},
       {std::vector<LostStretch>{{7, std::nullopt, start, 4210, LostWhy::overwritten}}, {}},
       {std::vector<ChargePower>{{"ac", 5, 8.5, 1.25}, {"dc", 100, std::nullopt, 0.5}}, {}}});
  rows.rows.push_back({{std::string{"=cmd|'x',\"y\"\n"}, {}},
                       {std::string{"\xff"}, {}},
                       {start, {}},
                       Cell::of(MaybeFigure::unknown("the sign is not proven")),
                       {1.0, {}},
                       {std::vector<std::string>{}, {}},
                       Cell::unknown("no SoC"),
                       {std::vector<LostStretch>{}, {}},
                       Cell::unknown("no charge")});
  return rows;
}

template <typename Write>
std::string written(const Write& write) {
  const test::TempFolder folder;
  const auto file = folder.path() / "out";
  auto out = Output::open(file.string()).value();
  write(out, Zone::find("Europe/London").value());
  REQUIRE(out.commit());
  std::ifstream in{file, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}

}  // namespace

// Source: RFC 8259, read back by an independent parser.
TEST_CASE("render: JSON has every key, null with its reason, and no key too many") {
  const auto text =
      written([](Output& out, const Zone& zone) { write_json(out, "trips", some_rows(), zone); });
  const auto json = nlohmann::json::parse(text);
  CHECK(json["schema_version"] == 1);
  CHECK(json["command"] == "trips");
  REQUIRE(json["rows"].size() == 2);
  const auto& one = json["rows"][0];
  CHECK(one["vin"].is_null());
  CHECK(one["vin_why"] == "never read");
  CHECK(one["start"] == "2026-07-01T07:00:00.250+01:00");
  CHECK(one["net_kwh"] == 1.25);
  CHECK(one["net_kwh_low"] == 1.2);
  CHECK(one["net_kwh_high"] == 1.3);
  CHECK(one["net_kwh_scatter"] == 0.01);
  CHECK_FALSE(one.contains("net_kwh_why"));
  CHECK(one["findings"] == nlohmann::json{"gap", "held_values"});
  CHECK(one["lost"].size() == 1);
  CHECK(one["lost"][0]["from"].is_null());
  CHECK(one["lost"][0]["from_why"].is_string());
  CHECK(one["lost"][0]["to"] == one["start"]);
  CHECK(one["lost"][0]["sectors"] == 4210);
  CHECK(one["lost"][0]["why"] == "overwritten");
  CHECK(json["rows"][1]["lost"] == nlohmann::json::array());
  CHECK(one["swings"][0]["depth_pct"] == 20);
  CHECK(one["swings"][0]["count"] == 1.5);
  REQUIRE(one["charge_power"].size() == 2);
  CHECK(one["charge_power"][0]["kind"] == "ac");
  CHECK(one["charge_power"][0]["from_kw"] == 5);
  CHECK(one["charge_power"][0]["to_kw"] == 8.5);
  CHECK(one["charge_power"][0]["hours"] == 1.25);
  CHECK(one["charge_power"][1]["to_kw"].is_null());
  CHECK(one["charge_power"][1]["to_kw_why"].is_string());
  CHECK(json["rows"][1]["charge_power_why"] == "no charge");
  const auto& two = json["rows"][1];
  CHECK(two["van"] == "=cmd|'x',\"y\"\n");
  CHECK(two["vin"] == "\xef\xbf\xbd");  // U+FFFD for what is no UTF-8
  for (const char* key : {"net_kwh", "net_kwh_low", "net_kwh_high", "net_kwh_scatter", "swings"}) {
    CAPTURE(std::string{key});
    REQUIRE(two.contains(key));
    CHECK(two[key].is_null());
  }
  CHECK(two["net_kwh_why"] == "the sign is not proven");
  CHECK(two["findings"].is_array());
}

TEST_CASE("render: JSON of no rows is an object with an empty list") {
  const auto text = written([](Output& out, const Zone& zone) {
    write_json(out, "trips", Rows{some_rows().columns, {}}, zone);
  });
  CHECK(nlohmann::json::parse(text)["rows"].empty());
}

// Source: RFC 4180 section 2 (quotes doubled; LF in place of CRLF by decision).
TEST_CASE("render: CSV has the keys of JSON, empty for unknown, and disarms formulas") {
  const auto text =
      written([](Output& out, const Zone& zone) { write_csv(out, some_rows(), zone); });
  CHECK(text ==
        "van,vin,vin_why,start,net_kwh,net_kwh_low,net_kwh_high,net_kwh_scatter,net_kwh_why,"
        "coverage,findings\n"
        "Linden,,never read,2026-07-01T07:00:00.250+01:00,1.25,1.2,1.3,0.01,,0.5,gap held_values\n"
        "\"'=cmd|'x',\"\"y\"\"\n\",\xff,,2026-07-01T07:00:00.250+01:00,,,,,the sign is not "
        "proven,1,\n");
}

TEST_CASE("render: CSV fields") {
  CHECK(csv_field("plain") == "plain");
  CHECK(csv_field("") == "");
  CHECK(csv_field("a,b") == "\"a,b\"");
  CHECK(csv_field("say \"x\"") == "\"say \"\"x\"\"\"");
  for (const char* formula : {"=1+1", "+1", "-1", "@x", "\tx"})
    CHECK(csv_field(formula) == std::string{"'"} + formula);
}

TEST_CASE("render: a figure without a finite value is unknown, never 0 and never NaN") {
  const Cell cell = Cell::of(MaybeFigure::known({NAN, 0, 0, 0}));
  CHECK_FALSE(cell.known());
  CHECK_FALSE(cell.why.empty());
}
