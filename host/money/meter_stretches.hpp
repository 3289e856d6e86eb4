// What a depot's counter counted from note to note, and what of it no heard charge and
// no receipt stands for.
//
// Input     meter notes in order of time, and the charges that are known otherwise.
// Method    a counter through which this van alone charges has counted between its
//           notes, too: a note stands for all since the one before it. Any other note
//           stands for what it says, before to after. The charges of that time which
//           went through the counter are taken off.
// Rule      nothing is paid twice. What several vans may have drawn is not one van's.
// Errors    a counter that was renewed, or ran over, has lost what it counted between
//           two notes: `lost_before` says so.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "figure.hpp"
#include "notes/van_notes.hpp"

namespace packmile {

// Whose counter it is, as [depot_meter] of fleet.toml has it.
enum class CounterOf : std::uint8_t {
  this_van,  // and no other's
  several,   // this van's and others'
  not_told
};

// A charge that is known without the counter: heard, or paid by a receipt.
struct KnownCharge {
  UtcTime earliest, latest;                 // between which it was, doubts of the clock included
  UtcTime end;                              // as it is said
  std::optional<double> kwh;                // at the socket; absent: not known
  bool surely_there = false;                // at the counter; else it may have been
  std::optional<std::uint32_t> meter_note;  // that is about it
};

struct MeterStretch {
  std::uint32_t note_id = 0;
  NoteTime when;
  // Where it began; absent: not known, and all of it counts on the day of the note.
  std::optional<UtcTime> since;
  UtcTime priced_from;  // not before this
  double counted_kwh = 0;
  double step_kwh = 0;
  // What is to be paid for beside the known charges, from 0 up; absent: it is not told
  // what of it is this van's.
  std::optional<Figure> beyond_kwh;
  bool lost_before = false;
  bool others_known = false;  // some known charge lies in it
  // Known charges without energy which it has counted: places in the list.
  std::vector<std::size_t> counted_too;
};

// A counter's note without one before it reaches back this far at most (common
// practice, no source: a month).
inline constexpr std::chrono::milliseconds kFirstMeterNote = std::chrono::days{31};
// More than this share of a pack goes through the socket in several charges only: a
// charger loses up to a fifth (common practice, no source).
inline constexpr double kMostOfOneCharge = 1.25;

// error_pct: greatest, of what the counter counts. nominal_kwh: of the van's pack.
[[nodiscard]] std::vector<MeterStretch> meter_stretches(std::span<const MeterNote> notes,
                                                        std::span<const KnownCharge> charges,
                                                        CounterOf counter,
                                                        std::optional<double> nominal_kwh,
                                                        double error_pct);

// Counted from before to after: reading steps, and what the counter may be off.
[[nodiscard]] Figure metered_kwh(double kwh, double step_kwh, double error_pct);

}  // namespace packmile
