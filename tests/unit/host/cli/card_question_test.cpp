#include "cli/card_question.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using namespace packmile::cli;
using test::CardMaker;

namespace {

struct Answer {
  Row row;
  std::string text;

  const Cell& of(const char* name) const {
    const Rows rows{check_columns(), {}};
    return row.at(rows.column_of(name));
  }
  std::string words(const char* name) const {
    std::string out;
    for (const auto& word : std::get<std::vector<std::string>>(of(name).value)) out += word + " ";
    return out;
  }
};

Answer ask(CardMaker& maker) {
  const test::TempFolder folder;
  const auto card = CardFile::open(folder.write("card.log", maker.bytes())).value();
  const CardSurvey survey = survey_card(card);
  const auto heard = hear_van(card, survey).value();
  return {row_of(survey, heard), check_text(survey, heard)};
}

}  // namespace

TEST_CASE("card question: what is answered, and so what can be known") {
  CardMaker maker{0x2A};
  maker.settings("Linden", 1'772'000'000'000);
  maker.boot(1);
  test::SessionText session;
  session.vin = test::kVin;
  session.clock = ClockSample{kClockSystem, 1'772'000'000'000, 1000, 1};
  session.supply_min_mv = 12'410;
  session.requests_while_parked = 4;
  maker.session(1000, session);
  for (Tick tick = 2000; tick < 20'000; tick += 200)
    maker.response(tick, test::pack_key(200), {0x3F, 2, 370 * 64, 100, 30});
  maker.close();
  const Answer answer = ask(maker);
  CHECK(answer.row.size() == check_columns().size());
  CHECK(std::get<std::string>(answer.of("log_id").value) == "0000002A");
  CHECK(std::get<std::string>(answer.of("van").value) == "Linden");
  CHECK(std::get<std::string>(answer.of("vin").value) == test::kVin);
  CHECK(std::get<double>(answer.of("supply_min_v").value) == doctest::Approx(12.41));
  CHECK(std::get<std::int64_t>(answer.of("requests_while_parked").value) == 4);
  CHECK(answer.words("answers").find("pack_v ") != std::string::npos);
  CHECK(std::get<std::string>(answer.of("current_verdict").value) == "too_little");
  CHECK(answer.text.find("missing: not yet: which sign") != std::string::npos);
  CHECK(answer.text.find("adding up the speed") != std::string::npos);
}

TEST_CASE("card question: a silent van is told to keep notes") {
  CardMaker maker{0x2A};
  maker.boot(1);
  maker.session(1000, {});
  const Answer answer = ask(maker);
  CHECK_FALSE(answer.of("vin").known());
  CHECK_FALSE(answer.of("first").known());
  CHECK_FALSE(answer.of("current_verdict").known());
  CHECK(answer.text.find("keep receipts and meter readings as notes") != std::string::npos);
  CHECK(answer.text.find("keep odometer readings as notes") != std::string::npos);
  CHECK(answer.of("first").why == "no clock was read on this card");

  // A clock without an answer is no lack of a clock.
  CardMaker with_clock{0x2A};
  with_clock.boot(1);
  test::SessionText session;
  session.clock = ClockSample{
      .source = kClockRtc, .unix_ms = 1'767'592'800'000, .tick_ms = 1000, .resolution_ms = 1};
  with_clock.session(1000, session);
  const Answer known = ask(with_clock);
  CHECK(known.of("first").why == "there are no samples");
  CHECK(known.text.find("no clock was read") == std::string::npos);
}

TEST_CASE("card question: text from a card is made harmless") {
  CardMaker maker{0x2A};
  maker.settings("\x1b[2Jevil\n", 0);
  maker.boot(1);
  maker.session(1000, {});
  const Answer answer = ask(maker);
  CHECK(answer.text.find('\x1b') == std::string::npos);
  CHECK(answer.text.find("?[2Jevil?") != std::string::npos);
}

namespace {

// A boot of one minute, on the day of that number.
void minute_of_day(CardMaker& maker, std::uint32_t day) {
  constexpr std::uint64_t kDayMs = 86'400'000;
  maker.boot(day);
  test::SessionText session;
  session.vin = test::kVin;
  session.clock = ClockSample{kClockSystem, 1'772'000'000'000 + day * kDayMs, 0, 1};
  maker.session(0, session);
  for (Tick tick = 0; tick < 60'000; tick += 200)
    maker.response(tick, test::pack_key(200), {0x3F, 2, 370 * 64, 100, 30});
  maker.close();
}

}  // namespace

TEST_CASE("card question: how long the card lasts, at the pace of its own days") {
  CardMaker maker{0x2A, 1024};
  minute_of_day(maker, 1);
  const Answer young = ask(maker);
  CHECK_FALSE(young.of("days_until_full").known());
  CHECK(young.of("days_until_full").why ==
        "the card spans less than a day, too short to tell how fast it fills");
  CHECK(young.text.find("how many more days it holds is not known") != std::string::npos);

  // Day k begins at sector 32 k: ten days, some 300 of 1,024 sectors.
  for (std::uint32_t day = 2; day <= 11; ++day) minute_of_day(maker, day);
  const double newest = maker.next_sequence() - 1;
  const Answer old = ask(maker);
  const double days_held = std::get<double>(old.of("days_held").value);
  CHECK(days_held == doctest::Approx(10).epsilon(0.001));
  CHECK(std::get<double>(old.of("days_until_full").value) ==
        doctest::Approx((1023 - newest) * days_held / (newest + 1)));
  CHECK(std::get<std::int64_t>(old.of("sectors_overwritten").value) == 0);
  CHECK_FALSE(old.of("overwritten_until").known());
  CHECK(old.text.find("holds 21 more days before the oldest sector is overwritten") !=
        std::string::npos);
}

TEST_CASE("card question: a full card says what it has overwritten, and until when") {
  CardMaker maker{0x2A, 128};
  for (std::uint32_t day = 1; day <= 7; ++day) minute_of_day(maker, day);
  const Answer answer = ask(maker);
  const std::int64_t overwritten = maker.next_sequence() - 128;
  CHECK(overwritten > 0);
  CHECK(std::get<std::int64_t>(answer.of("sectors_overwritten").value) == overwritten);
  CHECK(std::get<UtcTime>(answer.of("overwritten_until").value) ==
        std::get<UtcTime>(answer.of("first").value));
  CHECK(std::get<double>(answer.of("days_until_full").value) == 0);
  CHECK(answer.words("findings").find("overwritten ") != std::string::npos);
  CHECK(answer.text.find("is full: " + std::to_string(overwritten) +
                         " sectors were overwritten, all before 2026-0") != std::string::npos);
}

TEST_CASE("card question: a card of two vans says since when, and what to do") {
  CardMaker maker{0x2A, 1024};
  minute_of_day(maker, 1);
  maker.boot(99);
  test::SessionText session;
  session.vin = "11111111111111111";
  session.clock = ClockSample{kClockSystem, 1'772'600'000'000, 0, 1};
  maker.session(0, session);
  maker.response(10, test::pack_key(200), {0x3F, 2, 370 * 64, 100, 30});
  maker.close();
  const Answer answer = ask(maker);
  CHECK(answer.words("findings").find("van_changed ") != std::string::npos);
  CHECK(answer.text.find(std::string("VIN ") + test::kVin +
                         " from 2026-02-26 06:13 UTC on; VIN "
                         "11111111111111111 from 2026-03-04 04:53 UTC on") != std::string::npos);
  CHECK(answer.text.find("prepare a card for each van") != std::string::npos);
}
