// A note: one thing that only people know, as they told it.
//
// Rule      notes are never changed; a correction is a new note that stands in
//           place of an older one. Which hold is decided in ledger/note_store.hpp.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "figure.hpp"

namespace packmile {

enum class NoteKind : std::uint8_t {
  odometer,    // the reading
  receipt,     // kWh, sum paid, place
  meter,       // the depot's counter before and after
  tread,       // depth of a tyre's pattern at a wheel, by gauge
  pad,         // the thinnest pad of an axle
  job,         // work done: part, sum, hours of labour
  fluid,       // a fluid was renewed
  tyre_moved,  // a tyre went from one wheel to another
  off_road,    // days without the van, and what its stand-in cost
  valuation,   // what somebody would pay for the van
  sold,        // what somebody paid
  withdrawn,   // takes another note back and says nothing itself
};

// Places in Note::values.
inline constexpr std::size_t kOdometerReading = 0;  // km
inline constexpr std::size_t kReceiptKwh = 0;
inline constexpr std::size_t kReceiptSum = 1;    // the depot's currency
inline constexpr std::size_t kReceiptPlace = 2;  // text
inline constexpr std::size_t kMeterBefore = 0;   // kWh
inline constexpr std::size_t kMeterAfter = 1;    // kWh
inline constexpr std::size_t kTreadWheel = 0;    // a word of kWheelWords
inline constexpr std::size_t kTreadDepth = 1;    // mm
inline constexpr std::size_t kTreadGauge = 2;    // mm
inline constexpr std::size_t kPadAxle = 0;       // a word of kAxleWords
inline constexpr std::size_t kPadThickness = 1;  // mm
inline constexpr std::size_t kJobPart = 0;       // text
inline constexpr std::size_t kJobSum = 1;        // the depot's currency
inline constexpr std::size_t kJobHours = 2;      // h
inline constexpr std::size_t kFluidName = 0;     // text
inline constexpr std::size_t kMovedFrom = 0;     // a word of kWheelWords
inline constexpr std::size_t kMovedTo = 1;       // a word of kWheelWords
inline constexpr std::size_t kOffRoadDays = 0;   // days
inline constexpr std::size_t kOffRoadSum = 1;    // the depot's currency
inline constexpr std::size_t kPriceSum = 0;      // of valuation and sold

// A local day of the depot, from its first instant to that of the next day; or
// an instant, twice the same.
struct NoteTime {
  UtcTime from{};
  UtcTime to{};

  [[nodiscard]] bool is_day() const { return from != to; }
  // All of this is earlier than all of `other`. Within one day nothing is known
  // of what came first.
  [[nodiscard]] bool before(const NoteTime& other) const {
    return is_day() ? to <= other.from : from < other.from;
  }
  friend bool operator==(const NoteTime&, const NoteTime&) = default;
};

struct NoteValue {
  // As notes.csv has it: 24850mi, 12.5, Corn Exchange. Empty: there is no such value.
  std::string text;
  double number = 0;  // km, kWh, mm, h, days, currency; 0 where the value is text
  // What one more in the last digit typed is worth, in the same unit: 12345 is
  // known to 1, 24850mi to 1.609 km. 0 where the value is text.
  double step = 0;
};

inline constexpr std::size_t kMostNoteValues = 3;

struct Note {
  std::uint32_t id = 0;  // from 1; the order in which notes were entered
  std::string van;       // the name in fleet.toml where it knows the van
  NoteTime when;
  NoteKind kind = NoteKind::odometer;
  std::array<NoteValue, kMostNoteValues> values;
  std::string remark;
  std::optional<std::uint32_t> replaces;     // the note that this one stands in place of
  std::optional<std::uint32_t> replaced_by;  // absent: this note holds
  std::optional<UtcTime> entered;            // absent: typed into the file by hand

  [[nodiscard]] bool holds() const { return !replaced_by && kind != NoteKind::withdrawn; }
};

}  // namespace packmile
