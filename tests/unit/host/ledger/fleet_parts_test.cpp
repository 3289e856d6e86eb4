// [[part]] and [[keep]] blocks of fleet.toml: what they hold, and what is said of
// mistakes.
#include <doctest/doctest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "ledger/fleet.hpp"

namespace packmile::testing {
namespace {

constexpr char kHead[] =
    "zone = \"Europe/London\"\ncurrency = \"GBP\"\n"
    "[[van]]\nname = \"Linden\"\n[[van]]\nname = \"Rowan\"\n";

FleetRead read(const std::string& text) { return parse_fleet(kHead + text, "fleet.toml"); }

// The one mistake, as where: what.
std::string mistake(const std::string& text) {
  const FleetRead out = read(text);
  std::string all;
  for (const Error& error : out.errors)
    all += (all.empty() ? "" : "\n") + error.where + ": " + error.what;
  return all;
}

bool has(const std::string& text, const char* part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("fleet.toml: a part with every kind of limit") {
  const FleetRead out = read(
      "[[part]]\nname = \"brake fluid\"\nvans = [\"Linden\"]\npositions = [\"front\", \"rl\"]\n"
      "limit_miles = 10000\nlimit_years = 2\nlimit_hours = 5000\nlimit_starts = 20000\n"
      "limit_kwh = 30000\ncounts = \"charger\"\nfitted = 2025-03-01\nfitted_km = 1200\n"
      "[[part]]\nname = \"tyres\"\ngauge = \"tread\"\nleast_mm = 2.5\n");
  REQUIRE(out.errors.empty());
  REQUIRE(out.fleet.parts.size() == 2);
  const FleetPart& part = out.fleet.parts[0];
  CHECK(part.name == "brake fluid");
  CHECK(part.positions == std::vector<std::string>{"front", "rl"});
  CHECK(*part.limit_km == doctest::Approx(16'093.44));
  CHECK(*part.limit_months == 24);
  CHECK(*part.limit_hours == 5000);
  CHECK(*part.limit_starts == 20'000);
  CHECK(*part.limit_kwh == 30'000);
  CHECK(part.counts == PartCounter::charger);
  CHECK(*part.fitted == std::chrono::local_days{std::chrono::year{2025} / 3 / 1});
  CHECK(*part.fitted_km == 1200);
  CHECK(out.fleet.parts[1].gauge == PartGauge::tread);
  CHECK(out.fleet.parts_of("Linden").size() == 2);
  CHECK(out.fleet.parts_of("Rowan").size() == 1);
}

TEST_CASE("fleet.toml: mistakes in a part say where, what and the nearest known word") {
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_milez = 5\n"),
            "fleet.toml:9:1: unknown key 'limit_milez' in [[part]]"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_milez = 5\n"), "limit_miles"));
  CHECK(mistake("[[part]]\nname = \"a\"\n") == "fleet.toml:7:1: [[part]] has no limit");
  CHECK(has(mistake("[[part]]\nlimit_km = 5\n"), "lacks the key 'name'"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = 5\nlimit_miles = 3\n"),
            "limit_km or limit_miles, not both"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = -5\n"), "must be a number above 0"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = nan\n"), "must be a number above 0"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_years = 0.3\n"), "whole months"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nleast_mm = 3\nlimit_km = 9\n"), "needs gauge"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\ngauge = \"tred\"\n"), "did you mean 'tread'"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\ngauge = \"tread\"\npositions = [\"front\"]\n"),
            "by wheel"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\ngauge = \"pad\"\npositions = [\"fl\"]\n"), "by axle"));
  CHECK(
      has(mistake("[[part]]\nname = \"a\"\nlimit_km = 9\npositions = [\"left\"]\n"), "not 'left'"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = 9\nvans = [\"Lindn\"]\n"),
            "did you mean 'Linden'"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = 9\nfitted = 2025-03-01\n"),
            "belongs to one van"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = 9\nfitted = \"2025-03-01\"\n"),
            "without quotes"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = 9\nfitted_km = 3\n"), "needs the day"));
  CHECK(has(mistake("[[part]]\nname = \"a\"\nlimit_km = 9\n[[part]]\nname = \"a\"\n"
                    "limit_years = 2\nvans = [\"Rowan\"]\n"),
            "of Rowan stands twice, first at fleet.toml:7:1"));
  CHECK(has(mistake("part = 3\n"), "must be written as [[part]]") == false);  // inside a van
  CHECK(has(parse_fleet("part = 3\nzone = \"UTC\"\ncurrency = \"GBP\"\n", "f").errors[0].what,
            "must be written as [[part]]"));
}

TEST_CASE("fleet.toml: what keeping hangs on, a van's own before that of all") {
  const FleetRead out = read(
      "[[keep]]\nchallenger_price = [19000, 21500, 24000]\nchallenger_years = 5\nrate_pct = 6\n"
      "rate_kind = \"real\"\nhire_per_lost_day = 85\nmiles_a_year = [1000, 2000, 3000]\n"
      "[[keep]]\nvans = [\"Linden\"]\nresale_now = 8000\nhire_per_lost_day = 100\n"
      "cost_per_mile = [0.05, 0.06, 0.08]\n");
  REQUIRE(out.errors.empty());
  const FleetKeep linden = out.fleet.keep_of("Linden"), rowan = out.fleet.keep_of("Rowan");
  CHECK(linden.challenger_price->likely == 21'500);
  CHECK(linden.resale_now->low == 8000);
  CHECK(linden.resale_now->high == 8000);
  CHECK(*linden.hire_per_lost_day == 100);
  CHECK(*rowan.hire_per_lost_day == 85);
  CHECK_FALSE(rowan.resale_now);
  CHECK(linden.km_per_year->likely == doctest::Approx(2000 * 1.609344));
  CHECK(linden.cost_per_km->likely == doctest::Approx(0.06 / 1.609344));
  CHECK(*linden.rate_kind == RateKind::real);
  CHECK(*linden.challenger_years == 5);
}

TEST_CASE("fleet.toml: mistakes in keep") {
  CHECK(has(mistake("[[keep]]\nresale_nou = 3\n"), "resale_now"));
  CHECK(has(mistake("[[keep]]\nresale_now = [3, 2, 4]\n"), "[low, likely, high]"));
  CHECK(has(mistake("[[keep]]\nresale_now = [3, 4]\n"), "[low, likely, high]"));
  CHECK(has(mistake("[[keep]]\nresale_now = [3, inf, inf]\n"), "[low, likely, high]"));
  CHECK(has(mistake("[[keep]]\nresale_now = \"much\"\n"), "[low, likely, high]"));
  CHECK(has(mistake("[[keep]]\nchallenger_years = 2.5\n"), "whole number"));
  CHECK(has(mistake("[[keep]]\nrate_kind = \"reel\"\n"), "nominal"));
  CHECK(has(mistake("[[keep]]\nmiles_a_year = 3\nkm_a_year = 3\n"), "not both"));
  CHECK(has(mistake("[[keep]]\nmiles_a_year = 0\n"), "does not drive"));
  CHECK(has(mistake("[[keep]]\nrate_pct = 6\n[[keep]]\nrate_pct = 7\n"),
            "[[keep]] of every van stands twice, first at fleet.toml:7:1"));
  CHECK(has(mistake("[[keep]]\nvans = []\n"), "vans must be a list"));
}

TEST_CASE("fleet.toml: the template's parts and keep are read once their signs are taken off") {
  const std::string text = fleet_template("Europe/London", "GBP");
  CHECK(parse_fleet(text, "fleet.toml").errors.empty());
  // From the first [[part]] on, every commented key.
  const std::size_t from = text.find("#[[part]]");
  REQUIRE(from != std::string::npos);
  std::string open = "zone = \"UTC\"\ncurrency = \"GBP\"\n[[van]]\nname = \"Linden\"\n";
  std::size_t at = from;
  while (at < text.size()) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    std::string line = text.substr(at, end - at);
    if (line.size() > 1 && line[0] == '#' && line[1] != ' ') line = line.substr(1);
    open += line + "\n";
    at = end + 1;
  }
  const FleetRead out = parse_fleet(open, "template");
  std::string said;
  for (const Error& error : out.errors) said += error.where + ": " + error.what + "\n";
  CHECK(said == "");
  CHECK(out.fleet.parts.size() == 2);
  CHECK(out.fleet.keeps.size() == 1);
}

}  // namespace packmile::testing
