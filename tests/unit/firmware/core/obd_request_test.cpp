#include "core/obd_request.hpp"

#include <doctest/doctest.h>

#include "bus_bytes.hpp"
#include "obd_address.hpp"

namespace packmile {

using test::Bytes;
using test::frame_of;

// Source: ISO 15765-2 single frames as read by tshark 4.0.17 and scapy 2.5.0.
TEST_CASE("obd request: one to six PIDs, one info type, padded to eight bytes") {
  const Bytes one{0x0D};
  CHECK(*current_data_request(0x7DF, false, one) ==
        frame_of(0x7DF, false, {0x02, 0x01, 0x0D, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}));
  const Bytes six{0x05, 0x0D, 0x1F, 0x42, 0x46, 0x5B};
  CHECK(*current_data_request(0x18DA10F1, true, six) ==
        frame_of(0x18DA10F1, true, {0x07, 0x01, 0x05, 0x0D, 0x1F, 0x42, 0x46, 0x5B}));
  CHECK(vehicle_information_request(0x7E0, false, info_type::vin) ==
        frame_of(0x7E0, false, {0x02, 0x09, 0x02, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}));
  CHECK_FALSE(current_data_request(0x7DF, false, Bytes{}).has_value());
  CHECK_FALSE(current_data_request(0x7DF, false, Bytes(7, 0x0D)).has_value());
}

// Source: ISO 15765-4 ids as in Wireshark packet-obd-ii.c.
TEST_CASE("obd address: a response id and its request id, and nothing else") {
  for (std::uint32_t id = 0; id <= 0x1000; ++id) {
    const auto request = request_id_of(id, false);
    REQUIRE(request.has_value() == (id >= 0x7E8 && id <= 0x7EF));
    if (request) REQUIRE(*request == id - 8);
    REQUIRE(ecu_of_request_id(id, false).has_value() == (id >= 0x7E0 && id <= 0x7E7));
    REQUIRE_FALSE(request_id_of(id, true).has_value());
    REQUIRE_FALSE(ecu_of_request_id(id, true).has_value());
  }
  CHECK(request_id_of(0x18DAF110, true) == 0x18DA10F1);
  for (std::uint32_t ecu = 0; ecu <= 0xFF; ++ecu) {
    const auto request = request_id_of(0x18DAF100 | ecu, true);
    REQUIRE(request.has_value() == (ecu != 0xF1));
    if (request) REQUIRE(ecu_of_request_id(*request, true) == ecu);
    REQUIRE_FALSE(request_id_of(0x18DBF100 | ecu, true).has_value());
  }
  CHECK_FALSE(ecu_of_request_id(0x18DB33F1, true).has_value());
  CHECK(functional_id(false) == 0x7DF);
  CHECK(functional_id(true) == 0x18DB33F1);
}

}  // namespace packmile
