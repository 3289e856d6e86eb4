#include "core/log_end.hpp"

namespace packmile {
namespace {

// No real ring comes near two reads of every sector; small rings may.
constexpr std::uint32_t kReadsBeyondRing = 1024;

}  // namespace

RingSector judge_ring_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                             std::uint32_t index, std::uint32_t ring_sectors,
                             std::optional<std::uint32_t>& log_id) {
  SectorHeader header;
  switch (read_sector(sector, header)) {
    case SectorVerdict::good:
      break;
    case SectorVerdict::blank:
      return {.place = RingPlace::never_written};
    case SectorVerdict::damaged:
    case SectorVerdict::foreign:
    case SectorVerdict::newer:
      return {.place = RingPlace::unreadable};
  }
  if (header.ring_sectors != ring_sectors || header.sequence % ring_sectors != index ||
      header.kind == SectorKind::settings)
    return {.place = RingPlace::unreadable};
  if (!log_id) log_id = header.log_id;
  // The card was prepared anew over an older log: where that one still shows,
  // ours has not been.
  if (header.log_id != *log_id) return {.place = RingPlace::never_written};
  return {.place = RingPlace::ours, .sequence = header.sequence};
}

LogEndSearch::LogEndSearch(std::uint32_t ring_sectors, std::uint32_t window)
    : ring_(ring_sectors),
      window_(window),
      hi_(ring_sectors),
      state_(ring_sectors == 0 ? State::done : State::first) {}

std::optional<std::uint32_t> LogEndSearch::wanted() const {
  if (state_ == State::done) return std::nullopt;
  return at_;
}

std::optional<std::uint32_t> LogEndSearch::newest_sequence() const {
  if (state_ != State::done || lo_sector_.place != RingPlace::ours) return std::nullopt;
  return lo_sector_.sequence;
}

std::int64_t LogEndSearch::lap_of(const RingSector& sector) const {
  return sector.place == RingPlace::ours ? static_cast<std::int64_t>(sector.sequence / ring_) : -1;
}

// lo_ and ahead_ are below ring_; their sum need not fit into 32 bits.
std::uint32_t LogEndSearch::place_ahead() const {
  const std::uint32_t to_the_end = ring_ - lo_;
  return ahead_ < to_the_end ? lo_ + ahead_ : ahead_ - to_the_end;
}

void LogEndSearch::bisect() {
  state_ = State::bisect;
  if (hi_ - lo_ <= 1) {
    start_ahead();
    return;
  }
  mid_ = lo_ + (hi_ - lo_) / 2;
  at_ = mid_;
}

void LogEndSearch::start_ahead() {
  state_ = State::ahead;
  ahead_ = 1;
  if (ahead_ > window_ || ring_ == 1) {
    finish_or_sweep();
    return;
  }
  at_ = place_ahead();
}

void LogEndSearch::finish_or_sweep() {
  if (lo_sector_.place != RingPlace::ours && saw_unreadable_) {
    start_sweep(false);
  } else {
    state_ = State::done;
  }
}

void LogEndSearch::start_sweep(bool whole) {
  state_ = State::sweep;
  sweep_whole_ = whole;
  at_ = 0;
}

bool LogEndSearch::newer_than_lo(const RingSector& sector) const {
  return sector.place == RingPlace::ours &&
         (lo_sector_.place != RingPlace::ours || sector.sequence > lo_sector_.sequence);
}

void LogEndSearch::on_sector(const RingSector& sector) {
  if (state_ == State::done) return;
  ++reads_;
  const bool readable = sector.place != RingPlace::unreadable;
  if (!readable) saw_unreadable_ = true;
  switch (state_) {
    case State::first:
      if (readable) {
        lo_ = at_;
        lo_sector_ = sector;
        bisect();
      } else if (++at_ == ring_) {
        state_ = State::done;  // every sector was read, none is good
      }
      break;
    case State::bisect:
      if (!readable) {
        if (++at_ == hi_) {
          hi_ = mid_;
          bisect();
        }
        break;
      }
      if (lap_of(sector) >= lap_of(lo_sector_)) {
        lo_ = at_;
        lo_sector_ = sector;
      } else {
        hi_ = mid_;
      }
      bisect();
      break;
    case State::ahead:
      if (newer_than_lo(sector)) {
        lo_ = at_;
        lo_sector_ = sector;
        hi_ = ring_;
        bisect();
      } else if (++ahead_ > window_ || ahead_ >= ring_) {
        finish_or_sweep();
      } else {
        at_ = place_ahead();
      }
      break;
    case State::sweep:
      if (newer_than_lo(sector)) {
        lo_ = at_;
        lo_sector_ = sector;
      }
      // A log begins at place 0 and leaves no window of places out. What cannot be
      // read says nothing: the beginning may be destroyed.
      if (sector.place == RingPlace::ours)
        never_written_ = 0;
      else if (readable)
        ++never_written_;
      if (++at_ == ring_ || (!sweep_whole_ && never_written_ >= window_)) state_ = State::done;
      return;
    case State::done:
      return;
  }
  if (state_ != State::done && state_ != State::sweep &&
      reads_ > 2 * static_cast<std::uint64_t>(ring_) + kReadsBeyondRing)
    start_sweep(true);
}

}  // namespace packmile
