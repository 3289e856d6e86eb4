#include "ledger/sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <tuple>

#include "ledger/part_words.hpp"
#include "notes/csv_rows.hpp"
#include "notes/note_kinds.hpp"

namespace packmile {
namespace {

constexpr char kSheetHeader[] = "van,date,kind,v1,v2,v3,remark,last\n";

// Those of one van that hold, in order of time.
std::vector<const Note*> notes_in_order(std::span<const Note> notes, const std::string& van) {
  std::vector<const Note*> out;
  for (const Note& note : notes)
    if (note.van == van && note.holds()) out.push_back(&note);
  std::ranges::sort(out, {}, [](const Note* note) {
    return std::tuple{note->when.from, note->when.to, note->id};
  });
  return out;
}

// The newest of those that `right` takes.
template <typename Right>
const Note* newest(const std::vector<const Note*>& notes, Right right) {
  const auto found =
      std::find_if(notes.rbegin(), notes.rend(), [&](const Note* note) { return right(*note); });
  return found == notes.rend() ? nullptr : *found;
}

const Note* newest_of(const std::vector<const Note*>& notes, NoteKind kind,
                      std::string_view place = {}) {
  return newest(notes, [&](const Note& note) {
    return note.kind == kind && (place.empty() || note.values[0].text == place);
  });
}

SheetValue value_of(const Note* note, std::size_t value, const Fleet& fleet) {
  if (note == nullptr) return {};
  return {value_text(rule_of(note->kind).values[value], note->values[value], fleet.currency),
          fleet.zone.day(note->when.from),
          {}};
}

SheetValue odometer_of(const std::vector<const Note*>& notes, const OdometerReading* logged,
                       const Fleet& fleet) {
  const Note* note = newest_of(notes, NoteKind::odometer);
  if (logged == nullptr || (note != nullptr && logged->time < note->when.to))
    return value_of(note, kOdometerReading, fleet);
  const bool miles = note != nullptr && note->values[kOdometerReading].text.ends_with("mi");
  return {miles ? fmt::format("{:.0f} mi", logged->odometer_km / kKmPerMile)
                : fmt::format("{:.0f} km", logged->odometer_km),
          fleet.zone.day(logged->time), "by its logger"};
}

// The newest job that renewed what is measured so at this place.
const Note* renewal_of(const std::vector<const Note*>& notes, const std::string& van,
                       PartGauge gauge, std::string_view position, const Fleet& fleet) {
  std::vector<std::string> names{gauge == PartGauge::tread ? kTyreName : kPadName};
  for (const FleetPart* part : fleet.parts_of(van))
    if (part->gauge == gauge) names.push_back(part->name);
  return newest(notes, [&](const Note& note) {
    if (note.kind != NoteKind::job) return false;
    return std::ranges::any_of(names, [&](const std::string& name) {
      const auto places = places_in(note.values[kJobPart].text, name);
      if (!places) return false;
      // As in upkeep: pads without a place are those of both axles.
      if (places->empty()) return gauge == PartGauge::pad;
      return std::ranges::any_of(
          *places, [&](const std::string& place) { return place_covers(place, position); });
    });
  });
}

// The last measurement, unless what was measured has been renewed since.
SheetValue measured_of(const Note* measured, const Note* renewed, const char* word,
                       std::size_t value, const Fleet& fleet) {
  if (renewed != nullptr && (measured == nullptr || measured->when.before(renewed->when)))
    return {{}, {}, word + fleet.zone.day(renewed->when.from)};
  return value_of(measured, value, fleet);
}

// A tyre that came since has its own past, which is told at the wheel that it was
// on.
SheetValue tread_of(const std::vector<const Note*>& notes, const std::string& van, Wheel wheel,
                    const Fleet& fleet) {
  const Note* tread = newest_of(notes, NoteKind::tread, word_of(wheel));
  const Note* moved = newest(notes, [&](const Note& note) {
    return note.kind == NoteKind::tyre_moved && (note.values[kMovedTo].text == word_of(wheel) ||
                                                 note.values[kMovedFrom].text == word_of(wheel));
  });
  if (moved != nullptr && (tread == nullptr || tread->when.before(moved->when)))
    return {{}, {}, "tyre moved " + fleet.zone.day(moved->when.from)};
  return measured_of(tread, renewal_of(notes, van, PartGauge::tread, word_of(wheel), fleet),
                     "new tyre ", kTreadDepth, fleet);
}

SheetVan sheet_van(const std::string& van, std::span<const Note> all, const LoggedOdometers& logged,
                   const Fleet& fleet) {
  const std::vector<const Note*> notes = notes_in_order(all, van);
  const auto reading = logged.find(van);
  SheetVan out;
  out.van = van;
  out.odometer = odometer_of(notes, reading == logged.end() ? nullptr : &reading->second, fleet);
  out.meter = value_of(newest_of(notes, NoteKind::meter), kMeterAfter, fleet);
  for (const Wheel wheel : kWheels)
    out.treads[static_cast<std::size_t>(wheel)] = tread_of(notes, van, wheel, fleet);
  for (const Axle axle : kAxles)
    out.pads[static_cast<std::size_t>(axle)] =
        measured_of(newest_of(notes, NoteKind::pad, word_of(axle)),
                    renewal_of(notes, van, PartGauge::pad, word_of(axle), fleet), "new pads ",
                    kPadThickness, fleet);
  std::map<std::string, const Note*> fluids;
  for (const Note* note : notes)
    if (note->kind == NoteKind::fluid) fluids[note->values[kFluidName].text] = note;
  for (const auto& [name, note] : fluids)
    out.fluids.push_back({name, {"renewed", fleet.zone.day(note->when.from), {}}});
  std::ranges::stable_sort(out.fluids, {}, [](const SheetFluid& one) { return one.renewed.day; });
  return out;
}

// "5.1 mm on 2026-03-02"
std::string last_text(const SheetValue& value) {
  std::string out = value.text.empty() ? std::string{} : value.text + " on " + value.day;
  if (!value.remark.empty()) out += (out.empty() ? "" : ", ") + value.remark;
  return out;
}

}  // namespace

std::vector<SheetVan> sheet_of(const Fleet& fleet, std::span<const Note> notes,
                               const LoggedOdometers& logged, std::string_view only,
                               const SheetDues& dues) {
  std::vector<std::string> names;
  for (const FleetVan& van : fleet.vans) names.push_back(van.name);
  std::set<std::string> others;
  for (const auto& [van, reading] : logged) others.insert(van);
  std::set<std::string> sold;
  for (const Note& note : notes) {
    if (!note.holds()) continue;
    others.insert(note.van);
    if (note.kind == NoteKind::sold) sold.insert(note.van);
  }
  for (const std::string& van : others)
    if (fleet.van_of_name(van) == nullptr) names.push_back(van);
  std::vector<SheetVan> out;
  for (const std::string& van : names) {
    if (only.empty() ? sold.contains(van) : van != only) continue;
    out.push_back(sheet_van(van, notes, logged, fleet));
    if (const auto due = dues.find(van); due != dues.end()) out.back().due = due->second;
  }
  return out;
}

std::string sheet_csv(std::span<const SheetVan> vans) {
  std::string out = kSheetHeader;
  const auto line = [&](const SheetVan& van, NoteKind kind, std::string_view place,
                        const std::string& last) {
    out += fmt::format("{},,{},{},,,,{}\n", csv_quoted(van.van), rule_of(kind).word, place,
                       csv_quoted(last));
  };
  for (const SheetVan& van : vans) {
    line(van, NoteKind::odometer, {}, last_text(van.odometer));
    line(van, NoteKind::meter, {}, last_text(van.meter));
    for (const Wheel wheel : kWheels)
      line(van, NoteKind::tread, word_of(wheel),
           last_text(van.treads[static_cast<std::size_t>(wheel)]));
    for (const Axle axle : kAxles)
      line(van, NoteKind::pad, word_of(axle), last_text(van.pads[static_cast<std::size_t>(axle)]));
    std::set<std::string_view> told;
    for (const SheetFluid& fluid : van.fluids) {
      std::string last = fluid.name + " " + last_text(fluid.renewed);
      for (const SheetDue& due : van.due) {
        if (due.part != fluid.name) continue;
        last += ", due " + due.day;
        told.insert(due.part);
      }
      line(van, NoteKind::fluid, {}, last);
    }
    // A filter or a hose is renewed by such a line as well.
    for (const SheetDue& due : van.due)
      if (!told.contains(due.part))
        line(van, NoteKind::fluid, {}, fmt::format("{}, due {}", due.part, due.day));
    if (van.fluids.empty() && van.due.empty()) line(van, NoteKind::fluid, {}, {});
  }
  return out;
}

}  // namespace packmile
