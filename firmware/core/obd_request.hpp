// Builds requests of services 01 and 09 as CAN frames.
//
// Standard  SAE J1979 on CAN: one single frame, DLC 8. The padding value is not
//           significant; CC is common practice.
// Output    frames for the transmit gate, which checks them again by itself.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/can_frame.hpp"

namespace packmile {

// SAE J1979 on CAN: SID and six PIDs fill a single frame.
inline constexpr std::size_t kMaxRequestPids = 6;
inline constexpr std::uint8_t kCanPadding = 0xCC;

inline constexpr std::uint8_t kServiceCurrentData = 0x01;
inline constexpr std::uint8_t kServiceVehicleInformation = 0x09;
// A positive response starts with the service plus this.
inline constexpr std::uint8_t kPositiveResponse = 0x40;

namespace info_type {
enum : std::uint8_t { supported = 0x00, vin = 0x02, calibration_ids = 0x04, ecu_name = 0x0A };
}

// None: no PID, or more than kMaxRequestPids.
[[nodiscard]] std::optional<CanFrame> current_data_request(std::uint32_t id, bool extended,
                                                           std::span<const std::uint8_t> pids);
[[nodiscard]] CanFrame vehicle_information_request(std::uint32_t id, bool extended,
                                                   std::uint8_t type);

}  // namespace packmile
