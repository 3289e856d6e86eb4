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

// Tag, length and bytes of one length-delimited field.
std::size_t field_bytes(std::uint32_t field, std::size_t content) {
  return wire::varint_bytes(wire::tag(field, wire::kBytes)) + wire::varint_bytes(content) + content;
}

// A first time of 0 and a first word of 0 are written: a packed field with one
// zero is not an absent one.
constexpr std::size_t kMarkBytes = 2;
constexpr std::size_t kMaxRowBytes = kMarkBytes + 5 * (1 + kMaxBlockSignals);

}  // namespace

std::size_t RecordEncoder::key_bytes(const BlockKey& key) {
  std::size_t n = 1 + wire::varint_bytes(key.ecu);
  std::size_t signals = 0;
  for (std::size_t k = 0; k < key.signals; ++k) signals += wire::varint_bytes(key.signal[k]);
  n += field_bytes(wire::block::signal, signals);
  if (key.period_ms != 0) n += 1 + wire::varint_bytes(key.period_ms);
  return n;
}

std::size_t RecordEncoder::block_bytes(const BlockState& b) {
  std::size_t n = b.key_bytes;
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
  std::size_t n = blocks_bytes_ + (base_ == 0 ? 0 : 1 + wire::varint_bytes(base_));
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
    after.key_bytes = static_cast<std::uint16_t>(key_bytes(key));
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
  row[0] = static_cast<std::uint8_t>(index);
  row[1] = changed;

  const std::size_t before = after.bytes;
  after.bytes = static_cast<std::uint16_t>(field_bytes(wire::record::block, block_bytes(after)));
  const std::size_t grown = after.bytes - before;
  const std::size_t base_bytes = empty() && base != 0 ? 1 + wire::varint_bytes(base) : 0;
  if (encoded_bytes() + base_bytes + grown > kSectorPayloadBytes) return false;

  for (std::size_t i = 0; i < n; ++i) pool_[pool_used_ + i] = row[i];
  pool_used_ += n;
  block_[index] = after;
  blocks_bytes_ += grown;
  if (first) ++blocks_;
  base_ = base;
  samples_ += key.signals;
  return true;
}

// Puts the bytes of every row where place_columns() made room for them.
void RecordEncoder::copy_rows(std::uint8_t* out) {
  const auto copy_varint = [this, out](std::size_t from, std::uint16_t& to) {
    do out[to++] = pool_[from];
    while (pool_[from++] >= 0x80);
    return from;
  };
  std::size_t at = 0;
  while (at < pool_used_) {
    BlockState& b = block_[pool_[at]];
    const std::uint8_t changed = pool_[at + 1];
    at = copy_varint(at + kMarkBytes, b.time_bytes);
    for (std::size_t k = 0; k < b.key.signals; ++k) {
      Column& c = b.column[k];
      if (b.runs_mask >> k & 1) {
        if (changed >> k & 1) {
          // The last run lasts to the end of the block: its length is not written.
          if (c.run_rows != 0)
            c.run_length_bytes = static_cast<std::uint16_t>(
                c.run_length_bytes + put_varint(out + c.run_length_bytes, c.run_rows));
          c.run_rows = 0;
        }
        ++c.run_rows;
        if (!(changed >> k & 1)) continue;
      }
      at = copy_varint(at, c.value_bytes);
    }
  }
}

// A length-delimited field whose content comes later: from now on `bytes` says
// where its next byte goes.
void RecordEncoder::place_column(wire::Writer& writer, std::uint32_t field, std::uint16_t& bytes) {
  writer.varint(wire::tag(field, wire::kBytes));
  writer.varint(bytes);
  const auto place = static_cast<std::uint16_t>(writer.size());
  writer.skip(bytes);
  bytes = place;
}

std::size_t RecordEncoder::finish(std::span<std::uint8_t, kSectorPayloadBytes> out) {
  wire::Writer writer(out);
  writer.uint_field(wire::record::base_ms, base_);
  for (std::size_t i = 0; i < blocks_; ++i) {
    BlockState& b = block_[i];
    writer.varint(wire::tag(wire::record::block, wire::kBytes));
    writer.varint(block_bytes(b));
    writer.uint_field(wire::block::ecu, b.key.ecu);
    std::size_t signals = 0;
    for (std::size_t k = 0; k < b.key.signals; ++k) signals += wire::varint_bytes(b.key.signal[k]);
    writer.varint(wire::tag(wire::block::signal, wire::kBytes));
    writer.varint(signals);
    for (std::size_t k = 0; k < b.key.signals; ++k) writer.varint(b.key.signal[k]);
    writer.uint_field(wire::block::period_ms, b.key.period_ms);
    place_column(writer, wire::block::time, b.time_bytes);
    // In order of field numbers, as protobuf's own writers do.
    for (const bool runs : {false, true}) {
      for (std::uint32_t k = 0; k < b.key.signals; ++k) {
        if (static_cast<bool>(b.runs_mask >> k & 1) != runs) continue;
        const std::uint32_t first = runs ? wire::block::first_run : wire::block::first_delta;
        place_column(writer, first + k, b.column[k].value_bytes);
      }
    }
    for (std::uint32_t k = 0; k < b.key.signals; ++k) {
      Column& c = b.column[k];
      c.run_rows = 0;
      if (c.run_length_bytes != 0)
        place_column(writer, wire::block::first_run_length + k, c.run_length_bytes);
    }
  }
  copy_rows(out.data());
  writer.uint_field(wire::record::dropped_samples, dropped_samples_);
  const std::size_t size = writer.size();
  clear();
  return size;
}

void RecordEncoder::clear() {
  pool_used_ = 0;
  blocks_ = 0;
  blocks_bytes_ = 0;
  base_ = 0;
  samples_ = 0;
  dropped_samples_ = 0;
}

}  // namespace packmile
