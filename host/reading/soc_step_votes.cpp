#include "reading/soc_step_votes.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

namespace packmile {
namespace {

constexpr std::array kInnerSteps{5.0, 2.5, 2.0, 1.0, 0.5};
constexpr std::uint32_t kMostCodes = 16'384;
constexpr double kByChance = 1e-4;
constexpr std::size_t kLeastCodes = 8;
constexpr std::size_t kStrayCodes = 2;
constexpr double kRounding = 1e-9;

struct Fit {
  double step_pct = 0;
  bool cut = false;
  std::size_t strays = 0;
  std::size_t skipped = 0;  // between the codes seen, of no step
  bool by_chance = true;
};

Fit fit_of(const std::vector<bool>& codes, std::size_t low, std::size_t high, std::size_t n_seen,
           double answer_pct, double step_pct, bool cut) {
  std::vector<bool> member(codes.size(), false);
  const auto steps = static_cast<int>(std::lround(100 / step_pct));
  for (int n = 0; n <= steps; ++n) {
    const double exact = n * step_pct / answer_pct;
    const double code = cut ? std::floor(exact + kRounding) : std::floor(exact + 0.5 + kRounding);
    const auto at = static_cast<std::size_t>(code);
    if (at < member.size()) member[at] = true;
  }
  Fit fit{step_pct, cut, 0, 0, true};
  std::size_t members = 0;
  for (std::size_t code = low; code <= high; ++code) {
    members += member[code];
    fit.strays += codes[code] && !member[code];
    fit.skipped += !codes[code] && !member[code];
  }
  const double share = static_cast<double>(members) / static_cast<double>(high - low + 1);
  fit.by_chance = std::pow(share, static_cast<double>(n_seen)) > kByChance;
  return fit;
}

}  // namespace

void SocStepVotes::observe(const Episode& episode) {
  const SignalSeries& soc = episode.soc;
  if (soc.raw.empty() || !(episode.soc_step_pct > 0)) return;
  Seen& seen = seen_[{soc.ecu, soc.calibration_id, episode.soc_step_pct}];
  if (seen.codes.empty()) {
    seen.codes.resize(std::min(soc_full(episode.soc_step_pct), kMostCodes) + 1, false);
    seen.first_ms = soc.time_ms.front();
  }
  for (const std::uint32_t code : soc.raw)
    if (code < seen.codes.size()) seen.codes[code] = true;
  seen.first_ms = std::min(seen.first_ms, soc.time_ms.front());
  seen.last_ms = std::max(seen.last_ms, soc.time_ms.back());
}

std::vector<Verdict> SocStepVotes::decide() const {
  std::vector<Verdict> verdicts;
  for (const auto& [key, seen] : seen_) {
    const auto& [ecu, calibration_id, answer_pct] = key;
    Verdict verdict;
    verdict.question = VerdictQuestion::soc_step_pct;
    verdict.ecu = ecu;
    verdict.calibration_id = calibration_id;
    verdict.seen_from = UtcTime{std::chrono::milliseconds{seen.first_ms}};
    verdict.decided_on = UtcTime{std::chrono::milliseconds{seen.last_ms}};
    // Empty and full are steps of every size.
    std::size_t low = 1;
    std::size_t high = seen.codes.size() - 1;
    while (low < high && !seen.codes[low]) ++low;
    while (high > low && (high + 1 == seen.codes.size() || !seen.codes[high])) --high;
    std::size_t n_seen = 0;
    for (std::size_t code = low; code <= high; ++code) n_seen += seen.codes[code];

    const auto answer = [&](double step_pct) {
      verdict.answer = VerdictAnswer::agreed;
      verdict.number = Figure{step_pct, step_pct, step_pct, 0};
    };
    bool all_stray = n_seen >= kLeastCodes;
    std::optional<Fit> found;
    for (const double step_pct : kInnerSteps) {
      if (step_pct <= answer_pct * (1 + kRounding)) continue;
      for (const bool cut : {true, false}) {
        const Fit fit = fit_of(seen.codes, low, high, n_seen, answer_pct, step_pct, cut);
        all_stray = all_stray && fit.strays >= kStrayCodes;
        if (!found && fit.strays == 0 && n_seen > 0 && !fit.by_chance) found = fit;
      }
    }
    if (found) {
      answer(found->step_pct);
      verdict.evidence = fmt::format(
          "{} codes seen from {} to {}, every one a step of {} % {}; {} codes between were never "
          "answered",
          n_seen, low, high, found->step_pct, found->cut ? "cut down" : "rounded", found->skipped);
    } else if (all_stray) {
      answer(answer_pct);
      verdict.evidence =
          fmt::format("{} codes seen from {} to {}, of every kind: no coarser step explains them",
                      n_seen, low, high);
    } else {
      verdict.evidence = fmt::format(
          "{} codes seen from {} to {} would fit more than one step: a charge or drives over 20 "
          "points more",
          n_seen, n_seen > 0 ? low : 0, n_seen > 0 ? high : 0);
    }
    verdicts.push_back(std::move(verdict));
  }
  return verdicts;
}

}  // namespace packmile
