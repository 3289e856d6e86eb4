// What discovery found out about one van: its ECUs and what they answer.
//
// Bounded   kMaxEcus ECUs; further ones are not kept.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "core/supported_pids.hpp"

namespace packmile {

inline constexpr std::size_t kMaxEcus = 8;  // ISO 15765-4, 11-bit ids

// Text of at most N characters, kept in place.
template <std::size_t N>
struct FixedText {
  std::array<char, N> chars{};
  std::uint8_t size = 0;

  [[nodiscard]] std::string_view view() const { return {chars.data(), size}; }
  [[nodiscard]] bool empty() const { return size == 0; }
  void append(char c) {
    if (size < N) chars[size++] = c;
  }
  bool operator==(const FixedText&) const = default;
};

struct VanEcu {
  std::uint32_t response_id = 0;  // 7E8..7EF, or 18DAF1xx when extended
  std::uint32_t request_id = 0;   // its physical request id
  bool extended = false;
  SupportedPids pids;  // of service 01
  SupportedPids dids;  // the same by service 22, as F400 + PID
  // Answered to an identifier, its own or one that the owner lists.
  bool by_id = false;
  FixedText<20> name;            // printable ASCII; empty: not answered
  FixedText<16> calibration_id;  // the first one, printable ASCII; empty: not answered

  bool operator==(const VanEcu&) const = default;
};

struct VanMap {
  std::array<VanEcu, kMaxEcus> ecu{};  // by ascending response id
  std::uint8_t ecu_count = 0;
  FixedText<17> vin;  // as the van said it, without padding; empty: never read

  [[nodiscard]] std::span<const VanEcu> ecus() const {
    return std::span<const VanEcu>(ecu).first(ecu_count);
  }
  // nullptr: none with this response id.
  [[nodiscard]] const VanEcu* find(std::uint32_t response_id) const {
    for (const VanEcu& one : ecus())
      if (one.response_id == response_id) return &one;
    return nullptr;
  }
  [[nodiscard]] VanEcu* find(std::uint32_t response_id) {
    for (VanEcu& one : std::span<VanEcu>(ecu).first(ecu_count))
      if (one.response_id == response_id) return &one;
    return nullptr;
  }
  bool operator==(const VanMap&) const = default;
};

}  // namespace packmile
