// The append-only writer: places, sequence numbers, failures, losses.
#include "core/sector_log.hpp"

#include <doctest/doctest.h>

#include <vector>

#include "card_decode.hpp"

using namespace packmile;
using packmile::test::decode_record;
using packmile::test::DecodedRecord;

namespace {

BlockKey speed_key() {
  BlockKey key;
  key.ecu = 0x7E8;
  key.period_ms = 200;
  key.signals = 1;
  key.signal[0] = signal::speed_kmh;
  return key;
}

bool add_speed(SectorLog& log, Tick tick, std::uint32_t kmh) {
  const std::array<std::uint32_t, 1> word{kmh};
  return log.add(tick, speed_key(), word);
}

// Words that no coding makes small: a sector is full after about 200 of them.
std::uint32_t noisy(std::uint32_t i) { return i * 2654435761u >> 24; }

struct Written {
  SectorHeader header;
  DecodedRecord record;
  std::uint32_t address = 0;
};

Written read_back(const CardRequest& request) {
  REQUIRE(request.operation == CardOperation::write);
  const std::span<const std::uint8_t, kSectorBytes> sector(request.sector, kSectorBytes);
  Written w;
  REQUIRE(read_sector(sector, w.header) == SectorVerdict::good);
  w.record = decode_record(sector_payload(sector, w.header));
  w.address = request.address;
  return w;
}

}  // namespace

TEST_CASE("sector log: a boot starts at the next multiple of 32") {
  for (const std::uint32_t newest : {0u, 1u, 30u, 31u, 32u, 62u, 63u, 64u, 1000u}) {
    SectorLog log;
    log.start(1, 2, 64, newest);
    CHECK(log.next_sequence() % kBootAlignSectors == 0);
    CHECK(log.next_sequence() > newest);
    CHECK(log.next_sequence() - newest <= kBootAlignSectors);
  }
  SectorLog empty;
  empty.start(1, 2, 64, std::nullopt);
  CHECK(empty.next_sequence() == 0);
  // Already there: nothing is skipped.
  SectorLog there;
  there.start(1, 2, 64, 31);
  CHECK(there.next_sequence() == 32);
}

TEST_CASE("sector log: the place is the sequence modulo the ring, and wraps") {
  SectorLog log;
  log.start(9, 8, 64, 127);
  for (std::uint32_t i = 0; i < 200; ++i) {
    REQUIRE(add_speed(log, i * 200, i));
    log.close();
    const auto request = log.take_write();
    REQUIRE(request);
    const Written w = read_back(*request);
    CHECK(w.header.sequence == 128 + i);
    CHECK(w.header.kind == SectorKind::data);
    CHECK(w.header.log_id == 9);
    CHECK(w.header.boot_id == 8);
    CHECK(w.address == kHeadSectors + (128 + i) % 64);
    REQUIRE(w.record.samples.size() == 1);
    CHECK(w.record.samples[0].raw == (i & 0xFF));
    log.on_written(0, true);
    CHECK(log.idle());
  }
}

TEST_CASE("sector log: a sector closes when full, and nothing is lost") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  std::vector<std::uint32_t> seen;
  for (std::uint32_t i = 0; i < 3000; ++i) {
    REQUIRE(add_speed(log, i, noisy(i)));
    if (const auto request = log.take_write()) {
      for (const auto& sample : read_back(*request).record.samples) seen.push_back(sample.raw);
      log.on_written(i, true);
    }
  }
  CHECK(seen.size() > 2500);
  for (std::uint32_t i = 0; i < seen.size(); ++i) REQUIRE(seen[i] == noisy(i));
  CHECK(log.dropped_samples() == 0);
}

