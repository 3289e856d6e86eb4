#include "benchvan/data_identifiers.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace packmile::benchvan;

namespace {

struct Service22 {
  DataIdentifiers identifiers;
  Moment moment;

  explicit Service22(const Faults& faults = {}, bool own = false)
      : identifiers(setup(own), {.discharge_negative = own}, faults) {
    moment.set(Quantity::speed_kmh, 50);
    moment.set(Quantity::pack_v, 350);
    moment.set(Quantity::pack_a, 25);
    moment.set(Quantity::pack_temp_c, 21);
    moment.set(Quantity::ambient_c, 12);
  }

  static DidSetup setup(bool own) {
    DidSetup setup{.vin = "1M8GDM9AXKP042788"};
    for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a})
      setup.quantities.add(quantity);
    if (own) {
      for (OwnersField& field : benchs_own_fields(false, false))
        setup.fields.push_back(std::move(field));
      return setup;
    }
    setup.f4xx = true;
    for (const unsigned pid : {0x0Du, 0x46u, 0x5Bu, 0x9Au}) setup.pids.set(pid);
    link_support_ranges(setup.pids);
    return setup;
  }

  // The answer as hex; "" if there is none; "?31": refused.
  std::string operator()(std::initializer_list<int> dids) {
    std::vector<std::uint8_t> asked;
    for (const int did : dids) {
      asked.push_back(static_cast<std::uint8_t>(did >> 8));
      asked.push_back(static_cast<std::uint8_t>(did));
    }
    return of(asked);
  }
  std::string of(const std::vector<std::uint8_t>& asked) {
    Payload reply;
    const DataIdentifiers::Outcome outcome = identifiers.answer(asked, moment, reply);
    if (outcome.refused != 0) {
      CHECK(reply.empty());
      return "?" + hex(std::vector{outcome.refused});
    }
    return hex(reply.bytes());
  }
  static std::string hex(std::span<const std::uint8_t> bytes) {
    std::string text;
    for (const std::uint8_t byte : bytes) {
      static constexpr char kDigits[] = "0123456789ABCDEF";
      text += kDigits[byte >> 4];
      text += kDigits[byte & 15];
    }
    return text;
  }
};

}  // namespace

// Source: 350 V * 64 = 22400 = 5780, 25 A * 10 = 250 = 00FA; 22 F40D -> 62 F40D 32 as
// tshark's dissector of ISO 14229 reads it.
TEST_CASE("identifiers F4xx: data as of the PID, alone and several in a request") {
  Service22 ask;
  CHECK(ask({0xF40D}) == "62F40D32");
  CHECK(ask({0xF49A, 0xF40D}) == "62F49A0600578000FAF40D32");
  CHECK(ask({0xF40D, 0xF411, 0xF446}) == "62F40D32F44634");
  CHECK(ask({0xF190}) == "62F190" + Service22::hex(std::vector<std::uint8_t>{
                                        '1', 'M', '8', 'G', 'D', 'M', '9', 'A', 'X', 'K', 'P', '0',
                                        '4', '2', '7', '8', '8'}));
  // Supported, and no value at the moment.
  CHECK(ask({0xF45B}) == "");
  CHECK(ask({0xF45B, 0xF40D}) == "62F40D32");
}

TEST_CASE("identifiers F4xx: bitmaps lead to every one and no further") {
  Service22 ask;
  CHECK(ask({0xF400}) == "62F40000080001");
  CHECK(ask({0xF480}) == "62F48000000040");
  CHECK(ask({0xF400, 0xF420}) == "62F40000080001F42000000001");
  CHECK(ask({0xF4A0}) == "?31");
  CHECK(ask({0xF500}) == "?31");
  CHECK(ask({0xD001}) == "?31");
  CHECK(ask.of({0xF4}) == "?13");
  CHECK(ask.of({0xF4, 0x0D, 0xF4}) == "?13");
  CHECK(ask.of({}) == "?13");
}

// Source: arithmetic by hand: 350 / 0.05 = 7000 = 1B58; -25 / 0.02 = -1250 = FB1E low
// byte first; the charger's two bits are 0 while driving; (21 + 80) * 2 = CA.
TEST_CASE("identifiers of its own: several signals in one, each in its own coding") {
  Service22 ask({}, true);
  CHECK(ask({0xD001}) == "62D001001B581EFB");
  CHECK(ask({0xD004}) == "62D004CA");
  CHECK(ask({0xD011}) == "62D0111388");  // 5000 * 0.01 km/h
  CHECK(ask({0xF400}) == "?31");
  CHECK(ask({0xF40D}) == "?31");
  // No state of charge in this van: the capacity beside it is not there either.
  CHECK(ask({0xD003}) == "?31");
  ask.moment.set(Quantity::speed_kmh, 0);
  ask.moment.set(Quantity::pack_a, -25);
  CHECK(ask({0xD001}) == "62D001101B58E204");
  ask.moment.remove(Quantity::pack_a);
  CHECK(ask({0xD001}) == "");
}

TEST_CASE("identifiers: a sensor that the van never has leaves zeros beside others") {
  DidSetup setup;
  setup.quantities.add(Quantity::pack_v);
  setup.fields = {{.role = FieldRole::pack_v, .did = 0xD020},
                  {.role = FieldRole::speed, .did = 0xD020, .first_byte = 1},
                  {.role = FieldRole::speed, .did = 0xD021}};
  Service22 ask;
  ask.identifiers = DataIdentifiers(std::move(setup), {}, {});
  ask.moment.set(Quantity::pack_v, 99);
  ask.moment.remove(Quantity::speed_kmh);
  CHECK(ask({0xD020}) == "62D0206300");
  CHECK(ask({0xD021}) == "?31");
  CHECK(ask({0xF190}) == "?31");
}

TEST_CASE("identifiers: faults change answers as they say") {
  CHECK(Service22({.dids_refused = true})({0xF49A, 0xF40D}) == "?13");
  CHECK(Service22({.dids_refused = true})({0xF40D}) == "62F40D32");
  CHECK(Service22({.dids_first_only = true})({0xF40D, 0xF446}) == "62F40D32");
  CHECK(Service22({.pids_reversed = true})({0xF40D, 0xF446}) == "62F44634F40D32");
  CHECK(Service22({.did_short = true})({0xF49A}) == "62F49A0600578000");
  CHECK(Service22({.did_short = true})({0xF40D}) == "62F40D32");
  CHECK(Service22({.did_short = true}, true)({0xD001}) == "62D001001B581E");
  for (const bool own : {false, true}) {
    const int did = own ? 0xD001 : 0xF49A;
    const int other = own ? 0xD011 : 0xF40D;
    Service22 ask({.did_refused_later = true}, own);
    for (unsigned i = 0; i < kAnswersBeforeRefusal; ++i) REQUIRE(ask({did}).substr(0, 2) == "62");
    CHECK(ask({did}) == "?31");
    CHECK(ask({other}).substr(0, 2) == "62");
    CHECK(ask({did}) == "?31");
  }
}

TEST_CASE("identifiers: an answer that does not fit is refused whole") {
  DidSetup setup;
  for (const std::uint16_t did : {std::uint16_t{0xD001}, std::uint16_t{0xD002}})
    setup.fields.push_back({.did = did, .first_byte = 156});
  Service22 ask;
  ask.identifiers = DataIdentifiers(std::move(setup), {}, {});
  CHECK(ask({0xD001}).size() == 2 * 160);
  CHECK(ask({0xD001, 0xD002}) == "?14");
}
