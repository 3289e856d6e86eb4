#include "powercut/small_boot.hpp"

#include <utility>

#include "card/crc.hpp"
#include "core/log_end.hpp"
#include "core/session_record.hpp"
#include "unit/firmware/core/card_decode.hpp"

namespace packmile::powercut {
namespace {

// As class Logger: then the sector counts as unreadable.
constexpr int kReadTries = 3;

BlockKey key_of(std::initializer_list<SignalId> signals, std::uint32_t period_ms) {
  BlockKey key;
  key.ecu = 0x7E8;
  key.period_ms = period_ms;
  for (const SignalId id : signals) key.signal[key.signals++] = id;
  return key;
}

}  // namespace

void prepare(LyingCard& card, std::uint32_t ring_sectors, std::uint32_t log_id) {
  test::SettingsFields fields;
  fields.van = "heron";
  const auto record = test::encode_settings(fields);
  const auto sector = card.sector(0);
  std::copy(record.begin(), record.end(), sector.begin() + kSectorHeaderBytes);
  seal_sector(sector, {.kind = SectorKind::settings,
                       .payload_bytes = static_cast<std::uint16_t>(record.size()),
                       .log_id = log_id,
                       .ring_sectors = ring_sectors});
}

SmallBoot::SmallBoot(LyingCard& card, std::uint32_t ring_sectors, std::uint32_t log_id,
                     std::uint32_t boot_id, std::uint64_t seed, Recorded& recorded, Tally& tally,
                     std::string name, Tick first_tick)
    : card_(card),
      ring_sectors_(ring_sectors),
      log_id_(log_id),
      boot_id_(boot_id),
      random_(seed),
      recorded_(recorded),
      tally_(tally),
      name_(std::move(name)),
      tick_(first_tick) {}

bool SmallBoot::find_end() {
  LogEndSearch search(ring_sectors_);
  std::optional<std::uint32_t> log_id = log_id_;
  Sector bytes;
  while (const auto wanted = search.wanted()) {
    LyingCard::Answer answer = LyingCard::Answer::failed;
    for (int i = 0; i < kReadTries && answer == LyingCard::Answer::failed; ++i)
      answer = card_.read(kHeadSectors + *wanted, bytes);
    if (answer == LyingCard::Answer::no_power) return false;
    search.on_sector(answer == LyingCard::Answer::done
                         ? judge_ring_sector(bytes, *wanted, ring_sectors_, log_id)
                         : RingSector{});
  }
  log_.start(log_id_, boot_id_, ring_sectors_, search.newest_sequence());
  if (log_.next_sequence() % kBootAlignSectors != 0)
    tally_.fail(tally_.not_continued, name_ + ": the boot does not begin on a page");
  return true;
}

// Nothing newer, and nothing of this lap, may stand where the next sector goes,
// unless the card itself hid it.
void SmallBoot::watch(std::uint32_t address, std::uint32_t sequence) {
  SectorHeader there;
  if (judge_sector(card_.sector(address), there) != SectorVerdict::good) return;
  if (there.log_id != log_id_ || card_.lied_about(address)) return;
  if (there.sequence >= sequence)
    tally_.fail(tally_.newer_overwritten, name_ + ": sequence " + std::to_string(there.sequence) +
                                              " overwritten by " + std::to_string(sequence));
}

bool SmallBoot::write_out() {
  while (const auto request = log_.take_write()) {
    const std::span<const std::uint8_t, kSectorBytes> bytes(request->sector, kSectorBytes);
    SectorHeader header;
    if (judge_sector(bytes, header) != SectorVerdict::good)
      tally_.fail(tally_.not_continued, name_ + ": a sector is sealed wrong");
    watch(request->address, header.sequence);
    const auto answer = card_.write(request->address, bytes);
    // A refused write never reached the card: its samples go to the next place.
    if (answer != LyingCard::Answer::failed) recorded_.add(request->address, bytes, sealed_);
    if (answer == LyingCard::Answer::no_power) return false;
    log_.on_written(tick_, answer == LyingCard::Answer::done);
    if (answer == LyingCard::Answer::done) ++written_;
    if (log_.card_trouble()) {  // a rest of a second, then on
      tick_ += kCardRestMs;
      log_.on_time(tick_);
    }
  }
  return true;
}

bool SmallBoot::add_response() {
  static const BlockKey pack = key_of(
      {signal::pack_support, signal::pack_state, signal::pack_v, signal::pack_a, signal::speed_kmh},
      200);
  static const BlockKey charge = key_of({signal::soc_pct, signal::module_v}, 5'000);
  const bool slow = draw(random_, 8) == 0;
  const BlockKey& key = slow ? charge : pack;
  tick_ += 195 + draw(random_, 10);
  std::array<std::uint32_t, kMaxBlockSignals> words{};
  std::vector<Sample> samples;
  for (std::size_t k = 0; k < key.signals; ++k) {
    const std::uint32_t noise = draw(random_, 1u << 16);
    const SignalId id = key.signal[k];
    const bool wide = id == signal::pack_v || id == signal::pack_a || id == signal::module_v;
    words[k] = wide ? noise : noise & 0xFF;
    samples.push_back({tick_, boot_id_, key.ecu, id, words[k]});
  }
  const std::uint32_t before = log_.next_sequence();
  if (!log_.add(tick_, key, std::span(words).first(key.signals))) return false;
  // Full: the sector was sealed without this response.
  if (log_.next_sequence() != before) sealed_ = std::exchange(open_, {});
  open_.insert(open_.end(), samples.begin(), samples.end());
  return true;
}

bool SmallBoot::write_sectors(std::uint32_t sectors) {
  for (std::uint32_t i = 0; i < sectors; ++i) {
    if (written_ == 0 || log_.session_due()) {
      SessionWriter session;
      session.start();
      const auto room = log_.session_space();
      SessionSource source;
      source.tick = tick_;
      source.van = "heron";
      sealed_.clear();
      log_.seal_session(session.write(
          source, std::span<std::uint8_t, kSectorPayloadBytes>(room.data(), kSectorPayloadBytes)));
      if (!write_out()) return false;
      continue;
    }
    const bool to_the_last_byte = ++filled_ % 7 == 0;
    const std::uint32_t before = log_.next_sequence();
    const std::uint32_t responses = 2 + draw(random_, 5);
    for (std::uint32_t r = 0; log_.next_sequence() == before; ++r) {
      if (!to_the_last_byte && r == responses) {
        log_.close();
        sealed_ = std::exchange(open_, {});
      } else if (!add_response()) {
        tally_.fail(tally_.not_continued, name_ + ": a response was dropped");
        return true;
      }
    }
    if (!write_out()) return false;
  }
  return true;
}

}  // namespace packmile::powercut
