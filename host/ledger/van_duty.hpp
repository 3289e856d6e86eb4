// What a van did on each local day, and what its odometer said when: the use that
// wears its parts.
//
// Input     trips, sessions, stands, odometer words and notes of its whole life, up
//           to a moment.
// Output    totals of every calendar day on record, idle ones among them; totals
//           since a day; the odometer at a day.
// Method    duty_days.hpp. The van's own odometer outranks a note that contradicts
//           it. What lies behind the last day on record goes on at the rate of use.
// Refuses   a counter of which some use was never told; the reason says which.
#pragma once
#include <array>
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
  // A card was in the van, or its odometer tells what happened without one. Else
  // nothing is known of this day, and used is nothing.
  bool known = true;
  std::array<Amount, kDutyCounters> used{};

  [[nodiscard]] const Amount& of(DutyCounter counter) const {
    return used[static_cast<std::size_t>(counter)];
  }
};

struct OdometerMark {
  LocalDay day;
  double km = 0;
  double step_km = 0;
  std::optional<std::uint32_t> note;  // its id; absent: the van said it
};

// So long a rate of use is taken to go on (common practice, no source).
inline constexpr std::chrono::days kRateHolds{365};

// A note that contradicts the van's own odometer.
struct LeftOutNote {
  std::uint32_t id = 0;
  std::string why;  // and how to mend it
};

struct VanDuty {
  std::vector<VanDay> days;            // every one from the first on record to the last
  std::vector<OdometerMark> odometer;  // in order of days; one or two a day
  std::vector<LeftOutNote> left_out;   // none of them is in odometer
  // By counter: why it is not known of all days; empty: it is.
  std::array<std::string, kDutyCounters> unknown{};
  LocalDay today;

  // The last day that anything is known of; absent: there is none.
  [[nodiscard]] std::optional<LocalDay> known_to(DutyCounter counter) const;
  // On known_to(km): by the last point and the days since.
  [[nodiscard]] MaybeFigure odometer_known() const;
  // Today: from there on at the rate of use, where there is one.
  [[nodiscard]] MaybeFigure odometer_now() const;
  // Straight between the points around the day, low and high are those points; beside
  // them by the days on record and the rate of use.
  [[nodiscard]] MaybeFigure odometer_on(LocalDay day) const;
  // From the beginning of `day` until known_to. Before the first day on record it is
  // estimated at what a km took since, and on days that nothing is known of at what a
  // day took, each with nothing and twice that as bounds. then_km: the odometer on
  // `day`, where the owner says it.
  [[nodiscard]] MaybeFigure used_since(LocalDay day, DutyCounter counter,
                                       std::optional<double> then_km = {}) const;
  // When so much was used since then; absent: not yet, or nothing tells when.
  [[nodiscard]] std::optional<DueDates> passed_on(LocalDay day, DutyCounter counter, double amount,
                                                  std::optional<double> then_km = {}) const;
  // None where the last day on record is kRateHolds ago: use changes.
  [[nodiscard]] UseRateOrWhy rate_of(DutyCounter counter) const;

 private:
  [[nodiscard]] UseRateOrWhy rate_on_record(DutyCounter counter) const;
  // Over the days from..to, both included, as far as they are on record.
  [[nodiscard]] Amount used_between(LocalDay from, LocalDay to, DutyCounter counter) const;
};

[[nodiscard]] LocalDay local_day(const Zone& zone, UtcTime at);
// What begins after as_of does not count. Its day is `today`.
[[nodiscard]] VanDuty duty_of(const VanParts& parts, const VanNotes& notes, const Zone& zone,
                              UtcTime as_of);

}  // namespace packmile
