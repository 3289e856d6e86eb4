#include "notes/note_kinds.hpp"

#include <doctest/doctest.h>

#include <array>

using namespace packmile;

namespace {

const NoteValueRule& reading() { return rule_of(NoteKind::odometer).values[kOdometerReading]; }
const NoteValueRule& kwh() { return rule_of(NoteKind::receipt).values[kReceiptKwh]; }
const NoteValueRule& sum() { return rule_of(NoteKind::receipt).values[kReceiptSum]; }
const NoteValueRule& place() { return rule_of(NoteKind::receipt).values[kReceiptPlace]; }

NoteValue value(const NoteValueRule& rule, std::string_view text) {
  const auto read = read_note_value(rule, text);
  const auto* taken = std::get_if<NoteValue>(&read);
  REQUIRE_MESSAGE(taken, std::get<NoteMistake>(read).what);
  return *taken;
}

std::string mistake(const NoteValueRule& rule, std::string_view text) {
  const auto read = read_note_value(rule, text);
  const auto* wrong = std::get_if<NoteMistake>(&read);
  return wrong ? wrong->what + " / " + wrong->hint : "taken";
}

}  // namespace

TEST_CASE("note kinds: the table is in order of the kinds, and words find them") {
  for (std::size_t k = 0; k < note_kinds().size(); ++k) {
    const NoteKindRule& rule = note_kinds()[k];
    CHECK(static_cast<std::size_t>(rule.kind) == k);
    CHECK(&rule_of(rule.kind) == &rule);
    CHECK(note_kind_named(rule.word) == &rule);
    CHECK(rule.values.size() <= kMostNoteValues);
    CHECK((rule.judge != nullptr));
  }
  CHECK(note_kind_named("odometr") == nullptr);
  CHECK(usage_of(rule_of(NoteKind::receipt)) == "receipt KWH SUM_PAID PLACE");
  CHECK(usage_of(rule_of(NoteKind::withdrawn)) == "withdrawn --replaces ID");
  CHECK(usage_of(rule_of(NoteKind::tread)) == "tread WHEEL MM [GAUGE_MM]");
  CHECK(usage_of(rule_of(NoteKind::pad)) == "pad AXLE MM");
  CHECK(usage_of(rule_of(NoteKind::job)) == "job PART SUM [HOURS]");
  CHECK(usage_of(rule_of(NoteKind::fluid)) == "fluid NAME");
  CHECK(usage_of(rule_of(NoteKind::tyre_moved)) == "tyre_moved FROM TO");
  CHECK(usage_of(rule_of(NoteKind::off_road)) == "off_road DAYS [SUM]");
  CHECK(usage_of(rule_of(NoteKind::valuation)) == "valuation SUM");
  CHECK(usage_of(rule_of(NoteKind::sold)) == "sold SUM");
  CHECK(note_kind_words() ==
        "odometer, receipt, meter, tread, pad, job, fluid, tyre_moved, off_road, valuation, sold, "
        "withdrawn");
}

TEST_CASE("note kinds: distances are km, or miles with mi behind them") {
  CHECK(value(reading(), "24850").number == 24850);
  CHECK(value(reading(), "24850").step == 1);
  CHECK(value(reading(), "24850 km").text == "24850");
  // 1 mile = 1.609344 km: 24,850 miles are 39,992.1984 km.
  CHECK(value(reading(), "24850mi").number == doctest::Approx(39992.1984).epsilon(1e-12));
  CHECK(value(reading(), "24850.5 MI").text == "24850.5mi");
  CHECK(value(reading(), "24850.5mi").step == doctest::Approx(0.1609344));
  CHECK(value(kwh(), "21.30kWh").number == 21.3);
  CHECK(value(kwh(), "21.30").step == doctest::Approx(0.01));
  CHECK(value(sum(), "0").number == 0);
}

