#include "core/supported_pids.hpp"

namespace packmile {
namespace {

constexpr std::size_t range_of_base(std::uint8_t base) { return base >> 5; }

}  // namespace

bool SupportedPids::set(std::uint8_t base, std::span<const std::uint8_t> bitmap) {
  if (!is_bitmap_pid(base) || bitmap.size() != 4) return false;
  std::uint32_t word = 0;
  for (const std::uint8_t byte : bitmap) word = word << 8 | byte;
  bits_[range_of_base(base)] = word;
  answered_ = static_cast<std::uint8_t>(answered_ | 1u << range_of_base(base));
  return true;
}

bool SupportedPids::has(std::uint8_t pid) const {
  if (pid == 0) return answered(0);
  const unsigned index = pid - 1u;
  return (bits_[index >> 5] >> (31 - (index & 31)) & 1) != 0;
}

bool SupportedPids::answered(std::uint8_t base) const {
  return is_bitmap_pid(base) && (answered_ >> range_of_base(base) & 1) != 0;
}

std::optional<std::uint8_t> SupportedPids::next_base() const {
  for (unsigned base = 0; base <= 0xE0; base += 0x20) {
    const auto pid = static_cast<std::uint8_t>(base);
    if (answered(pid)) continue;
    if (base != 0 && !has(pid)) return std::nullopt;
    return pid;
  }
  return std::nullopt;
}

std::size_t SupportedPids::ranges() const {
  std::size_t count = 0;
  for (std::size_t range = 0; range < kPidRanges; ++range)
    if ((answered_ >> range & 1) != 0) count = range + 1;
  return count;
}

std::uint32_t SupportedPids::bitmap(std::size_t range) const {
  return range < kPidRanges ? bits_[range] : 0;
}

}  // namespace packmile
