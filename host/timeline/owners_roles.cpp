#include "timeline/owners_roles.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <span>
#include <utility>

#include "card/crc.hpp"
#include "timeline/episode.hpp"

namespace packmile {
namespace {

const double kKmPerOdometerCode = find_signal(signal::odometer_km)->scale;
constexpr double kLargestCode16 = 65535;
// Finer steps than this would be noise of the van's arithmetic.
// Common practice, no source.
constexpr double kFinestSocStepPct = 0.01;
// Controllers overshoot a little at full and at empty; common practice, no source.
constexpr double kSocSlackPct = 0.5;
constexpr double kMostKmh = 250;
// Backing: a signed speed. Common practice, no source.
constexpr double kBackingKmh = -30;
// No van drives as far. Common practice, no source.
constexpr double kMostKm = 5e6;
constexpr double kColdestC = -60;
constexpr double kHottestC = 150;

std::string text_of(const RoleSource& source) {
  const OwnersDefinition& d = source.definition;
  char text[160];
  std::snprintf(text, sizeof text, "%u %X %X %X %u %u %u %u %d %d %a %a;",
                static_cast<unsigned>(d.role), source.ecu, d.request_id, d.did, d.first_byte,
                d.bytes, d.first_bit, d.bits, d.little_endian, d.is_signed, d.scale, d.offset);
  return text;
}

// To the nearest whole number, halves to the even one: where the van's step is
// half a code every second word is such a half, and one way for all of them would
// be an offset.
double nearest(double codes) {
  constexpr double kHalvesWithin = 1e-6;  // what binary fractions add or take
  const double below = std::floor(codes);
  const double rest = codes - below;
  if (std::abs(rest - 0.5) > kHalvesWithin) return std::round(codes);
  return std::fmod(below, 2) == 0 ? below : below + 1;
}

std::uint32_t code16(double codes) {
  return static_cast<std::uint32_t>(std::clamp(nearest(codes), 0.0, kLargestCode16));
}

}  // namespace

PlausibleRange plausible_range(SignalRole role) {
  constexpr double kAny = std::numeric_limits<double>::max();
  switch (role) {
    case SignalRole::pack_v:
      return {0, kLargestCode16 * kPackVStep};
    case SignalRole::soc:
      return {-kSocSlackPct, 100 + kSocSlackPct};
    case SignalRole::odometer:
      return {0, kMostKm};
    case SignalRole::speed:
      return {kBackingKmh, kMostKmh};
    case SignalRole::pack_temp:
      return {kColdestC, kHottestC};
    case SignalRole::none:
    case SignalRole::pack_a:
    case SignalRole::charger_state:
    case SignalRole::reported_capacity:
      return {-kAny, kAny};
  }
  return {-kAny, kAny};
}

void OwnersRoles::set(SignalRole role, RoleSource source) {
  sources_[static_cast<std::size_t>(role)] = std::move(source);
  any_ = true;
  std::string text;
  for (const SignalRole of_pack : {SignalRole::pack_v, SignalRole::pack_a})
    if (const RoleSource* one = of(of_pack)) text += text_of(*one);
  if (text.empty()) return;
  const auto* bytes = reinterpret_cast<const std::uint8_t*>(text.data());
  pack_text_ = "owner's signals " + hex_text(fast_crc32c(std::span(bytes, text.size())), 8);
}

const RoleSource* OwnersRoles::of(SignalRole role) const {
  const RoleSource& source = sources_[static_cast<std::size_t>(role)];
  return source.id == signal::none ? nullptr : &source;
}

const RoleSource* OwnersRoles::of(SignalId id, std::uint32_t ecu) const {
  for (const RoleSource& source : sources_)
    if (source.id == id && source.ecu == ecu && id != signal::none) return &source;
  return nullptr;
}

bool OwnersRoles::same_as(const OwnersRoles& other) const {
  return std::equal(sources_.begin(), sources_.end(), other.sources_.begin(),
                    [](const RoleSource& a, const RoleSource& b) {
                      if (a.id == signal::none || b.id == signal::none)
                        return a.id == signal::none && b.id == signal::none;
                      return a.ecu == b.ecu && mean_the_same(a.definition, b.definition);
                    });
}

double soc_step_pct_of(const OwnersDefinition& definition) {
  return std::clamp(std::abs(definition.scale), kFinestSocStepPct, 100.0);
}

std::optional<std::uint32_t> code_of(const OwnersDefinition& definition, std::uint32_t word) {
  const double value = value_of(definition, word);
  if (!plausible_range(definition.role).holds(value)) return std::nullopt;
  switch (definition.role) {
    case SignalRole::pack_v:
      return code16(value / kPackVStep);
    case SignalRole::pack_a: {
      const double tenths =
          std::clamp(nearest(value / kPackAStep), -kLargestTenthsA, kLargestTenthsA);
      return static_cast<std::uint16_t>(static_cast<std::int16_t>(tenths));
    }
    case SignalRole::soc:
      return static_cast<std::uint32_t>(
          std::lround(std::clamp(value, 0.0, 100.0) / soc_step_pct_of(definition)));
    case SignalRole::odometer:
      return static_cast<std::uint32_t>(std::lround(value / kKmPerOdometerCode));
    case SignalRole::speed:
      return code16(value);
    case SignalRole::none:
    case SignalRole::pack_temp:
    case SignalRole::charger_state:
    case SignalRole::reported_capacity:
      return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace packmile
