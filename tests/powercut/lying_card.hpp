// A card that lies, for the real core: what a memory card may do to a log when
// the power goes, and between times.
//
// Input     reads and writes by address, as a port does them.
// Output    answers, and the bytes that are left after a cut.
// Bounded   one image in memory; a queue of a few writes.
// Method    accepted writes wait in a queue and answer reads; what leaves the
//           queue is on the card for good. At a cut each one still waiting is
//           written, lost, torn at any byte, or replaced by noise. Everything is
//           drawn from one seeded generator: the same seed, the same card.
#pragma once
#include <array>
#include <cstdint>
#include <random>
#include <span>
#include <vector>

#include "sector/sector.hpp"

namespace packmile::powercut {

using Sector = std::array<std::uint8_t, kSectorBytes>;
using Random = std::mt19937_64;

// Below `bound`, which is not 0. Not std::uniform_int_distribution: its numbers
// differ between libraries, and a printed seed should tell the same everywhere.
[[nodiscard]] inline std::uint32_t draw(Random& random, std::uint32_t bound) {
  return static_cast<std::uint32_t>((random() >> 32) * bound >> 32);
}

enum class Fate : std::uint8_t { written, lost, torn, noise };
// What stands behind the byte at which a write was torn.
enum class Rest : std::uint8_t { old_bytes, erased, noise };

struct WriteFate {
  Fate fate = Fate::written;
  std::uint32_t torn_at_byte = 0;  // 0..512: so many new bytes came
  Rest rest = Rest::old_bytes;
};
[[nodiscard]] WriteFate draw_fate(Random& random);

// How a card lies while it has power. Shares are per mille.
struct CardLies {
  std::uint32_t queued_writes = 0;  // accepted, answered and not yet safe, at most
  bool out_of_order = false;        // any of them may be done first
  std::uint32_t silent_no_op = 0;   // of the writes: answered, never done
  std::uint32_t refused = 0;        // of the writes: answered with an error, not done
  // Of the places, drawn anew at each power-up.
  std::uint32_t unreadable = 0;
  std::uint32_t old_data = 0;  // a read gives what stood there before
};

// Flash is programmed in pages: what a cut may take beside the write in hand.
inline constexpr std::uint32_t kPageSectors = 32;

class LyingCard {
 public:
  LyingCard(std::uint32_t sectors, std::uint64_t seed);

  enum class Answer : std::uint8_t { done, failed, no_power };
  [[nodiscard]] Answer read(std::uint32_t address, Sector& out);
  [[nodiscard]] Answer write(std::uint32_t address, std::span<const std::uint8_t, kSectorBytes> in);

  void power_up(const CardLies& lies);
  // The write after so many more is accepted and never answered.
  void cut_after(std::uint32_t writes) { writes_until_cut_ = writes; }
  // Ends the power: whatever waits meets its fate.
  void cut();
  void cut(std::span<const WriteFate> fates);  // in the order of the queue
  // A page damaged as a whole: noise, erased, or every other sector lost.
  enum class PageDamage : std::uint8_t { noise, erased, every_other };
  void damage_page(std::uint32_t address, PageDamage damage);

  [[nodiscard]] std::vector<std::uint8_t>& image() { return image_; }
  [[nodiscard]] std::span<std::uint8_t, kSectorBytes> sector(std::uint32_t address);
  [[nodiscard]] std::size_t waiting() const { return queue_.size(); }
  // Did a read of this place lie since the power came?
  [[nodiscard]] bool lied_about(std::uint32_t address) const { return lied_[address] != 0; }

 private:
  struct Waiting {
    std::uint32_t address = 0;
    Sector bytes{};
  };
  void do_one();
  void put(std::uint32_t address, std::span<const std::uint8_t, kSectorBytes> bytes);
  void meet_fate(const Waiting& write, const WriteFate& fate);

  std::vector<std::uint8_t> image_;
  std::vector<std::uint8_t> before_;  // what stood at each place before the last write
  std::vector<std::uint8_t> lied_;
  std::vector<Waiting> queue_;
  CardLies lies_;
  Random random_;
  std::uint32_t writes_until_cut_ = 0xFFFFFFFF;
  bool power_ = false;
};

}  // namespace packmile::powercut
