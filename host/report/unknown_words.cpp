#include "report/unknown_words.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "report/pack_words.hpp"

namespace packmile::report {

namespace {

// More days may tell the vans apart, or none: the ledger's reason says so behind "may
// be chance".
std::string undecided_energy(const VanEvidence& van, const DepotEvidence& depot) {
  const std::string what = "whether it takes more energy than the others";
  const MaybeFigure& difference = van.compared.difference_kwh_per_mile;
  const std::string& reason = van.compared.energy_reason;
  if (!difference.figure) return what + ": " + reason;
  std::string out = fmt::format("{}: {} may be chance", what,
                                depot.words.energy_per_distance(*difference.figure));
  const std::size_t cure = reason.find("; ");
  if (cure != reason.npos) out += reason.substr(cure, reason.find(':', cure) - cure);
  return out;
}

}  // namespace

std::vector<std::string> unknown_sentences(const VanEvidence& van, const DepotEvidence& depot) {
  std::vector<std::string> out;
  const auto add = [&out](std::string text) {
    text = sentence(std::move(text));
    if (std::ranges::find(out, text) == out.end()) out.push_back(std::move(text));
  };
  const auto why = [&](std::string_view what, const MaybeFigure& figure) {
    if (!figure.figure) add(fmt::format("{}: {}", what, figure.why));
  };
  for (const Verdict& verdict : van.verdicts)
    if (verdict.question == VerdictQuestion::pack_current &&
        (verdict.answer != VerdictAnswer::agreed || verdict.word != "yes"))
      add("whether its pack current can be believed: " + verdict.evidence);
  if (van.heard && van.money.parts.trips.empty())
    add("energy and pack: its port answered nothing that tells them; packmile check CARD and "
        "hardware-notes/signals.md say what might");
  else
    why("energy by distance", van.through.kwh_per_mile);
  why(fmt::format("cost of a {}", depot.words.each_distance()), van.cost.cost_per_mile);
  for (const LeftOut& one : van.cost.not_included) add("cost: " + one.why);
  for (const std::string& missing : van.upkeep.missing) add("to enter: " + missing);
  if (!van.compared.keep.told) add("whether to keep it: " + van.compared.keep.why);
  if (van.heard) {
    why("how fast its pack fades", van.fade.empty()
                                       ? MaybeFigure::unknown("no month tells a capacity")
                                       : van.fade.front().slope_pct_per_unit);
    if (!van.compared.energy_decided) add(undecided_energy(van, depot));
  }
  const CapacityRow& pack = latest_capacity(van);
  if (pack.ah.figure &&
      std::ranges::find(pack.findings, Finding::scale_not_confirmed) != pack.findings.end())
    add("what the cells hold: " + std::string{kHowToSettle});
  return out;
}

}  // namespace packmile::report
