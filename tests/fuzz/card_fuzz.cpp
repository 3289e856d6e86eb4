// A whole card: census and samples of a file in memory, against a plain walk of
// the same bytes.
//
// Input  a script: each step writes a sector (sealed, so that the fuzzer gets
//        behind the CRC), copies one, writes raw bytes into one, flips a bit, or
//        cuts the card off.
// Holds  every good sector is told once for each copy; samples are exactly those
//        that the plain decoder finds in good samples sectors of the card's life.
#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <tuple>
#include <vector>

#include "card/card_file.hpp"
#include "card/card_survey.hpp"
#include "card/sample_walk.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/memory_file.hpp"
#include "fuzz/plain_record.hpp"
#include "fuzz/targets.hpp"

namespace packmile::fuzz {
namespace {

constexpr std::size_t kMostSteps = 160;

class CardScript {
 public:
  explicit CardScript(Input input) : source_(input) {
    ring_ = 32u * (1u + source_.u8() % 2u);
    // Sectors before the log, as in an image of a whole card.
    begins_at_ = source_.u8() % 4u;
    bytes_.resize((begins_at_ + kHeadSectors + ring_) * kSectorBytes);
  }

  std::vector<std::uint8_t> run() {
    for (std::size_t step = 0; step < kMostSteps && !source_.empty(); ++step) one_step();
    if (cut_off_) bytes_.resize(std::min<std::size_t>(bytes_.size(), *cut_off_));
    return std::move(bytes_);
  }

 private:
  std::span<std::uint8_t, kSectorBytes> sector(std::size_t address) {
    const std::size_t sectors = bytes_.size() / kSectorBytes;
    return std::span(bytes_).subspan(address % sectors * kSectorBytes).first<kSectorBytes>();
  }

  void one_step() {
    const std::uint8_t what = source_.u8();
    switch (what % 8) {
      case 0:
      case 1:
      case 2:
        seal(what, SectorKind::data);
        break;
      case 3:
        seal(what, SectorKind::session);
        break;
      case 4:
        seal(what, SectorKind::settings);
        break;
      case 5: {
        const auto from = sector(source_.u8());
        std::ranges::copy(std::vector<std::uint8_t>(from.begin(), from.end()),
                          sector(source_.u8()).begin());
        break;
      }
      case 6: {
        const auto to = sector(source_.u8());
        const std::size_t at = source_.u16() % kSectorBytes;
        const auto raw = source_.bytes(std::min<std::size_t>(source_.u8(), kSectorBytes - at));
        std::ranges::copy(raw, to.subspan(at).begin());
        break;
      }
      default: {
        if (what >= 0xF0) {
          cut_off_ = source_.u16();
          break;
        }
        const std::size_t bit = source_.u16() % (8 * kSectorBytes);
        sector(source_.u8())[bit / 8] ^= static_cast<std::uint8_t>(1u << bit % 8);
        break;
      }
    }
  }

  // Mostly where and what a logger would write next; sometimes anything.
  void seal(std::uint8_t what, SectorKind kind) {
    SectorHeader header;
    header.kind = kind;
    header.log_id = 0x2026'0105u + (what >> 7);
    header.ring_sectors = ring_;
    if ((what & 0x08) != 0) boot_id_ += 1u + source_.u8();
    if ((what & 0x10) != 0) next_ += source_.u16();
    if ((what & 0x60) == 0x60) {
      next_ = source_.u32();
      header.ring_sectors = source_.u32() / 32 * 32;
      header.van_tag = source_.u32();
      if (header.ring_sectors == 0) header.ring_sectors = ring_;
    }
    std::size_t address = begins_at_;
    if (kind != SectorKind::settings) {
      header.boot_id = boot_id_;
      header.sequence = next_++;
      address += kHeadSectors + header.sequence % header.ring_sectors;
    }
    const auto to = sector(address);
    const auto payload =
        source_.bytes(std::min<std::size_t>(source_.u8() * 2u, kSectorPayloadBytes));
    header.payload_bytes = static_cast<std::uint16_t>(payload.size());
    std::ranges::copy(payload, to.subspan(kSectorHeaderBytes).begin());
    seal_sector(to, header);
  }

