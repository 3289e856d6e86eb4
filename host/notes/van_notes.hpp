// What the notes of one van say, ready for figures.
//
// Input     notes of any vans, corrections among them.
// Output    those of the van that hold, each list in order of time, then id.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "notes/note.hpp"
#include "notes/positions.hpp"

namespace packmile {

struct OdometerNote {
  std::uint32_t id = 0;
  NoteTime when;
  double km = 0;
  // What one more in the last digit typed is worth. A display cuts down: the van
  // had gone from km to km + step_km.
  double step_km = 0;
};

// The depot's counter before and after a charge.
struct MeterNote {
  std::uint32_t id = 0;
  NoteTime when;
  double before_kwh = 0;
  double after_kwh = 0;  // from before_kwh on
  double step_kwh = 0;   // of the coarser of the two

  [[nodiscard]] double kwh() const { return after_kwh - before_kwh; }
};

struct ReceiptNote {
  std::uint32_t id = 0;
  NoteTime when;
  double kwh = 0;       // above 0
  double step_kwh = 0;  // of the last digit typed
  double sum_paid = 0;  // the depot's currency; 0: free of charge
  std::string place;
};

// One standard uncertainty of a reading by a hand-held tread gauge, where the note
// gives none (common practice, no source).
inline constexpr double kUsualGaugeErrorMm = 0.25;
// Of a pad, a hand gauge between disc and plate (common practice, no source).
inline constexpr double kPadGaugeErrorMm = 0.25;

// By how much a tread or a pad may come out thicker than it was before it is taken for
// another one: 0.5 mm with usual gauges (common practice, no source), more where the
// gauges err by more. Both in mm, 1 sd.
[[nodiscard]] double new_start_rise_mm(double gauge_before_mm, double gauge_after_mm);

struct TreadNote {
  std::uint32_t id = 0;
  NoteTime when;
  Wheel wheel = Wheel::front_left;
  double depth_mm = 0;
  double gauge_error_mm = kUsualGaugeErrorMm;
  double step_mm = 0;  // of the last digit typed
};

struct PadNote {
  std::uint32_t id = 0;
  NoteTime when;
  Axle axle = Axle::front;
  double thickness_mm = 0;  // of the thinnest pad of the axle, without its plate
  double step_mm = 0;       // of the last digit typed
};

struct JobNote {
  std::uint32_t id = 0;
  NoteTime when;
  std::string part;             // the owner's word, as fleet.toml has it for its parts
  double sum = 0;               // the depot's currency; hours of labour are not in it
  std::optional<double> hours;  // of one's own labour; absent: none was noted
};

struct FluidNote {
  std::uint32_t id = 0;
  NoteTime when;
  std::string name;  // renewed on that day
};

struct TyreMovedNote {
  std::uint32_t id = 0;
  NoteTime when;
  Wheel from = Wheel::front_left;
  Wheel to = Wheel::rear_left;  // never the same as from
};

struct OffRoadNote {
  std::uint32_t id = 0;
  NoteTime when;              // the first day
  double days = 0;            // above 0
  std::optional<double> sum;  // hire and the like, the depot's currency; absent: not noted
};

struct ValuationNote {
  std::uint32_t id = 0;
  NoteTime when;
  double sum = 0;  // the depot's currency
};

struct SoldNote {
  std::uint32_t id = 0;
  NoteTime when;
  double sum = 0;  // the depot's currency
};

struct VanNotes {
  std::vector<OdometerNote> odometer{};
  std::vector<MeterNote> meter{};
  std::vector<ReceiptNote> receipts{};
  std::vector<TreadNote> treads{};
  std::vector<PadNote> pads{};
  std::vector<JobNote> jobs{};
  std::vector<FluidNote> fluids{};
  std::vector<TyreMovedNote> tyres_moved{};
  std::vector<OffRoadNote> off_road{};
  std::vector<ValuationNote> valuations{};
  std::vector<SoldNote> sold{};
};

// A note whose values cannot be (its wheel is none) is left out.
[[nodiscard]] VanNotes van_notes_of(std::span<const Note> notes, std::string_view van);

}  // namespace packmile
