// The parts of big_cards.py that are not Python.
//
//   packmile_big_cards_bench log-end            reads of the end search, 32 GB ring
//   packmile_big_cards_bench grow IN OUT GB     a card's sectors on a larger, sparse card
//   packmile_big_cards_bench measure COMMAND... seconds, peak memory and exit code
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <random>
#include <string>
#include <string_view>
#include <vector>

#include "core/log_end.hpp"
#include "sector/sector.hpp"

using namespace packmile;

namespace {

constexpr std::uint32_t kRing32Gb = 62'500'000 / kBootAlignSectors * kBootAlignSectors;
constexpr std::uint64_t kSeed = 20'261'125;
constexpr std::uint32_t kEnds = 2'000;  // of each kind, drawn

// Is the place damaged? The same answer for every read; 0.1 per mille steps.
bool damaged(std::uint32_t place, std::uint64_t salt, std::uint32_t per_myriad) {
  std::uint64_t h = (place + salt) * 0x9E3779B97F4A7C15u;
  h = (h ^ h >> 29) * 0xBF58476D1CE4E5B9u;
  return (h >> 32) % 10'000 < per_myriad;
}

// A ring of which `written` sectors were written in its life.
struct Ring {
  std::uint64_t written = 0;
  std::uint64_t salt = 0;
  std::uint32_t damaged_per_myriad = 0;

  [[nodiscard]] RingSector look(std::uint32_t place) const {
    if (damaged(place, salt, damaged_per_myriad)) return {};
    if (place >= written) return {.place = RingPlace::never_written};
    const std::uint64_t sequence = (written - 1 - place) / kRing32Gb * kRing32Gb + place;
    return {.place = RingPlace::ours, .sequence = static_cast<std::uint32_t>(sequence)};
  }
};

int log_end() {
  struct Kind {
    const char* name;
    std::uint64_t from, until;  // sectors written
  };
  const std::array kinds{Kind{"empty", 0, 0}, Kind{"part filled", 1, kRing32Gb - 1},
                         Kind{"wrapped", kRing32Gb, std::uint64_t{kRing32Gb} * 60}};
  std::mt19937_64 random(kSeed);
  fmt::print("reads of the end search, ring of {} sectors (32 GB), {} ends each, seed {}\n",
             kRing32Gb, kEnds, kSeed);
  fmt::print("{:<14} {:>10} {:>8} {:>8} {:>12}\n", "ring", "damaged", "mean", "most",
             "newest missed");
  bool sound = true;
  for (const Kind& kind : kinds)
    for (const std::uint32_t per_myriad : {0u, 100u, 1'000u}) {
      std::uint64_t sum = 0;
      std::uint32_t most = 0;
      std::uint32_t missed = 0;
      for (std::uint32_t i = 0; i < kEnds; ++i) {
        const Ring ring{.written = kind.until == kind.from
                                       ? kind.from
                                       : kind.from + random() % (kind.until - kind.from),
                        .salt = random(),
                        .damaged_per_myriad = per_myriad};
        LogEndSearch search(kRing32Gb);
        while (const auto wanted = search.wanted()) search.on_sector(ring.look(*wanted));
        sum += search.reads();
        most = std::max(most, search.reads());
        // The newest that is not damaged.
        std::uint64_t newest = ring.written;
        while (newest > 0 &&
               damaged(static_cast<std::uint32_t>((newest - 1) % kRing32Gb), ring.salt, per_myriad))
          --newest;
        const auto found = search.newest_sequence();
        if (newest == 0 ? found.has_value() : !found || *found != newest - 1) ++missed;
      }
      sound = sound && missed == 0;
      fmt::print("{:<14} {:>8} % {:>8.1f} {:>8} {:>12}\n", kind.name, per_myriad / 100,
                 static_cast<double>(sum) / kEnds, most, missed);
    }
  return sound ? 0 : 1;
}

int grow(const std::string& from, const std::string& to, double gigabytes) {
  std::ifstream in(from, std::ios::binary);
  std::ofstream out(to, std::ios::binary | std::ios::trunc);
  const auto sectors = static_cast<std::uint64_t>(gigabytes * 1e9 / kSectorBytes);
  const std::uint32_t ring = ring_sectors_of(sectors);
  std::array<std::uint8_t, kSectorBytes> sector;
  std::uint64_t kept = 0;
  while (in.read(reinterpret_cast<char*>(sector.data()), sector.size())) {
    SectorHeader header;
    if (read_sector(sector, header) != SectorVerdict::good) continue;
    const std::uint64_t address =
        header.kind == SectorKind::settings ? 0 : kHeadSectors + header.sequence % ring;
    header.ring_sectors = ring;
    seal_sector(sector, header);
    out.seekp(static_cast<std::streamoff>(address * kSectorBytes));
    out.write(reinterpret_cast<const char*>(sector.data()), sector.size());
    ++kept;
  }
  out.close();
  if (!out || kept == 0 || truncate(to.c_str(), static_cast<off_t>(sectors * kSectorBytes)) != 0) {
    fmt::print(stderr, "packmile_big_cards_bench: cannot make {} from {}\n", to, from);
    return 1;
  }
  fmt::print("{}\n", kept * kSectorBytes);
  return 0;
}

// A small process of its own: the peak of a child begins with its parent's.
int measure(char** command) {
  const auto began = std::chrono::steady_clock::now();
  const pid_t child = fork();
  if (child == 0) {
    execvp(command[0], command);
    _exit(127);
  }
  int status = 0;
  if (child < 0 || waitpid(child, &status, 0) != child) return 1;
  const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - began;
  rusage used{};
  getrusage(RUSAGE_CHILDREN, &used);
  const auto of = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + static_cast<double>(t.tv_usec) / 1e6;
  };
  fmt::print(stderr, "measured {:.2f} {:.2f} {:.1f} {}\n", seconds.count(),
             of(used.ru_utime) + of(used.ru_stime), static_cast<double>(used.ru_maxrss) / 1024,
             WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  const std::string_view what = argc > 1 ? argv[1] : "";
  if (what == "log-end" && argc == 2) return log_end();
  if (what == "grow" && argc == 5) return grow(argv[2], argv[3], std::atof(argv[4]));
  if (what == "measure" && argc > 2) return measure(argv + 2);
  fmt::print(stderr, "packmile_big_cards_bench log-end | grow IN OUT GB | measure COMMAND...\n");
  return 2;
}
