// Builds requests of services 01, 09 and 22 as CAN frames.
//
// Standard  SAE J1979 on CAN, ISO 14229-1: one single frame, DLC 8. The padding
//           value is not significant; CC is common practice.
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
// The same for service 22.
inline constexpr std::size_t kMaxRequestDids = 3;
inline constexpr std::uint8_t kCanPadding = 0xCC;

inline constexpr std::uint8_t kServiceCurrentData = 0x01;
inline constexpr std::uint8_t kServiceVehicleInformation = 0x09;
inline constexpr std::uint8_t kServiceReadById = 0x22;
// A positive response starts with the service plus this.
inline constexpr std::uint8_t kPositiveResponse = 0x40;

inline constexpr std::uint16_t kVinDid = 0xF190;  // ISO 14229-1
// A PID by service 22: this plus the PID (ISO 14229-1, OBD data identifiers).
inline constexpr std::uint16_t kObdDid = 0xF400;

namespace info_type {
enum : std::uint8_t { supported = 0x00, vin = 0x02, calibration_ids = 0x04, ecu_name = 0x0A };
}

// None: no PID, or more than kMaxRequestPids.
[[nodiscard]] std::optional<CanFrame> current_data_request(std::uint32_t id, bool extended,
                                                           std::span<const std::uint8_t> pids);
[[nodiscard]] CanFrame vehicle_information_request(std::uint32_t id, bool extended,
                                                   std::uint8_t type);
[[nodiscard]] CanFrame read_by_id_request(std::uint32_t id, bool extended, std::uint16_t did);
// None: no PID, or more than kMaxRequestDids.
[[nodiscard]] std::optional<CanFrame> obd_dids_request(std::uint32_t id, bool extended,
                                                       std::span<const std::uint8_t> pids);

}  // namespace packmile
