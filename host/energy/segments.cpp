#include "energy/segments.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace packmile {
namespace {

// Regenerated energy may still arrive this long after the wheels stopped.
constexpr std::int64_t kAfterStopMs = 10'000;
constexpr std::int64_t kChargeMeanMs = 60'000;
// A shorter and slower drive is a shunt: its energy is standing energy.
constexpr double kShuntKm = 0.2;
constexpr std::int64_t kShuntMs = 60'000;
// A state of charge that has not risen for this long is not being charged: one
// code of a large pack takes ten minutes at 2.3 kW. Common practice, no source.
constexpr std::int64_t kSocPauseMs = 30 * 60'000;
constexpr unsigned kSocSessionCodes = 2;

// Energy of the step between two rows, kW * ms; gaps are bridged, since here it
// only places borders.
double step_energy(const PackRows& rows, std::size_t i) {
  return (rows.power_kw(i) + rows.power_kw(i + 1)) / 2 *
         static_cast<double>(rows.time_ms[i + 1] - rows.time_ms[i]);
}

std::size_t first_row_at(const PackRows& rows, std::int64_t t_ms) {
  return static_cast<std::size_t>(std::lower_bound(rows.time_ms.begin(), rows.time_ms.end(), t_ms) -
                                  rows.time_ms.begin());
}

// The code answered at or before `t_ms`.
std::optional<std::uint32_t> soc_at(const SignalSeries& soc, std::int64_t t_ms) {
  const auto past = std::upper_bound(soc.time_ms.begin(), soc.time_ms.end(), t_ms);
  if (past == soc.time_ms.begin()) return std::nullopt;
  return soc.raw[static_cast<std::size_t>(past - soc.time_ms.begin()) - 1];
}

struct RowRange {
  std::size_t from;
  std::size_t to;
};

class ChargeFinder {
 public:
  ChargeFinder(const Episode& episode, const PackRows& rows, const EnergyRules& rules)
      : episode_(episode), rows_(rows), rules_(rules) {}

  // Sessions among the rows of one standing stretch.
  void find(const Span& standing, std::vector<RowRange>& found) {
    const std::size_t from = first_row_at(rows_, standing.from_ms);
    const std::size_t past = first_row_at(rows_, standing.to_ms + 1);
    if (past < from + 2) return;
    const std::size_t last = past - 1;
    const bool speed_known = speed_answered(episode_, standing);
    const std::size_t first_found = found.size();
    std::size_t window = from;
    double energy = 0;  // of the window, kW * ms
    std::size_t unbroken = from;
    for (std::size_t i = from; i < last;) {
      if (silent(i)) {
        window = unbroken = ++i;
        energy = 0;
        continue;
      }
      energy += step_energy(rows_, i);
      ++i;
      if (rows_.power_raw[i] >= 0) unbroken = i;
      while (rows_.time_ms[i] - rows_.time_ms[window + 1] >= kChargeMeanMs) {
        energy -= step_energy(rows_, window++);
      }
      const std::int64_t length = rows_.time_ms[i] - rows_.time_ms[window];
      if (length < kChargeMeanMs ||
          energy > -rules_.charge_enter_kw * static_cast<double>(length) ||
          (!speed_known && !may_stand(window, i, unbroken))) {
        continue;
      }
      const std::size_t least = found.size() > first_found ? found.back().to : from;
      const RowRange range{walk_back(i, least), walk_on(i, last)};
      join(range, first_found, found);
      i = std::max(i, resume_);
      window = i;
      unbroken = i;
      energy = 0;
    }
  }

