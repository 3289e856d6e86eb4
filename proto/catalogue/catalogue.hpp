// The signal catalogue: what each PID of service 01 holds, how long it is, how
// a raw word becomes a value, and how sure we are of that.
//
// Standard  SAE J1979 / ISO 15031-5. Nobody here has the standard's data annex
//           (J1979-DA): each line names what it rests on, and its mark.
// Pure      tables only; no heap, no I/O.
// Words     raw words are unsigned and big-endian on the bus; the card keeps
//           them as they came and the host decides what they mean.
//           value = raw * scale + offset.
// Numbers   are written to cards: never renumber, only append. The same
//           numbers stand in packmile.proto; a test compares the two.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace packmile {

using SignalId = std::uint16_t;

namespace signal {
enum : SignalId {
  none = 0,
  pack_v = 1,
  pack_a = 2,
  pack_support = 3,
  pack_state = 4,
  speed_kmh = 5,
  soc_pct = 6,
  odometer_km = 7,
  ambient_c = 8,
  module_v = 9,
  run_time_s = 10,
  coolant_c = 11,
  monitor_status = 12,
  distance_since_clear_km = 13,
  barometric_kpa = 14,
  time_since_clear_min = 15,
  fuel_type = 16,
  mil_distance_km = 17,
  mil_time_min = 18,
  obd_requirements = 19,
  warm_ups = 20,
  demanded_torque_pct = 21,
  actual_torque_pct = 22,
  reference_torque_nm = 23,
  distance_since_reflash_km = 24,
  reported_b2 = 25,
};
}  // namespace signal

// From here on a signal is defined by the card's own session records.
inline constexpr SignalId kFirstOwnersSignal = 1000;

enum class Confidence : std::uint8_t {
  tools,      // two general-purpose decoders compute the same value
  source,     // read in the named source
  secondary,  // only a secondary page says so
  memory      // from memory, unconfirmed: treat the value as an opinion
};
[[nodiscard]] std::string_view name_of(Confidence confidence);

struct PidEntry {
  std::uint8_t pid;
  // Data bytes after the PID's echo; 0: not known, so it is asked alone and
  // what comes, up to four bytes, is kept as one word.
  std::uint8_t bytes;
  std::string_view title;
};

struct SignalEntry {
  SignalId id;
  std::string_view name;  // also the key in every table: unit as suffix
  std::uint8_t pid;
  std::uint8_t first_byte;  // within the PID's data
  std::uint8_t bytes;       // 1..4
  // Stored as runs: changes seldom, so that a word costs nothing until it does.
  bool runs;
  double scale;
  double offset;
  std::string_view unit;
  Confidence confidence;
  std::string_view source;
};

[[nodiscard]] std::span<const PidEntry> pid_catalogue();        // ascending PID
[[nodiscard]] std::span<const SignalEntry> signal_catalogue();  // ascending id

// nullptr: not in the catalogue.
[[nodiscard]] const PidEntry* find_pid(std::uint8_t pid);
[[nodiscard]] const SignalEntry* find_signal(SignalId id);
[[nodiscard]] const SignalEntry* find_signal(std::string_view name);
// The signals inside one PID, in order of their ids; empty: none known.
[[nodiscard]] std::span<const SignalEntry> signals_of_pid(std::uint8_t pid);

// Mask of a signal's word: differences on the card are modulo this + 1. A
// signal that is not in the catalogue is taken as 32 bits.
[[nodiscard]] constexpr std::uint32_t word_mask(std::size_t bytes) {
  return bytes >= 4 ? 0xFFFFFFFFu : (1u << (8 * bytes)) - 1;
}
[[nodiscard]] std::uint32_t word_mask_of(SignalId id);

}  // namespace packmile
