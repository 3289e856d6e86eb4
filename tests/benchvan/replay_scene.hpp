// A van that lives through replay files one after another.
//
//   phase     what                                                  ends
//   armed     awake; answers with row one                           first poll request, or 60 s
//   playing   awake; answers what the track shows                   last row
//   between   asleep                                                gap; after the last file: never
//
// Stays awake  where that fault is set, the van between two files is awake, at
//           standstill, for 2 min after each frame of the tester; its 12 V battery
//           pays for it.
// Odometer  starts at a given value and grows by the trapezoid of speed across
//           all files, unless a file has its own column.
#pragma once
#include <cstddef>
#include <optional>
#include <vector>

#include "benchvan/battery_12v.hpp"
#include "benchvan/scene.hpp"
#include "benchvan/track.hpp"

namespace packmile::benchvan {

// Wait for the first poll request: the replay contract.
inline constexpr Nanos kArmedNs = 60 * kNanosPerSecond;

class ReplayScene : public Scene {
 public:
  struct Setup {
    Nanos gap_ns = 0;         // sleep between two files
    double odometer_km = 0;   // at row one of the first file
    bool soc_frozen = false;  // the first SoC of all is shown for ever
    bool stays_awake = false;
    bool top_ups = false;     // of the 12 V battery, while the van stands
    bool supply_low = false;  // 11.9 V, whatever the van does
  };
  ReplayScene(std::vector<Track> tracks, const Setup& setup);

  void on_tester_frame(Nanos now_ns) override;
  void on_poll_request(Nanos now_ns) override;
  [[nodiscard]] const Moment* show(Nanos now_ns) override;
  [[nodiscard]] bool awake(Nanos now_ns) override;
  [[nodiscard]] Nanos next_change_ns() const override;
  [[nodiscard]] std::uint16_t supply_mv(Nanos now_ns) override;
  // Of the faults stays-awake and top-ups, up to the time asked last.
  [[nodiscard]] const Battery12v& battery() const { return battery_; }

  // When row one of the first file was; absent: not yet.
  [[nodiscard]] std::optional<Nanos> first_row_ns() const { return first_row_ns_; }
  // All files have been played.
  [[nodiscard]] bool finished() const { return file_ == tracks_.size(); }

 private:
  enum class Phase : std::uint8_t { armed, playing, between };

  void go_to(Nanos now_ns);
  void stand_until(Nanos now_ns);
  [[nodiscard]] bool stands() const { return finished() || phase_ == Phase::between; }
  [[nodiscard]] bool kept_awake(Nanos now_ns) const;
  [[nodiscard]] bool topped_up(Nanos now_ns) const { return now_ns < top_up_until_ns_; }
  void start(Nanos now_ns);
  [[nodiscard]] Nanos end_of_play_ns() const;

  std::vector<Track> tracks_;
  Setup setup_;
  std::size_t file_ = 0;
  Phase phase_ = Phase::armed;
  Nanos phase_since_ns_ = 0;
  TrackCursor cursor_;
  double odometer_base_km_;
  double run_start_km_;
  std::optional<double> frozen_soc_pct_;
  std::optional<Nanos> first_row_ns_;
  Moment moment_;
  Moment parked_;  // what a van that is kept awake shows
  Nanos kept_awake_until_ns_ = 0;
  Nanos stood_until_ns_ = 0;
  Nanos next_top_up_ns_ = kNever;
  Nanos top_up_until_ns_ = 0;
  Battery12v battery_;
};

}  // namespace packmile::benchvan
