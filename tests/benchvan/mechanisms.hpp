// What makes a made-up van unlike a drawing of one, by name: what its sensors,
// pack, charger, weather and controller do. None: perfect sensors and a pack as on
// paper.
//
// Modelled  the estimators have a term for it: their intervals must hold it.
//           Not modelled: on purpose; such a month must be flagged or still covered.
#pragma once
#include <span>
#include <string>
#include <string_view>

namespace packmile::benchvan {

struct Mechanisms {
  bool offset = false;
  bool gain = false;
  bool usable_ah = false;
  bool charger = false;
  bool odometer_scale = false;
  bool soc_step = false;
  bool weather = false;
  bool driver = false;
  bool polarisation = false;
  bool fade = false;
  bool dc_charges = false;
  bool controller = false;
  bool balance = false;
  bool believes_160_of_140 = false;
  bool v_lag = false;
  bool soc_slew = false;
  bool relearn = false;
  bool gain_drift = false;
  bool offset_drift = false;
  bool soc_jump = false;
  bool speed_cut = false;
};

struct MechanismName {
  std::string_view name;     // as given to --mechanism
  bool Mechanisms::*flag;    // what it sets
  bool modelled;             // by the estimators
  std::string_view meaning;  // one line for --help
};

[[nodiscard]] std::span<const MechanismName> mechanism_names();

// All that are modelled, by one name.
inline constexpr std::string_view kDrawn = "drawn";

// Sets the mechanism of that name, or all modelled ones; false: there is none.
[[nodiscard]] bool set_mechanism(Mechanisms& mechanisms, std::string_view name);

// One line a mechanism, for --help.
[[nodiscard]] std::string mechanism_help();

}  // namespace packmile::benchvan
