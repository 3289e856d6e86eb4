// Power cuts of the whole logger: class Logger asks a small van, is cut at one of
// its writes, boots again on what the card has, asks the van again and goes on.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <memory>

#include "powercut/experiment.hpp"
#include "unit/firmware/core/fake_van.hpp"

namespace packmile::powercut {
namespace {

constexpr std::uint32_t kLoggerRing = 64;
constexpr std::uint32_t kLoggerLogSectors = kHeadSectors + kLoggerRing;
// Virtual time of the boots of the log that is cut: more than two laps. Each
// outlives ten minutes: a logger that is reset more often than that only listens.
constexpr std::array<Tick, 3> kBootMs{620'000, 660'000, 620'000};
// Fine enough that no place is written twice within it.
constexpr Tick kStepMs = 20;
constexpr Tick kBootAfterCutMs = 9'000;
// Around every border of the sector: begin, header, payload, checksum, end.
constexpr std::array<std::uint32_t, 14> kTornAt{0,   1,   4,   27,  28,  29,  100,
                                                256, 500, 507, 508, 509, 511, 512};

// A van whose logger is watched: each write goes into `recorded`, with the
// samples that libprotobuf reads in it.
class WatchedVan {
 public:
  explicit WatchedVan(Recorded& recorded) : van_(kLoggerLogSectors), recorded_(recorded) {
    van_.ecus = test::plain_van();
    card_ = van_.card;
  }

  std::vector<std::vector<std::uint8_t>>* before = nullptr;  // gets the card before each write

  [[nodiscard]] const std::vector<std::uint8_t>& card() const { return card_; }
  void set_card(const std::vector<std::uint8_t>& card) { card_ = van_.card = card; }
  void fail_reads_at(std::uint32_t address) { van_.fail_reads_at = address; }

  void boot(std::uint32_t entropy, Tick until, Tally& tally, const std::string& name) {
    van_.written.clear();
    seen_ = 0;
    van_.power_up(entropy);
    take_writes(tally, name);
    van_.plug_adapter();
    for (Tick t = kStepMs; t <= until; t += kStepMs) {
      van_.run_until(t);
      take_writes(tally, name);
    }
  }
  void stop(Tally& tally, const std::string& name) {
    van_.stop();
    take_writes(tally, name);
  }
  [[nodiscard]] std::size_t writes() const { return van_.written.size(); }

 private:
  void take_writes(Tally& tally, const std::string& name) {
    for (; seen_ < van_.written.size(); ++seen_) {
      const std::uint32_t address = van_.written[seen_];
      const std::size_t at = std::size_t{address} * kSectorBytes;
      const auto bytes = std::span<const std::uint8_t>(van_.card).subspan(at).first<kSectorBytes>();
      if (before) before->push_back(card_);
      SectorHeader header;
      if (read_sector(bytes, header) != SectorVerdict::good) {
        tally.fail(tally.not_continued, name + ": a sector is sealed wrong");
        continue;
      }
      SectorHeader there;
      const auto place = std::span<const std::uint8_t>(card_).subspan(at).first<kSectorBytes>();
      if (read_sector(place, there) == SectorVerdict::good && there.sequence >= header.sequence &&
          address != van_.fail_reads_at)
        tally.fail(tally.newer_overwritten, name + ": a newer sector overwritten");
      if (seen_ == 0 && header.sequence % kBootAlignSectors != 0)
        tally.fail(tally.not_continued, name + ": the boot does not begin on a page");
      std::vector<Sample> samples;
      const test::DecodedRecord record = test::decode_record(sector_payload(bytes, header));
      for (const test::DecodedSample& one : record.samples)
        samples.push_back({one.tick_ms, header.boot_id, one.ecu, one.signal, one.raw});
      recorded_.add(address, bytes, samples);
      std::copy(bytes.begin(), bytes.end(), card_.begin() + static_cast<std::ptrdiff_t>(at));
    }
  }

  test::FakeVan van_;
  Recorded& recorded_;
  std::vector<std::uint8_t> card_;
  std::size_t seen_ = 0;
};

}  // namespace

void logger_experiments(const Settings& settings, std::vector<Row>& rows) {
  Recorded history;
  std::vector<std::vector<std::uint8_t>> before;
  Tally making;
  {
    WatchedVan van(history);
    van.before = &before;
    std::uint32_t entropy = 1;
    for (const Tick until : kBootMs) van.boot(entropy++, until, making, "history");
  }
  if (history.sectors() < 2 * kLoggerRing)
    making.fail(making.not_continued, "the log that is to be cut has not gone round twice");

  constexpr std::uint64_t kTears = kTornAt.size() * 3;
  constexpr std::uint64_t kFates = kTears + 3;
  rows.push_back(
      {"whole logger, one cut at each write, 45 fates", true,
       run_cases(settings, history.sectors() * kFates,
                 [&](std::uint64_t n, Reader& reader, Tally& tally) {
                   const std::size_t write = n / kFates;
                   const std::uint64_t f = n % kFates;
                   WriteFate fate;
                   if (f < kTears)
                     fate = {Fate::torn, kTornAt[f / 3], static_cast<Rest>(f % 3)};
                   else
                     fate.fate = f == kTears       ? Fate::noise
                                 : f == kTears + 1 ? Fate::lost
                                                   : Fate::written;
                   const std::string name = fmt::format(
                       "write {}, fate {} at byte {}, rest {}", write, static_cast<int>(fate.fate),
                       fate.torn_at_byte, static_cast<int>(fate.rest));
                   LyingCard card(kLoggerLogSectors, settings.seed + n);
                   card.image() = before[write];
                   card.power_up({});
                   card.cut_after(0);
                   const RecordedSector& torn = history.sector(write);
                   (void)card.write(torn.address, torn.bytes);
                   card.cut(std::span(&fate, 1));

                   Recorded recorded(history, write + 1);
                   WatchedVan van(recorded);
                   van.set_card(card.image());
                   // In every fourth case a place of the ring does not read, either.
                   Random random(settings.seed + n);
                   if (n % 4 == 3) van.fail_reads_at(kHeadSectors + draw(random, kLoggerRing));
                   van.boot(static_cast<std::uint32_t>(1'000 + n), kBootAfterCutMs, tally, name);
                   van.stop(tally, name);
                   const std::size_t first = write + 1;
                   if (recorded.sectors() < first + 3)
                     tally.fail(tally.not_continued, name + ": did not write on");
                   std::uint64_t samples = 0;
                   for (std::size_t i = first; i < recorded.sectors(); ++i)
                     samples += recorded.sector(i).samples;
                   if (samples < 50)
                     tally.fail(tally.not_continued, name + ": did not keep what the van said");
                   (void)reader.judge(van.card(), recorded, name, tally);
                 })});
  const std::uint64_t cases = rows.back().tally.cases;
  rows.back().tally += making;
  rows.back().tally.cases = cases;
}

}  // namespace packmile::powercut
