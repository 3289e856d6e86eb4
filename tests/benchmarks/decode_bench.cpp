// How fast a card becomes columns, and how many bytes a sample takes.
//
// Input     10 million samples made here: random walks that look like a drive,
//           polled at 2 Hz and at 5 Hz, sectors closed at 10 s.
// Output    thread CPU seconds, best of five runs, so that other work on the
//           machine does not count; bytes of card and of payload per sample.
//
//   packmile_decode_bench [SAMPLES]     also import and episodes
//   packmile_decode_bench CARD          that card into columns
#include <time.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <random>

#include "archive/archive.hpp"
#include "card/card_survey.hpp"
#include "card/crc.hpp"
#include "timeline/van_history.hpp"
#include "unit/host/card/card_maker.hpp"

namespace packmile {
namespace {

using test::CardMaker;

double cpu_s() {
  timespec t{};
  ::clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

template <typename Work>
double best_s(Work work) {
  double best = 1e9;
  for (int i = 0; i < 5; ++i) {
    const double began = cpu_s();
    work();
    best = std::min(best, cpu_s() - began);
  }
  return best;
}

// Steps like those of a drive: mostly small, sometimes a pedal.
class Van {
 public:
  void step(double seconds) {
    if (uniform() < seconds / 4) wanted_a_ = 900 * uniform() - 250;
    current_a_ += (wanted_a_ - current_a_) * std::min(1.0, seconds) + 8 * (uniform() - 0.5);
    speed_kmh_ =
        std::clamp(speed_kmh_ + current_a_ * seconds / 120 - speed_kmh_ * seconds / 60, 0.0, 120.0);
  }
  [[nodiscard]] std::uint32_t a_raw() const {
    return static_cast<std::uint32_t>(static_cast<int>(current_a_ * 2)) & 0xFFFF;
  }
  [[nodiscard]] std::uint32_t v_raw() {
    return static_cast<std::uint32_t>((370 - current_a_ * 0.02 + 0.1 * (uniform() - 0.5)) * 64);
  }
  [[nodiscard]] std::uint32_t speed_raw() const { return static_cast<std::uint32_t>(speed_kmh_); }
  double uniform() { return static_cast<double>(random_()) / 4294967296.0; }

 private:
  std::mt19937 random_{20260105};
  double wanted_a_ = 100;
  double current_a_ = 0;
  double speed_kmh_ = 0;
};

CardMaker make_card(std::uint64_t samples, std::uint32_t period_ms, bool with_state) {
  // 128 MiB: more than the samples need.
  CardMaker card(0x20260105, 1u << 18);
  card.settings("bench", 1'767'000'000'000);
  card.boot(0xB0070001);
  Van van;
  BlockKey odometer;
  odometer.ecu = 0x7E8;
  odometer.period_ms = 5'000;
  odometer.signals = 1;
  odometer.signal = {signal::odometer_km};
  BlockKey ambient = odometer;
  ambient.period_ms = 60'000;
  ambient.signal = {signal::ambient_c};
  BlockKey pack = test::pack_key(period_ms);
  if (!with_state) {
    pack.signals = 3;
    pack.signal = {signal::pack_v, signal::pack_a, signal::speed_kmh};
  }
  const BlockKey soc = test::soc_key(1'000);
  test::SessionText text;
  text.vin = test::kVin;
  text.clock = ClockSample{kClockRtc, 1'767'600'000'000, 1'000, 1'000};
  card.session(1'000, text);
  Tick tick = 2'000;
  std::uint64_t round = 0;
  std::uint32_t sectors_at_session = card.next_sequence();
  while (card.samples() < samples) {
    van.step(period_ms / 1000.0);
    const auto late = static_cast<Tick>(van.uniform() < 0.1 ? 1 + 3 * van.uniform() : 0);
    if (with_state)
      card.response(tick + late, pack, {0x06, 0, van.v_raw(), van.a_raw(), van.speed_raw()});
    else
      card.response(tick + late, pack, {van.v_raw(), van.a_raw(), van.speed_raw()});
    const Tick after = tick + 20 + late;
    if (round % (1'000 / period_ms) == 0)
      card.response(after, soc,
                    {static_cast<std::uint32_t>(200 - tick / 600'000 % 150),
                     static_cast<std::uint32_t>(14'000 + 16 * van.uniform())});
    if (round % (5'000 / period_ms) == 0)
      card.response(after + 10, odometer, {static_cast<std::uint32_t>(400'000 + tick / 9'000)});
    if (round % (60'000 / period_ms) == 0) card.response(after + 20, ambient, {52});
    if (card.next_sequence() - sectors_at_session >= kSessionEverySectors - 2) {
      card.session(after + 30, text);
      sectors_at_session = card.next_sequence();
    }
    tick += period_ms;
    ++round;
    // A drive of three hours, then the night.
    if (tick % (3 * 3'600'000) < period_ms) tick += 8 * 3'600'000;
  }
  card.close();
  return card;
}

void print(const char* what, double seconds, std::uint64_t samples) {
  std::printf("  %-46s %7.4f s %8.1f million samples/s\n", what, seconds,
              static_cast<double>(samples) / seconds / 1e6);
}

// Checksums and columns of the sectors in `log`; returns the samples in them.
std::uint64_t print_columns(std::span<const std::uint8_t> log, std::uint64_t& sink) {
  const double crc_s = best_s([&] {
    for (std::size_t at = 0; at < log.size(); at += kSectorBytes)
      sink += fast_crc32c(log.subspan(at, kSectorCrcOffset));
  });
  RecordDecoder decoder;
  std::uint64_t decoded = 0;
  const double decode_s = best_s([&] {
    decoded = 0;
    for (std::size_t at = 0; at < log.size(); at += kSectorBytes) {
      const auto sector = log.subspan(at).first<kSectorBytes>();
      SectorHeader header;
      if (!read_known_sector(sector, header) || header.kind != SectorKind::data) continue;
      if (!decoder.decode(sector_payload(sector, header))) std::abort();
      for (const BlockView& block : decoder.blocks()) {
        decoded += block.rows * block.signals;
        sink += block.raw[block.signals - 1][block.rows - 1];
      }
    }
  });
  print("checksums", crc_s, decoded);
  print("records to columns", decode_s, decoded);
  print("card to columns, checksums included", crc_s + decode_s, decoded);
  return decoded;
}

// A card of somebody else's making: the good sectors alone, in memory first.
int run_card(const char* path) {
  const auto file = CardFile::open(path);
  if (!file) {
    std::fprintf(stderr, "%s: %s\n", path, file.error().what.c_str());
    return 1;
  }
  std::vector<std::uint8_t> log;
  (void)survey_card(*file, [&](const SectorHeader&, const auto& sector) {
    log.insert(log.end(), sector.begin(), sector.end());
  });
  std::uint64_t sink = 0;
  const std::uint64_t samples = print_columns(log, sink);
  std::printf("  %llu samples (%llu)\n", static_cast<unsigned long long>(samples),
              static_cast<unsigned long long>(sink % 10));
  return 0;
}

void run(const char* title, std::uint64_t wanted, std::uint32_t period_ms, bool with_state) {
  CardMaker card = make_card(wanted, period_ms, with_state);
  const std::uint64_t samples = card.samples();
  const std::uint32_t used = card.next_sequence();
  const double s = static_cast<double>(samples);
  std::printf("%s: %.1f million samples, %u sectors, %.2f MB\n", title, s / 1e6, used,
              used * 512.0 / 1e6);
  std::printf("  bytes per sample: %.3f of payload, %.3f of card\n",
              static_cast<double>(card.payload_bytes()) / s, used * 512.0 / s);

  const auto log = std::span<const std::uint8_t>(card.bytes())
                       .subspan(kHeadSectors * kSectorBytes, used * kSectorBytes);
  std::uint64_t sink = 0;
  if (print_columns(log, sink) != samples) std::abort();

  // From here on with files: the card, the archive, the timeline.
  const test::TempFolder folder;
  // As on a card that was prepared and not yet full: the rest is a hole.
  const auto path = folder.write(
      "card.log",
      std::span<const std::uint8_t>(card.bytes()).first((kHeadSectors + used) * kSectorBytes));
  std::filesystem::resize_file(path, card.bytes().size());
  const auto file = CardFile::open(path);
  if (!file) std::abort();
  print("survey of the card file", best_s([&] { sink += survey_card(*file).sectors_good; }),
        samples);
  double import_s = 1e9;
  for (int i = 0; i < 3; ++i) {
    std::filesystem::remove_all(folder.path() / "archive");
    const double began = cpu_s();
    auto archive = Archive::open(folder.path() / "archive");
    auto import = archive->begin_import();
    if (!import) std::abort();
    (void)survey_card(*file, [&](const SectorHeader& h, const auto& b) { import->add(h, b); });
    if (!import->commit()) std::abort();
    import_s = std::min(import_s, cpu_s() - began);
  }
  print("survey and import into an empty archive", import_s, samples);
  print("boots of the archive, index included", best_s([&] {
          const auto archive = Archive::open(folder.path() / "archive");
          sink += VanHistory::open(*archive)->size();
        }),
        samples);
  const auto archive = Archive::open(folder.path() / "archive");
  const auto vans = VanHistory::open(*archive);
  if (!vans || vans->size() != 1) std::abort();
  std::uint64_t rows = 0;
  std::uint64_t episodes = 0;
  const double pass_s = best_s([&] {
    rows = episodes = 0;
    const auto walked = (*vans)[0].for_each_episode([&](const Episode& episode) {
      rows += episode.pack.time_ms.size();
      ++episodes;
      return true;
    });
    if (!walked) std::abort();
  });
  print("one pass over the episodes", pass_s, samples);
  std::printf("  %llu episodes, %llu pack rows (%llu)\n", static_cast<unsigned long long>(episodes),
              static_cast<unsigned long long>(rows), static_cast<unsigned long long>(sink % 10));
}

}  // namespace
}  // namespace packmile

int main(int count, char** arguments) {
  char* end = nullptr;
  const std::uint64_t samples = count > 1 ? std::strtoull(arguments[1], &end, 10) : 10'000'000;
  if (end && *end != '\0') return packmile::run_card(arguments[1]);
  packmile::run("2 Hz", samples, 500, true);
  packmile::run("5 Hz", samples, 200, true);
  packmile::run("5 Hz, without the bytes that stand still", samples, 200, false);
  return 0;
}
