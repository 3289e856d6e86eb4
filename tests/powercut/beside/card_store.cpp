// Our card, and the same records as a stream without sectors.
#include <google/protobuf/io/coded_stream.h>

#include <cstring>
#include <stdexcept>

#include "card/card_survey.hpp"
#include "card/record_decoder.hpp"
#include "card/sample_walk.hpp"
#include "core/sector_log.hpp"
#include "powercut/beside/stores.hpp"
#include "unit/host/card/card_maker.hpp"

namespace packmile::beside {
namespace {

constexpr std::uint32_t kLogId = 0x5EA51DE5;
constexpr std::uint32_t kBootId = 7;

// What the logger's writer makes of the drive: sectors in order.
std::vector<std::uint8_t> write_card(std::span<const Response> drive) {
  // A sector at least each 10 s of the drive, and some room.
  const auto sectors = static_cast<std::uint32_t>(drive.back().tick_ms / 10'000 * 2 + 64);
  const std::uint32_t ring = sectors / kBootAlignSectors * kBootAlignSectors;
  test::CardMaker head(kLogId, ring);
  head.settings("heron", 0);
  std::vector<std::uint8_t> card = head.bytes();
  SectorLog log;
  log.start(kLogId, kBootId, ring, std::nullopt);
  const auto write = [&] {
    while (const auto request = log.take_write()) {
      std::memcpy(card.data() + std::size_t{request->address} * kSectorBytes, request->sector,
                  kSectorBytes);
      log.on_written(0, true);
    }
  };
  for (const Response& response : drive) {
    log.on_time(response.tick_ms);
    write();
    if (!log.add(response.tick_ms, response.key, response.row()))
      throw std::logic_error("the writer dropped a response");
    write();
  }
  log.close();
  write();
  if (log.next_sequence() > ring) throw std::logic_error("the ring is too small");
  return card;
}

void take_blocks(const RecordDecoder& decoder, std::vector<Sample>& samples) {
  for (const BlockView& block : decoder.blocks())
    for (std::size_t k = 0; k < block.signals; ++k)
      for (std::size_t row = 0; row < block.rows; ++row)
        samples.push_back({block.tick_ms[row], block.signal[k], block.raw[k][row]});
}

std::size_t written_end(std::span<const std::uint8_t> card) {
  std::size_t end = kHeadSectors;
  SectorHeader header;
  while ((end + 1) * kSectorBytes <= card.size() &&
         read_sector(card.subspan(end * kSectorBytes).first<kSectorBytes>(), header) ==
             SectorVerdict::good)
    ++end;
  return end * kSectorBytes;
}

class CardStore : public Store {
 public:
  explicit CardStore(std::span<const Response> drive)
      : card_(write_card(drive)), end_(written_end(card_)) {}
  std::string name() const override { return "our card"; }
  const std::vector<std::uint8_t>& file() const override { return card_; }
  std::size_t samples_begin() const override { return kHeadSectors * kSectorBytes; }
  std::size_t samples_end() const override { return end_; }

  Found read(std::span<const std::uint8_t> damaged) const override {
    const auto card = CardFile::open(folder_.write("card", damaged));
    if (!card) return {.says_so = true};
    const CardSurvey survey = survey_card(*card);
    Found found;
    found.says_so = survey.verdict != CardVerdict::sound || survey.sectors_missing != 0;
    const auto walked = for_each_sample(*card, survey, {}, [&](const SampleRow& row) {
      found.samples.push_back({row.tick_ms, row.signal, row.raw});
      return true;
    });
    if (!walked) found.says_so = true;
    return found;
  }

 private:
  std::vector<std::uint8_t> card_;
  std::size_t end_;
  test::TempFolder folder_;
};

class StreamStore : public Store {
 public:
  explicit StreamStore(std::span<const Response> drive) {
    const std::vector<std::uint8_t> card = write_card(drive);
    for (std::size_t at = kHeadSectors * kSectorBytes; at < written_end(card); at += kSectorBytes) {
      const auto sector = std::span(card).subspan(at).first<kSectorBytes>();
      SectorHeader header;
      if (read_sector(sector, header) != SectorVerdict::good) continue;
      const auto payload = sector_payload(sector, header);
      std::array<std::uint8_t, 10> length{};
      const std::uint8_t* end = google::protobuf::io::CodedOutputStream::WriteVarint32ToArray(
          static_cast<std::uint32_t>(payload.size()), length.data());
      stream_.insert(stream_.end(), static_cast<const std::uint8_t*>(length.data()), end);
      stream_.insert(stream_.end(), payload.begin(), payload.end());
    }
  }
  std::string name() const override { return "protobuf, length-delimited"; }
  const std::vector<std::uint8_t>& file() const override { return stream_; }

  // Generous: a message that does not parse is skipped by its length. A length
  // that reaches beyond the end is the end.
  Found read(std::span<const std::uint8_t> damaged) const override {
    Found found;
    google::protobuf::io::CodedInputStream in(damaged.data(), static_cast<int>(damaged.size()));
    RecordDecoder decoder;
    std::string message;
    while (static_cast<std::size_t>(in.CurrentPosition()) < damaged.size()) {
      std::uint32_t length = 0;
      if (!in.ReadVarint32(&length) || length > damaged.size() ||
          !in.ReadString(&message, static_cast<int>(length))) {
        found.says_so = true;
        break;
      }
      if (decoder.decode(
              std::span(reinterpret_cast<const std::uint8_t*>(message.data()), message.size())))
        take_blocks(decoder, found.samples);
      else
        found.says_so = true;
    }
    return found;
  }

 private:
  std::vector<std::uint8_t> stream_;
};

}  // namespace

std::unique_ptr<Store> card_store(std::span<const Response> drive) {
  return std::make_unique<CardStore>(drive);
}
std::unique_ptr<Store> stream_store(std::span<const Response> drive) {
  return std::make_unique<StreamStore>(drive);
}

std::size_t samples_of_sector(std::span<const std::uint8_t> card, std::size_t sector) {
  const auto bytes = card.subspan(sector * kSectorBytes).first<kSectorBytes>();
  SectorHeader header;
  RecordDecoder decoder;
  if (read_sector(bytes, header) != SectorVerdict::good ||
      !decoder.decode(sector_payload(bytes, header)))
    return 0;
  std::vector<Sample> samples;
  take_blocks(decoder, samples);
  return samples.size();
}

}  // namespace packmile::beside
