// The append-only writer: samples and session records become sealed sectors,
// one after another, each at the next place of the ring.
//
// Standard  FORMAT.md: sequence mod ring size is the place; each boot starts on
//           a multiple of 32.
// Pure      hands out one sector at a time and is told how it went; no I/O.
// Bounded   one sector being filled (RecordEncoder) and one being written.
// Rule      nothing is written twice at one place: after a failed write the same
//           content goes to the next place, under the next sequence number.
// Losses    while the card keeps its sector and the next is full, whole
//           responses are dropped, counted, and told in the sector after.
//
//   buffer    what happens                     next
//   free      sector closed or session sealed  sealed
//   sealed    take_write                       writing
//   writing   written                          free; sealed when a full sector waits
//   writing   failed, up to 3 times in a row   sealed, one place further
//   writing   failed more often                resting (card trouble)
//   resting   1 s passed                       sealed, one place further
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "columns/record_encoder.hpp"
#include "core/port.hpp"
#include "core/settings.hpp"
#include "sector/sector.hpp"
#include "tick.hpp"

namespace packmile {

// Failed writes in a row that go on at once, and the rest between tries after
// them. Common practice, no source.
inline constexpr std::uint8_t kWriteRetries = 3;
inline constexpr Tick kCardRestMs = 1'000;
// Of the sector being filled: the rest takes the answers of half a second and
// more at 5 Hz, longer than a card is busy with one write. Common practice, no
// source.
inline constexpr std::size_t kNearlyFullBytes = kSectorPayloadBytes * 3 / 4;

class SectorLog {
 public:
  // Where this boot writes. `newest_sequence`: of the newest sector found; none
  // in an empty log.
  void start(std::uint32_t log_id, std::uint32_t boot_id, std::uint32_t ring_sectors,
             std::optional<std::uint32_t> newest_sequence);
  // Until then samples are collected, nothing is sealed.
  [[nodiscard]] bool started() const { return started_; }

  void set_van_tag(std::uint32_t van_tag) { van_tag_ = van_tag; }
  // A sector closes when its oldest sample is this old.
  void set_deadline_ms(std::uint32_t deadline_ms) { deadline_ms_ = deadline_ms; }

  // One response. False: dropped, and counted.
  bool add(Tick tick, const BlockKey& key, std::span<const std::uint32_t> words);

  // Room for the payload of a session sector; empty while the buffer is in use,
  // or a full sector waits for it or soon will: the card takes a moment over a
  // session, and answers would be dropped meanwhile.
  [[nodiscard]] std::span<std::uint8_t> session_space();
  // Seals what was written there. Only after session_space() gave room.
  void seal_session(std::size_t payload_bytes);
  // A session record must come before the next data sector.
  [[nodiscard]] bool session_due() const { return since_session_ + 1 >= kSessionEverySectors; }

  void on_time(Tick now);
  // Closes the sector being filled, at once or as soon as the buffer is free.
  void close();

  [[nodiscard]] std::optional<CardRequest> take_write();
  // Not asked for: changes nothing.
  void on_written(Tick now, bool ok);

  // When to call on_time(); none: nothing waits for the clock.
  [[nodiscard]] std::optional<Tick> deadline() const;
  // Nothing is being filled, sealed or written.
  [[nodiscard]] bool idle() const { return buffer_ == Buffer::free && encoder_.empty(); }
  [[nodiscard]] bool card_trouble() const { return failures_in_row_ > kWriteRetries; }
  [[nodiscard]] std::uint32_t next_sequence() const { return next_sequence_; }
  [[nodiscard]] std::uint32_t write_failures() const { return write_failures_; }
  [[nodiscard]] std::uint32_t dropped_samples() const { return dropped_samples_; }

 private:
  enum class Buffer : std::uint8_t { free, sealed, writing, resting };

  [[nodiscard]] bool nearly_full() const { return encoder_.encoded_bytes() > kNearlyFullBytes; }
  [[nodiscard]] bool can_seal() const { return started_ && buffer_ == Buffer::free; }
  void seal(SectorKind kind, std::size_t payload_bytes);
  void seal_samples();
  void seal_again();

  SectorHeader header_{};  // of the sector in the buffer
  Tick rest_until_ = 0;
  std::uint32_t ring_sectors_ = 0;
  std::uint32_t log_id_ = 0;
  std::uint32_t boot_id_ = 0;
  std::uint32_t van_tag_ = 0;
  std::uint32_t next_sequence_ = 0;
  std::uint32_t deadline_ms_ = kDrivingDeadlineMs;
  std::uint32_t since_session_ = 0;
  std::uint32_t write_failures_ = 0;
  std::uint32_t dropped_samples_ = 0;
  std::uint32_t dropped_untold_ = 0;  // not yet in any sector
  std::uint8_t failures_in_row_ = 0;
  Buffer buffer_ = Buffer::free;
  bool started_ = false;
  bool close_wanted_ = false;
  RecordEncoder encoder_;
  std::array<std::uint8_t, kSectorBytes> sector_{};
};

}  // namespace packmile
