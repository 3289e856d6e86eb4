#include "card/boot_facts.hpp"

#include <algorithm>

#include "packmile.pb.h"

namespace packmile {
namespace {

// More than these in one boot are a forgery: 29-bit addressing has 256 ECUs of
// at most 256 PIDs, a van answers a few dozen sets, a clock is read hourly.
constexpr std::size_t kMostEcus = 256;
constexpr std::size_t kMostPolled = 1024;
constexpr std::size_t kMostAnsweredSets = 256;
constexpr std::size_t kMostClockReadings = 100'000;
// The VIN is 17 characters; what is longer is none.
constexpr std::size_t kMostVinChars = 17;

EcuFacts* ecu_of(BootFacts& boot, std::uint32_t response_id) {
  const auto at =
      std::lower_bound(boot.ecus.begin(), boot.ecus.end(), response_id,
                       [](const EcuFacts& e, std::uint32_t id) { return e.response_id < id; });
  if (at != boot.ecus.end() && at->response_id == response_id) return &*at;
  if (boot.ecus.size() == kMostEcus) return nullptr;
  EcuFacts facts;
  facts.response_id = response_id;
  return &*boot.ecus.insert(at, std::move(facts));
}

void add_supported(std::vector<std::uint8_t>& pids, const std::string& bitmaps) {
  // Eight bitmaps of four bytes cover all PIDs.
  const std::size_t bytes = std::min<std::size_t>(bitmaps.size(), 32);
  for (std::size_t i = 0; i < bytes; ++i) {
    const auto bits = static_cast<std::uint8_t>(bitmaps[i]);
    for (std::size_t bit = 0; bit < 8; ++bit) {
      const std::size_t pid = i * 8 + bit + 1;
      if ((bits >> (7 - bit) & 1) == 0 || pid > 0xFF) continue;
      const auto at = std::lower_bound(pids.begin(), pids.end(), static_cast<std::uint8_t>(pid));
      if (at == pids.end() || *at != pid) pids.insert(at, static_cast<std::uint8_t>(pid));
    }
  }
}

// Ids are those of the settings' list: 1000 to 1015.
void add_owners_signal(BootFacts& boot, const OwnersSignal& message, std::uint32_t& contradicted) {
  auto definition = definition_of(message);
  if (!definition) {
    boot.broken_definition = true;
    return;
  }
  const auto id = static_cast<SignalId>(message.id());
  const std::uint32_t bit = 1u << (id - kFirstOwnersSignal);
  if ((contradicted & bit) != 0) return;
  const auto at =
      std::lower_bound(boot.owners_signals.begin(), boot.owners_signals.end(), id,
                       [](const BootOwnersSignal& s, SignalId wanted) { return s.id < wanted; });
  if (at == boot.owners_signals.end() || at->id != id) {
    boot.owners_signals.insert(at, {id, std::move(*definition)});
  } else if (at->definition != *definition) {
    // Which of the two made the words cannot be known.
    boot.owners_signals.erase(at);
    contradicted |= bit;
    boot.broken_definition = true;
  }
}

void add_session(BootFacts& boot, const Session& session) {
  if (!session.van().empty()) boot.van = session.van();
  if (!session.vin().empty() && session.vin().size() <= kMostVinChars) boot.vin = session.vin();
  if (!session.logger_version().empty()) boot.logger_version = session.logger_version();
  for (const Ecu& ecu : session.ecu()) {
    EcuFacts* facts = ecu_of(boot, ecu.response_id());
    if (!facts) continue;
    if (!ecu.name().empty()) facts->name = ecu.name();
    if (!ecu.calibration_id().empty()) facts->calibration_id = ecu.calibration_id();
    add_supported(facts->supported_pids, ecu.supported_pids());
    add_supported(facts->supported_dids, ecu.supported_dids());
  }
  for (const Poll& poll : session.poll()) {
    for (const char pid : poll.pid()) {
      const PolledPid polled{poll.ecu(), static_cast<std::uint8_t>(pid), poll.by_did()};
      const auto at = std::lower_bound(boot.polled.begin(), boot.polled.end(), polled);
      if ((at == boot.polled.end() || *at != polled) && boot.polled.size() < kMostPolled)
        boot.polled.insert(at, polled);
    }
  }
  for (const OwnersSignal& signal : session.owners_signal())
    add_owners_signal(boot, signal, boot.contradicted_ids);
  if (session.has_counters()) {
    // They only grow within a boot, and sectors may come in any order.
    const Counters& c = session.counters();
    const auto keep = [](std::uint64_t& most, std::uint32_t value) {
      most = std::max<std::uint64_t>(most, value);
    };
    keep(boot.counters.requests_while_parked, c.requests_while_parked());
    keep(boot.counters.refused_transmits, c.refused_transmits());
    keep(boot.counters.foreign_tester_events, c.foreign_tester_events());
    keep(boot.counters.dropped_samples, c.dropped_samples());
    keep(boot.counters.other_frames_per_s, c.other_frames_per_s());
    keep(boot.counters.echoed_frames, c.echoed_frames());
    keep(boot.counters.late_answers, c.late_answers());
    keep(boot.counters.reply_wait_ms, c.reply_wait_ms());
  }
  boot.reset_too_often = boot.reset_too_often || session.listen_only_s() != 0;
  if (session.has_fault()) {
    const Fault& f = session.fault();
    boot.fault = {f.exception(), f.program_counter(), f.link_register(), f.status()};
  }
  if (session.reset_cause() == RESET_WATCHDOG)
    boot.failure = LoggerFailure::watchdog;
  else if (session.reset_cause() == RESET_FAULT || session.has_fault())
    boot.failure = LoggerFailure::fault;
  if (session.supply_min_mv() != 0)
    boot.supply_min_mv = boot.supply_min_mv == 0
                             ? session.supply_min_mv()
                             : std::min(boot.supply_min_mv, session.supply_min_mv());
  if (session.has_clock()) {
    const packmile::ClockReading& c = session.clock();
    const ClockSample sample{static_cast<std::uint8_t>(c.source() & 0xFF), c.unix_ms(), c.tick_ms(),
                             c.resolution_ms()};
    // Each session record repeats the newest reading.
    if ((boot.clock_readings.empty() || boot.clock_readings.back() != sample) &&
        boot.clock_readings.size() < kMostClockReadings)
      boot.clock_readings.push_back(sample);
  }
}

void count_block(BootFacts& boot, const BlockView& block) {
  for (AnsweredSet& set : boot.answered) {
    if (set.ecu == block.ecu && set.signals == block.signals &&
        std::equal(block.signal.begin(),
                   block.signal.begin() + static_cast<std::ptrdiff_t>(block.signals),
                   set.signal.begin())) {
      set.rows += block.rows;
      return;
    }
  }
  if (boot.answered.size() == kMostAnsweredSets) return;
  AnsweredSet set;
  set.ecu = block.ecu;
  set.signals = static_cast<std::uint8_t>(block.signals);
  std::copy_n(block.signal.begin(), block.signals, set.signal.begin());
  set.rows = block.rows;
  boot.answered.push_back(set);
}

}  // namespace

void BootCensus::add_samples(BootFacts& boot, std::span<const std::uint8_t> payload) {
  if (!(depth_ == Depth::whole ? decoder_.decode(payload) : decoder_.decode_sets(payload))) {
    ++boot.malformed_records;
    return;
  }
  if (decoder_.blocks().empty()) return;
  Tick first = decoder_.blocks()[0].first_tick;
  for (const BlockView& block : decoder_.blocks()) {
    first = std::min(first, block.first_tick);
    count_block(boot, block);
  }
  boot.first_tick = std::min(boot.first_tick.value_or(first), first);
  pending_boot_ = &boot;
  pending_bytes_ = payload.size();
  std::copy(payload.begin(), payload.end(), pending_.begin());
}

void BootCensus::finish() {
  if (!pending_boot_) return;
  BootFacts& boot = *pending_boot_;
  pending_boot_ = nullptr;
  if (!decoder_.decode(std::span(pending_).first(pending_bytes_))) {
    // In a census of times the record counts as good until somebody looks.
    boot.last_tick = std::max(boot.last_tick.value_or(0), boot.first_tick.value_or(0));
    return;
  }
  for (const BlockView& block : decoder_.blocks()) {
    const Tick last = block.tick_ms[block.rows - 1];
    boot.last_tick = std::max(boot.last_tick.value_or(last), last);
  }
}

void BootCensus::add(BootFacts& boot, const SectorHeader& header,
                     std::span<const std::uint8_t> payload) {
  if (pending_boot_ && pending_boot_ != &boot) finish();
  if (boot.sectors == 0) {
    boot.log_id = header.log_id;
    boot.boot_id = header.boot_id;
    boot.first_sequence = boot.last_sequence = header.sequence;
  }
  ++boot.sectors;
  boot.first_sequence = std::min(boot.first_sequence, header.sequence);
  boot.last_sequence = std::max(boot.last_sequence, header.sequence);
  if (header.van_tag != 0) boot.van_tag = header.van_tag;
  switch (header.kind) {
    case SectorKind::data:
      add_samples(boot, payload);
      break;
    case SectorKind::session: {
      Record record;
      if (record.ParseFromArray(payload.data(), static_cast<int>(payload.size())) &&
          record.has_session())
        add_session(boot, record.session());
      else
        ++boot.malformed_records;
      break;
    }
    case SectorKind::settings:
      break;
  }
}

void define_by_settings(BootFacts& boot, const CardSettings& settings) {
  if (!boot.owners_signals.empty() || boot.broken_definition) return;
  SignalId id = kFirstOwnersSignal;
  for (const OwnersDefinition& definition : settings.owners_signals)
    boot.owners_signals.push_back({id++, definition});
}

std::optional<CardSettings> read_settings(std::span<const std::uint8_t> payload) {
  Record record;
  if (!record.ParseFromArray(payload.data(), static_cast<int>(payload.size())) ||
      !record.has_settings())
    return std::nullopt;
  const Settings& s = record.settings();
  CardSettings settings;
  settings.van = s.van();
  settings.prepared_unix_ms = s.prepared_unix_ms();
  settings.unknown_fields = !s.GetReflection()->GetUnknownFields(s).empty();
  for (const OwnersSignal& signal : s.owners_signal()) {
    auto definition = definition_of(signal);
    // The list is in the order of the ids, and so it has no more than it may.
    if (!definition || signal.id() != kFirstOwnersSignal + settings.owners_signals.size()) {
      settings.bad_owners_signal = true;
      break;
    }
    settings.owners_signals.push_back(std::move(*definition));
  }
  if (settings.refused()) settings.owners_signals.clear();
  return settings;
}

}  // namespace packmile
