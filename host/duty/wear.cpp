#include "duty/wear.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "pack/student_t.hpp"

namespace packmile {
namespace {

// From this many on the scatter about the line is taken for what it is.
constexpr std::size_t kLeastForScatter = 5;
constexpr double kPerKm = 1'000;

std::optional<LineFit> line_of(std::span<const DepthReading> readings) {
  std::vector<double> km, depth;
  double gauge = 0, step = 0;
  for (const DepthReading& reading : readings) {
    km.push_back(*reading.km);
    depth.push_back(reading.depth_mm);
    gauge += reading.gauge_u_mm * reading.gauge_u_mm;
    step = std::max(step, reading.step_mm);
  }
  const auto n = static_cast<double>(readings.size());
  gauge = std::sqrt(gauge / n);
  std::optional<LineFit> line;
  if (readings.size() == 2) {
    const double span = km[1] - km[0];
    if (!(span > 0)) return std::nullopt;
    line.emplace();
    line->slope = (depth[1] - depth[0]) / span;
    line->intercept = depth[0] - line->slope * km[0];
    line->mean_x = (km[0] + km[1]) / 2;
    line->sum_weights = 2;
    line->spread_x = span * span / 2;
  } else {
    line = fit_line(km, depth);
    if (!line) return std::nullopt;
  }
  double sd = line->residual_sd;
  if (readings.size() < kLeastForScatter) {
    sd = std::max(gauge, sd);
    line->degrees = std::numeric_limits<double>::infinity();
  }
  // Readings that happen to lie on a line are no surer than their last digit.
  sd = std::max(sd, step / std::sqrt(12.0));
  line->residual_sd = sd;
  line->u_slope = sd / std::sqrt(line->spread_x);
  line->u_intercept = line->u_at(0);
  return line;
}

}  // namespace

bool is_rise(const DepthReading& before, const DepthReading& after) {
  return after.depth_mm - before.depth_mm > new_start_rise_mm(before.gauge_u_mm, after.gauge_u_mm);
}

std::span<const DepthReading> since_rise(std::span<const DepthReading> readings) {
  std::size_t first = 0;
  for (std::size_t k = 1; k < readings.size(); ++k)
    if (is_rise(readings[k - 1], readings[k])) first = k;
  return readings.subspan(first);
}

std::vector<DepthReading> since_border(std::span<const DepthReading> readings,
                                       std::span<const WearBorder> borders) {
  std::vector<DepthReading> out;
  std::size_t next = 0;
  for (const WearBorder& border : borders) {
    for (; next < std::min(border.readings, readings.size()); ++next) out.push_back(readings[next]);
    std::optional<DepthReading> then;
    if (!out.empty() && out.back().day == border.day) {
      then = out.back();
    } else if (const WearOrWhy before = fit_wear(out); before.wear && border.km) {
      const LineFit& line = before.wear->line;
      then = DepthReading{0, border.day, border.km, line.at(*border.km), line.u_at(*border.km), 0};
    }
    out.clear();
    if (then) out.push_back(*then);
  }
  for (; next < readings.size(); ++next) out.push_back(readings[next]);
  return out;
}

WearOrWhy fit_wear(std::span<const DepthReading> readings) {
  const auto all = since_rise(readings);
  std::vector<DepthReading> used{all.begin(), all.end()};
  std::erase_if(used, [](const DepthReading& reading) { return !reading.km; });
  std::ranges::stable_sort(used, {}, [](const DepthReading& reading) { return *reading.km; });
  if (all.empty()) return {std::nullopt, "it was never measured; note what the gauge says"};
  if (all.size() == 1)
    return {std::nullopt, "one measurement tells no wear; measure again in a month or more"};
  if (used.size() < 2)
    return {std::nullopt,
            "the odometer on the days of measurement is not known; note it: odometer READING"};
  const auto line = line_of(used);
  if (!line)
    return {std::nullopt,
            "all measurements are at one odometer reading; measure again in a month or more"};
  const double factor = student_t_95(line->degrees);
  if (!(-line->slope > factor * line->u_slope))
    return {std::nullopt,
            fmt::format("wear below gauge resolution: {:.1f} mm over {:.0f} km; measure again "
                        "later",
                        used.front().depth_mm - used.back().depth_mm,
                        *used.back().km - *used.front().km)};
  Wear out;
  out.readings = std::move(used);
  out.line = *line;
  const double half = factor * line->u_slope * kPerKm;
  out.mm_per_1000_km = {-line->slope * kPerKm, -line->slope * kPerKm - half,
                        -line->slope * kPerKm + half, half};
  return {std::move(out), {}};
}

Left KmLeft::left() const {
  return {likely, (likely - low) / kZ95, high ? (*high - likely) / kZ95 : likely};
}

KmLeft km_to_limit(const Wear& wear, double limit_mm, double now_km) {
  KmLeft out;
  const double first = *wear.readings.front().km;
  // A line that is down to the limit before its last reading still crosses it
  // somewhere: the band around that place is asked for all the same.
  const auto crossing = find_crossing(wear.line, limit_mm, first, first - 1e9);
  if (!crossing) return out;
  const auto from_now = [now_km](double km) { return std::max(0.0, km - now_km); };
  out.likely = from_now(crossing->at);
  out.low = crossing->low ? from_now(*crossing->low) : 0;
  if (crossing->high) out.high = from_now(*crossing->high);
  return out;
}

}  // namespace packmile
