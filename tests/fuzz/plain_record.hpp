// A second decoder of samples records, for comparison only: slow and plain.
//
// Standard  FORMAT.md, "Columns" and "One encoding"; packmile.proto.
// Method    walks the bytes once to see that they are in the one encoding that
//           the format allows, lets libprotobuf read them, then turns one column
//           after the other into rows in 64-bit arithmetic.
// Rule      shares no line with host/card or with wire.hpp: an error there must
//           not cancel itself out here.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace packmile::fuzz {

struct PlainBlock {
  std::uint32_t ecu = 0;
  std::uint32_t period_ms = 0;
  std::vector<std::uint32_t> signals;
  std::vector<std::uint64_t> tick_ms;             // rows
  std::vector<std::vector<std::uint32_t>> words;  // of each signal, rows each

  bool operator==(const PlainBlock&) const = default;
};

struct PlainRecord {
  std::vector<PlainBlock> blocks;
  std::uint32_t dropped_samples = 0;
};

// None: the payload does not follow the format.
[[nodiscard]] std::optional<PlainRecord> read_plain_record(std::span<const std::uint8_t> payload);

// Ends the program if host/card reads other rows out of a payload than the plain
// decoder does, or refuses what that takes.
void compare_decoders(std::span<const std::uint8_t> payload);

}  // namespace packmile::fuzz
