#include "card/record_decoder.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <optional>
#include <random>
#include <tuple>
#include <vector>

#include "packmile.pb.h"
#include "unit/rounds.hpp"

using namespace packmile;

namespace {

struct Row {
  std::uint32_t ecu;
  std::uint32_t period_ms;
  std::vector<SignalId> signals;
  Tick tick;
  std::vector<std::uint32_t> words;

  bool operator==(const Row&) const = default;
};

// By block, in order of time; rows of different blocks keep no order.
using Rows =
    std::map<std::tuple<std::uint32_t, std::uint32_t, std::vector<SignalId>>, std::vector<Row>>;

void add_row(Rows& rows, Row row) {
  rows[{row.ecu, row.period_ms, row.signals}].push_back(std::move(row));
}

Rows rows_of(const RecordDecoder& decoder) {
  Rows rows;
  for (const BlockView& block : decoder.blocks()) {
    for (std::size_t i = 0; i < block.rows; ++i) {
      Row row{block.ecu, block.period_ms, {}, block.tick_ms[i], {}};
      for (std::size_t k = 0; k < block.signals; ++k) {
        row.signals.push_back(block.signal[k]);
        row.words.push_back(block.raw[k][i]);
      }
      add_row(rows, std::move(row));
    }
  }
  return rows;
}

// FORMAT.md read word by word, on what libprotobuf parsed; nothing: refused.
std::optional<Rows> slow_rows(std::span<const std::uint8_t> payload) {
  Record record;
  if (!record.ParseFromArray(payload.data(), static_cast<int>(payload.size()))) return {};
  Rows rows;
  for (const Block& block : record.block()) {
    const google::protobuf::RepeatedField<std::int32_t>* deltas[] = {
        &block.c0(), &block.c1(), &block.c2(), &block.c3(), &block.c4(), &block.c5()};
    const google::protobuf::RepeatedField<std::int32_t>* runs[] = {
        &block.r0(), &block.r1(), &block.r2(), &block.r3(), &block.r4(), &block.r5()};
    const google::protobuf::RepeatedField<std::uint32_t>* lengths[] = {
        &block.n0(), &block.n1(), &block.n2(), &block.n3(), &block.n4(), &block.n5()};
    if (block.signal_size() < 1 || block.signal_size() > 6 || block.time_size() == 0) return {};
    std::vector<std::vector<std::uint32_t>> columns;
    for (int k = 0; k < block.signal_size(); ++k) {
      const SignalEntry* entry = find_signal(static_cast<SignalId>(block.signal(k)));
      const std::uint64_t modulus = std::uint64_t{1} << (8 * (entry ? entry->bytes : 4));
      std::vector<std::uint32_t> column;
      std::int64_t word = 0;
      const auto push = [&](std::int32_t change) {
        word += change;
        const auto m = static_cast<std::int64_t>(modulus);
        column.push_back(static_cast<std::uint32_t>(((word % m) + m) % m));
      };
      for (const std::int32_t change : *deltas[k]) push(change);
      for (int i = 0; i < runs[k]->size(); ++i) {
        push(runs[k]->Get(i));
        const bool last = i + 1 == runs[k]->size();
        const int rest = block.time_size() - static_cast<int>(column.size()) + 1;
        const std::uint32_t run = last ? static_cast<std::uint32_t>(std::max(rest, 0))
                                       : (i < lengths[k]->size() ? lengths[k]->Get(i) : 0);
        if (run == 0 || run > 480) return {};
        column.insert(column.end(), run - 1, column.back());
      }
      if (static_cast<int>(column.size()) != block.time_size()) return {};
      columns.push_back(std::move(column));
    }
    std::uint64_t tick = record.base_ms();
    std::int64_t step = block.period_ms();
    for (int i = 0; i < block.time_size(); ++i) {
      if (i == 0) {
        tick += static_cast<std::uint64_t>(static_cast<std::int64_t>(block.time(0)));
      } else {
        step += block.time(i);
        tick += static_cast<std::uint64_t>(step);
      }
      Row row{block.ecu(), block.period_ms(), {}, tick, {}};
      for (int k = 0; k < block.signal_size(); ++k) {
        row.signals.push_back(static_cast<SignalId>(block.signal(k)));
        row.words.push_back(columns[static_cast<std::size_t>(k)][static_cast<std::size_t>(i)]);
      }
      add_row(rows, std::move(row));
    }
  }
  return rows;
}

class Responses {
 public:
  explicit Responses(std::uint32_t seed) : random_(seed) { new_plan(); }

