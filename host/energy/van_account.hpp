// One van's energy account: trips, charge sessions, stands and throughput from
// its episodes, every figure with coverage and interval or with the reason why
// there is none.
//
// Input     episodes in time order, and the reading of the pack-current word.
// Output    VanFigures.
// Sign      net_kwh of a trip is positive when the pack lost energy; pack_kwh
//           of a session is what flowed into the pack.
// Method    trapezoid of V * I over samples of one response; a step longer than
//           2.5 poll periods is a gap: it adds nothing, lowers the coverage and
//           is estimated apart in filled_kwh.
// Rule      every kWh of awake time is in exactly one of trip, session, stand.
#pragma once
#include <chrono>
#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "figure.hpp"
#include "finding.hpp"
#include "reading/pack_reading.hpp"
#include "timeline/episode.hpp"

namespace packmile {

// What the owner knows about a van (fleet.toml); absent: not known.
struct VanFacts {
  std::optional<double> nominal_kwh;
  std::optional<double> nominal_ah;
  std::optional<double> onboard_charger_kw;
  std::optional<std::chrono::sys_days> first_used{};  // by whoever; its age counts from here
};

// Settings of the segmentation and of the intervals, with their defaults.
// Defaults without a source are common practice and marked in the .cpp.
struct EnergyRules {
  double moving_kmh = 3;         // a drive begins at this speed ..
  double moving_for_s = 5;       // .. held for this long
  double stop_split_s = 300;     // a standstill this long ends a trip
  double silence_split_s = 120;  // and so does a silence
  double charge_enter_kw = 0.6;  // 60 s mean into the pack
  double charge_leave_kw = 0.3;  // mean over charge_leave_s; current that
                                 // flows on without a break still belongs
  double charge_leave_s = 300;
  double charge_merge_s = 900;     // pauses up to this stay one session
  double session_least_kwh = 0.1;  // shorter ones are not listed
  double gap_periods = kGapPeriods;
  double offset_u_a = 0.3;          // 1 sd, current sensor offset
  double current_gain_u = 0.006;    // 1 sd, relative
  double voltage_gain_u = 0.003;    // 1 sd, relative
  double odometer_scale_u = 0.015;  // 1 sd, relative: tyres
  double speed_scale_u = 0.03;      // 1 sd, relative, without an odometer
  double km_per_speed_km = 1;       // where the van's own distances told it
};

enum class EnergyMethod : std::uint8_t { integrated, soc_nominal, none };
enum class DistanceSource : std::uint8_t { odometer, speed, none };
enum class ChargeKind : std::uint8_t { ac, dc, unknown };
enum class SessionSource : std::uint8_t { measured, inferred, noted };
[[nodiscard]] std::string_view word_of(EnergyMethod method);
[[nodiscard]] std::string_view word_of(DistanceSource source);
[[nodiscard]] std::string_view word_of(ChargeKind kind);
[[nodiscard]] std::string_view word_of(SessionSource source);

struct Trip {
  UtcTime start, end;
  // `end - start` is sure for what was heard; when it was need not be.
  TimeDoubt start_doubt, end_doubt;
  MaybeFigure distance_km;
  DistanceSource distance_source = DistanceSource::none;
  MaybeFigure discharge_kwh, regen_kwh, net_kwh;
  MaybeFigure discharge_ah, regen_ah;
  MaybeFigure kwh_per_mile, wh_per_km;
  std::optional<double> soc_start_pct, soc_end_pct, ambient_mean_c;
  // While moving; absent: speed was not answered well enough.
  std::optional<double> moving_kmh;
  std::optional<double> stops;
  double soc_step_pct = kSocPctPerCode;  // what the two are steps of
  EnergyMethod energy_method = EnergyMethod::none;
  double coverage = 0;     // 0..1, share of the time that samples cover
  MaybeFigure filled_kwh;  // estimate for the gaps, not in net_kwh
  CurrentVerdict current_verdict = CurrentVerdict::too_little;
  std::vector<Finding> findings;
};

// Where the bands of charging power begin, kW into the pack; the last one has no
// end. They part the usual supplies at 230 V (16 A and 32 A of one phase, of
// three) after a charger's loss; the rest is common practice, no source.
inline constexpr std::array kChargeBandFromKw{0.6, 2.0, 5.0, 8.5, 15.0, 25.0, 50.0, 100.0};
// Hours with power in each band; what lies below the first is none.
using ChargeBandHours = std::array<double, kChargeBandFromKw.size()>;

// A corner of the line of energy that went into the pack since a session's start:
// straight between corners, within kCurveKwh of what was integrated.
struct CurvePoint {
  std::int64_t after_ms = 0;
  double kwh = 0;
  friend bool operator==(const CurvePoint&, const CurvePoint&) = default;
};
// A fifth of a watt-hour: a tenth of a second of the slowest usual charge (2 kW).
inline constexpr double kCurveKwh = 0.0002;

struct ChargeSession {
  UtcTime start, end;
  TimeDoubt start_doubt, end_doubt;
  ChargeKind kind = ChargeKind::unknown;
  SessionSource source = SessionSource::measured;
  MaybeFigure pack_kwh, pack_ah;  // charging lobes only
  MaybeFigure grid_kwh, peak_kw;
  ChargeBandHours band_hours{};  // of the time that samples cover
  // When the energy came, gaps crossed by a straight line of power; from start to
  // end; empty: it was not seen. Its shape is what counts: its sum may differ from
  // pack_kwh by what an offset takes and gaps are filled with.
  std::vector<CurvePoint> curve;
  std::optional<double> soc_start_pct, soc_end_pct;
  double soc_step_pct = kSocPctPerCode;
  double coverage = 0;
  MaybeFigure filled_kwh;
  CurrentVerdict current_verdict = CurrentVerdict::too_little;
  std::vector<Finding> findings;
};

// False: perhaps the controller only put its state of charge right (charge_unsure). Such
// a session counts as no charge.
[[nodiscard]] bool surely_charged(const ChargeSession& session);

// Awake time outside trips and sessions. Two more kinds keep the account whole:
// start == end: what the pack gave in the pauses of the session that starts
// then (no time of its own); coverage 0 with net_kwh: a silence across which
// the state of charge fell (asleep, no awake time).
struct Stand {
  UtcTime start, end;
  TimeDoubt start_doubt, end_doubt;
  MaybeFigure net_kwh;  // positive: the pack lost energy
  // Its lobes, each >= 0; net is discharge - charge. For the throughput.
  MaybeFigure discharge_kwh, charge_kwh;
  MaybeFigure discharge_ah, charge_ah;
  double coverage = 0;
  MaybeFigure filled_kwh;
};

// What a period adds to the van's throughput; summed over trips, sessions and
// stands by the ledger for any period.
struct SwingCount {
  double depth_pct = 0;
  double count = 0;  // halves are possible
};

struct VanFigures {
  std::vector<Trip> trips;
  std::vector<ChargeSession> sessions;
  std::vector<Stand> stands;
  std::optional<UtcTime> measured_from, measured_to;
  std::optional<double> odometer_first_km, odometer_last_km;
  std::vector<SwingCount> swings;  // rainflow of the SoC, ASTM E1049-85
  std::vector<Finding> findings;
};

// An episode with what the account made of it (session.hpp); valid during the call
// alone.
struct PlannedEpisode;
using SeePlanned = std::function<void(const PlannedEpisode&)>;

class VanAccount {
 public:
  VanAccount(VanFacts facts, std::vector<PackReading> readings, EnergyRules rules = {});
  ~VanAccount();
  VanAccount(VanAccount&&) noexcept;
  VanAccount& operator=(VanAccount&&) noexcept;

  // Episodes in time order.
  void add(const Episode& episode, const SeePlanned& see = {});
  // Closes what is open and hands out everything added so far, each list in
  // order of start. The account starts anew.
  [[nodiscard]] VanFigures finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace packmile