 private:
  // Walking away from where the rule fired: the state of charging is left when
  // the mean over the leaving time rises above the leaving power; from there on
  // only current that flows without a longer break belongs to the session.
  class LeavingRule {
   public:
    LeavingRule(const ChargeFinder& finder, std::size_t fired)
        : finder_(finder), tail_(fired), fired_(fired) {}
    void walked(std::size_t row, double step) {
      const auto& time_ms = finder_.rows_.time_ms;
      const auto window_ms = static_cast<std::int64_t>(finder_.rules_.charge_leave_s * 1e3);
      const bool forward = row > fired_;
      energy_ += step;
      while (std::abs(time_ms[row] - time_ms[forward ? tail_ + 1 : tail_ - 1]) >= window_ms) {
        energy_ -= step_energy(finder_.rows_, forward ? tail_ : tail_ - 1);
        tail_ = forward ? tail_ + 1 : tail_ - 1;
      }
      const std::int64_t length = std::abs(time_ms[row] - time_ms[tail_]);
      if (length >= window_ms) {
        left_ = energy_ > -finder_.rules_.charge_leave_kw * static_cast<double>(length);
      }
    }
    // A silence says nothing about the current: the mean starts anew behind it.
    void restart(std::size_t row) {
      tail_ = row;
      energy_ = 0;
      left_ = false;
    }
    [[nodiscard]] bool ends(std::int64_t since_best_ms) const {
      return left_ && since_best_ms > kChargeMeanMs;
    }

   private:
    const ChargeFinder& finder_;
    std::size_t tail_;
    std::size_t fired_;
    double energy_ = 0;
    bool left_ = false;
  };

  // Without speed: the odometer has been looked at before (it makes moves); a
  // falling state of charge is not rest; with neither, the current must have
  // flowed without a break.
  [[nodiscard]] bool may_stand(std::size_t from, std::size_t to, std::size_t unbroken) const {
    const auto before = soc_at(episode_.soc, rows_.time_ms[from]);
    const auto after = soc_at(episode_.soc, rows_.time_ms[to]);
    // A fall of less than a code of 100/255 % may be noise of a finer step.
    if (before.has_value() && after.has_value())
      return *after + soc_steps(episode_.soc_step_pct, 1, 1) > *before;
    if (!episode_.odometer.time_ms.empty()) return true;
    return unbroken <= from;
  }

  // Forward from where the rule fired to the row at which most energy is in.
  std::size_t walk_on(std::size_t fired, std::size_t last) {
    double energy = 0;
    double best_energy = 0;
    std::size_t best = fired;
    std::size_t i = fired;
    std::int64_t silent_ms = 0;  // since best
    LeavingRule rule{*this, fired};
    while (i < last) {
      const std::int64_t since_ms = rows_.time_ms[i] - rows_.time_ms[best];
      if (rule.ends(since_ms - silent_ms) ||
          rows_.time_ms[i + 1] - rows_.time_ms[best] > merge_ms()) {
        break;
      }
      if (silent(i)) {
        silent_ms += rows_.time_ms[i + 1] - rows_.time_ms[i];
        rule.restart(++i);
        continue;
      }
      const double step = step_energy(rows_, i);
      energy += step;
      ++i;
      rule.walked(i, step);
      if (energy < best_energy) {
        best_energy = energy;
        best = i;
        silent_ms = 0;
      }
    }
    resume_ = i;
    // The step in which the current goes out still holds some of it.
    if (best < last && rows_.power_raw[best] < 0 &&
        rows_.time_ms[best + 1] - rows_.time_ms[best] <= kAfterStopMs) {
      ++best;
    }
    return best;
  }

  std::size_t walk_back(std::size_t fired, std::size_t first) const {
    double energy = 0;
    double best_energy = 0;
    std::size_t best = fired;
    std::size_t i = fired;
    std::int64_t silent_ms = 0;  // since best
    LeavingRule rule{*this, fired};
    while (i > first) {
      const std::int64_t since_ms = rows_.time_ms[best] - rows_.time_ms[i];
      if (rule.ends(since_ms - silent_ms) ||
          rows_.time_ms[best] - rows_.time_ms[i - 1] > merge_ms()) {
        break;
      }
      if (silent(i - 1)) {
        silent_ms += rows_.time_ms[i] - rows_.time_ms[i - 1];
        rule.restart(--i);
        continue;
      }
      const double step = step_energy(rows_, i - 1);
      energy += step;
      --i;
      rule.walked(i, step);
      if (energy < best_energy) {
        best_energy = energy;
        best = i;
        silent_ms = 0;
      }
    }
    if (best > first && rows_.power_raw[best] < 0 &&
        rows_.time_ms[best] - rows_.time_ms[best - 1] <= kAfterStopMs) {
      --best;
    }
    return best;
  }

