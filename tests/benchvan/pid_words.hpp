// Service 01 answers: physical values to bytes. The bench's own coding, written
// from the PID table, apart from the signal catalogue.
//
// Standard  SAE J1979 service 01 (table of the digital annex as known publicly).
// Sign      pack_a positive = discharge goes in; what the wire shows is PidCoding.
// Rounding  to the nearest code, half away from zero; state of charge and
//           odometer are cut down.
#pragma once
#include <bitset>
#include <cstdint>

#include "benchvan/moment.hpp"
#include "benchvan/payload.hpp"

namespace packmile::benchvan {

using PidSet = std::bitset<256>;

// How the pack current word of $9A is coded: no public source fixes it. The
// four variants mirror each other exactly.
struct PidCoding {
  bool offset_binary = false;       // else two's complement
  bool discharge_negative = false;  // else positive
  bool speed_cut = false;           // whole km/h cut down, else rounded
};

// Appends the PID and its data. False, and nothing appended: no value at this
// moment, or not a PID of the bench (support bitmaps are not made here).
[[nodiscard]] bool put_pid(std::uint8_t pid, const Moment& moment, const PidCoding& coding,
                           Payload& reply);

// Appends a support PID (00, 20, .. E0) and its four bytes.
void put_support_bitmap(std::uint8_t pid, const PidSet& supported, Payload& reply);
[[nodiscard]] constexpr bool is_support_pid(std::uint8_t pid) { return pid % 0x20 == 0; }
// Adds the support PIDs that lead to the highest PID of the set.
void link_support_ranges(PidSet& supported);

// How many values an answered PID carries: $9A has support bits, charging
// state, voltage and current.
[[nodiscard]] constexpr unsigned values_of_pid(std::uint8_t pid) { return pid == 0x9A ? 4 : 1; }

}  // namespace packmile::benchvan
