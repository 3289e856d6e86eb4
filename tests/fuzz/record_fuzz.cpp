// The payload of a samples record: host/card against the plain decoder.
#include <algorithm>

#include "fuzz/fuzz_input.hpp"
#include "fuzz/plain_record.hpp"
#include "fuzz/targets.hpp"

namespace packmile::fuzz {

// One byte more than fits, so that too long a payload is tried as well.
void try_record(Input input) {
  compare_decoders(input.first(std::min<std::size_t>(481, input.size())));
}

}  // namespace packmile::fuzz
