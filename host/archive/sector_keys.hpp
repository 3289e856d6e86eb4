// Which sectors are known already: key -> CRC, small and fast.
//
// Bounded   20 bytes a sector at most while the table does not grow; sectors
//           that contradict another one cost more, and do not happen.
// Hostile   the hash is seeded at random, so that a forged card cannot make the
//           table slow; what it holds does not depend on the seed.
#pragma once
#include <cstddef>
#include <cstdint>
#include <set>
#include <utility>
#include <vector>

namespace packmile {

enum class KeyOutcome : std::uint8_t {
  added,    // a new key
  known,    // the same sector
  conflict  // the same key with other bytes; now known as well
};

class SectorKeys {
 public:
  SectorKeys();
  KeyOutcome insert(std::uint32_t boot_id, std::uint32_t sequence, std::uint32_t crc);

 private:
  struct Slot {
    std::uint64_t key;
    std::uint32_t crc;
    std::uint32_t used;
  };
  [[nodiscard]] std::size_t slot_of(std::uint64_t key) const;
  void grow();

  std::uint64_t seed_;
  std::vector<Slot> slots_;
  std::size_t used_ = 0;
  std::set<std::pair<std::uint64_t, std::uint32_t>> contradicting_;
};

}  // namespace packmile
