// Energy per mile explained by temperature, speed and stops, so that vans on
// unlike rounds can be compared.
//
// Model     kWh/mile = heating * max(0, 15 - T) / v + cooling * max(0, T - 22) / v
//           + hotel / v + drag * v^2 + stop * stops per mile + base of the van;
//           T ambient in degC, v mean speed while moving in mph. Heating, cooling
//           and hotel loads are powers, so by the mile they go with 1 / v. The
//           terms are those of all vans of one type, the base is each van's own.
//           Payload, wind and slope are not known: they stay in the residual.
// Method    Huber regression (huber_fit.hpp). Random part of the intervals: whole
//           days of each van drawn anew kDraws times with a fixed seed,
//           half-width times 1.1 (raw coverage was 92 % in simulation). Systematic
//           part: what the van's own sensors leave open; vans do not share it.
// Refuses   a van below 40 drives or 10 days; temperature terms below a span of
//           8 K; terms that cannot be told apart, do not vary, or come out below
//           0, which none of them can be. What was refused is said with its reason.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "figure.hpp"

namespace packmile {

// One drive of one van.
struct MileDrive {
  std::uint32_t van = 0;  // index of the caller's
  std::int64_t day = 0;   // any count of local days
  double miles = 0;
  Figure kwh_per_mile;
  double moving_mph = 0;  // mean while moving, above 0
  double stops = 0;
  std::optional<double> ambient_c;
};

// Temperatures between which neither heating nor cooling is counted, degC.
inline constexpr double kHeatingBelowC = 15;
inline constexpr double kCoolingAboveC = 22;
// What is left of a drive's conditions when vans are compared.
inline constexpr double kReferenceAmbientC = 18;
inline constexpr double kLeastDriveKm = 3;
inline constexpr double kLeastDriveCoverage = 0.9;

struct MileRules {
  std::size_t least_drives = 40;  // of a van
  std::size_t least_days = 10;
  double least_span_k = 8;
  double most_condition = 30;
  std::size_t least_drives_of_term = 10;  // with the term above 0; common practice, no source
  std::size_t draws = 200;
  double widening = 1.1;
  std::uint64_t seed = 9;
};

enum class MileTerm : std::uint8_t { heating, cooling, hotel, drag, stops };
inline constexpr std::size_t kMileTerms = 5;
[[nodiscard]] std::string_view word_of(MileTerm term);

// Shares of a van's energy per mile; they add up to its mean over the drives.
enum class MilePart : std::uint8_t { base, drag, stops, climate, hotel, unexplained };
inline constexpr std::size_t kMileParts = 6;
[[nodiscard]] std::string_view word_of(MilePart part);

// What all vans of one type share.
struct MileType {
  std::vector<std::uint32_t> vans;
  // By MileTerm: heating, cooling kW per K; hotel kW; drag kWh/mile at
  // kDragMph; stops kWh each. Unknown: the term was left out, and why.
  std::array<MaybeFigure, kMileTerms> terms;
  double residual_scale = 0;    // kWh/mile, 1 sd of a drive
  bool by_temperature = false;  // heating or cooling was looked for
};
inline constexpr double kDragMph = 50;

struct MileVan {
  std::size_t drives = 0;  // that the fit uses
  std::size_t days = 0;
  std::size_t type = 0;      // index of MileStudy::types, where at_reference is known
  MaybeFigure mean;          // kWh/mile of these drives, all miles together
  MaybeFigure at_reference;  // kWh/mile
  std::array<MaybeFigure, kMileParts> parts;  // kWh/mile, by MilePart
  // For differences: at_reference in each draw, and its systematic part (1 sd).
  std::vector<double> draws;
  double u_systematic = 0;
};

// Speed and stops at which vans are compared: medians of the drives in the fit.
struct MileReference {
  double moving_mph = 0;
  double stops_per_mile = 0;
};

struct MileStudy {
  std::optional<MileReference> reference;  // absent: no van has enough drives
  std::vector<MileType> types;
  std::vector<MileVan> vans;  // one for each of the caller's
};

// type_of_van: vans with the same number share their terms.
[[nodiscard]] MileStudy study_energy_per_mile(std::span<const MileDrive> drives,
                                              std::span<const std::uint32_t> type_of_van,
                                              const MileRules& rules = {});

// How a van differs from others at reference conditions, kWh/mile.
struct MileDifference {
  Figure kwh_per_mile;  // above 0: the van takes more
  // 0 is outside the interval, which for this is widened to 95 % for all
  // `comparisons` together (Bonferroni).
  bool decided = false;
  // Days of logging beyond those at hand until it would be, if the difference
  // is what it looks like. Absent: decided, or no number of days would do
  // because the sensors leave more open than the difference.
  std::optional<double> more_days;
};
// others: the mean of them, each with a figure at reference conditions.
[[nodiscard]] MileDifference difference_of(const MileStudy& study, std::uint32_t van,
                                           std::span<const std::uint32_t> others,
                                           std::size_t comparisons, const MileRules& rules = {});

}  // namespace packmile
