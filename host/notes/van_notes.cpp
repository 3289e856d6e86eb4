#include "notes/van_notes.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

namespace packmile {
namespace {

template <typename T>
void in_order(std::vector<T>& notes) {
  std::ranges::sort(notes, {}, [](const T& note) {
    return std::tuple{note.when.from, note.when.to, note.id};
  });
}

void take_tread(const Note& note, VanNotes& out) {
  const auto wheel = wheel_named(note.values[kTreadWheel].text);
  if (!wheel) return;
  const NoteValue& depth = note.values[kTreadDepth];
  const NoteValue& gauge = note.values[kTreadGauge];
  out.treads.push_back({note.id, note.when, *wheel, depth.number,
                        gauge.text.empty() ? kUsualGaugeErrorMm : gauge.number, depth.step});
}

void take_pad(const Note& note, VanNotes& out) {
  const auto axle = axle_named(note.values[kPadAxle].text);
  const NoteValue& thickness = note.values[kPadThickness];
  if (axle) out.pads.push_back({note.id, note.when, *axle, thickness.number, thickness.step});
}

void take_tyre_moved(const Note& note, VanNotes& out) {
  const auto from = wheel_named(note.values[kMovedFrom].text);
  const auto to = wheel_named(note.values[kMovedTo].text);
  if (from && to) out.tyres_moved.push_back({note.id, note.when, *from, *to});
}

// Absent where nothing was typed.
std::optional<double> number_of(const NoteValue& value) {
  return value.text.empty() ? std::nullopt : std::optional{value.number};
}

void take(const Note& note, VanNotes& out) {
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
    case NoteKind::tread:
      take_tread(note, out);
      break;
    case NoteKind::pad:
      take_pad(note, out);
      break;
    case NoteKind::job:
      out.jobs.push_back({note.id, note.when, values[kJobPart].text, values[kJobSum].number,
                          number_of(values[kJobHours])});
      break;
    case NoteKind::fluid:
      out.fluids.push_back({note.id, note.when, values[kFluidName].text});
      break;
    case NoteKind::tyre_moved:
      take_tyre_moved(note, out);
      break;
    case NoteKind::off_road:
      out.off_road.push_back(
          {note.id, note.when, values[kOffRoadDays].number, number_of(values[kOffRoadSum])});
      break;
    case NoteKind::valuation:
      out.valuations.push_back({note.id, note.when, values[kPriceSum].number});
      break;
    case NoteKind::sold:
      out.sold.push_back({note.id, note.when, values[kPriceSum].number});
      break;
    case NoteKind::withdrawn:
      break;
  }
}

}  // namespace

double new_start_rise_mm(double gauge_before_mm, double gauge_after_mm) {
  constexpr double kRiseMm = 0.5;
  const double usual = std::hypot(kUsualGaugeErrorMm, kUsualGaugeErrorMm);
  return kRiseMm * std::max(1.0, std::hypot(gauge_before_mm, gauge_after_mm) / usual);
}

VanNotes van_notes_of(std::span<const Note> notes, std::string_view van) {
  VanNotes out;
  for (const Note& note : notes)
    if (note.van == van && note.holds()) take(note, out);
  in_order(out.odometer);
  in_order(out.meter);
  in_order(out.receipts);
  in_order(out.treads);
  in_order(out.pads);
  in_order(out.jobs);
  in_order(out.fluids);
  in_order(out.tyres_moved);
  in_order(out.off_road);
  in_order(out.valuations);
  in_order(out.sold);
  return out;
}

}  // namespace packmile
