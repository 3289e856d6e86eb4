#include "fuzz/plain_record.hpp"

#include <array>
#include <set>

#include "card/record_decoder.hpp"
#include "catalogue/catalogue.hpp"
#include "fuzz/fuzz_input.hpp"
#include "packmile.pb.h"

namespace packmile::fuzz {
namespace {

using Bytes = std::span<const std::uint8_t>;

constexpr std::size_t kMostBlocks = 8;
constexpr std::size_t kMostSignals = 6;
constexpr std::uint64_t kMostTick = std::uint64_t{1} << 53;
constexpr std::int64_t kMostStep = 0x7FFFFFFF;
constexpr std::uint32_t kVarint = 0;
constexpr std::uint32_t kFixed64 = 1;
constexpr std::uint32_t kLengthDelimited = 2;
constexpr std::uint32_t kFixed32 = 5;
constexpr std::uint32_t kMost32Bits = 0xFFFFFFFFu;

// Takes a varint off the front; none: cut off, or longer than `most_bytes`.
std::optional<std::uint64_t> take_varint(Bytes& in, std::size_t most_bytes) {
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < most_bytes && i < in.size(); ++i) {
    value += std::uint64_t{in[i] % 128u} << (7 * i);
    if (in[i] < 128) {
      in = in.subspan(i + 1);
      return value;
    }
  }
  return std::nullopt;
}

// Of 32 bits, in at most five bytes.
std::optional<std::uint32_t> take_varint32(Bytes& in) {
  const auto value = take_varint(in, 5);
  if (!value || *value > kMost32Bits) return std::nullopt;
  return static_cast<std::uint32_t>(*value);
}

struct WireField {
  std::uint32_t number = 0;
  std::uint32_t type = 0;
  Bytes content;  // of a varint its own bytes
};

std::optional<WireField> take_field(Bytes& in) {
  const auto key = take_varint32(in);
  if (!key || *key / 8 == 0) return std::nullopt;
  WireField field{*key / 8, *key % 8, in};
  std::size_t bytes = 0;
  if (field.type == kVarint) {
    Bytes after = in;
    if (!take_varint(after, 10)) return std::nullopt;
    bytes = in.size() - after.size();
  } else if (field.type == kLengthDelimited) {
    const auto length = take_varint32(in);
    if (!length) return std::nullopt;
    field.content = in;
    bytes = *length;
  } else if (field.type == kFixed32) {
    bytes = 4;
  } else if (field.type == kFixed64) {
    bytes = 8;
  } else {
    return std::nullopt;
  }
  if (bytes > in.size()) return std::nullopt;
  field.content = field.content.first(bytes);
  in = in.subspan(bytes);
  return field;
}

bool is_varint32(const WireField& field) {
  Bytes content = field.content;
  return field.type == kVarint && take_varint32(content).has_value();
}

bool is_packed32(const WireField& field) {
  if (field.type != kLengthDelimited) return false;
  Bytes content = field.content;
  while (!content.empty())
    if (!take_varint32(content)) return false;
  return true;
}

// Numbers of the fields of one block; none: not in the one encoding.
std::optional<std::set<std::uint32_t>> block_fields(Bytes block) {
  std::set<std::uint32_t> seen;
  while (!block.empty()) {
    const auto field = take_field(block);
    if (!field) return std::nullopt;
    if (field->number > 22) continue;
    const bool number = field->number == 1 || field->number == 3;
    if (number ? !is_varint32(*field) : !is_packed32(*field)) return std::nullopt;
    if (!seen.insert(field->number).second) return std::nullopt;
  }
  return seen;
}

struct RecordShape {
  std::vector<std::set<std::uint32_t>> blocks;
};

std::optional<RecordShape> shape_of(Bytes record) {
  RecordShape shape;
  std::set<std::uint32_t> seen;
  while (!record.empty()) {
    const auto field = take_field(record);
    if (!field) return std::nullopt;
    const bool once = field->number == 1 || field->number == 5;
    if (once && !seen.insert(field->number).second) return std::nullopt;
    if (field->number == 1 && field->type != kVarint) return std::nullopt;
    if (field->number == 2) {
      if (field->type != kLengthDelimited) return std::nullopt;
      auto fields = block_fields(field->content);
      if (!fields) return std::nullopt;
      shape.blocks.push_back(std::move(*fields));
    }
    if (field->number == 3 || field->number == 4) return std::nullopt;
    if (field->number == 5 && !is_varint32(*field)) return std::nullopt;
  }
  if (shape.blocks.size() > kMostBlocks) return std::nullopt;
  return shape;
}

std::optional<std::vector<std::uint64_t>> ticks_of(std::uint64_t base, const Block& block) {
  if (block.time().empty() || block.time(0) < 0) return std::nullopt;
  if (base > kMostTick || block.period_ms() > kMostStep) return std::nullopt;
  std::vector<std::uint64_t> ticks{base + static_cast<std::uint64_t>(block.time(0))};
  std::int64_t step = block.period_ms();
  for (int i = 1; i < block.time_size(); ++i) {
    step += block.time(i);
    if (step < 0 || step > kMostStep) return std::nullopt;
    ticks.push_back(ticks.back() + static_cast<std::uint64_t>(step));
  }
  if (ticks.back() > kMostTick) return std::nullopt;
  return ticks;
}

std::uint32_t mask_of(std::uint32_t signal) {
  for (const SignalEntry& entry : signal_catalogue())
    if (entry.id == signal && entry.bytes < 4) return (1u << (8u * entry.bytes)) - 1;
  return kMost32Bits;
}

template <typename Numbers>
std::optional<std::vector<std::uint32_t>> column_of(const Numbers& deltas, std::uint32_t mask,
                                                    std::size_t rows) {
  std::vector<std::uint32_t> words;
  std::int64_t word = 0;
  for (const std::int32_t delta : deltas) {
    word += delta;
    words.push_back(static_cast<std::uint32_t>(word) & mask);
  }
  if (words.size() != rows) return std::nullopt;
  return words;
}

template <typename Numbers, typename Lengths>
std::optional<std::vector<std::uint32_t>> column_of_runs(const Numbers& changes,
                                                         const Lengths& lengths, std::uint32_t mask,
                                                         std::size_t rows) {
  const auto words = column_of(changes, mask, static_cast<std::size_t>(lengths.size()) + 1);
  if (!words) return std::nullopt;
  std::vector<std::uint32_t> out;
  for (int i = 0; i < lengths.size(); ++i) {
    // The last run has a row too.
    if (lengths[i] == 0 || lengths[i] >= rows - out.size()) return std::nullopt;
    out.insert(out.end(), lengths[i], (*words)[static_cast<std::size_t>(i)]);
  }
  out.resize(rows, words->back());
  return out;
}

std::optional<PlainBlock> read_block(std::uint64_t base, const Block& block,
                                     const std::set<std::uint32_t>& fields) {
  PlainBlock out;
  out.ecu = block.ecu();
  out.period_ms = block.period_ms();
  for (const int id : block.signal()) out.signals.push_back(static_cast<std::uint32_t>(id));
  if (out.ecu == 0 || out.signals.empty() || out.signals.size() > kMostSignals) return std::nullopt;
  for (const std::uint32_t id : out.signals)
    if (id == 0 || id > 0xFFFF) return std::nullopt;
  auto ticks = ticks_of(base, block);
  if (!ticks) return std::nullopt;
  out.tick_ms = std::move(*ticks);
  const std::array deltas{&block.c0(), &block.c1(), &block.c2(),
                          &block.c3(), &block.c4(), &block.c5()};
  const std::array runs{&block.r0(), &block.r1(), &block.r2(),
                        &block.r3(), &block.r4(), &block.r5()};
  const std::array lengths{&block.n0(), &block.n1(), &block.n2(),
                           &block.n3(), &block.n4(), &block.n5()};
  for (std::uint32_t k = 0; k < kMostSignals; ++k) {
    const bool delta = fields.contains(5 + k);
    const bool run = fields.contains(11 + k);
    const bool length = fields.contains(17 + k);
    if (k >= out.signals.size()) {
      if (delta || run || length) return std::nullopt;
      continue;
    }
    if (delta == run || (length && !run)) return std::nullopt;
    const std::uint32_t mask = mask_of(out.signals[k]);
    auto words = delta ? column_of(*deltas[k], mask, out.tick_ms.size())
                       : column_of_runs(*runs[k], *lengths[k], mask, out.tick_ms.size());
    if (!words) return std::nullopt;
    out.words.push_back(std::move(*words));
  }
  return out;
}

}  // namespace

