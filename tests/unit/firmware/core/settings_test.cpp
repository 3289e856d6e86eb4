// The settings sector: taken as a whole or not at all.
#include "core/settings.hpp"

#include <doctest/doctest.h>

#include <array>
#include <string>

#include "card_decode.hpp"

using namespace packmile;
using packmile::test::encode_settings;
using packmile::test::SettingsFields;

namespace {

OwnersSignals owners;

using Bytes = std::vector<std::uint8_t>;

// Record.settings around raw bytes of a Settings message.
Bytes record_of(const Bytes& settings) {
  Bytes record{0x22, static_cast<std::uint8_t>(settings.size())};
  record.insert(record.end(), settings.begin(), settings.end());
  return record;
}

SettingsOutcome outcome_of(const Bytes& settings) {
  LoggerSettings out;
  out.driving_deadline_ms = 77;
  const LoggerSettings before = out;
  const SettingsOutcome outcome = read_settings_record(record_of(settings), out, owners);
  // Refused: nothing of it is in force.
  if (outcome != SettingsOutcome::taken) CHECK(out == before);
  return outcome;
}

std::string name_of(const LoggerSettings& s) { return {s.van.data(), s.van_bytes}; }

}  // namespace

TEST_CASE("settings: what libprotobuf wrote is read") {
  LoggerSettings s;
  OwnersSignals owners;
  REQUIRE(read_settings_record(encode_settings({.van = "Ouse",
                                                .prepared_unix_ms = 1'767'592'800'000,
                                                .driving_period_ms = 500,
                                                .charging_period_ms = 0,
                                                .driving_deadline_ms = 5'000,
                                                .charging_deadline_ms = 60'000}),
                               s, owners) == SettingsOutcome::taken);
  CHECK(name_of(s) == "Ouse");
  CHECK(s.prepared_unix_ms == 1'767'592'800'000);
  CHECK(s.driving_period_ms == 500u);
  CHECK(s.charging_period_ms == 0u);  // present, and 0: as fast as the answers come
  CHECK(s.driving_deadline_ms == 5'000);
  CHECK(s.charging_deadline_ms == 60'000);
}

TEST_CASE("settings: what is absent is the default") {
  LoggerSettings s;
  REQUIRE(read_settings_record(encode_settings({.van = "Ouse"}), s, owners) ==
          SettingsOutcome::taken);
  CHECK_FALSE(s.driving_period_ms);
  CHECK_FALSE(s.charging_period_ms);
  CHECK(s.driving_deadline_ms == 10'000);
  CHECK(s.charging_deadline_ms == 30'000);
  // An empty Settings message is settings too; an empty record is not.
  CHECK(outcome_of({}) == SettingsOutcome::taken);
  CHECK(read_settings_record({}, s, owners) == SettingsOutcome::no_settings);
}

TEST_CASE("settings: anything not known refuses the whole") {
  CHECK(outcome_of({0x48, 0x01}) == SettingsOutcome::unknown_field);  // field 8
  CHECK(outcome_of({0x0A, 0x01, 'A', 0x48, 0x01}) == SettingsOutcome::unknown_field);
  CHECK(outcome_of({0x38, 0x00}) == SettingsOutcome::taken);  // battery
  CHECK(outcome_of({0x38, 0x01}) == SettingsOutcome::taken);
  CHECK(outcome_of({0x38, 0x02}) == SettingsOutcome::out_of_range);
  CHECK(outcome_of({0x08, 0x01}) == SettingsOutcome::wrong_type);                    // van, varint
  CHECK(outcome_of({0x12, 0x01, 0x00}) == SettingsOutcome::wrong_type);              // prepared
  CHECK(outcome_of({0x1D, 0x01, 0x00, 0x00, 0x00}) == SettingsOutcome::wrong_type);  // fixed32
  CHECK(outcome_of({0x0A, 0x05, 'A'}) == SettingsOutcome::malformed);                // cut short
  CHECK(outcome_of({0x18}) == SettingsOutcome::malformed);
  CHECK(outcome_of({0x0B}) == SettingsOutcome::malformed);                       // a group
  CHECK(outcome_of({0x18, 0xE0, 0xD4, 0x03}) == SettingsOutcome::taken);         // 60000
  CHECK(outcome_of({0x18, 0xE1, 0xD4, 0x03}) == SettingsOutcome::out_of_range);  // 60001
  CHECK(outcome_of({0x28, 0xE7, 0x07}) == SettingsOutcome::out_of_range);        // 999 ms
  CHECK(outcome_of({0x28, 0xE8, 0x07}) == SettingsOutcome::taken);               // 1000 ms
  CHECK(outcome_of({0x30, 0xE1, 0xA7, 0x12}) == SettingsOutcome::out_of_range);  // 300001 ms
  CHECK(outcome_of({0x28, 0x00}) == SettingsOutcome::taken);
  // More than a Settings in the record.
  LoggerSettings s;
  const Bytes with_samples{0x08, 0x05, 0x22, 0x00};
  CHECK(read_settings_record(with_samples, s, owners) == SettingsOutcome::unknown_field);
  const Bytes not_a_message{0x20, 0x00};
  CHECK(read_settings_record(not_a_message, s, owners) == SettingsOutcome::wrong_type);
}

TEST_CASE("settings: a van name is UTF-8 of at most 40 bytes") {
  const auto named = [](const std::string& name) {
    Bytes field{0x0A, static_cast<std::uint8_t>(name.size())};
    field.insert(field.end(), name.begin(), name.end());
    return outcome_of(field);
  };
  CHECK(named(std::string(40, 'x')) == SettingsOutcome::taken);
  CHECK(named(std::string(41, 'x')) == SettingsOutcome::name_too_long);
  CHECK(named("T\xC3\xA9m\xC3\xA9raire") == SettingsOutcome::taken);
  CHECK(named("\xE2\x82\xAC \xF0\x9F\x9A\x90") == SettingsOutcome::taken);
  // RFC 3629: stray and missing continuation, overlong, surrogate, too large.
  for (const char* bad : {"\x80", "\xC3", "\xC3(", "\xC0\x80", "\xE0\x80\x80", "\xED\xA0\x80",
                          "\xF4\x90\x80\x80", "\xF8\x88\x80\x80\x80", "\xFF"})
    CHECK(named(bad) == SettingsOutcome::malformed);
}

TEST_CASE("settings: every truncation and every changed bit is refused or read, never half") {
  const Bytes whole = encode_settings({.van = "Severn",
                                       .prepared_unix_ms = 1'767'592'800'000,
                                       .driving_period_ms = 200,
                                       .driving_deadline_ms = 5'000});
  for (std::size_t n = 0; n < whole.size(); ++n) {
    LoggerSettings s;
    const SettingsOutcome outcome = read_settings_record(std::span(whole).first(n), s, owners);
    CHECK(outcome != SettingsOutcome::taken);
    CHECK(s == LoggerSettings{});
  }
  for (std::size_t bit = 0; bit < whole.size() * 8; ++bit) {
    Bytes changed = whole;
    changed[bit / 8] ^= static_cast<std::uint8_t>(1u << (bit % 8));
    LoggerSettings s;
    if (read_settings_record(changed, s, owners) != SettingsOutcome::taken)
      CHECK(s == LoggerSettings{});
    CHECK(s.van_bytes <= kMaxVanNameBytes);
  }
}

TEST_CASE("settings: the sector must be a good settings sector") {
  std::array<std::uint8_t, kSectorBytes> sector{};
  const Bytes record = encode_settings({.van = "Severn"});
  const auto sealed = [&](SectorKind kind) {
    sector = {};
    std::copy(record.begin(), record.end(), sector.begin() + kSectorHeaderBytes);
    seal_sector(sector, {.kind = kind,
                         .payload_bytes = static_cast<std::uint16_t>(record.size()),
                         .log_id = 42,
                         .ring_sectors = 64});
  };
  LoggerSettings s;
  std::optional<SectorHeader> header;
  CHECK(read_settings_sector(sector, s, owners, header) == SettingsOutcome::no_settings);  // blank
  CHECK_FALSE(header);
  sealed(SectorKind::data);
  CHECK(read_settings_sector(sector, s, owners, header) == SettingsOutcome::no_settings);
  CHECK_FALSE(header);
  sealed(SectorKind::settings);
  REQUIRE(read_settings_sector(sector, s, owners, header) == SettingsOutcome::taken);
  CHECK(name_of(s) == "Severn");
  REQUIRE(header);
  CHECK(header->log_id == 42);
  sector[100] ^= 1;
  CHECK(read_settings_sector(sector, s, owners, header) == SettingsOutcome::no_settings);
  // A record that is refused still tells whose log this is.
  sector = {};
  sector[kSectorHeaderBytes] = 0x38;
  sector[kSectorHeaderBytes + 1] = 0x01;
  seal_sector(sector,
              {.kind = SectorKind::settings, .payload_bytes = 2, .log_id = 43, .ring_sectors = 64});
  CHECK(read_settings_sector(sector, s, owners, header) == SettingsOutcome::unknown_field);
  REQUIRE(header);
  CHECK(header->log_id == 43);
}

TEST_CASE("settings: owner's signals come with them, and one bad definition refuses the whole") {
  LoggerSettings s;
  OwnersSignals owners;
  test::OwnersFields second{.id = 1001, .request_id = 0x18DA10F1, .did = 0xFD02, .role = 3};
  REQUIRE(read_settings_record(encode_settings({.van = "Ouse", .owners = {{}, second}}), s,
                               owners) == SettingsOutcome::taken);
  REQUIRE(owners.size() == 2);
  CHECK(owners.dids()[0] == AllowedDid{0x7E4, 0x1234});
  CHECK(owners.dids()[1] == AllowedDid{0x18DA10F1, 0xFD02});

  const LoggerSettings before = s;
  second.request_id = 0x7DF;
  CHECK(read_settings_record(
            encode_settings({.van = "Wye", .driving_period_ms = 500, .owners = {{}, second}}), s,
            owners) == SettingsOutcome::bad_owners_signal);
  CHECK(s == before);
  CHECK(owners.size() == 0);
  // As many as there may be, and one more.
  SettingsFields many;
  for (std::uint32_t i = 0; i < kMaxOwnersSignals; ++i)
    many.owners.push_back({.id = 1000 + i, .name = ""});
  CHECK(read_settings_record(encode_settings(many), s, owners) == SettingsOutcome::taken);
  CHECK(owners.size() == kMaxOwnersSignals);
  many.owners.push_back({.id = 1000 + kMaxOwnersSignals, .name = ""});
  CHECK(read_settings_record(encode_settings(many), s, owners) ==
        SettingsOutcome::bad_owners_signal);
  CHECK(owners.dids().empty());
}
