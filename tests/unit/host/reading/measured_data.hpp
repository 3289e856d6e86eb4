// Whether a test of measured drives can run here.
#pragma once
#include <doctest/doctest.h>

#include "host/reading/replay.hpp"

namespace packmile::testing {

// True, with a word in the report, where the measured files are not beside the
// project.
inline bool skip_without_data() {
  if (data_is_there()) return false;
  MESSAGE("no measured data beside the project: skipped");
  return true;
}

}  // namespace packmile::testing
