#include "reading/verdict.hpp"

#include <doctest/doctest.h>

namespace packmile {

namespace {

UtcTime day(int n) { return UtcTime{std::chrono::hours{24 * n}}; }

Verdict verdict(VerdictQuestion question, const char* calibration_id, int from_day,
                const char* word) {
  Verdict v;
  v.question = question;
  v.answer = *word == '\0' ? VerdictAnswer::too_little : VerdictAnswer::agreed;
  v.word = word;
  v.ecu = 0x7EC;
  v.calibration_id = calibration_id;
  v.seen_from = day(from_day);
  v.decided_on = day(from_day + 1);
  return v;
}

Verdict number(const char* calibration_id, int from_day, double low, double high) {
  Verdict v = verdict(VerdictQuestion::offset_a, calibration_id, from_day, "x");
  v.word.clear();
  v.number = Figure{(low + high) / 2, low, high, 0};
  return v;
}

std::uint32_t segment_of(const std::vector<Verdict>& all, VerdictQuestion question,
                         const char* calibration_id) {
  for (const Verdict& v : all)
    if (v.question == question && v.calibration_id == calibration_id) return v.segment;
  return 0;
}

}  // namespace

TEST_CASE("verdict: words of questions and answers come back") {
  for (std::size_t k = 0; k < kVerdictQuestions; ++k) {
    const auto question = static_cast<VerdictQuestion>(k);
    CHECK(question_of(word_of(question)) == question);
  }
  for (const auto answer : {VerdictAnswer::agreed, VerdictAnswer::contradictory,
                            VerdictAnswer::too_little, VerdictAnswer::not_applicable})
    CHECK(answer_of(word_of(answer)) == answer);
  CHECK_FALSE(question_of("sign ").has_value());
  CHECK_FALSE(answer_of("").has_value());
}

TEST_CASE("verdict: software that answers otherwise opens a segment, for all its questions") {
  using enum VerdictQuestion;
  std::vector<Verdict> all{verdict(sign, "C", 20, "discharge_negative"),
                           verdict(sign, "A", 0, "discharge_positive"),
                           verdict(coding, "A", 0, "twos"),
                           verdict(coding, "B", 10, "twos"),
                           verdict(sign, "B", 10, ""),  // not decided: no flip
                           verdict(coding, "C", 20, "twos"),
                           verdict(soc_step_pct, "C", 20, "x")};
  open_segments(all);
  CHECK(segment_of(all, sign, "A") == 1);
  CHECK(segment_of(all, sign, "B") == 1);
  CHECK(segment_of(all, sign, "C") == 2);
  // The same current: its coding belongs to the new segment too.
  CHECK(segment_of(all, coding, "B") == 1);
  CHECK(segment_of(all, coding, "C") == 2);
  // Another family counts for itself.
  CHECK(segment_of(all, soc_step_pct, "C") == 1);
  CHECK(all.front().question == coding);
  CHECK(all.back().question == soc_step_pct);
}

TEST_CASE("verdict: numbers flip where their intervals do not meet") {
  std::vector<Verdict> same{number("A", 0, 0.1, 0.3), number("B", 9, 0.29, 0.4)};
  open_segments(same);
  CHECK(segment_of(same, VerdictQuestion::offset_a, "B") == 1);
  std::vector<Verdict> other{number("A", 0, 0.1, 0.3), number("B", 9, 0.31, 0.4)};
  open_segments(other);
  CHECK(segment_of(other, VerdictQuestion::offset_a, "B") == 2);
}

TEST_CASE("verdict: another ECU is another instrument, a meter opens nothing") {
  std::vector<Verdict> all{verdict(VerdictQuestion::sign, "A", 0, "discharge_positive"),
                           verdict(VerdictQuestion::sign, "A", 5, "discharge_positive")};
  all[1].ecu = 0x7EB;
  open_segments(all);
  CHECK(all[0].segment == 1);
  CHECK(all[1].segment == 2);
  CHECK(all[1].ecu == 0x7EB);
  std::vector<Verdict> gains{number("A", 0, 0.9, 0.95), number("B", 9, 1.05, 1.1)};
  for (Verdict& v : gains) v.question = VerdictQuestion::gain;
  open_segments(gains);
  CHECK(gains[1].segment == 1);
}

}  // namespace packmile
