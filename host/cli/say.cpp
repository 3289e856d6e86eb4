#include "cli/say.hpp"

#include <fmt/core.h>

#include <cstdio>

namespace packmile::cli {

void say(const Error& error) {
  const std::string where = error.where.empty() ? "" : clean_text(error.where) + ": ";
  fmt::print(stderr, "packmile: {}{}\n", where, clean_text(error.what));
  if (!error.hint.empty()) fmt::print(stderr, "  {}\n", clean_text(error.hint));
}

void say(std::string_view text) { fmt::print(stderr, "packmile: {}\n", clean_text(text)); }

ExitCode wrong_usage(const std::string& what, const std::string& hint) {
  say(Error{what, {}, hint});
  return ExitCode::usage;
}

}  // namespace packmile::cli
