// How often the logger was reset lately, and how often it looked for a van in
// vain, as its own card tells: a logger that is reset again and again must not ask
// a van again and again.
//
// Input     sectors of the ring, from the newest backwards.
// Rule      the two boots before this one were both cut short, and together they
//           lasted less than kResetWindowMs: this is the third reset in that
//           time. How long the power was off in between is not known; taken as
//           nothing, which errs on the van's side.
// Pure      asks for one sector at a time; no heap, no I/O.
// Bounded   about 40 reads.
//
//   state   what was read                           next
//   newest  cut short, younger than the window      base
//   newest  anything else                           done: not too often
//   base    of the same boot, at a multiple of 32   base, 32 sectors back
//   base    anything else                           back, from there on
//   back    newest sector of the boot before        done
//   back    anything else                           back, one further; 32 of them: done
#pragma once
#include <cstdint>
#include <optional>
#include <span>

#include "sector/sector.hpp"
#include "tick.hpp"

namespace packmile {

inline constexpr Tick kResetWindowMs = 10ull * 60'000;
// So long a logger that is reset too often only listens.
inline constexpr Tick kListenOnlyMs = 60ull * 60'000;

class BootHistory {
 public:
  BootHistory() = default;
  // `newest_sequence`: of the newest sector of the log; none: an empty log.
  BootHistory(std::uint32_t log_id, std::uint32_t ring_sectors,
              std::optional<std::uint32_t> newest_sequence);

  // Place in the ring to read next; none: finished.
  [[nodiscard]] std::optional<std::uint32_t> wanted() const;
  void on_sector(std::span<const std::uint8_t, kSectorBytes> sector);
  void on_unreadable();

  // Valid when finished.
  [[nodiscard]] bool reset_too_often() const { return too_often_; }
  // As the newest sector tells.
  [[nodiscard]] std::uint32_t not_found_in_row() const { return not_found_in_row_; }

 private:
  enum class State : std::uint8_t { newest, base, back, done };
  struct Seen {
    std::uint32_t boot_id = 0;
    Tick lasted_ms = 0;  // at least: tick of the sector's record
    std::uint32_t not_found_in_row = 0;
    bool clean_stop = false;
  };

  void on_seen(const std::optional<Seen>& seen);
  void go_back(std::uint32_t below);
  [[nodiscard]] std::optional<Seen> read(std::span<const std::uint8_t, kSectorBytes> sector) const;

  std::uint32_t log_id_ = 0;
  std::uint32_t ring_ = 0;
  std::uint32_t at_ = 0;     // sequence asked for
  std::uint32_t steps_ = 0;  // in this state
  std::uint32_t boot_id_ = 0;
  std::uint32_t not_found_in_row_ = 0;
  Tick lasted_ms_ = 0;
  State state_ = State::done;
  bool too_often_ = false;
};

}  // namespace packmile
