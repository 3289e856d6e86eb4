#include "cli/card_question.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "report/number_text.hpp"
#include "cli/failure_words.hpp"
#include "cli/owner_questions.hpp"
#include "cli/say.hpp"
#include "calendar/zone.hpp"

namespace packmile::cli {
namespace {

const Zone& utc() {
  // Without a zone database there is nothing to print times in; UTC is in every one.
  static const Zone zone = Zone::find("UTC").value();
  return zone;
}

// An owner's signal by the name on the card: signal_1003 says nothing to people.
std::string answered_text(const CardSurvey& survey, const AnsweredSignal& answered) {
  for (const CardOwnersSignal& signal : survey.owners_signals)
    if (signal.id == answered.signal && response_id_of(signal.definition) == answered.ecu &&
        !signal.definition.name.empty())
      return clean_text(signal.definition.name);
  return signal_text(answered.signal);
}

std::vector<std::string> answered_words(const CardSurvey& survey) {
  std::vector<std::string> words;
  for (const AnsweredSignal& a : survey.answers) {
    const std::string word = answered_text(survey, a);
    if (std::ranges::find(words, word) == words.end()) words.push_back(word);
  }
  return words;
}

// A PID by the names of its signals.
std::string pid_text(std::uint8_t pid) {
  std::string out;
  for (const SignalEntry& entry : signals_of_pid(pid)) {
    if (!out.empty()) out += '+';
    out += entry.name;
  }
  return out.empty() ? fmt::format("pid_{:02X}", pid) : out;
}

std::vector<std::string> not_answered_words(const CardSurvey& survey) {
  std::vector<std::string> words;
  for (const PolledPid& polled : survey.not_answered) {
    const std::string word = pid_text(polled.pid);
    if (std::ranges::find(words, word) == words.end()) words.push_back(word);
  }
  return words;
}

std::string van_of(const CardSurvey& survey) {
  if (!survey.van.empty()) return survey.van;
  if (!survey.vins.empty()) return survey.vins.front();
  return survey.log_id ? fmt::format("log-{:08X}", *survey.log_id) : std::string{};
}

// The times on a card are those of its samples.
const char* why_no_time(const CardSurvey& survey) {
  const bool clock = std::ranges::any_of(survey.boot_clocks, &BootClock::known);
  return survey.boots.empty() || clock ? "there are no samples" : "no clock was read on this card";
}

// Days of logging, at the pace of this card, until its oldest sector is
// overwritten; nothing here knows what was read of it already.
MaybeFigure days_until_full(const CardSurvey& survey) {
  // A card of less says nothing about a usual day (common practice, no source).
  constexpr double kLeastDays = 1;
  if (survey.ring_sectors == 0 || survey.boots.empty())
    return MaybeFigure::unknown("there are no samples");
  if (survey.sectors_overwritten > 0) return MaybeFigure::known({0, 0, 0, 0});
  if (!survey.days_held || !survey.newest_sequence)
    return MaybeFigure::unknown(why_no_time(survey));
  if (*survey.days_held < kLeastDays)
    return MaybeFigure::unknown(
        "the card spans less than a day, too short to tell how fast it fills");
  const double written = *survey.newest_sequence - *survey.oldest_sequence + 1.0;
  const double left = survey.ring_sectors - 1.0 - *survey.newest_sequence;
  const double days = left * *survey.days_held / written;
  return MaybeFigure::known({days, days, days, 0});
}

std::string ring_text(const CardSurvey& survey) {
  if (survey.sectors_overwritten > 0) {
    std::string out =
        fmt::format("is full: {} sectors were overwritten", survey.sectors_overwritten);
    if (survey.first) out += fmt::format(", all before {} UTC", utc().minute(*survey.first));
    return out + "; each new one overwrites the oldest";
  }
  const MaybeFigure days = days_until_full(survey);
  if (!days.figure) return "how many more days it holds is not known: " + days.why;
  const double n = std::floor(days.figure->value);
  if (n < 1) return "holds less than a day more before the oldest sector is overwritten";
  return fmt::format("holds {:.0f} more {} before the oldest sector is overwritten", n,
                     n == 1 ? "day" : "days");
}

// Which van each boot of the card says it was in, where that changes.
std::string van_change_text(const CardSurvey& survey) {
  std::string out;
  std::string vin;
  for (std::size_t k = 0; k < survey.boots.size(); ++k) {
    const BootFacts& boot = survey.boots[k];
    if (boot.vin.empty() || boot.vin == vin) continue;
    vin = boot.vin;
    std::string since = "at a time that is not known";
    if (boot.first_tick && survey.boot_clocks[k].known())
      since = utc().minute(UtcTime{std::chrono::milliseconds{
                  static_cast<std::int64_t>(*boot.first_tick) + survey.boot_clocks[k].offset_ms}}) +
              " UTC";
    out += fmt::format("{}VIN {} from {} on", out.empty() ? "" : "; ", clean_text(vin), since);
  }
  return out;
}

std::string reading_text(const PackReading& reading) {
  return fmt::format(
      "  ECU {}{}: {}\n    coding {}, sign {}\n    {}\n", ecu_text(reading.ecu),
      reading.calibration_id.empty() ? "" : ", calibration " + clean_text(reading.calibration_id),
      word_of(reading.verdict), word_of(reading.coding), word_of(reading.sign),
      clean_text(reading.evidence));
}

// The votes for a sign stand in the paragraph of the pack current already.
std::string evidence_text(const Verdict& verdict, const VanHeard& heard) {
  constexpr std::string_view kVotesFrom = "discharge: ";
  const std::string evidence = clean_text(verdict.evidence);
  const std::size_t from = evidence.find(kVotesFrom);
  if (verdict.question != VerdictQuestion::sign || from == std::string::npos) return evidence;
  const std::string_view votes = std::string_view{evidence}.substr(from + kVotesFrom.size());
  const bool told = std::ranges::any_of(heard.readings, [&](const PackReading& reading) {
    return reading.ecu == verdict.ecu && reading.calibration_id == verdict.calibration_id &&
           clean_text(reading.evidence).find(votes) != std::string::npos;
  });
  return told ? "by the votes under pack current" : evidence;
}

// The pack current has its own paragraph.
std::string verdict_text(const Verdict& verdict, const VanHeard& heard) {
  if (verdict.question == VerdictQuestion::pack_current) return {};
  std::string text = fmt::format("  {:<16}{}", word_of(verdict.question), word_of(verdict.answer));
  const std::string value = value_text(verdict);
  if (!value.empty()) text += ", " + value;
  if (verdict.segment > 1) text += fmt::format(", segment {}", verdict.segment);
  return text + "\n    " + evidence_text(verdict, heard) + "\n";
}

std::string wrapped(const std::vector<std::string>& words, std::size_t indent) {
  constexpr std::size_t kWidth = 96;
  std::string out;
  std::size_t at = indent;
  for (const std::string& word : words) {
    if (!out.empty() && at + word.size() + 2 > kWidth) {
      out += ",\n" + std::string(indent, ' ');
      at = indent;
    } else if (!out.empty()) {
      out += ", ";
      at += 2;
    }
    out += word;
    at += word.size();
  }
  return out;
}

}  // namespace

std::string value_text(const Verdict& verdict) {
  if (verdict.answer != VerdictAnswer::agreed) return {};
  if (!verdict.number) return verdict.word;
  // A step is exact.
  return verdict.number->low == verdict.number->high ? fmt::format("{:.3g}", verdict.number->value)
                                                     : figure_text(*verdict.number);
}

std::string ecu_text(std::uint32_t ecu) { return fmt::format("{:X}", ecu); }

std::string signal_text(SignalId id) {
  const SignalEntry* entry = find_signal(id);
  return entry ? std::string{entry->name} : fmt::format("signal_{}", id);
}

std::vector<Column> check_columns() {
  using enum ColumnKind;
  return {{"card", text, false},
          {"log_id", text, true},
          {"van", text, true},
          {"vin", text, true},
          {"logger_version", text, true},
          {"boots", count, false},
          {"sectors_good", count, false},
          {"sectors_damaged", count, false},
          {"sectors_foreign", count, false},
          {"sectors_missing", count, false},
          {"first", time, true},
          {"last", time, true},
          {"clock_source", text, false},
          {"days_held", real, true},
          {"days_until_full", real, true},
          {"sectors_overwritten", count, false},
          {"overwritten_until", time, true},
          {"supply_min_v", real, true},
          {"requests_while_parked", count, false},
          {"refused_transmits", count, false},
          {"foreign_tester_events", count, false},
          {"other_frames_per_s", count, false},
          {"echoed_frames", count, false},
          {"late_answers", count, false},
          {"reply_wait_ms", count, true},
          {"logger_failures", words, false},
          {"answers", words, false},
          {"not_answered", words, false},
          {"settings_dids", words, false},
          {"findings", words, false},
          {"current_verdict", text, true},
          {"current_coding", text, true},
          {"current_sign", text, true},
          {"current_evidence", text, true},
          {"definition_notes", words, false},
          {"questions", questions, false},
          {"verdicts", verdicts, false}};
}

Row row_of(const CardSurvey& survey, const VanHeard& heard) {
  const std::vector<PackReading>& readings = heard.readings;
  const auto text_or = [](const std::string& text, const char* why) {
    return text.empty() ? Cell::unknown(why) : Cell{text, {}};
  };
  const auto whole = [](std::uint64_t n) { return Cell{static_cast<std::int64_t>(n), {}}; };
  const auto time_or = [&](const std::optional<UtcTime>& at) {
    return at ? Cell{*at, {}} : Cell::unknown(why_no_time(survey));
  };
  std::vector<std::string> dids, findings, notes;
  for (const std::uint16_t did : survey.settings_dids) dids.push_back(fmt::format("{:04X}", did));
  for (const auto& found : {survey.findings, heard.findings})
    for (const Finding finding : found) findings.emplace_back(entry_of(finding).word);
  for (const OwnersJudgement& judged : heard.owners_signals)
    for (const OwnersComplaint& complaint : judged.complaints)
      notes.push_back(clean_text(complaint.text));
  // One row a card: of several ECUs the one whose word is proven, else the first.
  const auto proven = std::ranges::find(readings, CurrentVerdict::agreed, &PackReading::verdict);
  const PackReading* reading = proven != readings.end() ? &*proven
                               : readings.empty()       ? nullptr
                                                        : &readings.front();
  constexpr char kNoPackWords[] = "the van answered no pack voltage and current on this card";
  const auto of_reading = [&](auto&& text_of_reading) {
    return reading ? Cell{std::string{text_of_reading(*reading)}, {}} : Cell::unknown(kNoPackWords);
  };
  const MaybeFigure until_full = days_until_full(survey);
  return {{survey.card, {}},
          survey.log_id ? Cell{fmt::format("{:08X}", *survey.log_id), {}}
                        : Cell::unknown("there is no good sector"),
          text_or(van_of(survey), "there is no good sector"),
          text_or(survey.vins.empty() ? "" : survey.vins.front(),
                  "the logger read no VIN on this card"),
          text_or(survey.logger_version, "there is no session record"),
          whole(survey.boots.size()),
          whole(survey.sectors_good),
          whole(survey.sectors_damaged),
          whole(survey.sectors_foreign),
          whole(survey.sectors_missing),
          time_or(survey.first),
          time_or(survey.last),
          {std::string{clock_source_word(survey.clock_source)}, {}},
          survey.days_held ? Cell{*survey.days_held, {}} : time_or(std::nullopt),
          until_full.figure ? Cell{until_full.figure->value, {}} : Cell::unknown(until_full.why),
          whole(survey.sectors_overwritten),
          survey.sectors_overwritten == 0 ? Cell::unknown("nothing was overwritten")
                                          : time_or(survey.first),
          survey.supply_min_v ? Cell{*survey.supply_min_v, {}}
                              : Cell::unknown("this logger did not measure its supply"),
          whole(survey.counters.requests_while_parked),
          whole(survey.counters.refused_transmits),
          whole(survey.counters.foreign_tester_events),
          whole(survey.counters.other_frames_per_s),
          whole(survey.counters.echoed_frames),
          whole(survey.counters.late_answers),
          survey.counters.reply_wait_ms != 0 ? whole(survey.counters.reply_wait_ms)
                                             : Cell::unknown("no answer came too late"),
          {failures_of(survey), {}},
          {answered_words(survey), {}},
          {not_answered_words(survey), {}},
          {std::move(dids), {}},
          {std::move(findings), {}},
          of_reading([](const PackReading& r) { return word_of(r.verdict); }),
          of_reading([](const PackReading& r) { return word_of(r.coding); }),
          of_reading([](const PackReading& r) { return word_of(r.sign); }),
          of_reading([](const PackReading& r) { return r.evidence; }),
          {std::move(notes), {}},
          {questions_of(survey, heard), {}},
          {heard.verdicts, {}}};
}

std::string check_text(const CardSurvey& survey, const VanHeard& heard) {
  std::string out = clean_text(survey.card) + "\n";
  const auto line = [&](std::string_view title, const std::string& text) {
    out += fmt::format("  {:<12}{}\n", title, text);
  };
  if (survey.log_id) {
    std::string vins;
    for (const std::string& vin : survey.vins) vins += (vins.empty() ? "" : ", ") + clean_text(vin);
    line("van",
         fmt::format("{}, VIN {}", clean_text(van_of(survey)), vins.empty() ? "never read" : vins));
    line("log", fmt::format(
                    "{:08X}, {} {}, logger {}", *survey.log_id, survey.boots.size(),
                    survey.boots.size() == 1 ? "boot" : "boots",
                    survey.logger_version.empty() ? "unknown" : clean_text(survey.logger_version)));
  }
  std::string sectors =
      fmt::format("{} good, {} damaged, {} missing, {} foreign", survey.sectors_good,
                  survey.sectors_damaged, survey.sectors_missing, survey.sectors_foreign);
  for (const auto& [n, what] : {std::pair{survey.sectors_misplaced, "misplaced"},
                                std::pair{survey.sectors_copied, "copied to another place"},
                                std::pair{survey.sectors_newer, "of a newer logger"},
                                std::pair{survey.sectors_older_log, "of an earlier log"},
                                std::pair{survey.sectors_conflict, "in conflict"},
                                std::pair{survey.sectors_unreadable, "unreadable"},
                                std::pair{survey.sectors_cut_off, "cut off"}})
    if (n > 0) sectors += fmt::format(", {} {}", n, what);
  line("sectors", sectors);
  if (survey.first && survey.last)
    line("time", fmt::format("{} to {} UTC, clock {}{}", utc().minute(*survey.first),
                             utc().minute(*survey.last), clock_source_word(survey.clock_source),
                             survey.days_held ? fmt::format(", {:.1f} days", *survey.days_held)
                                              : std::string{}));
  else if (!survey.boots.empty())
    line("time", why_no_time(survey));
  if (!survey.boots.empty()) line("ring", ring_text(survey));
  if (survey.vins.size() > 1) {
    line("two vans", van_change_text(survey));
    line("", "import gives each van its own rows; then prepare a card for each van");
  }
  if (!survey.boots.empty()) {
    if (survey.supply_min_v) line("supply", fmt::format("lowest {:.2f} V", *survey.supply_min_v));
    line("on the bus",
         fmt::format("{} requests while parked, {} refused by the transmit gate, {} signs of "
                     "another tester",
                     survey.counters.requests_while_parked, survey.counters.refused_transmits,
                     survey.counters.foreign_tester_events));
    const BootCounters& c = survey.counters;
    std::string more;
    for (const auto& [n, what] :
         {std::pair{c.other_frames_per_s, "frames of others in the busiest second"},
          std::pair{c.echoed_frames, "own frames sent back by the adapter"},
          std::pair{c.late_answers, "answers that came late"},
          std::pair{c.reply_wait_ms, "ms waited for an answer since"}})
      if (n > 0) more += fmt::format("{}{} {}", more.empty() ? "" : ", ", n, what);
    if (!more.empty()) line("", more);
    std::string_view failed = "failed";
    for (const std::string& failure : failures_of(survey))
      line(std::exchange(failed, std::string_view{}), failure);
    std::map<std::uint32_t, std::vector<std::string>> by_ecu;
    for (const AnsweredSignal& a : survey.answers)
      by_ecu[a.ecu].push_back(answered_text(survey, a));
    for (const auto& [ecu, words] : by_ecu)
      line("ECU " + ecu_text(ecu), "answers " + wrapped(words, 14));
    const auto silent = not_answered_words(survey);
    if (!silent.empty()) line("silent on", wrapped(silent, 14));
    out += questions_text(survey, heard);
    if (!heard.readings.empty()) out += "pack current\n";
    for (const PackReading& reading : heard.readings) out += reading_text(reading);
    if (!heard.verdicts.empty()) out += "verdicts, from this card alone\n";
    for (const Verdict& verdict : heard.verdicts) out += verdict_text(verdict, heard);
  }
  if (!survey.findings.empty() || !heard.findings.empty()) out += "findings\n";
  for (const Finding finding : survey.findings)
    out += fmt::format("  {}: {}\n", entry_of(finding).word, entry_of(finding).text);
  for (const OwnersJudgement& judged : heard.owners_signals)
    for (const OwnersComplaint& complaint : judged.complaints)
      out +=
          fmt::format("  {}: {}\n", entry_of(complaint.finding).word, clean_text(complaint.text));
  return out;
}

}  // namespace packmile::cli
