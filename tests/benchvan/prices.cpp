#include "benchvan/prices.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

namespace packmile::benchvan {
namespace {

using namespace std::chrono;

sys_time<milliseconds> change(year in, month of) {
  return sys_days{in / of / Sunday[last]} + hours{1};
}

}  // namespace

int london_ahead_h(std::int64_t unix_ms) {
  const sys_time<milliseconds> at{milliseconds{unix_ms}};
  const year in = year_month_day{floor<days>(at)}.year();
  return at >= change(in, March) && at < change(in, October) ? 1 : 0;
}

double yard_price(std::int64_t unix_ms) {
  const std::int64_t local_min = unix_ms / 60000 + 60 * london_ahead_h(unix_ms);
  const std::int64_t of_day = local_min % 1440;
  return of_day >= 30 && of_day < 270 ? kNightPrice : kDayPrice;
}

double mean_yard_price(const Track& track, std::int64_t start_unix_ms) {
  const auto& pack_v = track.column(Quantity::pack_v);
  const auto& pack_a = track.column(Quantity::pack_a);
  double joules = 0, paid = 0;
  for (std::size_t i = 1; i < track.time_s.size(); ++i) {
    const double step_s = track.time_s[i] - track.time_s[i - 1];
    const double before_w = std::max(0.0, -pack_v[i - 1] * pack_a[i - 1]);
    const double after_w = std::max(0.0, -pack_v[i] * pack_a[i]);
    const double step_j = (before_w + after_w) / 2 * step_s;
    // Steps are short beside a minute.
    const double middle_s = (track.time_s[i] + track.time_s[i - 1]) / 2 - track.time_s.front();
    joules += step_j;
    paid += step_j * yard_price(start_unix_ms + static_cast<std::int64_t>(middle_s * 1000));
  }
  return joules > 0 ? paid / joules : 0;
}

Receipt receipt_of(double grid_kwh) {
  const double kwh = std::round(grid_kwh * 100) / 100;
  return {kwh, std::round(kwh * kPostPrice * 100) / 100};
}

std::string price_blocks() {
  return fmt::format(R"(
[[tariff]]
name = "yard"
bands = [
  {{ from = "00:30", to = "04:30", price = {} }},
  {{ from = "04:30", to = "00:30", price = {} }},
]
[[tariff]]
name = "post"
price = {}
[[place]]
name = "{}"
kind = "depot"
tariff = "yard"
hours_from = "19:00"
hours_to = "06:00"
[[place]]
name = "{}"
kind = "public"
tariff = "post"
)",
                     kNightPrice, kDayPrice, kPostPrice, kYard, kPost);
}

}  // namespace packmile::benchvan
