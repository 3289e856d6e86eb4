// Trapezoid of V * I over the samples of one response, in whole numbers.
//
// Input     pack rows of an agreed reading.
// Output    integrals of a range of rows; sums of ranges add.
// Sign      positive = the pack gives energy.
// Method    energy of a step = mean power of its ends times its time. What was given
//           and what came back are each such a sum, of the words above zero and of those
//           below: on average over the moments of asking neither loses anything, and
//           their difference is the net. Split where the straight line between two words
//           crosses zero instead, both lose at each crossing: of regeneration 1.4 % at
//           2 Hz and 4.6 % at 1 Hz on measured drives (tests/benchmarks/lobes.py). Words
//           are multiplied as integers, so the four variants of one drive (coding, sign)
//           give the same bits.
// Gap       a step longer than 2.5 poll periods adds nothing and is handed out.
// Rounding  of the current: independent from row to row while it is driven about,
//           one and the same while it keeps its step for a minute. Of a voltage
//           whose step is coarser than the standard's: taken as one and the same
//           throughout, which is the most that it can do.
// Offset    where the reading has one it is out of every figure, and its own
//           uncertainty takes the place of the usual one.
// Gain      the same: out of every figure where the reading has one.
// Sampling  the error of the trapezoid is estimated from the samples themselves:
//           Richardson on two levels, step h against 2h and 2h against 4h.
#pragma once
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "energy/van_account.hpp"
#include "reading/pack_reading.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// What the columns still have in them of the sensor's offset, positive = discharge.
struct OffsetLeft {
  double a = 0;         // of one that is known: it is taken out in whole tenths of an ampere
  double u_a = -1;      // 1 sd; below 0: none is known
  double wander_a = 0;  // as PackReading::offset_wander_a

  [[nodiscard]] double u_or(const EnergyRules& rules) const {
    return u_a >= 0 ? u_a : std::hypot(rules.offset_u_a, wander_a);
  }
};

// Columns of equal length in time order.
struct PackRows {
  std::span<const std::int64_t> time_ms;
  std::span<const std::int32_t> power_raw;  // 1/640 W, positive = discharge
  std::span<const std::int16_t> tenths_a;   // positive = discharge
  std::span<const std::uint16_t> v_raw;
  std::span<const std::uint32_t> period_ms;
  // Steps of the words as the van rounds them (PackSeries).
  double a_step_a = kAmpPerCode;
  double v_step_v = kVoltPerCode;
  OffsetLeft offset{};
  // What is at the pack for each unit of the words; absent: not known, it is taken as
  // 1 and EnergyRules has what it may be off by. The columns are as the words are.
  std::optional<SensorGain> gain{};

  [[nodiscard]] std::size_t size() const { return time_ms.size(); }
  // With the gain, where that is known.
  [[nodiscard]] double power_kw(std::size_t row) const {
    return power_raw[row] / 640e3 * (gain ? gain->energy : 1);
  }
  // 1 sd, relative, of energy.
  [[nodiscard]] double energy_gain_u_or(const EnergyRules& rules) const {
    return gain ? gain->u_energy / gain->energy
                : std::hypot(rules.current_gain_u, rules.voltage_gain_u);
  }
};

inline constexpr double kKwhPerRaw = 1.0 / 640 / 3.6e9;  // power_raw * ms
inline constexpr double kAhPerRaw = 1.0 / 10 / 3.6e6;    // tenths_a * ms

// Turns raw words into rows; what it returns is valid until the next call.
class PackDecoder {
 public:
  // Rows whose current is impossible under the agreed coding are left out: an
  // ECU says so when it has no answer. Empty unless the verdict is agreed.
  PackRows decode(const PackSeries& pack, const PackReading* reading);

 private:
  std::vector<std::int64_t> time_ms_;
  std::vector<std::int32_t> power_raw_;
  std::vector<std::int16_t> tenths_a_;
  std::vector<std::uint16_t> v_raw_;
  std::vector<std::uint32_t> period_ms_;
};

// A step that is not bridged: rows `row` and `row` + 1.
struct Gap {
  std::size_t row = 0;
  std::int64_t length_ms = 0;
};

// Longest step that is no gap between rows asked with these two periods: a
// change of the period is not a gap. Period 0 (back to back) counts as 1 s.
[[nodiscard]] double longest_step_ms(std::uint32_t period_ms, std::uint32_t next_period_ms,
                                     double gap_periods);

struct Lobes {
  std::int64_t net = 0;       // twice raw * ms
  std::int64_t positive = 0;  // the same of what is above zero

  [[nodiscard]] double positive_raw() const { return static_cast<double>(positive) / 2; }
  [[nodiscard]] double net_raw() const { return static_cast<double>(net) / 2; }
  Lobes& operator+=(const Lobes& other);
};

// S1 and S2 of the two levels, (power_raw * ms)^2.
struct Curvature {
  double fine = 0;
  double coarse_even = 0;
  double coarse_odd = 0;
  // 1 sd of the integral, kWh.
  [[nodiscard]] double u_kwh(std::size_t rows) const;
};

