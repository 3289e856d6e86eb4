#include "benchvan/faults.hpp"

#include <fmt/format.h>

#include <array>

namespace packmile::benchvan {
namespace {

constexpr std::array kFaultNames{
    FaultName{"instant-ecu", &Faults::instant_ecu,
              "ECUs and bus take no time: the serial line alone sets the pace"},
    FaultName{"speed-cut", &Faults::speed_cut, "speed is cut down to whole km/h, not rounded"},
    FaultName{"no-odometer", &Faults::no_odometer, "the odometer is not answered"},
    FaultName{"no-soc", &Faults::no_soc, "the state of charge is not answered"},
    FaultName{"soc-frozen", &Faults::soc_frozen, "the first state of charge is answered for ever"},
    FaultName{"ids-29bit", &Faults::ids_29bit, "ECUs obey 29-bit ids only"},
    FaultName{"bus-250k", &Faults::bus_250k, "the bus runs at 250 kbit/s"},
    FaultName{"bus-traffic", &Faults::bus_traffic,
              "other frames are on the bus while the van is awake"},
    FaultName{"no-ack-asleep", &Faults::no_ack_asleep,
              "nothing acknowledges a frame while the van is asleep"},
    FaultName{"z-confirm", &Faults::z_confirm, "the adapter confirms a frame with z or Z and CR"},
    FaultName{"pids-reversed", &Faults::pids_reversed,
              "a reply holds its PIDs in reverse order of the request"},
    FaultName{"one-pid-only", &Faults::one_pid_only,
              "a request for several PIDs is refused (negative response 12)"},
    FaultName{"response-pending", &Faults::response_pending,
              "every seventh answer comes 120 ms late, announced by response pending (78)"},
    FaultName{"short-n-bs", &Faults::short_n_bs,
              "an ECU waits 75 ms for flow control, not 1000 ms"},
};

}  // namespace

std::span<const FaultName> fault_names() { return kFaultNames; }

bool set_fault(Faults& faults, std::string_view name) {
  for (const FaultName& fault : kFaultNames) {
    if (fault.name != name) continue;
    faults.*fault.flag = true;
    return true;
  }
  return false;
}

std::string fault_help() {
  std::string text = "Faults (--fault NAME, may be repeated):\n";
  for (const FaultName& fault : kFaultNames) {
    text += fmt::format("  {:<18}{}\n", fault.name, fault.meaning);
  }
  return text;
}

}  // namespace packmile::benchvan