TEST_CASE("sector log: a session does not take the buffer from a sector that is nearly full") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  std::uint32_t sessions = 0;
  std::uint32_t i = 0;
  bool written_before = false;
  // Somebody wants a session all the time; the card takes 40 answers over each sector.
  for (std::uint32_t busy_until = 0; i < 20'000; ++i) {
    const bool kept = add_speed(log, i, noisy(i));
    CAPTURE(i);
    REQUIRE(kept);
    if (written_before && i >= busy_until) {
      log.on_written(i, true);
      written_before = false;
    }
    if (!log.session_space().empty()) {
      log.seal_session(100);
      ++sessions;
    }
    if (log.take_write()) {
      written_before = true;
      busy_until = i + 40;
    }
  }
  CHECK(log.dropped_samples() == 0);
  CHECK(sessions > 100);
}

TEST_CASE("sector log: a session that is due comes before a data sector, full or not") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  std::uint32_t i = 0;
  while (!log.session_due()) {
    REQUIRE(add_speed(log, i, noisy(i)));
    ++i;
    if (log.take_write()) log.on_written(i, true);
  }
  while (log.session_due() && i < 100'000) {
    // Filled to the brim before anybody asks.
    for (int n = 0; n < 150; ++n, ++i) REQUIRE(add_speed(log, i, noisy(i)));
    REQUIRE_FALSE(log.session_space().empty());
    log.seal_session(100);
  }
  CHECK_FALSE(log.session_due());
}

