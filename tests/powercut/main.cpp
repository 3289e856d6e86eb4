// Power cuts and damage, by exhaustion: prints how many cases were tried and what
// was lost. Exit 1 when anything was lost or invented that should not have been.
//
//   packmile_powercut [--share N] [--seed S] [--threads T] [cuts] [logger] [damage]
//
// --share N tries every N-th case (default 1: all). The words choose a part.
#include <fmt/format.h>

#include <charconv>
#include <cstdio>
#include <exception>
#include <set>
#include <string_view>

#include "powercut/experiment.hpp"

using namespace packmile::powercut;

namespace {

template <typename Number>
bool take_number(std::string_view text, Number& number) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  return error == std::errc{} && end == text.data() + text.size();
}

int run(int argc, char** argv) {
  Settings settings;
  std::set<std::string_view> parts;
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    const std::string_view value = i + 1 < argc ? argv[i + 1] : "";
    bool taken = word == "cuts" || word == "logger" || word == "damage";
    if (taken) {
      parts.insert(word);
      continue;
    }
    if (word == "--share") taken = take_number(value, settings.share) && settings.share != 0;
    if (word == "--seed") taken = take_number(value, settings.seed);
    if (word == "--threads") taken = take_number(value, settings.threads) && settings.threads != 0;
    if (!taken) {
      fmt::print(stderr, "packmile_powercut: not understood: {} {}\n", word, value);
      return 2;
    }
    ++i;
  }
  const auto wanted = [&](std::string_view part) { return parts.empty() || parts.contains(part); };
  std::vector<Row> rows;
  if (wanted("cuts")) cut_experiments(settings, rows);
  if (wanted("logger")) logger_experiments(settings, rows);
  if (wanted("damage")) damage_experiments(settings, rows);
  return print_table(settings, rows) ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::exception& error) {
    fmt::print(stderr, "packmile_powercut: {}\n", error.what());
    return 1;
  }
}
