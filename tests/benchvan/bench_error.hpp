// Why a command of the bench van could not be done; main() prints it, exit 1.
#pragma once
#include <stdexcept>
#include <string>

namespace packmile::benchvan {

// The text is a whole message: place, what is wrong, and on a second line what
// to do, if anything.
class BenchError : public std::runtime_error {
 public:
  explicit BenchError(const std::string& text) : std::runtime_error(text) {}
};

}  // namespace packmile::benchvan
