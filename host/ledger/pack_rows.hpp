// What a van's pack is told to hold and how it fades, for a period: rows of
// `capacity` and `fade`.
//
// Input     the ledger's rows and months of the whole record.
// Rule      rows of capacity are those dated in the period. The slope is made anew
//           from the months of the period; a verdict against the expectation takes
//           the whole record, because the witness is heard over all of it.
#pragma once
#include <optional>
#include <vector>

#include "energy/van_account.hpp"
#include "ledger/fleet.hpp"
#include "ledger/ledger.hpp"
#include "ledger/row.hpp"
#include "pack/assessment.hpp"

namespace packmile {

// What is known of the pack beside its episodes: from fleet.toml, and the charge
// that flowed out of it up to each month of the zone. figures: of the whole record.
[[nodiscard]] PackFacts pack_facts_of(const VanFacts& facts,
                                      const std::optional<Expectation>& expectation,
                                      const VanFigures& figures, const Zone& zone);

// Never empty: where nothing is dated in the period a row says so.
[[nodiscard]] std::vector<CapacityRow> capacity_in(std::vector<CapacityRow> rows,
                                                   const Period& period);
// Of a van that fleet.toml knows and the archive does not.
[[nodiscard]] std::vector<CapacityRow> capacity_unseen(
    const VanFacts& facts, const std::optional<Expectation>& expectation, const Zone& zone);

// One row per axis. facts: of the van.
[[nodiscard]] std::vector<FadeRow> fade_in(const FadeSource& source, const Period& period,
                                           const PackFacts& facts, const Zone& zone);

// What the owner expected the pack to hold in each month, Ah; only months of which
// the expectation says something. The first of its lines counts.
struct ExpectedAh {
  int month = 0;  // trend.hpp
  double ah = 0;
};
[[nodiscard]] std::vector<ExpectedAh> expected_ah(const FadeSource& source, const PackFacts& facts);

[[nodiscard]] std::vector<Column> fade_columns();
[[nodiscard]] Row row_of(const VanNames& van, const FadeRow& fade, const Zone& zone);

}  // namespace packmile
