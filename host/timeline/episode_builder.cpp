#include "timeline/episode_builder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string>

#include "timeline/clock_repair.hpp"

namespace packmile {
namespace {

using std::chrono::milliseconds;

constexpr std::int64_t kSilenceMs = milliseconds(kEpisodeSilence).count();
constexpr std::int64_t kLongestMs = milliseconds(kEpisodeLongest).count();
// Support bits of $9A; from memory.
constexpr std::uint32_t kVolt = 0x02;
constexpr std::uint32_t kCurrent = 0x04;
constexpr std::uint32_t kVoltAndCurrent = kVolt | kCurrent;

// The ECU that answers the current; 0: none.
std::uint32_t pack_ecu_of(const Boot& boot) {
  const RoleSource* own = boot.roles.of(SignalRole::pack_a);
  return own ? own->ecu : boot.series_ecu.pack;
}

// Of the ECU's software alone.
std::string software_of(const Boot& boot, std::uint32_t ecu) {
  std::string text;
  for (const EcuFacts& facts : boot.ecus)
    if (facts.response_id == ecu) text = facts.calibration_id;
  return text;
}

std::string calibration_of(const Boot& boot, std::uint32_t ecu) {
  std::string text = software_of(boot, ecu);
  const std::string& own = boot.roles.pack_text();
  if (!text.empty() && !own.empty()) text += ", ";
  return text + own;
}

struct SeriesSource {
  SignalSeries Episode::*series;
  SignalRole role;
  std::uint32_t SeriesEcus::*standard;
};
constexpr std::array kSeriesSources{
    SeriesSource{&Episode::speed, SignalRole::speed, &SeriesEcus::speed},
    SeriesSource{&Episode::soc, SignalRole::soc, &SeriesEcus::soc},
    SeriesSource{&Episode::odometer, SignalRole::odometer, &SeriesEcus::odometer}};

std::uint32_t ecu_of(const Boot& boot, const SeriesSource& source) {
  const RoleSource* own = boot.roles.of(source.role);
  return own ? own->ecu : boot.series_ecu.*source.standard;
}

double step_of(const RoleSource* own, double code) {
  return own ? std::max(std::abs(own->definition.scale), code) : code;
}

void append_times(std::vector<std::int64_t>& out, const Tick* ticks, std::size_t rows,
                  std::int64_t offset_ms) {
  const std::size_t at = out.size();
  out.resize(at + rows);
  std::int64_t* to = out.data() + at;
  for (std::size_t i = 0; i < rows; ++i) to[i] = static_cast<std::int64_t>(ticks[i]) + offset_ms;
}

void append_words(std::vector<std::uint16_t>& out, const std::uint32_t* words, std::size_t rows) {
  const std::size_t at = out.size();
  out.resize(at + rows);
  std::uint16_t* to = out.data() + at;
  for (std::size_t i = 0; i < rows; ++i) to[i] = static_cast<std::uint16_t>(words[i]);
}

TimeDoubt doubt_of(const Boot& boot, std::int64_t time_ms) {
  const TickInterval said = interval_at(
      boot, static_cast<Tick>(std::max<std::int64_t>(0, time_ms - boot.clock_offset_ms)));
  TimeDoubt doubt{std::nullopt, std::nullopt};
  if (said.low_ms) doubt.too_late_ms = time_ms - *said.low_ms;
  if (said.high_ms) doubt.too_early_ms = *said.high_ms - time_ms;
  return doubt;
}

TimeDoubt wider(const TimeDoubt& a, const TimeDoubt& b) {
  const auto most = [](std::optional<std::int64_t> x, std::optional<std::int64_t> y) {
    return x && y ? std::optional{std::max(*x, *y)} : std::nullopt;
  };
  return {most(a.too_late_ms, b.too_late_ms), most(a.too_early_ms, b.too_early_ms)};
}

}  // namespace

void EpisodeBuilder::begin_boot(const Boot& boot) {
  if (boot_ == &boot) return;
  boot_ = &boot;
  covered_ms_ = newest_ms_;
}

void EpisodeBuilder::add_record(std::span<const BlockView> blocks) {
  if (blocks.empty() || stopped_) return;
  Tick first = blocks[0].tick_ms[0];
  Tick last = first;
  for (const BlockView& block : blocks) {
    first = std::min(first, block.tick_ms[0]);
    last = std::max(last, block.tick_ms[block.rows - 1]);
  }
  if (static_cast<std::int64_t>(last - first) <= kSilenceMs) {
    add_stretch(blocks, first, last, true);
    return;
  }
  // A card may be set to keep a sector open for longer than a silence: then the
  // silence can be inside one.
  std::array<Tick, kSectorPayloadBytes> ticks;
  std::size_t count = 0;
  for (const BlockView& block : blocks)
    for (std::size_t i = 0; i < block.rows && count < ticks.size(); ++i)
      ticks[count++] = block.tick_ms[i];
  std::sort(ticks.begin(), ticks.begin() + static_cast<std::ptrdiff_t>(count));
  std::size_t begin = 0;
  for (std::size_t i = 1; i <= count && !stopped_; ++i) {
    if (i < count && static_cast<std::int64_t>(ticks[i] - ticks[i - 1]) <= kSilenceMs) continue;
    add_stretch(blocks, ticks[begin], ticks[i - 1], false);
    begin = i;
  }
}

bool EpisodeBuilder::must_split(std::int64_t first_ms, bool& goes_on) const {
  goes_on = false;
  if (first_ms - end_ms_ > kSilenceMs) return true;
  if (boot_ != last_boot_) {
    // How long the silence was between two boots is only known when both have a
    // clock.
    if (boot_->clock_guessed || last_boot_->clock_guessed) return true;
    if (!boot_->roles.same_as(last_boot_->roles)) {
      goes_on = true;
      return true;
    }
    const std::uint32_t ecu = pack_ecu_of(*boot_);
    if (ecu != 0 && episode_.pack.ecu != 0 &&
        (ecu != episode_.pack.ecu || calibration_of(*boot_, ecu) != episode_.pack.calibration_id)) {
      goes_on = true;
      return true;
    }
    for (const SeriesSource& source : kSeriesSources) {
      const SignalSeries& series = episode_.*source.series;
      const std::uint32_t answers = ecu_of(*boot_, source);
      if (answers != 0 && series.ecu != 0 &&
          (answers != series.ecu || software_of(*boot_, answers) != series.calibration_id)) {
        goes_on = true;
        return true;
      }
    }
  }
  goes_on = first_ms - start_ms_ > kLongestMs;
  return goes_on;
}

void EpisodeBuilder::open_episode(std::int64_t first_ms, std::int64_t last_ms) {
  open_ = true;
  start_ms_ = first_ms;
  end_ms_ = last_ms;
  episode_.log_id = boot_->log_id;
  episode_.boot_id = boot_->boot_id;
  episode_.start_doubt = doubt_of(*boot_, first_ms);
  joined_doubt_.reset();
  const OwnersRoles& roles = boot_->roles;
  episode_.pack.v_step_v = step_of(roles.of(SignalRole::pack_v), kPackVStep);
  episode_.pack.a_step_a = step_of(roles.of(SignalRole::pack_a), kPackAStep);
  if (const RoleSource* soc = roles.of(SignalRole::soc))
    episode_.soc_step_pct = soc_step_pct_of(soc->definition);
  last_boot_ = boot_;
}

void EpisodeBuilder::add_stretch(std::span<const BlockView> blocks, Tick first, Tick last,
                                 bool whole) {
  std::int64_t first_ms = static_cast<std::int64_t>(first) + boot_->clock_offset_ms;
  const std::int64_t last_ms = static_cast<std::int64_t>(last) + boot_->clock_offset_ms;
  if (first_ms <= covered_ms_) {
    time_overlapped_ = true;
    if (last_ms <= covered_ms_) return;
    first += static_cast<Tick>(covered_ms_ + 1 - first_ms);
    first_ms = covered_ms_ + 1;
    whole = false;
  }
  bool goes_on = false;
  if (open_ && must_split(first_ms, goes_on)) emit(goes_on);
  if (stopped_) return;
  if (!open_) open_episode(first_ms, last_ms);
  if (episode_.pack.ecu == 0 && pack_ecu_of(*boot_) != 0) {
    episode_.pack.ecu = pack_ecu_of(*boot_);
    episode_.pack.calibration_id = calibration_of(*boot_, episode_.pack.ecu);
  }
  for (const SeriesSource& source : kSeriesSources) {
    SignalSeries& series = episode_.*source.series;
    if (series.ecu != 0) continue;
    series.ecu = ecu_of(*boot_, source);
    if (series.ecu != 0) series.calibration_id = software_of(*boot_, series.ecu);
  }
  episode_.clock_guessed = episode_.clock_guessed || boot_->clock_guessed;
  episode_.order_conflict = episode_.order_conflict || boot_->order_conflict;
  if (last_boot_ != boot_) {
    joined_doubt_ =
        wider(joined_doubt_.value_or(episode_.start_doubt), doubt_of(*last_boot_, end_ms_));
    joined_doubt_ = wider(*joined_doubt_, doubt_of(*boot_, first_ms));
  }
  for (const BlockView& block : blocks) {
    std::size_t begin = 0;
    std::size_t end = block.rows;
    if (!whole) {
      const Tick* const ticks = block.tick_ms;
      begin = static_cast<std::size_t>(std::lower_bound(ticks, ticks + end, first) - ticks);
      end = static_cast<std::size_t>(std::upper_bound(ticks + begin, ticks + end, last) - ticks);
    }
    if (begin >= end) continue;
    if (boot_->roles.any())
      add_owners_block(block, begin, end);
    else
      add_block(block, begin, end);
  }
  end_ms_ = std::max(end_ms_, last_ms);
  newest_ms_ = std::max(newest_ms_, last_ms);
  last_boot_ = boot_;
}

void EpisodeBuilder::add_block(const BlockView& block, std::size_t begin, std::size_t end) {
  const SeriesEcus& ecus = boot_->series_ecu;
  std::size_t v = block.signals;
  std::size_t a = block.signals;
  for (std::size_t k = 0; k < block.signals; ++k) {
    switch (block.signal[k]) {
      case signal::pack_v:
        v = k;
        break;
      case signal::pack_a:
        a = k;
        break;
      case signal::speed_kmh:
        if (block.ecu == ecus.speed) add_series(episode_.speed, block, k, begin, end);
        break;
      case signal::soc_pct:
        if (block.ecu == ecus.soc) add_series(episode_.soc, block, k, begin, end);
        break;
      case signal::odometer_km:
        if (block.ecu == ecus.odometer) add_series(episode_.odometer, block, k, begin, end);
        break;
      case signal::ambient_c:
        if (block.ecu == ecus.ambient) add_series(episode_.ambient, block, k, begin, end);
        break;
      case signal::module_v:
        if (block.ecu == ecus.module_v) add_series(episode_.module_v, block, k, begin, end);
        break;
    }
  }
  if (v != block.signals && a != block.signals && block.ecu == ecus.pack)
    add_pack(block, begin, end, v, a);
}

void EpisodeBuilder::add_reported(const OwnersDefinition& definition, const BlockView& block,
                                  std::size_t k, std::size_t begin, std::size_t end) {
  ReportedSeries& series = episode_.reported;
  series.in_kwh = definition.unit == "kWh";
  for (std::size_t row = skip_known(series.time_ms, block, begin, end); row < end; ++row) {
    const double value = value_of(definition, block.raw[k][row]);
    if (!series.value.empty() && series.value.back() == value) continue;
    series.time_ms.push_back(static_cast<std::int64_t>(block.tick_ms[row]) +
                             boot_->clock_offset_ms);
    series.value.push_back(value);
  }
}

// As add_block(), in a boot where owner's signals have the place of some others.
void EpisodeBuilder::add_owners_block(const BlockView& block, std::size_t begin, std::size_t end) {
  const OwnersRoles& roles = boot_->roles;
  const RoleSource* const v = roles.of(SignalRole::pack_v);
  const RoleSource* const a = roles.of(SignalRole::pack_a);
  // Without those that are taken the block is like any other.
  BlockView standard = block;
  standard.signals = 0;
  for (std::size_t k = 0; k < block.signals; ++k) {
    const SignalId id = block.signal[k];
    bool taken = false;
    for (std::size_t role = 0; role < kRoles; ++role)
      taken = taken || (id != signal::none && roles.of(static_cast<SignalRole>(role)) &&
                        standard_signal_of(static_cast<SignalRole>(role)) == id);
    if (taken) continue;
    standard.signal[standard.signals] = id;
    standard.raw[standard.signals++] = block.raw[k];
  }
  add_block(standard, begin, end);

  const auto code_in = [&](const RoleSource& source, std::size_t k) {
    return [&definition = source.definition, words = block.raw[k]](std::size_t row) {
      return code_of(definition, words[row]);
    };
  };
  for (std::size_t k = 0; k < block.signals; ++k) {
    const RoleSource* const source = roles.of(block.signal[k], block.ecu);
    if (source == nullptr) continue;
    const auto add_codes = [&](SignalSeries& series) {
      const auto code = code_in(*source, k);
      for (std::size_t row = skip_known(series.time_ms, block, begin, end); row < end; ++row) {
        const auto known = code(row);
        if (!known) continue;
        series.time_ms.push_back(static_cast<std::int64_t>(block.tick_ms[row]) +
                                 boot_->clock_offset_ms);
        series.raw.push_back(*known);
      }
    };
    switch (source->definition.role) {
      case SignalRole::pack_v:
        add_half(volts_, block, begin, end, code_in(*source, k));
        break;
      case SignalRole::pack_a:
        add_half(amperes_, block, begin, end, code_in(*source, k));
        break;
      case SignalRole::soc:
        add_codes(episode_.soc);
        break;
      case SignalRole::odometer:
        add_codes(episode_.odometer);
        break;
      case SignalRole::speed:
        add_codes(episode_.speed);
        break;
      case SignalRole::none:
      case SignalRole::pack_temp:
      case SignalRole::charger_state:
        break;
      case SignalRole::reported_capacity:
        add_reported(source->definition, block, k, begin, end);
        break;
    }
  }
  // One of the two from the owner, the other as the standard has it.
  if ((v == nullptr) == (a == nullptr) || block.ecu != boot_->series_ecu.pack) return;
  const std::size_t column = block.column_of(v ? signal::pack_a : signal::pack_v);
  if (column == block.signals) return;
  const std::size_t support = block.column_of(signal::pack_support);
  const std::uint32_t needed = v ? kCurrent : kVolt;
  add_half(v ? amperes_ : volts_, block, begin, end,
           [&](std::size_t row) -> std::optional<std::uint32_t> {
             if (support != block.signals && (block.raw[support][row] & needed) == 0)
               return std::nullopt;
             return block.raw[column][row];
           });
}

template <typename Code>
void EpisodeBuilder::add_half(PackHalf& half, const BlockView& block, std::size_t begin,
                              std::size_t end, Code code) {
  for (std::size_t row = skip_known(half.time_ms, block, begin, end); row < end; ++row) {
    const auto known = code(row);
    if (!known) continue;
    half.time_ms.push_back(static_cast<std::int64_t>(block.tick_ms[row]) + boot_->clock_offset_ms);
    half.code.push_back(static_cast<std::uint16_t>(*known));
    half.period_ms.push_back(block.period_ms);
  }
}

void EpisodeBuilder::PackHalf::clear() {
  time_ms.clear();
  code.clear();
  period_ms.clear();
}

void EpisodeBuilder::pair_halves() {
  PackSeries& pack = episode_.pack;
  const auto in_reach = [&](std::size_t i, std::int64_t distance_ms) {
    const std::uint32_t period_ms = volts_.period_ms[i] == 0 ? kBackToBackMs : volts_.period_ms[i];
    return static_cast<double>(distance_ms) <= kGapPeriods * period_ms;
  };
  std::size_t behind = 0;  // the first voltage that is not before the current
  for (std::size_t row = 0; row < amperes_.time_ms.size(); ++row) {
    const std::int64_t now_ms = amperes_.time_ms[row];
    while (behind < volts_.time_ms.size() && volts_.time_ms[behind] < now_ms) ++behind;
    if (behind == volts_.time_ms.size()) break;
    std::uint16_t code = volts_.code[behind];
    if (volts_.time_ms[behind] != now_ms) {
      if (behind == 0) continue;
      const std::size_t before = behind - 1;
      const std::int64_t from_ms = volts_.time_ms[before];
      const std::int64_t to_ms = volts_.time_ms[behind];
      if (!in_reach(before, now_ms - from_ms) || !in_reach(behind, to_ms - now_ms)) continue;
      const double share =
          static_cast<double>(now_ms - from_ms) / static_cast<double>(to_ms - from_ms);
      const double line = volts_.code[before] + share * (code - volts_.code[before]);
      code = static_cast<std::uint16_t>(std::lround(line));
    }
    pack.time_ms.push_back(now_ms);
    pack.v_raw.push_back(code);
    pack.a_raw.push_back(amperes_.code[row]);
    pack.period_ms.push_back(amperes_.period_ms[row]);
  }
  volts_.clear();
  amperes_.clear();
}

// The first row that is later than the series so far.
std::size_t EpisodeBuilder::skip_known(const std::vector<std::int64_t>& time_ms,
                                       const BlockView& block, std::size_t begin,
                                       std::size_t end) const {
  if (time_ms.empty()) return begin;
  const std::int64_t last_ms = time_ms.back() - boot_->clock_offset_ms;
  while (begin < end && static_cast<std::int64_t>(block.tick_ms[begin]) <= last_ms) ++begin;
  return begin;
}

void EpisodeBuilder::add_series(SignalSeries& series, const BlockView& block, std::size_t column,
                                std::size_t begin, std::size_t end) {
  begin = skip_known(series.time_ms, block, begin, end);
  append_times(series.time_ms, block.tick_ms + begin, end - begin, boot_->clock_offset_ms);
  series.raw.insert(series.raw.end(), block.raw[column] + begin, block.raw[column] + end);
}

void EpisodeBuilder::add_pack(const BlockView& block, std::size_t begin, std::size_t end,
                              std::size_t v, std::size_t a) {
  PackSeries& pack = episode_.pack;
  begin = skip_known(pack.time_ms, block, begin, end);
  // Stretches of rows that count; nearly always one.
  const std::size_t support = block.column_of(signal::pack_support);
  const std::uint32_t* bits = support == block.signals ? nullptr : block.raw[support];
  const auto supported = [&](std::size_t row) {
    return !bits || (bits[row] & kVoltAndCurrent) == kVoltAndCurrent;
  };
  while (begin < end) {
    std::size_t until = begin;
    while (until < end && supported(until)) ++until;
    const std::size_t rows = until - begin;
    append_times(pack.time_ms, block.tick_ms + begin, rows, boot_->clock_offset_ms);
    append_words(pack.v_raw, block.raw[v] + begin, rows);
    append_words(pack.a_raw, block.raw[a] + begin, rows);
    pack.period_ms.insert(pack.period_ms.end(), rows, block.period_ms);
    begin = until;
    while (begin < end && !supported(begin)) {
      ++begin;
      ++pack.rows_not_supported;
    }
  }
}

void EpisodeBuilder::emit(bool goes_on) {
  if (!amperes_.time_ms.empty() || !volts_.time_ms.empty()) pair_halves();
  episode_.start = UtcTime{milliseconds(start_ms_)};
  episode_.end = UtcTime{milliseconds(end_ms_)};
  episode_.cut = goes_on;
  episode_.end_doubt = doubt_of(*last_boot_, end_ms_);
  if (joined_doubt_)
    episode_.start_doubt = episode_.end_doubt = wider(*joined_doubt_, episode_.end_doubt);
  open_ = false;
  if (!stopped_ && !visit_(episode_)) stopped_ = true;
  episode_.clear();
}

void EpisodeBuilder::finish() {
  if (open_) emit(false);
}

}  // namespace packmile
