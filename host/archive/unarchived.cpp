#include "archive/unarchived.hpp"

#include <chrono>
#include <unordered_map>

#include "card/crc.hpp"
#include "wire.hpp"

namespace packmile {
namespace {

// A number of the outermost message, or of the session record in it.
std::optional<std::uint64_t> number_in(std::span<const std::uint8_t> message,
                                       std::uint32_t wanted) {
  wire::Reader reader(message);
  wire::Field field;
  while (reader.next(field))
    if (field.number == wanted && field.type == wire::kVarint) return field.value;
  return std::nullopt;
}

// When a sector begins: of its first sample, or of its session record.
std::uint64_t tick_of(std::span<const std::uint8_t> record) {
  if (const auto base = number_in(record, wire::record::base_ms)) return *base;
  wire::Reader reader(record);
  wire::Field field;
  while (reader.next(field))
    if (field.number == wire::record::session && field.type == wire::kBytes)
      return number_in(field.bytes, wire::session::tick_ms).value_or(0);
  return 0;
}

// The first and last missing sector of each boot say from when to when.
class Period {
 public:
  Period(const CardFile& card, const CardSurvey& survey, Unarchived& out)
      : card_(card), survey_(survey), out_(out) {
    for (std::size_t k = 0; k < survey.boots.size(); ++k)
      clocks_.try_emplace(survey.boots[k].boot_id, &survey.boot_clocks[k]);
  }

  void add(const SectorPlace& place) {
    if (last_ && last_->boot_id == place.boot_id && last_->log_and_kind == place.log_and_kind) {
      last_ = place;
      return;
    }
    finish();
    take(place);
    last_ = place;
  }
  void finish() {
    if (last_) take(*last_);
  }

 private:
  void take(const SectorPlace& place) {
    if (survey_.log_ids[place.log_and_kind >> 1] != survey_.log_id) return;
    const auto boot = clocks_.find(place.boot_id);
    if (boot == clocks_.end()) return;
    const BootClock& clock = *boot->second;
    SectorBytes sector{};
    SectorHeader header;
    if (!clock.known() || card_.read(place.address, sector) != sector.size() ||
        stored_crc(sector) != place.crc || !read_known_sector(sector, header))
      return;
    const UtcTime at{std::chrono::milliseconds(
        static_cast<std::int64_t>(tick_of(sector_payload(sector, header))) + clock.offset_ms)};
    if (!out_.first || at < *out_.first) out_.first = at;
    if (!out_.last || at > *out_.last) out_.last = at;
  }

  const CardFile& card_;
  const CardSurvey& survey_;
  Unarchived& out_;
  std::unordered_map<std::uint32_t, const BootClock*> clocks_;  // by boot id
  std::optional<SectorPlace> last_;
};

}  // namespace

Result<Unarchived> find_unarchived(const CardFile& card, const CardSurvey& survey,
                                   const Archive* archive, const LogExtent& log) {
  Unarchived out;
  Period period(card, survey, out);
  for (const SectorPlace& place : survey.places) {
    if ((place.log_and_kind & 1) != 0) continue;
    ++out.good;
    if (archive) {
      SectorHeader header;
      header.log_id = survey.log_ids[place.log_and_kind >> 1];
      header.boot_id = place.boot_id;
      header.sequence = place.sequence;
      const auto held = archive->holds(header, place.crc);
      if (!held) return held.error();
      if (*held) continue;
    }
    ++out.missing;
    if (log.sectors != 0 &&
        (place.address < log.first_sector || place.address - log.first_sector >= log.sectors))
      ++out.missing_elsewhere;
    period.add(place);
  }
  period.finish();
  return out;
}

}  // namespace packmile
