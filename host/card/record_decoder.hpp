// Turns the payload of a data sector into contiguous columns.
//
// Standard  FORMAT.md, section "Columns".
// Input     the payload of a sector whose CRC held; any bytes are survived.
// Output    one BlockView per block, pointing into the decoder's own arrays.
// Bounded   a payload of 480 bytes cannot hold more rows than its bytes; the
//           arrays are allocated once and reused.
// Speed     eight one-byte varints at a time; no allocation and no virtual call
//           per sample.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "catalogue/catalogue.hpp"
#include "columns/record_encoder.hpp"
#include "sector/sector.hpp"
#include "tick.hpp"

namespace packmile {

// A record with a tick beyond this is refused: 285,000 years of milliseconds,
// so that no later sum of times can overflow.
inline constexpr Tick kLargestTick = Tick{1} << 53;

// Rows are in time order. Pointers are valid until the next decode().
struct BlockView {
  std::uint32_t ecu = 0;
  std::uint32_t period_ms = 0;
  std::size_t rows = 0;
  std::size_t signals = 0;
  std::array<SignalId, kMaxBlockSignals> signal{};
  Tick first_tick = 0;
  const Tick* tick_ms = nullptr;                             // rows
  std::array<const std::uint32_t*, kMaxBlockSignals> raw{};  // rows each, masked to the word

  // Index of a signal's column, or `signals` when it is not in this block.
  [[nodiscard]] std::size_t column_of(SignalId id) const {
    std::size_t k = 0;
    while (k < signals && signal[k] != id) ++k;
    return k;
  }
};

class RecordDecoder {
 public:
  RecordDecoder();
  // blocks() point into the object itself.
  RecordDecoder(const RecordDecoder&) = delete;
  RecordDecoder& operator=(const RecordDecoder&) = delete;

  // False: the payload does not follow FORMAT.md; blocks() is then empty, so
  // that a record is taken whole or not at all.
  [[nodiscard]] bool decode(std::span<const std::uint8_t> payload);
  // As decode(), but for a census: ECUs, signals, rows and first ticks only.
  // `tick_ms` and every `raw` are nullptr, and the columns are not looked at.
  [[nodiscard]] bool decode_sets(std::span<const std::uint8_t> payload);

  [[nodiscard]] std::span<const BlockView> blocks() const { return {blocks_.data(), used_}; }
  [[nodiscard]] std::uint32_t dropped_samples() const { return dropped_samples_; }

 private:
  struct BlockFields;
  [[nodiscard]] bool decode_record(std::span<const std::uint8_t> payload, bool sets_only);
  [[nodiscard]] bool decode_set(const BlockFields& fields, Tick base);
  [[nodiscard]] bool decode_ticks(const BlockFields& fields);
  [[nodiscard]] bool decode_column(const BlockFields& fields, std::uint32_t k);
  [[nodiscard]] bool decode_block(const BlockFields& fields);

  // Bytes past the payload may be loaded, never believed.
  static constexpr std::size_t kLoadSlack = 16;
  std::array<std::uint8_t, kSectorPayloadBytes + kLoadSlack> bytes_{};
  std::array<std::uint32_t, 64> masks_{};
  std::vector<BlockView> blocks_;
  std::size_t used_ = 0;
  std::uint32_t dropped_samples_ = 0;
  std::vector<std::uint32_t> steps_;
  std::vector<Tick> ticks_;
  std::size_t ticks_used_ = 0;
  std::vector<std::uint32_t> words_;
  std::size_t words_used_ = 0;
};

}  // namespace packmile
