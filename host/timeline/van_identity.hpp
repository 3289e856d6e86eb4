// Which van a boot was in, where its VIN was not read.
//
// Input     the boots of all logs, each with the VIN that was read in it, if any.
// Output    a VIN for boots that had none, or the decision to keep them apart.
// Order     the van tag of the sectors; the one VIN of the same card; the name in
//           the card's settings; else ECUs, their calibration ids and the odometer
//           together, where they fit one known van alone.
// Rule      never merged against evidence: where calibrations differ or the
//           odometer does not continue, neither card nor name counts.
// Bounded   at most three boots are decoded for each stretch of boots without a
//           VIN and each van that it could be of.
#pragma once
#include <cstddef>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "card/sector_source.hpp"
#include "result.hpp"
#include "timeline/boot_order.hpp"

namespace packmile {

// How the van of a boot is known.
enum class VanTold : std::uint8_t {
  read,      // the VIN was read, or its tag is in the sectors
  inferred,  // the same card, or the name in its settings
  evidence,  // ECUs, calibration and odometer
  name,      // no VIN; the settings' name, which no VIN claims
  not_told   // nothing, or what there is contradicts
};

struct NameOwners {
  std::map<std::string, std::string> vin_of_name;
};

// From fleet.toml's names where it gives a VIN, else the VIN that the name was
// first on a card with.
[[nodiscard]] NameOwners name_owners(const std::vector<LogBoots>& logs,
                                     const std::map<std::string, std::string>& fleet);

// Fills in `vin` of boots where it can be told. One entry for each boot of each
// log.
[[nodiscard]] Result<std::vector<std::vector<VanTold>>> tell_vans(std::vector<LogBoots>& logs,
                                                                  const SectorSource& source,
                                                                  const NameOwners& owners);

}  // namespace packmile
