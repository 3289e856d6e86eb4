#include "benchvan/owners_fields.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <string>

using namespace packmile::benchvan;

namespace {

// The data bytes of one field alone, as hex.
std::string bytes_of(const OwnersField& field, double value) {
  std::array<std::uint8_t, 16> data{};
  put_field(field, word_of(field, value), data);
  std::string text;
  for (unsigned i = 0; i < field.first_byte + field.bytes; ++i) {
    static constexpr char kDigits[] = "0123456789ABCDEF";
    text += kDigits[data[i] >> 4];
    text += kDigits[data[i] & 15];
  }
  return text;
}

}  // namespace

// Source: arithmetic by hand from the words of packmile.OwnersSignal.
TEST_CASE("owner's field: value to bytes") {
  // 370.15 V / 0.05 = 7403 = 1CEB.
  const OwnersField pack_v{.role = FieldRole::pack_v, .first_byte = 1, .bytes = 2, .scale = 0.05};
  CHECK(bytes_of(pack_v, 370.15) == "001CEB");
  // -12.34 A / 0.02 = -617 = FD97, low byte first.
  const OwnersField pack_a{.role = FieldRole::pack_a,
                           .bytes = 2,
                           .little_endian = true,
                           .is_signed = true,
                           .scale = 0.02};
  CHECK(bytes_of(pack_a, -12.34) == "97FD");
  // Offset: (21 + 80) / 0.5 = 202 = CA.
  CHECK(bytes_of({.role = FieldRole::pack_temp, .scale = 0.5, .offset = -80}, 21) == "CA");
  // Two bits from bit 3: 2 << 3.
  CHECK(bytes_of({.role = FieldRole::charger_state, .first_bit = 3, .bits = 2}, 2) == "10");
  // 12 signed bits from bit 4 of three bytes: -5 = FFB, << 4 = 0FFB0.
  CHECK(bytes_of({.bytes = 3, .first_bit = 4, .bits = 12, .is_signed = true}, -5) == "00FFB0");
  CHECK(bytes_of({.bytes = 3, .first_bit = 4, .bits = 12, .little_endian = true, .is_signed = true},
                 -5) == "B0FF00");
  // A scale below zero turns the order of the codes round.
  CHECK(bytes_of({.scale = -2, .offset = 100}, 90) == "05");
  CHECK(bytes_of({.bytes = 4}, 4294967295.0) == "FFFFFFFF");
}

TEST_CASE("owner's field: state of charge and odometer are cut down, the rest rounded") {
  OwnersField field{.role = FieldRole::soc, .bytes = 2, .scale = 0.1};
  CHECK(word_of(field, 49.99) == 499);
  CHECK(word_of(field, 50.0) == 500);
  field.role = FieldRole::odometer;
  CHECK(word_of(field, 12.37) == 123);
  field.scale = -0.1;
  field.offset = 100;
  CHECK(word_of(field, 49.99) == 501);  // 49.9
  CHECK(word_of(field, 50.0) == 500);
  field.role = FieldRole::speed;
  CHECK(word_of(field, 49.99) == 500);
  field = {.role = FieldRole::pack_a, .bytes = 2, .is_signed = true, .scale = 0.02};
  // Both directions alike.
  for (const double pack_a : {0.03, 1.234, 77.77, 400.01})
    CHECK(word_of(field, -pack_a) == (0x10000u - word_of(field, pack_a)));
}

TEST_CASE("owner's field: what does not fit saturates") {
  CHECK(word_of({.bytes = 1}, 300) == 255);
  CHECK(word_of({.bytes = 1}, -3) == 0);
  CHECK(word_of({.bytes = 1, .is_signed = true}, 300) == 0x7F);
  CHECK(word_of({.bytes = 1, .is_signed = true}, -300) == 0x80);
  CHECK(word_of({.bytes = 4, .is_signed = true}, -1e12) == 0x80000000u);
  CHECK(word_of({.bytes = 4}, 1e12) == 0xFFFFFFFFu);
  CHECK(word_of({.bytes = 1, .bits = 1}, 2) == 1);
}

TEST_CASE("owner's field: what a field shows") {
  Moment moment;
  moment.set(Quantity::pack_a, -40);
  const OwnersField current{.role = FieldRole::pack_a};
  const OwnersField state{.role = FieldRole::charger_state};
  CHECK(value_of(current, moment, false) == -40);
  CHECK(value_of(current, moment, true) == 40);
  CHECK(value_of(state, moment, true) == 2);
  moment.set(Quantity::speed_kmh, 30);  // regeneration is no charging
  CHECK(value_of(state, moment, false) == 0);
  CHECK_FALSE(value_of({.role = FieldRole::soc}, moment, false).has_value());
  CHECK(value_of({.role = FieldRole::reported_capacity, .unit = "Ah"}, moment, false) == 160);
  CHECK(value_of({.role = FieldRole::reported_capacity, .unit = "kWh"}, moment, false) == 57);
  CHECK(value_of({.name = "speed_kmh"}, moment, false) == 30);
  CHECK(value_of({.name = "tyre_bar"}, moment, false) == 0);
}