  // The step is longer than a silence.
  [[nodiscard]] bool silent(std::size_t row) const {
    return static_cast<double>(rows_.time_ms[row + 1] - rows_.time_ms[row]) >
           rules_.silence_split_s * 1e3;
  }
  [[nodiscard]] std::int64_t merge_ms() const {
    return static_cast<std::int64_t>(rules_.charge_merge_s * 1e3);
  }

  void join(const RowRange& range, std::size_t first_found, std::vector<RowRange>& found) const {
    if (found.size() > first_found &&
        rows_.time_ms[range.from] - rows_.time_ms[found.back().to] <= merge_ms()) {
      found.back().to = std::max(found.back().to, range.to);
    } else {
      found.push_back(range);
    }
  }

  const Episode& episode_;
  const PackRows& rows_;
  const EnergyRules& rules_;
  std::size_t resume_ = 0;
};

// kWh that went in, lobes of the bridged polyline.
double charged_kwh(const PackRows& rows, const RowRange& range) {
  double sum = 0;
  for (std::size_t i = range.from; i < range.to; ++i) sum += std::min(step_energy(rows, i), 0.0);
  return -sum / 3.6e6;
}

// Sessions by the state of charge, where no current can be read.
void find_soc_rises(const Episode& episode, const Span& standing, std::vector<Span>& found) {
  const SignalSeries& soc = episode.soc;
  const std::uint32_t session_steps = soc_steps(episode.soc_step_pct, kSocSessionCodes, 2);
  const std::uint32_t fall_steps = soc_steps(episode.soc_step_pct, 1, 1);
  const auto first = std::lower_bound(soc.time_ms.begin(), soc.time_ms.end(), standing.from_ms);
  auto i = static_cast<std::size_t>(first - soc.time_ms.begin());
  std::optional<std::uint32_t> low;
  std::uint32_t high = 0;
  Span rise{};
  const auto close = [&] {
    if (low.has_value() && high >= *low + session_steps) found.push_back(rise);
    low.reset();
  };
  for (; i < soc.time_ms.size() && soc.time_ms[i] <= standing.to_ms; ++i) {
    const std::uint32_t code = soc.raw[i];
    const std::int64_t now_ms = soc.time_ms[i];
    if (low.has_value() && (code + fall_steps <= high || now_ms - rise.to_ms > kSocPauseMs))
      close();
    if (!low.has_value()) {
      low = high = code;
      rise = {now_ms, now_ms};
    } else if (code > high) {
      high = code;
      rise.to_ms = now_ms;
    } else if (high == *low) {
      low = high = std::min(code, high);
      rise = {now_ms, now_ms};  // still waiting for the first step
    }
  }
  close();
}

struct Trips {
  Span moving;
  double speed_km;
};

class Planner {
 public:
  Planner(const Episode& episode, const PackRows& rows, const EnergyRules& rules)
      : episode_(episode), rows_(rows), rules_(rules) {}

  EpisodePlan plan() {
    whole_ = {episode_.start.time_since_epoch().count(), episode_.end.time_since_epoch().count()};
    plan_.silences = find_silences(episode_, rules_);
    moves_ = find_moves(episode_, plan_.silences, rules_);
    find_sessions();
    find_trips();
    place_trips();
    fill_stands();
    drop_bridged_silences();
    assign_rows();
    return std::move(plan_);
  }

