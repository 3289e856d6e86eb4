// The faults that the bench van can be told to have, by name.
#pragma once
#include <span>
#include <string>
#include <string_view>

namespace packmile::benchvan {

struct Faults {
  bool instant_ecu = false;
  bool speed_cut = false;
  bool no_odometer = false;
  bool no_soc = false;
  bool no_vin = false;
  bool no_clock = false;
  bool soc_frozen = false;
  bool ids_29bit = false;
  bool bus_250k = false;
  bool bus_traffic = false;
  bool no_ack_asleep = false;
  bool z_confirm = false;
  bool pids_reversed = false;
  bool one_pid_only = false;
  bool response_pending = false;
  bool short_n_bs = false;
  bool ecu_silent = false;
  bool ecu_49ms = false;
  bool ecu_51ms = false;
  bool ecu_500ms = false;
  bool ecu_stops = false;
  bool ecus_differ = false;
  bool pending_chain = false;
  bool wrong_sequence = false;
  bool short_last_frame = false;
  bool wrong_length = false;
  bool stays_awake = false;
  bool top_ups = false;
  bool bus_125k = false;
  bool bus_off = false;
  bool foreign_tester = false;
  bool adapter_resets = false;
  bool adapter_half_line = false;
  bool adapter_late = false;
  bool adapter_echo = false;
  bool adapter_flood = false;
  bool adapter_mute = false;
  bool no_supply = false;
  bool supply_low = false;
  bool dead_bus = false;
  bool v_and_a_apart = false;
  bool did_refused_later = false;
  bool dids_refused = false;
  bool dids_first_only = false;
  bool did_short = false;
  bool current_frozen = false;
  bool soc_over_100 = false;
  bool pack_cold = false;
};

struct FaultName {
  std::string_view name;     // as given to --fault
  bool Faults::*flag;        // what it sets
  std::string_view meaning;  // one line for --help
};

[[nodiscard]] std::span<const FaultName> fault_names();

// Sets the fault of that name; false: there is none.
[[nodiscard]] bool set_fault(Faults& faults, std::string_view name);

// One line a fault, for --help.
[[nodiscard]] std::string fault_help();

}  // namespace packmile::benchvan
