#include "money/tariff.hpp"

#include <algorithm>

namespace packmile {
namespace {

using std::chrono::milliseconds;
using namespace std::chrono_literals;

constexpr milliseconds kMinute = 1min;
constexpr milliseconds kWeek = kMinute * kWeekMinutes;
// 1970-01-01 was a Thursday: three days into its week.
constexpr milliseconds kEpochInWeek = kMinute * (3 * kDayMinutes);
// So many moments are tried one by one; beyond, the range of the prices stands.
constexpr std::size_t kMostShifts = 20'000;

milliseconds into_week(milliseconds local) {
  milliseconds in = (local + kEpochInWeek) % kWeek;
  return in < 0ms ? in + kWeek : in;
}

PriceRange range_of_week(const PriceList& list) {
  PriceRange out{list.bands.front().per_kwh, 0, list.bands.front().per_kwh};
  for (const PriceBand& band : list.bands) {
    out.low = std::min(out.low, band.per_kwh);
    out.high = std::max(out.high, band.per_kwh);
    out.mean += band.per_kwh * (band.to_min - band.from_min) / kWeekMinutes;
  }
  return out;
}

double kwh_at(const std::vector<CurvePoint>& curve, std::int64_t after_ms) {
  if (after_ms <= curve.front().after_ms) return curve.front().kwh;
  if (after_ms >= curve.back().after_ms) return curve.back().kwh;
  const auto right = std::ranges::upper_bound(curve, after_ms, {}, &CurvePoint::after_ms);
  const auto left = right - 1;
  const double share = static_cast<double>(after_ms - left->after_ms) /
                       static_cast<double>(right->after_ms - left->after_ms);
  return left->kwh + share * (right->kwh - left->kwh);
}

// Sum of price and energy over pieces that hold the whole curve.
std::optional<double> cost_of(const std::vector<PricePiece>& pieces,
                              const std::vector<CurvePoint>& curve, UtcTime start) {
  double cost = 0;
  double before = curve.front().kwh;
  const UtcTime end = start + milliseconds{curve.back().after_ms};
  for (const PricePiece& piece : pieces) {
    if (piece.to <= start) continue;
    const bool last = piece.to >= end;
    const double until = last ? curve.back().kwh : kwh_at(curve, (piece.to - start).count());
    if (until > before && !piece.per_kwh) return std::nullopt;
    if (piece.per_kwh) cost += *piece.per_kwh * (until - before);
    before = until;
    if (last) break;
  }
  return cost;
}

}  // namespace

const PriceList* list_at(const Tariff& tariff, UtcTime at) {
  const PriceList* found = nullptr;
  for (const PriceList& list : tariff.lists)
    if (!list.valid_from || *list.valid_from <= at) found = &list;
  return found;
}

std::vector<PricePiece> price_pieces(const Tariff& tariff, const Zone& zone, UtcTime from,
                                     UtcTime to) {
  std::vector<PricePiece> out;
  for (UtcTime at = from; at < to;) {
    UtcTime until = to;
    for (const PriceList& list : tariff.lists)
      if (list.valid_from && *list.valid_from > at) until = std::min(until, *list.valid_from);
    std::optional<double> per_kwh;
    if (const PriceList* list = list_at(tariff, at)) {
      milliseconds local = at.time_since_epoch();
      if (!tariff.utc_clock) {
        const Zone::Clock clock = zone.clock_at(at);
        local += clock.ahead;
        until = std::min(until, clock.until);
      }
      const milliseconds in_week = into_week(local);
      const auto band = std::ranges::find_if(
          list->bands, [&](const PriceBand& b) { return in_week < kMinute * b.to_min; });
      per_kwh = band->per_kwh;
      until = std::min(until, at + (kMinute * band->to_min - in_week));
    }
    if (!out.empty() && out.back().per_kwh == per_kwh)
      out.back().to = until;
    else
      out.push_back({at, until, per_kwh});
    at = until;
  }
  return out;
}

std::optional<PriceRange> price_range(const Tariff& tariff, const Zone& zone, UtcTime from,
                                      UtcTime to) {
  if (to - from > kWeek) {
    std::optional<PriceRange> out;
    if (list_at(tariff, from) == nullptr) return std::nullopt;
    double mean = 0;
    for (std::size_t k = 0; k < tariff.lists.size(); ++k) {
      const PriceList& list = tariff.lists[k];
      const UtcTime begins = std::max(from, list.valid_from.value_or(from));
      const UtcTime ends =
          k + 1 < tariff.lists.size() ? std::min(to, *tariff.lists[k + 1].valid_from) : to;
      if (begins >= ends) continue;
      const PriceRange week = range_of_week(list);
      if (!out) out = week;
      out->low = std::min(out->low, week.low);
      out->high = std::max(out->high, week.high);
      mean += week.mean * (std::chrono::duration<double>(ends - begins) /
                           std::chrono::duration<double>(to - from));
    }
    if (out) out->mean = mean;
    return out;
  }
  // A moment has a price, too.
  const auto pieces = price_pieces(tariff, zone, from, std::max(to, from + 1ms));
  std::optional<PriceRange> out;
  double sum = 0, length = 0;
  for (const PricePiece& piece : pieces) {
    if (!piece.per_kwh) return std::nullopt;
    if (!out) out = PriceRange{*piece.per_kwh, 0, *piece.per_kwh};
    out->low = std::min(out->low, *piece.per_kwh);
    out->high = std::max(out->high, *piece.per_kwh);
    const auto ms = static_cast<double>((piece.to - piece.from).count());
    sum += *piece.per_kwh * ms;
    length += ms;
  }
  if (out) out->mean = sum / length;
  return out;
}

std::optional<double> mean_price(const Tariff& tariff, const Zone& zone,
                                 const std::vector<CurvePoint>& curve, UtcTime start) {
  if (curve.size() < 2) return std::nullopt;
  const double all = curve.back().kwh - curve.front().kwh;
  if (!(all > 0)) return std::nullopt;
  const auto cost =
      cost_of(price_pieces(tariff, zone, start, start + milliseconds{curve.back().after_ms + 1}),
              curve, start);
  if (!cost) return std::nullopt;
  return *cost / all;
}

std::optional<PriceRange> mean_price_within(const Tariff& tariff, const Zone& zone,
                                            const std::vector<CurvePoint>& curve, UtcTime start,
                                            UtcTime earliest, UtcTime latest) {
  const auto said = mean_price(tariff, zone, curve, start);
  if (!said) return std::nullopt;
  PriceRange out{*said, *said, *said};
  if (earliest >= latest) return out;
  const milliseconds length{curve.back().after_ms};
  const auto all = price_range(tariff, zone, earliest, latest + length);
  if (!all) return std::nullopt;
  if (all->low == all->high) return out;
  if (latest - earliest > kWeek) return PriceRange{all->low, *said, all->high};
  const auto pieces = price_pieces(tariff, zone, earliest, latest + length + 1ms);
  if (pieces.size() * curve.size() > kMostShifts) return PriceRange{all->low, *said, all->high};
  std::vector<UtcTime> starts{earliest, latest};
  for (const PricePiece& piece : pieces)
    for (const CurvePoint& point : curve) {
      const UtcTime at = piece.from - milliseconds{point.after_ms};
      if (at > earliest && at < latest) starts.push_back(at);
    }
  const double kwh = curve.back().kwh - curve.front().kwh;
  for (const UtcTime at : starts) {
    const auto cost = cost_of(pieces, curve, at);
    if (!cost) return std::nullopt;
    out.low = std::min(out.low, *cost / kwh);
    out.high = std::max(out.high, *cost / kwh);
  }
  return out;
}

}  // namespace packmile
