// The working days of one van: when it drives, rests and charges, and what
// really happened then.
//
// Days   Monday to Saturday; a round in the morning, a break asleep, a round in
//        the afternoon, AC charging at night. Sunday it stands.
// Truth  a drive act is one trip: its stops are shorter than what ends a trip,
//        and it is awake for less than 5 min before the first and after the
//        last movement.
#pragma once
#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "benchvan/generator.hpp"
#include "benchvan/pack_model.hpp"
#include "benchvan/planned_scene.hpp"

namespace packmile::benchvan {

// Rating of the on-board charger, at the socket.
inline constexpr double kOnboardChargerKw = 7.4;

struct MonthVan {
  std::string name{};
  std::string vin{};
  double odometer_km = 0;  // at the start
  std::uint64_t seed = 0;
};

// What a person reads off the dashboard.
struct OdometerNote {
  std::int64_t unix_ms = 0;
  double odometer_km = 0;
};

class MonthPlan : public ActSource {
 public:
  // `origin_unix_ms`: UTC midnight of day one, bench time 0.
  MonthPlan(const MonthVan& van, unsigned days, std::int64_t origin_unix_ms);

  [[nodiscard]] std::optional<Act> next() override;

  // What really happened in the acts handed out so far: an object with van,
  // vin, trips, sessions, throughput.
  [[nodiscard]] nlohmann::ordered_json truth() const;
  [[nodiscard]] const std::vector<OdometerNote>& notes() const { return notes_; }
  // UTC of the end of the last act handed out.
  [[nodiscard]] std::int64_t end_unix_ms() const;

 private:
  enum class Part : std::uint8_t { morning, afternoon, night };

  [[nodiscard]] bool works() const;  // on the present day
  [[nodiscard]] double ambient_c(double seasonal_shift_c) const;
  [[nodiscard]] std::optional<Act> drive(bool morning);
  [[nodiscard]] std::optional<Act> charge();
  Act hand_out(double wake_s, Track track);

  MonthVan van_;
  unsigned days_;
  std::int64_t origin_unix_ms_;
  Generator generator_;
  VanBody body_;
  PackModel pack_;
  double odometer_km_;
  unsigned day_ = 0;
  Part part_ = Part::morning;
  double day_shift_c_ = 0;
  double free_from_s_ = 0;  // bench time at which the last act is over
  nlohmann::ordered_json trips_ = nlohmann::ordered_json::array();
  nlohmann::ordered_json sessions_ = nlohmann::ordered_json::array();
  std::vector<OdometerNote> notes_;
  double discharge_kwh_ = 0, charge_kwh_ = 0, discharge_ah_ = 0, charge_ah_ = 0;
  double trip_net_kwh_ = 0, trip_km_ = 0, standing_kwh_ = 0, charger_hours_ = 0;
  std::optional<double> first_s_;
};

}  // namespace packmile::benchvan
