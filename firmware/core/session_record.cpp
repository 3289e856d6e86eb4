#include "core/session_record.hpp"

#include <array>

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
// The longest Ecu: a number, 20 + 16 characters, twice 32 bytes of bitmaps.
constexpr std::size_t kMaxItemBytes = 116;

static_assert(kCountersBytes <= kMaxItemBytes);
using Item = std::array<std::uint8_t, kMaxItemBytes>;

std::span<const std::uint8_t> bytes_of(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

void put_message(wire::Writer& out, std::uint32_t field, const Item& item,
                 const wire::Writer& written) {
  out.varint(wire::tag(field, wire::kBytes));
  out.varint(written.size());
  out.raw(std::span(item).first(written.size()));
}

void put_clock(wire::Writer& out, const WallClockReading& clock) {
  Item item{};
  wire::Writer w(item);
  w.uint_field(wire::clock_reading::source, static_cast<std::uint8_t>(clock.source));
  w.uint_field(wire::clock_reading::unix_ms, clock.unix_ms);
  w.uint_field(wire::clock_reading::tick_ms, clock.tick);
  w.uint_field(wire::clock_reading::resolution_ms, clock.resolution_ms);
  put_message(out, wire::session::clock, item, w);
}

void put_bus(wire::Writer& out, std::uint16_t kbit_per_s, bool extended_ids) {
  Item item{};
  wire::Writer w(item);
  w.uint_field(wire::bus::kbit_per_s, kbit_per_s);
  w.uint_field(wire::bus::extended_ids, extended_ids ? 1 : 0);
  put_message(out, wire::session::bus, item, w);
}

void put_counters(wire::Writer& out, const LoggerCounters& c) {
  Item item{};
  wire::Writer w(item);
  w.uint_field(wire::counters::requests, c.requests);
  w.uint_field(wire::counters::responses, c.responses);
  w.uint_field(wire::counters::timeouts, c.timeouts);
  w.uint_field(wire::counters::negative_responses, c.negative_responses);
  w.uint_field(wire::counters::pending_responses, c.pending_responses);
  w.uint_field(wire::counters::isotp_dropped, c.isotp_dropped);
  w.uint_field(wire::counters::lines_discarded, c.lines_discarded);
  w.uint_field(wire::counters::adapter_reopened, c.adapter_reopened);
  w.uint_field(wire::counters::refused_transmits, c.refused_transmits);
  w.uint_field(wire::counters::requests_while_parked, c.requests_while_parked);
  w.uint_field(wire::counters::foreign_tester_events, c.foreign_tester_events);
  w.uint_field(wire::counters::card_write_failures, c.card_write_failures);
  w.uint_field(wire::counters::dropped_samples, c.dropped_samples);
  w.uint_field(wire::counters::other_frames_per_s, c.other_frames_per_s);
  w.uint_field(wire::counters::echoed_frames, c.echoed_frames);
  w.uint_field(wire::counters::late_answers, c.late_answers);
  w.uint_field(wire::counters::reply_wait_ms, c.reply_wait_ms);
  put_message(out, wire::session::counters, item, w);
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

std::string_view logger_version() { return PACKMILE_VERSION; }

void SessionWriter::start() {
  pending_ = true;
  head_written_ = false;
  next_ecu_ = 0;
  next_poll_ = 0;
  next_owners_ = 0;
}

std::size_t SessionWriter::write(const SessionSource& source,
                                 std::span<std::uint8_t, kSectorPayloadBytes> out) {
  constexpr std::size_t kRoom = kSectorPayloadBytes - kFrameBytes - kEndBytes - kNotFoundBytes;
  wire::Writer body(out.subspan<kFrameBytes>());
  body.uint_field(wire::session::tick_ms, source.tick);
  // Repeated in every part: a part that stands alone must say whose it is.
  body.bytes_field(wire::session::logger_version, bytes_of(logger_version()));
  body.bytes_field(wire::session::van, bytes_of(source.van));
  if (source.map) body.bytes_field(wire::session::vin, bytes_of(source.map->vin.view()));
  const bool first_part = !head_written_;
  if (first_part) {
    body.uint_field(wire::session::reset_cause, static_cast<std::uint8_t>(source.reset_cause));
    if (source.clock) put_clock(body, *source.clock);
    if (source.kbit_per_s != 0) put_bus(body, source.kbit_per_s, source.extended_ids);
  }
  // Fields go out in ascending order, as libprotobuf writes them.
  const std::size_t room = first_part ? kRoom - kTailBytes : kRoom;
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
    room_left = put_item(body, kRoom + kEndBytes, wire::session::owners_signal,
                         source.owners->message(next_owners_));
    if (room_left) ++next_owners_;
  }
  body.uint_field(wire::session::not_found_in_row, source.not_found_in_row);
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
