// Commands to the adapter, one in flight at a time.
//
// Standard  slcan: a bare CR or BEL has no tag, so the next command waits for
//           the last one's; frame lines that come meanwhile are skipped.
// Rule      an answer that does not come within kAdapterReplyMs is not waited
//           for: a silent adapter must not stall the logger.
// Pure      no clock, heap, I/O.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/slcan.hpp"
#include "tick.hpp"

namespace packmile {

// Line time of a few bytes and the 16 ms of a slow USB bridge many times over.
// Common practice, no source.
inline constexpr Tick kAdapterReplyMs = 200;
inline constexpr std::size_t kMaxScriptCommands = 6;

class AdapterScript {
 public:
  // Forgets what was running. At most kMaxScriptCommands are taken.
  void start(std::span<const AdapterCommand> commands);
  void stop() { count_ = at_ = 0; }
  [[nodiscard]] bool running() const { return at_ < count_; }
  // The command to send now, handed out once; its time starts to run.
  [[nodiscard]] std::optional<AdapterCommand> take_command(Tick now);
  // Accepted or refused: either ends the wait. Not asked for: changes nothing.
  void on_reply();
  void on_time(Tick now);
  [[nodiscard]] std::optional<Tick> deadline() const;
  // The adapter has answered one of the commands of this script.
  [[nodiscard]] bool answered() const { return answered_; }

 private:
  void next();

  std::array<AdapterCommand, kMaxScriptCommands> command_{};
  std::uint8_t count_ = 0;
  std::uint8_t at_ = 0;
  bool in_flight_ = false;
  bool answered_ = false;
  Tick deadline_ = 0;
};

}  // namespace packmile
