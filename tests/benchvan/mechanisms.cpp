#include "benchvan/mechanisms.hpp"

#include <fmt/format.h>

#include <array>

namespace packmile::benchvan {
namespace {

constexpr std::array kMechanismNames{
    MechanismName{"offset", &Mechanisms::offset, true,
                  "the current sensor is off by so much: drawn, sd 0.3 A"},
    MechanismName{"gain", &Mechanisms::gain, true,
                  "gain of the current, sd 0.6 %, and of the voltage, sd 0.3 %"},
    MechanismName{"usable-ah", &Mechanisms::usable_ah, true,
                  "the pack holds not what is on its plate: sd 5 %"},
    MechanismName{"charger", &Mechanisms::charger, true,
                  "conversion AC 0.90 to 0.95, DC 0.985 to 1, and the van's own use meanwhile"},
    MechanismName{"odometer-scale", &Mechanisms::odometer_scale, true,
                  "tyres make odometer and speed wrong, sd 1.5 %; the speed further, sd 3 %"},
    MechanismName{"soc-step", &Mechanisms::soc_step, true,
                  "the state of charge moves in steps of 1, 0.5 or 0.39 %"},
    MechanismName{"weather", &Mechanisms::weather, true,
                  "warm and cold spells; the pack has a temperature of its own"},
    MechanismName{"driver", &Mechanisms::driver, true, "gentle or brisk, and how many customers"},
    MechanismName{"polarisation", &Mechanisms::polarisation, true,
                  "a resistance that needs a minute to show, beside the one at once"},
    MechanismName{"fade", &Mechanisms::fade, true,
                  "the pack loses capacity by age and by throughput"},
    MechanismName{"dc-charges", &Mechanisms::dc_charges, true,
                  "one midday in three and one night in five a charge at up to 50 kW"},
    MechanismName{"controller", &Mechanisms::controller, true,
                  "the state of charge is the controller's count: own sensor, own capacity, put "
                  "right at the top and after rests"},
    MechanismName{"balance", &Mechanisms::balance, true,
                  "a full pack takes half an hour of current that stays in no cell"},
    MechanismName{"believes-160-of-140", &Mechanisms::believes_160_of_140, false,
                  "the controller counts with 160 Ah, the pack holds 140"},
    MechanismName{"v-lag", &Mechanisms::v_lag, false,
                  "the pack voltage is shown 0.6 s later than the current"},
    MechanismName{"soc-slew", &Mechanisms::soc_slew, false,
                  "the state of charge shown moves by a quarter of a point a minute at most"},
    MechanismName{"relearn", &Mechanisms::relearn, false,
                  "in mid-month the controller takes up a capacity that is 5 % lower"},
    MechanismName{"gain-drift", &Mechanisms::gain_drift, false,
                  "the gain of the current grows by 0.05 % a degree below 20"},
    MechanismName{"offset-drift", &Mechanisms::offset_drift, false,
                  "the offset of the current swings by 0.3 A, up and down in nine days"},
    MechanismName{"soc-jump", &Mechanisms::soc_jump, false,
                  "one morning in mid-month the state of charge is 6 points lower, for no current"},
    MechanismName{"speed-cut", &Mechanisms::speed_cut, false,
                  "the speed is cut down to whole km/h, not rounded"},
};

}  // namespace

std::span<const MechanismName> mechanism_names() { return kMechanismNames; }

bool set_mechanism(Mechanisms& mechanisms, std::string_view name) {
  bool known = false;
  for (const MechanismName& one : kMechanismNames) {
    if (one.name != name && !(name == kDrawn && one.modelled)) continue;
    mechanisms.*one.flag = true;
    known = true;
  }
  return known;
}

std::string mechanism_help() {
  std::string text = fmt::format(
      "Mechanisms (--mechanism NAME, may be repeated; drawn anew for each van):\n"
      "  {:<21}all that the estimators have a term for\n",
      kDrawn);
  for (const MechanismName& one : kMechanismNames) {
    text += fmt::format("  {:<21}{}{}\n", one.name, one.meaning,
                        one.modelled ? "" : " (no estimator models it)");
  }
  return text;
}

}  // namespace packmile::benchvan
