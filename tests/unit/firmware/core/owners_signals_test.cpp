// The owner's signals: which definitions are taken, and where their words lie.
#include "core/owners_signals.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "card_decode.hpp"

using namespace packmile;
using packmile::test::encode_owners;
using packmile::test::OwnersFields;

namespace {

using Bytes = std::vector<std::uint8_t>;

bool taken(const OwnersFields& fields) {
  OwnersSignals owners;
  const bool added = owners.add(encode_owners(fields));
  CHECK(owners.size() == (added ? 1u : 0u));
  return added;
}

OwnersFields with(void (*change)(OwnersFields&)) {
  OwnersFields fields;
  change(fields);
  return fields;
}

std::optional<std::uint32_t> word_of(const OwnersFields& fields, const Bytes& data) {
  OwnersSignals owners;
  REQUIRE(owners.add(encode_owners(fields)));
  return owners.word(0, data);
}

std::optional<RawWord> standard_of(const OwnersFields& fields, std::uint32_t word) {
  OwnersSignals owners;
  REQUIRE(owners.add(encode_owners(fields)));
  return owners.standard_word(0, word);
}

}  // namespace

TEST_CASE("owner's signals: each rule of a definition, at its bound and beyond") {
  using F = OwnersFields;
  CHECK(taken({}));
  for (const auto& [change, allowed] : std::vector<std::pair<void (*)(F&), bool>>{
           {[](F& f) { f.id = 1001; }, false},
           {[](F& f) { f.id = 0; }, false},
           {[](F& f) { f.request_id = 0x7E0; }, true},
           {[](F& f) { f.request_id = 0x7E7; }, true},
           {[](F& f) { f.request_id = 0x7DF; }, false},
           {[](F& f) { f.request_id = 0x7E8; }, false},
           {[](F& f) { f.request_id = 0x123; }, false},
           {[](F& f) { f.request_id = 0x18DA00F1; }, true},
           {[](F& f) { f.request_id = 0x18DAFFF1; }, true},
           {[](F& f) { f.request_id = 0x18DAF1F1; }, false},
           {[](F& f) { f.request_id = 0x18DB33F1; }, false},
           {[](F& f) { f.request_id = 0x18DA10F2; }, false},
           {[](F& f) { f.request_id = 0xFFFFFFFF; }, false},
           {[](F& f) { f.did = 0; }, false},
           {[](F& f) { f.did = 1; }, true},
           {[](F& f) { f.did = 0xFFFF; }, true},
           {[](F& f) { f.did = 0x10000; }, false},
           {[](F& f) { f.bytes = 0; }, false},
           {[](F& f) { f.bytes = 4; }, true},
           {[](F& f) { f.bytes = 5; }, false},
           {[](F& f) { f.bytes = 0x20000000; }, false},
           {[](F& f) { f.first_byte = kMaxOwnersDataBytes - 2; }, true},
           {[](F& f) { f.first_byte = kMaxOwnersDataBytes - 1; }, false},
           {[](F& f) { f.first_byte = 0xFFFFFFFF; }, false},
           {[](F& f) { f.first_bit = 15; }, true},
           {[](F& f) { f.first_bit = 16; }, false},
           {[](F& f) { f.bits = 16; }, true},
           {[](F& f) { f.bits = 17; }, false},
           {[](F& f) { f.first_bit = 4, f.bits = 12; }, true},
           {[](F& f) { f.first_bit = 4, f.bits = 13; }, false},
           {[](F& f) { f.bits = 0xFFFFFFFF; }, false},
           {[](F& f) { f.period_ms = kMinOwnersPeriodMs; }, true},
           {[](F& f) { f.period_ms = kMinOwnersPeriodMs - 1; }, false},
           {[](F& f) { f.period_ms = kMaxOwnersPeriodMs; }, true},
           {[](F& f) { f.period_ms = kMaxOwnersPeriodMs + 1; }, false},
           {[](F& f) { f.role = 8; }, true},
           {[](F& f) { f.role = 9; }, false},
           {[](F& f) { f.role = -1; }, false},
           {[](F& f) { f.name = std::string(kMaxOwnersNameBytes, 'a'); }, true},
           {[](F& f) { f.name = std::string(kMaxOwnersNameBytes + 1, 'a'); }, false},
           {[](F& f) { f.unit = std::string(kMaxOwnersUnitBytes, 'a'); }, true},
           {[](F& f) { f.unit = std::string(kMaxOwnersUnitBytes + 1, 'a'); }, false},
       }) {
    const OwnersFields fields = with(change);
    CAPTURE(fields.id);
    CAPTURE(fields.request_id);
    CAPTURE(fields.did);
    CAPTURE(fields.first_byte);
    CAPTURE(fields.bytes);
    CAPTURE(fields.first_bit);
    CAPTURE(fields.bits);
    CAPTURE(fields.period_ms);
    CAPTURE(fields.role);
    CAPTURE(fields.name);
    CAPTURE(fields.unit);
    CHECK(taken(fields) == allowed);
  }
}

