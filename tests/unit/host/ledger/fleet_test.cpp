#include "ledger/fleet.hpp"

#include <doctest/doctest.h>

using namespace packmile;

namespace {

constexpr char kHead[] = "zone = \"Europe/London\"\ncurrency = \"GBP\"\n";

FleetRead read(const std::string& text) { return parse_fleet(text, "fleet.toml"); }

std::string all_of(const FleetRead& fleet) {
  std::string out;
  for (const Error& e : fleet.errors) out += e.where + ": " + e.what + "\n";
  return out;
}

}  // namespace

TEST_CASE("fleet: every key arrives") {
  const auto got = read(std::string{kHead} + R"([[van]]
name = "Linden"
vin = "1M8GDM9AXKP042788"
nominal_kwh = 60
nominal_ah = 160.5
onboard_charger_kw = 7.4
[[van]]
name = "Cedar"
)");
  REQUIRE(all_of(got) == "");
  CHECK(got.fleet.zone.name() == "Europe/London");
  CHECK(got.fleet.currency == "GBP");
  REQUIRE(got.fleet.vans.size() == 2);
  CHECK(got.fleet.vans[0].name == "Linden");
  CHECK(got.fleet.vans[0].facts.nominal_kwh == 60.0);
  CHECK(got.fleet.vans[0].facts.nominal_ah == 160.5);
  CHECK(got.fleet.vans[0].facts.onboard_charger_kw == 7.4);
  CHECK(got.fleet.vans[1].vin.empty());
  CHECK_FALSE(got.fleet.vans[1].facts.nominal_kwh.has_value());
  CHECK(got.fleet.warnings.empty());
  CHECK(got.fleet.van_of_vin("1M8GDM9AXKP042788") == &got.fleet.vans[0]);
  CHECK(got.fleet.van_of_name("Cedar") == &got.fleet.vans[1]);
  CHECK(got.fleet.van_of_vin("") == nullptr);
}

// No source: all mistakes at once, in order of lines although toml++ walks keys
// in order of their names.
TEST_CASE("fleet: every mistake is named with its place, in order of lines") {
  const auto got = read(R"(zone = "Europe/Nowhere"
currency = "gbp"
colour = 1
[[van]]
name = "Linden"
vin = "1M8GDM9AXKPO42788"
nominal_kwh = "sixty"
nominal_kw = 60
[[van]]
name = "Linden"
nominal_ah = -5
onboard_charger_kw = nan
)");
  CHECK(all_of(got) ==
        "fleet.toml:1:8: zone must be an IANA time zone such as Europe/London or UTC, not "
        "'Europe/Nowhere'\n"
        "fleet.toml:2:12: currency must be three capital letters (ISO 4217), such as GBP\n"
        "fleet.toml:3:1: unknown key 'colour' in the file\n"
        "fleet.toml:6:7: vin must be 17 capital letters and digits without I, O and Q\n"
        "fleet.toml:7:15: nominal_kwh must be a number of kWh\n"
        "fleet.toml:8:1: unknown key 'nominal_kw' in [[van]]; did you mean 'nominal_kwh'?\n"
        "fleet.toml:10:8: name 'Linden' stands twice, first at fleet.toml:5:8\n"
        "fleet.toml:11:14: nominal_ah must be more than 0 and at most 5000 Ah\n"
        "fleet.toml:12:22: onboard_charger_kw must be more than 0 and at most 100 kW\n");
}

TEST_CASE("fleet: missing keys, doubled VINs and vans written as one table") {
  CHECK(all_of(read("currency = \"GBP\"\n")).find("lacks the key 'zone'") != std::string::npos);
  CHECK(
      all_of(read(std::string{kHead} + "[[van]]\nnominal_ah = 5\n")).find("lacks the key 'name'") !=
      std::string::npos);
  CHECK(all_of(read(std::string{kHead} + "[van]\nname = \"A\"\n")).find("[[van]]") !=
        std::string::npos);
  CHECK(all_of(read(std::string{kHead} + "[[van]]\nname = \"A\"\nvin = \"1M8GDM9AXKP042788\"\n"
                                         "[[van]]\nname = \"B\"\nvin = \"1M8GDM9AXKP042788\"\n"))
            .find("fleet.toml:8:7: vin '1M8GDM9AXKP042788' stands twice") != std::string::npos);
  CHECK(all_of(read("zone = 'UTC'\nzone = 'UTC'\n")).find("fleet.toml:2:") == 0);
  CHECK_FALSE(read(std::string{kHead} + "[[van]]\nname = \"a\\u001b[2Jb\"\n").errors.empty());
}

