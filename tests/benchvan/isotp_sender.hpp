// ISO-TP sender of an ECU: one message becomes frames, at the pace that the
// tester's flow control asks for.
//
// Standard  ISO 15765-2, classic CAN, normal addressing, padded to 8 bytes.
// Pure      frames and the time go in, frames come out.
//
//   state      what                        next       outcome
//   idle       start, 1..7 bytes           single     single frame is due
//   idle       start, more                 first      first frame is due
//   single     its frame has left          idle       complete
//   first      its frame has left          waiting    N_Bs runs
//   waiting    flow control: continue      sending    consecutive frames, STmin apart
//   waiting    flow control: wait          waiting    N_Bs runs anew; too many: idle, aborted
//   waiting    overflow, unknown status    idle       aborted
//   waiting    N_Bs passed                 idle       aborted
//   sending    BS frames have left         waiting    N_Bs runs
//   sending    last frame has left         idle       complete
//   any        start                       as from idle; the old message counts as aborted
//   any other  flow control                unchanged  ignored
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "benchvan/bus_frame.hpp"
#include "benchvan/payload.hpp"

namespace packmile::benchvan {

// ISO 15765-2 N_Bs; legislated OBD allows an ECU 75 ms.
inline constexpr Nanos kNBsNs = 1000 * kNanosPerMs;
inline constexpr Nanos kShortNBsNs = 75 * kNanosPerMs;
// Flow controls "wait" in a row before giving up. Common practice, no source.
inline constexpr int kMaxWaits = 10;

class IsotpSender {
 public:
  IsotpSender(std::uint32_t id, bool extended, Nanos n_bs_ns);

  // What is wrong with every fifth message of more than one frame (the last
  // frame: with every one).
  struct Faults {
    bool wrong_sequence = false;
    bool wrong_length = false;  // also of single frames
    bool unpadded_last = false;
  };
  void set_faults(const Faults& faults) { faults_ = faults; }

  // Takes the message over; empty or longer than 4095 bytes must not be given.
  void start(Nanos now_ns, const Payload& message);
  // Flow control of the tester: 3S BS STmin.
  void on_flow_control(Nanos now_ns, const BusFrame& frame);
  // The next frame, if one is due; on_sent() must follow before the next call.
  [[nodiscard]] std::optional<BusFrame> take_frame(Nanos now_ns);
  // The frame taken has left the bus at that time. True: the message is complete.
  bool on_sent(Nanos at_ns);
  // When take_frame() is to be called; kNever: nothing to do.
  [[nodiscard]] Nanos deadline_ns() const;
  // The message that was started last.
  [[nodiscard]] const Payload& message() const { return message_; }
  // One of its frames was made wrong by a fault, so that nobody can join it.
  [[nodiscard]] bool broken() const { return broken_; }
  [[nodiscard]] bool idle() const { return state_ == State::idle; }
  // Messages that never got through.
  [[nodiscard]] unsigned aborted() const { return aborted_; }

 private:
  enum class State : std::uint8_t { idle, single, first, waiting, sending };

  void abort();
  [[nodiscard]] BusFrame frame_of(std::uint8_t control) const;

  std::uint32_t id_;
  bool extended_;
  Nanos n_bs_ns_;
  State state_ = State::idle;
  Payload message_;
  std::size_t sent_bytes_ = 0;
  std::uint8_t sequence_ = 0;
  std::uint8_t block_size_ = 0;  // 0: no further flow control
  std::uint8_t left_in_block_ = 0;
  Nanos st_min_ns_ = 0;
  Nanos due_ns_ = 0;  // of the next frame, or the end of N_Bs
  int waits_ = 0;
  bool on_the_bus_ = false;  // a frame was taken and has not left yet
  bool broken_ = false;
  unsigned aborted_ = 0;
  Faults faults_{};
  unsigned messages_ = 0;
};

// STmin of a flow control frame: 00..7F ms, F1..F9 100..900 us, everything
// else is reserved and counts as 127 ms.
[[nodiscard]] Nanos st_min_ns(std::uint8_t code);

}  // namespace packmile::benchvan