TEST_CASE("owner's signals: a message that is not whole, or holds more, is not taken") {
  const Bytes good = encode_owners({.period_ms = 500, .role = 2, .unit = "A"});
  OwnersSignals owners;
  for (std::size_t n = 0; n < good.size(); ++n) {
    Bytes part(good.begin(), good.begin() + static_cast<std::ptrdiff_t>(n));
    // Cut between two fields it is whole, and says less.
    if (owners.add(part)) owners.clear();
  }
  Bytes more = good;
  more.insert(more.end(), {0x90, 0x01, 0x05});  // field 18
  CHECK_FALSE(owners.add(more));
  more = good;
  more.insert(more.end(), {0x1D, 1, 2, 3, 4});  // the identifier as fixed 32 bits
  CHECK_FALSE(owners.add(more));
  more = good;
  more.insert(more.end(), {0x72, 0x01, 0xFF});  // a name that is not UTF-8
  CHECK_FALSE(owners.add(more));
  more = good;
  while (more.size() <= kMaxOwnersMessageBytes) more.insert(more.end(), {0x18, 0x05});
  CHECK_FALSE(owners.add(more));
  CHECK(owners.size() == 0);
  CHECK(owners.add(good));
  CHECK(Bytes(owners.message(0).begin(), owners.message(0).end()) == good);
}

TEST_CASE("owner's signals: the words by hand") {
  const Bytes data{0x12, 0x34, 0x56, 0x78, 0x9A};
  CHECK(word_of({}, data) == 0x1234u);
  CHECK(word_of({.little_endian = true}, data) == 0x3412u);
  CHECK(word_of({.first_byte = 1, .bytes = 4}, data) == 0x3456789Au);
  CHECK(word_of({.first_byte = 1, .bytes = 4, .little_endian = true}, data) == 0x9A785634u);
  CHECK(word_of({.first_byte = 2, .bytes = 4}, data) == std::nullopt);  // one byte short
  CHECK(word_of({.first_byte = 4, .bytes = 1}, data) == 0x9Au);
  CHECK(word_of({.first_byte = 5, .bytes = 1}, data) == std::nullopt);
  // 1234 is 0001 0010 0011 0100: six bits from bit 2 are 001101.
  CHECK(word_of({.first_bit = 2, .bits = 6}, data) == 0x0Du);
  CHECK(word_of({.first_bit = 4}, data) == 0x123u);
  CHECK(word_of({}, {}) == std::nullopt);
}

TEST_CASE("owner's signals: in codes of the standard signal, for the judge of the duty") {
  constexpr int kCurrent = 2;
  constexpr int kSoc = 3;
  constexpr int kOdometer = 4;
  // 0.02 A a step, in steps of 0.1 A: 65536 / 5.
  const OwnersFields current{.is_signed = true, .role = kCurrent, .code_scale_q16 = 13107};
  CHECK(standard_of(current, 500) == RawWord{signal::pack_a, 100});
  CHECK(standard_of(current, 0xFFFF - 499) == RawWord{signal::pack_a, 0xFFFF - 99});
  // 12 bits, of which the highest is the sign.
  const OwnersFields narrow{
      .bits = 12, .is_signed = true, .role = kCurrent, .code_scale_q16 = 65536};
  CHECK(standard_of(narrow, 0xFFF) == RawWord{signal::pack_a, 0xFFFF});
  CHECK(standard_of(narrow, 0x7FF) == RawWord{signal::pack_a, 0x7FF});
  // Beyond what the standard's word holds it stays at its end.
  const OwnersFields wide{
      .bytes = 4, .is_signed = true, .role = kCurrent, .code_scale_q16 = 0x7FFFFFFF};
  CHECK(standard_of(wide, 0x7FFFFFFF) == RawWord{signal::pack_a, 0x7FFF});
  CHECK(standard_of(wide, 0x80000000) == RawWord{signal::pack_a, 0x8001});
  // 0.5 % a step in steps of 100/255 %: 1.275.
  const OwnersFields soc{.bytes = 1, .role = kSoc, .code_scale_q16 = 83558};
  CHECK(standard_of(soc, 200) == RawWord{signal::soc_pct, 255});
  // 1 km a step from 1000 km on; below 0 it stays there.
  const OwnersFields odometer{
      .is_signed = true, .role = kOdometer, .code_scale_q16 = 655360, .code_offset = 10'000};
  CHECK(standard_of(odometer, 5) == RawWord{signal::odometer_km, 10'050});
  CHECK(standard_of(odometer, 0x8000) == RawWord{signal::odometer_km, 0});
  // The voltage, a temperature and the rest say nothing of the duty.
  for (const int role : {0, 1, 6, 7, 8})
    CHECK(standard_of({.role = role, .code_scale_q16 = 65536}, 7) == std::nullopt);
}

TEST_CASE("owner's signals: several in one identifier are asked for once") {
  OwnersSignals owners;
  REQUIRE(owners.add(encode_owners({.id = 1000, .name = "a"})));
  REQUIRE(owners.add(encode_owners({.id = 1001, .first_byte = 2, .name = "b"})));
  REQUIRE(owners.add(encode_owners({.id = 1002, .request_id = 0x7E5, .name = "c"})));
  CHECK(owners.is_first_of_its_did(0));
  CHECK_FALSE(owners.is_first_of_its_did(1));
  CHECK(owners.is_first_of_its_did(2));
  owners.clear();
  CHECK(owners.dids().empty());
}
