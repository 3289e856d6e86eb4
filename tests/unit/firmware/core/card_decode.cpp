#include "card_decode.hpp"

#include "packmile.pb.h"

namespace packmile::test {
namespace {

template <typename Field>
std::vector<std::int64_t> summed(const Field& deltas) {
  std::vector<std::int64_t> values;
  std::int64_t sum = 0;
  for (const auto delta : deltas) values.push_back(sum += delta);
  return values;
}

// The words of one column, whichever way it is stored; the mask is applied by
// the caller's signal width: 1, 2 or 4 bytes.
template <typename Deltas, typename Words, typename Lengths>
std::vector<std::uint32_t> column(const Deltas& c, const Words& r, const Lengths& n, int rows,
                                  std::uint32_t mask) {
  std::vector<std::uint32_t> out;
  if (c.size() != 0) {
    for (const std::int64_t v : summed(c)) out.push_back(static_cast<std::uint32_t>(v) & mask);
    return out;
  }
  const auto words = summed(r);
  for (std::size_t i = 0; i < words.size(); ++i) {
    const bool last = i + 1 == words.size();
    const std::size_t until =
        last ? static_cast<std::size_t>(rows) : out.size() + n.Get(static_cast<int>(i));
    while (out.size() < until) out.push_back(static_cast<std::uint32_t>(words[i]) & mask);
  }
  return out;
}

std::uint32_t mask_of(int signal) {
  if (signal >= 1000) return 0xFFFFFFFF;  // an owner's
  switch (signal) {
    case ODOMETER_KM:
    case MONITOR_STATUS:
    case REPORTED_B2:
      return 0xFFFFFFFF;
    case PACK_V:
    case PACK_A:
    case MODULE_V:
    case RUN_TIME_S:
    case DISTANCE_SINCE_CLEAR_KM:
    case TIME_SINCE_CLEAR_MIN:
    case MIL_DISTANCE_KM:
    case MIL_TIME_MIN:
    case REFERENCE_TORQUE_NM:
    case DISTANCE_SINCE_REFLASH_KM:
      return 0xFFFF;
  }
  return 0xFF;
}

void read_block(std::uint64_t base_ms, const Block& b, std::vector<DecodedSample>& out) {
  std::vector<std::uint64_t> ticks;
  std::int64_t step = b.period_ms();
  std::int64_t at = 0;
  for (int i = 0; i < b.time_size(); ++i) {
    if (i == 0) {
      at = b.time(0);
    } else {
      step += b.time(i);
      at += step;
    }
    ticks.push_back(base_ms + static_cast<std::uint64_t>(at));
  }
  for (int k = 0; k < b.signal_size(); ++k) {
    const std::uint32_t mask = mask_of(b.signal(k));
    std::vector<std::uint32_t> words;
    const int rows = b.time_size();
    if (k == 0) words = column(b.c0(), b.r0(), b.n0(), rows, mask);
    if (k == 1) words = column(b.c1(), b.r1(), b.n1(), rows, mask);
    if (k == 2) words = column(b.c2(), b.r2(), b.n2(), rows, mask);
    if (k == 3) words = column(b.c3(), b.r3(), b.n3(), rows, mask);
    if (k == 4) words = column(b.c4(), b.r4(), b.n4(), rows, mask);
    if (k == 5) words = column(b.c5(), b.r5(), b.n5(), rows, mask);
    for (std::size_t i = 0; i < words.size() && i < ticks.size(); ++i)
      out.push_back(
          {b.ecu(), static_cast<std::uint32_t>(b.signal(k)), b.period_ms(), ticks[i], words[i]});
  }
}

void put(const OwnersFields& from, OwnersSignal& to) {
  to.set_id(from.id);
  to.set_request_id(from.request_id);
  to.set_did(from.did);
  to.set_first_byte(from.first_byte);
  to.set_bytes(from.bytes);
  to.set_first_bit(from.first_bit);
  to.set_bits(from.bits);
  to.set_little_endian(from.little_endian);
  to.set_is_signed(from.is_signed);
  to.set_period_ms(from.period_ms);
  to.set_role(static_cast<Role>(from.role));
  to.set_scale(from.scale);
  to.set_offset(from.offset);
  to.set_name(from.name);
  to.set_unit(from.unit);
  to.set_code_scale_q16(from.code_scale_q16);
  to.set_code_offset(from.code_offset);
}

}  // namespace

DecodedRecord decode_record(std::span<const std::uint8_t> payload) {
  DecodedRecord out;
  Record record;
  out.parsed = record.ParseFromArray(payload.data(), static_cast<int>(payload.size()));
  // Canonical: libprotobuf writes the same bytes again.
  if (out.parsed && record.SerializeAsString() !=
                        std::string(reinterpret_cast<const char*>(payload.data()), payload.size()))
    out.parsed = false;
  if (!out.parsed) return out;
  out.base_ms = record.base_ms();
  out.dropped_samples = record.dropped_samples();
  for (const Block& block : record.block()) read_block(record.base_ms(), block, out.samples);
  out.has_session = record.has_session();
  const Session& s = record.session();
  out.session.tick_ms = s.tick_ms();
  out.session.listen_only_s = s.listen_only_s();
  out.session.not_found_in_row = s.not_found_in_row();
  out.session.logger_version = s.logger_version();
  out.session.van = s.van();
  out.session.vin = s.vin();
  out.session.reset_cause = s.reset_cause();
  out.session.clock_source = s.clock().source();
  out.session.clock_unix_ms = s.clock().unix_ms();
  out.session.clock_tick_ms = s.clock().tick_ms();
  out.session.kbit_per_s = s.bus().kbit_per_s();
  out.session.extended_ids = s.bus().extended_ids();
  for (const Ecu& e : s.ecu())
    out.session.ecu.push_back(
        {e.response_id(), e.name(), e.calibration_id(), e.supported_pids(), e.supported_dids()});
  for (const Poll& p : s.poll())
    out.session.poll.push_back({p.ecu(), p.pid(), p.period_ms(), p.by_did(), p.owners_did()});
  for (const OwnersSignal& o : s.owners_signal()) {
    const std::string bytes = o.SerializeAsString();
    out.session.owners.emplace_back(bytes.begin(), bytes.end());
  }
  out.session.has_counters = s.has_counters();
  out.session.requests = s.counters().requests();
  out.session.responses = s.counters().responses();
  out.session.refused_transmits = s.counters().refused_transmits();
  out.session.dropped_samples = s.counters().dropped_samples();
  out.session.card_write_failures = s.counters().card_write_failures();
  out.session.requests_while_parked = s.counters().requests_while_parked();
  out.session.timeouts = s.counters().timeouts();
  out.session.isotp_dropped = s.counters().isotp_dropped();
  out.session.lines_discarded = s.counters().lines_discarded();
  out.session.pending_responses = s.counters().pending_responses();
  out.session.foreign_tester_events = s.counters().foreign_tester_events();
  for (int i = 0; i < Counters::descriptor()->field_count(); ++i) {
    const auto* field = Counters::descriptor()->field(i);
    out.session.counters[field->name()] =
        s.counters().GetReflection()->GetUInt32(s.counters(), field);
  }
  out.session.has_fault = s.has_fault();
  out.session.fault = {s.fault().exception(), s.fault().program_counter(),
                       s.fault().link_register(), s.fault().status()};
  out.session.clean_stop = s.clean_stop();
  out.session.supply_min_mv = s.supply_min_mv();
  return out;
}

std::vector<std::uint8_t> encode_owners(const OwnersFields& fields) {
  OwnersSignal o;
  put(fields, o);
  const std::string bytes = o.SerializeAsString();
  return {bytes.begin(), bytes.end()};
}

std::vector<std::pair<std::uint32_t, std::uint32_t>> dids_of_settings(
    std::span<const std::uint8_t> record) {
  std::vector<std::pair<std::uint32_t, std::uint32_t>> dids;
  Record read;
  if (!read.ParseFromArray(record.data(), static_cast<int>(record.size()))) return dids;
  for (const OwnersSignal& o : read.settings().owners_signal())
    dids.emplace_back(o.request_id(), o.did());
  return dids;
}

std::vector<std::uint8_t> encode_settings(const SettingsFields& fields) {
  Record record;
  Settings& s = *record.mutable_settings();
  s.set_van(fields.van);
  s.set_prepared_unix_ms(fields.prepared_unix_ms);
  if (fields.driving_period_ms >= 0)
    s.set_driving_period_ms(static_cast<std::uint32_t>(fields.driving_period_ms));
  if (fields.charging_period_ms >= 0)
    s.set_charging_period_ms(static_cast<std::uint32_t>(fields.charging_period_ms));
  s.set_driving_deadline_ms(fields.driving_deadline_ms);
  s.set_charging_deadline_ms(fields.charging_deadline_ms);
  s.set_battery(static_cast<Battery>(fields.battery));
  for (const OwnersFields& one : fields.owners) put(one, *s.add_owners_signal());
  const std::string bytes = record.SerializeAsString();
  return {bytes.begin(), bytes.end()};
}

}  // namespace packmile::test
