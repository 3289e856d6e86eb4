// What went through a van's pack in a period, and how it was used.
//
// Input     trips, sessions, stands and trace of the van's whole life.
// Output    one row of `throughput`.
// Sign      every kWh and Ah here is >= 0; discharge is out of the pack, charge
//           into it (regen included).
// Method    sums over what starts in the period, by figure_sum.hpp. What may have
//           started in another one counts by its `start`, and low and high hold
//           the figure without any of it and with all of it. Estimates
//           for gaps (filled_kwh) are added; their Ah follow from the voltage
//           of the stretch. Energy that only the state of charge tells becomes
//           Ah by the mean voltage of the period. A stretch whose energy is not
//           known is left out and lowers the coverage.
// Check     what went out and what came in must agree with the state of charge:
//           a current offset adds to the one and takes from the other.
#pragma once
#include <array>
#include <string>
#include <vector>

#include "ledger/ledger.hpp"
#include "calendar/zone.hpp"

namespace packmile {

struct VanParts {
  VanFacts facts;
  std::vector<Trip> trips;
  std::vector<ChargeSession> sessions;
  std::vector<Stand> stands;
  TraceLines trace;
  std::vector<LostStretch> lost;
  std::vector<CardUse> cards{};
};

struct Throughput {
  MaybeFigure discharge_kwh, charge_kwh, discharge_ah, charge_ah;
  MaybeFigure full_cycles;  // discharge_ah / nominal_ah
  // (discharge_ah + charge_ah) / (2 nominal_ah): an offset nearly cancels here.
  MaybeFigure full_cycles_check;
  MaybeFigure odometer_km;   // last reading in the period
  MaybeFigure kwh_per_mile;  // of the trips, gaps filled in
  MaybeFigure standing_kwh;  // out of the pack outside trips
  std::optional<UtcTime> measured_from, measured_to;
  std::optional<double> coverage;  // 0..1
  std::string none_why;            // why there is no time and no coverage
  // Assumed, never inside the measured figures: what the odometer showed before
  // the first record, at the consumption since.
  MaybeFigure before_logging_kwh;
  MaybeFigure before_logging_full_cycles;
  MaybeFigure dc_share;       // of the kWh charged, 0..1
  MaybeFigure charger_hours;  // of the on-board charger, at 0.6 kW or more
  // Of the charges whose power was seen, by kind and power; only what has hours.
  std::optional<std::vector<ChargePower>> charge_power;
  std::string charge_power_why;
  MaybeFigure hours_soc_high, hours_soc_low;
  std::optional<std::vector<SwingCount>> swings;
  std::string swings_why;
  std::vector<LostStretch> lost;  // that touch the period, in order of time
  // Trips and sessions that may or may not have started in the period.
  std::int64_t unsure_rows = 0;
  std::vector<Finding> findings;  // about the sums themselves
};

// `zone`: for the months of before_logging_kwh.
[[nodiscard]] Throughput throughput_of(const VanParts& parts, const Period& period,
                                       const Zone& zone);

// Depths of swings, in points of the state of charge: each from here to the next.
inline constexpr std::array kSwingDepthsPct{0.,  5.,  10., 20., 30., 40.,
                                            50., 60., 70., 80., 90., 100.};
using SwingCounts = std::array<double, kSwingDepthsPct.size() - 1>;
[[nodiscard]] SwingCounts swings_by_depth(const std::vector<SwingCount>& swings);

[[nodiscard]] std::vector<Column> throughput_columns();
[[nodiscard]] Row row_of(const VanNames& van, const Throughput& throughput);

}  // namespace packmile
