// The lines of the catalogue, for the two files that make tables of them. Apart
// so that a logger, which needs no names and no scalings, carries none.
#pragma once
#include <array>
#include <string_view>

#include "catalogue/catalogue.hpp"

namespace packmile::catalogue_lines {

using enum Confidence;

inline constexpr std::string_view kScalar =
    "SAE J1979 service 01 as computed by tshark 4.0.17 and scapy 2.5.0";
inline constexpr std::string_view kTshark = "SAE J1979 service 01 as computed by tshark 4.0.17";
inline constexpr std::string_view kScapy = "SAE J1979 service 01 as computed by scapy 2.5.0";
inline constexpr std::string_view kEncyclopedia = "Wikipedia, OBD-II PIDs";
inline constexpr std::string_view kHybrid =
    "from memory; only the length of 6 is confirmed (scapy 2.5.0)";

inline constexpr std::array kPids{
    PidEntry{0x01, 4, "monitor status since codes cleared"},
    PidEntry{0x05, 1, "coolant temperature"},
    PidEntry{0x0D, 1, "vehicle speed"},
    PidEntry{0x1C, 1, "OBD requirements met"},
    PidEntry{0x1F, 2, "run time since start"},
    PidEntry{0x21, 2, "distance with malfunction lamp on"},
    PidEntry{0x30, 1, "warm-ups since codes cleared"},
    PidEntry{0x31, 2, "distance since codes cleared"},
    PidEntry{0x33, 1, "barometric pressure"},
    PidEntry{0x42, 2, "control module voltage"},
    PidEntry{0x46, 1, "ambient air temperature"},
    PidEntry{0x4D, 2, "time run with malfunction lamp on"},
    PidEntry{0x4E, 2, "time since codes cleared"},
    PidEntry{0x51, 1, "fuel type"},
    PidEntry{0x5B, 1, "hybrid/EV battery remaining charge"},
    PidEntry{0x61, 1, "demanded torque"},
    PidEntry{0x62, 1, "actual torque"},
    PidEntry{0x63, 2, "reference torque"},
    PidEntry{0x9A, 6, "hybrid/EV vehicle system data"},
    PidEntry{0xA6, 4, "odometer"},
    PidEntry{0xB2, 0, "battery value of unknown layout"},
    PidEntry{0xC7, 2, "distance since reflash or module replacement"},
};

// id, name, pid, first byte, bytes, runs, scale, offset, unit, confidence, source
inline constexpr std::array kSignals{
    SignalEntry{signal::pack_v, "pack_v", 0x9A, 2, 2, false, 1.0 / 64, 0, "V", memory, kHybrid},
    // Two's complement or offset binary, and which sign is discharge: not known
    // beforehand. The host decides from evidence; the scale here is the 0.1 A
    // that both readings share.
    SignalEntry{signal::pack_a, "pack_a", 0x9A, 4, 2, false, 0.1, 0, "A", memory, kHybrid},
    SignalEntry{signal::pack_support, "pack_support", 0x9A, 0, 1, true, 1, 0, "bits", memory,
                kHybrid},
    SignalEntry{signal::pack_state, "pack_state", 0x9A, 1, 1, true, 1, 0, "bits", memory, kHybrid},
    SignalEntry{signal::speed_kmh, "speed_kmh", 0x0D, 0, 1, false, 1, 0, "km/h", tools, kScalar},
    SignalEntry{signal::soc_pct, "soc_pct", 0x5B, 0, 1, true, 100.0 / 255, 0, "%", tools, kScalar},
    SignalEntry{signal::odometer_km, "odometer_km", 0xA6, 0, 4, true, 0.1, 0, "km", secondary,
                kEncyclopedia},
    SignalEntry{signal::ambient_c, "ambient_c", 0x46, 0, 1, true, 1, -40, "degC", tools, kScalar},
    SignalEntry{signal::module_v, "module_v", 0x42, 0, 2, false, 0.001, 0, "V", tools, kScalar},
    SignalEntry{signal::run_time_s, "run_time_s", 0x1F, 0, 2, false, 1, 0, "s", tools, kScalar},
    SignalEntry{signal::coolant_c, "coolant_c", 0x05, 0, 1, true, 1, -40, "degC", tools, kScalar},
    SignalEntry{signal::monitor_status, "monitor_status", 0x01, 0, 4, true, 1, 0, "bits", tools,
                kScapy},
    SignalEntry{signal::distance_since_clear_km, "distance_since_clear_km", 0x31, 0, 2, true, 1, 0,
                "km", tools, kScalar},
    SignalEntry{signal::barometric_kpa, "barometric_kpa", 0x33, 0, 1, true, 1, 0, "kPa", tools,
                kScalar},
    SignalEntry{signal::time_since_clear_min, "time_since_clear_min", 0x4E, 0, 2, true, 1, 0, "min",
                tools, kScalar},
    SignalEntry{signal::fuel_type, "fuel_type", 0x51, 0, 1, true, 1, 0, "code", source, kTshark},
    SignalEntry{signal::mil_distance_km, "mil_distance_km", 0x21, 0, 2, true, 1, 0, "km", tools,
                kScalar},
    SignalEntry{signal::mil_time_min, "mil_time_min", 0x4D, 0, 2, true, 1, 0, "min", tools,
                kScalar},
    SignalEntry{signal::obd_requirements, "obd_requirements", 0x1C, 0, 1, true, 1, 0, "code",
                source, kTshark},
    SignalEntry{signal::warm_ups, "warm_ups", 0x30, 0, 1, true, 1, 0, "count", tools, kScalar},
    SignalEntry{signal::demanded_torque_pct, "demanded_torque_pct", 0x61, 0, 1, false, 1, -125, "%",
                tools, kScalar},
    SignalEntry{signal::actual_torque_pct, "actual_torque_pct", 0x62, 0, 1, false, 1, -125, "%",
                tools, kScalar},
    SignalEntry{signal::reference_torque_nm, "reference_torque_nm", 0x63, 0, 2, true, 1, 0, "Nm",
                tools, kScalar},
    SignalEntry{signal::distance_since_reflash_km, "distance_since_reflash_km", 0xC7, 0, 2, true, 1,
                0, "km", secondary, kEncyclopedia},
    SignalEntry{signal::reported_b2, "reported_b2", 0xB2, 0, 4, true, 1, 0, "raw", memory,
                "layout, scale and meaning unknown: shown raw, never interpreted"},
};

}  // namespace packmile::catalogue_lines