std::optional<PlainRecord> read_plain_record(std::span<const std::uint8_t> payload) {
  if (payload.size() > 480) return std::nullopt;
  const auto shape = shape_of(payload);
  if (!shape) return std::nullopt;
  Record record;
  must(record.ParseFromArray(payload.data(), static_cast<int>(payload.size())),
       "libprotobuf reads what is in the one encoding");
  must(static_cast<std::size_t>(record.block_size()) == shape->blocks.size(),
       "libprotobuf sees the same blocks");
  if (record.base_ms() > kMostTick) return std::nullopt;
  PlainRecord out;
  out.dropped_samples = record.dropped_samples();
  for (int i = 0; i < record.block_size(); ++i) {
    auto block =
        read_block(record.base_ms(), record.block(i), shape->blocks[static_cast<std::size_t>(i)]);
    if (!block) return std::nullopt;
    out.blocks.push_back(std::move(*block));
  }
  return out;
}

void compare_decoders(std::span<const std::uint8_t> payload) {
  static RecordDecoder decoder;
  const auto plain = read_plain_record(payload);
  // A census looks at no column: it takes at least what is taken whole.
  const bool sets_taken = decoder.decode_sets(payload);
  std::vector<BlockView> sets(decoder.blocks().begin(), decoder.blocks().end());
  const bool taken = decoder.decode(payload);
  must(taken == plain.has_value(), "both decoders take the same records");
  if (!taken) {
    must(decoder.blocks().empty() && decoder.dropped_samples() == 0,
         "nothing of a refused record is left");
    return;
  }
  must(sets_taken && sets.size() == decoder.blocks().size(), "a census sees the same blocks");
  must(decoder.dropped_samples() == plain->dropped_samples, "both count the same dropped samples");
  must(decoder.blocks().size() == plain->blocks.size(), "both see the same blocks");
  std::size_t rows = 0;
  for (std::size_t i = 0; i < plain->blocks.size(); ++i) {
    const BlockView& view = decoder.blocks()[i];
    PlainBlock block;
    block.ecu = view.ecu;
    block.period_ms = view.period_ms;
    block.signals.assign(view.signal.begin(),
                         view.signal.begin() + static_cast<std::ptrdiff_t>(view.signals));
    block.tick_ms.assign(view.tick_ms, view.tick_ms + view.rows);
    for (std::size_t k = 0; k < view.signals; ++k)
      block.words.emplace_back(view.raw[k], view.raw[k] + view.rows);
    must(block == plain->blocks[i], "both read the same rows");
    must(view.first_tick == view.tick_ms[0], "the first tick is that of the first row");
    must(sets[i].ecu == view.ecu && sets[i].signals == view.signals && sets[i].rows == view.rows &&
             sets[i].first_tick == view.first_tick,
         "a census sees the same sets");
    rows += view.rows;
  }
  must(rows <= 480, "no more rows than bytes");
}

}  // namespace packmile::fuzz
