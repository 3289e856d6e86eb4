// A van that lives through replay files one after another.
//
//   phase     what                                                  ends
//   armed     awake; answers with row one                           first poll request, or 60 s
//   playing   awake; answers what the track shows                   last row
//   between   asleep                                                gap; after the last file: never
//
// Odometer  starts at a given value and grows by the trapezoid of speed across
//           all files, unless a file has its own column.
#pragma once
#include <cstddef>
#include <optional>
#include <vector>

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
  };
  ReplayScene(std::vector<Track> tracks, const Setup& setup);

  void on_poll_request(Nanos now_ns) override;
  [[nodiscard]] const Moment* show(Nanos now_ns) override;
  [[nodiscard]] bool awake(Nanos now_ns) override;
  [[nodiscard]] Nanos next_change_ns() const override;

  // When row one of the first file was; absent: not yet.
  [[nodiscard]] std::optional<Nanos> first_row_ns() const { return first_row_ns_; }
  // All files have been played.
  [[nodiscard]] bool finished() const { return file_ == tracks_.size(); }

 private:
  enum class Phase : std::uint8_t { armed, playing, between };

  void go_to(Nanos now_ns);
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
};

}  // namespace packmile::benchvan