  ByteSource source_;
  std::vector<std::uint8_t> bytes_;
  std::uint32_t ring_ = 0;
  std::size_t begins_at_ = 0;
  std::uint32_t boot_id_ = 7;
  std::uint32_t next_ = 0;
  std::optional<std::size_t> cut_off_;
};

struct PlainSector {
  SectorHeader header;
  std::span<const std::uint8_t> payload;
};

using Sample = std::tuple<std::uint32_t, std::uint64_t, std::uint32_t, std::uint32_t,
                          std::uint32_t>;  // boot, tick, ECU, signal, word

// Good sectors of the card, copies once.
std::vector<PlainSector> plain_sectors(std::span<const std::uint8_t> card,
                                       std::size_t& with_copies) {
  std::vector<PlainSector> out;
  std::set<std::vector<std::uint8_t>> seen;
  with_copies = 0;
  for (std::size_t at = 0; at + kSectorBytes <= card.size(); at += kSectorBytes) {
    const auto sector = card.subspan(at).first<kSectorBytes>();
    SectorHeader header;
    if (read_sector(sector, header) != SectorVerdict::good) continue;
    ++with_copies;
    if (seen.emplace(sector.begin(), sector.end()).second)
      out.push_back({header, sector_payload(sector, header)});
  }
  return out;
}

void check_samples(const CardFile& card, const CardSurvey& survey,
                   const std::vector<PlainSector>& sectors) {
  std::map<Sample, std::size_t> expected;
  std::size_t count = 0;
  for (const PlainSector& sector : sectors) {
    if (sector.header.log_id != *survey.log_id || sector.header.kind != SectorKind::data) continue;
    const auto record = read_plain_record(sector.payload);
    if (!record) continue;
    for (const PlainBlock& block : record->blocks)
      for (std::size_t k = 0; k < block.signals.size(); ++k)
        for (std::size_t row = 0; row < block.tick_ms.size(); ++row, ++count)
          ++expected[{sector.header.boot_id, block.tick_ms[row], block.ecu, block.signals[k],
                      block.words[k][row]}];
  }
  const auto walked = for_each_sample(card, survey, {}, [&](const SampleRow& row) {
    const auto at = expected.find({row.boot_id, row.tick_ms, row.ecu, row.signal, row.raw});
    must(at != expected.end() && at->second != 0, "no sample that is not on the card");
    --at->second;
    --count;
    return true;
  });
  must(walked.has_value(), "a file that does not change can be walked");
  must(count == 0, "no sample of a good sector is lost");
}

}  // namespace

void try_card(Input input) {
  const std::vector<std::uint8_t> bytes = CardScript(input).run();
  const MemoryFile file(bytes);
  const auto card = CardFile::open(file.path());
  must(card.has_value() == !bytes.empty(), "only an empty file cannot be opened");
  if (!card) return;
  std::size_t with_copies = 0;
  const std::vector<PlainSector> sectors = plain_sectors(bytes, with_copies);

  std::size_t told = 0;
  const CardSurvey imported = survey_card(
      *card, [&](const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector) {
        ++told;
        SectorHeader again;
        must(read_sector(sector, again) == SectorVerdict::good && again == header,
             "what is told is good");
      });
  must(told == with_copies, "every good sector is told");
  const CardSurvey survey = survey_card(*card);
  must(survey.log_id == imported.log_id && survey.verdict == imported.verdict,
       "check and import judge alike");
  must(survey.log_id.has_value() == !sectors.empty(), "a good sector has a log");
  must(survey.sectors == bytes.size() / kSectorBytes, "every whole sector is looked at");
  must(survey.sectors_good + survey.sectors_older_log == sectors.size(),
       "good sectors are counted, copies once");
  must(survey.sectors_copied == with_copies - sectors.size(), "copies are counted");
  must(survey.boots.size() == survey.boot_clocks.size(), "a clock for each boot");
  const std::uint64_t bad = survey.sectors_damaged + survey.sectors_foreign + survey.sectors_newer;
  must(bad + with_copies <= survey.sectors, "no sector is counted twice");
  if (survey.verdict != CardVerdict::sound) must(!survey.message.empty(), "trouble has words");
  if (survey.log_id) check_samples(*card, survey, sectors);
  // Slow, as it may look the card through again: one input in eight, and another
  // sector with each.
  if (input.size() % 8 != 0) return;
  const auto one = read_log_sector(*card, input.size() / 8 % 128);
  if (one) must(one->payload.size() == one->header.payload_bytes, "a sector has its payload");
}

}  // namespace packmile::fuzz
