#include "columns/record_encoder.hpp"

#include <algorithm>
#include <array>
#include <random>
#include <vector>

#include "packmile.pb.h"

#include <doctest/doctest.h>

using namespace packmile;

namespace {

struct Row {
  BlockKey key;
  Tick tick;
  std::vector<std::uint32_t> words;
  bool operator==(const Row&) const = default;
};

BlockKey key_of(std::uint32_t ecu, std::uint32_t period_ms, std::vector<SignalId> signals) {
  BlockKey key{.ecu = ecu, .period_ms = period_ms};
  key.signals = static_cast<std::uint8_t>(signals.size());
  for (std::size_t k = 0; k < signals.size(); ++k) key.signal[k] = signals[k];
  return key;
}

const google::protobuf::RepeatedField<std::int32_t>& deltas(const Block& b, int k) {
  const std::array fields{&b.c0(), &b.c1(), &b.c2(), &b.c3(), &b.c4(), &b.c5()};
  return *fields[static_cast<std::size_t>(k)];
}
const google::protobuf::RepeatedField<std::int32_t>& runs(const Block& b, int k) {
  const std::array fields{&b.r0(), &b.r1(), &b.r2(), &b.r3(), &b.r4(), &b.r5()};
  return *fields[static_cast<std::size_t>(k)];
}
const google::protobuf::RepeatedField<std::uint32_t>& lengths(const Block& b, int k) {
  const std::array fields{&b.n0(), &b.n1(), &b.n2(), &b.n3(), &b.n4(), &b.n5()};
  return *fields[static_cast<std::size_t>(k)];
}

// A plain reader of FORMAT.md on top of libprotobuf, row by row.
std::vector<Row> read_back(const Record& record) {
  std::vector<Row> rows;
  for (const Block& block : record.block()) {
    BlockKey key{.ecu = block.ecu(), .period_ms = block.period_ms()};
    key.signals = static_cast<std::uint8_t>(block.signal_size());
    for (int k = 0; k < block.signal_size(); ++k)
      key.signal[static_cast<std::size_t>(k)] = static_cast<SignalId>(block.signal(k));
    std::vector<std::vector<std::uint32_t>> columns;
    for (int k = 0; k < block.signal_size(); ++k) {
      const std::uint32_t mask = word_mask_of(key.signal[static_cast<std::size_t>(k)]);
      std::vector<std::uint32_t> column;
      std::uint32_t word = 0;
      if (runs(block, k).empty()) {
        for (const std::int32_t delta : deltas(block, k))
          column.push_back(word = (word + static_cast<std::uint32_t>(delta)) & mask);
      } else {
        REQUIRE(lengths(block, k).size() == runs(block, k).size() - 1);
        for (int run = 0; run < runs(block, k).size(); ++run) {
          word = (word + static_cast<std::uint32_t>(runs(block, k)[run])) & mask;
          const std::size_t left = static_cast<std::size_t>(block.time_size()) - column.size();
          const std::size_t length = run < lengths(block, k).size() ? lengths(block, k)[run] : left;
          REQUIRE(length <= left);
          column.insert(column.end(), length, word);
        }
      }
      REQUIRE(column.size() == static_cast<std::size_t>(block.time_size()));
      columns.push_back(column);
    }
    Tick tick = record.base_ms();
    std::int64_t step = block.period_ms();
    for (int i = 0; i < block.time_size(); ++i) {
      if (i == 0) {
        tick += static_cast<Tick>(block.time(0));
      } else {
        step += block.time(i);
        tick += static_cast<Tick>(step);
      }
      std::vector<std::uint32_t> words;
      for (const auto& column : columns) words.push_back(column[static_cast<std::size_t>(i)]);
      rows.push_back({key, tick, words});
    }
  }
  return rows;
}

// The rows in the order of blocks, as read_back gives them.
std::vector<Row> by_block(const std::vector<Row>& rows) {
  std::vector<BlockKey> keys;
  for (const Row& row : rows)
    if (std::find(keys.begin(), keys.end(), row.key) == keys.end()) keys.push_back(row.key);
  std::vector<Row> sorted;
  for (const BlockKey& key : keys)
    for (const Row& row : rows)
      if (row.key == key) sorted.push_back(row);
  return sorted;
}

}  // namespace

TEST_CASE("record encoder: nothing in, nothing out") {
  RecordEncoder encoder;
  std::array<std::uint8_t, kSectorPayloadBytes> out{};
  CHECK(encoder.empty());
  CHECK(encoder.encoded_bytes() == 0);
  CHECK(encoder.finish(out) == 0);
}

