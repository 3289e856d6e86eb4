// What goes to people on stderr.
#pragma once
#include <string>
#include <string_view>

#include "report/safe_text.hpp"
#include "result.hpp"

namespace packmile::cli {

// The same meaning in every command.
enum class ExitCode : int {
  done = 0,
  failed = 1,     // could not be done
  usage = 2,      // wrong usage
  attention = 3,  // a card needs attention; what is good was taken
};

// "packmile: where: what", and the hint on the next line.
void say(const Error& error);
// "packmile: text"
void say(std::string_view text);

// A usage error: said, and answered with ExitCode::usage.
ExitCode wrong_usage(const std::string& what, const std::string& hint);

}  // namespace packmile::cli
