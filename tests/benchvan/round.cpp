#include "benchvan/round.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace packmile::benchvan {
namespace {

// One kind of road: micro-trips between two standstills. Common practice, no
// source; only their variety matters.
struct Road {
  double speed_min_kmh, speed_max_kmh;
  double cruise_min_s, cruise_max_s;
  double pause_min_s, pause_max_s;
};
constexpr Road kUrban{20, 48, 8, 40, 3, 35};
constexpr Road kSuburban{50, 75, 20, 90, 5, 45};
constexpr Road kMotorway{78, 96, 200, 500, 0, 10};

class SpeedWriter {
 public:
  SpeedWriter(Generator& generator, const RoundShape& shape)
      : generator_(generator), briskness_(shape.briskness), haste_(shape.haste) {}

  void stand(double for_s) {
    for (double t = 0; t < for_s; t += kRoundStepS) speed_kmh_.push_back(0);
  }

  void micro_trip(const Road& road) {
    const double cruise_kmh = haste_ * generator_.between(road.speed_min_kmh, road.speed_max_kmh);
    ramp(0, cruise_kmh, briskness_ * generator_.between(0.7, 1.4));
    cruise(cruise_kmh, generator_.between(road.cruise_min_s, road.cruise_max_s));
    ramp(speed_kmh_.back(), 0, -briskness_ * generator_.between(0.8, 1.7));
    stand(generator_.between(road.pause_min_s, road.pause_max_s));
  }

  void stem(double for_s) {
    const std::size_t end = speed_kmh_.size() + static_cast<std::size_t>(for_s / kRoundStepS);
    micro_trip(kUrban);
    while (speed_kmh_.size() < end) {
      const double left_s = static_cast<double>(end - speed_kmh_.size()) * kRoundStepS;
      micro_trip(left_s > 500 && generator_.share() < 0.5 ? kMotorway : kSuburban);
    }
  }

  void to_next_drop() {
    const auto legs = 1 + generator_.below(3);
    for (std::uint64_t i = 0; i < legs; ++i) {
      micro_trip(generator_.share() < 0.8 ? kUrban : kSuburban);
    }
  }

  std::vector<double> take() { return std::move(speed_kmh_); }

 private:
  void ramp(double from_kmh, double to_kmh, double accel_m_s2) {
    const double step_kmh = accel_m_s2 * 3.6 * kRoundStepS;
    double speed_kmh = from_kmh;
    while (std::fabs(to_kmh - speed_kmh) > std::fabs(step_kmh)) {
      speed_kmh += step_kmh;
      speed_kmh_.push_back(speed_kmh);
    }
    speed_kmh_.push_back(to_kmh);
  }

  // Nobody holds a speed exactly: a slow wave of up to 2 km/h about it.
  void cruise(double speed_kmh, double for_s) {
    const double swing_kmh = generator_.between(0.3, 2.0);
    const double period_s = generator_.between(15, 45);
    for (double t = kRoundStepS; t < for_s; t += kRoundStepS) {
      const double wave = std::sin(2 * std::numbers::pi * t / period_s);
      speed_kmh_.push_back(speed_kmh + swing_kmh * wave);
    }
  }

  Generator& generator_;
  double briskness_;
  double haste_;
  std::vector<double> speed_kmh_{0.0};
};

// Writes rows of a track while the pack lives through them.
class TrackWriter {
 public:
  TrackWriter(PackModel& pack, double ambient_c, double odometer_km)
      : pack_(pack), ambient_c_(ambient_c), odometer_km_(odometer_km) {}

  void row(double step_s, double speed_kmh, double power_kw, bool balance = false) {
    // Row one is the start: nothing has flowed yet.
    if (!track_.time_s.empty()) {
      time_s_ += step_s;
      odometer_km_ += (speed_kmh + last_speed_kmh_) / 2.0 * step_s / 3600.0;
    }
    const PackModel::Terminals terminals = pack_.at_power(power_kw, ambient_c_);
    if (!track_.time_s.empty()) {
      pack_.flow((terminals.pack_a + last_a_) / 2.0, step_s, ambient_c_, balance);
    }
    last_a_ = terminals.pack_a;
    last_speed_kmh_ = speed_kmh;
    track_.time_s.push_back(time_s_);
    const auto put = [&](Quantity quantity, double value) {
      track_.column(quantity).push_back(value);
    };
    put(Quantity::speed_kmh, speed_kmh);
    put(Quantity::pack_v, terminals.pack_v);
    put(Quantity::pack_a, terminals.pack_a);
    put(Quantity::soc_pct, pack_.soc_pct());
    put(Quantity::ambient_c, ambient_c_);
    put(Quantity::odometer_km, odometer_km_);
  }

