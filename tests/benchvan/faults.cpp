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
    FaultName{"no-vin", &Faults::no_vin, "the VIN is not answered"},
    FaultName{"no-clock", &Faults::no_clock, "the logger's board has no clock"},
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
    FaultName{"ecu-silent", &Faults::ecu_silent, "frames are acknowledged, no ECU ever answers"},
    FaultName{"ecu-49ms", &Faults::ecu_49ms,
              "an answer begins 49 ms after its request: just inside P2"},
    FaultName{"ecu-51ms", &Faults::ecu_51ms,
              "an answer begins 51 ms after its request: just beyond P2"},
    FaultName{"ecu-500ms", &Faults::ecu_500ms, "an answer begins 500 ms after its request"},
    FaultName{"ecu-stops", &Faults::ecu_stops,
              "all ECUs fall silent from 120 s to 240 s after the first poll"},
    FaultName{"ecus-differ", &Faults::ecus_differ,
              "the motor controller answers a speed that is 7 km/h higher"},
    FaultName{"pending-chain", &Faults::pending_chain,
              "every seventh answer is announced by fifteen response pending (78), 200 ms apart"},
    FaultName{"wrong-sequence", &Faults::wrong_sequence,
              "every fifth multi-frame answer has a wrong sequence number"},
    FaultName{"short-last-frame", &Faults::short_last_frame,
              "the last frame of an answer is not padded"},
    FaultName{"wrong-length", &Faults::wrong_length,
              "every fifth answer claims to be longer than it is"},
    FaultName{
        "stays-awake", &Faults::stays_awake,
        "asked, the van stays awake for 2 min: 4 A from its 12 V battery of 45 Ah; 20 mA asleep"},
    FaultName{"top-ups", &Faults::top_ups,
              "parked for a day the van wakes, and fills its 12 V battery for 10 min or more"},
    FaultName{"bus-125k", &Faults::bus_125k,
              "the bus runs at 125 kbit/s, a rate of no diagnostic port"},
    FaultName{"bus-off", &Faults::bus_off,
              "from 120 s to 150 s after the first poll the adapter is off the bus, and says so"},
    FaultName{
        "foreign-tester", &Faults::foreign_tester,
        "another tester asks the vehicle controller from 120 s to 180 s after the first poll"},
    FaultName{"adapter-resets", &Faults::adapter_resets,
              "every 97 s the adapter comes back closed and without a bit rate"},
    FaultName{"adapter-half-line", &Faults::adapter_half_line,
              "every 50th line to the host loses its second half"},
    FaultName{"adapter-late", &Faults::adapter_late, "every line to the host is 60 ms late"},
    FaultName{"adapter-echo", &Faults::adapter_echo,
              "the adapter sends every line of the host back"},
    FaultName{"adapter-flood", &Faults::adapter_flood,
              "2000 frames a second of others while the van is awake"},
    FaultName{"adapter-mute", &Faults::adapter_mute,
              "the adapter never confirms a command or a frame"},
    FaultName{"no-supply", &Faults::no_supply, "the logger cannot measure its supply"},
    FaultName{"supply-low", &Faults::supply_low, "the supply is 11.9 V, asleep and awake"},
    FaultName{"dead-bus", &Faults::dead_bus,
              "nothing is ever on the bus, and nothing acknowledges a frame"},
    FaultName{"v-and-a-apart", &Faults::v_and_a_apart,
              "the bench's own pack voltage and current lie in two identifiers (owner)"},
    FaultName{"did-refused-later", &Faults::did_refused_later,
              "after 500 answers the identifier of the pack current is refused (31)"},
    FaultName{"dids-refused", &Faults::dids_refused,
              "a request for several identifiers is refused (13)"},
    FaultName{"dids-first-only", &Faults::dids_first_only,
              "of several identifiers only the first is answered"},
    FaultName{"did-short", &Faults::did_short,
              "the last byte of every identifier of two bytes or more is not sent"},
    FaultName{"current-frozen", &Faults::current_frozen,
              "the first pack current is answered for ever"},
    FaultName{"soc-over-100", &Faults::soc_over_100,
              "60 % too much state of charge, as far as its code goes (PID 5B: to 100 %)"},
    FaultName{"pack-cold", &Faults::pack_cold, "the pack says that it is at -70 degC"},
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
