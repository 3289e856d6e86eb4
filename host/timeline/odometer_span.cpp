#include "timeline/odometer_span.hpp"

#include <algorithm>

#include "card/record_decoder.hpp"

namespace packmile {
namespace {

// An odometer is asked for every minute or so: more sectors than that takes.
constexpr std::uint32_t kSectorsAtAnEnd = 64;

struct Found {
  std::optional<OdometerSpan> span;
  Tick first_tick = 0;
  Tick last_tick = 0;
};

Result<Found> look(const SectorSource& source, const Boot& boot, SequenceRange range,
                   bool stop_at_first) {
  Found found;
  RecordDecoder decoder;
  auto walked = source.for_each_sector(
      boot.log_id, range,
      [&](const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector) {
        if (header.kind != SectorKind::data || header.boot_id != boot.boot_id) return true;
        if (!decoder.decode(sector_payload(sector, header))) return true;
        for (const BlockView& block : decoder.blocks()) {
          const std::size_t column = block.column_of(signal::odometer_km);
          if (column == block.signals || block.ecu != boot.series_ecu.odometer) continue;
          const std::size_t last = block.rows - 1;
          if (!found.span || block.tick_ms[0] < found.first_tick) {
            if (!found.span) found.span.emplace();
            found.first_tick = block.tick_ms[0];
            found.span->first = block.raw[column][0];
          }
          if (block.tick_ms[last] >= found.last_tick) {
            found.last_tick = block.tick_ms[last];
            found.span->last = block.raw[column][last];
          }
        }
        return !(stop_at_first && found.span);
      });
  if (!walked) return walked.error();
  return found;
}

}  // namespace

Result<std::optional<OdometerSpan>> odometer_of(const SectorSource& source, const Boot& boot) {
  if (!boot.has_samples || boot.series_ecu.odometer == 0) return std::optional<OdometerSpan>{};
  const SequenceRange whole{boot.first_sequence, boot.last_sequence};
  if (boot.last_sequence - boot.first_sequence >= 2 * kSectorsAtAnEnd) {
    auto head = look(source, boot, {whole.first, whole.first + kSectorsAtAnEnd}, true);
    if (!head) return head.error();
    auto tail = look(source, boot, {whole.last - kSectorsAtAnEnd, whole.last}, false);
    if (!tail) return tail.error();
    if (head->span && tail->span)
      return std::optional{OdometerSpan{head->span->first, tail->span->last}};
  }
  auto all = look(source, boot, whole, false);
  if (!all) return all.error();
  return all->span;
}

}  // namespace packmile
