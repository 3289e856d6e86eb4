// What a van did on each local day, and what its odometer said when: the use that
// wears its parts.
//
// Input     trips, sessions, odometer words and notes of its whole life, up to a
//           moment.
// Output    totals of every calendar day on record, idle ones among them; totals
//           since a day; the odometer at a day.
// Method    a row counts on the day it starts; a drive that nobody saw is spread
//           evenly over the days of its silence. Moving time is distance over mean
//           moving speed. A start is a trip or a charge begun.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calendar/zone.hpp"
#include "duty/due.hpp"
#include "ledger/fleet.hpp"
#include "ledger/throughput.hpp"
#include "notes/van_notes.hpp"

namespace packmile {

// 95 %, or the whole of what is possible.
struct Amount {
  double value = 0, low = 0, high = 0;
  Amount& operator+=(const Amount& other);
};

enum class DutyCounter : std::uint8_t {
  km,
  motor_hours,
  charger_hours,
  motor_kwh,    // out of the pack while driving, and back into it
  charger_kwh,  // into the pack from AC
  pack_kwh,     // all that went out of the pack and into it
  starts
};
inline constexpr std::size_t kDutyCounters = 7;

struct VanDay {
  LocalDay day;
  std::array<Amount, kDutyCounters> used{};
};

struct OdometerMark {
  LocalDay day;
  double km = 0;
  double step_km = 0;
  std::optional<std::uint32_t> note;  // its id; absent: the van said it
};

struct VanDuty {
  std::vector<VanDay> days;            // every one from the first on record to the last
  std::vector<OdometerMark> odometer;  // in order of days; one or two a day
  // Km driven after the last point, by trips.
  Amount km_since_odometer;
  LocalDay today;

  // By the last point and the trips since.
  [[nodiscard]] MaybeFigure odometer_now() const;
  // Straight between the points around the day; low and high are those points.
  [[nodiscard]] MaybeFigure odometer_on(LocalDay day) const;
  // From the beginning of `day` until now. Before the first day on record it is
  // estimated at what a km took since, with nothing and twice that as bounds.
  [[nodiscard]] MaybeFigure used_since(LocalDay day, DutyCounter counter) const;
  [[nodiscard]] UseRateOrWhy rate_of(DutyCounter counter) const;
};

[[nodiscard]] LocalDay local_day(const Zone& zone, UtcTime at);
// What begins after as_of does not count. Its day is `today`.
[[nodiscard]] VanDuty duty_of(const VanParts& parts, const VanNotes& notes, const Zone& zone,
                              UtcTime as_of);

}  // namespace packmile