 private:
  void find_sessions() {
    ChargeFinder finder{episode_, rows_, rules_};
    std::vector<RowRange> found;
    std::vector<Span> by_soc;
    Span standing{whole_.from_ms, 0};
    const auto look = [&] {
      if (standing.length_ms() <= 0) return;
      if (rows_.size() >= 2) {
        finder.find(standing, found);
      } else {
        find_soc_rises(episode_, standing, by_soc);
      }
    };
    for (const Move& move : moves_) {
      standing.to_ms = move.span.from_ms;
      look();
      standing.from_ms = move.span.to_ms + kAfterStopMs;
    }
    standing.to_ms = whole_.to_ms;
    look();
    for (const RowRange& range : found) {
      if (charged_kwh(rows_, range) < rules_.session_least_kwh) continue;
      Segment session;
      session.kind = SegmentKind::session;
      session.span = {rows_.time_ms[range.from], rows_.time_ms[range.to]};
      sessions_.push_back(session);
    }
    for (const Span& span : by_soc) {
      Segment session;
      session.kind = SegmentKind::session;
      session.span = span;
      session.by_soc = true;
      sessions_.push_back(session);
    }
  }

  void find_trips() {
    const auto split_ms = static_cast<std::int64_t>(rules_.stop_split_s * 1e3);
    for (const Move& move : moves_) {
      if (!move.drives) continue;
      if (!trips_.empty()) {
        Trips& last = trips_.back();
        const Span rest{last.moving.to_ms, move.span.from_ms};
        const auto parts = [&](const Span& span) {
          return span.from_ms <= rest.to_ms && rest.from_ms <= span.to_ms;
        };
        const bool silent = std::any_of(plan_.silences.begin(), plan_.silences.end(), parts);
        const bool charged = std::any_of(sessions_.begin(), sessions_.end(),
                                         [&](const Segment& s) { return parts(s.span); });
        if (!silent && !charged && rest.length_ms() < split_ms) {
          last.moving.to_ms = move.span.to_ms;
          last.speed_km += move.speed_km;
          continue;
        }
      }
      trips_.push_back({move.span, move.speed_km});
    }
    std::erase_if(trips_, [&](const Trips& trip) {
      return trip.moving.length_ms() < kShuntMs && km_of(trip) < kShuntKm;
    });
  }

  // The longer of the two tellers: a shunt is one by both.
  [[nodiscard]] double km_of(const Trips& trip) const {
    const auto& odometer = episode_.odometer;
    const auto from =
        std::lower_bound(odometer.time_ms.begin(), odometer.time_ms.end(), trip.moving.from_ms);
    const auto to =
        std::upper_bound(odometer.time_ms.begin(), odometer.time_ms.end(), trip.moving.to_ms);
    const double speed_km = rules_.km_per_speed_km * trip.speed_km;
    if (to <= from + 1) return speed_km;
    const std::uint32_t first =
        odometer.raw[static_cast<std::size_t>(from - odometer.time_ms.begin())];
    const std::uint32_t last =
        odometer.raw[static_cast<std::size_t>(to - odometer.time_ms.begin()) - 1];
    return std::max(speed_km, last > first ? (last - first) * 0.1 : 0);
  }

