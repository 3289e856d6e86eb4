#include "energy/motion.hpp"

#include <algorithm>
#include <array>
#include <span>

namespace packmile {
namespace {

// Parked vans are asked for their speed every 10 s.
constexpr std::int64_t kSpeedHoleMs = 60'000;
constexpr std::uint32_t kStuckSpeedCodes = 2;

struct MotionSample {
  std::int64_t time_ms;
  std::uint32_t kmh;
  bool by_odometer;
};

std::array<const std::vector<std::int64_t>*, 6> columns(const Episode& episode) {
  return {&episode.pack.time_ms,     &episode.speed.time_ms,   &episode.soc.time_ms,
          &episode.odometer.time_ms, &episode.ambient.time_ms, &episode.module_v.time_ms};
}

bool speed_is_stuck(const Episode& episode) {
  const auto& raw = episode.odometer.raw;
  if (raw.size() < 2 || raw.back() < raw.front() + kStuckSpeedCodes) return false;
  return std::none_of(episode.speed.raw.begin(), episode.speed.raw.end(),
                      [](std::uint32_t kmh) { return kmh > 0; });
}

// Movement by odometer steps inside a hole of the speed column.
void add_odometer_motion(const SignalSeries& odometer, std::int64_t from_ms, std::int64_t to_ms,
                         std::vector<MotionSample>& samples) {
  const auto first = std::lower_bound(odometer.time_ms.begin(), odometer.time_ms.end(), from_ms);
  auto i = static_cast<std::size_t>(first - odometer.time_ms.begin());
  for (; i < odometer.time_ms.size() && odometer.time_ms[i] <= to_ms; ++i) {
    if (i == 0 || odometer.raw[i] <= odometer.raw[i - 1]) {
      samples.push_back({odometer.time_ms[i], 0, true});
      continue;
    }
    const std::int64_t start_ms = std::max(odometer.time_ms[i - 1], from_ms);
    const double hours = static_cast<double>(std::max<std::int64_t>(
                             odometer.time_ms[i] - odometer.time_ms[i - 1], 1)) /
                         3.6e6;
    const double kmh = (odometer.raw[i] - odometer.raw[i - 1]) * 0.1 / hours;
    const auto whole = static_cast<std::uint32_t>(std::clamp(kmh, 3.0, 255.0));
    samples.push_back({start_ms, whole, true});
    samples.push_back({odometer.time_ms[i], whole, true});
  }
}

std::vector<MotionSample> with_holes_filled(const Episode& episode) {
  std::vector<MotionSample> samples;
  const bool stuck = speed_is_stuck(episode);
  const std::size_t n = stuck ? 0 : episode.speed.time_ms.size();
  samples.reserve(n + episode.odometer.time_ms.size());
  const std::int64_t start_ms = episode.start.time_since_epoch().count();
  const std::int64_t end_ms = episode.end.time_since_epoch().count();
  std::int64_t previous_ms = start_ms;
  for (std::size_t i = 0; i < n; ++i) {
    const std::int64_t now_ms = episode.speed.time_ms[i];
    if (now_ms - previous_ms > kSpeedHoleMs) {
      add_odometer_motion(episode.odometer, previous_ms, now_ms, samples);
    }
    samples.push_back({now_ms, episode.speed.raw[i], false});
    previous_ms = now_ms;
  }
  if (end_ms - previous_ms > kSpeedHoleMs || n == 0) {
    add_odometer_motion(episode.odometer, previous_ms, end_ms, samples);
  }
  std::stable_sort(
      samples.begin(), samples.end(),
      [](const MotionSample& a, const MotionSample& b) { return a.time_ms < b.time_ms; });
  return samples;
}

bool has_holes(const Episode& episode) {
  if (episode.odometer.time_ms.empty()) return false;
  if (episode.speed.time_ms.empty() || speed_is_stuck(episode)) return true;
  std::int64_t previous_ms = episode.start.time_since_epoch().count();
  for (const std::int64_t now_ms : episode.speed.time_ms) {
    if (now_ms - previous_ms > kSpeedHoleMs) return true;
    previous_ms = now_ms;
  }
  return episode.end.time_since_epoch().count() - previous_ms > kSpeedHoleMs;
}

class MoveFinder {
 public:
  MoveFinder(const std::vector<Span>& silences, const EnergyRules& rules)
      : silences_(silences),
        brisk_kmh_(static_cast<std::uint32_t>(std::max(1.0, rules.moving_kmh))),
        drive_ms_(static_cast<std::int64_t>(rules.moving_for_s * 1e3)) {}

  void sample(std::int64_t time_ms, std::uint32_t kmh, bool by_odometer) {
    bool after_silence = false;
    while (silence_ < silences_.size() && silences_[silence_].to_ms <= time_ms) {
      after_silence = true;
      ++silence_;
    }
    if (after_silence) {
      close();
      still_ms_ = time_ms;
      previous_kmh_ = 0;
      brisk_since_ms_ = -1;
    }
    if (kmh > 0) {
      moving(time_ms, kmh, by_odometer);
    } else {
      standing(time_ms);
    }
    previous_ms_ = time_ms;
    previous_kmh_ = kmh;
  }

