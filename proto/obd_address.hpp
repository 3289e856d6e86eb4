// CAN ids of diagnostic requests and responses.
//
// Standard  ISO 15765-4: 7DF / 7E0..7E7 / 7E8..7EF with 11 bits, 18DB33F1 /
//           18DAxxF1 / 18DAF1xx with 29 bits. Tester address F1.
// Terms     functional: to all ECUs; physical: to one.
#pragma once
#include <cstdint>
#include <optional>

namespace packmile {

inline constexpr std::uint32_t kFunctionalId11 = 0x7DF;
inline constexpr std::uint32_t kFunctionalId29 = 0x18DB33F1;

inline constexpr std::uint32_t kFirstRequestId11 = 0x7E0;
inline constexpr std::uint32_t kFirstResponseId11 = 0x7E8;
inline constexpr std::uint32_t kEcusWith11Bits = 8;
inline constexpr std::uint32_t kTesterAddress = 0xF1;

[[nodiscard]] constexpr std::uint32_t functional_id(bool extended) {
  return extended ? kFunctionalId29 : kFunctionalId11;
}

// Address of the ECU that a physical request id goes to: 0..7 with 11 bits,
// 0..FF with 29 bits. None: not a physical request id. The tester's own
// address is none: its request and its response would share one id.
[[nodiscard]] constexpr std::optional<std::uint8_t> ecu_of_request_id(std::uint32_t id,
                                                                      bool extended) {
  if (!extended) {
    if (id < kFirstRequestId11 || id >= kFirstRequestId11 + kEcusWith11Bits) return std::nullopt;
    return static_cast<std::uint8_t>(id - kFirstRequestId11);
  }
  if ((id & 0xFFFF00FF) != 0x18DA00F1) return std::nullopt;
  const std::uint32_t ecu = id >> 8 & 0xFF;
  if (ecu == kTesterAddress) return std::nullopt;
  return static_cast<std::uint8_t>(ecu);
}

// The physical request id of the ECU that answers with `response_id`; flow
// control goes there too. None: not a response id.
[[nodiscard]] constexpr std::optional<std::uint32_t> request_id_of(std::uint32_t response_id,
                                                                   bool extended) {
  if (!extended) {
    if (response_id < kFirstResponseId11 || response_id >= kFirstResponseId11 + kEcusWith11Bits)
      return std::nullopt;
    return response_id - (kFirstResponseId11 - kFirstRequestId11);
  }
  if ((response_id & 0xFFFFFF00) != 0x18DAF100) return std::nullopt;
  const std::uint32_t ecu = response_id & 0xFF;
  if (ecu == kTesterAddress) return std::nullopt;
  return 0x18DA00F1 | ecu << 8;
}

[[nodiscard]] constexpr bool is_extended_id(std::uint32_t id) { return id > 0x7FF; }

// The id that answers come on; `request_id` must be a physical request id.
[[nodiscard]] constexpr std::uint32_t response_id_of(std::uint32_t request_id, bool extended) {
  if (!extended) return request_id + (kFirstResponseId11 - kFirstRequestId11);
  return 0x18DAF100 | (request_id >> 8 & 0xFF);
}

}  // namespace packmile
