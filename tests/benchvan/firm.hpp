// The command firm: a year of an invented linen-hire firm with five vans, each with
// a story of its own, and the truth beside it.
//
// Output  in DIR: NAME.log, the card of a van's last month; NAME-DATE.log, those
//         before it, each four weeks; fleet.toml, notes.csv, truth.json
// Method  what was before without the serial line and with a question a second; the
//         last month through the whole core. alder has a driver in a hurry, the
//         pack of rowan fades, hazel's port answers nothing, willow charges away
//         from the depot, aspen needs tyres and is about to leave its cover.
//         With contrasts each seed draws other stories (firm_story.hpp).
#pragma once
#include <cstdint>
#include <string>

namespace packmile::benchvan {

struct FirmOptions {
  std::string out;
  unsigned cards_before = 12;  // of four weeks each
  unsigned days = 30;
  std::uint64_t seed = 1;
  bool contrasts = false;  // other stories, drawn by the seed
};

// Exit code. Throws BenchError; refuses to overwrite any of its files.
[[nodiscard]] int run_firm(const FirmOptions& options);

inline constexpr unsigned kFirmCardDays = 28;
inline constexpr unsigned kMaxFirmCardsBefore = 40;

}  // namespace packmile::benchvan
