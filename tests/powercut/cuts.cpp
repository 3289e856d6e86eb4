// Power cuts of the card side: the writer, the end search, and what the host
// reads afterwards.
#include <fmt/format.h>

#include <array>
#include <memory>

#include "powercut/experiment.hpp"
#include "powercut/small_boot.hpp"

namespace packmile::powercut {
namespace {

constexpr std::uint32_t kRing = 64;
constexpr std::uint32_t kLogSectors = kHeadSectors + kRing;
// Sectors of each boot of the small log: together more than two laps, with the
// gaps that boots leave, and one boot of a single sector.
constexpr std::array<std::uint32_t, 5> kBootSectors{10, 1, 33, 32, 20};
constexpr std::uint32_t kSectorsAfterCut = 2;

// The small log without any cut, and the card before each write.
struct History {
  Recorded recorded;
  std::vector<std::vector<std::uint8_t>> before;  // image, for each write
};

const History& history(const Settings& settings) {
  static const std::unique_ptr<History> made = [&] {
    auto h = std::make_unique<History>();
    LyingCard card(kLogSectors, settings.seed);
    prepare(card, kRing);
    Tally tally;
    std::uint32_t boot_id = 100;
    for (const std::uint32_t sectors : kBootSectors) {
      ++boot_id;
      card.power_up({});
      SmallBoot boot(card, kRing, kSmallLogId, boot_id, settings.seed + boot_id, h->recorded, tally,
                     "history");
      bool power = boot.find_end();
      for (std::uint32_t i = 0; i < sectors && power; ++i) {
        h->before.push_back(card.image());
        power = boot.write_sectors(1);
      }
      card.cut();
    }
    h->before.push_back(card.image());
    return h;
  }();
  return *made;
}

// A new boot that writes a few sectors; all of them must be there.
void go_on(LyingCard& card, std::uint32_t boot_id, Recorded& recorded, Tally& tally,
           const std::string& name, std::uint64_t seed) {
  card.power_up({});
  SmallBoot boot(card, kRing, kSmallLogId, boot_id, seed, recorded, tally, name);
  const bool power = boot.find_end() && boot.write_sectors(kSectorsAfterCut);
  if (!power || boot.written() != kSectorsAfterCut)
    tally.fail(tally.not_continued, name + ": did not write on");
  card.cut();
}

// One cut at a write of the history: what the write left is `fate`.
void cut_once(const History& h, std::size_t write, const WriteFate& fate, std::uint64_t seed,
              Reader& reader, Tally& tally, const std::string& name) {
  LyingCard card(kLogSectors, seed);
  card.image() = h.before[write];
  card.power_up({});
  card.cut_after(0);
  const RecordedSector& torn = h.recorded.sector(write);
  (void)card.write(torn.address, torn.bytes);
  card.cut(std::span(&fate, 1));
  Recorded recorded(h.recorded, write + 1);
  go_on(card, 900, recorded, tally, name, seed);
  (void)reader.judge(card.image(), recorded, name, tally);
}

void every_byte(const Settings& settings, std::vector<Row>& rows) {
  const History& h = history(settings);
  const std::uint64_t writes = h.recorded.sectors();
  // Each byte 0..512 with each rest, noise, lost, written.
  constexpr std::uint64_t kTears = (kSectorBytes + 1) * 3;
  constexpr std::uint64_t kFates = kTears + 3;
  rows.push_back(
      {"one cut at each write, each byte, each rest", true,
       run_cases(settings, writes * kFates, [&](std::uint64_t n, Reader& reader, Tally& tally) {
         const std::uint64_t write = n / kFates;
         const std::uint64_t f = n % kFates;
         WriteFate fate;
         if (f < kTears)
           fate = {Fate::torn, static_cast<std::uint32_t>(f / 3), static_cast<Rest>(f % 3)};
         else
           fate.fate = f == kTears ? Fate::noise : f == kTears + 1 ? Fate::lost : Fate::written;
         cut_once(h, write, fate, settings.seed + n, reader, tally,
                  fmt::format("write {}, fate {} at byte {}, rest {}", write,
                              static_cast<int>(fate.fate), fate.torn_at_byte,
                              static_cast<int>(fate.rest)));
       })});
}

void pages(const Settings& settings, std::vector<Row>& rows) {
  const History& h = history(settings);
  // This page, the one before, the one after, around the ring; each damage.
  constexpr std::uint64_t kKinds = 9;
  rows.push_back({"one cut at each write, a whole page damaged", true,
                  run_cases(settings, h.recorded.sectors() * kKinds,
                            [&](std::uint64_t n, Reader& reader, Tally& tally) {
                              const std::size_t write = n / kKinds;
                              const auto which = static_cast<std::uint32_t>(n % 3);
                              const auto damage = static_cast<LyingCard::PageDamage>(n / 3 % 3);
                              const std::string name =
                                  fmt::format("write {}, page {}, damage {}", write, which,
                                              static_cast<int>(damage));
                              LyingCard card(kLogSectors, settings.seed + n);
                              card.image() = h.before[write];
                              const std::uint32_t place =
                                  (h.recorded.sector(write).address - kHeadSectors + kRing +
                                   (which == 1   ? kRing - kPageSectors
                                    : which == 2 ? kPageSectors
                                                 : 0)) %
                                  kRing;
                              card.damage_page(kHeadSectors + place, damage);
                              Recorded recorded(h.recorded, write);
                              go_on(card, 900, recorded, tally, name, settings.seed + n);
                              (void)reader.judge(card.image(), recorded, name, tally);
                            })});
}

struct Sampled {
  const char* experiment;
  std::uint64_t cases;
  std::uint32_t cuts;
  CardLies lies;
};

// From a fresh card: boots that are cut at any of their writes, each with the
// lies of its experiment; after each cut the card is read, and at the end a boot
// without a cut must go on.
void sampled(const Settings& settings, std::vector<Row>& rows, const Sampled& what) {
  rows.push_back(
      {what.experiment, false,
       run_cases(settings, what.cases, [&](std::uint64_t n, Reader& reader, Tally& tally) {
         const std::uint64_t seed = settings.seed * 1'000'003 + n * 97 + what.cuts;
         Random random(seed);
         LyingCard card(kLogSectors, seed + 1);
         prepare(card, kRing);
         Recorded recorded;
         const std::string name = fmt::format("case {}", n);
         std::uint32_t boot_id = 1;
         // Something older first, up to two laps of it.
         card.power_up({});
         SmallBoot older(card, kRing, kSmallLogId, boot_id, seed + 2, recorded, tally, name);
         if (!older.find_end() || !older.write_sectors(draw(random, 2 * kRing)))
           tally.fail(tally.not_continued, name + ": did not begin");
         card.cut();
         for (std::uint32_t cut = 0; cut < what.cuts; ++cut) {
           CardLies lies = what.lies;
           if (lies.queued_writes != 0) lies.queued_writes = draw(random, lies.queued_writes + 1);
           card.power_up(lies);
           ++boot_id;
           const std::uint32_t writes = draw(random, 50);
           card.cut_after(writes);
           SmallBoot boot(card, kRing, kSmallLogId, boot_id, seed + 2 + boot_id, recorded, tally,
                          name);
           if (boot.find_end() && boot.write_sectors(writes + 1) && lies.refused == 0)
             tally.fail(tally.not_continued, name + ": not cut");
           card.cut();
           (void)reader.judge(card.image(), recorded, name, tally);
         }
         go_on(card, boot_id + 1, recorded, tally, name, seed);
         (void)reader.judge(card.image(), recorded, name, tally);
       })});
}

}  // namespace

void cut_experiments(const Settings& settings, std::vector<Row>& rows) {
  every_byte(settings, rows);
  pages(settings, rows);
  const CardLies queue{.queued_writes = 8, .out_of_order = true};
  for (const Sampled& one :
       {Sampled{"two cuts in a row", 3'000, 2, {}}, Sampled{"three cuts in a row", 2'000, 3, {}},
        Sampled{"two cuts, queue of 8, any order", 2'000, 2, queue},
        Sampled{"three cuts, queue of 8, any order", 1'500, 3, queue},
        Sampled{"two cuts, writes that were never done", 1'500, 2, {.silent_no_op = 100}},
        Sampled{"two cuts, writes refused", 1'500, 2, {.refused = 200}},
        Sampled{"two cuts, places that do not read", 1'500, 2, {.unreadable = 50}},
        Sampled{"two cuts, reads that give old data", 1'500, 2, {.old_data = 100}},
        Sampled{"three cuts, all lies together",
                2'000,
                3,
                {.queued_writes = 8,
                .out_of_order = true,
                .silent_no_op = 50,
                .refused = 100,
                .unreadable = 30,
                .old_data = 50}}})
    sampled(settings, rows, one);
}

}  // namespace packmile::powercut
