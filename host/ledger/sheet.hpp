// What a monthly walk-round measures on each van, and what was known before.
//
// Input     the vans of fleet.toml, their notes, odometers that loggers read, and
//           what is due.
// Output    one SheetVan a van, in the order of fleet.toml, then of those that it
//           does not know.
// Rule      a van that was sold is left out, unless it is asked for by name.
#pragma once
#include <array>
#include <chrono>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/fleet.hpp"
#include "ledger/van_trace.hpp"
#include "notes/note.hpp"
#include "notes/positions.hpp"

namespace packmile {

// The last one known; all empty: there is none.
struct SheetValue {
  std::string text;    // in the unit that it was typed in: "24850 mi"
  std::string day;     // local: 2026-03-02
  std::string remark;  // why there is none, or where it comes from; may be empty
};

struct SheetFluid {
  std::string name;
  SheetValue renewed;
};

// What is due before the next walk-round, or overdue.
struct SheetDue {
  std::string part;  // with its place
  std::string day;   // local: 2026-03-02
};
using SheetDues = std::map<std::string, std::vector<SheetDue>>;  // by van
// The last data may be a month old when a sheet is printed, and the next walk-round is
// a month behind it.
inline constexpr std::chrono::days kSheetAhead{62};

struct SheetVan {
  std::string van;
  SheetValue odometer;
  SheetValue meter;                               // the depot's counter, the second of a pair
  std::array<SheetValue, kWheels.size()> treads;  // in order of kWheels
  std::array<SheetValue, kAxles.size()> pads;     // in order of kAxles
  std::vector<SheetFluid> fluids;                 // the longest ago first
  std::vector<SheetDue> due{};                    // the first due first
};

// An archive's vans by their names in rows, each with the newest reading that its
// logger has.
using LoggedOdometers = std::map<std::string, OdometerReading>;

// `notes`: all of the depot, by the names that fleet.toml gives. `only`: one van;
// empty: all.
[[nodiscard]] std::vector<SheetVan> sheet_of(const Fleet& fleet, std::span<const Note> notes,
                                             const LoggedOdometers& logged, std::string_view only,
                                             const SheetDues& dues = {});

// The lines that come back through `packmile note --from`: what was printed with
// the values left empty, and the column `last`.
[[nodiscard]] std::string sheet_csv(std::span<const SheetVan> vans);

}  // namespace packmile
