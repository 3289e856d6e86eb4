// One flipped bit and one lost sector of 512 bytes in the middle of the same
// samples in four stores, at many seeded places: what comes out, what is wrong
// with it, and whether the store says so. Exit 1 when our card loses more than
// the sector that was hit, believes a wrong sample, or keeps silent.
//
//   packmile_beside [--places N] [--minutes M] [--seed S]
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <exception>
#include <string_view>
#include <unordered_map>

#include "powercut/beside/stores.hpp"
#include "powercut/lying_card.hpp"
#include "sector/sector.hpp"

using namespace packmile;
using namespace packmile::beside;

namespace {

enum class Damage : std::uint8_t { bit, sector };

// One sample of each signal at each tick.
using Truth = std::unordered_map<std::uint64_t, std::uint32_t>;
std::uint64_t key_of(const Sample& sample) { return sample.tick_ms << 16 | sample.signal; }

struct Outcome {
  std::size_t recovered = 0;
  std::size_t wrong = 0;
  bool says_so = false;
};

Outcome hold_against(const Truth& truth, const Found& found) {
  Outcome outcome{.says_so = found.says_so};
  std::unordered_map<std::uint64_t, bool> seen;
  seen.reserve(found.samples.size());
  for (const Sample& sample : found.samples) {
    const auto at = sample.tick_ms >> 48 == 0 ? truth.find(key_of(sample)) : truth.end();
    if (at == truth.end() || at->second != sample.raw)
      ++outcome.wrong;
    else
      outcome.recovered += seen.try_emplace(key_of(sample), true).second;
  }
  return outcome;
}

struct Options {
  std::uint32_t places = 40;
  std::uint32_t minutes = 60;
  std::uint64_t seed = 20'261'125;
};

bool compare(const Options& options) {
  const std::vector<Response> drive = made_up_drive(options.minutes, options.seed);
  const std::vector<Sample> samples = samples_of(drive);
  Truth truth;
  for (const Sample& sample : samples) truth.emplace(key_of(sample), sample.raw);

  fmt::print("{} samples of a made-up drive, {} places in the middle half, seed {}\n\n",
             samples.size(), options.places, options.seed);
  fmt::print("{:<30} {:>8} {:<14} {:>10} {:>10} {:>10} {:>13} {:>8}\n", "store", "bytes", "damage",
             "recovered", "median", "worst", "wrong samples", "silent");
  bool sound = true;
  std::vector<std::unique_ptr<Store>> stores;
  stores.push_back(card_store(drive));
  stores.push_back(stream_store(drive));
  stores.push_back(leveldb_store(drive, false));
  stores.push_back(leveldb_store(drive, true));
  stores.push_back(sqlite_store(drive, true));
  stores.push_back(sqlite_store(drive, false));
  const Store* ours = stores.front().get();
  for (const auto& store : stores) {
    const Outcome whole = hold_against(truth, store->read(store->file()));
    if (whole.recovered != samples.size() || whole.wrong != 0 || whole.says_so) {
      fmt::print("FAILED: {}: not whole before any damage: {} of {}\n", store->name(),
                 whole.recovered, samples.size());
      return false;
    }
    for (const Damage damage : {Damage::bit, Damage::sector}) {
      powercut::Random random(options.seed + static_cast<std::uint64_t>(damage));
      std::vector<std::size_t> recovered;
      std::uint32_t trials_wrong = 0;
      std::uint32_t trials_silent = 0;
      for (std::uint32_t place = 0; place < options.places; ++place) {
        const std::size_t bytes = store->samples_end() - store->samples_begin();
        const std::size_t byte = store->samples_begin() + bytes / 4 +
                                 powercut::draw(random, static_cast<std::uint32_t>(bytes / 2));
        const std::size_t sector = byte / kSectorBytes;
        std::vector<std::uint8_t> damaged = store->file();
        switch (damage) {
          case Damage::bit:
            damaged[byte] ^= static_cast<std::uint8_t>(1u << powercut::draw(random, 8));
            break;
          case Damage::sector:
            std::memset(damaged.data() + sector * kSectorBytes, 0,
                        std::min(kSectorBytes, damaged.size() - sector * kSectorBytes));
            break;
        }
        const Outcome outcome = hold_against(truth, store->read(damaged));
        recovered.push_back(outcome.recovered);
        trials_wrong += outcome.wrong != 0;
        const bool harmed = outcome.wrong != 0 || outcome.recovered != samples.size();
        trials_silent += harmed && !outcome.says_so;
        if (store.get() != ours) continue;
        if (outcome.wrong != 0 || !outcome.says_so ||
            outcome.recovered != samples.size() - samples_of_sector(store->file(), sector)) {
          fmt::print("FAILED: our card, byte {}: {} recovered, {} wrong, {}\n", byte,
                     outcome.recovered, outcome.wrong, outcome.says_so ? "says so" : "silent");
          sound = false;
        }
      }
      std::sort(recovered.begin(), recovered.end());
      double sum = 0;
      for (const std::size_t n : recovered) sum += static_cast<double>(n);
      const auto percent = [&](double n) {
        return fmt::format("{:.2f} %", 100 * n / static_cast<double>(samples.size()));
      };
      fmt::print("{:<30} {:>8} {:<14} {:>10} {:>10} {:>10} {:>13} {:>8}\n", store->name(),
                 store->samples_end() - store->samples_begin(),
                 damage == Damage::bit ? "1 bit flipped" : "1 sector lost",
                 percent(sum / static_cast<double>(recovered.size())),
                 percent(static_cast<double>(recovered[recovered.size() / 2])),
                 percent(static_cast<double>(recovered.front())),
                 fmt::format("{}/{}", trials_wrong, options.places),
                 fmt::format("{}/{}", trials_silent, options.places));
      std::fflush(stdout);
    }
  }
  fmt::print(
      "\nwrong samples: trials in which a sample came out that was never recorded\n"
      "silent: trials in which something was lost or wrong and the reader did not say so\n");
  return sound;
}

template <typename Number>
bool take_number(std::string_view text, Number& number) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  return error == std::errc{} && end == text.data() + text.size() && number != 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  for (int i = 1; i < argc; i += 2) {
    const std::string_view word = argv[i];
    const std::string_view value = i + 1 < argc ? argv[i + 1] : "";
    const bool taken = (word == "--places" && take_number(value, options.places)) ||
                       (word == "--minutes" && take_number(value, options.minutes)) ||
                       (word == "--seed" && take_number(value, options.seed));
    if (!taken) {
      fmt::print(stderr, "packmile_beside: not understood: {} {}\n", word, value);
      return 2;
    }
  }
  try {
    return compare(options) ? 0 : 1;
  } catch (const std::exception& error) {
    fmt::print(stderr, "packmile_beside: {}\n", error.what());
    return 1;
  }
}
