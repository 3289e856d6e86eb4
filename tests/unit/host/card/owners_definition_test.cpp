#include "card/owners_definition.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <limits>
#include <string>

#include "packmile.pb.h"

using namespace packmile;

namespace {

OwnersDefinition current() {
  return {.role = SignalRole::pack_a,
          .name = "pack_a",
          .request_id = 0x18DA10F1,
          .did = 0xF00D,
          .first_byte = 3,
          .bytes = 2,
          .first_bit = 2,
          .bits = 12,
          .little_endian = true,
          .is_signed = true,
          .scale = 0.025,
          .offset = -100,
          .unit = "A",
          .period_ms = 200};
}

OwnersSignal message_of(const OwnersDefinition& definition, std::size_t index = 0) {
  OwnersSignal message;
  put_definition(definition, index, message);
  return message;
}

bool is_one_with(const std::function<void(OwnersSignal&)>& change) {
  OwnersSignal message = message_of(current());
  change(message);
  return definition_of(message).has_value();
}

}  // namespace

TEST_CASE("owner's definition: what is written is read again") {
  CHECK(definition_of(message_of(current())) == current());
  OwnersDefinition plain{.name = "doors", .request_id = 0x7E0, .did = 1};
  CHECK(definition_of(message_of(plain, 15)) == plain);
  CHECK(message_of(plain, 15).id() == 1015);
  // All of the word is the field that is not there.
  CHECK(message_of(plain).bits() == 0);
  plain.bytes = 4;
  plain.bits = 32;
  CHECK(definition_of(message_of(plain)) == plain);
  plain.first_bit = 4;
  plain.bits = 28;
  CHECK(message_of(plain).bits() == 28);
  CHECK(definition_of(message_of(plain)) == plain);
}

