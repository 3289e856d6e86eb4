#include "benchvan/pid_words.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace packmile::benchvan;

namespace {

std::string hex_of(const Payload& payload) {
  static constexpr char kDigits[] = "0123456789ABCDEF";
  std::string text;
  for (const std::uint8_t byte : payload.bytes()) {
    text += kDigits[byte >> 4];
    text += kDigits[byte & 15];
  }
  return text;
}

std::string answer(std::uint8_t pid, Quantity quantity, double value, PidCoding coding = {}) {
  Moment moment;
  moment.set(quantity, value);
  Payload reply;
  if (!put_pid(pid, moment, coding, reply)) return "none";
  return hex_of(reply);
}

std::string system_data(double pack_v, double pack_a, PidCoding coding = {}) {
  Moment moment;
  moment.set(Quantity::pack_v, pack_v);
  moment.set(Quantity::pack_a, pack_a);
  Payload reply;
  CHECK(put_pid(0x9A, moment, coding, reply));
  return hex_of(reply);
}

}  // namespace

// Source: SAE J1979 scalings as publicly known; the same bytes decoded by tshark
// and scapy (5B, 46, 42, 0D, 1F, 05, 62), by arithmetic (A6).
TEST_CASE("pid words: scalar PIDs at their worked examples") {
  CHECK(answer(0x0D, Quantity::speed_kmh, 50) == "0D32");
  CHECK(answer(0x42, Quantity::module_v, 14.0) == "4236B0");
  CHECK(answer(0x46, Quantity::ambient_c, 35) == "464B");
  CHECK(answer(0x46, Quantity::ambient_c, -40) == "4600");
  CHECK(answer(0x05, Quantity::coolant_c, 40) == "0550");
  CHECK(answer(0x1F, Quantity::run_time_s, 3600) == "1F0E10");
  CHECK(answer(0x33, Quantity::barometric_kpa, 101) == "3365");
  CHECK(answer(0x62, Quantity::actual_torque_pct, 0) == "627D");
  CHECK(answer(0xA6, Quantity::odometer_km, 12345.6) == "A60001E240");
  CHECK(answer(0x5B, Quantity::soc_pct, 100) == "5BFF");
  CHECK(answer(0x5B, Quantity::soc_pct, 78.4314) == "5BC8");
}

TEST_CASE("pid words: nearest code for speed, cut down for charge, odometer and the fault") {
  CHECK(answer(0x0D, Quantity::speed_kmh, 49.5) == "0D32");
  CHECK(answer(0x0D, Quantity::speed_kmh, 49.49) == "0D31");
  CHECK(answer(0x0D, Quantity::speed_kmh, 49.99, {.speed_cut = true}) == "0D31");
  CHECK(answer(0x5B, Quantity::soc_pct, 78.43) == "5BC7");
  CHECK(answer(0xA6, Quantity::odometer_km, 12345.69) == "A60001E240");
  CHECK(answer(0x0D, Quantity::speed_kmh, 300) == "0DFF");
  CHECK(answer(0x1F, Quantity::run_time_s, 1e6) == "1FFFFF");
}

// Source: no public one for coding and sign; arithmetic of 1/64 V and 0.1 A.
TEST_CASE("pid words: pack voltage and current in all four codings") {
  CHECK(system_data(350, 25) == "9A0600578000FA");
  CHECK(system_data(350, -50) == "9A06005780FE0C");
  CHECK(system_data(350, 25, {.discharge_negative = true}) == "9A06005780FF06");
  CHECK(system_data(350, 25, {.offset_binary = true}) == "9A0600578080FA");
  CHECK(system_data(350, 25, {.offset_binary = true, .discharge_negative = true}) ==
        "9A060057807F06");
}

TEST_CASE("pid words: the four codings mirror each other at every current") {
  for (int hundredths = -40000; hundredths <= 40000; hundredths += 5) {
    const double pack_a = hundredths / 100.0;
    const auto word = [&](PidCoding coding) {
      Moment moment;
      moment.set(Quantity::pack_a, pack_a);
      Payload reply;
      (void)put_pid(0x9A, moment, coding, reply);
      return reply.bytes()[5] * 256 + reply.bytes()[6];
    };
    const int plain = static_cast<std::int16_t>(word({}));
    REQUIRE(static_cast<std::int16_t>(word({.discharge_negative = true})) == -plain);
    REQUIRE(word({.offset_binary = true}) - 0x8000 == plain);
    REQUIRE(word({.offset_binary = true, .discharge_negative = true}) - 0x8000 == -plain);
  }
}

TEST_CASE("pid words: a value that is missing has its support bit off and the word 0") {
  CHECK(answer(0x9A, Quantity::pack_v, 350) == "9A020057800000");
  CHECK(answer(0x9A, Quantity::pack_a, 25) == "9A0400000000FA");
  CHECK(answer(0x9A, Quantity::soc_pct, 25) == "none");
  CHECK(answer(0x5B, Quantity::pack_v, 25) == "none");
  CHECK(answer(0xB2, Quantity::pack_v, 25) == "none");
}

// Source: bitmap 00 08 00 13 read by tshark and scapy as 0D 1C 1F 20.
TEST_CASE("pid words: support bitmaps") {
  PidSet supported;
  for (const unsigned pid : {0x0Du, 0x1Cu, 0x1Fu, 0x20u}) supported.set(pid);
  Payload reply;
  put_support_bitmap(0x00, supported, reply);
  CHECK(hex_of(reply) == "0000080013");
  PidSet far;
  far.set(0xA6);
  link_support_ranges(far);
  for (const unsigned base : {0x20u, 0x40u, 0x60u, 0x80u, 0xA0u}) CHECK(far[base]);
  CHECK_FALSE(far[0xC0]);
}
