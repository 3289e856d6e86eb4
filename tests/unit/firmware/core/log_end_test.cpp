// The search for the newest sector, on every small ring there is.
#include "core/log_end.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cstdint>
#include <vector>

using namespace packmile;

namespace {

constexpr std::int64_t kBlank = -1;
constexpr std::int64_t kDamaged = -2;

// One ring as it stands on the card: sequence numbers, kBlank or kDamaged.
using Ring = std::vector<std::int64_t>;

// What a card holds after `written` appends, some of which never reached it
// (`stale`: the place still shows the lap before) and some of which are
// damaged.
Ring ring_of(std::uint32_t n, std::uint32_t written, std::uint32_t damaged, std::uint32_t stale) {
  Ring ring(n, kBlank);
  for (std::uint32_t place = 0; place < n; ++place) {
    std::int64_t newest = kBlank;
    std::int64_t before = kBlank;
    for (std::uint32_t s = place; s < written; s += n) {
      before = newest;
      newest = s;
    }
    const auto in = [place](std::uint32_t set) { return place < 32 && (set >> place & 1) != 0; };
    ring[place] = in(stale) ? before : newest;
    if (in(damaged)) ring[place] = kDamaged;
  }
  return ring;
}

RingSector look(const Ring& ring, std::uint32_t place) {
  if (ring[place] == kDamaged) return {.place = RingPlace::unreadable};
  if (ring[place] == kBlank) return {.place = RingPlace::never_written};
  return {.place = RingPlace::ours, .sequence = static_cast<std::uint32_t>(ring[place])};
}

struct Outcome {
  std::int64_t newest = kBlank;
  std::uint32_t reads = 0;
};

Outcome search(const Ring& ring, std::uint32_t window) {
  LogEndSearch s(static_cast<std::uint32_t>(ring.size()), window);
  while (const auto wanted = s.wanted()) {
    // Plain ifs: this runs some ten million times.
    if (*wanted >= ring.size()) FAIL("asked for a place outside the ring");
    if (s.reads() > 3 * ring.size() + 1024) FAIL("reads without end");
    s.on_sector(look(ring, *wanted));
  }
  REQUIRE(s.finished());
  const auto found = s.newest_sequence();
  return {found ? static_cast<std::int64_t>(*found) : kBlank, s.reads()};
}

std::int64_t newest_of(const Ring& ring) {
  std::int64_t newest = kBlank;
  for (const std::int64_t s : ring)
    if (s > newest) newest = s;
  return newest;
}

// Longest run, around the ring, of places that do not show their newest lap.
std::uint32_t longest_bad_run(std::uint32_t n, std::uint32_t bad) {
  std::uint32_t longest = 0;
  std::uint32_t run = 0;
  for (std::uint32_t i = 0; i < 2 * n; ++i) {
    run = (bad >> (i % n) & 1) != 0 ? run + 1 : 0;
    if (run > longest) longest = run;
  }
  return longest > n ? n : longest;
}

struct Count {
  std::uint32_t rings = 0;
  std::uint32_t wrong = 0;
};

// Every ring size, position of the end over three laps, and set of damaged
// places.
Count damage_only(std::uint32_t window) {
  Count count;
  for (std::uint32_t n = 2; n <= 13; ++n)
    for (std::uint32_t written = 0; written <= 3 * n; ++written)
      for (std::uint32_t damaged = 0; damaged < 1u << n; ++damaged) {
        const Ring ring = ring_of(n, written, damaged, 0);
        ++count.rings;
        if (search(ring, window).newest < newest_of(ring)) ++count.wrong;
      }
  return count;
}

// The same with writes that were lost; at most `run` places in a row are bad.
Count damage_and_stale(std::uint32_t window, std::uint32_t run) {
  Count count;
  for (std::uint32_t n = 2; n <= 9; ++n)
    for (std::uint32_t written = 0; written <= 3 * n; ++written)
      for (std::uint32_t damaged = 0; damaged < 1u << n; ++damaged)
        for (std::uint32_t stale = 0; stale < 1u << n; ++stale) {
          if ((damaged & stale) != 0 || longest_bad_run(n, damaged | stale) > run) continue;
          const Ring ring = ring_of(n, written, damaged, stale);
          ++count.rings;
          if (search(ring, window).newest < newest_of(ring)) ++count.wrong;
        }
  return count;
}

}  // namespace

