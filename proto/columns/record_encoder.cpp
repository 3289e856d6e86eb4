#include "columns/record_encoder.hpp"

#include "catalogue/layout.hpp"

namespace packmile {

namespace {

// Smallest signed step from `from` to `to` modulo mask + 1.
std::int32_t wrapped_delta(std::uint32_t from, std::uint32_t to, std::uint32_t mask) {
  const std::uint32_t up = (to - from) & mask;
  const std::uint32_t half = mask / 2 + 1;
  if (up < half) return static_cast<std::int32_t>(up);
  return static_cast<std::int32_t>(up - mask - 1);
}

std::size_t put_varint(std::uint8_t* out, std::uint32_t value) {
  std::size_t n = 0;
  while (value >= 0x80) {
    out[n++] = static_cast<std::uint8_t>(value | 0x80);
    value >>= 7;
  }
  out[n++] = static_cast<std::uint8_t>(value);
  return n;
}

std::size_t skip_varint(const std::uint8_t* in) {
  std::size_t n = 0;
  while (in[n] >= 0x80) ++n;
  return n + 1;
}

// Tag, length and bytes of one length-delimited field.
std::size_t field_bytes(std::uint32_t field, std::size_t content) {
  return wire::varint_bytes(wire::tag(field, wire::kBytes)) + wire::varint_bytes(content) + content;
}

// A first time of 0 and a first word of 0 are written: a packed field with one
// zero is not an absent one.
constexpr std::size_t kMarkBytes = 2;
constexpr std::size_t kMaxRowBytes = kMarkBytes + 5 * (1 + kMaxBlockSignals);

}  // namespace

std::size_t RecordEncoder::block_bytes(const BlockState& b) const {
  std::size_t n = 1 + wire::varint_bytes(b.key.ecu);
  std::size_t signals = 0;
  for (std::size_t k = 0; k < b.key.signals; ++k) signals += wire::varint_bytes(b.key.signal[k]);
  n += field_bytes(wire::block::signal, signals);
  if (b.key.period_ms != 0) n += 1 + wire::varint_bytes(b.key.period_ms);
  n += field_bytes(wire::block::time, b.time_bytes);
  for (std::uint32_t k = 0; k < b.key.signals; ++k) {
    const Column& c = b.column[k];
    if (b.runs_mask >> k & 1) {
      n += field_bytes(wire::block::first_run + k, c.value_bytes);
      if (c.run_length_bytes != 0)
        n += field_bytes(wire::block::first_run_length + k, c.run_length_bytes);
    } else {
      n += field_bytes(wire::block::first_delta + k, c.value_bytes);
    }
  }
  return n;
}

std::size_t RecordEncoder::encoded_bytes() const {
  std::size_t n = base_ == 0 ? 0 : 1 + wire::varint_bytes(base_);
  for (std::size_t i = 0; i < blocks_; ++i)
    n += field_bytes(wire::record::block, block_bytes(block_[i]));
  if (dropped_samples_ != 0) n += 1 + wire::varint_bytes(dropped_samples_);
  return n;
}

bool RecordEncoder::add(Tick tick, const BlockKey& key, std::span<const std::uint32_t> words) {
  if (key.ecu == 0 || key.signals == 0 || key.signals > kMaxBlockSignals ||
      words.size() != key.signals)
    return false;
  if (pool_used_ + kMaxRowBytes > kPoolBytes) return false;
  std::size_t index = 0;
  while (index < blocks_ && block_[index].key != key) ++index;
  if (index == kMaxBlocks) return false;

  const Tick base = empty() ? tick : base_;
  BlockState after = index < blocks_ ? block_[index] : BlockState{};
  const bool first = index == blocks_;
  if (first) {
    after.key = key;
    after.last_step = static_cast<std::int32_t>(key.period_ms);
    for (std::size_t k = 0; k < key.signals; ++k) {
      const SignalLayout* layout = find_layout(key.signal[k]);
      if (layout && layout->runs) after.runs_mask |= static_cast<std::uint8_t>(1u << k);
    }
  }
  // A silence inside one sector is bounded by the sector's deadline, so a step
  // always fits 31 bits; a port that stops calling is caught here.
  if (tick < base || tick - base > 0x3FFFFFFF || (!first && tick < after.last_tick)) return false;

  std::array<std::uint8_t, kMaxRowBytes> row{};
  std::size_t n = kMarkBytes;
  std::uint8_t changed = 0;
  if (first) {
    const std::size_t bytes =
        put_varint(&row[n], wire::zigzag(static_cast<std::int32_t>(tick - base)));
    after.time_bytes = static_cast<std::uint16_t>(after.time_bytes + bytes);
    n += bytes;
  } else {
    const auto step = static_cast<std::int32_t>(tick - after.last_tick);
    const std::size_t bytes = put_varint(&row[n], wire::zigzag(step - after.last_step));
    after.time_bytes = static_cast<std::uint16_t>(after.time_bytes + bytes);
    n += bytes;
    after.last_step = step;
  }
  after.last_tick = tick;
  for (std::size_t k = 0; k < key.signals; ++k) {
    Column& c = after.column[k];
    const std::uint32_t mask = word_mask_of(key.signal[k]);
    const std::uint32_t word = words[k] & mask;
    const std::int32_t delta =
        first ? static_cast<std::int32_t>(word) : wrapped_delta(c.last, word, mask);
    if (after.runs_mask >> k & 1) {
      if (!first && delta == 0) {
        ++c.run_rows;
        continue;
      }
      changed |= static_cast<std::uint8_t>(1u << k);
      if (!first)
        c.run_length_bytes =
            static_cast<std::uint16_t>(c.run_length_bytes + wire::varint_bytes(c.run_rows));
      c.run_rows = 1;
    }
    const std::size_t bytes = put_varint(&row[n], wire::zigzag(delta));
    c.value_bytes = static_cast<std::uint16_t>(c.value_bytes + bytes);
    n += bytes;
    c.last = word;
  }
  ++after.rows;
  row[0] = static_cast<std::uint8_t>(index);
  row[1] = changed;

  const std::size_t before =
      first ? 0 : field_bytes(wire::record::block, block_bytes(block_[index]));
  const std::size_t base_bytes = empty() && base != 0 ? 1 + wire::varint_bytes(base) : 0;
  if (encoded_bytes() - before + base_bytes + field_bytes(wire::record::block, block_bytes(after)) >
      kSectorPayloadBytes)
    return false;

  for (std::size_t i = 0; i < n; ++i) pool_[pool_used_ + i] = row[i];
  pool_used_ += n;
  block_[index] = after;
  if (first) ++blocks_;
  base_ = base;
  samples_ += key.signals;
  return true;
}

// Calls visit(row number, changed mask, bytes of time, bytes of words) for each
// row of one block; the words are those that the row really holds.
template <typename Visit>
void RecordEncoder::visit_rows(std::size_t block_index, Visit visit) const {
  std::size_t at = 0;
  std::uint32_t row = 0;
  while (at < pool_used_) {
    const std::size_t index = pool_[at];
    const std::uint8_t changed = pool_[at + 1];
    const BlockState& b = block_[index];
    const std::size_t time_at = at + kMarkBytes;
    std::size_t end = time_at + skip_varint(&pool_[time_at]);
    const std::size_t words_at = end;
    for (std::size_t k = 0; k < b.key.signals; ++k)
      if (!(b.runs_mask >> k & 1) || (changed >> k & 1)) end += skip_varint(&pool_[end]);
    if (index == block_index) visit(row++, changed, time_at, words_at);
    at = end;
  }
}

void RecordEncoder::copy_time(std::size_t block_index, wire::Writer& out) const {
  visit_rows(block_index,
             [&](std::uint32_t, std::uint8_t, std::size_t time_at, std::size_t words_at) {
               out.raw(std::span(pool_).subspan(time_at, words_at - time_at));
             });
}

// The deltas of a delta column; of a run column the words where runs begin.
void RecordEncoder::copy_words(std::size_t block_index, std::size_t column,
                               wire::Writer& out) const {
  const BlockState& b = block_[block_index];
  const auto written = [&](std::uint8_t changed, std::size_t k) {
    return !(b.runs_mask >> k & 1) || (changed >> k & 1);
  };
  visit_rows(block_index, [&](std::uint32_t, std::uint8_t changed, std::size_t, std::size_t at) {
    if (!written(changed, column)) return;
    for (std::size_t k = 0; k < column; ++k)
      if (written(changed, k)) at += skip_varint(&pool_[at]);
    out.raw(std::span(pool_).subspan(at, skip_varint(&pool_[at])));
  });
}

// The lengths of all runs but the last, which lasts to the end of the block.
void RecordEncoder::copy_run_lengths(std::size_t block_index, std::size_t column,
                                     wire::Writer& out) const {
  std::uint32_t run_began = 0;
  visit_rows(block_index, [&](std::uint32_t row, std::uint8_t changed, std::size_t, std::size_t) {
    if (row == 0 || !(changed >> column & 1)) return;
    out.varint(row - run_began);
    run_began = row;
  });
}

std::size_t RecordEncoder::finish(std::span<std::uint8_t, kSectorPayloadBytes> out) {
  wire::Writer writer(out);
  writer.uint_field(wire::record::base_ms, base_);
  for (std::size_t i = 0; i < blocks_; ++i) {
    const BlockState& b = block_[i];
    writer.varint(wire::tag(wire::record::block, wire::kBytes));
    writer.varint(block_bytes(b));
    writer.uint_field(wire::block::ecu, b.key.ecu);
    std::size_t signals = 0;
    for (std::size_t k = 0; k < b.key.signals; ++k) signals += wire::varint_bytes(b.key.signal[k]);
    writer.varint(wire::tag(wire::block::signal, wire::kBytes));
    writer.varint(signals);
    for (std::size_t k = 0; k < b.key.signals; ++k) writer.varint(b.key.signal[k]);
    writer.uint_field(wire::block::period_ms, b.key.period_ms);
    writer.varint(wire::tag(wire::block::time, wire::kBytes));
    writer.varint(b.time_bytes);
    copy_time(i, writer);
    // In order of field numbers, as protobuf's own writers do.
    for (const bool runs : {false, true}) {
      for (std::uint32_t k = 0; k < b.key.signals; ++k) {
        if (static_cast<bool>(b.runs_mask >> k & 1) != runs) continue;
        const std::uint32_t first = runs ? wire::block::first_run : wire::block::first_delta;
        writer.varint(wire::tag(first + k, wire::kBytes));
        writer.varint(b.column[k].value_bytes);
        copy_words(i, k, writer);
      }
    }
    for (std::uint32_t k = 0; k < b.key.signals; ++k) {
      if (b.column[k].run_length_bytes == 0) continue;
      writer.varint(wire::tag(wire::block::first_run_length + k, wire::kBytes));
      writer.varint(b.column[k].run_length_bytes);
      copy_run_lengths(i, k, writer);
    }
  }
  writer.uint_field(wire::record::dropped_samples, dropped_samples_);
  const std::size_t size = writer.size();
  clear();
  return size;
}

void RecordEncoder::clear() {
  pool_used_ = 0;
  blocks_ = 0;
  base_ = 0;
  samples_ = 0;
  dropped_samples_ = 0;
}

}  // namespace packmile
