// What the sectors of a card say, read by libprotobuf: an independent reader of
// what the logger wrote by hand. Plain values, because the generated classes and
// the core's share a namespace.
#pragma once
#include <array>
#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace packmile::test {

struct DecodedSample {
  std::uint32_t ecu = 0;
  std::uint32_t signal = 0;
  std::uint32_t period_ms = 0;
  std::uint64_t tick_ms = 0;
  std::uint32_t raw = 0;
  bool operator==(const DecodedSample&) const = default;
};

struct DecodedPoll {
  std::uint32_t ecu = 0;
  std::string pids;
  std::uint32_t period_ms = 0;
  bool by_did = false;
  std::uint32_t owners_did = 0;
};

struct DecodedEcu {
  std::uint32_t response_id = 0;
  std::string name, calibration_id, supported_pids, supported_dids;
};

// An owner's signal, as packmile.OwnersSignal.
struct OwnersFields {
  std::uint32_t id = 1000;
  std::uint32_t request_id = 0x7E4;
  std::uint32_t did = 0x1234;
  std::uint32_t first_byte = 0;
  std::uint32_t bytes = 2;
  std::uint32_t first_bit = 0;
  std::uint32_t bits = 0;
  bool little_endian = false;
  bool is_signed = false;
  std::uint32_t period_ms = 0;
  int role = 0;
  double scale = 1;
  double offset = 0;
  std::string name = "made_up";
  std::string unit = {};
  std::int32_t code_scale_q16 = 0;
  std::int32_t code_offset = 0;
};
// The message alone, as serialised by libprotobuf.
[[nodiscard]] std::vector<std::uint8_t> encode_owners(const OwnersFields& fields);

struct DecodedSession {
  std::uint32_t listen_only_s = 0;
  std::uint32_t not_found_in_row = 0;
  std::uint64_t tick_ms = 0;
  std::string logger_version, van, vin;
  int reset_cause = 0;
  int clock_source = 0;
  std::uint64_t clock_unix_ms = 0, clock_tick_ms = 0;
  std::uint32_t kbit_per_s = 0;
  bool extended_ids = false;
  std::vector<DecodedEcu> ecu;
  std::vector<DecodedPoll> poll;
  bool has_counters = false;
  std::uint32_t requests = 0, refused_transmits = 0, dropped_samples = 0, responses = 0,
                card_write_failures = 0, requests_while_parked = 0, timeouts = 0, isotp_dropped = 0,
                lines_discarded = 0, pending_responses = 0, foreign_tester_events = 0;
  bool clean_stop = false;
  std::uint32_t supply_min_mv = 0;
  std::map<std::string, std::uint32_t> counters;  // all of them, by name
  bool has_fault = false;
  std::array<std::uint32_t, 4> fault{};  // exception, program counter, link register, status
  std::vector<std::vector<std::uint8_t>> owners;  // each serialised again
};

struct DecodedRecord {
  bool parsed = false;
  std::uint64_t base_ms = 0;
  std::uint32_t dropped_samples = 0;
  std::vector<DecodedSample> samples;  // block by block
  bool has_session = false;
  DecodedSession session;
};

[[nodiscard]] DecodedRecord decode_record(std::span<const std::uint8_t> payload);

struct SettingsFields {
  std::string van;
  std::uint64_t prepared_unix_ms = 0;
  int driving_period_ms = -1;  // -1: absent
  int charging_period_ms = -1;
  std::uint32_t driving_deadline_ms = 0;
  std::uint32_t charging_deadline_ms = 0;
  int battery = 0;
  std::vector<OwnersFields> owners = {};
};
// Request id and identifier of every definition in a record of settings.
[[nodiscard]] std::vector<std::pair<std::uint32_t, std::uint32_t>> dids_of_settings(
    std::span<const std::uint8_t> record);
// A Record that holds settings, as serialised by libprotobuf.
[[nodiscard]] std::vector<std::uint8_t> encode_settings(const SettingsFields& fields);

}  // namespace packmile::test