class PowerIntegral {
 public:
  // Rows from..to, both included; gaps are appended to `gaps`.
  void add(const PackRows& rows, std::size_t from, std::size_t to, double gap_periods,
           std::vector<Gap>* gaps);
  // Estimates the sampling error of the same range, leaving its gaps out.
  void add_sampling(const PackRows& rows, std::size_t from, std::size_t to,
                    std::span<const Gap> gaps);
  // Instead of add_sampling() where the van repeats old values: only rows that
  // brought a new one count as samples.
  void add_held_sampling(const PackRows& rows, std::size_t from, std::size_t to);
  PowerIntegral& operator+=(const PowerIntegral& other);

  [[nodiscard]] std::size_t pairs() const { return pairs_; }
  // The median step, gaps included, was longer than 1.5 poll periods.
  [[nodiscard]] bool poll_missed(std::size_t gaps) const { return 2 * late_ > pairs_ + gaps; }
  [[nodiscard]] std::int64_t covered_ms() const { return covered_ms_; }
  [[nodiscard]] double net_kwh() const { return energy_gain() * net_words_kwh(); }
  [[nodiscard]] double discharge_kwh() const;
  [[nodiscard]] double charge_kwh() const { return discharge_kwh() - net_kwh(); }
  [[nodiscard]] double net_ah() const { return charge_gain() * net_words_ah(); }
  [[nodiscard]] double discharge_ah() const;
  [[nodiscard]] double charge_ah() const { return discharge_ah() - net_ah(); }
  // Mean pack voltage over the covered time; 0 when nothing is covered.
  [[nodiscard]] double mean_v() const;

  // The figures with their intervals. Lobes are counted positive.
  [[nodiscard]] Figure net_figure_kwh(const EnergyRules& rules) const;
  [[nodiscard]] Figure discharge_figure_kwh(const EnergyRules& rules) const;
  [[nodiscard]] Figure charge_figure_kwh(const EnergyRules& rules) const;
  [[nodiscard]] Figure discharge_figure_ah(const EnergyRules& rules) const;
  [[nodiscard]] Figure charge_figure_ah(const EnergyRules& rules) const;

 private:
  struct VoltTime {  // twice v_raw * ms
    std::int64_t all = 0;
    std::int64_t giving = 0;
    std::int64_t still_giving = 0;
    std::int64_t still_taking = 0;
  };
  void add_run(const PackRows& rows, std::size_t from, std::size_t to);
  void add_still(const PackRows& rows, std::size_t from, std::size_t to);
  void find_still(const PackRows& rows, std::size_t from, std::size_t to);
  // Without the gain.
  [[nodiscard]] double net_words_kwh() const {
    return power_.net_raw() * kKwhPerRaw - offset_.a * kwh_per_a(volt_time_.all);
  }
  [[nodiscard]] double net_words_ah() const {
    return current_.net_raw() * kAhPerRaw - offset_.a * hours();
  }
  [[nodiscard]] double energy_gain() const { return gain_ ? gain_->energy : 1; }
  [[nodiscard]] double charge_gain() const { return gain_ ? gain_->charge : 1; }
  // 1 sd, relative.
  [[nodiscard]] double energy_gain_u(const EnergyRules& rules) const {
    return gain_ ? gain_->u_energy / gain_->energy
                 : std::hypot(rules.current_gain_u, rules.voltage_gain_u);
  }
  [[nodiscard]] double charge_gain_u(const EnergyRules& rules) const {
    return gain_ ? gain_->u_charge / gain_->charge : rules.current_gain_u;
  }
  // 1 sd, A, of a current that keeps its step; kWh of a coarse voltage's step.
  [[nodiscard]] double hours() const { return static_cast<double>(covered_ms_) / 3.6e6; }
  [[nodiscard]] double still_u_a() const;
  [[nodiscard]] double volt_step_u_kwh(double ah) const;
  [[nodiscard]] double words_u_kwh(double share) const;
  [[nodiscard]] Figure lobe_kwh(double value, const Curvature& curvature, bool giving,
                                const EnergyRules& rules) const;
  [[nodiscard]] Figure lobe_ah(double value_ah, const Figure& kwh, bool giving,
                               const EnergyRules& rules) const;
  // kWh that one ampere held through this volt-time makes.
  [[nodiscard]] static double kwh_per_a(std::int64_t volt_time);

  Lobes power_;
  Lobes current_;
  VoltTime volt_time_;
  Curvature net_, giving_, taking_;
  std::int64_t step_squares_ms2_ = 0;
  std::int64_t covered_ms_ = 0;
  std::size_t pairs_ = 0;
  std::size_t late_ = 0;
  double a_step_a_ = kAmpPerCode;
  double v_step_v_ = kVoltPerCode;
  OffsetLeft offset_;
  std::optional<SensorGain> gain_;
  std::vector<std::int64_t> held_time_ms_;
  std::vector<std::int32_t> held_power_;
};

}  // namespace packmile
