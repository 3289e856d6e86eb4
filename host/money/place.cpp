#include "money/place.hpp"

#include <algorithm>

namespace packmile {
namespace {

using std::chrono::milliseconds;
using namespace std::chrono_literals;

// A rule that goes by the hour decides nothing about a moment less sure than this.
constexpr milliseconds kSureEnough = 12h;
// Prices of one place are looked at day by day up to here; a longer
// stretch of one note has every hour of the week in it many times.
constexpr milliseconds kLongestWalk = 24h * 100;

struct LocalMinute {
  int day_of_week = 0;  // 0: Monday
  double minute = 0;
};

LocalMinute local_minute(const Zone& zone, UtcTime at) {
  const milliseconds local = at.time_since_epoch() + zone.clock_at(at).ahead;
  const auto day = std::chrono::floor<std::chrono::days>(local);
  return {static_cast<int>(((day.count() + 3) % 7 + 7) % 7),
          std::chrono::duration<double, std::ratio<60>>(local - day).count()};
}

}  // namespace

std::string_view word_of(PlaceKind kind) {
  switch (kind) {
    case PlaceKind::depot:
      return "depot";
    case PlaceKind::public_post:
      return "public";
  }
  return "";
}

std::string_view word_of(PlaceSource source) {
  switch (source) {
    case PlaceSource::noted:
      return "noted";
    case PlaceSource::assumed:
      return "assumed";
    case PlaceSource::unknown:
      return "unknown";
  }
  return "";
}

const Tariff* MoneyFacts::tariff_named(std::string_view name) const {
  const auto found = std::ranges::find(tariffs, name, &Tariff::name);
  return found == tariffs.end() ? nullptr : &*found;
}

const Place* MoneyFacts::place_named(std::string_view name) const {
  const auto found = std::ranges::find(places, name, &Place::name);
  return found == places.end() ? nullptr : &*found;
}

const Place* MoneyFacts::metered_place() const {
  if (meter && !meter->place.empty()) return place_named(meter->place);
  const Place* only = nullptr;
  for (const Place& place : places) {
    if (place.kind != PlaceKind::depot) continue;
    if (only != nullptr) return nullptr;
    only = &place;
  }
  return only;
}

bool holds(const PlaceHours& hours, const Zone& zone, UtcTime at) {
  const LocalMinute local = local_minute(zone, at);
  const auto on = [&](int day) { return ((hours.days >> ((day + 7) % 7)) & 1) != 0; };
  if (hours.from_min < hours.to_min)
    return on(local.day_of_week) && local.minute >= hours.from_min && local.minute < hours.to_min;
  return (on(local.day_of_week) && local.minute >= hours.from_min) ||
         (on(local.day_of_week - 1) && local.minute < hours.to_min);
}

bool surely_holds(const PlaceHours& hours, const Zone& zone, UtcTime at, const TimeDoubt& doubt) {
  const auto earliest = doubt.earliest(at), latest = doubt.latest(at);
  if (!earliest || !latest || *latest - *earliest > kSureEnough) return false;
  // Hours are whole minutes: no gap between two of them is shorter.
  for (UtcTime t = *earliest; t < *latest; t += 1min)
    if (!holds(hours, zone, t)) return false;
  return holds(hours, zone, at) && holds(hours, zone, *latest);
}

std::optional<PriceRange> price_range(const Tariff& tariff, const Place& place, const Zone& zone,
                                      UtcTime from, UtcTime to) {
  auto out = price_range(tariff, zone, from, to);
  if (!out || !place.hours || to - from > kLongestWalk) return out;
  double sum = 0, minutes = 0;
  for (const PricePiece& piece : price_pieces(tariff, zone, from, to)) {
    for (UtcTime at = piece.from; at < piece.to; at += 1min) {
      if (!holds(*place.hours, zone, at)) continue;
      if (!piece.per_kwh) return std::nullopt;
      sum += *piece.per_kwh;
      ++minutes;
    }
  }
  if (minutes > 0) out->mean = sum / minutes;
  return out;
}

}  // namespace packmile
