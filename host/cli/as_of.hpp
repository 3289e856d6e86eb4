// The moment that a command takes for today: --as-of, else the last moment in the
// depot's archive or notes. The machine's clock is asked only where a depot holds
// neither, nor a day in its fleet.toml.
#pragma once
#include <optional>
#include <string>

#include "cli/van_rows.hpp"

namespace packmile::cli {

struct AsOf {
  UtcTime at{};
  std::string text;  // "2026-05-03 (--as-of)"
};
// Absent: --as-of is no day, which has been said, or the ledger cannot be read.
struct AsOfOr {
  std::optional<AsOf> as_of;
  ExitCode code = ExitCode::failed;
};
[[nodiscard]] AsOfOr find_as_of(Asked& asked, const std::optional<std::string>& option);

}  // namespace packmile::cli