// Source: packmile.proto and owners_signal.hpp, line by line.
TEST_CASE("owner's definition: a message that breaks a rule is none") {
  using M = OwnersSignal;
  CHECK(is_one_with([](M&) {}));
  const auto refused = [](const std::function<void(M&)>& change) { return !is_one_with(change); };
  for (const std::uint32_t id : {0u, 1u, 999u, 1016u, 0x103E8u, 0xFFFFFFFFu})
    CHECK(refused([&](M& m) { m.set_id(id); }));
  for (const std::uint32_t ecu :
       {0u, 0x7DFu, 0x7E8u, 0x18DB33F1u, 0x18DAF110u, 0x18DAF1F1u, 0x98DA10F1u})
    CHECK(refused([&](M& m) { m.set_request_id(ecu); }));
  for (const std::uint32_t did : {0u, 0x10000u, 0x22F190u})
    CHECK(refused([&](M& m) { m.set_did(did); }));
  for (const std::uint32_t bytes : {0u, 5u, 0x20000001u, 0xFFFFFFFFu})
    CHECK(refused([&](M& m) { m.set_bytes(bytes); }));
  CHECK(is_one_with([](M& m) { m.set_first_byte(155); }));
  for (const std::uint32_t first : {156u, 0xFFFFFFFFu})
    CHECK(refused([&](M& m) { m.set_first_byte(first); }));
  for (const std::uint32_t first : {5u, 16u, 0xFFFFFFFFu})
    CHECK(refused([&](M& m) { m.set_first_bit(first); }));
  for (const std::uint32_t bits : {15u, 0xFFFFFFFFu})
    CHECK(refused([&](M& m) { m.set_bits(bits); }));
  for (const std::uint32_t period : {1u, 99u, 60'001u})
    CHECK(refused([&](M& m) { m.set_period_ms(period); }));
  for (const int role : {-1, 9, 1 << 30})
    CHECK(refused([&](M& m) { m.set_role(static_cast<Role>(role)); }));
  for (const double bad : {0.0, std::nan(""), std::numeric_limits<double>::infinity()})
    CHECK(refused([&](M& m) { m.set_scale(bad); }));
  CHECK(refused([](M& m) { m.set_offset(std::nan("")); }));
  CHECK(refused([](M& m) { m.set_name(std::string(25, 'a')); }));
  CHECK(refused([](M& m) { m.set_unit(std::string(13, 'a')); }));
  CHECK(refused([](M& m) { m.GetReflection()->MutableUnknownFields(&m)->AddVarint(18, 1); }));
}

TEST_CASE("owner's definition: the longest is within what a logger takes") {
  const OwnersDefinition longest{.role = SignalRole::reported_capacity,
                                 .name = std::string(kMaxOwnersNameBytes, 'a'),
                                 .request_id = 0x18DAFFF1,
                                 .did = 0xFFFF,
                                 .first_byte = 153,
                                 .bytes = 4,
                                 .first_bit = 1,
                                 .bits = 31,
                                 .little_endian = true,
                                 .is_signed = true,
                                 .scale = -1e9,
                                 .offset = 1e9,
                                 .unit = std::string(kMaxOwnersUnitBytes, 'b'),
                                 .period_ms = kMaxOwnersPeriodMs};
  OwnersSignal message = message_of(longest, kMaxOwnersSignals - 1);
  message.set_code_scale_q16(std::numeric_limits<std::int32_t>::min());
  message.set_code_offset(std::numeric_limits<std::int32_t>::min());
  CHECK(message.ByteSizeLong() <= kMaxOwnersMessageBytes);
}

// Worked by hand: 0.5 % is 0.5 * 255 / 100 = 1.275 codes, * 65536 = 83558.4.
TEST_CASE("owner's definition: codes of the standard signals") {
  const auto codes = [](SignalRole role, double scale, double offset) {
    const auto got = standard_codes_of(role, scale, offset);
    REQUIRE(got);
    return std::pair(got->scale_q16, got->offset);
  };
  using P = std::pair<std::int32_t, std::int32_t>;
  CHECK(codes(SignalRole::soc, 0.5, 0) == P{83558, 0});
  CHECK(codes(SignalRole::soc, 0.5, -10) == P{83558, -26});            // 25.5 codes, away from zero
  CHECK(codes(SignalRole::odometer, 1, 5) == P{655360, 50});           // 0.1 km
  CHECK(codes(SignalRole::speed, 0.01, 0.4) == P{655, 0});             // 1 km/h
  CHECK(codes(SignalRole::pack_a, -0.025, -100) == P{-16384, -1000});  // 0.1 A
  for (const auto role : {SignalRole::none, SignalRole::pack_v, SignalRole::pack_temp,
                          SignalRole::charger_state, SignalRole::reported_capacity})
    CHECK(codes(role, 1e9, 1e9) == P{0, 0});
  CHECK(message_of(current()).code_scale_q16() == 16384);
  CHECK(message_of(current()).code_offset() == -1000);

  const auto fits = [](double scale, double offset) {
    return standard_codes_of(SignalRole::speed, scale, offset).has_value();
  };
  CHECK(fits(10.0 / 65536, 0));
  CHECK_FALSE(fits(9.4 / 65536, 0));
  CHECK(fits(-32767.9, 2147483647.0));
  CHECK_FALSE(fits(32768, 0));
  CHECK_FALSE(fits(-32768, 0));
  CHECK_FALSE(fits(1, 2147483648.0));
  CHECK_FALSE(fits(std::nan(""), 0));
  CHECK_FALSE(fits(1, std::nan("")));
  CHECK_FALSE(fits(std::numeric_limits<double>::infinity(), 0));
}

// Source: packmile.proto, OwnersSignal: the least significant bit of the word lies
// in its last byte, or in its first where it is little-endian.
TEST_CASE("owner's definition: where a bit of the word lies in the answer") {
  OwnersDefinition d{.first_byte = 5, .bytes = 3};
  CHECK(data_bit_of(d, 0) == 7 * 8);
  CHECK(data_bit_of(d, 9) == 6 * 8 + 1);
  CHECK(data_bit_of(d, 23) == 5 * 8 + 7);
  d.little_endian = true;
  CHECK(data_bit_of(d, 0) == 5 * 8);
  CHECK(data_bit_of(d, 9) == 6 * 8 + 1);
  CHECK(data_bit_of(d, 23) == 7 * 8 + 7);
  CHECK(bytes_text(d) == "5..7");
  d.bytes = 1;
  CHECK(bytes_text(d) == "5");
}

TEST_CASE("owner's definition: every role has a word, and the word the role") {
  for (int k = 0; k <= static_cast<int>(kLastRole); ++k) {
    const auto role = static_cast<SignalRole>(k);
    CHECK(find_role(name_of(role)) == role);
  }
  CHECK_FALSE(find_role("soc_pct"));
  CHECK_FALSE(find_role(""));
}
