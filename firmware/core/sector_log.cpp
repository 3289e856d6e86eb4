#include "core/sector_log.hpp"

namespace packmile {

void SectorLog::start(std::uint32_t log_id, std::uint32_t boot_id, std::uint32_t ring_sectors,
                      std::optional<std::uint32_t> newest_sequence) {
  if (ring_sectors == 0) return;
  log_id_ = log_id;
  boot_id_ = boot_id;
  ring_sectors_ = ring_sectors;
  // The ring is a multiple of 32 long, so a multiple in the count is one in the
  // ring too.
  const std::uint32_t next = newest_sequence ? *newest_sequence + 1 : 0;
  next_sequence_ = (next + kBootAlignSectors - 1) / kBootAlignSectors * kBootAlignSectors;
  started_ = true;
}

bool SectorLog::add(Tick tick, const BlockKey& key, std::span<const std::uint32_t> words) {
  if (encoder_.add(tick, key, words)) return true;
  if (!encoder_.empty()) {
    if (can_seal()) {
      seal_samples();
      if (encoder_.add(tick, key, words)) return true;
    } else {
      close_wanted_ = true;
    }
  }
  const auto samples = static_cast<std::uint32_t>(words.size());
  dropped_samples_ += samples;
  dropped_untold_ += samples;
  return false;
}

std::span<std::uint8_t> SectorLog::session_space() {
  if (!can_seal() || close_wanted_) return {};
  // A session that is due comes first all the same: nothing else keeps it from
  // being put off for ever by a slow card.
  if (nearly_full() && !session_due()) return {};
  return std::span(sector_).subspan<kSectorHeaderBytes, kSectorPayloadBytes>();
}

void SectorLog::seal_session(std::size_t payload_bytes) {
  if (!can_seal() || payload_bytes > kSectorPayloadBytes) return;
  seal(SectorKind::session, payload_bytes);
  since_session_ = 0;
}

void SectorLog::seal(SectorKind kind, std::size_t payload_bytes) {
  header_ = {.kind = kind,
             .payload_bytes = static_cast<std::uint16_t>(payload_bytes),
             .log_id = log_id_,
             .boot_id = boot_id_,
             .ring_sectors = ring_sectors_,
             .van_tag = van_tag_};
  seal_again();
}

void SectorLog::seal_again() {
  header_.sequence = next_sequence_++;
  ++since_session_;
  seal_sector(sector_, header_);
  buffer_ = Buffer::sealed;
}

void SectorLog::seal_samples() {
  const std::size_t bytes = encoder_.finish(std::span<std::uint8_t, kSectorPayloadBytes>(
      sector_.data() + kSectorHeaderBytes, kSectorPayloadBytes));
  // Told in the sector that begins now: its size has to count the figure.
  encoder_.set_dropped_samples(dropped_untold_);
  dropped_untold_ = 0;
  close_wanted_ = false;
  seal(SectorKind::data, bytes);
}

void SectorLog::on_time(Tick now) {
  if (buffer_ == Buffer::resting && now >= rest_until_) seal_again();
  if (!encoder_.empty() && now >= encoder_.first_tick() + deadline_ms_) close();
}

void SectorLog::close() {
  if (encoder_.empty()) return;
  if (can_seal()) {
    seal_samples();
  } else {
    close_wanted_ = true;
  }
}

std::optional<CardRequest> SectorLog::take_write() {
  if (buffer_ != Buffer::sealed) return std::nullopt;
  buffer_ = Buffer::writing;
  return CardRequest{.operation = CardOperation::write,
                     .address = kHeadSectors + header_.sequence % ring_sectors_,
                     .sector = sector_.data()};
}

void SectorLog::on_written(Tick now, bool ok) {
  if (buffer_ != Buffer::writing) return;
  if (ok) {
    failures_in_row_ = 0;
    buffer_ = Buffer::free;
    if (close_wanted_) close();
    return;
  }
  ++write_failures_;
  if (failures_in_row_ <= kWriteRetries) ++failures_in_row_;
  if (failures_in_row_ <= kWriteRetries) {
    seal_again();
  } else {
    buffer_ = Buffer::resting;
    rest_until_ = now + kCardRestMs;
  }
}

std::optional<Tick> SectorLog::deadline() const {
  std::optional<Tick> due;
  if (buffer_ == Buffer::resting) due = rest_until_;
  if (started_ && !encoder_.empty() && !close_wanted_) {
    const Tick age = encoder_.first_tick() + deadline_ms_;
    if (!due || age < *due) due = age;
  }
  return due;
}

}  // namespace packmile
