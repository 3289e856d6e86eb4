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

}  // namespace packmile