// Source: 49 CFR 565 binds vehicles for North America only, hence no error.
TEST_CASE("fleet: a wrong check digit is a warning") {
  const auto got =
      read(std::string{kHead} + "[[van]]\nname = \"A\"\nvin = \"1M8GDM9A1KP042788\"\n");
  CHECK(got.errors.empty());
  REQUIRE(got.fleet.warnings.size() == 1);
  CHECK(got.fleet.warnings[0].find("fleet.toml:5:7: ") == 0);
}

TEST_CASE("fleet: the template is a fleet without vans, and with its van when uncommented") {
  const std::string text = fleet_template("Europe/Paris", "EUR");
  const auto got = read(text);
  REQUIRE(all_of(got) == "");
  CHECK(got.fleet.zone.name() == "Europe/Paris");
  CHECK(got.fleet.vans.empty());

  std::string uncommented = text;
  const auto at = uncommented.find("#[[van]]");
  REQUIRE(at != std::string::npos);
  // Lines of the example begin with # alone; sentences have a space behind it.
  for (auto k = at; k != std::string::npos; k = uncommented.find("\n#", k + 1)) {
    const auto mark = uncommented[k] == '#' ? k : k + 1;
    if (uncommented[mark + 1] != ' ') uncommented.erase(mark, 1);
  }
  const auto with_van = read(uncommented);
  REQUIRE(all_of(with_van) == "");
  REQUIRE(with_van.fleet.vans.size() == 1);
  CHECK(with_van.fleet.vans[0].facts.onboard_charger_kw == 7.4);
  REQUIRE(with_van.fleet.vans[0].purchase);
  CHECK(with_van.fleet.vans[0].purchase->sum == 18500);
  CHECK(with_van.fleet.vans[0].warranties.size() == 2);
  CHECK(with_van.fleet.vans[0].plated_weight_kg == 3500);
  CHECK(with_van.fleet.vans[0].unladen_weight_kg == 2150);
  CHECK(with_van.fleet.warnings.empty());
  // And with its invented signal.
  REQUIRE(with_van.fleet.signals.size() == 1);
  CHECK(with_van.fleet.signals[0].definition.name == "soc");
  CHECK(with_van.fleet.signals[0].definition.scale == 0.05);
  CHECK(got.fleet.signals.empty());
  CHECK(text.find("INVENTED") != std::string::npos);
}

TEST_CASE("fleet: the lines for an unknown van can be pasted, whatever the card said") {
  for (const std::string name : {"Linden", "a\"b\\c", "x\ny", "\x1b[31m", "\xff\xfe"}) {
    CAPTURE(name);
    const auto got = read(std::string{kHead} + van_lines(name, "1M8GDM9AXKP042788"));
    for (const Error& e : got.errors) CHECK(e.what.find("control characters") != std::string::npos);
  }
  const auto got = read(std::string{kHead} + van_lines("a\"b\\c", ""));
  REQUIRE(all_of(got) == "");
  CHECK(got.fleet.vans[0].name == "a\"b\\c");
}

TEST_CASE("fleet: a missing file is named") {
  const auto got = read_fleet("/nonexistent/fleet.toml");
  REQUIRE(got.errors.size() == 1);
  CHECK(got.errors[0].where == "/nonexistent/fleet.toml");
}

