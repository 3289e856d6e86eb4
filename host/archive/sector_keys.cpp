#include "archive/sector_keys.hpp"

#include <random>

namespace packmile {
namespace {

constexpr std::size_t kFirstSlots = 1024;

// Finalizer of splitmix64 (Steele, Lea, Flood 2014; constants from memory).
std::uint64_t mix(std::uint64_t x) {
  x = (x ^ x >> 30) * 0xBF58476D1CE4E5B9u;
  x = (x ^ x >> 27) * 0x94D049BB133111EBu;
  return x ^ x >> 31;
}

}  // namespace

SectorKeys::SectorKeys()
    : seed_(std::uint64_t{std::random_device{}()} << 32 | std::random_device{}()),
      slots_(kFirstSlots) {}

std::size_t SectorKeys::slot_of(std::uint64_t key) const {
  std::size_t at = static_cast<std::size_t>(mix(key ^ seed_)) & (slots_.size() - 1);
  while (slots_[at].used != 0 && slots_[at].key != key) at = (at + 1) & (slots_.size() - 1);
  return at;
}

void SectorKeys::grow() {
  std::vector<Slot> old(slots_.size() * 2);
  old.swap(slots_);
  for (const Slot& slot : old)
    if (slot.used != 0) slots_[slot_of(slot.key)] = slot;
}

KeyOutcome SectorKeys::insert(std::uint32_t boot_id, std::uint32_t sequence, std::uint32_t crc) {
  const std::uint64_t key = std::uint64_t{boot_id} << 32 | sequence;
  Slot& slot = slots_[slot_of(key)];
  if (slot.used == 0) {
    slot = {key, crc, 1};
    if (++used_ * 10 > slots_.size() * 8) grow();
    return KeyOutcome::added;
  }
  if (slot.crc == crc || contradicting_.contains({key, crc})) return KeyOutcome::known;
  contradicting_.insert({key, crc});
  return KeyOutcome::conflict;
}

}  // namespace packmile