TEST_CASE("note kinds: what is no number, and what is allowed instead") {
  constexpr char kAllowed[] = "a number from 0 to 2000000 km, or miles with mi behind it (24850mi)";
  CHECK(mistake(reading(), "") == std::string{"READING is missing / "} + kAllowed);
  for (const char* text : {"mi", "-5", "1e5", "nan", "inf", "0x10", "24850miles", "24850kWh", "1 2",
                           ".5", "5.", "+5"}) {
    CAPTURE(text);
    CHECK(mistake(reading(), text) ==
          "READING '" + std::string{text} + "' cannot be read / " + kAllowed);
  }
  CHECK(mistake(reading(), "24,850") ==
        std::string{"READING '24,850' cannot be read / "} + kAllowed +
            "; decimals stand behind a point, and nothing stands between thousands");
  CHECK(mistake(sum(), "9.37 GBP") ==
        "SUM_PAID '9.37 GBP' cannot be read / a number from 0 to 1000000, in the depot's currency "
        "and without its sign");
  CHECK(mistake(reading(), "2000001").find("out of range") != std::string::npos);
  CHECK(mistake(reading(), "1242742.1mi") == "taken");  // 2,000,000 km are 1,242,742.38 miles
  CHECK(mistake(reading(), "1242742.4mi").find("out of range") != std::string::npos);
  CHECK(mistake(kwh(), "0").find("a number above 0 to 2000 kWh") != std::string::npos);
  CHECK(mistake(reading(), "00000000000000001").find("too many digits") != std::string::npos);
}

TEST_CASE("note kinds: texts and words") {
  CHECK(value(place(), "Corn Exchange").text == "Corn Exchange");
  CHECK(value(place(), "Corn Exchange").step == 0);
  CHECK(mistake(place(), "").starts_with("PLACE is missing"));
  CHECK(mistake(place(), std::string(64, 'x')) == "taken");
  CHECK(mistake(place(), std::string(65, 'x')).starts_with("PLACE is longer than 64 bytes"));
  constexpr std::array<std::string_view, 2> kAxles{"front", "rear"};
  const NoteValueRule axle{"AXLE", NoteUnit::text, 1, 8, false, false, kAxles};
  CHECK(value(axle, "rear").text == "rear");
  CHECK(mistake(axle, "middle") == "AXLE 'middle' is not known / one of: front, rear");
}

TEST_CASE("note kinds: how a note is shown, and which say the same") {
  Note a;
  a.van = "Linden";
  a.kind = NoteKind::receipt;
  a.values = {value(kwh(), "21.3"), value(sum(), "9.37"), value(place(), "Corn Exchange")};
  CHECK(note_text(a, "GBP") == "receipt 21.3 kWh 9.37 GBP 'Corn Exchange'");
  CHECK(note_text(a, "XXX") == "receipt 21.3 kWh 9.37 'Corn Exchange'");
  Note b = a;
  b.values[0] = value(kwh(), "21.300");
  b.remark = "another";
  CHECK(says_the_same(a, b));
  b.values[2] = value(place(), "corn Exchange");
  CHECK_FALSE(says_the_same(a, b));

  Note km, mi;
  km.values[0] = value(reading(), "39992.1984");
  mi.values[0] = value(reading(), "24850mi");
  CHECK(note_text(mi, "GBP") == "odometer 24850 mi");
  CHECK(says_the_same(km, mi));
  mi.values[0] = value(reading(), "24850.1mi");
  CHECK_FALSE(says_the_same(km, mi));
  mi.values[0] = km.values[0];
  mi.van = "Cedar";
  CHECK_FALSE(says_the_same(km, mi));
}

TEST_CASE("note time: of what lies in one day nothing is known") {
  using namespace std::chrono_literals;
  const UtcTime midnight = std::chrono::sys_days{std::chrono::year{2026} / 3 / 1};
  const NoteTime day{midnight, midnight + 24h}, next{midnight + 24h, midnight + 48h};
  const NoteTime noon{midnight + 12h, midnight + 12h}, one{midnight + 13h, midnight + 13h};
  CHECK(day.before(next));
  CHECK_FALSE(next.before(day));
  CHECK(noon.before(one));
  CHECK_FALSE(one.before(noon));
  CHECK_FALSE(noon.before(noon));
  CHECK_FALSE(day.before(day));
  CHECK_FALSE(day.before(noon));
  CHECK_FALSE(noon.before(day));
  CHECK(noon.before(next));
  CHECK_FALSE(next.before(noon));
  CHECK(day.before({midnight + 24h, midnight + 24h}));
  // The day's own first instant is in it.
  CHECK_FALSE(NoteTime{midnight, midnight}.before(day));
}
