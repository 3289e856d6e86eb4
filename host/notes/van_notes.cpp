#include "notes/van_notes.hpp"

#include <algorithm>
#include <tuple>

namespace packmile {
namespace {

template <typename T>
void in_order(std::vector<T>& notes) {
  std::ranges::sort(notes, {}, [](const T& note) {
    return std::tuple{note.when.from, note.when.to, note.id};
  });
}

}  // namespace

VanNotes van_notes_of(std::span<const Note> notes, std::string_view van) {
  VanNotes out;
  for (const Note& note : notes) {
    if (note.van != van || !note.holds()) continue;
    const auto& values = note.values;
    switch (note.kind) {
      case NoteKind::odometer:
        out.odometer.push_back(
            {note.id, note.when, values[kOdometerReading].number, values[kOdometerReading].step});
        break;
      case NoteKind::receipt:
        out.receipts.push_back({note.id, note.when, values[kReceiptKwh].number,
                                values[kReceiptKwh].step, values[kReceiptSum].number,
                                values[kReceiptPlace].text});
        break;
      case NoteKind::meter:
        out.meter.push_back({note.id, note.when, values[kMeterBefore].number,
                             values[kMeterAfter].number,
                             std::max(values[kMeterBefore].step, values[kMeterAfter].step)});
        break;
      case NoteKind::withdrawn:
        break;
    }
  }
  in_order(out.odometer);
  in_order(out.meter);
  in_order(out.receipts);
  return out;
}

}  // namespace packmile
