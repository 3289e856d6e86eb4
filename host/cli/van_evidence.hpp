// What several commands ask of each van's whole life: its money, its duty, its pack,
// its upkeep, and how it compares with the others.
#pragma once
#include <vector>

#include "cli/as_of.hpp"
#include "cli/van_rows.hpp"
#include "ledger/compare.hpp"
#include "ledger/pack_rows.hpp"
#include "ledger/upkeep.hpp"
#include "ledger/van_cost.hpp"

namespace packmile::cli {

struct VanGathered {
  AskedVan van;
  VanMoney money;  // with its parts and notes
  VanDuty duty;
  std::vector<CapacityRow> capacity;  // as the ledger has it; empty: none
  VanKeep keep;
};
// Of every van that the depot knows, also where one was asked for: each is compared
// with all.
[[nodiscard]] Result<std::vector<VanGathered>> gather_vans(Asked& asked, const AsOf& as_of);

// In the order of the vans, over the period that was asked for.
[[nodiscard]] Result<Comparison> compare_gathered(Asked& asked, const AsOf& as_of,
                                                  const std::vector<VanGathered>& vans);

[[nodiscard]] Result<VanUpkeep> upkeep_of_van(Asked& asked, const AskedVan& van,
                                              const VanDuty& duty, const VanNotes& notes);

// Capacity in the period; of a van that was never heard what can be said of it.
[[nodiscard]] Result<std::vector<CapacityRow>> capacity_of_van(Asked& asked, const AskedVan& van);
struct FadeOfVan {
  FadeSource source;
  PackFacts facts;
  std::vector<FadeRow> rows;
};
[[nodiscard]] Result<FadeOfVan> fade_of_van(Asked& asked, const AskedVan& van);

}  // namespace packmile::cli
