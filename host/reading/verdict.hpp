// Questions about what a van's words mean, and what the evidence says to each.
//
// Input     what the rooms found out: pack readings, steps of the state of charge,
//           speed against odometer, meters.
// Output    one value for each (question, ECU, calibration id), as in rows of
//           `verdicts`.
// Segment   counts from 1 for each question's family; the next one opens where
//           another ECU answers, or a changed calibration id answers otherwise.
//           Figures of two segments are not to be mixed.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "figure.hpp"

namespace packmile {

enum class VerdictQuestion : std::uint8_t {
  coding,          // of the pack-current word: twos, offset
  sign,            // discharge_positive, discharge_negative
  pack_current,    // is it the pack's: yes, no
  offset_a,        // of the current sensor, positive as pack_a; taken out where agreed
  gain,            // energy at the pack over what its words say
  soc_step_pct,    // by which the state of charge really moves
  speed_rounding,  // rounded, cut
  distance_scale   // km of the odometer for each km of the speed's integral
};
inline constexpr std::size_t kVerdictQuestions = 8;

enum class VerdictAnswer : std::uint8_t { agreed, contradictory, too_little, not_applicable };

// As in rows.
[[nodiscard]] std::string_view word_of(VerdictQuestion question);
[[nodiscard]] std::string_view word_of(VerdictAnswer answer);
// The reverse, for the ledger; nullopt: no such word.
[[nodiscard]] std::optional<VerdictQuestion> question_of(std::string_view word);
[[nodiscard]] std::optional<VerdictAnswer> answer_of(std::string_view word);

struct Verdict {
  VerdictQuestion question = VerdictQuestion::coding;
  VerdictAnswer answer = VerdictAnswer::too_little;
  // Only where agreed, one of the two by the question.
  std::string word;
  std::optional<Figure> number;
  // One sentence: what was counted, or what is missing and how to get it.
  std::string evidence;
  std::uint32_t ecu = 0;  // response id; 0: nobody answers it
  std::string calibration_id;
  std::uint32_t segment = 1;
  UtcTime seen_from{};   // beginning of the data that it rests on
  UtcTime decided_on{};  // end of it
};

// Sorts by question, ECU and time, and numbers the segments.
void open_segments(std::vector<Verdict>& verdicts);

}  // namespace packmile
