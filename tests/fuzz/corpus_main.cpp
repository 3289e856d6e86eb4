// Plays stored inputs through one fuzz target, without a fuzzer:
//   packmile_fuzz_corpus TARGET FOLDER...
// A folder that is not there is left out; no input at all is an error. Names
// each input before it is tried, so that a crash says whose it is.
#include <algorithm>
#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string_view>
#include <vector>

#include "fuzz/targets.hpp"

namespace {

using namespace packmile::fuzz;

struct Target {
  std::string_view name;
  void (*run)(Input);
};

constexpr std::array kTargets{
    Target{"slcan", try_slcan},
    Target{"isotp", try_isotp},
    Target{"pid", try_pid},
    Target{"record", try_record},
    Target{"sector", try_sector},
    Target{"settings", try_settings},
    Target{"card", try_card},
    Target{"replay", try_replay},
    Target{"fleet", try_fleet},
    Target{"port_settings", try_port_settings},
    Target{"log_extent", try_log_extent},
    Target{"encoder", try_encoder},
    Target{"session", try_session},
    Target{"notes", try_notes},
    Target{"sd_card", try_sd_card},
};

}  // namespace

int main(int count, char** arguments) {
  if (count < 3) {
    std::fprintf(stderr, "usage: %s TARGET FOLDER...\n", arguments[0]);
    return 2;
  }
  const std::string_view name = arguments[1];
  const auto* const target = std::find_if(kTargets.begin(), kTargets.end(),
                                          [&](const Target& one) { return one.name == name; });
  if (target == kTargets.end()) {
    std::fprintf(stderr, "%s: no such target\n", arguments[1]);
    return 2;
  }
  std::size_t played = 0;
  for (int i = 2; i < count; ++i) {
    if (!std::filesystem::is_directory(arguments[i])) continue;
    std::vector<std::filesystem::path> inputs;
    for (const auto& entry : std::filesystem::directory_iterator(arguments[i]))
      if (entry.is_regular_file()) inputs.push_back(entry.path());
    std::sort(inputs.begin(), inputs.end());
    for (const std::filesystem::path& input : inputs) {
      std::printf("%s\n", input.c_str());
      std::fflush(stdout);
      std::ifstream file(input, std::ios::binary);
      const std::vector<char> text{std::istreambuf_iterator<char>(file), {}};
      target->run({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
      ++played;
    }
  }
  if (played == 0) {
    std::fprintf(stderr, "%s: no inputs\n", arguments[1]);
    return 1;
  }
  std::printf("%zu inputs\n", played);
  return 0;
}
