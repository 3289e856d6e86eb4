// Is a block device in use, or part of the disk that the system runs from?
#pragma once
#include <optional>
#include <string>

#include "result.hpp"

namespace packmile::cli {

// Why a device must be left alone; absent: nothing speaks against it. Mounted
// file systems and swap on it, on one of its partitions or on the disk that it
// is a partition of (there: only those of the system), and claims of the kernel.
[[nodiscard]] std::optional<Error> reason_to_leave_alone(const std::string& device);

}  // namespace packmile::cli
