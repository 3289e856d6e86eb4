#include "reading/verdict.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <tuple>

namespace packmile {
namespace {

struct QuestionEntry {
  VerdictQuestion question;
  std::string_view word;
  int family;  // questions whose flip concerns each other's figures
};
constexpr int kPack = 0;
constexpr int kCharge = 1;
constexpr int kSpeed = 2;
constexpr std::array<QuestionEntry, kVerdictQuestions> kQuestions{
    {{VerdictQuestion::coding, "coding", kPack},
     {VerdictQuestion::sign, "sign", kPack},
     {VerdictQuestion::pack_current, "pack_current", kPack},
     {VerdictQuestion::offset_a, "offset_a", kPack},
     {VerdictQuestion::gain, "gain", kPack},
     {VerdictQuestion::soc_step_pct, "soc_step_pct", kCharge},
     {VerdictQuestion::speed_rounding, "speed_rounding", kSpeed},
     {VerdictQuestion::distance_scale, "distance_scale", kSpeed}}};

constexpr std::array kAnswers{VerdictAnswer::agreed, VerdictAnswer::contradictory,
                              VerdictAnswer::too_little, VerdictAnswer::not_applicable};

const QuestionEntry& entry_of(VerdictQuestion question) {
  return kQuestions[static_cast<std::size_t>(question)];
}

bool differs(const Verdict& before, const Verdict& now) {
  if (before.number && now.number) {
    return before.number->high < now.number->low || now.number->high < before.number->low;
  }
  return before.word != now.word;
}

}  // namespace

std::string_view word_of(VerdictQuestion question) { return entry_of(question).word; }

std::string_view word_of(VerdictAnswer answer) {
  switch (answer) {
    case VerdictAnswer::agreed:
      return "agreed";
    case VerdictAnswer::contradictory:
      return "contradictory";
    case VerdictAnswer::too_little:
      return "too_little";
    case VerdictAnswer::not_applicable:
      return "not_applicable";
  }
  return "";
}

std::optional<VerdictQuestion> question_of(std::string_view word) {
  for (const QuestionEntry& entry : kQuestions)
    if (entry.word == word) return entry.question;
  return std::nullopt;
}

std::optional<VerdictAnswer> answer_of(std::string_view word) {
  for (const VerdictAnswer answer : kAnswers)
    if (word_of(answer) == word) return answer;
  return std::nullopt;
}

void open_segments(std::vector<Verdict>& verdicts) {
  std::stable_sort(verdicts.begin(), verdicts.end(), [](const Verdict& a, const Verdict& b) {
    return std::tie(a.seen_from, a.ecu, a.calibration_id) <
           std::tie(b.seen_from, b.ecu, b.calibration_id);
  });
  for (const int family : {kPack, kCharge, kSpeed}) {
    std::uint32_t segment = 1;
    std::optional<std::uint32_t> ecu;
    std::map<VerdictQuestion, Verdict> last;  // agreed ones
    // All of one (ECU, calibration id) flip together or not at all.
    using Key = std::pair<std::uint32_t, std::string>;
    std::vector<std::pair<Key, std::vector<Verdict*>>> groups;
    for (Verdict& verdict : verdicts) {
      if (entry_of(verdict.question).family != family) continue;
      const Key key{verdict.ecu, verdict.calibration_id};
      const auto known = std::find_if(groups.begin(), groups.end(),
                                      [&](const auto& group) { return group.first == key; });
      if (known == groups.end())
        groups.push_back({key, {&verdict}});
      else
        known->second.push_back(&verdict);
    }
    for (const auto& [key, group] : groups) {
      bool flips = ecu && *ecu != key.first;
      for (const Verdict* verdict : group) {
        const auto before = last.find(verdict->question);
        // What a meter says comes late and of few charges: it opens none.
        if (verdict->question == VerdictQuestion::gain) continue;
        flips = flips || (verdict->answer == VerdictAnswer::agreed && before != last.end() &&
                          differs(before->second, *verdict));
      }
      if (flips) {
        ++segment;
        last.clear();
      }
      ecu = key.first;
      for (Verdict* verdict : group) {
        verdict->segment = segment;
        if (verdict->answer == VerdictAnswer::agreed)
          last.insert_or_assign(verdict->question, *verdict);
      }
    }
  }
  std::stable_sort(verdicts.begin(), verdicts.end(), [](const Verdict& a, const Verdict& b) {
    return std::tie(a.question, a.segment, a.ecu) < std::tie(b.question, b.segment, b.ecu);
  });
}

}  // namespace packmile
