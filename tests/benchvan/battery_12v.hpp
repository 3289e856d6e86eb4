// The van's 12 V battery while the van stands: what asking costs it.
//
// Model    lead, 45 Ah; 20 mA at rest, 4 A while the network is awake; open
//          voltage in a straight line from 11.9 V empty to 12.7 V full, 25 mOhm
//          inside. A converter that tops it up once a day gives 30 A at 14.2 V
//          until it is full, at least for 10 min. Made up from common practice, no
//          source.
#pragma once
#include <algorithm>
#include <cstdint>

#include "benchvan/bench_time.hpp"

namespace packmile::benchvan {

inline constexpr double kBatteryAh = 45;
inline constexpr double kRestA = 0.02;
inline constexpr double kAwakeA = 4;
inline constexpr double kTopUpA = 30;
inline constexpr Nanos kTopUpEveryNs = 24 * 3600 * kNanosPerSecond;
inline constexpr Nanos kTopUpNs = 600 * kNanosPerSecond;

class Battery12v {
 public:
  // Driven or charged: the DC/DC converter has filled it.
  void fill() { used_ah_ = 0; }
  // It stood for that long, awake or asleep.
  void stand(Nanos for_ns, bool awake) {
    const double hours = seconds_of(for_ns) / 3600;
    used_ah_ += (awake ? kAwakeA : kRestA) * hours;
    if (awake) beyond_rest_ah_ += (kAwakeA - kRestA) * hours;
  }
  // The converter feeds it and the awake van.
  void begin_top_up() { ++top_ups_; }
  void top_up(Nanos for_ns) {
    used_ah_ = std::max(0.0, used_ah_ - kTopUpA * seconds_of(for_ns) / 3600);
  }
  // How long a top-up takes from now on.
  [[nodiscard]] Nanos top_up_ns() const {
    return std::max(kTopUpNs, nanos_of_seconds(used_ah_ / kTopUpA * 3600));
  }
  // At the plug, not fed by the converter.
  [[nodiscard]] std::uint16_t millivolts(bool awake) const {
    const double share = used_ah_ < kBatteryAh ? 1 - used_ah_ / kBatteryAh : 0;
    return static_cast<std::uint16_t>(11900 + 800 * share - 25 * (awake ? kAwakeA : kRestA));
  }
  // Since the beginning, more than an undisturbed van would have drawn.
  [[nodiscard]] double beyond_rest_ah() const { return beyond_rest_ah_; }
  [[nodiscard]] int top_ups() const { return top_ups_; }

 private:
  double used_ah_ = 0;
  double beyond_rest_ah_ = 0;
  int top_ups_ = 0;
};

}  // namespace packmile::benchvan
