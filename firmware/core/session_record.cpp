#include "core/session_record.hpp"

#include <array>
#include <bit>

#include "wire.hpp"

namespace packmile {
namespace {

// Tag of Record.session and a length of up to two bytes.
constexpr std::size_t kFrameBytes = 3;
// Counters of up to six bytes each, from the sixteenth on of seven, and the lowest
// supply.
constexpr std::size_t kCounters = sizeof(LoggerCounters) / sizeof(std::uint32_t);
static_assert(wire::counters::reply_wait_ms == kCounters && kCounters > 15);
constexpr std::size_t kCountersBytes = 15 * 6 + (kCounters - 15) * 7;
constexpr std::size_t kTailBytes = 2 + kCountersBytes + 4;
// How the boot ends or begins, in every part: a flag, and a number of up to five bytes.
constexpr std::size_t kEndBytes = 2 + 6;
constexpr std::size_t kNotFoundBytes = 3;
// What a fault handler wrote down, where it did.
constexpr std::size_t kFaultBytes = 2 + 1 + 4 * 6;
// The longest Ecu: a number, 20 + 16 characters, twice 32 bytes of bitmaps.
constexpr std::size_t kMaxItemBytes = 116;

using Item = std::array<std::uint8_t, kMaxItemBytes>;

std::span<const std::uint8_t> bytes_of(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

void put_clock(wire::Writer& out, const WallClockReading& clock) {
  Item item{};
  wire::Writer w(item);
  w.uint_field(wire::clock_reading::source, static_cast<std::uint8_t>(clock.source));
  w.uint_field(wire::clock_reading::unix_ms, clock.unix_ms);
  w.uint_field(wire::clock_reading::tick_ms, clock.tick);
  w.uint_field(wire::clock_reading::resolution_ms, clock.resolution_ms);
  out.bytes_field(wire::session::clock, std::span(item).first(w.size()));
}

// A message whose fields are numbers of 32 bits, in order from field 1 on.
void put_numbers(wire::Writer& out, std::uint32_t field, std::span<const std::uint32_t> numbers) {
  std::size_t bytes = 0;
  for (std::uint32_t i = 0; i < numbers.size(); ++i)
    if (numbers[i] != 0)
      bytes += wire::varint_bytes(wire::tag(i + 1, wire::kVarint)) + wire::varint_bytes(numbers[i]);
  out.varint(wire::tag(field, wire::kBytes));
  out.varint(bytes);
  for (std::uint32_t i = 0; i < numbers.size(); ++i) out.uint_field(i + 1, numbers[i]);
}

void put_bus(wire::Writer& out, std::uint16_t kbit_per_s, bool extended_ids) {
  static_assert(wire::bus::kbit_per_s == 1 && wire::bus::extended_ids == 2);
  put_numbers(out, wire::session::bus, std::array<std::uint32_t, 2>{kbit_per_s, extended_ids});
}

void put_fault(wire::Writer& out, const FaultRecord& fault) {
  static_assert(wire::fault::exception == 1 && wire::fault::program_counter == 2 &&
                wire::fault::link_register == 3 && wire::fault::status == 4);
  put_numbers(out, wire::session::fault, std::bit_cast<std::array<std::uint32_t, 4>>(fault));
}

void put_counters(wire::Writer& out, const LoggerCounters& counters) {
  // Declared in the order of their fields; a test holds each to its own.
  put_numbers(out, wire::session::counters,
              std::bit_cast<std::array<std::uint32_t, kCounters>>(counters));
}

std::size_t write_poll(const PollRequest& poll, Item& item) {
  wire::Writer w(item);
  w.uint_field(wire::poll::ecu, poll.response_id);
  w.bytes_field(wire::poll::pid, poll.pids());
  w.uint_field(wire::poll::period_ms, poll.period_ms);
  w.uint_field(wire::poll::by_did, poll.by_did ? 1 : 0);
  w.uint_field(wire::poll::owners_did, poll.owners_did);
  return w.size();
}

void put_bitmaps(wire::Writer& out, std::uint32_t field, const SupportedPids& pids) {
  std::array<std::uint8_t, 4 * kPidRanges> bitmaps{};
  const std::size_t ranges = pids.ranges();
  for (std::size_t i = 0; i < ranges; ++i) {
    const std::uint32_t bits = pids.bitmap(i);
    for (std::size_t b = 0; b < 4; ++b)
      bitmaps[4 * i + b] = static_cast<std::uint8_t>(bits >> (8 * (3 - b)));
  }
  out.bytes_field(field, std::span(bitmaps).first(4 * ranges));
}

std::size_t write_ecu(const VanEcu& ecu, Item& item) {
  wire::Writer w(item);
  w.uint_field(wire::ecu::response_id, ecu.response_id);
  w.bytes_field(wire::ecu::name, bytes_of(ecu.name.view()));
  w.bytes_field(wire::ecu::calibration_id, bytes_of(ecu.calibration_id.view()));
  put_bitmaps(w, wire::ecu::supported_pids, ecu.pids);
  put_bitmaps(w, wire::ecu::supported_dids, ecu.dids);
  return w.size();
}

// False: no room left in this sector.
bool put_item(wire::Writer& out, std::size_t room, std::uint32_t field,
              std::span<const std::uint8_t> item) {
  const std::size_t framed = wire::varint_bytes(wire::tag(field, wire::kBytes)) +
                             wire::varint_bytes(item.size()) + item.size();
  if (out.size() + framed > room) return false;
  out.bytes_field(field, item);
  return true;
}

}  // namespace

std::string_view logger_version() {
  using std::string_view_literals::operator""sv;
  return PACKMILE_VERSION ""sv;
}

void SessionWriter::start() {
  pending_ = true;
  head_written_ = false;
  next_ecu_ = 0;
  next_poll_ = 0;
  next_owners_ = 0;
}

std::size_t SessionWriter::write(const SessionSource& source,
                                 std::span<std::uint8_t, kSectorPayloadBytes> out) {
  const bool first_part = !head_written_;
  const bool tells_fault = first_part && source.fault.exception != 0;
  const std::size_t room_of_part = kSectorPayloadBytes - kFrameBytes - kEndBytes - kNotFoundBytes -
                                   (tells_fault ? kFaultBytes : 0);
  wire::Writer body(out.subspan<kFrameBytes>());
  body.uint_field(wire::session::tick_ms, source.tick);
  // Repeated in every part: a part that stands alone must say whose it is.
  body.bytes_field(wire::session::logger_version, bytes_of(logger_version()));
  body.bytes_field(wire::session::van, bytes_of(source.van));
  if (source.map) body.bytes_field(wire::session::vin, bytes_of(source.map->vin.view()));
  if (first_part) {
    body.uint_field(wire::session::reset_cause, static_cast<std::uint8_t>(source.reset_cause));
    if (source.clock) put_clock(body, *source.clock);
    if (source.kbit_per_s != 0) put_bus(body, source.kbit_per_s, source.extended_ids);
  }
  // Fields go out in ascending order, as libprotobuf writes them.
  const std::size_t room = first_part ? room_of_part - kTailBytes : room_of_part;
  bool room_left = true;
  Item item{};
  while (room_left && source.map && next_ecu_ < source.map->ecu_count) {
    const std::size_t bytes = write_ecu(source.map->ecu[next_ecu_], item);
    room_left = put_item(body, room, wire::session::ecu, std::span(item).first(bytes));
    if (room_left) ++next_ecu_;
  }
  while (room_left && next_poll_ < source.polls.size()) {
    const PollRequest& poll = source.polls[next_poll_];
    if (!poll.retired)
      room_left =
          put_item(body, room, wire::session::poll, std::span(item).first(write_poll(poll, item)));
    if (room_left) ++next_poll_;
  }
  if (first_part) {
    put_counters(body, source.counters);
    body.uint_field(wire::session::supply_min_mv, source.supply_min_mv);
    head_written_ = true;
  }
  body.uint_field(wire::session::clean_stop, source.clean_stop ? 1 : 0);
  body.uint_field(wire::session::listen_only_s, source.listen_only_s);
  while (room_left && source.owners && next_owners_ < source.owners->size()) {
    room_left = put_item(body, room_of_part + kEndBytes, wire::session::owners_signal,
                         source.owners->message(next_owners_));
    if (room_left) ++next_owners_;
  }
  body.uint_field(wire::session::not_found_in_row, source.not_found_in_row);
  if (tells_fault) put_fault(body, source.fault);
  pending_ = !room_left;

  // The length takes one byte or two: the body moves up when it takes one.
  const std::size_t bytes = body.size();
  wire::Writer frame(out.first<kFrameBytes>());
  frame.varint(wire::tag(wire::record::session, wire::kBytes));
  frame.varint(bytes);
  const std::size_t head = frame.size();
  for (std::size_t i = 0; head < kFrameBytes && i < bytes; ++i)
    out[head + i] = out[kFrameBytes + i];
  return head + bytes;
}

}  // namespace packmile
