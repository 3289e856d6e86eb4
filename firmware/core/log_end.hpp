// Finds the end of the log: the newest sector in a ring that may hold damaged
// sectors, sectors that a card acknowledged and never wrote, and the 31 stale
// ones that each boot leaves by starting on a multiple of 32.
//
// Method    skip what cannot be read, bisect on the lap, then look ahead over a
//           window; a newer sector in the window starts the bisection again.
//           Where no good sector was met and the ring is not blank either, it is
//           read from its beginning, where every log begins, until a window of
//           never written places; where a made-up ring leads the search in
//           circles, every sector is read.
// Bounded   about 150 reads of a ring of 2^19 sectors, 128 of them ahead, and as
//           many again on a damaged empty one; never more than three of every
//           sector and 1024 more.
// Sound     the sector found is the newest as long as no `window` sectors that
//           are damaged or stale lie in a row (FORMAT.md; exhaustive test).
// Pure      asks for one sector at a time; no heap, no I/O.
//
//   state      what was read              next
//   first      unreadable                 first, one further; past the ring: done
//   first      ours or never written      bisect
//   bisect     unreadable                 bisect, one further; up to hi: hi = mid
//   bisect     lap not below lo's         lo = it; interval of 1: ahead
//   bisect     lap below lo's             hi = mid; interval of 1: ahead
//   ahead      ours, newer than lo        bisect with lo = it, hi = ring
//   ahead      anything else              ahead, one further; window over: done,
//                                         or sweep when nothing good was seen
//   sweep      ours, newer than lo        lo = it; sweep, one further
//   sweep      anything else              sweep, one further; past the ring, or
//                                         no log begun and the window over: done
//   any but sweep, more reads than two of every sector and 1024: sweep
#pragma once
#include <cstdint>
#include <optional>
#include <span>

#include "sector/sector.hpp"

namespace packmile {

// How far the search looks beyond the end that bisection gave: four boots in a
// row that left 31 stale sectors each.
inline constexpr std::uint32_t kLogEndWindow = 128;

enum class RingPlace : std::uint8_t {
  ours,           // good, of this log and ring, and in its own place
  never_written,  // blank, or good but left by an older log: older than any of ours
  unreadable      // damaged, misplaced, or the card did not read it
};

struct RingSector {
  RingPlace place = RingPlace::unreadable;
  std::uint32_t sequence = 0;  // set when ours
};

// Judges the sector read at place `index` of the ring, 0 .. ring_sectors - 1.
// Without a log id the first good sector gives it.
[[nodiscard]] RingSector judge_ring_sector(std::span<const std::uint8_t, kSectorBytes> sector,
                                           std::uint32_t index, std::uint32_t ring_sectors,
                                           std::optional<std::uint32_t>& log_id);

class LogEndSearch {
 public:
  LogEndSearch() = default;
  explicit LogEndSearch(std::uint32_t ring_sectors, std::uint32_t window = kLogEndWindow);

  // Place in the ring to read next; none: finished.
  [[nodiscard]] std::optional<std::uint32_t> wanted() const;
  // What stands at wanted(). Not asked for: changes nothing.
  void on_sector(const RingSector& sector);

  [[nodiscard]] bool finished() const { return state_ == State::done; }
  // Sequence of the newest sector; none while unfinished, and when the ring
  // holds no good sector.
  [[nodiscard]] std::optional<std::uint32_t> newest_sequence() const;
  [[nodiscard]] std::uint32_t reads() const { return reads_; }

 private:
  enum class State : std::uint8_t { first, bisect, ahead, sweep, done };

  void bisect();
  void start_ahead();
  void finish_or_sweep();
  void start_sweep(bool whole);
  [[nodiscard]] bool newer_than_lo(const RingSector& sector) const;
  [[nodiscard]] std::int64_t lap_of(const RingSector& sector) const;
  [[nodiscard]] std::uint32_t place_ahead() const;

  std::uint32_t ring_ = 0;
  std::uint32_t window_ = 0;
  std::uint32_t lo_ = 0;
  std::uint32_t hi_ = 0;
  std::uint32_t mid_ = 0;
  std::uint32_t at_ = 0;     // the sector asked for
  std::uint32_t ahead_ = 0;  // 1 .. window
  std::uint32_t reads_ = 0;
  RingSector lo_sector_{};
  State state_ = State::done;
  std::uint32_t never_written_ = 0;  // places in the sweep since one of ours
  bool saw_unreadable_ = false;
  bool sweep_whole_ = false;
};

}  // namespace packmile