  std::vector<Move> finish() {
    close();
    return std::move(moves_);
  }

 private:
  void moving(std::int64_t time_ms, std::uint32_t kmh, bool by_odometer) {
    if (!open_) {
      // Moved between the last sample that stood and this one.
      const std::int64_t start_ms = still_ms_ >= 0 ? still_ms_ : time_ms;
      now_ = Move{{start_ms, time_ms}, false, false, 0};
      open_ = true;
    } else {
      now_.speed_km +=
          (previous_kmh_ + kmh) / 2.0 * static_cast<double>(time_ms - previous_ms_) / 3.6e6;
    }
    resting_since_ms_ = -1;
    now_.span.to_ms = time_ms;
    if (kmh >= brisk_kmh_) {
      if (brisk_since_ms_ < 0) brisk_since_ms_ = time_ms;
      now_.brisk = true;
      now_.drives = now_.drives || by_odometer || time_ms - brisk_since_ms_ >= drive_ms_;
    } else {
      brisk_since_ms_ = -1;
    }
  }

  void standing(std::int64_t time_ms) {
    brisk_since_ms_ = -1;
    if (open_ && resting_since_ms_ < 0) {
      resting_since_ms_ = time_ms;
      now_.span.to_ms = time_ms;
      now_.speed_km += previous_kmh_ / 2.0 * static_cast<double>(time_ms - previous_ms_) / 3.6e6;
    }
    if (open_ && time_ms - resting_since_ms_ >= kLeastRestMs) close();
    still_ms_ = time_ms;
  }

  void close() {
    if (open_ && now_.brisk) moves_.push_back(now_);
    open_ = false;
    resting_since_ms_ = -1;
  }

  const std::vector<Span>& silences_;
  std::uint32_t brisk_kmh_;
  std::int64_t drive_ms_;
  std::size_t silence_ = 0;
  std::vector<Move> moves_;
  Move now_;
  bool open_ = false;
  std::int64_t brisk_since_ms_ = -1;
  std::int64_t resting_since_ms_ = -1;
  std::int64_t still_ms_ = -1;
  std::int64_t previous_ms_ = 0;
  std::uint32_t previous_kmh_ = 0;
};

}  // namespace

std::vector<Span> find_silences(const Episode& episode, const EnergyRules& rules) {
  const auto longest_ms = static_cast<std::int64_t>(rules.silence_split_s * 1e3);
  // The busiest column first: where it was answered no other needs a look.
  const auto all = columns(episode);
  const auto* busiest = *std::max_element(
      all.begin(), all.end(), [](const auto* a, const auto* b) { return a->size() < b->size(); });
  std::vector<Span> silences;
  std::int64_t previous_ms = episode.start.time_since_epoch().count();
  const auto look_closer = [&](std::int64_t from_ms, std::int64_t to_ms) {
    std::vector<std::int64_t> heard{from_ms, to_ms};
    for (const auto* column : all) {
      const auto first = std::lower_bound(column->begin(), column->end(), from_ms);
      const auto last = std::upper_bound(first, column->end(), to_ms);
      heard.insert(heard.end(), first, last);
    }
    std::sort(heard.begin(), heard.end());
    for (std::size_t i = 1; i < heard.size(); ++i) {
      if (heard[i] - heard[i - 1] > longest_ms) silences.push_back({heard[i - 1], heard[i]});
    }
  };
  for (const std::int64_t now_ms : *busiest) {
    if (now_ms - previous_ms > longest_ms) look_closer(previous_ms, now_ms);
    previous_ms = now_ms;
  }
  const std::int64_t end_ms = episode.end.time_since_epoch().count();
  if (end_ms - previous_ms > longest_ms) look_closer(previous_ms, end_ms);
  return silences;
}

std::vector<Move> find_moves(const Episode& episode, const std::vector<Span>& silences,
                             const EnergyRules& rules) {
  MoveFinder finder{silences, rules};
  if (has_holes(episode)) {
    for (const MotionSample& sample : with_holes_filled(episode)) {
      finder.sample(sample.time_ms, sample.kmh, sample.by_odometer);
    }
  } else {
    for (std::size_t i = 0; i < episode.speed.time_ms.size(); ++i) {
      finder.sample(episode.speed.time_ms[i], episode.speed.raw[i], false);
    }
  }
  return finder.finish();
}

bool speed_answered(const Episode& episode, const Span& span) {
  if (speed_is_stuck(episode)) return false;
  const auto& t = episode.speed.time_ms;
  const auto first = std::lower_bound(t.begin(), t.end(), span.from_ms);
  return first != t.end() && *first <= span.to_ms;
}

}  // namespace packmile