// No source: nothing that can stand in a file may crash the reader.
TEST_CASE("fleet: any bytes are survived") {
  std::uint32_t state = 1;
  const std::string alphabet = "[]van=\"\n .#{}'0123456789abcdef\\u\xff\x00\x1b,";
  for (int round = 0; round < 3000; ++round) {
    std::string text = round % 2 == 0 ? std::string{kHead} : std::string{};
    for (int k = 0; k < 60; ++k) {
      state = state * 1664525u + 1013904223u;
      text += alphabet[(state >> 16) % alphabet.size()];
    }
    (void)read(text);
  }
  (void)read(std::string(100'000, '['));
  (void)read("a = " + std::string(100'000, '['));
}

TEST_CASE("fleet: the line of expectation, by distance and by years") {
  const auto got = read(std::string{kHead} + R"([[van]]
name = "Linden"
expectation = [ { at_miles = 0, percent = 100 }, { at_km = 80467.2, percent = 95.5 },
                { at_miles = 150000, percent = 90 } ]
[[van]]
name = "Cedar"
expectation = [ { at_years = 8, percent = 70 } ]
[[van]]
name = "Rowan"
)");
  REQUIRE(all_of(got) == "");
  const auto& line = got.fleet.vans[0].expectation;
  REQUIRE(line.has_value());
  CHECK(line->against == Expectation::Against::odometer_km);
  REQUIRE(line->points.size() == 3);
  CHECK(line->points[0].at == 0);
  CHECK(line->points[1].at == 80467.2);
  CHECK(line->points[1].percent == 95.5);
  CHECK(line->points[2].at == doctest::Approx(241401.6).epsilon(1e-12));  // 150,000 miles
  REQUIRE(got.fleet.vans[1].expectation.has_value());
  CHECK(got.fleet.vans[1].expectation->against == Expectation::Against::age_years);
  CHECK(got.fleet.vans[1].expectation->points[0].at == 8);
  CHECK_FALSE(got.fleet.vans[2].expectation.has_value());
}

TEST_CASE("fleet: every mistake in a line of expectation has its place") {
  const auto mistakes = [](const std::string& line) {
    return all_of(
        read(std::string{kHead} + "[[van]]\nname = \"Linden\"\nexpectation = " + line + "\n"));
  };
  CHECK(mistakes("90").starts_with("fleet.toml:5:15: expectation must be a list of points"));
  CHECK(mistakes("[]").starts_with("fleet.toml:5:15: expectation must be a list of points"));
  CHECK(mistakes("[ 90 ]").starts_with("fleet.toml:5:17: expectation must be a list of points"));
  CHECK(
      mistakes("[ { at_mile = 5, percent = 90 } ]")
          .starts_with("fleet.toml:5:19: unknown key 'at_mile' in a point of expectation; did you "
                       "mean 'at_miles'?"));
  CHECK(mistakes("[ { at_miles = 5 } ]") ==
        "fleet.toml:5:17: a point of expectation lacks the key 'percent'\n");
  CHECK(mistakes("[ { percent = 90 } ]")
            .starts_with("fleet.toml:5:17: a point of expectation has one of"));
  CHECK(mistakes("[ { at_km = 5, at_miles = 5, percent = 90 } ]")
            .starts_with("fleet.toml:5:17: a point of expectation has one of"));
  CHECK(mistakes("[ { at_miles = -5, percent = 90 } ]") ==
        "fleet.toml:5:30: at_miles must be a number from 0 and at most 1242742 miles\n");
  CHECK(mistakes("[ { at_years = \"8\", percent = 101 } ]") ==
        "fleet.toml:5:30: at_years must be a number from 0 and at most 50 years\n"
        "fleet.toml:5:45: percent must be a number above 0 and at most 100 percent of the new "
        "capacity\n");
  CHECK(mistakes("[ { at_km = nan, percent = 0 } ]").find("5:27: at_km must") != std::string::npos);
  CHECK(mistakes("[ { at_km = 5, percent = 90 }, { at_years = 5, percent = 80 } ]") ==
        "fleet.toml:5:46: one line of expectation goes by distance or by years, not by both\n");
  CHECK(mistakes("[ { at_km = 5, percent = 90 }, { at_km = 5, percent = 80 } ]") ==
        "fleet.toml:5:46: a point of expectation must be further out than the one before it\n");
  CHECK(mistakes("[ { at_km = 5, percent = 90 }, { at_km = 6, percent = 91 } ]") ==
        "fleet.toml:5:69: percent must not rise from one point of expectation to the next\n");
}
