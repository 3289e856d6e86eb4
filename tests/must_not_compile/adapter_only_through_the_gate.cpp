// What a careless or clever change to the core might try. Each BAD must not
// compile; without one the file must, so that it cannot rot.
#include "core/logger.hpp"

namespace packmile {

std::size_t through_the_gate(TransmitGate& gate, const CanFrame& frame,
                             std::span<std::uint8_t> out) {
  if (gate.send_request(frame) != GateOutcome::queued) return 0;
  return gate.take_bytes(out);
}

#if BAD == 1  // a line of one's own into the queue
bool bad(TransmitGate& gate, std::span<const std::uint8_t> line) { return gate.put(line); }
#elif BAD == 2  // an adapter command as text
GateOutcome bad(TransmitGate& gate) { return gate.adapter_command("O\r"); }
#elif BAD == 3  // the queue itself
void bad(TransmitGate& gate) { gate.queue_[0] = 'O'; }
#elif BAD == 4  // a gate with other rules
class Bad : public TransmitGate {
  bool is_allowed_request(const CanFrame&) const { return true; }
};
#elif BAD == 5  // bytes out of the logger that no gate has seen
std::size_t bad(Logger& logger, std::span<std::uint8_t> out) {
  return logger.script_.take_bytes(out);
}
#elif BAD == 6  // the gate of a logger, from outside
TransmitGate& bad(Logger& logger) { return logger.gate_; }
#endif

}  // namespace packmile