  // Extends the trips over the standing time beside them and merges them with
  // the sessions into one list.
  void place_trips() {
    const auto side_ms = static_cast<std::int64_t>(rules_.stop_split_s * 1e3);
    std::size_t session = 0;
    for (std::size_t i = 0; i < trips_.size(); ++i) {
      const Span moving = trips_[i].moving;
      while (session < sessions_.size() && sessions_[session].span.from_ms < moving.from_ms) {
        plan_.segments.push_back(sessions_[session++]);
      }
      std::int64_t earliest = whole_.from_ms;
      std::int64_t latest = whole_.to_ms;
      if (!plan_.segments.empty()) earliest = plan_.segments.back().span.to_ms;
      if (session < sessions_.size()) latest = std::min(latest, sessions_[session].span.from_ms);
      if (i + 1 < trips_.size()) latest = std::min(latest, trips_[i + 1].moving.from_ms);
      for (const Span& silence : plan_.silences) {
        if (silence.to_ms <= moving.from_ms) earliest = std::max(earliest, silence.to_ms);
        if (silence.from_ms >= moving.to_ms) latest = std::min(latest, silence.from_ms);
      }
      Segment trip;
      trip.kind = SegmentKind::trip;
      trip.moving = moving;
      trip.span = {std::max(std::min(earliest, moving.from_ms), moving.from_ms - side_ms),
                   std::min(std::max(latest, moving.to_ms), moving.to_ms + side_ms)};
      plan_.segments.push_back(trip);
    }
    while (session < sessions_.size()) plan_.segments.push_back(sessions_[session++]);
  }

  void fill_stands() {
    std::vector<Segment> all;
    std::int64_t from_ms = whole_.from_ms;
    std::size_t silence = 0;
    const auto stand_until = [&](std::int64_t to_ms) {
      const auto stand = [&](std::int64_t a, std::int64_t b) {
        if (b <= a) return;
        Segment segment;
        segment.span = {a, b};
        all.push_back(segment);
      };
      while (silence < plan_.silences.size() && plan_.silences[silence].from_ms < to_ms) {
        const Span& span = plan_.silences[silence++];
        if (span.to_ms <= from_ms) continue;
        stand(from_ms, span.from_ms);
        from_ms = std::max(from_ms, span.to_ms);
      }
      stand(from_ms, to_ms);
    };
    for (const Segment& segment : plan_.segments) {
      stand_until(segment.span.from_ms);
      all.push_back(segment);
      from_ms = std::max(from_ms, segment.span.to_ms);
    }
    stand_until(whole_.to_ms);
    plan_.segments = std::move(all);
  }

  void drop_bridged_silences() {
    std::erase_if(plan_.silences, [&](const Span& silence) {
      return std::any_of(plan_.segments.begin(), plan_.segments.end(), [&](const Segment& segment) {
        return segment.kind == SegmentKind::session && segment.span.from_ms <= silence.from_ms &&
               silence.to_ms <= segment.span.to_ms;
      });
    });
  }

  // A step belongs to the segment in which it begins; one that spans a silence
  // to none.
  void assign_rows() {
    for (std::size_t i = 0; i < plan_.segments.size(); ++i) {
      Segment& segment = plan_.segments[i];
      const std::size_t from = first_row_at(rows_, segment.span.from_ms);
      std::size_t to = first_row_at(rows_, segment.span.to_ms);
      const bool goes_on =
          i + 1 < plan_.segments.size() && plan_.segments[i + 1].span.from_ms == segment.span.to_ms;
      const bool row_on_border = to < rows_.size() && rows_.time_ms[to] == segment.span.to_ms;
      if (to >= rows_.size() || (!goes_on && !row_on_border)) {
        if (to == 0) continue;
        --to;
      } else if (!goes_on) {
        // Rows with the very stamp of the border end the segment with the last
        // of them.
        while (to + 1 < rows_.size() && rows_.time_ms[to + 1] == segment.span.to_ms) ++to;
      }
      if (to <= from) continue;
      segment.has_rows = true;
      segment.row_from = from;
      segment.row_to = to;
    }
  }

  const Episode& episode_;
  const PackRows& rows_;
  const EnergyRules& rules_;
  EpisodePlan plan_;
  Span whole_;
  std::vector<Move> moves_;
  std::vector<Segment> sessions_;
  std::vector<Trips> trips_;
};

}  // namespace

EpisodePlan plan_segments(const Episode& episode, const PackRows& rows, const EnergyRules& rules) {
  return Planner{episode, rows, rules}.plan();
}

}  // namespace packmile
