// Why the port cannot go on, in words for the person at the terminal.
#pragma once
#include <string>

namespace packmile::port {

struct PortError {
  std::string what;   // what is wrong, lower case, no full stop
  std::string where;  // file, or file:line:column; empty: the command line
  std::string hint;   // what to do; may be empty
};

}  // namespace packmile::port