TEST_CASE("record encoder: a word that wraps stays one byte") {
  RecordEncoder encoder;
  const BlockKey key = key_of(0x7E8, 200, {signal::pack_a});
  std::vector<Row> rows;
  Tick tick = 1000;
  for (const std::uint32_t word : {0x0002u, 0xFFFFu, 0x0001u, 0xFFFEu}) {
    rows.push_back({key, tick, {word}});
    REQUIRE(encoder.add(tick, key, rows.back().words));
    tick += 200;
  }
  std::array<std::uint8_t, kSectorPayloadBytes> out{};
  const std::size_t size = encoder.finish(out);
  Record record;
  REQUIRE(record.ParseFromArray(out.data(), static_cast<int>(size)));
  CHECK(record.block(0).c0(1) == -3);
  CHECK(record.block(0).c0(2) == 2);
  CHECK(read_back(record) == rows);
}

TEST_CASE("record encoder: a ninth set of signals is for the next sector") {
  RecordEncoder encoder;
  const std::array<std::uint32_t, 1> word{7};
  for (std::uint32_t ecu = 0x7E8; ecu < 0x7F0; ++ecu)
    REQUIRE(encoder.add(5, key_of(ecu, 200, {signal::speed_kmh}), word));
  const std::size_t before = encoder.encoded_bytes();
  CHECK_FALSE(encoder.add(6, key_of(0x7E8, 500, {signal::speed_kmh}), word));
  CHECK(encoder.encoded_bytes() == before);
  CHECK(encoder.add(6, key_of(0x7E8, 200, {signal::speed_kmh}), word));
}

TEST_CASE("record encoder: time running backwards, or no ECU, is refused") {
  RecordEncoder encoder;
  const std::array<std::uint32_t, 1> word{7};
  const BlockKey key = key_of(0x7E8, 200, {signal::speed_kmh});
  REQUIRE(encoder.add(500, key, word));
  CHECK_FALSE(encoder.add(499, key, word));
  CHECK_FALSE(encoder.add(600, key_of(0, 200, {signal::speed_kmh}), word));
  CHECK_FALSE(encoder.add(600, key_of(0x7E8, 200, {}), {}));
  CHECK(encoder.samples() == 1);
}

// No source: random responses, as many as fit, sector after sector. libprotobuf
// reads each record, its size is the one that was promised, and no word differs.
TEST_CASE("record encoder: random records are what libprotobuf reads, never over 480 bytes") {
  std::mt19937 random(42);
  const auto below = [&](std::uint32_t n) { return static_cast<std::uint32_t>(random() % n); };
  std::uint64_t responses = 0;
  for (int round = 0; round < 3000; ++round) {
    std::vector<BlockKey> keys;
    const std::uint32_t key_count = 1 + below(kMaxBlocks);
    while (keys.size() < key_count) {
      std::vector<SignalId> signals;
      const std::uint32_t n = 1 + below(kMaxBlockSignals);
      for (std::uint32_t k = 0; k < n; ++k)
        signals.push_back(below(20) == 0 ? static_cast<SignalId>(1000 + below(50))
                                         : static_cast<SignalId>(1 + below(25)));
      BlockKey key = key_of(below(3) == 0 ? 0x18DAF100 + below(256) : 0x7E8 + below(8),
                            below(4) * 100, signals);
      if (std::find(keys.begin(), keys.end(), key) == keys.end()) keys.push_back(key);
    }
    const std::uint32_t jump = 1u << below(31);
    RecordEncoder encoder;
    encoder.set_dropped_samples(below(2) * below(100000));
    std::vector<Row> rows;
    Tick tick = (static_cast<Tick>(random()) << (random() % 12)) * below(2);
    std::vector<std::vector<std::uint32_t>> last(keys.size(), std::vector<std::uint32_t>(6));
    for (;;) {
      const std::uint32_t which = below(static_cast<std::uint32_t>(keys.size()));
      const BlockKey& key = keys[which];
      std::vector<std::uint32_t> words;
      for (std::size_t k = 0; k < key.signals; ++k) {
        if (below(3) != 0) last[which][k] += below(jump) - jump / 2;
        last[which][k] &= word_mask_of(key.signal[k]);
        words.push_back(last[which][k]);
      }
      const std::size_t before = encoder.encoded_bytes();
      if (!encoder.add(tick, key, words)) {
        REQUIRE(encoder.encoded_bytes() == before);
        break;
      }
      rows.push_back({key, tick, words});
      tick += below(4) == 0 ? below(12000) : below(300);
    }
    responses += rows.size();
    const std::size_t promised = encoder.encoded_bytes();
    std::array<std::uint8_t, kSectorPayloadBytes> out{};
    const std::size_t size = encoder.finish(out);
    REQUIRE(size == promised);
    REQUIRE(size <= kSectorPayloadBytes);
    Record record;
    REQUIRE(record.ParseFromArray(out.data(), static_cast<int>(size)));
    REQUIRE(read_back(record) == by_block(rows));
    // Nothing but what proto3 itself would write.
    REQUIRE(record.SerializeAsString() ==
            std::string(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(size)));
  }
  MESSAGE(responses, " responses");
}
