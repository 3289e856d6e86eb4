// One power-up of the logger's card side on a card that may lie: the real end
// search, then the real append-only writer with made-up samples.
//
// Method    reads are tried three times and then count as unreadable, as class
//           Logger does it. A session record first, then samples; sectors close
//           early, every seventh is filled to the last byte.
// Checks    that the first sequence is behind every sector that the card showed,
//           on a multiple of 32, and that no newer sector is overwritten.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "core/sector_log.hpp"
#include "powercut/lying_card.hpp"
#include "powercut/recorded.hpp"

namespace packmile::powercut {

inline constexpr std::uint32_t kSmallLogId = 0x5EA51DE5;

// A prepared card: settings in sector 0, the rest blank.
void prepare(LyingCard& card, std::uint32_t ring_sectors, std::uint32_t log_id = kSmallLogId);

class SmallBoot {
 public:
  // `recorded` gets every sector that is handed to the card. Samples begin at
  // `first_tick`.
  SmallBoot(LyingCard& card, std::uint32_t ring_sectors, std::uint32_t log_id,
            std::uint32_t boot_id, std::uint64_t seed, Recorded& recorded, Tally& tally,
            std::string name, Tick first_tick = 4'000);

  // False: the power went.
  [[nodiscard]] bool find_end();
  [[nodiscard]] bool write_sectors(std::uint32_t sectors);
  [[nodiscard]] std::uint32_t written() const { return written_; }

 private:
  [[nodiscard]] bool add_response();
  [[nodiscard]] bool write_out();
  void watch(std::uint32_t address, std::uint32_t sequence);

  LyingCard& card_;
  std::uint32_t ring_sectors_;
  std::uint32_t log_id_;
  std::uint32_t boot_id_;
  Random random_;
  Recorded& recorded_;
  Tally& tally_;
  std::string name_;
  Tick tick_;
  SectorLog log_;
  std::vector<Sample> open_;    // in the sector being filled
  std::vector<Sample> sealed_;  // in the sector being written
  std::uint32_t written_ = 0;
  std::uint32_t filled_ = 0;
};

}  // namespace packmile::powercut
