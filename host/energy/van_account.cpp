#include "energy/van_account.hpp"

#include <algorithm>
#include <numeric>
#include <utility>

#include "energy/integrate.hpp"
#include "energy/pack_energy.hpp"
#include "energy/segments.hpp"
#include "energy/session.hpp"
#include "energy/slow_signals.hpp"
#include "energy/soc_energy.hpp"
#include "energy/swings.hpp"
#include "energy/trip.hpp"

namespace packmile {
namespace {

// What the arithmetic of steps may add or take.
constexpr double kRoundingPct = 1e-6;
// A state of charge is taken to hold until the next answer for at most this
// long: a parked van is asked every minute. Common practice, no source.
// What was read this near to a silence still tells how it began or ended.
constexpr std::int64_t kNearSilenceMs = 120'000;
constexpr std::int64_t kNearSilenceRiseMs = 600'000;
// The last reading before a silence may be one step old: shorter is no drive.
constexpr std::uint32_t kUnseenDriveCodes = 2;
constexpr double kUnseenChargeSteps = 2;
// A controller that puts its count right at rest moves it as a charge would. Against the
// voltage at rest 79 published readings of a fleet scatter by 1.6 points (1 sd): of two of
// them one in 120 differs by more than this.
constexpr double kSureUnseenChargePct = 6;
// Whole kilometres are believed after this many steps.
constexpr std::size_t kWholeKmSteps = 3;
// Two parts of a session that a 48 h border cut lie this near. Common practice.
constexpr std::int64_t kCutMs = 120'000;

// What was last known before a silence.
struct Ending {
  std::int64_t end_ms = 0;
  std::optional<SlowSample> soc, odometer;
  double since_odometer_km = 0;  // by speed, from the odometer's reading to the end
  double soc_step_pct = kSocPctPerCode;
  TimeDoubt end_doubt;
  std::vector<Finding> clock_findings;
};

Stand build_stand(const SegmentInput& input, const Segment& segment) {
  Stand stand;
  stand.start = utc_of(segment.span.from_ms);
  stand.end = utc_of(segment.span.to_ms);
  stand.start_doubt = input.episode.doubt_of(stand.start);
  stand.end_doubt = input.episode.doubt_of(stand.end);
  const PackEnergy energy = pack_energy_of(input, segment);
  stand.coverage = energy.coverage;
  // A stand is short and has no figure of its own to refuse: even a few pairs
  // belong to the account.
  if (energy.integral.pairs() > 0) {
    const PowerIntegral& integral = energy.integral;
    stand.net_kwh = MaybeFigure::known(integral.net_figure_kwh(input.rules));
    stand.discharge_kwh = MaybeFigure::known(integral.discharge_figure_kwh(input.rules));
    stand.charge_kwh = MaybeFigure::known(integral.charge_figure_kwh(input.rules));
    stand.discharge_ah = MaybeFigure::known(integral.discharge_figure_ah(input.rules));
    stand.charge_ah = MaybeFigure::known(integral.charge_figure_ah(input.rules));
    stand.filled_kwh = fill_gaps(input, segment, energy, -1);
    return stand;
  }
  std::string why = energy.why.empty() ? "no pair of pack voltage and current" : energy.why;
  if (energy.silent && input.facts.nominal_kwh) {
    const auto first = first_in(input.episode.soc, segment.span);
    const auto last = last_in(input.episode.soc, segment.span);
    if (first && last && last->time_ms > first->time_ms) {
      stand.net_kwh = MaybeFigure::known(
          soc_energy_kwh((static_cast<double>(first->raw) - static_cast<double>(last->raw)) *
                             input.episode.soc_step_pct,
                         input.episode.soc_step_pct, *input.facts.nominal_kwh));
    }
  }
  if (!stand.net_kwh.figure) stand.net_kwh = MaybeFigure::unknown(why);
  stand.discharge_kwh = stand.charge_kwh = MaybeFigure::unknown(why);
  stand.discharge_ah = stand.charge_ah = stand.filled_kwh = MaybeFigure::unknown(why);
  return stand;
}

}  // namespace

std::string_view word_of(EnergyMethod method) {
  switch (method) {
    case EnergyMethod::integrated:
      return "integrated";
    case EnergyMethod::soc_nominal:
      return "soc_nominal";
    case EnergyMethod::none:
      return "none";
  }
  return "";
}

std::string_view word_of(DistanceSource source) {
  switch (source) {
    case DistanceSource::odometer:
      return "odometer";
    case DistanceSource::speed:
      return "speed";
    case DistanceSource::none:
      return "none";
  }
  return "";
}

std::string_view word_of(ChargeKind kind) {
  switch (kind) {
    case ChargeKind::ac:
      return "ac";
    case ChargeKind::dc:
      return "dc";
    case ChargeKind::unknown:
      return "unknown";
  }
  return "";
}

bool surely_charged(const ChargeSession& session) {
  return std::ranges::find(session.findings, Finding::charge_unsure) == session.findings.end();
}

std::string_view word_of(SessionSource source) {
  switch (source) {
    case SessionSource::measured:
      return "measured";
    case SessionSource::inferred:
      return "inferred";
    case SessionSource::noted:
      return "noted";
  }
  return "";
}

struct VanAccount::State {
  VanFacts facts;
  std::vector<PackReading> readings;
  EnergyRules rules;
  VanFigures figures;
  PackDecoder decoder;
  SocSwings swings;
  std::optional<Ending> ending;
  std::int64_t last_end_ms = 0;
  bool last_cut = false;
  std::optional<SessionWork> open_session;
  std::uint32_t odometer_divisor = 0;  // of all its steps; 0: none seen
  std::size_t odometer_steps = 0;

