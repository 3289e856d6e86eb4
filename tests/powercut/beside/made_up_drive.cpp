#include "powercut/beside/made_up_drive.hpp"

#include <algorithm>
#include <cmath>

#include "powercut/lying_card.hpp"

namespace packmile::beside {
namespace {

using powercut::draw;

constexpr std::uint32_t kEcu = 0x7E8;
constexpr double kStepS = 0.2;
// A van of 3 t: 0.5 * 1.2 kg/m3 * 1.1 m2 drag area, 1 % rolling. From memory.
constexpr double kMassKg = 3'000;
constexpr double kDragNs2PerM2 = 0.66;
constexpr double kRollingN = 0.01 * kMassKg * 9.81;

}  // namespace

std::vector<Response> made_up_drive(std::uint32_t minutes, std::uint64_t seed) {
  powercut::Random random(seed);
  std::vector<Response> drive;
  BlockKey pack;
  pack.ecu = kEcu;
  pack.period_ms = 200;
  pack.signals = 5;
  pack.signal = {signal::pack_support, signal::pack_state, signal::pack_v, signal::pack_a,
                 signal::speed_kmh};
  BlockKey charge;
  charge.ecu = kEcu;
  charge.period_ms = 5'000;
  charge.signals = 2;
  charge.signal = {signal::soc_pct, signal::module_v};
  double speed_ms = 0;
  double wanted_ms = 0;
  double soc = 0.9;
  Tick tick = 4'200;
  for (std::uint32_t i = 0; i < minutes * 300; ++i) {
    if (i % 150 == 0) wanted_ms = draw(random, 4) == 0 ? 0 : 4 + draw(random, 22);
    const double change = std::clamp(wanted_ms - speed_ms, -0.4, 0.3);
    speed_ms = std::max(0.0, speed_ms + change);
    const double force = kMassKg * change / kStepS + (speed_ms > 0 ? kRollingN : 0) +
                         kDragNs2PerM2 * speed_ms * speed_ms;
    const double pack_a = (force * speed_ms + 600) / 380 + (draw(random, 9) - 4.0) / 10;
    const double pack_v = 360 + 40 * soc - 0.05 * pack_a;
    soc -= pack_a * kStepS / 3600 / 200;
    tick += 198 + draw(random, 5);
    drive.push_back({.tick_ms = tick,
                     .key = pack,
                     .words = {6, 0, static_cast<std::uint32_t>(std::lround(pack_v * 64)),
                               static_cast<std::uint32_t>(std::lround(pack_a * 10)) & 0xFFFF,
                               static_cast<std::uint32_t>(std::lround(speed_ms * 3.6))}});
    if (i % 25 == 24)
      drive.push_back(
          {.tick_ms = tick + 40,
           .key = charge,
           .words = {static_cast<std::uint32_t>(std::lround(std::clamp(soc, 0.0, 1.0) * 255)),
                     13'900 + draw(random, 60)}});
  }
  return drive;
}

std::vector<Sample> samples_of(std::span<const Response> drive) {
  std::vector<Sample> samples;
  for (const Response& response : drive)
    for (std::size_t k = 0; k < response.key.signals; ++k)
      samples.push_back({response.tick_ms, response.key.signal[k], response.words[k]});
  return samples;
}

}  // namespace packmile::beside
