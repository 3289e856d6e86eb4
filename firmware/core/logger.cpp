#include "core/logger.hpp"

#include <algorithm>

#include "core/answer_blocks.hpp"
#include "obd_address.hpp"

namespace packmile {
namespace {

// Failed reads of one sector that are tried again at once; then it counts as
// unreadable, as long as the card reads others. Common practice, no source.
constexpr std::uint8_t kReadTries = 3;
// So many unreadable sectors in a row are no damage but a card that is not
// there: taking them for an empty log would overwrite it.
constexpr std::uint8_t kUnreadableInRow = 16;
// After so many tries, a second apart, sector 0 is given up and the ring is
// asked for its log id.
constexpr std::uint8_t kSettingsTries = 10;
constexpr Tick kReadRestMs = 1'000;
// A clock reading is told again when it is this much newer, or says something
// else by more than a second.
constexpr Tick kClockTellMs = 10ull * 60'000;
constexpr std::uint64_t kClockStepMs = 1'000;

std::uint16_t kbit_of(bool rate_250) { return rate_250 ? 250 : 500; }

// Crc of the values, for ids that must differ from boot to boot.
std::uint32_t hash_of(std::span<const std::uint32_t> values) {
  std::array<std::uint8_t, 32> bytes{};
  std::size_t n = 0;
  for (const std::uint32_t value : values)
    for (std::size_t shift = 0; shift < 32 && n < bytes.size(); shift += 8)
      bytes[n++] = static_cast<std::uint8_t>(value >> shift);
  return crc32c(std::span(bytes).first(n));
}

bool tells_more(const WallClockReading& reading, const std::optional<WallClockReading>& told) {
  if (!told || reading.source != told->source) return true;
  if (reading.tick - told->tick >= kClockTellMs) return true;
  const std::uint64_t now_offset = reading.unix_ms - reading.tick;
  const std::uint64_t told_offset = told->unix_ms - told->tick;
  return now_offset - told_offset > kClockStepMs && told_offset - now_offset > kClockStepMs;
}

}  // namespace

Logger::Logger(const PowerUp& power_up) : power_up_(power_up) {
  switch (power_up.layout) {
    case CardLayout::log:
      begin_log({0, static_cast<std::uint32_t>(
                        std::min<std::uint64_t>(power_up.card_sectors, 0xFFFFFFFFu))});
      break;
    case CardLayout::volume:
      begin_volume();
      break;
  }
}

// Time that runs backwards stands still. False: stopped, nothing counts.
bool Logger::advance(Tick now) {
  if (now > now_) now_ = now;
  gate_.set_time(now_);
  return !stopped();
}

void Logger::on_bytes(Tick now, std::span<const std::uint8_t> bytes) {
  if (!advance(now) || phase_ == Phase::link_down) return;
  // Line by line to the end, so that the chunking cannot be seen.
  for (const std::uint8_t byte : bytes) {
    const std::optional<SlcanEvent> event = reader_.on_byte(byte);
    if (!event) continue;
    on_line(*event);
    service();
  }
}

void Logger::on_supply(Tick now, std::uint16_t millivolts) {
  if (!advance(now)) return;
  if (supply_min_mv_ == 0 || millivolts < supply_min_mv_) supply_min_mv_ = millivolts;
  wake_.on_supply(now_, millivolts);
  duty_.on_supply_low(now_, !wake_.supply_high());
  if (!wake_.supply_too_low()) {
    supply_low_since_.reset();
  } else if (!supply_low_since_) {
    supply_low_since_ = now_;
  }
  service();
}

void Logger::on_clock(Tick now, const WallClockReading& reading) {
  if (!advance(now) || reading.source == WallClockSource::none) return;
  clock_ = reading;
  if (tells_more(reading, clock_told_)) {
    clock_told_ = reading;
    want_session();
  }
  service();
}

void Logger::on_adapter(Tick now, AdapterLink link) {
  if (!advance(now)) return;
  switch (link) {
    case AdapterLink::up:
      if (phase_ != Phase::link_down) return;
      if (link_was_up_) ++adapter_reopened_;
      link_was_up_ = true;
      open_adapter();
      break;
    case AdapterLink::lost:
      if (phase_ == Phase::link_down) return;
      gate_.link_lost();
      reader_.reset();
      script_.stop();
      abandon_receptions();
      end_exchange();
      if (phase_ != Phase::stopping) phase_ = Phase::link_down;
      break;
  }
  service();
}

void Logger::on_time(Tick now) {
  if (now < deadline() || !advance(now)) return;
  if (read_again_at_ && now_ >= *read_again_at_) read_again_at_.reset();
  log_.on_time(now_);
  // A boot that has nothing to write must not look like one that was cut short.
  if (!lasted_told_ && log_.started() && now_ >= kResetWindowMs) {
    lasted_told_ = true;
    want_session();
  }
  on_bus_time();
  service();
}

void Logger::on_stop(Tick now) {
  if (!advance(now) || stop_wanted_) return;
  stop_wanted_ = true;
  end_exchange();
  abandon_receptions();
  log_.close();
  // The last counters of this boot.
  if (log_.started()) want_session();
  static constexpr std::array kClose{AdapterCommand::close};
  const bool link_up = phase_ != Phase::link_down;
  phase_ = Phase::stopping;
  if (link_up) run_script(Phase::stopping, kClose);
  service();
}

bool Logger::stopped() const {
  if (!stop_wanted_) return false;
  if (script_.running() || !gate_.empty()) return false;
  if (!log_.started() || log_.card_trouble()) return true;
  return log_.idle() && !session_.pending();
}

std::size_t Logger::take_bytes(std::span<std::uint8_t> out) { return gate_.take_bytes(out); }

std::optional<CardRequest> Logger::take_card_request() {
  if (card_request_open_ || stopped()) return std::nullopt;
  std::optional<CardRequest> request;
  switch (card_phase_) {
    case CardPhase::volume:
      // Its addresses are those of the card.
      if (const std::optional<std::uint32_t> wanted = extent_search_.wanted();
          wanted && !read_again_at_) {
        card_request_open_ = true;
        return CardRequest{.operation = CardOperation::read, .address = *wanted};
      }
      break;
    case CardPhase::settings:
      if (!read_again_at_) request = CardRequest{.operation = CardOperation::read, .address = 0};
      break;
    case CardPhase::search:
      if (const std::optional<std::uint32_t> wanted = search_.wanted(); wanted && !read_again_at_)
        request = CardRequest{.operation = CardOperation::read, .address = kHeadSectors + *wanted};
      break;
    case CardPhase::history:
      if (const std::optional<std::uint32_t> wanted = history_.wanted(); wanted && !read_again_at_)
        request = CardRequest{.operation = CardOperation::read, .address = kHeadSectors + *wanted};
      break;
    case CardPhase::writing:
      request = log_.take_write();
      break;
    case CardPhase::no_log:
      break;
  }
  card_request_open_ = request.has_value();
  if (request) request->address += log_first_sector_;
  return request;
}

void Logger::on_card(Tick now, const CardAnswer& answer) {
  if (!advance(now) || !card_request_open_) return;
  card_request_open_ = false;
  if (card_phase_ == CardPhase::writing) {
    log_.on_written(now_, answer.ok);
  } else {
    on_read(answer);
  }
  service();
}

void Logger::on_read(const CardAnswer& answer) {
  if (!answer.ok || !answer.sector) {
    on_read_failed();
    return;
  }
  card_was_read_ = true;
  unreadable_in_row_ = 0;
  read_tries_ = 0;
  const std::uint8_t* crc = answer.sector + kSectorCrcOffset;
  const std::uint32_t seen =
      static_cast<std::uint32_t>(crc[0]) | static_cast<std::uint32_t>(crc[1]) << 8 |
      static_cast<std::uint32_t>(crc[2]) << 16 | static_cast<std::uint32_t>(crc[3]) << 24;
  card_hash_ = hash_of(std::array{card_hash_, seen});
  switch (card_phase_) {
    case CardPhase::volume:
      on_volume_read(answer.sector);
      break;
    case CardPhase::settings:
      on_settings_read(answer.sector);
      break;
    case CardPhase::search:
      on_ring_read(answer.sector);
      break;
    case CardPhase::history:
      history_.on_sector(std::span<const std::uint8_t, kSectorBytes>(answer.sector, kSectorBytes));
      if (!history_.wanted()) begin_writing();
      break;
    case CardPhase::writing:
    case CardPhase::no_log:
      break;
  }
}

void Logger::on_read_failed() {
  if (read_tries_ < 0xFF) ++read_tries_;
  if (read_tries_ < kReadTries) return;  // at once
  if (card_phase_ == CardPhase::volume) {
    if (read_tries_ >= kSettingsTries) {
      read_tries_ = 0;
      extent_search_.on_unreadable();
      on_volume_step();
      return;
    }
  } else if (card_phase_ == CardPhase::settings) {
    if (read_tries_ >= kSettingsTries) {
      read_tries_ = 0;
      settings_outcome_ = SettingsOutcome::no_settings;
      begin_search();
      return;
    }
  } else if (card_was_read_ && unreadable_in_row_ < kUnreadableInRow) {
    ++unreadable_in_row_;
    read_tries_ = 0;
    if (card_phase_ == CardPhase::history) {
      history_.on_unreadable();
      if (!history_.wanted()) begin_writing();
      return;
    }
    search_.on_sector({.place = RingPlace::unreadable});
    if (search_.finished()) end_search();
    return;
  }
  read_again_at_ = now_ + kReadRestMs;
}

void Logger::begin_volume() {
  extent_search_ = LogExtentSearch(power_up_.card_sectors);
  card_phase_ = CardPhase::volume;
  extent_outcome_ = extent_search_.outcome();
  if (extent_search_.finished()) card_phase_ = CardPhase::no_log;
}

void Logger::on_volume_read(const std::uint8_t* sector) {
  const std::span<const std::uint8_t, kSectorBytes> read(sector, kSectorBytes);
  SectorHeader header;
  if (extent_search_.wanted() == 0u && read_sector(read, header) == SectorVerdict::good &&
      header.kind == SectorKind::settings) {
    // No file system at all: the log from the first sector on.
    begin_log({0, static_cast<std::uint32_t>(
                      std::min<std::uint64_t>(power_up_.card_sectors, 0xFFFFFFFFu))});
    return;
  }
  extent_search_.on_sector(read);
  on_volume_step();
}

void Logger::on_volume_step() {
  extent_outcome_ = extent_search_.outcome();
  switch (extent_outcome_) {
    case ExtentOutcome::searching:
      break;
    case ExtentOutcome::found:
      begin_log(extent_search_.extent());
      break;
    case ExtentOutcome::unreadable:
      // A card that is put in later is as good as one that was there.
      extent_search_ = LogExtentSearch(power_up_.card_sectors);
      read_again_at_ = now_ + kReadRestMs;
      break;
    case ExtentOutcome::no_file_system:
    case ExtentOutcome::other_file_system:
    case ExtentOutcome::bad_file_system:
    case ExtentOutcome::no_log_file:
    case ExtentOutcome::too_small:
    case ExtentOutcome::fragmented:
    case ExtentOutcome::beyond_card:
      card_phase_ = CardPhase::no_log;
      break;
  }
}

void Logger::begin_log(const LogExtent& extent) {
  extent_outcome_ = ExtentOutcome::found;
  log_first_sector_ = extent.first_sector;
  ring_sectors_ = ring_sectors_of(extent.sectors);
  card_phase_ = CardPhase::settings;
  if (ring_sectors_ == 0) {
    extent_outcome_ = ExtentOutcome::too_small;
    card_phase_ = CardPhase::no_log;
  }
}

void Logger::on_settings_read(const std::uint8_t* sector) {
  std::optional<SectorHeader> header;
  settings_outcome_ =
      read_settings_sector(std::span<const std::uint8_t, kSectorBytes>(sector, kSectorBytes),
                           settings_, owners_, header);
  gate_.allow_dids(owners_.dids());
  if (header) {
    log_id_ = header->log_id;
    // A file that is longer than the ring it was prepared for keeps that ring;
    // a shorter one has lost its end.
    if (header->ring_sectors < ring_sectors_) ring_sectors_ = header->ring_sectors;
  }
  log_.set_deadline_ms(settings_.driving_deadline_ms);
  wake_.set_levels(levels_of(settings_.battery));
  begin_search();
  // The bus was faster than the card: what was found so far was found without
  // the owner's list.
  if (owners_.size() != 0) discover_anew();
}

void Logger::begin_search() {
  search_ = LogEndSearch(ring_sectors_);
  card_phase_ = CardPhase::search;
}

void Logger::on_ring_read(const std::uint8_t* sector) {
  const std::optional<std::uint32_t> wanted = search_.wanted();
  if (!wanted) return;
  search_.on_sector(
      judge_ring_sector(std::span<const std::uint8_t, kSectorBytes>(sector, kSectorBytes), *wanted,
                        ring_sectors_, log_id_));
  if (search_.finished()) end_search();
}

void Logger::end_search() {
  if (log_id_) history_ = BootHistory(*log_id_, ring_sectors_, search_.newest_sequence());
  if (history_.wanted())
    card_phase_ = CardPhase::history;
  else
    begin_writing();
}

void Logger::begin_writing() {
  const std::optional<std::uint32_t> newest = search_.newest_sequence();
  // What differs between boots: the port's entropy; the end of the log, which
  // every boot that wrote anything moved on; how long all this took.
  const std::uint32_t boot_id =
      hash_of(std::array{power_up_.entropy, card_hash_, newest.value_or(0xFFFFFFFF),
                         log_id_.value_or(0), static_cast<std::uint32_t>(now_), search_.reads()});
  // Neither settings nor one good sector: a log of its own.
  if (!log_id_) log_id_ = boot_id;
  log_.start(*log_id_, boot_id, ring_sectors_, newest);
  card_phase_ = CardPhase::writing;
  if (!van_known()) wake_.go_on_after(history_.not_found_in_row());
  want_session();
}

LoggerCounters Logger::counters() const {
  LoggerCounters c;
  c.requests = gate_.requests();
  c.responses = responses_;
  c.timeouts = timeouts_;
  c.negative_responses = negative_responses_;
  c.pending_responses = pending_responses_;
  for (std::size_t i = 0; i < receivers_; ++i) c.isotp_dropped += receiver_[i].dropped();
  c.lines_discarded = lines_discarded_;
  c.adapter_reopened = adapter_reopened_;
  c.refused_transmits = gate_.refused();
  c.requests_while_parked = gate_.requests_while_parked();
  c.foreign_tester_events = foreign_tester_events_;
  c.card_write_failures = log_.write_failures();
  c.dropped_samples = log_.dropped_samples();
  c.other_frames_per_s = other_frames_per_s_;
  c.echoed_frames = echoed_frames_;
  c.late_answers = late_answers_;
  if (reply_ms_ != kReplyMs) c.reply_wait_ms = static_cast<std::uint32_t>(reply_ms_);
  return c;
}

SessionSource Logger::session_source() const {
  // In one piece: its parts are made where they stay.
  SessionSource source{
      .tick = now_,
      .van = {settings_.van.data(), settings_.van_bytes},
      .reset_cause = power_up_.reset_cause,
      .clock = clock_,
      .owners = &owners_,
      .counters = counters(),
      .supply_min_mv = supply_min_mv_,
      .clean_stop = stop_wanted_,
      .listen_only_s = reset_too_often() ? static_cast<std::uint32_t>(kListenOnlyMs / 1'000) : 0,
      .not_found_in_row = wake_.not_found_in_row(),
      .fault = power_up_.fault};
  if (!clock_ && settings_.prepared_unix_ms != 0)
    source.clock = WallClockReading{.source = WallClockSource::prepared,
                                    .unix_ms = settings_.prepared_unix_ms};
  if (van_known()) {
    source.map = &discovery_.map();
    source.polls = plan_.polls();
    source.kbit_per_s = kbit_of(rate_ == Rate::kbit_250);
    source.extended_ids = discovery_.map().ecu[0].extended;
  }
  return source;
}

void Logger::write_session() {
  if (log_.session_due() && !session_.pending()) want_session();
  if (!session_.pending()) return;
  const std::span<std::uint8_t> room = log_.session_space();
  if (room.empty()) return;
  log_.seal_session(session_.write(session_source(), std::span<std::uint8_t, kSectorPayloadBytes>(
                                                         room.data(), kSectorPayloadBytes)));
}

void Logger::keep(Tick tick, const PollRequest& poll, std::span<const RawWord> words) {
  for_each_block(poll, words, [&](const BlockKey& key, std::span<const std::uint32_t> raw) {
    log_.add(tick, key, raw);
  });
}

void Logger::service() {
  progress();
  write_session();
}

Tick Logger::sooner(Tick first, const std::optional<Tick>& due) {
  return due && *due < first ? *due : first;
}

Tick Logger::deadline() const {
  if (stopped()) return kNoDeadline;
  Tick first = sooner(bus_deadline(), read_again_at_);
  first = sooner(first, log_.deadline());
  if (!lasted_told_ && log_.started() && kResetWindowMs < first) first = kResetWindowMs;
  return first;
}

Light Logger::light() const {
  const bool card_fails = log_.card_trouble() || read_again_at_.has_value();
  if (card_phase_ == CardPhase::no_log || card_fails) return Light::card_trouble;
  if (phase_ == Phase::link_down ? link_was_up_ : !adapter_answers_) return Light::adapter_trouble;
  if (phase_ == Phase::polling && log_.started()) return Light::recording;
  if (phase_ == Phase::waiting) return Light::waiting;
  return Light::starting;
}

}  // namespace packmile
