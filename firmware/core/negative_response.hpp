// Negative responses: what a reader that must not insist does about each.
//
// Standard  ISO 14229-1 negative response codes; 7F SID NRC, three bytes.
#pragma once
#include <cstdint>
#include <optional>
#include <span>

namespace packmile {

enum class NegativeAction : std::uint8_t {
  back_off,             // 10, and every code not named here: drop the request, ask seldom
  service_unsupported,  // 11: never ask this service of this ECU again
  item_unsupported,     // 12 31 33 7E 7F: never ask this item again; never unlock, and
                        // never change session, to get it after all
  our_mistake,          // 13: wrong length or format
  ask_fewer,            // 14: the response would be too long
  retry,                // 21: busy
  retry_slowly,         // 22: conditions not correct
  keep_waiting,         // 78: the response comes later, within kPendingMs
};

struct NegativeResponse {
  std::uint8_t service = 0;  // as requested, 01 and not 41
  std::uint8_t code = 0;
  NegativeAction action = NegativeAction::back_off;
};

// Longest wait after "response pending": P2* of 5000 ms (ISO 15765-3) and line
// time; common practice for clients.
inline constexpr std::uint32_t kPendingMs = 5500;
// So many in a row are believed. Common practice, no source.
inline constexpr std::uint32_t kMaxPendingInARow = 10;

// None: not a negative response. It must still be matched to a request by ECU
// and service: one to an older request can come late.
[[nodiscard]] std::optional<NegativeResponse> parse_negative_response(
    std::span<const std::uint8_t> message);
[[nodiscard]] NegativeAction action_of(std::uint8_t code);

}  // namespace packmile
