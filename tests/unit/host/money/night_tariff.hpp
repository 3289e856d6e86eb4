// The tariff of the worked examples: 8.4 p from 00:30 to 05:30, else 30 p, in
// pounds, and curves of constant power.
#pragma once
#include <vector>

#include "money/tariff.hpp"

namespace packmile {

inline Zone london() { return Zone::find("Europe/London").value(); }

// A price for one stretch of every day, another for the rest.
inline PriceList night_list(int from_min, int to_min, double night, double day) {
  PriceList list;
  for (int d = 0; d < 7; ++d) {
    const int base = d * kDayMinutes;
    if (from_min > 0) list.bands.push_back({base, base + from_min, day});
    list.bands.push_back({base + from_min, base + to_min, night});
    list.bands.push_back({base + to_min, base + kDayMinutes, day});
  }
  return list;
}

inline Tariff night_tariff() { return {"night", false, {night_list(30, 330, 0.084, 0.30)}}; }

inline Tariff flat_tariff(const char* name, double per_kwh) {
  PriceList list;
  list.bands = {{0, kWeekMinutes, per_kwh}};
  return {name, false, {list}};
}

inline std::vector<CurvePoint> steady(double kw, UtcTime from, UtcTime to) {
  const auto ms = (to - from).count();
  return {{0, 0}, {ms, kw * static_cast<double>(ms) / 3.6e6}};
}

}  // namespace packmile
