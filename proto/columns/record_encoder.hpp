// Builds the Record of one data sector, response by response, without a heap.
//
// Standard  FORMAT.md, section "Columns"; field numbers in wire.hpp.
// Pure      no clock, no I/O; the Ticks are given.
// Bounded   one pool of bytes for all columns: the exact size of the record is
//           known after every response, and finish() never exceeds 480 bytes.
// Rule      add() either takes a whole response or changes nothing.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "catalogue/catalogue.hpp"
#include "sector/sector.hpp"
#include "tick.hpp"
#include "wire.hpp"

namespace packmile {

// Signals of one block; a response with more is split over two blocks.
inline constexpr std::size_t kMaxBlockSignals = 6;
// Different (ECU, signals, period) sets in one sector; a ninth set closes it.
inline constexpr std::size_t kMaxBlocks = 8;

// What makes samples share a block: the ECU, the signals that it answered
// together, and the poll period in force.
struct BlockKey {
  std::uint32_t ecu = 0;
  std::uint32_t period_ms = 0;
  std::uint8_t signals = 0;
  std::array<SignalId, kMaxBlockSignals> signal{};

  bool operator==(const BlockKey&) const = default;
};

class RecordEncoder {
 public:
  // Takes one response: one raw word for each signal of the key, answered at
  // `tick` (not before the sample added last). False: it does not fit, or
  // would be the ninth block; seal this sector and add it to the next.
  [[nodiscard]] bool add(Tick tick, const BlockKey& key, std::span<const std::uint32_t> words);

  [[nodiscard]] bool empty() const { return blocks_ == 0; }
  [[nodiscard]] Tick first_tick() const { return base_; }
  [[nodiscard]] std::uint32_t samples() const { return samples_; }
  // Exact size of what finish() will write.
  [[nodiscard]] std::size_t encoded_bytes() const;

  // Tells the reader how many samples were lost before this sector.
  void set_dropped_samples(std::uint32_t samples) { dropped_samples_ = samples; }

  // Writes the record; returns its bytes. The encoder is then empty.
  std::size_t finish(std::span<std::uint8_t, kSectorPayloadBytes> out);
  void clear();

 private:
  struct Column {
    std::uint32_t last = 0;
    std::uint16_t value_bytes = 0;       // deltas, or the words of the runs
    std::uint16_t run_length_bytes = 0;  // of the runs that have ended
    std::uint16_t run_rows = 0;          // of the run in progress
  };
  struct BlockState {
    BlockKey key;
    Tick last_tick = 0;
    std::int32_t last_step = 0;
    std::uint16_t time_bytes = 0;
    std::uint16_t key_bytes = 0;  // of ECU, signals and period
    std::uint16_t bytes = 0;      // of the block in the record, tag and length too
    std::uint8_t runs_mask = 0;   // bit k: column k is stored as runs
    std::array<Column, kMaxBlockSignals> column{};
  };

  [[nodiscard]] static std::size_t key_bytes(const BlockKey& key);
  [[nodiscard]] static std::size_t block_bytes(const BlockState& block);
  static void place_column(wire::Writer& writer, std::uint32_t field, std::uint16_t& bytes);
  void copy_rows(std::uint8_t* out);

  // Responses in order of arrival: a byte of block index, a byte that marks
  // the run columns that changed, the time, then the words that are written.
  // The row marks are not part of the record, hence more than 480.
  static constexpr std::size_t kPoolBytes = 800;
  std::array<std::uint8_t, kPoolBytes> pool_{};
  std::size_t pool_used_ = 0;
  std::array<BlockState, kMaxBlocks> block_{};
  std::size_t blocks_ = 0;
  std::size_t blocks_bytes_ = 0;  // of all blocks
  Tick base_ = 0;
  std::uint32_t samples_ = 0;
  std::uint32_t dropped_samples_ = 0;
};

}  // namespace packmile
