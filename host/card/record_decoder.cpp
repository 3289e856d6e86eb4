#include "card/record_decoder.hpp"

#include <algorithm>
#include <bit>
#include <cstring>

#include "wire.hpp"
#if defined(__SSE2__)
#include <emmintrin.h>
#endif

namespace packmile {
namespace {

constexpr std::uint64_t kContinuationBits = 0x8080808080808080u;
// Columns are expanded eight rows at a time and may write past their end, into
// the place of the next one.
constexpr std::size_t kStoreSlack = 8;
// Field numbers of a block are small enough for a bit mask.
constexpr std::uint32_t kBlockFields = wire::block::first_run_length + kMaxBlockSignals;
constexpr std::uint32_t kPackedFields = ((1u << kBlockFields) - 1) & ~(1u << 0) &
                                        ~(1u << wire::block::ecu) & ~(1u << wire::block::period_ms);

std::uint64_t load64(const std::uint8_t* p) {
  std::uint64_t value;
  std::memcpy(&value, p, sizeof value);
  return value;
}

// Varints in `bytes` bytes: bytes without a continuation bit. The order of the
// bytes does not matter to a count. Loads up to 7 bytes past them.
std::size_t count_varints(const std::uint8_t* p, std::size_t bytes) {
  std::size_t count = 0;
  for (; bytes >= 8; bytes -= 8, p += 8) {
    const std::uint64_t ends = (~load64(p) & kContinuationBits) >> 7;
    count += ends * 0x0101010101010101u >> 56;
  }
  if (bytes != 0) {
    std::uint64_t tail;
    if constexpr (std::endian::native == std::endian::little)
      tail = ~load64(p) << (64 - 8 * bytes);
    else
      tail = ~load64(p) >> (64 - 8 * bytes);
    count += ((tail & kContinuationBits) >> 7) * 0x0101010101010101u >> 56;
  }
  return count;
}

// Stores whole groups of eight: up to 7 words past the end.
void fill_words(std::uint32_t* out, std::size_t count, std::uint32_t word) {
  for (std::size_t i = 0; i < count; i += kStoreSlack) std::fill_n(out + i, kStoreSlack, word);
}

// A varint of at most 32 bits; nullptr: longer. Reads up to 5 bytes from `p`.
const std::uint8_t* read_varint32(const std::uint8_t* p, std::uint32_t& value) {
  std::uint32_t v = p[0] & 0x7Fu;
  if (p[0] < 0x80) {
    value = v;
    return p + 1;
  }
  for (unsigned i = 1; i < 5; ++i) {
    const std::uint32_t b = p[i];
    if (i == 4 && b > 0x0F) return nullptr;
    v |= (b & 0x7F) << (7 * i);
    if (b < 0x80) {
      value = v;
      return p + i + 1;
    }
  }
  return nullptr;
}

// Reads `count` varints and stores the running sums, from `sum` on, masked.
// The caller has counted: exactly `count` varints end in the column. False: one
// of them has more than 32 bits.
bool expand_deltas(const std::uint8_t* p, std::size_t bytes, std::size_t count, std::uint32_t sum,
                   std::uint32_t mask, std::uint32_t* out) {
  const std::uint8_t* const end = p + bytes;
  std::uint32_t* const out_end = out + count;
  while (out != out_end) {
#if defined(__SSE2__)
    // Whole windows of one-byte steps; the last one may run over the end, where
    // what it stores is not used.
    __m128i sums = _mm_set1_epi32(static_cast<int>(sum));
    const __m128i masks = _mm_set1_epi32(static_cast<int>(mask));
    bool ran = false;
    while (out != out_end) {
      const std::size_t rest = static_cast<std::size_t>(out_end - out);
      const bool one_byte_each = static_cast<std::size_t>(end - p) == rest;
      if (!one_byte_each && (rest < 8 || (load64(p) & kContinuationBits) != 0)) break;
      const __m128i raw = _mm_loadl_epi64(reinterpret_cast<const __m128i*>(p));
      const __m128i half = _mm_and_si128(_mm_srli_epi16(raw, 1), _mm_set1_epi8(0x7F));
      const __m128i sign = _mm_sub_epi8(_mm_setzero_si128(), _mm_and_si128(raw, _mm_set1_epi8(1)));
      const __m128i step8 = _mm_xor_si128(half, sign);
      __m128i s = _mm_srai_epi16(_mm_unpacklo_epi8(step8, step8), 8);
      s = _mm_add_epi16(s, _mm_slli_si128(s, 2));
      s = _mm_add_epi16(s, _mm_slli_si128(s, 4));
      s = _mm_add_epi16(s, _mm_slli_si128(s, 8));
      const __m128i low = _mm_add_epi32(sums, _mm_srai_epi32(_mm_unpacklo_epi16(s, s), 16));
      const __m128i high = _mm_add_epi32(sums, _mm_srai_epi32(_mm_unpackhi_epi16(s, s), 16));
      _mm_storeu_si128(reinterpret_cast<__m128i*>(out), _mm_and_si128(low, masks));
      _mm_storeu_si128(reinterpret_cast<__m128i*>(out + 4), _mm_and_si128(high, masks));
      if (rest <= 8 && one_byte_each) return true;
      sums = _mm_shuffle_epi32(high, 0xFF);
      ran = true;
      p += 8;
      out += 8;
    }
    if (ran) sum = static_cast<std::uint32_t>(_mm_cvtsi128_si32(sums));
#endif
    // Up to eight mixed ones: one and two bytes without a branch.
    std::size_t block = std::min<std::size_t>(8, static_cast<std::size_t>(out_end - out));
    for (; block != 0; --block) {
      const std::uint32_t first = p[0];
      const std::uint32_t second = p[1];
      const std::uint32_t longer = first >> 7;
      std::uint32_t v = (first & 0x7F) | (second << 7 & (0u - longer));
      if ((second & (longer << 7)) != 0) [[unlikely]] {
        p = read_varint32(p, v);
        if (!p) return false;
      } else {
        p += 1 + longer;
      }
      sum += static_cast<std::uint32_t>(wire::unzigzag(v));
      *out++ = sum & mask;
    }
  }
  return true;
}

// Reads the key of the next field. False: malformed, or a group.
bool read_key(const std::uint8_t*& p, const std::uint8_t* end, std::uint32_t& number,
              std::uint32_t& type) {
  std::uint32_t key = 0;
  p = read_varint32(p, key);
  if (!p || p > end) return false;
  number = key >> 3;
  type = key & 7;
  return number != 0;
}

bool read_bytes(const std::uint8_t*& p, const std::uint8_t* end, std::uint32_t& size) {
  p = read_varint32(p, size);
  return p && p <= end && size <= static_cast<std::size_t>(end - p);
}

bool skip_field(const std::uint8_t*& p, const std::uint8_t* end, std::uint32_t type) {
  switch (type) {
    case wire::kVarint:
      for (std::size_t i = 0; i < wire::kMaxVarintBytes && p != end; ++i)
        if (*p++ < 0x80) return true;
      return false;
    case wire::kBytes: {
      std::uint32_t size = 0;
      if (!read_bytes(p, end, size)) return false;
      p += size;
      return true;
    }
    case wire::kFixed32:
    case wire::kFixed64: {
      const std::ptrdiff_t size = type == wire::kFixed32 ? 4 : 8;
      if (end - p < size) return false;
      p += size;
      return true;
    }
  }
  return false;
}

bool read_uint64(const std::uint8_t*& p, const std::uint8_t* end, std::uint64_t& value) {
  value = 0;
  for (unsigned i = 0; i < wire::kMaxVarintBytes && p != end; ++i) {
    const std::uint64_t b = *p++;
    value |= (b & 0x7F) << (7 * i);
    if (b < 0x80) return true;
  }
  return false;
}

}  // namespace

// The fields of one block as they stand in the payload, not yet looked into.
struct RecordDecoder::BlockFields {
  std::uint32_t ecu;
  std::uint32_t period_ms;
  std::uint32_t seen;  // bit = field number
  std::array<const std::uint8_t*, kBlockFields> bytes;
  std::array<std::uint32_t, kBlockFields> size;

