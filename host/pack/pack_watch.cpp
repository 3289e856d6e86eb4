#include "pack/pack_watch.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <tuple>
#include <utility>

#include "energy/integrate.hpp"
#include "energy/session.hpp"

namespace packmile {
namespace {

// As the account joins the parts of a session that an episode's end cut.
constexpr std::int64_t kCutMs = 120'000;

struct OpenCharge {
  ChargeTrace trace;
  SessionWork work;
};

}  // namespace

struct PackWatch::State {
  VanFacts facts;
  std::vector<PackReading> readings;
  EnergyRules rules;
  CapacityRules capacity_rules;

  PackDecoder decoder;
  std::map<std::tuple<std::uint32_t, std::string, CurrentCoding, CurrentSign>, std::uint32_t>
      segments;
  RestWatch rests;
  ResistanceSteps steps;
  std::optional<int> steps_month;
  std::optional<OpenCharge> open;
  std::int64_t last_end_ms = 0;
  bool last_cut = false;
  PackObservations found;

  State(VanFacts van, std::vector<PackReading> of_van, EnergyRules energy, CapacityRules capacity)
      : facts(van),
        readings(std::move(of_van)),
        rules(energy),
        capacity_rules(capacity),
        rests(van.nominal_ah, capacity),
        steps(energy) {}

  std::uint32_t segment_of(const PackReading& reading);
  void add(const PlannedEpisode& planned);
  void close_charge();
  void close_month();
  void hear_reported(const Episode& episode, std::uint32_t segment);
};

PackWatch::PackWatch(VanFacts facts, std::vector<PackReading> readings, EnergyRules rules,
                     CapacityRules capacity_rules)
    : state_(std::make_unique<State>(facts, std::move(readings), rules, capacity_rules)) {}
PackWatch::~PackWatch() = default;
PackWatch::PackWatch(PackWatch&&) noexcept = default;
PackWatch& PackWatch::operator=(PackWatch&&) noexcept = default;

void PackWatch::add(const Episode& episode) {
  if (episode.end <= episode.start) return;
  const PackReading* reading = reading_of(state_->readings, episode);
  const PackRows rows = state_->decoder.decode(episode.pack, reading);
  const SegmentInput input{episode, rows, reading, state_->facts, state_->rules, false};
  const EpisodePlan plan = plan_segments(episode, rows, state_->rules);
  std::vector<SessionWork> sessions;
  for (const Segment& segment : plan.segments) {
    if (segment.kind == SegmentKind::session) sessions.push_back(sum_session(input, segment));
  }
  add({input, plan, sessions});
}

void PackWatch::add(const PlannedEpisode& planned) { state_->add(planned); }

std::uint32_t PackWatch::State::segment_of(const PackReading& reading) {
  const auto key = std::tuple(reading.ecu, reading.calibration_id, reading.coding, reading.sign);
  const std::uint32_t segment =
      segments.emplace(key, static_cast<std::uint32_t>(segments.size())).first->second;
  if (reading.offset) found.offsets[segment] = *reading.offset;
  if (reading.gain) found.gains[segment] = *reading.gain;
  return segment;
}

void PackWatch::State::close_charge() {
  if (!open) return;
  ChargeTrace& trace = open->trace;
  trace.kind = charge_kind(open->work.minute_kw, open->work.strong_kw, facts.onboard_charger_kw);
  ChargeCapacity capacity = measure_charge(trace, capacity_rules);
  found.re_anchors.insert(found.re_anchors.end(), capacity.re_anchors.begin(),
                          capacity.re_anchors.end());
  found.charges.push_back(std::move(capacity));
  ProfileOrWhy profile = profile_charge(trace);
  if (profile.profile) found.profiles.push_back(std::move(*profile.profile));
  open.reset();
}

void PackWatch::State::close_month() {
  if (!steps_month) return;
  MonthlyResistance month{*steps_month, steps.finish()};
  if (!month.rows.empty()) found.resistances.push_back(std::move(month));
  steps_month.reset();
}

void PackWatch::State::hear_reported(const Episode& episode, std::uint32_t segment) {
  const ReportedSeries& said = episode.reported;
  for (std::size_t i = 0; i < said.value.size(); ++i) {
    const UtcTime at{std::chrono::milliseconds{said.time_ms[i]}};
    const ReportedCapacity now{at, said.value[i], said.in_kwh, segment};
    const bool same = !found.reported.empty() && found.reported.back().segment == segment &&
                      month_of(found.reported.back().at, capacity_rules.zone) ==
                          month_of(at, capacity_rules.zone);
    if (same)
      found.reported.back() = now;
    else
      found.reported.push_back(now);
  }
}

void PackWatch::State::add(const PlannedEpisode& planned) {
  const SegmentInput& input = planned.input;
  const Episode& episode = input.episode;
  const PackRows& rows = input.rows;
  const std::uint32_t segment = input.reading != nullptr ? segment_of(*input.reading) : 0;

  const int month = month_of(episode.start, capacity_rules.zone);
  if (steps_month && *steps_month != month) close_month();
  steps_month = month;
  steps.add(episode, rows);
  hear_reported(episode, segment);
  rests.add(episode, rows, segment, removed_offset_a(input.reading, rows));

  const bool goes_on = last_cut && unix_ms_of(episode.start) - last_end_ms < kCutMs;
  std::size_t next_session = 0;
  for (const Segment& part : planned.plan.segments) {
    if (part.kind == SegmentKind::trip) close_charge();
    if (part.kind != SegmentKind::session) continue;
    const SessionWork& work = planned.sessions[next_session++];
    if (part.by_soc) continue;
    OpenCharge next{trace_charge(input, part, ChargeKind::unknown, segment), work};
    const bool joins = goes_on && open && open->work.touches_end &&
                       open->trace.segment == segment &&
                       part.span.from_ms - open->work.span.to_ms < kCutMs;
    if (joins) {
      join_traces(open->trace, next.trace);
      join_sessions(open->work, next.work);
    } else {
      close_charge();
      open = std::move(next);
    }
  }
  if (!episode.cut) close_charge();
  last_cut = episode.cut;
  last_end_ms = unix_ms_of(episode.end);
}

PackObservations PackWatch::finish() {
  State& state = *state_;
  state.close_charge();
  state.close_month();
  state.found.rests = state.rests.finish();
  PackObservations found = std::move(state.found);
  found.re_anchors.insert(found.re_anchors.end(), found.rests.re_anchors.begin(),
                          found.rests.re_anchors.end());
  // Awake also saw what the charges saw.
  const auto by_start = [](const auto& a, const auto& b) { return a.start < b.start; };
  std::stable_sort(found.re_anchors.begin(), found.re_anchors.end(), by_start);
  const auto same = [](const ReAnchor& a, const ReAnchor& b) {
    return a.start <= b.end && b.start <= a.end;
  };
  found.re_anchors.erase(std::unique(found.re_anchors.begin(), found.re_anchors.end(), same),
                         found.re_anchors.end());
  std::stable_sort(found.charges.begin(), found.charges.end(), by_start);
  std::stable_sort(found.profiles.begin(), found.profiles.end(), by_start);
  state_ = std::make_unique<State>(state.facts, std::move(state.readings), state.rules,
                                   state.capacity_rules);
  return found;
}

}  // namespace packmile
