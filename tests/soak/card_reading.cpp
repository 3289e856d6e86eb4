#include "soak/card_reading.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <optional>

#include "sector/sector.hpp"
#include "unit/firmware/core/card_decode.hpp"

namespace packmile::soak {
namespace {

// A boot begins on the next multiple of 32; each failed write leaves a blank.
constexpr unsigned kBlanksAtTheEnd = 4096;

}  // namespace

CardBoot CardReading::read_boot() {
  CardBoot boot;
  const int file = ::open(path_.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) {
    boot.trouble = path_ + " cannot be opened";
    return boot;
  }
  std::optional<std::uint32_t> boot_id;
  std::uint64_t address = next_address_;
  std::array<std::uint8_t, kSectorBytes> bytes{};
  for (unsigned blanks = 0; blanks < kBlanksAtTheEnd; ++address) {
    if (::pread(file, bytes.data(), bytes.size(), static_cast<off_t>(address * kSectorBytes)) !=
        static_cast<ssize_t>(bytes.size()))
      break;
    SectorHeader header;
    const SectorVerdict verdict = read_sector(bytes, header);
    if (verdict == SectorVerdict::blank) {
      ++blanks;
      continue;
    }
    blanks = 0;
    next_address_ = address + 1;
    const auto fail = [&](const char* what) {
      if (boot.trouble.empty()) boot.trouble = fmt::format("sector {}: {}", address, what);
    };
    if (verdict != SectorVerdict::good) {
      fail("not good");
      continue;
    }
    if (!boot_id) boot_id = header.boot_id;
    if (*boot_id != header.boot_id) fail("of another boot");
    if (kHeadSectors + header.sequence % header.ring_sectors != address) fail("not in its place");
    const test::DecodedRecord record =
        test::decode_record(std::span(bytes).subspan(kSectorHeaderBytes, header.payload_bytes));
    if (!record.parsed) {
      fail("not one that libprotobuf reads and would write");
      continue;
    }
    ++boot.sectors;
    boot.dropped_samples += record.dropped_samples;
    for (const test::DecodedSample& one : record.samples)
      boot.samples.push_back({.tick = one.tick_ms,
                              .ecu = one.ecu,
                              .raw = one.raw,
                              .signal = static_cast<std::uint16_t>(one.signal)});
    if (!record.has_session) continue;
    boot.clean_stop = boot.clean_stop || record.session.clean_stop;
    if (!record.session.has_counters) continue;
    const test::DecodedSession& s = record.session;
    boot.has_counters = true;
    boot.requests = s.requests;
    boot.timeouts = s.timeouts;
    boot.isotp_dropped = s.isotp_dropped;
    boot.lines_discarded = s.lines_discarded;
    boot.pending_responses = s.pending_responses;
    boot.foreign_tester_events = s.foreign_tester_events;
    boot.card_write_failures = s.card_write_failures;
    boot.counted_dropped = s.dropped_samples;
  }
  ::close(file);
  return boot;
}

}  // namespace packmile::soak
