#include "duty/tyre_history.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace packmile {
namespace {

// Where both orders fit alike, the measurement comes first.
constexpr double kMisfitRoundingMm = 1e-6;

std::size_t index_of(Wheel wheel) { return static_cast<std::size_t>(wheel); }

struct OneDay {
  std::vector<WheelReading> readings;
  std::vector<WheelMove> moves;
  std::vector<Wheel> fitted;
};

using Tyres = std::array<TyreOnWheel, kWheels.size()>;

TyreOnWheel new_tyre(Wheel wheel, std::optional<LocalDay> fitted = {}) {
  TyreOnWheel out;
  out.fitted = fitted;
  out.been_on = {wheel};
  return out;
}

void move_at_once(std::vector<WheelMove> moves, Tyres& tyres) {
  std::ranges::stable_sort(moves, {}, &WheelMove::id);
  const Tyres before = tyres;
  for (const WheelMove& move : moves) tyres[index_of(move.from)] = new_tyre(move.from);
  for (std::size_t k = 0; k < moves.size(); ++k) {
    const WheelMove& move = moves[k];
    // A tyre is at one wheel, and a wheel has one tyre.
    const bool overruled =
        std::any_of(moves.begin() + static_cast<std::ptrdiff_t>(k) + 1, moves.end(),
                    [&](const WheelMove& m) { return m.from == move.from || m.to == move.to; });
    if (overruled) continue;
    TyreOnWheel& to = tyres[index_of(move.to)];
    to = before[index_of(move.from)];
    to.been_on.push_back(move.to);
    if (axle_of(move.from) != axle_of(move.to))
      to.borders.push_back({move.day, move.km, to.readings.size()});
  }
}

bool is_new(const TyreOnWheel& tyre, const DepthReading& reading) {
  return !tyre.readings.empty() && is_rise(tyre.readings.back(), reading);
}

void measure(const WheelReading& measured, Tyres& tyres) {
  TyreOnWheel& tyre = tyres[index_of(measured.wheel)];
  if (is_new(tyre, measured.reading)) {
    const LocalDay before = tyre.readings.back().day;
    tyre = new_tyre(measured.wheel, measured.reading.day);
    tyre.not_before = before;
  }
  tyre.readings.push_back(measured.reading);
}

bool contains(const std::vector<Wheel>& wheels, Wheel wheel) {
  return std::ranges::find(wheels, wheel) != wheels.end();
}

bool is_moved(const OneDay& one, Wheel wheel) {
  return std::ranges::any_of(
      one.moves, [&](const WheelMove& move) { return move.from == wheel || move.to == wheel; });
}

// Whether a day's measurements at wheels whose tyres were moved are nearer to the last
// ones of the tyres that were there after the moves. Of one that was never measured only
// a rise against the other tells.
bool moved_first(const OneDay& one, const Tyres& before, const Tyres& after) {
  double nearer_mm = 0;
  for (const WheelReading& measured : one.readings) {
    if (!is_moved(one, measured.wheel) || contains(one.fitted, measured.wheel)) continue;
    const auto& was = before[index_of(measured.wheel)].readings;
    const auto& is = after[index_of(measured.wheel)].readings;
    if (was.empty()) continue;
    const double off_mm = std::abs(measured.reading.depth_mm - was.back().depth_mm);
    if (!is.empty())
      nearer_mm += off_mm - std::abs(measured.reading.depth_mm - is.back().depth_mm);
    else if (is_rise(was.back(), measured.reading))
      nearer_mm += off_mm;
  }
  return nearer_mm > kMisfitRoundingMm;
}

void live_through(LocalDay day, OneDay& one, Tyres& tyres) {
  std::ranges::stable_sort(one.readings, {}, [](const WheelReading& r) { return r.reading.id; });
  std::vector<WheelReading> afterwards;
  Tyres after_moves = tyres;
  move_at_once(one.moves, after_moves);
  const bool after_move = moved_first(one, tyres, after_moves);
  for (const WheelReading& measured : one.readings) {
    const TyreOnWheel& tyre = tyres[index_of(measured.wheel)];
    const bool fitted = contains(one.fitted, measured.wheel);
    // A tyre that was never measured is not measured on the day that it goes.
    const bool after = fitted ? tyre.readings.empty() || is_new(tyre, measured.reading)
                              : is_moved(one, measured.wheel) && after_move;
    if (after)
      afterwards.push_back(measured);
    else
      measure(measured, tyres);
  }
  move_at_once(one.moves, tyres);
  for (const Wheel wheel : one.fitted) tyres[index_of(wheel)] = new_tyre(wheel, day);
  for (const WheelReading& measured : afterwards) measure(measured, tyres);
}

}  // namespace

std::array<TyreOnWheel, kWheels.size()> tyres_now(std::span<const WheelReading> readings,
                                                  std::span<const WheelMove> moves,
                                                  std::span<const WheelFitting> fittings) {
  std::map<LocalDay, OneDay> days;
  for (const WheelReading& measured : readings)
    days[measured.reading.day].readings.push_back(measured);
  for (const WheelMove& move : moves) days[move.day].moves.push_back(move);
  for (const WheelFitting& fitting : fittings) {
    auto& fitted = days[fitting.day].fitted;
    fitted.insert(fitted.end(), fitting.wheels.begin(), fitting.wheels.end());
  }
  Tyres tyres;
  for (const Wheel wheel : kWheels) {
    tyres[index_of(wheel)] = new_tyre(wheel);
    tyres[index_of(wheel)].from_start = true;
  }
  for (auto& [day, one] : days) live_through(day, one, tyres);
  return tyres;
}

}  // namespace packmile
