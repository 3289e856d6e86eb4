// What the pack-current word of $9A means in this van: its coding, which sign
// is discharge, and whether it is the pack's current at all. No public source
// settles it, so it is decided from evidence, per ECU and calibration id.
//
// Input     episodes, raw words.
// Output    a verdict with the tallies that led to it. Only `agreed` gives energy.
// Method    votes of four kinds: sag (voltage falls when discharge rises),
//           kinetic (accelerating draws power), SoC falling while driving, SoC
//           rising while standing; each a random walk to +-9 (Wald's sequential
//           test: at most 4e-6 wrong when 8 of 10 votes are right).
// Sign      pack_a() below is positive while the pack discharges; nowhere else
//           is a sign decided.
#pragma once
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "reading/verdict.hpp"
#include "timeline/episode.hpp"

namespace packmile {

enum class CurrentVerdict : std::uint8_t { agreed, contradictory, too_little, not_pack_current };
enum class CurrentCoding : std::uint8_t { unknown, twos_complement, offset_binary };
enum class CurrentSign : std::uint8_t { unknown, discharge_positive, discharge_negative };

// As in rows: agreed, contradictory, too_little, not_pack_current.
[[nodiscard]] std::string_view word_of(CurrentVerdict verdict);
[[nodiscard]] std::string_view word_of(CurrentCoding coding);  // twos, offset, unknown
// discharge_positive, discharge_negative, unknown
[[nodiscard]] std::string_view word_of(CurrentSign sign);

// One kind of evidence: votes for "positive is discharge" and against.
struct VoteTally {
  std::string kind;  // sag, kinetic, soc_drive, soc_charge
  std::int64_t positive = 0;
  std::int64_t negative = 0;
};

// Of the current sensor, positive as pack_a: a word of 0 A with an offset of
// 0.3 A means -0.3 A.
struct SensorOffset {
  double a = 0;
  double u_a = 0;  // 1 sd
};

// What is at the pack for each unit of the words, of energy and of charge, and 1 sd
// of each.
struct SensorGain {
  double energy = 1;
  double u_energy = 0;
  double charge = 1;
  double u_charge = 0;

  // The same of a resistance: volts over amperes. Its uncertainty is that of voltage
  // and current apart, whose product the charges told: what the one has too much the
  // other has too little. voltage_u: 1 sd, relative, of a usual voltage.
  [[nodiscard]] double resistance() const { return energy / (charge * charge); }
  [[nodiscard]] double u_resistance(double voltage_u) const {
    const double of_charge = u_charge / charge;
    const double of_energy = u_energy / energy;
    return resistance() *
           std::sqrt(std::max(
               0.0, 2 * of_charge * of_charge + 2 * voltage_u * voltage_u - of_energy * of_energy));
  }

  bool operator==(const SensorGain&) const = default;
};

struct PackReading {
  std::uint32_t ecu = 0;
  std::string calibration_id;
  CurrentVerdict verdict = CurrentVerdict::too_little;
  CurrentCoding coding = CurrentCoding::unknown;
  CurrentSign sign = CurrentSign::unknown;
  std::vector<VoteTally> tallies;
  // One sentence for people: what was decided from what, or what is missing
  // and how to get it.
  std::string evidence;
  UtcTime seen_from{};   // beginning and
  UtcTime decided_on{};  // end of the data that it rests on
  // Only where it is agreed: energy takes it out.
  std::optional<SensorOffset> offset;
  // 1 sd, A, of what an offset that is not agreed is seen to differ by from charge to
  // charge: beside what is taken without evidence. 0: nothing shows.
  double offset_wander_a = 0;
  // Only where a meter or receipts tell it, which the account of the charges has to
  // come before (meter_gain.hpp): energy takes it out too.
  std::optional<SensorGain> gain;
  // Each question by itself, as rows: coding, sign, pack_current, offset_a.
  std::vector<Verdict> verdicts;
  // As open_segments() numbers these rows.
  std::uint32_t segment = 1;

  // Tenths of an ampere, positive = discharge: the word's own resolution, so
  // that every coding and sign of the same current gives the same number.
  [[nodiscard]] std::int32_t pack_tenths_a(std::uint16_t raw) const {
    const std::int32_t tenths_a = coding == CurrentCoding::offset_binary
                                      ? static_cast<std::int32_t>(raw) - 32768
                                      : static_cast<std::int32_t>(static_cast<std::int16_t>(raw));
    return sign == CurrentSign::discharge_negative ? -tenths_a : tenths_a;
  }
  // Amperes, positive = discharge. Meaningful only when the verdict is agreed.
  [[nodiscard]] double pack_a(std::uint16_t raw) const;
};

// What a controller may be wrong by at one rest, share of the pack, 1 sd. A judgment:
// 79 published pairs of a fleet against rest voltage have a robust sd of 1.6 points,
// and of that two rests alike share a part.
inline constexpr double kSocAtRestU = 0.01;
// What a sensor's offset is off by in any one hour, where it was told over days, A, 1 sd:
// it moves with the sensor's warmth. A judgment; data sheets of current transducers state
// a drift of the zero of this size over some tens of degrees (from memory).
inline constexpr double kOffsetWanderU = 0.05;
inline constexpr double kVoltPerCode = kPackVStep;
inline constexpr double kAmpPerCode = kPackAStep;
inline constexpr double kSocPctPerCode = kSocStepPct;

// A state of charge that stands still while so much flows is stuck, Ah. A step of
// more than 1 % may hold that much. Common practice, no source.
[[nodiscard]] constexpr double stuck_ah(double step_pct) {
  constexpr double kLeastAh = 3;
  constexpr double kStepPct = 1;
  return step_pct > kStepPct ? kLeastAh * step_pct / kStepPct : kLeastAh;
}

// Gathers evidence over any number of episodes, in any order of vans' lives.
class PackEvidence {
 public:
  PackEvidence();
  ~PackEvidence();
  PackEvidence(PackEvidence&&) noexcept;
  PackEvidence& operator=(PackEvidence&&) noexcept;

  void observe(const Episode& episode);
  // One reading per (ECU, calibration id) seen, in order of those.
  [[nodiscard]] std::vector<PackReading> decide() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The reading that holds for an episode; nullptr: no pack words were seen.
[[nodiscard]] const PackReading* reading_of(const std::vector<PackReading>& readings,
                                            const Episode& episode);

}  // namespace packmile