// No source: every ring there is. "Wrong": the writer would start
// before the newest good sector and overwrite it.
TEST_CASE("log end: damage alone never hides the end") {
  const Count count = damage_only(4);
  CHECK(count.rings > 600'000);
  CHECK(count.wrong == 0);
}

TEST_CASE("log end: lost writes never hide the end while fewer than the window lie in a row") {
  const Count count = damage_and_stale(4, 3);
  CHECK(count.rings > 200'000);
  CHECK(count.wrong == 0);
}

TEST_CASE("log end: a window as long as the ring survives anything") {
  const Count count = damage_and_stale(16, 9);
  CHECK(count.rings > 700'000);
  CHECK(count.wrong == 0);
}

// What the window is for; and proof that the tests above can fail.
TEST_CASE("log end: without a window lost writes hide the end") {
  const Count count = damage_and_stale(0, 3);
  CHECK(count.wrong > count.rings / 20);
}

// Each boot skips to the next multiple: the places between show the lap before.
TEST_CASE("log end: the gaps that boots leave are no end") {
  for (std::uint32_t per_boot = 1; per_boot <= 9; ++per_boot) {
    Ring ring(64, kBlank);
    std::uint32_t next = 0;
    for (int boot = 0; boot < 40; ++boot) {
      next = (next + 3) / 4 * 4;  // a multiple of 4 stands for 32
      for (std::uint32_t i = 0; i < per_boot; ++i, ++next) ring[next % 64] = next;
      CAPTURE(per_boot);
      CAPTURE(boot);
      CHECK(search(ring, 16).newest == next - 1);
    }
  }
}

TEST_CASE("log end: an empty ring, a ring without one good sector, no ring") {
  CHECK(search(Ring(64, kBlank), 128).newest == kBlank);
  CHECK(search(Ring(64, kDamaged), 128).newest == kBlank);
  // Neither blank nor a good sector where bisection looks: every place is read.
  Ring ring(64, kDamaged);
  ring[0] = kBlank;
  ring[50] = 50;
  CHECK(search(ring, 4).newest == 50);
  LogEndSearch none(0);
  CHECK(none.finished());
  CHECK_FALSE(none.wanted());
}

TEST_CASE("log end: an answer to no question changes nothing") {
  LogEndSearch s(2, 4);
  while (s.wanted()) s.on_sector({.place = RingPlace::ours, .sequence = *s.wanted()});
  const auto newest = s.newest_sequence();
  s.on_sector({.place = RingPlace::ours, .sequence = 1000});
  CHECK(s.newest_sequence() == newest);
  CHECK(newest == 1u);
}

// Common practice, no source: 0.1 to 0.2 s at a millisecond a read.
TEST_CASE("log end: few reads on a large ring") {
  for (const double damaged_share : {0.0, 0.01, 0.1}) {
    std::uint32_t worst = 0;
    for (std::uint32_t written = 1; written < 3u << 19; written += 77'777) {
      const std::uint32_t n = 1u << 19;
      LogEndSearch s(n);
      std::uint32_t noise = 12345;
      while (const auto wanted = s.wanted()) {
        noise = noise * 1664525 + 1013904223;
        const std::uint32_t lap = (written - 1) / n;
        const bool in_lap = *wanted <= (written - 1) % n;
        RingSector sector{.place = RingPlace::never_written};
        if (in_lap) sector = {.place = RingPlace::ours, .sequence = lap * n + *wanted};
        if (!in_lap && lap > 0)
          sector = {.place = RingPlace::ours, .sequence = (lap - 1) * n + *wanted};
        const bool is_end = *wanted == (written - 1) % n;
        if (!is_end && (noise >> 8) % 1000 < static_cast<std::uint32_t>(damaged_share * 1000))
          sector = {.place = RingPlace::unreadable};
        s.on_sector(sector);
      }
      REQUIRE(s.newest_sequence() == written - 1);
      if (s.reads() > worst) worst = s.reads();
    }
    MESSAGE("reads with ", damaged_share * 100, " % damaged: ", worst);
    CHECK(worst < 250);
  }
}

// The window in force, at its limit: 127 places in a row that are damaged, lost or
// both, wherever they lie around the end.
TEST_CASE("log end: a window of 128 survives any run of 127 bad places") {
  constexpr std::uint32_t kPlaces = 1024;
  std::uint32_t wrong = 0;
  std::uint32_t wrong_beyond = 0;
  for (const std::uint32_t written : {200u, 1000u, 1024u, 1500u, 2048u, 2500u})
    for (const std::uint32_t run : {1u, 31u, 64u, 127u, 400u})
      for (std::uint32_t from = 0; from < kPlaces; from += 3)
        for (std::uint32_t kind = 0; kind < 3; ++kind) {
          Ring ring = ring_of(kPlaces, written, 0, 0);
          for (std::uint32_t i = 0; i < run; ++i) {
            std::int64_t& place = ring[(from + i) % kPlaces];
            const bool lost = kind == 0 || (kind == 1 && i % 2 == 0);
            // A lost write shows the lap before, or nothing.
            place = !lost ? kDamaged : place >= kPlaces ? place - kPlaces : kBlank;
          }
          const bool missed = search(ring, kLogEndWindow).newest < newest_of(ring);
          (run < kLogEndWindow ? wrong : wrong_beyond) += missed;
        }
  CHECK(wrong == 0);
  CHECK(wrong_beyond > 0);  // so that the limit is one
}

// A new card with a few bad sectors: the logger cannot wait for 62 million reads.
TEST_CASE("log end: an empty ring is known to be empty although parts of it are damaged") {
  for (const std::uint32_t one_in : {2u, 10u, 100u}) {
    Ring ring(1u << 20, kBlank);
    std::uint32_t noise = one_in;
    for (auto& place : ring) {
      noise = noise * 1664525 + 1013904223;
      if ((noise >> 8) % one_in == 0) place = kDamaged;
    }
    CAPTURE(one_in);
    const Outcome outcome = search(ring, kLogEndWindow);
    CHECK(outcome.newest == kBlank);
    CHECK(outcome.reads < 700);
    // A short log behind a beginning that is destroyed, however long, is found.
    for (std::uint32_t place = 0; place < 5'000; ++place) ring[place] = kDamaged;
    ring[0] = kBlank;  // the first write was lost
    ring[5'000] = 5'000;
    CHECK(search(ring, kLogEndWindow).newest == 5'000);
  }
}

// A ring that never was: numbers that lead in circles. The search ends.
TEST_CASE("log end: made-up rings end") {
  std::uint32_t noise = 1;
  for (int round = 0; round < 2000; ++round) {
    const std::uint32_t n = 2 + round % 60;
    Ring ring(n);
    for (std::uint32_t place = 0; place < n; ++place) {
      noise = noise * 1664525 + 1013904223;
      ring[place] = static_cast<std::int64_t>((noise >> 4) % 50'000'000 / n) * n + place;
    }
    search(ring, 4);
  }
}

TEST_CASE("log end: which sectors count") {
  std::array<std::uint8_t, kSectorBytes> bytes{};
  std::optional<std::uint32_t> log_id = 7;
  const auto sealed = [&bytes](SectorHeader header) {
    bytes = {};
    seal_sector(bytes, header);
  };
  CHECK(judge_ring_sector(bytes, 5, 64, log_id).place == RingPlace::never_written);
  bytes.fill(0xFF);
  CHECK(judge_ring_sector(bytes, 5, 64, log_id).place == RingPlace::never_written);
  bytes.fill(0x5A);
  CHECK(judge_ring_sector(bytes, 5, 64, log_id).place == RingPlace::unreadable);

  const SectorHeader good{.log_id = 7, .sequence = 64 + 5, .ring_sectors = 64};
  sealed(good);
  CHECK(judge_ring_sector(bytes, 5, 64, log_id).place == RingPlace::ours);
  CHECK(judge_ring_sector(bytes, 5, 64, log_id).sequence == 69);
  CHECK(judge_ring_sector(bytes, 6, 64, log_id).place == RingPlace::unreadable);  // misplaced
  CHECK(judge_ring_sector(bytes, 5, 96, log_id).place == RingPlace::unreadable);  // another ring
  for (std::size_t i = 0; i < kSectorBytes; ++i) {
    sealed(good);
    bytes[i] ^= 0x10;
    CHECK(judge_ring_sector(bytes, 5, 64, log_id).place == RingPlace::unreadable);
  }
  SectorHeader other = good;
  other.log_id = 8;
  sealed(other);
  CHECK(judge_ring_sector(bytes, 5, 64, log_id).place == RingPlace::never_written);
  // With the head destroyed, the first good sector says whose log this is.
  std::optional<std::uint32_t> unknown;
  CHECK(judge_ring_sector(bytes, 5, 64, unknown).place == RingPlace::ours);
  CHECK(unknown == 8u);
}