  void add(const Episode& episode, const SeePlanned& see);
  void close_session();
  [[nodiscard]] double km_of_speed(const Episode& episode, const Span& span) const {
    return span.to_ms > span.from_ms ? rules.km_per_speed_km * km_by_speed(episode.speed, span).km
                                     : 0;
  }
  void observe_slow(const Episode& episode);
  void add_across(const Episode& episode, const Ending& last, const Span& awake,
                  CurrentVerdict verdict);
};

VanAccount::VanAccount(VanFacts facts, std::vector<PackReading> readings, EnergyRules rules)
    : state_(std::make_unique<State>()) {
  state_->facts = facts;
  state_->readings = std::move(readings);
  state_->rules = rules;
}
VanAccount::~VanAccount() = default;
VanAccount::VanAccount(VanAccount&&) noexcept = default;
VanAccount& VanAccount::operator=(VanAccount&&) noexcept = default;

void VanAccount::add(const Episode& episode, const SeePlanned& see) { state_->add(episode, see); }

void VanAccount::State::close_session() {
  if (!open_session) return;
  SessionRows rows = finish_session(*open_session, facts, rules);
  figures.sessions.push_back(std::move(rows.session));
  if (rows.given) figures.stands.push_back(std::move(*rows.given));
  open_session.reset();
}

// Odometer, swings and the hours near full and near empty.
void VanAccount::State::observe_slow(const Episode& episode) {
  const SignalSeries& odometer = episode.odometer;
  for (std::size_t i = 1; i < odometer.raw.size(); ++i) {
    if (odometer.raw[i] == odometer.raw[i - 1]) continue;
    if (odometer.raw[i] < odometer.raw[i - 1]) {
      add_finding(figures.findings, Finding::odometer_fell);
      continue;
    }
    odometer_divisor = std::gcd(odometer_divisor, odometer.raw[i] - odometer.raw[i - 1]);
    ++odometer_steps;
  }
  if (!odometer.raw.empty()) {
    const double first_km = odometer.raw.front() * 0.1;
    if (!figures.odometer_first_km) figures.odometer_first_km = first_km;
    if (figures.odometer_last_km && first_km < *figures.odometer_last_km - 0.05) {
      add_finding(figures.findings, Finding::odometer_fell);
    }
    figures.odometer_last_km = odometer.raw.back() * 0.1;
  }
  const SignalSeries& soc = episode.soc;
  const double step_codes = episode.soc_step_pct / kSocPctPerCode;
  const double hysteresis = std::max(SocSwings::kHysteresisCodes, 2 * step_codes) - kRoundingPct;
  for (const std::uint32_t code : soc.raw) swings.observe(code * step_codes, hysteresis);
}

// What happened in a silence, told by what was read before and after it.
void VanAccount::State::add_across(const Episode& episode, const Ending& last, const Span& awake,
                                   CurrentVerdict verdict) {
  if (awake.from_ms <= last.end_ms) return;
  const auto soc = first_in(episode.soc, awake);
  const auto odometer = first_in(episode.odometer, awake);
  bool drove = false;
  std::uint32_t driven_codes = 0;
  if (last.odometer && odometer && odometer->raw >= last.odometer->raw + kUnseenDriveCodes) {
    // Not what was driven awake between the readings and the silence.
    const double awake_km =
        last.since_odometer_km + km_of_speed(episode, {awake.from_ms, odometer->time_ms});
    const auto awake_codes = static_cast<std::uint32_t>(std::max(0.0, awake_km * 10));
    const std::uint32_t codes = odometer->raw - last.odometer->raw;
    driven_codes = codes > awake_codes ? codes - awake_codes : 0;
    drove = driven_codes >= kUnseenDriveCodes;
  }
  const auto near = [&](std::int64_t most_ms) {
    return last.soc && soc && last.end_ms - last.soc->time_ms <= most_ms &&
           soc->time_ms - awake.from_ms <= most_ms;
  };
  // Of two different steps the longer one tells what is a change.
  const double step_pct = std::max(last.soc_step_pct, episode.soc_step_pct);
  const double least_pct = std::max(step_pct, kSocPctPerCode);
  const double before_pct = last.soc ? last.soc->raw * last.soc_step_pct : 0;
  const double after_pct = soc ? soc->raw * episode.soc_step_pct : 0;
  const double rise_pct = after_pct - before_pct;
  const bool rose =
      near(kNearSilenceRiseMs) && rise_pct >= kUnseenChargeSteps * least_pct - kRoundingPct;
  const bool fell = near(kNearSilenceMs) && -rise_pct >= least_pct - kRoundingPct;
  const TimeDoubt end_doubt = episode.doubt_of(utc_of(awake.from_ms));
  std::vector<Finding> doubts = last.clock_findings;
  add_clock_findings(doubts, episode);
  if (drove) {
    UnseenDrive drive;
    drive.start = utc_of(last.end_ms);
    drive.end = utc_of(awake.from_ms);
    drive.start_doubt = last.end_doubt;
    drive.end_doubt = end_doubt;
    drive.km = driven_codes * 0.1;
    drive.verdict = verdict;
    if (last.soc && soc) {
      drive.soc_start_pct = before_pct;
      drive.soc_end_pct = after_pct;
      drive.soc_step_pct = step_pct;
      if (!rose) drive.fallen_pct = before_pct - after_pct;
    }
    Trip trip = build_unseen_trip(drive, facts, rules);
    for (const Finding finding : doubts) add_finding(trip.findings, finding);
    figures.trips.push_back(std::move(trip));
  }
  if (rose) {
    UnseenCharge charge;
    charge.start = utc_of(last.end_ms);
    charge.end = utc_of(awake.from_ms);
    charge.start_doubt = last.end_doubt;
    charge.end_doubt = end_doubt;
    charge.soc_before_pct = before_pct;
    charge.soc_after_pct = after_pct;
    charge.soc_step_pct = step_pct;
    charge.also_drove = drove;
    charge.sure = rise_pct >= kSureUnseenChargePct - kRoundingPct;
    charge.verdict = verdict;
    ChargeSession session = build_unseen_session(charge, facts);
    for (const Finding finding : doubts) add_finding(session.findings, finding);
    figures.sessions.push_back(std::move(session));
  } else if (fell && !drove) {
    Stand stand;
    stand.start = utc_of(last.end_ms);
    stand.end = utc_of(awake.from_ms);
    stand.start_doubt = last.end_doubt;
    stand.end_doubt = end_doubt;
    const std::string unseen = "nothing was heard of the van while its charge fell";
    if (facts.nominal_kwh) {
      stand.net_kwh = MaybeFigure::known(
          unheard_fall_kwh(before_pct - after_pct, step_pct, *facts.nominal_kwh));
      stand.discharge_kwh = stand.net_kwh;
    } else {
      stand.net_kwh =
          MaybeFigure::unknown(unseen + "; nominal_kwh of the van is not in fleet.toml");
      stand.discharge_kwh = stand.net_kwh;
    }
    stand.charge_kwh = stand.discharge_ah = stand.charge_ah = MaybeFigure::unknown(unseen);
    stand.filled_kwh = MaybeFigure::unknown(unseen);
    figures.stands.push_back(std::move(stand));
  }
}

void VanAccount::State::add(const Episode& episode, const SeePlanned& see) {
  if (episode.end <= episode.start) return;
  const PackReading* reading = reading_of(readings, episode);
  const PackRows rows = decoder.decode(episode.pack, reading);
  const EpisodePlan plan = plan_segments(episode, rows, rules);
  observe_slow(episode);
  if (!figures.measured_from || episode.start < *figures.measured_from) {
    figures.measured_from = episode.start;
  }
  if (!figures.measured_to || episode.end > *figures.measured_to) figures.measured_to = episode.end;
  if (reading != nullptr && reading->verdict != CurrentVerdict::agreed) {
    add_finding(figures.findings, Finding::pack_current_undecided);
  }
  if (episode.pack.rows_not_supported > 0 && episode.pack.time_ms.empty()) {
    add_finding(figures.findings, Finding::pack_words_not_supported);
  }

  const CurrentVerdict verdict = reading != nullptr ? reading->verdict : CurrentVerdict::too_little;
  const bool whole_km = odometer_steps >= kWholeKmSteps && odometer_divisor % 10 == 0;
  const SegmentInput input{episode, rows, reading, facts, rules, whole_km};
  const std::int64_t start_ms = unix_ms_of(episode.start);
  const bool goes_on = last_cut && start_ms - last_end_ms < kCutMs;

  // Silences, before the episode and inside it, each with what was awake after.
  std::vector<Span> awake;
  Span now{start_ms, unix_ms_of(episode.end)};
  for (const Span& silence : plan.silences) {
    awake.push_back({now.from_ms, silence.from_ms});
    now.from_ms = silence.to_ms;
  }
  awake.push_back(now);
  for (std::size_t i = 0; i < awake.size(); ++i) {
    const Span& span = awake[i];
    if (ending && !(i == 0 && goes_on)) add_across(episode, *ending, span, verdict);
    Ending here = ending.value_or(Ending{});
    here.end_ms = std::max(span.to_ms, here.end_ms);
    here.end_doubt = episode.doubt_of(utc_of(here.end_ms));
    here.clock_findings.clear();
    add_clock_findings(here.clock_findings, episode);
    if (const auto soc = last_in(episode.soc, span)) {
      here.soc = soc;
      here.soc_step_pct = episode.soc_step_pct;
    }
    if (const auto odometer = last_in(episode.odometer, span)) {
      here.odometer = odometer;
      here.since_odometer_km = km_of_speed(episode, {odometer->time_ms, span.to_ms});
    } else {
      here.since_odometer_km += km_of_speed(episode, span);
    }
    ending = here;
  }

  std::vector<SessionWork> sessions;
  for (const Segment& segment : plan.segments) {
    if (segment.kind == SegmentKind::session) sessions.push_back(sum_session(input, segment));
  }
  if (see) see({input, plan, sessions});
  std::size_t next_session = 0;
  for (const Segment& segment : plan.segments) {
    switch (segment.kind) {
      case SegmentKind::trip:
        close_session();
        figures.trips.push_back(build_trip(input, segment));
        break;
      case SegmentKind::session: {
        SessionWork& work = sessions[next_session++];
        const bool joins = goes_on && open_session && open_session->touches_end &&
                           segment.span.from_ms - open_session->span.to_ms < kCutMs &&
                           open_session->by_soc == work.by_soc;
        if (joins) {
          join_sessions(*open_session, work);
        } else {
          close_session();
          open_session = std::move(work);
        }
        break;
      }
      case SegmentKind::stand:
        figures.stands.push_back(build_stand(input, segment));
        break;
    }
  }
  if (!episode.cut) close_session();
  last_cut = episode.cut;
  last_end_ms = unix_ms_of(episode.end);
}

VanFigures VanAccount::finish() {
  State& state = *state_;
  state.close_session();
  state.figures.swings = state.swings.finish();
  const auto by_start = [](const auto& a, const auto& b) { return a.start < b.start; };
  std::stable_sort(state.figures.trips.begin(), state.figures.trips.end(), by_start);
  std::stable_sort(state.figures.sessions.begin(), state.figures.sessions.end(), by_start);
  std::stable_sort(state.figures.stands.begin(), state.figures.stands.end(), by_start);
  VanFigures figures = std::move(state.figures);
  auto fresh = std::make_unique<State>();
  fresh->facts = state.facts;
  fresh->readings = std::move(state.readings);
  fresh->rules = state.rules;
  state_ = std::move(fresh);
  return figures;
}

}  // namespace packmile
