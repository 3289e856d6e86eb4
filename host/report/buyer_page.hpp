// One van's record for whoever wants to buy it.
//
// Input     the evidence of the van, and the digests of its raw sectors.
// Output    one self-contained page: sums by month, the odometer's continuity, gaps,
//           what was measured and what was assumed, and how to make every figure anew.
// Rule      no clock times, no places, no costs: nothing of where somebody was when.
#pragma once
#include <string>
#include <vector>

#include "archive/sha256.hpp"
#include "report/evidence.hpp"

namespace packmile::report {

struct BuyerEvidence {
  VanEvidence van;
  VanFacts facts;  // what the owner entered
  std::vector<SilentDays> silent;
  std::size_t odometer_readings = 0, odometer_falls = 0;  // in the pages' period
  std::vector<FileDigest> files;
  std::string digest_of_all;  // of the lines that sha256sum writes for them
};

[[nodiscard]] std::string buyer_page(const DepotEvidence& depot, const BuyerEvidence& buyer);

}  // namespace packmile::report
