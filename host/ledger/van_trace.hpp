// What the throughput of any period needs beside trips, sessions and stands:
// turning points of the SoC, awake time near full and near empty, and the
// odometer from time to time.
//
// Input     episodes in time order.
// Method    turning points with a hysteresis of two codes, so that chatter of
//           the last code is no swing; a SoC word holds until the next one or
//           the end of its episode.
// Bounded   a few dozen values a day.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "timeline/episode.hpp"

namespace packmile {

struct SocTurn {
  UtcTime time;
  double soc_pct = 0;
};

// Awake time at or above 80 % and at or below 20 %, each also with the border
// moved by the controller's own error both ways: its SoC is worth about 1.6
// points (1 sd; 79 pairs of a published fleet set against rest voltage).
inline constexpr double kSocHighPct = 80;
inline constexpr double kSocLowPct = 20;
inline constexpr double kSocErrorPct = kZ95 * 1.6;
enum class SocBandKind : std::uint8_t {
  high,
  high_at_least,
  high_at_most,
  low,
  low_at_least,
  low_at_most
};
inline constexpr std::size_t kSocBandKinds = 6;

struct SocBand {
  SocBandKind kind = SocBandKind::high;
  UtcTime start, end;
};

struct OdometerReading {
  UtcTime time;
  double odometer_km = 0;  // cut down to 0.1 km by the van
};

class VanTrace {
 public:
  void observe(const Episode& episode);
  // Closes what is open. Nothing may be observed afterwards.
  void finish();

  [[nodiscard]] const std::vector<SocTurn>& turns() const { return turns_; }
  [[nodiscard]] const std::vector<SocBand>& bands() const { return bands_; }
  [[nodiscard]] const std::vector<OdometerReading>& odometer() const { return odometer_; }

 private:
  void follow(std::int64_t time_ms, double codes, double hysteresis_codes);
  void hold(std::int64_t from_ms, std::int64_t to_ms, double soc_pct);

  std::vector<SocTurn> turns_;
  std::vector<SocBand> bands_;
  std::vector<OdometerReading> odometer_;
  // The extreme since the last turning point, in codes of 100/255 %, and the way
  // it goes: +1, -1, or 0 while nothing moved yet.
  std::optional<std::pair<std::int64_t, double>> extreme_;
  int way_ = 0;
  // Index in bands_ of the newest one of each kind, to join what touches.
  std::array<std::optional<std::size_t>, kSocBandKinds> newest_;
};

}  // namespace packmile
