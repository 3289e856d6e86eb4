#include "core/negative_response.hpp"

namespace packmile {

std::optional<NegativeResponse> parse_negative_response(std::span<const std::uint8_t> message) {
  if (message.size() != 3 || message[0] != 0x7F) return std::nullopt;
  return NegativeResponse{message[1], message[2], action_of(message[2])};
}

NegativeAction action_of(std::uint8_t code) {
  switch (code) {
    case 0x11:
      return NegativeAction::service_unsupported;
    case 0x12:  // sub-function not supported
    case 0x31:  // request out of range
    case 0x33:  // security access denied
    case 0x7E:  // sub-function not supported in active session
    case 0x7F:  // service not supported in active session
      return NegativeAction::item_unsupported;
    case 0x13:
      return NegativeAction::our_mistake;
    case 0x14:
      return NegativeAction::ask_fewer;
    case 0x21:
      return NegativeAction::retry;
    case 0x22:
      return NegativeAction::retry_slowly;
    case 0x78:
      return NegativeAction::keep_waiting;
  }
  return NegativeAction::back_off;
}

}  // namespace packmile
