// A stretch of a van's life as rows over time: read from a replay CSV or made
// by the model, and the cursor that plays it.
//
// Method  between two rows speed, pack voltage and pack current run in a
//         straight line, everything else holds; over a step of more than 10 s
//         there is silence.
// Absent  an empty field is not answered from its row to the next, and a
//         straight line needs both its ends.
#pragma once
#include <array>
#include <cstddef>
#include <optional>
#include <vector>

#include "benchvan/moment.hpp"

namespace packmile::benchvan {

// A longer step between rows is silence: the replay contract.
inline constexpr double kSilentStepS = 10.0;

struct Track {
  std::vector<double> time_s;  // rising strictly; row one may have any time
  // Empty: no such column. A NaN is an empty field.
  std::array<std::vector<double>, kQuantities> columns;
  // Trapezoid of speed from row one, km; empty without speed.
  std::vector<double> driven_km;

  [[nodiscard]] std::vector<double>& column(Quantity quantity) {
    return columns[index_of(quantity)];
  }
  [[nodiscard]] const std::vector<double>& column(Quantity quantity) const {
    return columns[index_of(quantity)];
  }
  [[nodiscard]] double duration_s() const {
    return time_s.empty() ? 0.0 : time_s.back() - time_s.front();
  }
  // Columns with at least one value.
  [[nodiscard]] QuantitySet quantities() const;
  [[nodiscard]] double distance_km() const { return driven_km.empty() ? 0.0 : driven_km.back(); }
};

// Fills driven_km from the speed column. An interval with an empty end adds
// nothing.
void measure_distance(Track& track);

// Plays one track. Times must not run back.
class TrackCursor {
 public:
  explicit TrackCursor(const Track& track);

  // What the sensors show `after_s` seconds after row one, without odometer
  // unless the track has that column. False: silence (before row one, after the
  // last row, inside a step of more than 10 s); `moment` is then empty.
  [[nodiscard]] bool show(double after_s, Moment& moment);
  // Kilometres driven since row one at the time of the last show() that gave
  // true; absent without speed.
  [[nodiscard]] std::optional<double> driven_km() const { return driven_km_; }

 private:
  const Track* track_;
  std::array<Quantity, kQuantities> present_{};  // columns that the track has
  std::size_t columns_ = 0;
  std::size_t row_ = 0;
  std::optional<double> driven_km_;
};

}  // namespace packmile::benchvan
