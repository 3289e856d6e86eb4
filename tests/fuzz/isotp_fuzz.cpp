// The ISO-TP receiver: frames and times from the bytes, against a second
// receiver written from the table in isotp_receiver.hpp, with a growing vector.
#include <algorithm>
#include <optional>
#include <vector>

#include "core/isotp_receiver.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"

namespace packmile::fuzz {
namespace {

constexpr std::uint32_t kResponseId = 0x7E8;
constexpr std::uint32_t kRequestId = 0x7E0;

// Slow and plain: one if for each line of the table.
class PlainReceiver {
 public:
  IsotpOutcome on_time(Tick now) {
    if (!collecting || now < last_frame + kNCrMs) return IsotpOutcome::ignored;
    collecting = false;
    have.clear();
    ++dropped;
    return IsotpOutcome::timed_out;
  }

  IsotpOutcome on_frame(Tick now, const CanFrame& f) {
    if (f.id != kResponseId || f.extended || f.remote) return IsotpOutcome::ignored;
    const IsotpOutcome expired = on_time(now);
    const IsotpOutcome outcome = take(now, f);
    return outcome == IsotpOutcome::ignored ? expired : outcome;
  }

  std::vector<std::uint8_t> have;
  std::size_t total = 0;
  unsigned next_sn = 0;
  bool collecting = false;
  Tick last_frame = 0;
  std::uint32_t dropped = 0;

 private:
  IsotpOutcome malformed() {
    ++dropped;
    return IsotpOutcome::ignored;
  }

  void begin() {
    if (collecting) ++dropped;
    collecting = false;
    have.clear();
  }

  IsotpOutcome take(Tick now, const CanFrame& f) {
    if (f.length == 0 || f.length > 8) return malformed();
    const unsigned type = f.data[0] / 16;
    const unsigned low = f.data[0] % 16;
    if (type == 0) {
      if (low == 0 || low > f.length - 1u) return malformed();
      begin();
      have.assign(f.data.begin() + 1, f.data.begin() + 1 + low);
      return IsotpOutcome::message;
    }
    if (type == 1) {
      if (f.length != 8) return malformed();
      std::uint64_t length = low * 256u + f.data[1];
      const bool wide = length == 0;
      if (wide)
        length = f.data[2] * 16777216ull + f.data[3] * 65536ull + f.data[4] * 256ull + f.data[5];
      if (wide ? length < 4096 : length < 8) return malformed();
      begin();
      if (length > kIsotpMaxBytes) {
        ++dropped;
        return IsotpOutcome::too_long;
      }
      have.assign(f.data.begin() + 2, f.data.end());
      total = static_cast<std::size_t>(length);
      next_sn = 1;
      collecting = true;
      last_frame = now;
      return IsotpOutcome::started;
    }
    if (type == 2 && collecting) {
      const std::size_t due = std::min<std::size_t>(7, total - have.size());
      if (f.length < 1 + due) return malformed();
      if (low != next_sn) {
        begin();
        return IsotpOutcome::wrong_sequence;
      }
      have.insert(have.end(), f.data.begin() + 1,
                  f.data.begin() + 1 + static_cast<std::ptrdiff_t>(due));
      next_sn = (next_sn + 1) % 16;
      last_frame = now;
      if (have.size() < total) return IsotpOutcome::collecting;
      collecting = false;
      return IsotpOutcome::message;
    }
    return IsotpOutcome::ignored;
  }
};

CanFrame take_frame(ByteSource& source, std::uint8_t how, const PlainReceiver& plain) {
  CanFrame frame;
  frame.id = (how & 0x30) == 0x30 ? source.u16() : kResponseId;
  frame.extended = (how & 0x7F) == 0x3F;
  frame.remote = (how & 0x7F) == 0x5F;
  frame.length = static_cast<std::uint8_t>((how & 0x08) != 0 ? 8 : source.u8() % 10);
  const auto data = source.bytes(8);
  std::copy(data.begin(), data.end(), frame.data.begin());
  // So that long transfers come about: the frame that is due.
  if ((how & 0x04) != 0 && plain.collecting)
    frame.data[0] = static_cast<std::uint8_t>(0x20 | plain.next_sn);
  return frame;
}

}  // namespace

void try_isotp(Input input) {
  ByteSource source(input);
  IsotpReceiver receiver(kResponseId, kRequestId, false);
  PlainReceiver plain;
  Tick now = 0;
  while (!source.empty()) {
    const std::uint8_t how = source.u8();
    // Mostly no time at all, so that a whole transfer fits into its limit.
    if ((how & 0x03) == 0x03) now += source.u16() % 2048;
    if ((how & 0x80) != 0) {
      must(receiver.on_time(now) == plain.on_time(now), "both say the same of the time");
    } else {
      const CanFrame frame = take_frame(source, how, plain);
      const IsotpReceiver::Step step = receiver.on_frame(now, frame);
      must(step.outcome == plain.on_frame(now, frame), "both say the same of a frame");
      const bool answers =
          step.outcome == IsotpOutcome::started || step.outcome == IsotpOutcome::too_long;
      must(step.flow_control.has_value() == answers, "flow control answers first frames alone");
      if (answers) {
        must(step.flow_control->id == kRequestId && !step.flow_control->remote &&
                 step.flow_control->length == 8,
             "flow control goes to the ECU");
        must(step.flow_control->data[0] == (step.outcome == IsotpOutcome::started ? 0x30 : 0x32),
             "flow control says continue or overflow");
      }
      if (step.outcome == IsotpOutcome::message)
        must(std::ranges::equal(receiver.message(), plain.have), "a message is what was sent");
    }
    must(receiver.collecting() == plain.collecting, "both are in the same state");
    must(receiver.deadline().has_value() == plain.collecting, "a deadline runs while collecting");
    if (plain.collecting)
      must(*receiver.deadline() == plain.last_frame + kNCrMs, "N_Cr runs from the last frame");
    must(receiver.dropped() == plain.dropped, "both count the same losses");
    must(receiver.message().size() <= kIsotpMaxBytes, "no message above the bound");
    if (receiver.collecting()) must(receiver.message().empty(), "no message before it is whole");
  }
}

}  // namespace packmile::fuzz
