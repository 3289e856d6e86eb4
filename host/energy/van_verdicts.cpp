#include "energy/van_verdicts.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "energy/noted_charges.hpp"
#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

struct Unanswered {
  VerdictQuestion question;
  const char* why;
};
constexpr char kNoPack[] =
    "the van answers no pack voltage and current: list the maker's own signals in fleet.toml, "
    "where "
    "they are published for this van";
constexpr char kNoSoc[] = "the van answers no state of charge";
constexpr char kNoSpeed[] = "the van answers no speed";
constexpr std::array<Unanswered, kVerdictQuestions> kUnanswered{
    {{VerdictQuestion::coding, kNoPack},
     {VerdictQuestion::sign, kNoPack},
     {VerdictQuestion::pack_current, kNoPack},
     {VerdictQuestion::offset_a, kNoPack},
     {VerdictQuestion::gain, kNoPack},
     {VerdictQuestion::soc_step_pct, kNoSoc},
     {VerdictQuestion::speed_rounding, kNoSpeed},
     {VerdictQuestion::distance_scale, kNoSpeed}}};

}  // namespace

NotedEvidence noted_evidence_of(const VanNotes& notes, std::span<const ChargeSession> sessions) {
  NotedEvidence out;
  for (const OdometerNote& note : notes.odometer)
    out.odometer.push_back({note.when.from, note.when.to, note.km});
  for (const NotedCharge& noted :
       match_noted_charges(notes, sessions, [](UtcTime) { return std::string{}; })) {
    if (!noted.session) continue;
    const ChargeSession& session = sessions[*noted.session];
    const auto words = metered_pack_kwh(session);
    if (!words) continue;
    // What is systematic about the words and not the gain that is asked for.
    const EnergyRules rules;
    const double gain =
        std::hypot(rules.current_gain_u, rules.voltage_gain_u) * session.pack_kwh.figure->value;
    const double systematic = uncertainty_of(*session.pack_kwh.figure).systematic;
    out.charges.push_back(
        {.start = session.start,
         .end = session.end,
         .words_kwh = words->value,
         .u_words_kwh = session.pack_kwh.figure->scatter / kZ95,
         .u_offset_kwh = std::sqrt(std::max(0.0, systematic * systematic - gain * gain)),
         .meter_kwh = noted.kwh,
         .u_meter_kwh = noted_u_kwh(noted),
         .kind = session.kind});
  }
  return out;
}

void VanVerdicts::observe(const Episode& episode) {
  first_ = any_ ? std::min(first_, episode.start) : episode.start;
  last_ = any_ ? std::max(last_, episode.end) : episode.end;
  any_ = true;
  soc_steps_.observe(episode);
  speed_.observe(episode);
}

std::vector<Verdict> VanVerdicts::decide(const std::vector<PackReading>& readings,
                                         const NotedEvidence& noted) const {
  std::vector<Verdict> verdicts;
  if (!any_) return verdicts;
  for (const PackReading& reading : readings) {
    verdicts.insert(verdicts.end(), reading.verdicts.begin(), reading.verdicts.end());
    std::vector<MeteredCharge> charges;
    for (const MeteredCharge& charge : noted.charges)
      if (charge.start >= reading.seen_from && charge.end <= reading.decided_on)
        charges.push_back(charge);
    Verdict gain = judge_gain(charges);
    gain.ecu = reading.ecu;
    gain.calibration_id = reading.calibration_id;
    gain.seen_from = reading.seen_from;
    if (gain.decided_on == UtcTime{}) gain.decided_on = reading.decided_on;
    if (reading.verdict == CurrentVerdict::not_pack_current) {
      gain.answer = VerdictAnswer::not_applicable;
      gain.number.reset();
      gain.evidence = "it is not the pack's current";
    }
    verdicts.push_back(std::move(gain));
  }
  for (Verdict& verdict : soc_steps_.decide()) verdicts.push_back(std::move(verdict));
  for (Verdict& verdict : speed_.decide(noted.odometer)) verdicts.push_back(std::move(verdict));
  for (const Unanswered& unanswered : kUnanswered) {
    if (std::any_of(verdicts.begin(), verdicts.end(), [&](const Verdict& verdict) {
          return verdict.question == unanswered.question;
        }))
      continue;
    Verdict verdict;
    verdict.question = unanswered.question;
    verdict.answer = VerdictAnswer::not_applicable;
    verdict.evidence = unanswered.why;
    verdict.seen_from = first_;
    verdict.decided_on = last_;
    verdicts.push_back(std::move(verdict));
  }
  open_segments(verdicts);
  return verdicts;
}

}  // namespace packmile
