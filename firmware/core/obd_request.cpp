#include "core/obd_request.hpp"

namespace packmile {
namespace {

CanFrame request(std::uint32_t id, bool extended, std::uint8_t service,
                 std::span<const std::uint8_t> parameters) {
  CanFrame frame;
  frame.id = id;
  frame.extended = extended;
  frame.length = 8;
  frame.data.fill(kCanPadding);
  frame.data[0] = static_cast<std::uint8_t>(1 + parameters.size());
  frame.data[1] = service;
  for (std::size_t i = 0; i < parameters.size(); ++i) frame.data[2 + i] = parameters[i];
  return frame;
}

}  // namespace

std::optional<CanFrame> current_data_request(std::uint32_t id, bool extended,
                                             std::span<const std::uint8_t> pids) {
  if (pids.empty() || pids.size() > kMaxRequestPids) return std::nullopt;
  return request(id, extended, kServiceCurrentData, pids);
}

CanFrame vehicle_information_request(std::uint32_t id, bool extended, std::uint8_t type) {
  return request(id, extended, kServiceVehicleInformation, std::span(&type, 1));
}

CanFrame read_by_id_request(std::uint32_t id, bool extended, std::uint16_t did) {
  const std::array<std::uint8_t, 2> bytes{static_cast<std::uint8_t>(did >> 8),
                                          static_cast<std::uint8_t>(did)};
  return request(id, extended, kServiceReadById, bytes);
}

std::optional<CanFrame> obd_dids_request(std::uint32_t id, bool extended,
                                         std::span<const std::uint8_t> pids) {
  if (pids.empty() || pids.size() > kMaxRequestDids) return std::nullopt;
  std::array<std::uint8_t, 2 * kMaxRequestDids> bytes{};
  std::size_t n = 0;
  for (const std::uint8_t pid : pids) {
    bytes[n++] = kObdDid >> 8;
    bytes[n++] = pid;
  }
  return request(id, extended, kServiceReadById, std::span(bytes).first(n));
}

}  // namespace packmile
