// What the sectors of one boot say about themselves: session records joined,
// ticks, what was answered.
//
// Input     good sectors, in order of address or of sequence.
// Bounded   lists that a forged card could make endless have a limit each.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "card/boot_clock.hpp"
#include "card/owners_definition.hpp"
#include "card/record_decoder.hpp"
#include "sector/sector.hpp"
#include "tick.hpp"

namespace packmile {

// An ECU as the session records named it.
struct EcuFacts {
  std::uint32_t response_id = 0;
  std::string name;
  std::string calibration_id;
  std::vector<std::uint8_t> supported_pids;  // PIDs whose bit is set, ascending
  // The same of the data identifiers F400 + PID (service 22).
  std::vector<std::uint8_t> supported_dids{};
};

// Counted by the logger since the boot.
struct BootCounters {
  std::uint64_t requests_while_parked = 0;
  std::uint64_t refused_transmits = 0;
  std::uint64_t foreign_tester_events = 0;
  std::uint64_t dropped_samples = 0;
  std::uint64_t other_frames_per_s = 0;  // the most in one second
  std::uint64_t echoed_frames = 0;
  std::uint64_t late_answers = 0;
  std::uint64_t reply_wait_ms = 0;  // the longest; 0: as usual
};

struct PolledPid {
  std::uint32_t ecu = 0;
  std::uint8_t pid = 0;
  bool by_did = false;  // as data identifier F400 + PID
  auto operator<=>(const PolledPid&) const = default;
};

// A set of signals that one ECU answered together, and how often.
struct AnsweredSet {
  std::uint32_t ecu = 0;
  std::uint8_t signals = 0;
  std::array<SignalId, kMaxBlockSignals> signal{};
  std::uint64_t rows = 0;
};

// An owner's signal as the session records of a boot define it.
struct BootOwnersSignal {
  SignalId id = 0;  // 1000 to 1015
  OwnersDefinition definition;
};

// How the run before a boot ended, if the logger itself failed in it.
enum class LoggerFailure : std::uint8_t { none, fault, watchdog };

// What the fault handler wrote down; fields of packmile.Fault.
struct FaultFacts {
  std::uint32_t exception = 0;
  std::uint32_t program_counter = 0;
  std::uint32_t link_register = 0;
  std::uint32_t status = 0;
};

struct BootFacts {
  std::uint32_t log_id = 0;
  std::uint32_t boot_id = 0;
  std::uint32_t first_sequence = 0;
  std::uint32_t last_sequence = 0;
  std::uint64_t sectors = 0;
  std::uint64_t malformed_records = 0;
  std::uint32_t van_tag = 0;  // 0: no sector of the boot has one
  // The first and last sample; absent: no samples.
  std::optional<Tick> first_tick;
  std::optional<Tick> last_tick;
  std::string van;  // name as the logger knew it from the settings; may be empty
  std::string vin;  // empty: never read in this boot
  std::string logger_version;
  std::vector<EcuFacts> ecus;     // ascending response_id
  std::vector<PolledPid> polled;  // ascending
  // Ascending. Those that break a rule of packmile.proto, and those that session
  // records of the boot contradict each other about, are left out.
  std::vector<BootOwnersSignal> owners_signals;
  bool broken_definition = false;      // some were left out
  std::uint32_t contradicted_ids = 0;  // bit k: id 1000 + k
  BootCounters counters;
  std::uint32_t supply_min_mv = 0;  // 0: not measured
  bool reset_too_often = false;     // it only listened at first
  LoggerFailure failure = LoggerFailure::none;
  std::optional<FaultFacts> fault;  // absent: nothing was written down
  std::vector<ClockSample> clock_readings;
  std::vector<AnsweredSet> answered;
};

// Adds sectors to the boots that they belong to.
//
// A census looks at the times of a sector and at which signals it has. Its
// last tick is only worked out where it can be the last of the boot: before a
// sector of another boot, and at the end.
class BootCensus {
 public:
  enum class Depth : std::uint8_t {
    times,  // a record that is malformed in its columns goes unnoticed
    whole   // every record is decoded, to see whether it can be
  };
  explicit BootCensus(Depth depth) : depth_(depth) {}

  // One good data or session sector. `boot` must stay where it is until
  // finish(), or until a sector of another boot is added.
  void add(BootFacts& boot, const SectorHeader& header, std::span<const std::uint8_t> payload);
  // After the last sector.
  void finish();

 private:
  void add_samples(BootFacts& boot, std::span<const std::uint8_t> payload);

  Depth depth_;
  RecordDecoder decoder_;
  // The newest data sector of the boot in hand.
  BootFacts* pending_boot_ = nullptr;
  std::size_t pending_bytes_ = 0;
  std::array<std::uint8_t, kSectorPayloadBytes> pending_{};
};

// The settings sector. Absent: the record is malformed.
struct CardSettings {
  std::string van;
  std::uint64_t prepared_unix_ms = 0;  // 0: not known
  bool unknown_fields = false;         // a logger refuses such settings
  bool bad_owners_signal = false;      // a definition breaks a rule of packmile.proto
  // In the order of their ids; empty where the settings are refused.
  std::vector<OwnersDefinition> owners_signals;

  [[nodiscard]] bool refused() const { return unknown_fields || bad_owners_signal; }
};
// Gives a boot whose session records define nothing what the settings define.
void define_by_settings(BootFacts& boot, const CardSettings& settings);
[[nodiscard]] std::optional<CardSettings> read_settings(std::span<const std::uint8_t> payload);

}  // namespace packmile
