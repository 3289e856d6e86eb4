#include "unit/host/card/card_maker.hpp"

#include <stdlib.h>

#include <algorithm>
#include <fstream>
#include <stdexcept>

#include "packmile.pb.h"

namespace packmile::test {
namespace {

constexpr Tick kDeadlineMs = 10'000;

std::vector<std::uint8_t> bytes_of(const Record& record) {
  const std::string text = record.SerializeAsString();
  if (text.size() > kSectorPayloadBytes) throw std::length_error("record too long for a sector");
  return {text.begin(), text.end()};
}

}  // namespace

CardMaker::CardMaker(std::uint32_t log_id, std::uint32_t ring_sectors)
    : bytes_((kHeadSectors + ring_sectors) * kSectorBytes),
      log_id_(log_id),
      ring_sectors_(ring_sectors) {}

std::size_t CardMaker::offset_of(std::uint32_t sequence) const {
  return (kHeadSectors + sequence % ring_sectors_) * kSectorBytes;
}

void CardMaker::fill_sector(std::size_t address, std::uint8_t value) {
  std::fill_n(bytes_.begin() + static_cast<std::ptrdiff_t>(address * kSectorBytes), kSectorBytes,
              value);
}

void CardMaker::put(SectorKind kind, std::span<const std::uint8_t> payload, std::size_t address,
                    std::uint32_t sequence, std::uint32_t boot_id) {
  const auto sector = std::span(bytes_).subspan(address * kSectorBytes).first<kSectorBytes>();
  std::copy(payload.begin(), payload.end(), sector.begin() + kSectorHeaderBytes);
  SectorHeader header;
  header.kind = kind;
  header.payload_bytes = static_cast<std::uint16_t>(payload.size());
  header.log_id = log_id_;
  header.boot_id = boot_id;
  header.sequence = sequence;
  header.ring_sectors = ring_sectors_;
  header.van_tag = kind == SectorKind::settings ? 0 : van_tag_;
  seal_sector(sector, header);
}

void CardMaker::settings(const std::string& van, std::uint64_t prepared_unix_ms,
                         const std::vector<OwnersDefinition>& owners_signals) {
  Record record;
  record.mutable_settings()->set_van(van);
  for (std::size_t i = 0; i < owners_signals.size(); ++i)
    put_definition(owners_signals[i], i, *record.mutable_settings()->add_owners_signal());
  record.mutable_settings()->set_prepared_unix_ms(prepared_unix_ms);
  put(SectorKind::settings, bytes_of(record), 0, 0, 0);
}

void CardMaker::boot(std::uint32_t boot_id) {
  close();
  boot_id_ = boot_id;
  sequence_ = (sequence_ + kBootAlignSectors - 1) / kBootAlignSectors * kBootAlignSectors;
}

void CardMaker::sector(SectorKind kind, std::span<const std::uint8_t> payload) {
  put(kind, payload, kHeadSectors + sequence_ % ring_sectors_, sequence_, boot_id_);
  ++sequence_;
}

void CardMaker::session(Tick tick, const SessionText& text) {
  close();
  Record record;
  Session& session = *record.mutable_session();
  session.set_tick_ms(tick);
  session.set_logger_version("test");
  session.set_vin(text.vin);
  session.set_supply_min_mv(text.supply_min_mv);
  session.mutable_counters()->set_requests_while_parked(text.requests_while_parked);
  session.mutable_counters()->set_dropped_samples(text.dropped_samples);
  if (text.clock) {
    auto& clock = *session.mutable_clock();
    clock.set_source(static_cast<ClockSource>(text.clock->source));
    clock.set_unix_ms(text.clock->unix_ms);
    clock.set_tick_ms(text.clock->tick_ms);
    clock.set_resolution_ms(text.clock->resolution_ms);
  }
  Ecu& ecu = *session.add_ecu();
  ecu.set_response_id(text.ecu);
  ecu.set_calibration_id(text.calibration_id);
  ecu.set_supported_pids(text.supported_pids);
  ecu.set_supported_dids(text.supported_dids);
  if (!text.polled_pids.empty()) {
    Poll& poll = *session.add_poll();
    poll.set_ecu(text.ecu);
    poll.set_pid(std::string(text.polled_pids.begin(), text.polled_pids.end()));
    poll.set_by_did(text.by_did);
  }
  for (std::size_t i = 0; i < text.owners_signals.size(); ++i)
    put_definition(text.owners_signals[i], i, *session.add_owners_signal());
  sector(SectorKind::session, bytes_of(record));
}

void CardMaker::response(Tick tick, const BlockKey& key,
                         std::initializer_list<std::uint32_t> words) {
  const std::span<const std::uint32_t> row(words.begin(), words.size());
  if (!encoder_.empty() && tick - encoder_.first_tick() >= kDeadlineMs) close();
  if (!encoder_.add(tick, key, row)) {
    close();
    if (!encoder_.add(tick, key, row)) throw std::logic_error("an empty sector takes no response");
  }
  samples_ += row.size();
}

void CardMaker::close() {
  if (encoder_.empty()) return;
  std::array<std::uint8_t, kSectorPayloadBytes> payload;
  const std::size_t size = encoder_.finish(payload);
  payload_bytes_ += size;
  sector(SectorKind::data, std::span(payload).first(size));
}

TempFolder::TempFolder() {
  std::string name = (std::filesystem::temp_directory_path() / "packmile-XXXXXX").string();
  if (!::mkdtemp(name.data())) throw std::runtime_error("no temporary folder");
  path_ = name;
}

TempFolder::~TempFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::filesystem::path TempFolder::write(const std::string& name,
                                        std::span<const std::uint8_t> bytes) const {
  const auto path = path_ / name;
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out.write(reinterpret_cast<const char*>(bytes.data()),
            static_cast<std::streamsize>(bytes.size()));
  if (!out) throw std::runtime_error("cannot write " + path.string());
  return path;
}

BlockKey pack_key(std::uint32_t period_ms, std::uint32_t ecu) {
  BlockKey key;
  key.ecu = ecu;
  key.period_ms = period_ms;
  key.signals = 5;
  key.signal = {signal::pack_support, signal::pack_state, signal::pack_v, signal::pack_a,
                signal::speed_kmh};
  return key;
}

BlockKey key_of(SignalId signal, std::uint32_t period_ms, std::uint32_t ecu) {
  BlockKey key;
  key.ecu = ecu;
  key.period_ms = period_ms;
  key.signals = 1;
  key.signal = {signal};
  return key;
}

BlockKey soc_key(std::uint32_t period_ms, std::uint32_t ecu) {
  BlockKey key;
  key.ecu = ecu;
  key.period_ms = period_ms;
  key.signals = 2;
  key.signal = {signal::soc_pct, signal::module_v};
  return key;
}

}  // namespace packmile::test
