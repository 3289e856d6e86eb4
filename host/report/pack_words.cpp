#include "report/pack_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "ledger/van_duty.hpp"
#include "report/number_text.hpp"

namespace packmile::report {
namespace {

std::string fade_words(const FadeRow& fade, const Words& words) {
  const Figure& slope = *fade.slope_pct_per_unit.figure;
  const auto per = [&](std::string_view unit, double factor) {
    const std::string size = range_words(slope, factor, 2);
    if (slope.low > 0) return fmt::format("it loses {} points {}", size, unit);
    if (slope.high < 0) return fmt::format("by its months it gains, {} points {}", size, unit);
    std::string out = "no loss can be told from none yet";
    if (fade.smallest_detectable_pct_per_year)
      out += fmt::format(" (above {:.1f} points a year it would show)",
                         *fade.smallest_detectable_pct_per_year);
    return out;
  };
  switch (fade.against) {
    case FadeAxis::age_years:
      return per("a year", 1);
    case FadeAxis::odometer_km:
      return words.miles ? per("every 10,000 miles", 10'000 * kKmPerMile)
                         : per("every 10,000 km", 10'000);
    case FadeAxis::full_cycles:
      return per("every 100 full cycles", 100);
  }
  return {};
}

std::string expectation_words(const FadeRow& row) {
  switch (row.against_expectation) {
    case LineVerdict::on:
      return "as you expected";
    case LineVerdict::better:
      return "better than you expected";
    case LineVerdict::worse:
      return "worse than you expected";
    case LineVerdict::cannot_tell:
      return {};
  }
  return {};
}

}  // namespace

std::string_view method_words(CapacityMethod method) {
  switch (method) {
    case CapacityMethod::controller_edges:
      return "by the controller's own scale";
    case CapacityMethod::voltage_window:
      return "between two voltages, no capacity but a witness";
    case CapacityMethod::rest_to_rest:
      return "by the controller's scale between rests";
    case CapacityMethod::reported:
      return "as the van says of itself";
    case CapacityMethod::soc_nominal:
      return "your own figure, nothing measured";
  }
  return {};
}

const CapacityRow& latest_capacity(const VanEvidence& van) {
  constexpr std::array kOrder{CapacityMethod::controller_edges, CapacityMethod::rest_to_rest,
                              CapacityMethod::reported, CapacityMethod::soc_nominal};
  for (const CapacityMethod method : kOrder)
    for (const CapacityRow& row : van.capacity)
      if (row.scope == CapacityScope::latest && row.method == method && row.ah.figure) return row;
  for (const CapacityRow& row : van.capacity)
    if (row.scope == CapacityScope::latest) return row;
  return van.capacity.front();
}

const FadeRow* told_fade(const VanEvidence& van) {
  for (const FadeAxis axis : {FadeAxis::age_years, FadeAxis::odometer_km, FadeAxis::full_cycles})
    for (const FadeRow& row : van.fade)
      if (row.against == axis && row.slope_pct_per_unit.figure) return &row;
  return nullptr;
}

const FadeRow* told_expectation(const VanEvidence& van) {
  for (const FadeRow& row : van.fade)
    if (row.expected_pct && row.against_expectation != LineVerdict::cannot_tell) return &row;
  return nullptr;
}

std::string pack_sentence(const VanEvidence& van, const Zone& zone, const Words& words) {
  const CapacityRow& row = latest_capacity(van);
  if (!row.ah.figure) return "not known: " + (row.ah.why.empty() ? row.reason : row.ah.why);
  std::string out = fmt::format("{} Ah {}", range_words(*row.ah.figure), method_words(row.method));
  if (row.date) out += fmt::format(", to {}", words.day(local_day(zone, *row.date)));
  if (const FadeRow* fade = told_fade(van)) out += "; " + fade_words(*fade, words);
  if (const FadeRow* expected = told_expectation(van))
    out += fmt::format("; {}: {} % lost since {}, {:.1f} % were expected",
                       expectation_words(*expected), range_words(*expected->measured_pct.figure),
                       expected->since_first_logged ? "first logged" : "it was new",
                       *expected->expected_pct);
  if (std::ranges::find(row.findings, Finding::scale_contradicted) != row.findings.end())
    out += "; the cells contradict that scale";
  else if (std::ranges::find(row.findings, Finding::scale_not_confirmed) != row.findings.end())
    out += "; nothing independent confirms that scale";
  return out;
}

}  // namespace packmile::report