  // The next response; `tick` moves on.
  Row next(Tick& tick) {
    if (below(20'000) == 0) new_plan();
    Plan& plan = plans_[below(static_cast<std::uint32_t>(plans_.size()))];
    tick += below(10) == 0 ? below(3'000) : below(40);
    Row row{plan.ecu, plan.period_ms, plan.signals, tick, {}};
    for (std::size_t k = 0; k < plan.signals.size(); ++k) {
      std::uint32_t& word = plan.words[k];
      const std::uint32_t mask = word_mask_of(plan.signals[k]);
      switch (below(8)) {
        case 0:
          word = static_cast<std::uint32_t>(random_());
          break;
        case 1:
          word = below(2) == 0 ? 0 : mask;
          break;
        case 2:
        case 3:
          word += below(4'000) - 2'000;
          break;
        default:
          word += below(60) - 30;
          break;
      }
      const SignalEntry* entry = find_signal(plan.signals[k]);
      if (entry && entry->runs && below(5) != 0) word = plan.before[k];
      word &= mask;
      plan.before[k] = word;
      row.words.push_back(word);
    }
    return row;
  }

  std::uint32_t below(std::uint32_t limit) {
    return static_cast<std::uint32_t>(
        std::uint64_t{static_cast<std::uint32_t>(random_())} * limit >> 32);
  }

 private:
  struct Plan {
    std::uint32_t ecu;
    std::uint32_t period_ms;
    std::vector<SignalId> signals;
    std::vector<std::uint32_t> words;
    std::vector<std::uint32_t> before;
  };

  void new_plan() {
    plans_.clear();
    const std::uint32_t count = 1 + below(9);
    for (std::uint32_t i = 0; i < count; ++i) {
      Plan plan;
      plan.ecu = below(4) == 0 ? 0x18DAF100 + below(256) : 0x7E8 + below(8);
      plan.period_ms = below(3) == 0 ? 0 : 20 * below(500);
      const std::uint32_t signals = 1 + below(6);
      for (std::uint32_t k = 0; k < signals; ++k)
        plan.signals.push_back(
            static_cast<SignalId>(below(10) == 0 ? 1000 + below(20) : 1 + below(25)));
      plan.words.assign(signals, 0);
      plan.before.assign(signals, 0);
      plans_.push_back(std::move(plan));
    }
  }

  std::mt19937 random_;
  std::vector<Plan> plans_;
};

BlockKey key_of(const Row& row) {
  BlockKey key;
  key.ecu = row.ecu;
  key.period_ms = row.period_ms;
  key.signals = static_cast<std::uint8_t>(row.signals.size());
  std::copy(row.signals.begin(), row.signals.end(), key.signal.begin());
  return key;
}

struct Sample {
  std::vector<std::uint8_t> payload;
  Rows rows;
};

// Records as the logger makes them, each with what went in.
template <typename Visit>
void make_records(std::uint32_t seed, std::uint64_t responses, Visit visit) {
  Responses source(seed);
  RecordEncoder encoder;
  Rows rows;
  Tick tick = 5;
  const auto close = [&] {
    if (encoder.empty()) return;
    std::array<std::uint8_t, kSectorPayloadBytes> out;
    const std::size_t announced = encoder.encoded_bytes();
    const std::size_t size = encoder.finish(out);
    REQUIRE(size <= kSectorPayloadBytes);
    REQUIRE(size == announced);
    visit(std::span<const std::uint8_t>(out).first(size), rows);
    rows.clear();
  };
  for (std::uint64_t i = 0; i < responses; ++i) {
    const Row row = source.next(tick);
    if (source.below(50) == 0) close();
    if (!encoder.add(row.tick, key_of(row), row.words)) {
      close();
      REQUIRE(encoder.add(row.tick, key_of(row), row.words));
    }
    add_row(rows, row);
  }
  close();
}

std::vector<std::uint8_t> plain_bytes(const Record& record) {
  const std::string text = record.SerializeAsString();
  return {text.begin(), text.end()};
}

Block& plain_block(Record& record) {
  Block& block = *record.add_block();
  block.set_ecu(0x7E8);
  block.add_signal(SPEED_KMH);
  block.add_signal(SOC_PCT);
  block.set_period_ms(200);
  for (const int t : {0, 0, 1}) block.add_time(t);
  for (const int c : {50, 1, -2}) block.add_c0(c);
  block.add_r1(200);
  return block;
}

}  // namespace

TEST_CASE("decoder: what the encoder took comes out, in as many bytes as it said") {
  RecordDecoder decoder;
  std::uint64_t records = 0;
  const std::uint64_t responses = testing::rounds_of(2'000'000);
  make_records(1, responses, [&](std::span<const std::uint8_t> payload, const Rows& rows) {
    ++records;
    if (!decoder.decode(payload) || rows_of(decoder) != rows) {
      CAPTURE(records);
      FAIL("record differs");
    }
  });
  CHECK(records > responses / 200);
}

// Source: libprotobuf parses; the deltas are added as FORMAT.md says.
TEST_CASE("decoder: a plain decoder on libprotobuf gives the same words and times") {
  RecordDecoder decoder;
  make_records(2, testing::rounds_of(300'000),
               [&](std::span<const std::uint8_t> payload, const Rows& rows) {
                 const auto slow = slow_rows(payload);
                 REQUIRE(slow);
                 CHECK(*slow == rows);
                 REQUIRE(decoder.decode(payload));
                 CHECK(rows_of(decoder) == *slow);
               });
}

TEST_CASE("decoder: a census has the same sets, rows and first ticks") {
  RecordDecoder whole, census;
  make_records(3, testing::rounds_of(100'000),
               [&](std::span<const std::uint8_t> payload, const Rows&) {
                 REQUIRE(whole.decode(payload));
                 REQUIRE(census.decode_sets(payload));
                 REQUIRE(whole.blocks().size() == census.blocks().size());
                 for (std::size_t i = 0; i < whole.blocks().size(); ++i) {
                   const BlockView& a = whole.blocks()[i];
                   const BlockView& b = census.blocks()[i];
                   CHECK(a.ecu == b.ecu);
                   CHECK(a.signals == b.signals);
                   CHECK(a.signal == b.signal);
                   CHECK(a.rows == b.rows);
                   CHECK(a.tick_ms[0] == b.first_tick);
                   CHECK(b.tick_ms == nullptr);
                 }
               });
}

// Not every flip makes a record malformed: many make another record, which is
// why the CRC is judged first. What is taken must be what libprotobuf reads.
TEST_CASE("decoder: every single-bit flip is refused or read as libprotobuf reads it") {
  RecordDecoder decoder;
  std::uint64_t taken = 0;
  std::uint64_t refused = 0;
  std::uint64_t records = 0;
  const std::uint64_t wanted = testing::rounds_of(12) + 1;
  make_records(4, 3'000, [&](std::span<const std::uint8_t> payload, const Rows&) {
    if (++records > wanted) return;
    std::vector<std::uint8_t> bytes(payload.begin(), payload.end());
    for (std::size_t bit = 0; bit < bytes.size() * 8; ++bit) {
      bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1u << (bit % 8)));
      (void)decoder.decode_sets(bytes);
      if (decoder.decode(bytes)) {
        ++taken;
        const auto slow = slow_rows(bytes);
        REQUIRE(slow);
        REQUIRE(rows_of(decoder) == *slow);
      } else {
        ++refused;
        CHECK(decoder.blocks().empty());
      }
      bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (1u << (bit % 8)));
    }
  });
  CHECK(taken > 100);
  CHECK(refused > 100);
}

TEST_CASE("decoder: cut, spliced and random bytes are survived") {
  RecordDecoder decoder;
  std::mt19937 random(5);
  std::vector<std::vector<std::uint8_t>> records;
  make_records(5, 20'000, [&](std::span<const std::uint8_t> payload, const Rows&) {
    records.emplace_back(payload.begin(), payload.end());
  });
  const auto check = [&](std::span<const std::uint8_t> bytes) {
    (void)decoder.decode_sets(bytes);
    if (!decoder.decode(bytes)) return;
    const auto slow = slow_rows(bytes);
    REQUIRE(slow);
    REQUIRE(rows_of(decoder) == *slow);
    std::size_t rows = 0;
    for (const BlockView& block : decoder.blocks()) rows += block.rows;
    REQUIRE(rows <= kSectorPayloadBytes);
  };
  for (std::size_t length = 0; length <= records[0].size(); ++length)
    check(std::span<const std::uint8_t>(records[0]).first(length));
  const std::uint64_t rounds = testing::rounds_of(200'000);
  for (std::uint64_t i = 0; i < rounds; ++i) {
    std::vector<std::uint8_t> bytes;
    if (i % 2 == 0) {
      bytes.resize(random() % 481);
      for (auto& b : bytes) b = static_cast<std::uint8_t>(random());
    } else {
      bytes = records[random() % records.size()];
      const auto& other = records[random() % records.size()];
      const std::size_t at = random() % bytes.size();
      const std::size_t from = random() % other.size();
      for (std::size_t k = 0; k < 12 && at + k < bytes.size() && from + k < other.size(); ++k)
        bytes[at + k] = other[from + k];
    }
    check(bytes);
  }
  CHECK_FALSE(decoder.decode(std::vector<std::uint8_t>(481)));
}

// No source: FORMAT.md, "What a reader must survive", rule by rule.
TEST_CASE("decoder: records that break one rule are refused") {
  RecordDecoder decoder;
  Record good;
  plain_block(good);
  REQUIRE(decoder.decode(plain_bytes(good)));
  REQUIRE(decoder.blocks().size() == 1);
  const auto refused = [&](auto change) {
    Record record = good;
    change(*record.mutable_block(0));
    return !decoder.decode(plain_bytes(record));
  };
  CHECK_FALSE(refused([](Block&) {}));
  CHECK(refused([](Block& b) { b.set_ecu(0); }));
  CHECK(refused([](Block& b) { b.clear_signal(); }));
  CHECK(refused([](Block& b) { b.set_signal(0, SIGNAL_NONE); }));
  CHECK(refused([](Block& b) { b.add_signal(MODULE_V); }));  // no column
  CHECK(refused([](Block& b) { b.clear_time(); }));
  CHECK(refused([](Block& b) { b.add_time(0); }));  // columns too short
  CHECK(refused([](Block& b) { b.set_time(0, -1); }));
  CHECK(refused([](Block& b) { b.set_time(1, -201); }));  // runs back
  CHECK_FALSE(refused([](Block& b) { b.set_time(1, -200); }));
  CHECK(refused([](Block& b) { b.add_c0(0); }));
  CHECK(refused([](Block& b) { b.add_c1(0); }));  // both kinds
  CHECK(refused([](Block& b) { b.add_c2(0); }));  // no signal
  CHECK(refused([](Block& b) { b.add_n0(1); }));  // run length of a delta column
  CHECK(refused([](Block& b) { b.add_n1(1); }));  // one length, one run
  CHECK_FALSE(refused([](Block& b) { b.add_r1(1), b.add_n1(2); }));
  CHECK(refused([](Block& b) { b.add_r1(1), b.add_n1(3); }));  // nothing left
  CHECK(refused([](Block& b) { b.add_r1(1), b.add_n1(0); }));
  CHECK(refused([](Block& b) { b.add_r1(1), b.add_n1(0xFFFFFFFFu); }));
  CHECK(refused([](Block& b) { b.set_period_ms(0x80000000u); }));
  Record late = good;
  late.set_base_ms(kLargestTick);
  CHECK_FALSE(decoder.decode(plain_bytes(late)));
  Record many = good;
  while (many.block_size() < 9) *many.add_block() = good.block(0);
  CHECK_FALSE(decoder.decode(plain_bytes(many)));
  many.mutable_block()->RemoveLast();
  CHECK(decoder.decode(plain_bytes(many)));
  Record session = good;
  session.mutable_session()->set_tick_ms(1);
  CHECK_FALSE(decoder.decode(plain_bytes(session)));
}

TEST_CASE("decoder: unknown fields are skipped, an empty record has no blocks") {
  RecordDecoder decoder;
  Record record;
  plain_block(record)
      .GetReflection()
      ->MutableUnknownFields(record.mutable_block(0))
      ->AddVarint(60, 12'345);
  record.GetReflection()->MutableUnknownFields(&record)->AddLengthDelimited(9, "later");
  record.set_dropped_samples(7);
  REQUIRE(decoder.decode(plain_bytes(record)));
  CHECK(decoder.blocks().size() == 1);
  CHECK(decoder.dropped_samples() == 7);
  CHECK(decoder.decode({}));
  CHECK(decoder.blocks().empty());
  CHECK(decoder.dropped_samples() == 0);
}
