// Numbers, days and money as the report's sentences have them.
//
// Input     figures in the ledger's units (km, kWh by the mile, the depot's
//           currency).
// Output    text in the units of the reader, never finer than it is known.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "duty/due.hpp"
#include "figure.hpp"

namespace packmile::report {

struct Words {
  bool miles = true;
  std::string currency = "XXX";  // ISO 4217
  LocalDay today{};

  // "mile", "miles", "km"
  [[nodiscard]] std::string_view each_distance() const { return miles ? "mile" : "km"; }
  [[nodiscard]] std::string_view distance_unit() const { return miles ? "miles" : "km"; }
  // What a figure by the mile is multiplied by; and one of km.
  [[nodiscard]] double per_mile() const { return miles ? 1 : 1 / kKmPerMile; }
  [[nodiscard]] double of_km() const { return miles ? 1 / kKmPerMile : 1; }

  // "GBP" in front of a number or alone as a heading; empty where the depot has none.
  [[nodiscard]] std::string currency_name() const;
  // "£0.431 (0.410 to 0.453)", by the reader's distance.
  [[nodiscard]] std::string cost_per_distance(const Figure& per_mile) const;
  // "£11,900 (10,100 to 13,800)": whole units of the currency.
  [[nodiscard]] std::string whole_money(const Figure& sum) const;
  // "£0.21 (0.20 to 0.22)", of a kWh.
  [[nodiscard]] std::string price(const Figure& per_kwh) const;
  // "0.431 (0.410 to 0.453) kWh a mile".
  [[nodiscard]] std::string energy_per_distance(const Figure& kwh_per_mile) const;
  // "1,240 (1,200 to 1,280) miles".
  [[nodiscard]] std::string distance(const Figure& km) const;
  // "12 June"; with the year where it is not this one.
  [[nodiscard]] std::string day(LocalDay day) const;
  // "between 12 June and 4 July"; "on 12 June"; "from 12 June on" where nothing bounds
  // it; "now" where it is past.
  [[nodiscard]] std::string when(const DueDates& due) const;
};

// "1,240" of "1240".
[[nodiscard]] std::string grouped(std::string number);
// "0.431 (0.410 to 0.453)" with thousands parted; never more decimals than asked for,
// and without an interval where both its ends then read the same.
[[nodiscard]] std::string range_words(const Figure& figure, double factor = 1,
                                      int most_decimals = 1);
// "a", "a and b", "a, b and c".
[[nodiscard]] std::string listed(const std::vector<std::string>& items);
// First letter large; a full stop behind, unless there is one.
[[nodiscard]] std::string sentence(std::string text);
// "1 day", "3 days".
[[nodiscard]] std::string counted(std::size_t count, std::string_view one, std::string_view many);
// "March 2026" of "2026-03".
[[nodiscard]] std::string month_words(std::string_view month);

// Do the intervals have nothing in common?
[[nodiscard]] inline bool apart(const Figure& a, const Figure& b) {
  return a.low > b.high || b.low > a.high;
}

}  // namespace packmile::report