  [[nodiscard]] double time_s() const { return time_s_; }
  // Of rows to come; more are taken too.
  void expect(double rows) {
    const auto wanted = static_cast<std::size_t>(rows);
    track_.time_s.reserve(wanted);
    for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a,
                                    Quantity::soc_pct, Quantity::ambient_c, Quantity::odometer_km})
      track_.column(quantity).reserve(wanted);
  }

  Track take() {
    measure_distance(track_);
    return std::move(track_);
  }

 private:
  PackModel& pack_;
  double ambient_c_;
  double odometer_km_;
  double time_s_ = 0;
  double last_a_ = 0;
  double last_speed_kmh_ = 0;
  Track track_;
};

}  // namespace

std::vector<double> make_round(Generator& generator, const RoundShape& shape) {
  SpeedWriter writer(generator, shape);
  writer.stem(generator.between(shape.stem_min_s, shape.stem_max_s));
  for (int drop = 0; drop < shape.drops; ++drop) {
    writer.stand(generator.between(shape.dwell_min_s, shape.dwell_max_s));
    writer.to_next_drop();
  }
  writer.stem(generator.between(shape.stem_min_s, shape.stem_max_s));
  return writer.take();
}

Track drive_round(const std::vector<double>& speed_kmh, const VanBody& body, PackModel& pack,
                  double ambient_c, double odometer_km, double stand_before_s,
                  double stand_after_s) {
  TrackWriter writer(pack, ambient_c, odometer_km);
  const double climate = climate_kw(ambient_c);
  writer.expect(static_cast<double>(speed_kmh.size()) +
                (stand_before_s + stand_after_s) / kRoundStepS + 2);
  // The heater cycles: 70 s on, 50 s off, the mean as climate_kw() says.
  double cycle_began_s = 0;
  const auto other_kw = [&] {
    while (writer.time_s() - cycle_began_s >= 120.0) cycle_began_s += 120.0;
    const bool on = writer.time_s() - cycle_began_s < 70.0;
    return body.base_load_kw + (on ? climate * 120.0 / 70.0 : 0.0);
  };
  for (double t = 0; t < stand_before_s; t += kRoundStepS) writer.row(kRoundStepS, 0, other_kw());
  double last_kmh = 0;
  for (const double kmh : speed_kmh) {
    const double accel_m_s2 = (kmh - last_kmh) / 3.6 / kRoundStepS;
    writer.row(kRoundStepS, kmh, traction_kw(body, kmh, accel_m_s2) + other_kw());
    last_kmh = kmh;
  }
  for (double t = 0; t < stand_after_s; t += kRoundStepS) writer.row(kRoundStepS, 0, other_kw());
  return writer.take();
}

Track charge_at_power(PackModel& pack, const ChargeShape& shape, double ambient_c,
                      double odometer_km, double stand_before_s, double stand_after_s) {
  constexpr double kRampS = 12;  // a charger does not start at full power
  constexpr double kEndKw = 0.9;
  constexpr double kRestKw = 0.25;  // awake, contactors closed
  constexpr double kBalanceKw = 0.35;
  constexpr double kLongestS = 24 * 3600;
  TrackWriter writer(pack, ambient_c, odometer_km);
  for (double t = 0; t < stand_before_s; t += kChargeStepS) writer.row(kChargeStepS, 0, kRestKw);
  for (double t = 0; t < kLongestS && pack.soc_pct() < shape.until_pct; t += kChargeStepS) {
    const double room = (100.0 - pack.soc_pct()) / (100.0 - shape.taper_from_pct);
    const double share = std::min({1.0, (t + kChargeStepS) / kRampS, std::max(room, 0.0)});
    const double now_kw = shape.power_kw * share;
    if (t > kRampS && now_kw < kEndKw) break;
    writer.row(kChargeStepS, 0, -now_kw);
  }
  for (double t = 0; t < shape.balance_s; t += kChargeStepS)
    writer.row(kChargeStepS, 0, -kBalanceKw, true);
  for (double t = 0; t < stand_after_s; t += kChargeStepS) writer.row(kChargeStepS, 0, kRestKw);
  return writer.take();
}

}  // namespace packmile::benchvan
