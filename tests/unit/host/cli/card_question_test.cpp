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
  const auto readings = read_pack_words(card, survey).value();
  return {row_of(survey, readings), check_text(survey, readings)};
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
  CHECK(answer.text.find("energy      not yet") != std::string::npos);
  CHECK(answer.text.find("by adding up the speed") != std::string::npos);
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