TEST_CASE("owner's field: definitions that cannot be played are named") {
  const OwnersField good{.request_id = 0x7E4, .did = 0xD001};
  CHECK(field_trouble(good).empty());
  const auto bad = [&](auto change) {
    OwnersField field = good;
    change(field);
    return !field_trouble(field).empty();
  };
  CHECK(bad([](OwnersField& f) { f.request_id = 0x7E8; }));
  CHECK(bad([](OwnersField& f) { f.request_id = 0x18DB33F1; }));
  CHECK(bad([](OwnersField& f) { f.did = 0xF190; }));
  CHECK(bad([](OwnersField& f) { f.did = 0xF49A; }));
  CHECK(bad([](OwnersField& f) { f.did = 0x1D001; }));
  CHECK(bad([](OwnersField& f) { f.bytes = 0; }));
  CHECK(bad([](OwnersField& f) { f.bytes = 5; }));
  CHECK(bad([](OwnersField& f) { f.first_byte = 157; }));
  CHECK(bad([](OwnersField& f) { f.first_byte = 0xFFFFFFFFu; }));
  CHECK(bad([](OwnersField& f) { f.first_bit = 8; }));
  CHECK(bad([](OwnersField& f) { f.bits = 9; }));
  CHECK(bad([](OwnersField& f) { f.first_bit = 5, f.bits = 4; }));
  CHECK(bad([](OwnersField& f) { f.bits = 0xFFFFFFFFu; }));
  CHECK(bad([](OwnersField& f) { f.scale = 0; }));
  CHECK(bad([](OwnersField& f) { f.offset = NAN; }));
}

TEST_CASE("owner's field: the bench's own list can be played, and is told as fleet.toml") {
  for (const bool apart : {false, true}) {
    for (const bool extended : {false, true}) {
      const std::vector<OwnersField> fields = benchs_own_fields(apart, extended);
      std::uint32_t volts = 0, amperes = 0;
      for (const OwnersField& field : fields) {
        CHECK(field_trouble(field) == "");
        CHECK((field.request_id > 0x7FF) == extended);
        if (field.role == FieldRole::pack_v) volts = field.did;
        if (field.role == FieldRole::pack_a) amperes = field.did;
      }
      CHECK((volts != amperes) == apart);
      // No bit is claimed twice.
      for (const OwnersField& a : fields) {
        std::array<std::uint8_t, 16> all{};
        put_field(a, word_of({.bytes = a.bytes, .bits = a.bits}, 1e10), all);
        for (const OwnersField& b : fields) {
          if (&a == &b || a.did != b.did) continue;
          std::array<std::uint8_t, 16> own{};
          put_field(b, word_of({.bytes = b.bytes, .bits = b.bits}, 1e10), own);
          for (std::size_t i = 0; i < all.size(); ++i) CHECK((all[i] & own[i]) == 0);
        }
      }
    }
  }
  const std::string text = fleet_toml_of(benchs_own_fields(false, false), "alder");
  CHECK(text.find("[[signal]]\nrole = \"pack_a\"\nvans = [\"alder\"]\necu = 0x7E4\ndid = 0xD001\n"
                  "first_byte = 3\nbytes = 2\nfirst_bit = 0\nbyte_order = \"little\"\n"
                  "signed = true\nscale = 0.02\noffset = 0\nunit = \"A\"\n") != text.npos);
}

// Source: 100/255 %, 0.1 km, 1 km/h and 0.1 A a code, from the PID table.
TEST_CASE("owner's field: codes of the standard signals, for a logger without floating point") {
  const auto of = [](FieldRole role, double scale, double offset) {
    const StandardCodes codes = standard_codes_of({.role = role, .scale = scale, .offset = offset});
    return std::pair(codes.scale_q16, codes.offset);
  };
  CHECK(of(FieldRole::soc, 0.1, 0) == std::pair(16712, 0));        // 0.255 * 65536 = 16711.68
  CHECK(of(FieldRole::odometer, 0.01, 1) == std::pair(6554, 10));  // 0.1 * 65536 = 6553.6
  CHECK(of(FieldRole::speed, 0.01, -5) == std::pair(655, -5));
  CHECK(of(FieldRole::pack_a, -0.02, -500) == std::pair(-13107, -5000));
  CHECK(of(FieldRole::pack_v, 0.05, 1) == std::pair(0, 0));
}
