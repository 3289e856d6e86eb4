// Numbers of diagnostic messages that several parts of the van need.
//
// Standard  SAE J1979 for services 01 and 09; ISO 14229-1 for 22 and the negative
//           responses.
#pragma once
#include <cstdint>

namespace packmile::benchvan {

inline constexpr std::uint8_t kCurrentData = 0x01;
inline constexpr std::uint8_t kVehicleInformation = 0x09;
inline constexpr std::uint8_t kReadDataByIdentifier = 0x22;
inline constexpr std::uint8_t kPositive = 0x40;

inline constexpr std::uint8_t kServiceNotSupported = 0x11;
inline constexpr std::uint8_t kSubFunctionNotSupported = 0x12;
inline constexpr std::uint8_t kWrongLength = 0x13;
inline constexpr std::uint8_t kResponseTooLong = 0x14;
inline constexpr std::uint8_t kRequestOutOfRange = 0x31;
inline constexpr std::uint8_t kResponsePending = 0x78;

}  // namespace packmile::benchvan
