// Every sample of a card, row by row, for people and for outside tools.
//
// Input     a surveyed card; data sectors of its present life.
// Output    rows in order of sequence, inside a sector in order of time.
// Bounded   one sector at a time.
#pragma once
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "card/card_survey.hpp"

namespace packmile {

struct SampleRow {
  std::optional<UtcTime> time;  // absent: this boot has no clock to go by
  Tick tick_ms = 0;
  std::uint32_t boot_id = 0;
  std::uint32_t ecu = 0;
  SignalId signal = 0;
  // Empty: not in the catalogue, and no owner's signal of this boot. An owner's
  // signal may have any bytes from a card in its name and unit.
  std::string_view name;
  std::uint32_t raw = 0;
  // Absent: neither of the two, or the pack current, whose coding and sign are
  // decided from evidence and not here. The coding of an owner's signal is
  // defined; which sign of a current is discharge is not.
  std::optional<double> value;
  std::string_view unit;
};

// Calls `visit` with each sample whose signal is in `only` (empty: all). False
// from visit ends the walk. Records that do not follow the format are left out.
[[nodiscard]] Result<Done> for_each_sample(const CardFile& card, const CardSurvey& survey,
                                           std::span<const SignalId> only,
                                           const std::function<bool(const SampleRow&)>& visit);

// One sector of the log as it is, by its address in the log (0 = settings).
struct LogSector {
  SectorHeader header;
  std::vector<std::uint8_t> payload;  // one packmile.Record
};
// Finds the log in a whole-card image first. Errors: outside the card, blank,
// damaged, not ours.
[[nodiscard]] Result<LogSector> read_log_sector(const CardFile& card, std::uint64_t address);

}  // namespace packmile