  [[nodiscard]] bool has(std::uint32_t field) const { return seen >> field & 1; }
  [[nodiscard]] bool is_set() const {
    return ecu != 0 && has(wire::block::signal) && has(wire::block::time);
  }
  [[nodiscard]] bool read(const std::uint8_t* p, const std::uint8_t* end, bool sets_only);
  [[nodiscard]] bool read_scalar(const std::uint8_t*& p, const std::uint8_t* end,
                                 std::uint32_t number);
};

bool RecordDecoder::BlockFields::read_scalar(const std::uint8_t*& p, const std::uint8_t* end,
                                             std::uint32_t number) {
  std::uint32_t value = 0;
  p = read_varint32(p, value);
  if (!p || p > end) return false;
  (number == wire::block::ecu ? ecu : period_ms) = value;
  return true;
}

bool RecordDecoder::BlockFields::read(const std::uint8_t* p, const std::uint8_t* end,
                                      bool sets_only) {
  ecu = period_ms = seen = 0;
  while (p != end) {
    std::uint32_t number = p[0] >> 3;
    // Nearly every field: packed, its key and its length one byte each.
    if ((p[0] & 0x87) == wire::kBytes && p[1] < 0x80 && (kPackedFields >> number & 1) != 0) {
      const std::uint32_t bytes_in_field = p[1];
      p += 2;
      if (static_cast<std::ptrdiff_t>(bytes_in_field) > end - p || has(number)) return false;
      bytes[number] = p;
      size[number] = bytes_in_field;
      p += bytes_in_field;
      seen |= 1u << number;
      if (bytes_in_field != 0 && p[-1] >= 0x80) return false;
      if (sets_only && number == wire::block::time && is_set()) break;
      continue;
    }
    std::uint32_t type = 0;
    if (!read_key(p, end, number, type)) return false;
    if (number >= kBlockFields) {
      if (!skip_field(p, end, type)) return false;
      continue;
    }
    if (number == wire::block::ecu || number == wire::block::period_ms) {
      if (type != wire::kVarint || has(number) || !read_scalar(p, end, number)) return false;
      seen |= 1u << number;
      continue;
    }
    std::uint32_t bytes_in_field = 0;
    if (type != wire::kBytes || has(number) || !read_bytes(p, end, bytes_in_field)) return false;
    bytes[number] = p;
    size[number] = bytes_in_field;
    p += bytes_in_field;
    // A packed field that ends in mid-varint.
    if (bytes_in_field != 0 && p[-1] >= 0x80) return false;
    seen |= 1u << number;
    // The logger writes the times behind all that a census asks for.
    if (sets_only && number == wire::block::time && is_set()) break;
  }
  return is_set();
}

RecordDecoder::RecordDecoder()
    : blocks_(kMaxBlocks),
      steps_(kSectorPayloadBytes + kStoreSlack),
      ticks_(kSectorPayloadBytes + kStoreSlack),
      words_(kSectorPayloadBytes * kMaxBlockSignals + kStoreSlack) {
  for (std::size_t id = 0; id < masks_.size(); ++id)
    masks_[id] = word_mask_of(static_cast<SignalId>(id));
}

bool RecordDecoder::decode(std::span<const std::uint8_t> payload) {
  if (decode_record(payload, false)) return true;
  used_ = 0;
  dropped_samples_ = 0;
  return false;
}

bool RecordDecoder::decode_sets(std::span<const std::uint8_t> payload) {
  if (decode_record(payload, true)) return true;
  used_ = 0;
  dropped_samples_ = 0;
  return false;
}

bool RecordDecoder::decode_record(std::span<const std::uint8_t> payload, bool sets_only) {
  used_ = 0;
  ticks_used_ = 0;
  words_used_ = 0;
  dropped_samples_ = 0;
  if (payload.size() > kSectorPayloadBytes) return false;
  if (!payload.empty()) std::memcpy(bytes_.data(), payload.data(), payload.size());
  std::memset(bytes_.data() + payload.size(), 0, kLoadSlack);

  const std::uint8_t* p = bytes_.data();
  const std::uint8_t* const end = p + payload.size();
  // base_ms stands before the blocks in what the logger writes, but a record is
  // the same message in any order.
  std::uint64_t base = 0;
  std::array<const std::uint8_t*, kMaxBlocks> block_at;
  std::array<std::uint32_t, kMaxBlocks> block_bytes;
  std::size_t blocks = 0;
  bool have_base = false;
  bool have_dropped = false;
  while (p != end) {
    std::uint32_t number = 0;
    std::uint32_t type = 0;
    if (!read_key(p, end, number, type)) return false;
    switch (number) {
      case wire::record::base_ms:
        if (type != wire::kVarint || have_base || !read_uint64(p, end, base)) return false;
        have_base = true;
        break;
      case wire::record::block:
        if (type != wire::kBytes || blocks == kMaxBlocks) return false;
        if (!read_bytes(p, end, block_bytes[blocks])) return false;
        block_at[blocks] = p;
        p += block_bytes[blocks++];
        break;
      case wire::record::dropped_samples:
        if (type != wire::kVarint || have_dropped) return false;
        have_dropped = true;
        p = read_varint32(p, dropped_samples_);
        if (!p || p > end) return false;
        break;
      case wire::record::session:
      case wire::record::settings:
        return false;  // not in a data sector
      default:
        if (!skip_field(p, end, type)) return false;
        break;
    }
  }
  if (base > kLargestTick) return false;
  for (std::size_t i = 0; i < blocks; ++i) {
    BlockFields fields;
    if (!fields.read(block_at[i], block_at[i] + block_bytes[i], sets_only) ||
        !decode_set(fields, base))
      return false;
    if (!sets_only && !decode_block(fields)) return false;
    ++used_;
  }
  return true;
}

// ECU, signals, rows and first tick.
bool RecordDecoder::decode_set(const BlockFields& fields, Tick base) {
  BlockView& view = blocks_[used_];
  view.ecu = fields.ecu;
  view.period_ms = fields.period_ms;
  const std::uint8_t* p = fields.bytes[wire::block::signal];
  const std::uint8_t* const signals_end = p + fields.size[wire::block::signal];
  view.signals = 0;
  while (p != signals_end) {
    std::uint32_t id = 0;
    p = read_varint32(p, id);
    if (!p || p > signals_end || id == signal::none || id > 0xFFFF ||
        view.signals == kMaxBlockSignals)
      return false;
    view.signal[view.signals++] = static_cast<SignalId>(id);
  }
  const std::uint8_t* const time = fields.bytes[wire::block::time];
  view.rows = count_varints(time, fields.size[wire::block::time]);
  if (view.signals == 0 || view.rows == 0) return false;
  std::uint32_t first = 0;
  // An odd one is negative: before base_ms.
  if (!read_varint32(time, first) || (first & 1) != 0) return false;
  view.first_tick = base + (first >> 1);
  view.tick_ms = nullptr;
  view.raw.fill(nullptr);
  return true;
}

bool RecordDecoder::decode_ticks(const BlockFields& fields) {
  BlockView& view = blocks_[used_];
  Tick* const out = ticks_.data() + ticks_used_;
  view.tick_ms = out;
  ticks_used_ += view.rows;
  Tick tick = view.first_tick;
  out[0] = tick;
  const std::size_t steps = view.rows - 1;
  std::uint32_t wrong = fields.period_ms;
  if (steps != 0) {
    std::uint32_t first = 0;
    const std::uint8_t* const time = fields.bytes[wire::block::time];
    const std::uint8_t* const p = read_varint32(time, first);
    const auto read = static_cast<std::size_t>(p - time);
    if (!expand_deltas(p, fields.size[wire::block::time] - read, steps, fields.period_ms,
                       0xFFFFFFFFu, steps_.data()))
      return false;
    // From a step of 0..2^31-1 a change of at most 2^31 either way comes out
    // right or with the top bit set, so that looking at that bit finds every
    // step that is negative or does not fit.
    for (std::size_t i = 0; i < steps; ++i) {
      const std::uint32_t step = steps_[i];
      wrong |= step;
      tick += step;
      out[i + 1] = tick;
    }
  }
  return wrong >> 31 == 0 && tick <= kLargestTick;
}

bool RecordDecoder::decode_column(const BlockFields& fields, std::uint32_t k) {
  BlockView& view = blocks_[used_];
  const std::size_t rows = view.rows;
  const std::uint32_t delta_field = wire::block::first_delta + k;
  const std::uint32_t run_field = wire::block::first_run + k;
  const std::uint32_t length_field = wire::block::first_run_length + k;
  const SignalId id = view.signal[k];
  const std::uint32_t mask = id < masks_.size() ? masks_[id] : word_mask_of(id);
  std::uint32_t* const out = words_.data() + words_used_;
  view.raw[k] = out;
  words_used_ += rows;
  if (fields.has(delta_field)) {
    const std::uint8_t* p = fields.bytes[delta_field];
    const std::size_t size = fields.size[delta_field];
    if (fields.has(run_field) || fields.has(length_field) || count_varints(p, size) != rows)
      return false;
    // The first word takes two or three bytes where the steps take one.
    std::uint32_t v = 0;
    const std::uint8_t* const first = p;
    p = read_varint32(p, v);
    if (!p) return false;
    const auto word = static_cast<std::uint32_t>(wire::unzigzag(v));
    out[0] = word & mask;
    return rows == 1 || expand_deltas(p, size - static_cast<std::size_t>(p - first), rows - 1, word,
                                      mask, out + 1);
  }
  if (!fields.has(run_field)) return false;
  const std::uint8_t* p = fields.bytes[run_field];
  if (fields.size[run_field] == 1 && !fields.has(length_field)) {
    fill_words(out, rows, static_cast<std::uint32_t>(wire::unzigzag(*p)) & mask);
    return true;
  }
  const std::size_t runs = count_varints(p, fields.size[run_field]);
  const std::uint8_t* lengths = fields.bytes[length_field];
  const std::size_t ended =
      fields.has(length_field) ? count_varints(lengths, fields.size[length_field]) : 0;
  if (runs != ended + 1) return false;
  std::uint32_t word = 0;
  std::size_t row = 0;
  for (std::size_t i = 0; i < runs; ++i) {
    std::uint32_t v = 0;
    p = read_varint32(p, v);
    if (!p) return false;
    word += static_cast<std::uint32_t>(wire::unzigzag(v));
    std::size_t length = rows - row;
    if (i < ended) {
      std::uint32_t run = 0;
      lengths = read_varint32(lengths, run);
      // The last run has at least one row.
      if (!lengths || run == 0 || run >= length) return false;
      length = run;
    }
    fill_words(out + row, length, word & mask);
    row += length;
  }
  return true;
}

bool RecordDecoder::decode_block(const BlockFields& fields) {
  if (!decode_ticks(fields)) return false;
  const std::size_t signals = blocks_[used_].signals;
  for (std::uint32_t k = 0; k < signals; ++k)
    if (!decode_column(fields, k)) return false;
  // Columns of signals that the block does not have.
  constexpr std::uint32_t all = (1u << kMaxBlockSignals) - 1;
  const std::uint32_t extra = all & ~((1u << signals) - 1);
  return (fields.seen & (extra << wire::block::first_delta | extra << wire::block::first_run |
                         extra << wire::block::first_run_length)) == 0;
}

}  // namespace packmile
