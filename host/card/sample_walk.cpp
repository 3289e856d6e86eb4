#include "card/sample_walk.hpp"

#include <algorithm>

#include "card/crc.hpp"

namespace packmile {
namespace {

std::optional<double> catalogue_value(const SignalEntry* entry, std::uint32_t raw) {
  if (!entry || entry->id == signal::pack_a) return std::nullopt;
  return raw * entry->scale + entry->offset;
}

class Walk {
 public:
  Walk(const CardSurvey& survey, std::span<const SignalId> only,
       const std::function<bool(const SampleRow&)>& visit)
      : survey_(survey), only_(only), visit_(visit) {
    for (std::size_t i = 0; i < survey.boots.size(); ++i)
      clocks_.push_back({survey.boots[i].boot_id, i});
    std::sort(clocks_.begin(), clocks_.end());
  }

  bool take(const SectorHeader& header, std::span<const std::uint8_t> payload) {
    if (header.kind != SectorKind::data || !decoder_.decode(payload)) return true;
    row_.boot_id = header.boot_id;
    const auto clock =
        std::lower_bound(clocks_.begin(), clocks_.end(), header.boot_id,
                         [](const auto& c, std::uint32_t id) { return c.first < id; });
    clock_ = clock != clocks_.end() && clock->first == header.boot_id
                 ? &survey_.boot_clocks[clock->second]
                 : nullptr;
    owners_ = clock_ ? std::span(survey_.boots[clock->second].owners_signals)
                     : std::span<const BootOwnersSignal>{};
    // Blocks are each in order of time: always the one whose next row is oldest.
    const auto blocks = decoder_.blocks();
    std::array<std::size_t, kMaxBlocks> next{};
    for (;;) {
      std::size_t oldest = blocks.size();
      for (std::size_t b = 0; b < blocks.size(); ++b) {
        if (next[b] == blocks[b].rows) continue;
        if (oldest == blocks.size() ||
            blocks[b].tick_ms[next[b]] < blocks[oldest].tick_ms[next[oldest]])
          oldest = b;
      }
      if (oldest == blocks.size()) return true;
      if (!tell(blocks[oldest], next[oldest]++)) return false;
    }
  }

 private:
  bool tell(const BlockView& block, std::size_t row) {
    row_.tick_ms = block.tick_ms[row];
    row_.time.reset();
    if (clock_ && clock_->known())
      row_.time = UtcTime{
          std::chrono::milliseconds(static_cast<std::int64_t>(row_.tick_ms) + clock_->offset_ms)};
    row_.ecu = block.ecu;
    for (std::size_t k = 0; k < block.signals; ++k) {
      row_.signal = block.signal[k];
      if (!only_.empty() && std::find(only_.begin(), only_.end(), row_.signal) == only_.end())
        continue;
      row_.raw = block.raw[k][row];
      if (row_.signal >= kFirstOwnersSignal)
        tell_owners(block.ecu);
      else
        tell_standard();
      if (!visit_(row_)) return false;
    }
    return true;
  }

  void tell_standard() {
    const SignalEntry* entry = find_signal(row_.signal);
    row_.name = entry ? entry->name : std::string_view{};
    row_.unit = entry ? entry->unit : std::string_view{};
    row_.value = catalogue_value(entry, row_.raw);
  }

  // What another ECU than the defined one answered is not the defined signal.
  void tell_owners(std::uint32_t ecu) {
    row_.name = row_.unit = {};
    row_.value.reset();
    for (const BootOwnersSignal& signal : owners_) {
      if (signal.id != row_.signal || response_id_of(signal.definition) != ecu) continue;
      row_.name = signal.definition.name;
      row_.unit = signal.definition.unit;
      row_.value = value_of(signal.definition, row_.raw);
    }
  }

  const CardSurvey& survey_;
  std::span<const SignalId> only_;
  const std::function<bool(const SampleRow&)>& visit_;
  std::vector<std::pair<std::uint32_t, std::size_t>> clocks_;  // boot id, index
  RecordDecoder decoder_;
  const BootClock* clock_ = nullptr;
  std::span<const BootOwnersSignal> owners_;
  SampleRow row_;
};

}  // namespace

Result<Done> for_each_sample(const CardFile& card, const CardSurvey& survey,
                             std::span<const SignalId> only,
                             const std::function<bool(const SampleRow&)>& visit) {
  if (!survey.log_id) return Done{};
  Walk walk(survey, only, visit);
  return CardSectors(card, survey)
      .for_each_sector(*survey.log_id, [&](const SectorHeader& header, const auto& sector) {
        return walk.take(header, sector_payload(sector, header));
      });
}

Result<LogSector> read_log_sector(const CardFile& card, std::uint64_t address) {
  const auto where = card.path().string();
  // A log alone begins with its settings; anything else is searched.
  SectorBytes sector{};
  SectorHeader header;
  std::int64_t begins_at = 0;
  const bool at_front = card.read(0, sector) == sector.size() &&
                        judge_sector(sector, header) == SectorVerdict::good &&
                        header.kind == SectorKind::settings;
  if (!at_front) {
    const CardSurvey survey = survey_card(card);
    if (!survey.log_id) return Error{survey.message, where, survey.hint};
    begins_at = survey.log_begins_at;
  }
  const auto limit = static_cast<std::int64_t>(card.sectors()) - begins_at;
  const std::string name = "sector " + std::to_string(address);
  if (limit <= 0 || address >= static_cast<std::uint64_t>(limit) ||
      begins_at + static_cast<std::int64_t>(address) < 0)
    return Error{"no " + name + ": the log has " +
                     std::to_string(std::max<std::int64_t>(0, limit)) + " sectors",
                 where, ""};
  const auto place = static_cast<std::uint64_t>(begins_at + static_cast<std::int64_t>(address));
  if (card.read(place, sector) != sector.size())
    return Error{name + " cannot be read", where, "is the card still in the reader?"};
  switch (judge_sector(sector, header)) {
    case SectorVerdict::good: {
      const auto payload = sector_payload(sector, header);
      return LogSector{header, {payload.begin(), payload.end()}};
    }
    case SectorVerdict::blank:
      return Error{name + " is blank", where, "the ring of samples begins at sector 32"};
    case SectorVerdict::damaged:
      return Error{name + " is damaged: its checksum does not hold", where, ""};
    case SectorVerdict::foreign:
      return Error{name + " is not a logger's", where, ""};
    case SectorVerdict::newer:
      return Error{name + " is of a newer format", where, "use a newer version of this program"};
  }
  return Error{name + " cannot be judged", where, ""};
}

}  // namespace packmile
