// What the notes of one van say, ready for figures: readings, meter pairs,
// receipts.
//
// Input     notes of any vans, corrections among them.
// Output    those of the van that hold, each list in order of time, then id.
#pragma once
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "notes/note.hpp"

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

struct VanNotes {
  std::vector<OdometerNote> odometer;
  std::vector<MeterNote> meter;
  std::vector<ReceiptNote> receipts;
};

[[nodiscard]] VanNotes van_notes_of(std::span<const Note> notes, std::string_view van);

}  // namespace packmile
