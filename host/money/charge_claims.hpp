// Which charges receipts pay for that may be of several.
//
// Method    receipts and the charges that they may be about make groups. In each, as
//           many charges as can be are paid by a receipt of their own (a matching that
//           is as large as can be); which ones is not known.
#pragma once
#include <cstddef>
#include <optional>
#include <vector>

#include "money/session_cost.hpp"

namespace packmile {

struct ClaimGroup {
  std::vector<std::size_t> sessions;  // risen
  std::size_t paid = 0;               // so many of them, from 1 up
};

struct Claims {
  std::vector<ClaimGroup> groups;
  std::vector<std::optional<std::size_t>> group_of;  // by session
};

[[nodiscard]] Claims claims_of(const PricedCharges& priced);

}  // namespace packmile
