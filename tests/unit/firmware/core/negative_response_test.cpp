#include "core/negative_response.hpp"

#include <doctest/doctest.h>

#include <map>

#include "bus_bytes.hpp"

namespace packmile {

using test::Bytes;

// Source: codes of ISO 14229-1 as in Wireshark packet-uds.c; what to do about
// them is ours.
TEST_CASE("negative response: every code has its action") {
  const std::map<int, NegativeAction> named{{0x11, NegativeAction::service_unsupported},
                                            {0x12, NegativeAction::item_unsupported},
                                            {0x13, NegativeAction::our_mistake},
                                            {0x14, NegativeAction::ask_fewer},
                                            {0x21, NegativeAction::retry},
                                            {0x22, NegativeAction::retry_slowly},
                                            {0x31, NegativeAction::item_unsupported},
                                            {0x33, NegativeAction::item_unsupported},
                                            {0x78, NegativeAction::keep_waiting},
                                            {0x7E, NegativeAction::item_unsupported},
                                            {0x7F, NegativeAction::item_unsupported}};
  for (int code = 0; code <= 0xFF; ++code) {
    CAPTURE(code);
    const auto found = named.find(code);
    const NegativeAction expected = found == named.end() ? NegativeAction::back_off : found->second;
    const auto response =
        parse_negative_response(Bytes{0x7F, 0x09, static_cast<std::uint8_t>(code)});
    REQUIRE(response.has_value());
    CHECK(response->service == 0x09);
    CHECK(response->code == code);
    CHECK(response->action == expected);
  }
}

TEST_CASE("negative response: three bytes that begin with 7F, nothing else") {
  for (const Bytes& message :
       {Bytes{}, Bytes{0x7F}, Bytes{0x7F, 0x01}, Bytes{0x7F, 1, 0x12, 0}, Bytes{0x41, 0x0D, 0x12}})
    CHECK_FALSE(parse_negative_response(message).has_value());
}

}  // namespace packmile
