// The working days of one van: when it drives, rests and charges, and what
// really happened then.
//
// Days   Monday to Saturday; a round in the morning, a break asleep, a round in
//        the afternoon, AC charging at night. Sunday it stands.
// Shown  what the van's sensors make of it, by its traits; the tracks handed out
//        hold that, the truth what it was made of.
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
#include "benchvan/round.hpp"
#include "benchvan/sensors.hpp"
#include "benchvan/van_traits.hpp"

namespace packmile::benchvan {

// Rating of the on-board charger, at the socket.
inline constexpr double kOnboardChargerKw = 7.4;

struct MonthVan {
  std::string name{};
  std::string vin{};
  double odometer_km = 0;  // at the start
  std::uint64_t seed = 0;
  VanTraits traits{};
  std::optional<double> soc_pct{};  // at the start; absent: drawn
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
  // vin, trips, sessions, throughput, capacity, cost, pack.
  [[nodiscard]] nlohmann::ordered_json truth() const;
  [[nodiscard]] const std::vector<OdometerNote>& notes() const { return notes_; }
  // UTC of the end of the last act handed out.
  [[nodiscard]] std::int64_t end_unix_ms() const;

 private:
  enum class Part : std::uint8_t { morning, midday, afternoon, night };

  [[nodiscard]] bool works() const;  // on the present day
  [[nodiscard]] double ambient_c(double seasonal_shift_c) const;
  [[nodiscard]] std::optional<Act> drive(bool morning);
  [[nodiscard]] std::optional<Act> charge();
  [[nodiscard]] std::optional<Act> charge_at_midday();
  [[nodiscard]] ChargeShape dc_shape(double until_pct) const;
  // The van sleeps until then.
  void sleep_until(double wake_s, double ambient_c);
  [[nodiscard]] Act charge_from(double wake_s, const ChargeShape& shape, double ambient_c,
                                double stand_after_s, bool dc, bool at_post);
  // The track as it really is; `ambient_c` of its time.
  Act hand_out(double wake_s, Track track, double pack_temp_c);
  void begin_day();

  MonthVan van_;
  unsigned days_;
  std::int64_t origin_unix_ms_;
  Generator generator_;
  Generator chance_;  // of what only mechanisms bring
  VanBody body_;
  PackModel pack_;
  Sensors sensors_;
  double odometer_km_;
  unsigned day_ = 0;
  Part part_ = Part::morning;
  double day_shift_c_ = 0;
  double spell_c_ = 0;  // of the weather
  double shown_odometer_km_;
  double dc_kwh_ = 0, session_kwh_ = 0;
  double energy_cost_ = 0;
  nlohmann::ordered_json capacity_ = nlohmann::ordered_json::array();
  double free_from_s_ = 0;  // bench time at which the last act is over
  nlohmann::ordered_json trips_ = nlohmann::ordered_json::array();
  nlohmann::ordered_json sessions_ = nlohmann::ordered_json::array();
  std::vector<OdometerNote> notes_;
  double discharge_kwh_ = 0, charge_kwh_ = 0, discharge_ah_ = 0, charge_ah_ = 0;
  double trip_net_kwh_ = 0, trip_km_ = 0, standing_kwh_ = 0, charger_hours_ = 0;
  std::optional<double> first_s_;
};

}  // namespace packmile::benchvan
