#include "benchvan/pid_words.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace packmile::benchvan {
namespace {

std::uint32_t clamped(double code, double highest) {
  return static_cast<std::uint32_t>(std::clamp(code, 0.0, highest));
}

std::uint32_t nearest(double code, double highest) { return clamped(std::round(code), highest); }

// Cut down; the small push keeps a value that is exactly on a code from falling
// to the code below by the last bit of its double.
std::uint32_t cut_down(double code, double highest) {
  return clamped(std::floor(code + 1e-7), highest);
}

std::uint32_t pack_current_word(double pack_a, const PidCoding& coding) {
  // The magnitude is rounded before sign and coding, so that all four variants
  // carry the same number.
  const auto magnitude = static_cast<std::int32_t>(nearest(std::fabs(pack_a) * 10.0, 32767.0));
  const bool negative = (pack_a < 0) != coding.discharge_negative;
  const std::int32_t code = negative ? -magnitude : magnitude;
  const std::int32_t word = coding.offset_binary ? code + 0x8000 : code;
  return static_cast<std::uint32_t>(word) & 0xFFFFu;
}

bool put_system_data(const Moment& moment, const PidCoding& coding, Payload& reply) {
  const std::optional<double> pack_v = moment.get(Quantity::pack_v);
  const std::optional<double> pack_a = moment.get(Quantity::pack_a);
  if (!pack_v && !pack_a) return false;
  reply.put(0x9A);
  // Bit 1: voltage is supported, bit 2: current. The charging state (bit 0) is
  // left unsupported, as a van without a combustion engine may do.
  reply.put(static_cast<std::uint8_t>((pack_v ? 0x02 : 0) | (pack_a ? 0x04 : 0)));
  reply.put(0x00);
  reply.put_word(pack_v ? nearest(*pack_v * 64.0, 65535.0) : 0, 2);
  reply.put_word(pack_a ? pack_current_word(*pack_a, coding) : 0, 2);
  return true;
}

struct WordRule {
  std::uint8_t pid;
  int bytes;
  Quantity quantity;
  double codes_per_unit;
  double offset_codes;
};

// PIDs whose word is value * codes_per_unit + offset, rounded. Saturate at both
// ends, never wrap.
constexpr WordRule kWordRules[]{
    {0x05, 1, Quantity::coolant_c, 1, 40},
    {0x1F, 2, Quantity::run_time_s, 1, 0},
    {0x30, 1, Quantity::warm_ups, 1, 0},
    {0x31, 2, Quantity::distance_since_clear_km, 1, 0},
    {0x33, 1, Quantity::barometric_kpa, 1, 0},
    {0x42, 2, Quantity::module_v, 1000, 0},
    {0x46, 1, Quantity::ambient_c, 1, 40},
    {0x4E, 2, Quantity::time_since_clear_min, 1, 0},
    {0x61, 1, Quantity::demanded_torque_pct, 1, 125},
    {0x62, 1, Quantity::actual_torque_pct, 1, 125},
    {0x63, 2, Quantity::reference_torque_nm, 1, 0},
};

}  // namespace

bool put_pid(std::uint8_t pid, const Moment& moment, const PidCoding& coding, Payload& reply) {
  const auto put = [&](std::uint32_t word, int bytes) {
    reply.put(pid);
    reply.put_word(word, bytes);
    return true;
  };
  switch (pid) {
    case 0x01:  // no lamp, no trouble code, no monitor
      return put(0, 4);
    case 0x0D: {
      const std::optional<double> speed_kmh = moment.get(Quantity::speed_kmh);
      if (!speed_kmh) return false;
      return put(coding.speed_cut ? cut_down(*speed_kmh, 255) : nearest(*speed_kmh, 255), 1);
    }
    case 0x1C:  // 05: not meant to comply with OBD
      return put(0x05, 1);
    case 0x51:  // 08: electric
      return put(0x08, 1);
    case 0x5B: {
      const std::optional<double> soc_pct = moment.get(Quantity::soc_pct);
      if (!soc_pct) return false;
      return put(cut_down(*soc_pct * 255.0 / 100.0, 255), 1);
    }
    case 0x9A:
      return put_system_data(moment, coding, reply);
    case 0xA6: {
      const std::optional<double> odometer_km = moment.get(Quantity::odometer_km);
      if (!odometer_km) return false;
      return put(cut_down(*odometer_km * 10.0, 4294967295.0), 4);
    }
    default:
      break;
  }
  for (const WordRule& rule : kWordRules) {
    if (rule.pid != pid) continue;
    const std::optional<double> value = moment.get(rule.quantity);
    if (!value) return false;
    const double highest = rule.bytes == 1 ? 255.0 : 65535.0;
    return put(nearest(*value * rule.codes_per_unit + rule.offset_codes, highest), rule.bytes);
  }
  return false;
}

void put_support_bitmap(std::uint8_t pid, const PidSet& supported, Payload& reply) {
  std::uint32_t bits = 0;
  for (unsigned i = 1; i <= 32; ++i) {
    const unsigned member = pid + i;
    bits = (bits << 1) | (member < 256 && supported[member] ? 1u : 0u);
  }
  reply.put(pid);
  reply.put_word(bits, 4);
}

void link_support_ranges(PidSet& supported) {
  for (unsigned base = 0xE0; base >= 0x20; base -= 0x20) {
    for (unsigned pid = base + 1; pid <= base + 0x20 && pid < 256; ++pid) {
      if (supported[pid]) supported.set(base);
    }
  }
}

}  // namespace packmile::benchvan
