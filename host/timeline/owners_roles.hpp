// Which owner's signals of a boot take the place of standard signals, and how
// their words become the codes that an episode holds.
//
// Input     the definitions that the boot's session records, or the settings of
//           its card, hold; what is known against them (owners_judge.hpp).
// Rule      a signal with a role takes the place of the standard one in all of
//           the boot; of several with one role the one of the lowest id. What
//           another ECU than the defined one answered is not the signal.
// Rounding  to the nearest code; the step of the state of charge is the
//           signal's own, all others have the standard's.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "card/owners_definition.hpp"
#include "owners_signal.hpp"

namespace packmile {

inline constexpr std::size_t kRoles = static_cast<std::size_t>(kLastRole) + 1;

// The largest current that the codes hold, in steps of 0.1 A.
inline constexpr double kLargestTenthsA = 32767;

// What a value of the role can be at all, in the unit of the role.
struct PlausibleRange {
  double low = 0;
  double high = 0;
  [[nodiscard]] bool holds(double value) const { return value >= low && value <= high; }
};
[[nodiscard]] PlausibleRange plausible_range(SignalRole role);

struct RoleSource {
  SignalId id = signal::none;  // none: no owner's signal has the role
  std::uint32_t ecu = 0;       // id of its answers
  OwnersDefinition definition;
};

class OwnersRoles {
 public:
  void set(SignalRole role, RoleSource source);
  // nullptr: the standard signal has its place.
  [[nodiscard]] const RoleSource* of(SignalRole role) const;
  // nullptr: no role in this boot.
  [[nodiscard]] const RoleSource* of(SignalId id, std::uint32_t ecu) const;
  [[nodiscard]] bool any() const { return any_; }
  // Words of both boots become codes in the same way.
  [[nodiscard]] bool same_as(const OwnersRoles& other) const;
  // Tells definitions of voltage and current apart, "owner's signals 1A2B3C4D";
  // empty: both are the standard's.
  [[nodiscard]] const std::string& pack_text() const { return pack_text_; }

 private:
  std::array<RoleSource, kRoles> sources_{};
  std::string pack_text_;
  bool any_ = false;
};

// The step of the codes of an owner's state of charge, per cent.
[[nodiscard]] double soc_step_pct_of(const OwnersDefinition& definition);

// A word as a code of the role's series: 1/64 V, 0.1 A in two's complement of
// 16 bits (cut off at +-3276.7 A), steps of the state of charge, 0.1 km, km/h.
// Absent: the value is impossible, or the role has no codes.
[[nodiscard]] std::optional<std::uint32_t> code_of(const OwnersDefinition& definition,
                                                   std::uint32_t word);

}  // namespace packmile
