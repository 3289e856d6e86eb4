// What the pack's voltage gives way to a step of current: two seconds' worth of
// resistance, by state of charge and temperature.
//
// Input     episodes of one month (or another period) with their pack rows.
// Method    pairs of rows 2 s apart with a step of 20 A or more; slope of dV on
//           dI by least absolute deviations through 0; width by drawing whole
//           days anew (200 draws, fixed seed).
// Gain      of current and voltage, where the reading has one: out of it.
// Refuses   under 100 pairs or 3 days.
// Meaning   it rises with age, and far more with cold: only like bands and
//           strata are compared.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "pack/charge_trace.hpp"
#include "pack/trend.hpp"

namespace packmile {

struct ResistanceBand {
  TemperatureStratum stratum = TemperatureStratum::unknown;
  int soc_from_pct = 0;  // 0, 10 .. 90
  auto operator<=>(const ResistanceBand&) const = default;
};

struct Resistance {
  ResistanceBand band;
  MaybeFigure mohm;
  std::size_t n_pairs = 0;
  std::size_t n_days = 0;
};

class ResistanceSteps {
 public:
  explicit ResistanceSteps(const EnergyRules& rules = {}) : rules_(rules) {}
  // rows: of the episode; empty where the reading is not agreed.
  void add(const Episode& episode, const PackRows& rows);
  // One of each band that was seen, fullest first. The object starts anew.
  [[nodiscard]] std::vector<Resistance> finish();

 private:
  struct Pair {
    double ohm = 0;
    double weight = 0;  // |dI|
    int day = 0;
  };
  // At most kMostPairsADay of one day in one band.
  static constexpr std::size_t kMostPairsADay = 100;
  struct Band {
    std::vector<Pair> pairs;
    int day = 0;
    std::size_t of_day = 0;
    double v_step_v = kVoltPerCode;  // of the words, the coarsest
    double gain_u = 0;               // 1 sd, relative, of volts over amperes, the greatest
  };
  EnergyRules rules_;
  std::map<ResistanceBand, Band> bands_;
};

// One month's values, as finish() gave them.
struct MonthlyResistance {
  int month = 0;
  std::vector<Resistance> rows;
};
struct ResistanceTrend {
  ResistanceBand band;
  std::size_t n_months = 0;
  MaybeFigure pct_per_year;  // of the line's value in the first month
};
// Of the band that most months have. nullopt: no month has any.
[[nodiscard]] std::optional<ResistanceTrend> tell_resistance_trend(
    std::span<const MonthlyResistance> months);

}  // namespace packmile
