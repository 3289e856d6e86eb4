// The fuzz targets: one function for each parser. Each takes any bytes, and
// ends the program by must() when something that always holds does not.
//
// Used by   libfuzzer_main.cpp, one program a target, and corpus_main.cpp, which
//           plays stored inputs in the ordinary test run.
#pragma once
#include <cstdint>
#include <span>

namespace packmile::fuzz {

using Input = std::span<const std::uint8_t>;

void try_slcan(Input input);
void try_isotp(Input input);
void try_pid(Input input);
void try_record(Input input);
void try_sector(Input input);
void try_settings(Input input);
void try_card(Input input);
void try_replay(Input input);
void try_fleet(Input input);
void try_port_settings(Input input);
void try_log_extent(Input input);
void try_encoder(Input input);
void try_session(Input input);
void try_notes(Input input);
void try_sd_card(Input input);

}  // namespace packmile::fuzz