TEST_CASE("sector log: a sector closes when its oldest sample is old enough") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  log.set_deadline_ms(10'000);
  CHECK_FALSE(log.deadline());
  REQUIRE(add_speed(log, 5'000, 1));
  REQUIRE(add_speed(log, 9'000, 1));
  REQUIRE(log.deadline());
  CHECK(*log.deadline() == 15'000);
  log.on_time(14'999);
  CHECK_FALSE(log.take_write());
  log.on_time(15'000);
  REQUIRE(log.take_write());
  // While that is written, an old sector waits for the buffer, not for the clock.
  REQUIRE(add_speed(log, 15'100, 1));
  log.on_time(25'100);
  CHECK_FALSE(log.deadline());
  log.on_written(25'200, true);
  CHECK(log.take_write());
}

TEST_CASE("sector log: before the start nothing is sealed, and nothing lost but what has no room") {
  SectorLog log;
  std::uint32_t kept = 0;
  for (std::uint32_t i = 0; i < 1000; ++i)
    if (add_speed(log, i, noisy(i))) ++kept;
  log.on_time(1'000'000);
  CHECK_FALSE(log.take_write());
  CHECK(kept > 100);
  CHECK(kept + log.dropped_samples() == 1000);
  log.start(1, 1, 64, std::nullopt);
  log.close();
  const auto request = log.take_write();
  REQUIRE(request);
  CHECK(read_back(*request).record.samples.size() == kept);
}

TEST_CASE("sector log: after a failed write the same content goes one place further") {
  for (int failures = 1; failures <= 3; ++failures) {
    SectorLog log;
    log.start(1, 1, 64, 61);  // 64: the failures cross the ring's end
    REQUIRE(add_speed(log, 100, 77));
    log.close();
    for (int i = 0; i < failures; ++i) {
      const auto request = log.take_write();
      REQUIRE(request);
      CHECK(read_back(*request).header.sequence == 64u + static_cast<std::uint32_t>(i));
      log.on_written(1000, false);
      CHECK_FALSE(log.card_trouble());
      CHECK_FALSE(log.deadline());
    }
    const auto request = log.take_write();
    REQUIRE(request);
    const Written w = read_back(*request);
    CHECK(w.header.sequence == 64u + static_cast<std::uint32_t>(failures));
    CHECK(w.address == kHeadSectors + w.header.sequence % 64);
    REQUIRE(w.record.samples.size() == 1);
    CHECK(w.record.samples[0].raw == 77);
    log.on_written(1000, true);
    CHECK(log.write_failures() == static_cast<std::uint32_t>(failures));
    CHECK(log.idle());
  }
}

TEST_CASE("sector log: a card that keeps failing is tried every second at a new place") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  REQUIRE(add_speed(log, 0, 5));
  log.close();
  for (int i = 0; i < 4; ++i) {
    REQUIRE(log.take_write());
    log.on_written(0, false);
  }
  CHECK(log.card_trouble());
  Tick now = 0;
  for (std::uint32_t again = 0; again < 10; ++again) {
    CHECK_FALSE(log.take_write());
    REQUIRE(log.deadline());
    CHECK(*log.deadline() == now + 1'000);
    log.on_time(now + 999);
    CHECK_FALSE(log.take_write());
    now += 1'000;
    log.on_time(now);
    const auto request = log.take_write();
    REQUIRE(request);
    CHECK(read_back(*request).header.sequence == 4 + again);
    log.on_written(now, again == 9);
  }
  CHECK_FALSE(log.card_trouble());
  CHECK(log.write_failures() == 13);
}

TEST_CASE("sector log: what has no room is dropped, counted and told in the next sector") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  std::uint32_t i = 0;
  std::uint32_t dropped = 0;
  for (; !log.take_write(); ++i) REQUIRE(add_speed(log, i, noisy(i)));
  // The card keeps its sector for long; the next one fills up and overflows.
  for (const std::uint32_t until = i + 800; i < until; ++i)
    if (!add_speed(log, i, noisy(i))) ++dropped;
  CHECK(dropped > 100);
  CHECK(log.dropped_samples() == dropped);
  log.on_written(i, true);
  const auto full = log.take_write();
  REQUIRE(full);
  CHECK(read_back(*full).record.dropped_samples == 0);  // that was before the loss
  log.on_written(i, true);
  REQUIRE(add_speed(log, i, 1));
  log.close();
  const auto after = log.take_write();
  REQUIRE(after);
  CHECK(read_back(*after).record.dropped_samples == dropped);
  log.on_written(i, true);
  REQUIRE(add_speed(log, i + 1, 1));
  log.close();
  const auto later = log.take_write();
  REQUIRE(later);
  CHECK(read_back(*later).record.dropped_samples == 0);  // told once
}

TEST_CASE("sector log: a response that no sector can hold is dropped, not retried for ever") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  const std::array<std::uint32_t, 1> word{1};
  CHECK_FALSE(log.add(0, BlockKey{}, word));
  CHECK(log.dropped_samples() == 1);
}

TEST_CASE("sector log: session records have room when the buffer is free, and come due") {
  SectorLog log;
  CHECK(log.session_space().empty());  // not started
  log.start(1, 1, 256, std::nullopt);
  for (std::uint32_t i = 0; i < 1000; ++i) {
    if (log.session_due()) {
      const auto room = log.session_space();
      REQUIRE(room.size() == kSectorPayloadBytes);
      room[0] = 0x1A;
      room[1] = 0x00;
      log.seal_session(2);
    } else {
      REQUIRE(add_speed(log, i, 1));
      log.close();
    }
    CHECK(log.session_space().empty());  // in use
    const auto request = log.take_write();
    REQUIRE(request);
    const Written w = read_back(*request);
    CHECK(w.header.kind == (w.record.has_session ? SectorKind::session : SectorKind::data));
    // FORMAT.md: at least every 128 sectors.
    CHECK((w.header.kind == SectorKind::session) == ((i + 1) % 128 == 0));
    log.on_written(i, true);
  }
}

TEST_CASE("sector log: an answer to no question changes nothing") {
  SectorLog log;
  log.start(1, 1, 64, std::nullopt);
  log.on_written(0, false);
  log.on_written(0, true);
  CHECK(log.write_failures() == 0);
  REQUIRE(add_speed(log, 0, 5));
  log.close();
  log.on_written(0, true);  // sealed, but not yet taken
  CHECK(log.take_write());
  CHECK_FALSE(log.take_write());  // once
}
