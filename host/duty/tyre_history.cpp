#include "duty/tyre_history.hpp"

#include <algorithm>
#include <map>

namespace packmile {
namespace {

std::size_t index_of(Wheel wheel) { return static_cast<std::size_t>(wheel); }

struct OneDay {
  std::vector<WheelReading> readings;
  std::vector<WheelMove> moves;
  std::vector<Wheel> fitted;
};

using Tyres = std::array<TyreOnWheel, kWheels.size()>;

void move_at_once(const std::vector<WheelMove>& moves, Tyres& tyres) {
  const Tyres before = tyres;
  for (const WheelMove& move : moves) tyres[index_of(move.from)] = {{}, {}, {move.from}};
  for (const WheelMove& move : moves) {
    TyreOnWheel& to = tyres[index_of(move.to)];
    to = before[index_of(move.from)];
    to.been_on.push_back(move.to);
  }
}

bool is_rise(const TyreOnWheel& tyre, const DepthReading& reading) {
  return !tyre.readings.empty() &&
         reading.depth_mm > tyre.readings.back().depth_mm + kNewStartRiseMm;
}

void measure(const WheelReading& measured, Tyres& tyres) {
  TyreOnWheel& tyre = tyres[index_of(measured.wheel)];
  if (is_rise(tyre, measured.reading)) tyre = {{}, measured.reading.day, {measured.wheel}};
  tyre.readings.push_back(measured.reading);
}

void live_through(LocalDay day, OneDay& one, Tyres& tyres) {
  std::ranges::stable_sort(one.readings, {}, [](const WheelReading& r) { return r.reading.id; });
  std::vector<WheelReading> afterwards;
  const bool work = !one.moves.empty() || !one.fitted.empty();
  for (const WheelReading& measured : one.readings) {
    const TyreOnWheel& tyre = tyres[index_of(measured.wheel)];
    // A tyre that was never measured is not measured on the day that it goes.
    const bool first_of_new =
        tyre.readings.empty() && std::ranges::find(one.fitted, measured.wheel) != one.fitted.end();
    if (work && (first_of_new || is_rise(tyre, measured.reading)))
      afterwards.push_back(measured);
    else
      measure(measured, tyres);
  }
  move_at_once(one.moves, tyres);
  for (const Wheel wheel : one.fitted) tyres[index_of(wheel)] = {{}, day, {wheel}};
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
  for (const Wheel wheel : kWheels) tyres[index_of(wheel)].been_on = {wheel};
  for (auto& [day, one] : days) live_through(day, one, tyres);
  return tyres;
}

}  // namespace packmile
