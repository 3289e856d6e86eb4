// Ah between two fixed pack voltages in like charges: a witness that asks the
// cells and not the controller.
//
// Input     traces of charges.
// Output    groups of like charges, each with its window and the Ah of every
//           charge in it; the change since the first three months.
// Meaning   it follows capacity, but not in proportion: on measured cells 1 % of
//           capacity moved it by 0.8 to 3.8 %. It tells a direction and a range,
//           never a percentage of capacity.
// Like      same segment, kind and temperature stratum, plateau power within
//           10 %, no pause inside.
// Window    chosen from the data: the one with the greatest width times charges
//           that cover it, over at least 60 % of the group.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "figure.hpp"
#include "pack/charge_trace.hpp"

namespace packmile {

// Relative change of the window for 1 % of capacity: least and greatest, over
// four windows of a cell measured over its life.
inline constexpr double kWindowLeastElasticity = 0.8;
inline constexpr double kWindowMostElasticity = 3.8;

// Charge against the rising voltage of one charge's plateau.
struct VoltageProfile {
  UtcTime start;
  ChargeKind kind = ChargeKind::unknown;
  TemperatureStratum stratum = TemperatureStratum::unknown;
  std::uint32_t segment = 0;
  std::optional<double> ambient_c, odometer_km;
  double plateau_kw = 0;
  // Where the plateau has settled, and just under where it ends.
  double from_v = 0;
  double to_v = 0;
  // Ah when the voltage first reached from_v + i * kProfileStepV.
  std::vector<double> ah;
};
inline constexpr double kProfileStepV = 0.25;

struct ProfileOrWhy {
  std::optional<VoltageProfile> profile;
  std::string why;
};
[[nodiscard]] ProfileOrWhy profile_charge(const ChargeTrace& trace);

// Ah put in between two voltages of the profile; nullopt where it does not span
// them.
[[nodiscard]] std::optional<double> window_ah(const VoltageProfile& profile, double low_v,
                                              double high_v);

struct WindowPoint {
  UtcTime at;
  std::optional<double> odometer_km;
  double ah = 0;
};

enum class Direction : std::uint8_t { fell, rose, no_change_seen };
[[nodiscard]] std::string_view word_of(Direction direction);

struct WindowChange {
  // Per cent against the first three months; 95 %.
  Figure change_pct;
  Direction direction = Direction::no_change_seen;
  // What it says about capacity, by the least and greatest elasticity.
  double capacity_low_pct = 0;
  double capacity_high_pct = 0;
  double days = 0;  // between the middles of the two times compared
};

struct WindowSeries {
  ChargeKind kind = ChargeKind::unknown;
  TemperatureStratum stratum = TemperatureStratum::unknown;
  std::uint32_t segment = 0;
  double plateau_kw = 0;
  double low_v = 0;
  double high_v = 0;
  std::vector<WindowPoint> points;  // in time order
  std::size_t n_not_spanning = 0;   // like charges that do not cover the window
  std::optional<WindowChange> change;
  std::string why;  // why there is no change to be told
};

// Largest group first. Groups of fewer than three are left out.
[[nodiscard]] std::vector<WindowSeries> build_window_series(
    std::span<const VoltageProfile> profiles);

}  // namespace packmile
