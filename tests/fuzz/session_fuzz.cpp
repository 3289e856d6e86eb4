// Session records, against libprotobuf: what goes in comes out, joined over as
// many sectors as it takes, in no more than 480 bytes each.
#include <array>
#include <bit>
#include <string>
#include <utility>
#include <vector>

#include "core/session_record.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "packmile.pb.h"

namespace packmile::fuzz {
namespace {

template <std::size_t N>
void take_text(ByteSource& source, FixedText<N>& out) {
  const std::size_t length = source.u8() % (N + 1);
  // What discovery keeps of an answer: printable ASCII.
  for (std::size_t i = 0; i < length; ++i) out.append(static_cast<char>(0x20 + source.u8() % 0x5F));
}

void take_map(ByteSource& source, VanMap& map) {
  take_text(source, map.vin);
  map.ecu_count = static_cast<std::uint8_t>(source.u8() % (kMaxEcus + 1));
  for (std::size_t i = 0; i < map.ecu_count; ++i) {
    VanEcu& ecu = map.ecu[i];
    ecu.response_id = 1 + source.u32() % 0x1FFFFFFF;
    take_text(source, ecu.name);
    take_text(source, ecu.calibration_id);
    for (SupportedPids* bitmaps : {&ecu.pids, &ecu.dids}) {
      const std::uint8_t ranges = source.u8();
      for (unsigned range = 0; range < kPidRanges; ++range) {
        if ((ranges >> range & 1) == 0) continue;
        std::array<std::uint8_t, 4> bits{};
        for (std::uint8_t& byte : bits) byte = source.u8();
        must(bitmaps->set(static_cast<std::uint8_t>(range * 0x20), bits), "a bitmap is taken");
      }
    }
  }
}

// Definitions that are taken, by libprotobuf.
std::vector<std::string> take_owners(ByteSource& source, OwnersSignals& owners) {
  std::vector<std::string> taken(source.u8() % (kMaxOwnersSignals + 1));
  for (std::size_t i = 0; i < taken.size(); ++i) {
    OwnersSignal one;
    one.set_id(static_cast<std::uint32_t>(kFirstOwnersSignal + i));
    one.set_request_id(0x7E0 + source.u8() % 8);
    one.set_did(1 + source.u16() % 0xFFFF);
    one.set_bytes(1 + source.u8() % 4);
    one.set_is_signed(source.u8() % 2 != 0);
    one.set_scale(source.u32());
    one.set_name(std::string(source.u8() % (kMaxOwnersNameBytes + 1), 'n'));
    taken[i] = one.SerializeAsString();
    const std::span bytes(reinterpret_cast<const std::uint8_t*>(taken[i].data()), taken[i].size());
    if (owners.add(bytes)) continue;
    taken.resize(i);  // no room for more
    break;
  }
  return taken;
}

std::vector<PollRequest> take_polls(ByteSource& source) {
  std::vector<PollRequest> polls(source.u8() % (kMaxPolls + 1));
  for (PollRequest& poll : polls) {
    const std::uint8_t how = source.u8();
    poll.response_id = 1 + source.u32() % 0x1FFFFFFF;
    poll.period_ms = source.u32();
    poll.pid_count = static_cast<std::uint8_t>(1 + how % kMaxRequestPids);
    for (std::size_t i = 0; i < poll.pid_count; ++i) poll.pid[i] = source.u8();
    poll.retired = (how & 0x80) != 0;
    poll.by_did = (how & 0x40) != 0;
    if ((how & 0x20) != 0) poll.owners_did = source.u16();
  }
  return polls;
}

// Small or large: a counter takes one byte on the card or five.
std::uint32_t take_counter(ByteSource& source) {
  const std::uint8_t how = source.u8();
  return how < 0x80 ? how : source.u32() | 0x80000000u;
}

LoggerCounters take_counters(ByteSource& source) {
  LoggerCounters c;
  for (std::uint32_t* one :
       {&c.requests, &c.responses, &c.timeouts, &c.negative_responses, &c.pending_responses,
        &c.isotp_dropped, &c.lines_discarded, &c.adapter_reopened, &c.refused_transmits,
        &c.requests_while_parked, &c.foreign_tester_events, &c.card_write_failures,
        &c.dropped_samples, &c.other_frames_per_s, &c.echoed_frames, &c.late_answers,
        &c.reply_wait_ms})
    *one = take_counter(source);
  return c;
}

void check_counters(const Counters& read, const LoggerCounters& c) {
  must(read.requests() == c.requests && read.responses() == c.responses &&
           read.timeouts() == c.timeouts && read.negative_responses() == c.negative_responses &&
           read.pending_responses() == c.pending_responses &&
           read.isotp_dropped() == c.isotp_dropped && read.lines_discarded() == c.lines_discarded &&
           read.adapter_reopened() == c.adapter_reopened &&
           read.refused_transmits() == c.refused_transmits &&
           read.requests_while_parked() == c.requests_while_parked &&
           read.foreign_tester_events() == c.foreign_tester_events &&
           read.card_write_failures() == c.card_write_failures &&
           read.dropped_samples() == c.dropped_samples &&
           read.other_frames_per_s() == c.other_frames_per_s &&
           read.echoed_frames() == c.echoed_frames && read.late_answers() == c.late_answers &&
           read.reply_wait_ms() == c.reply_wait_ms,
       "every counter is told");
}

void check_ecus(const Session& read, const VanMap* map) {
  const std::size_t count = map ? map->ecu_count : 0;
  must(static_cast<std::size_t>(read.ecu_size()) == count, "every ECU is told once");
  for (std::size_t i = 0; i < count; ++i) {
    const Ecu& ecu = read.ecu(static_cast<int>(i));
    const VanEcu& put = map->ecu[i];
    must(ecu.response_id() == put.response_id && ecu.name() == put.name.view() &&
             ecu.calibration_id() == put.calibration_id.view(),
         "an ECU as it was found");
    for (const auto& [read_bitmaps, put_bitmaps] : {std::pair(&ecu.supported_pids(), &put.pids),
                                                    std::pair(&ecu.supported_dids(), &put.dids)}) {
      std::string bitmaps;
      for (std::size_t range = 0; range < put_bitmaps->ranges(); ++range)
        for (int shift = 24; shift >= 0; shift -= 8)
          bitmaps.push_back(static_cast<char>(put_bitmaps->bitmap(range) >> shift));
      must(*read_bitmaps == bitmaps, "its bitmaps as answered");
    }
  }
}

void check_polls(const Session& read, const std::vector<PollRequest>& polls) {
  int at = 0;
  for (const PollRequest& put : polls) {
    if (put.retired) continue;
    must(at < read.poll_size(), "every poll is told");
    const Poll& poll = read.poll(at++);
    must(poll.ecu() == put.response_id && poll.period_ms() == put.period_ms, "a poll as it is");
    must(poll.pid() == std::string(put.pids().begin(), put.pids().end()), "its PIDs");
    must(poll.by_did() == put.by_did && poll.owners_did() == put.owners_did, "and its service");
  }
  must(at == read.poll_size(), "no poll is told twice");
}

}  // namespace

void try_session(Input input) {
  ByteSource source(input);
  const std::uint8_t how = source.u8();
  SessionSource put;
  put.tick = source.u64();
  std::string van(source.u8() % 41, '\0');
  for (char& c : van) c = static_cast<char>(0x20 + source.u8() % 0x5F);
  put.van = van;
  put.reset_cause = static_cast<BootCause>(how % 5);
  if ((how & 0x40) != 0)
    put.clock = WallClockReading{static_cast<WallClockSource>(1 + source.u8() % 4), source.u64(),
                                 source.u64(), source.u32()};
  put.kbit_per_s = source.u16();
  put.extended_ids = (how & 0x20) != 0;
  put.counters = take_counters(source);
  put.supply_min_mv = source.u16();
  VanMap map;
  if ((how & 0x80) != 0) {
    take_map(source, map);
    put.map = &map;
  }
  const std::vector<PollRequest> polls = take_polls(source);
  put.polls = polls;
  put.clean_stop = source.u8() % 2 != 0;
  put.listen_only_s = source.u32();
  put.not_found_in_row = source.u8();
  if (put.reset_cause == BootCause::fault)
    put.fault = {source.u32(), source.u32(), source.u32(), source.u32()};
  OwnersSignals owners;
  const std::vector<std::string> definitions = take_owners(source, owners);
  put.owners = &owners;

  SessionWriter writer;
  writer.start();
  Session joined;
  // Two ECUs, fifteen polls or four definitions fit into the fullest sector; more
  // parts than this would mean that one of them stands still.
  for (int part = 0; writer.pending(); ++part) {
    must(part < 16, "a session record ends");
    std::array<std::uint8_t, kSectorPayloadBytes> out{};
    const std::size_t bytes = writer.write(put, out);
    must(bytes <= out.size(), "a part fits into a sector");
    Record record;
    must(record.ParseFromArray(out.data(), static_cast<int>(bytes)), "libprotobuf reads a part");
    must(record.has_session() && record.block_size() == 0 && !record.has_settings(),
         "a part is a session record");
    const Session& session = record.session();
    must(session.tick_ms() == put.tick && session.logger_version() == logger_version() &&
             session.van() == van && session.vin() == map.vin.view(),
         "each part says whose it is");
    must(session.clean_stop() == put.clean_stop && session.listen_only_s() == put.listen_only_s &&
             session.not_found_in_row() == put.not_found_in_row,
         "each part says how the boot begins or ends");
    must(session.has_counters() == (part == 0), "the first part has the counters");
    must(session.has_fault() == (part == 0 && put.fault.exception != 0), "and a fault");
    const std::string again = record.SerializeAsString();
    must(again == std::string(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(bytes)),
         "libprotobuf writes the same bytes");
    joined.MergeFrom(session);
  }
  must(joined.reset_cause() == static_cast<int>(put.reset_cause), "the cause of the boot");
  const std::array<std::uint32_t, 4> fault{joined.fault().exception(),
                                           joined.fault().program_counter(),
                                           joined.fault().link_register(), joined.fault().status()};
  if (put.fault.exception != 0)
    must(fault == std::bit_cast<std::array<std::uint32_t, 4>>(put.fault), "a fault as it was");
  must(joined.has_clock() == put.clock.has_value(), "a clock if there is one");
  if (put.clock)
    must(joined.clock().unix_ms() == put.clock->unix_ms &&
             joined.clock().tick_ms() == put.clock->tick &&
             joined.clock().resolution_ms() == put.clock->resolution_ms &&
             joined.clock().source() == static_cast<int>(put.clock->source),
         "the clock as it was read");
  must(joined.bus().kbit_per_s() == put.kbit_per_s, "the rate of the bus");
  if (put.kbit_per_s != 0) must(joined.bus().extended_ids() == put.extended_ids, "its ids");
  must(joined.supply_min_mv() == put.supply_min_mv, "the lowest supply");
  check_counters(joined.counters(), put.counters);
  check_ecus(joined, put.map);
  check_polls(joined, polls);
  must(static_cast<std::size_t>(joined.owners_signal_size()) == definitions.size(),
       "every definition is told once");
  for (std::size_t i = 0; i < definitions.size(); ++i)
    must(joined.owners_signal(static_cast<int>(i)).SerializeAsString() == definitions[i],
         "a definition as it came");
}

}  // namespace packmile::fuzz
