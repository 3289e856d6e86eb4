#include "cli/van_heard.hpp"

#include <algorithm>

#include "energy/motion.hpp"
#include "energy/van_verdicts.hpp"

namespace packmile::cli {
namespace {

// The longest period while driving, and gaps of it.
constexpr std::size_t kMostStepMs = 150'000;
constexpr std::int64_t kLeastMovedMs = 60'000;

// How long neighbours of each distance were apart, within spans that cut some of
// them short: a span begins and ends where the van moves, not where it answers.
class StepTimes {
 public:
  void add(std::int64_t step_ms, std::int64_t within_ms) {
    if (step_ms <= 0 || step_ms > static_cast<std::int64_t>(kMostStepMs) || within_ms <= 0) return;
    if (times_ms_.empty()) times_ms_.resize(kMostStepMs + 1);
    times_ms_[static_cast<std::size_t>(step_ms)] += static_cast<std::uint64_t>(within_ms);
    time_ms_ += static_cast<std::uint64_t>(within_ms);
  }
  // The step in which half of the time lies; 0: none.
  [[nodiscard]] double median_ms() const {
    std::uint64_t seen_ms = 0;
    for (std::size_t ms = 0; ms < times_ms_.size(); ++ms) {
      seen_ms += times_ms_[ms];
      if (2 * seen_ms >= time_ms_) return static_cast<double>(ms);
    }
    return 0;
  }
  [[nodiscard]] double covered_ms(double longest_ms) const {
    double sum = 0;
    for (std::size_t ms = 0; ms < times_ms_.size() && static_cast<double>(ms) <= longest_ms; ++ms)
      sum += static_cast<double>(times_ms_[ms]);
    return sum;
  }

 private:
  std::vector<std::uint64_t> times_ms_;  // by length of the step
  std::uint64_t time_ms_ = 0;
};

struct Tally {
  std::array<StepTimes, kHeardSeries> steps;
  std::int64_t time_ms = 0;

  void add(std::size_t series, const std::vector<std::int64_t>& time_ms_of, const Span& span) {
    auto at = std::upper_bound(time_ms_of.begin(), time_ms_of.end(), span.from_ms);
    if (at != time_ms_of.begin()) --at;
    for (; at != time_ms_of.end() && at + 1 != time_ms_of.end() && *at < span.to_ms; ++at)
      steps[series].add(*(at + 1) - *at,
                        std::min(*(at + 1), span.to_ms) - std::max(*at, span.from_ms));
  }
};

std::array<const std::vector<std::int64_t>*, kHeardSeries> times_of(const Episode& episode) {
  return {&episode.pack.time_ms, &episode.soc.time_ms, &episode.odometer.time_ms,
          &episode.speed.time_ms, &episode.ambient.time_ms};
}

}  // namespace

bool VanHeard::current_agreed() const {
  return std::ranges::any_of(
      readings, [](const PackReading& r) { return r.verdict == CurrentVerdict::agreed; });
}

Result<VanHeard> hear_van(const CardFile& card, const CardSurvey& survey) {
  const CardSectors sectors{card, survey};
  const auto histories = VanHistory::open(sectors);
  if (!histories) return histories.error();
  VanHeard heard;
  const EnergyRules rules;
  Tally moving, awake;
  for (const VanHistory& history : *histories) {
    PackEvidence evidence;
    VanVerdicts verdicts;
    const auto walked = history.for_each_episode([&](const Episode& episode) {
      evidence.observe(episode);
      verdicts.observe(episode);
      const auto times = times_of(episode);
      const Span whole{episode.start.time_since_epoch().count(),
                       episode.end.time_since_epoch().count()};
      const auto moves = find_moves(episode, find_silences(episode, rules), rules);
      for (std::size_t k = 0; k < kHeardSeries; ++k) {
        heard.rates[k].rows += times[k]->size();
        awake.add(k, *times[k], whole);
        for (const Move& move : moves) moving.add(k, *times[k], move.span);
      }
      awake.time_ms += whole.length_ms();
      for (const Move& move : moves) moving.time_ms += move.span.length_ms();
      return true;
    });
    if (!walked) return walked.error();
    std::vector<PackReading> readings = evidence.decide();
    for (Verdict& verdict : verdicts.decide(readings, {}))
      heard.verdicts.push_back(std::move(verdict));
    for (PackReading& reading : readings) heard.readings.push_back(std::move(reading));
    for (const OwnersJudgement& judged : history.owners_signals()) {
      heard.owners_signals.push_back(judged);
      for (const OwnersComplaint& complaint : judged.complaints)
        if (std::ranges::find(heard.findings, complaint.finding) == heard.findings.end())
          heard.findings.push_back(complaint.finding);
    }
    for (const Boot& boot : history.boots())
      for (std::size_t role = 0; role < kRoles; ++role)
        if (boot.roles.of(static_cast<SignalRole>(role)) != nullptr)
          heard.owners_roles[role] = true;
  }
  heard.while_moving = moving.time_ms >= kLeastMovedMs;
  const Tally& tally = heard.while_moving ? moving : awake;
  for (std::size_t k = 0; k < kHeardSeries; ++k) {
    SeriesRate& rate = heard.rates[k];
    rate.period_ms = tally.steps[k].median_ms();
    if (tally.time_ms > 0)
      rate.share = std::min(1.0, tally.steps[k].covered_ms(rules.gap_periods * rate.period_ms) /
                                     static_cast<double>(tally.time_ms));
  }
  std::ranges::sort(heard.findings);
  return heard;
}

}  // namespace packmile::cli
