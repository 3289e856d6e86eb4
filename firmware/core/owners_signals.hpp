// The owner's signals that the settings list: which data identifiers may be read
// of which ECU, and where in the answers their words lie.
//
// Standard  packmile.OwnersSignal in packmile.proto; ISO 14229-1 service 22.
// Input     the messages of the settings record, each checked whole.
// Rule      a definition that breaks a rule of packmile.proto is not added; the
//           caller then refuses all settings.
// Bounded   kMaxOwnersSignals; the messages are kept as they came, for the
//           session records.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>

#include "core/pid_reply.hpp"
#include "core/transmit_gate.hpp"
#include "owners_signal.hpp"
#include "sector/sector.hpp"

namespace packmile {

struct OwnersSignalPlace {
  std::uint32_t period_ms = 0;  // while driving; 0: the role's own
  std::int32_t code_scale_q16 = 0;
  std::int32_t code_offset = 0;
  std::uint8_t first_byte = 0;
  std::uint8_t bytes = 0;
  std::uint8_t first_bit = 0;
  std::uint8_t bits = 0;  // never 0
  bool little_endian = false;
  bool is_signed = false;
  SignalRole role = SignalRole::none;
};

class OwnersSignals {
 public:
  // In place: an assignment would build a second one on the small stack.
  void clear() { std::construct_at(this); }
  // One message of the settings. False: it breaks a rule, or there is no room;
  // nothing changed.
  [[nodiscard]] bool add(std::span<const std::uint8_t> message);

  [[nodiscard]] std::size_t size() const { return count_; }
  // ECU and identifier of each signal: what the gate may let through.
  [[nodiscard]] std::span<const AllowedDid> dids() const {
    return std::span<const AllowedDid>(did_).first(count_);
  }
  [[nodiscard]] const OwnersSignalPlace& place(std::size_t index) const { return place_[index]; }
  // The definition as it came.
  [[nodiscard]] std::span<const std::uint8_t> message(std::size_t index) const;
  // The signal before it with the same ECU and identifier is asked for in the
  // same request.
  [[nodiscard]] bool is_first_of_its_did(std::size_t index) const;

  // The word in the data behind the identifier's echo; none: the answer is too
  // short for it.
  [[nodiscard]] std::optional<std::uint32_t> word(std::size_t index,
                                                  std::span<const std::uint8_t> data) const;
  // The same word in codes of the standard signal of its role, for the judge of
  // the van's duty; none: its role does not matter to that.
  [[nodiscard]] std::optional<RawWord> standard_word(std::size_t index, std::uint32_t word) const;

 private:
  std::uint8_t count_ = 0;
  std::array<AllowedDid, kMaxOwnersSignals> did_{};
  std::array<OwnersSignalPlace, kMaxOwnersSignals> place_{};
  // Messages one behind the other; end_[i] is the end of message i.
  std::array<std::uint16_t, kMaxOwnersSignals> end_{};
  std::array<std::uint8_t, kSectorPayloadBytes> bytes_{};
};

}  // namespace packmile
