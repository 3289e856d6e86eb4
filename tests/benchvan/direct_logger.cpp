#include "benchvan/direct_logger.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "benchvan/bench_error.hpp"
#include "core/answer_blocks.hpp"
#include "core/negative_response.hpp"

namespace packmile::benchvan {
namespace {

constexpr Nanos kDirectClockPeriodNs = 3600 * kNanosPerSecond;
constexpr Tick kBalanceEveryMs = 10'000;
// As the logger does: class Logger.
constexpr Tick kListenMs = 2'000;
constexpr Tick kSilentMs = 10'000;
constexpr std::uint8_t kSilences = 3;
// A frame of 8 bytes with an 11-bit id: its line, with CR, and on the bus. Ids of
// 29 bits take 5 more characters, under half a millisecond: not told apart.
constexpr Nanos kLineNs = 22 * byte_time_ns(115200);
constexpr Nanos kBusNs = bus_time_ns(BusFrame{.length = 8}, 500);
constexpr std::size_t kSingleFrameBytes = 7;
constexpr std::size_t kFirstFrameBytes = 6;

BusFrame bus_frame_of(const CanFrame& frame) {
  return {.id = frame.id,
          .extended = frame.extended,
          .remote = frame.remote,
          .length = frame.length,
          .data = frame.data};
}

// From the first line of an answer to its last: flow control goes out, and the
// rest comes back.
Nanos rest_of_answer_ns(std::size_t bytes) {
  if (bytes <= kSingleFrameBytes) return 0;
  const auto frames =
      static_cast<Nanos>((bytes - kFirstFrameBytes + kSingleFrameBytes - 1) / kSingleFrameBytes);
  return kLineNs + 2 * kBusNs + frames * kLineNs;
}

}  // namespace

std::string fault_of_the_line(const std::vector<std::string>& fault_names) {
  static constexpr std::array<std::string_view, 10> kOfSensorsAndEcus{
      "speed-cut",   "no-odometer",   "no-soc",       "no-vin",         "ids-29bit",
      "ecus-differ", "pids-reversed", "soc-over-100", "current-frozen", "pack-cold"};
  for (const std::string& name : fault_names) {
    if (std::find(kOfSensorsAndEcus.begin(), kOfSensorsAndEcus.end(), name) ==
        kOfSensorsAndEcus.end())
      return name;
  }
  return {};
}

DirectLogger::DirectLogger(Bench& bench, PlannedScene& scene, CardFile& card, Setup setup)
    : bench_(bench), scene_(scene), card_(card), setup_(std::move(setup)) {
  log_.start(setup_.log_id, setup_.entropy, ring_sectors_of(card.sectors()), std::nullopt);
  if (!setup_.origin_unix_ms) next_clock_ns_ = kNever;
  wake_.begin(0, WaitReason::not_found);
  session_.start();
}

void DirectLogger::go_to(Nanos at_ns) { now_ns_ = std::max(now_ns_, at_ns); }

void DirectLogger::look_at_supply() {
  const std::uint16_t supply_mv = scene_.supply_mv(now_ns_);
  if (supply_min_mv_ == 0 || supply_mv < supply_min_mv_) supply_min_mv_ = supply_mv;
  wake_.on_supply(tick(), supply_mv);
  duty_.on_supply_low(tick(), !wake_.supply_high());
  scene_changes_ns_ = scene_.next_change_ns();
}

void DirectLogger::run(Nanos after_ns) {
  look_at_supply();
  std::optional<Nanos> end_ns;
  while (!end_ns || now_ns_ < *end_ns) {
    if (!end_ns && scene_.finished()) end_ns = now_ns_ + after_ns;
    if (now_ns_ >= scene_changes_ns_) look_at_supply();
    if (now_ns_ >= next_clock_ns_) {
      clock_ =
          WallClockReading{.source = WallClockSource::rtc,
                           .unix_ms = static_cast<std::uint64_t>(*setup_.origin_unix_ms) + tick(),
                           .tick = tick(),
                           .resolution_ms = 1};
      next_clock_ns_ = now_ns_ + kDirectClockPeriodNs;
      session_.start();
    }
    if (!lasted_told_ && tick() >= kResetWindowMs) {
      lasted_told_ = true;
      session_.start();
    }
    log_.on_time(tick());
    write();

    Tick next = kResetWindowMs;
    if (lasted_told_) next = log_.deadline().value_or(static_cast<Tick>(kNever / kNanosPerMs));
    switch (phase_) {
      case Phase::waiting:
        if (const std::optional<Tick> due = wake_.next_attempt(tick())) {
          if (*due <= tick()) {
            attempt();
            continue;
          }
          next = std::min(next, *due);
        }
        break;
      case Phase::polling:
        if (duty_.duty() == Duty::parked) {
          wait(WaitReason::parked);
          continue;
        }
        if (tick() >= balance_due_) {
          balance_due_ = tick() + kBalanceEveryMs;
          if (plan_.balance(tick())) session_.start();
        }
        if (const std::optional<std::size_t> due = plan_.due_at(tick())) {
          poll(*due);
          continue;
        }
        next = std::min({next, balance_due_, plan_.deadline().value_or(balance_due_)});
        break;
    }
    Nanos next_ns = std::min(scene_changes_ns_, next_clock_ns_);
    if (next < static_cast<Tick>(kNever / kNanosPerMs))
      next_ns = std::min(next_ns, static_cast<Nanos>(next) * kNanosPerMs);
    if (end_ns) next_ns = std::min(next_ns, *end_ns);
    go_to(std::max(next_ns, now_ns_ + 1));
  }
  stopping_ = true;
  session_.start();
  log_.close();
  write();
}

void DirectLogger::wait(WaitReason reason, Tick alert_ms) {
  if (phase_ == Phase::polling) wake_.on_polled(duty_.life_seen());
  wake_.begin(tick(), reason, alert_ms);
  if (reason == WaitReason::not_found) session_.start();
  phase_ = Phase::waiting;
}

void DirectLogger::attempt() {
  wake_.on_attempt(tick());
  if (discovery_.state() == DiscoveryState::found) {
    probe();
  } else {
    discover();
  }
}

const WholeAnswer* DirectLogger::exchange(const CanFrame& request) {
  ++counters_.requests;
  answers_.clear();
  const Nanos sent_ns = now_ns_;
  bench_.answer_whole(sent_ns + kLineNs + kBusNs, bus_frame_of(request), answers_);
  if (answers_.empty()) {
    ++counters_.timeouts;
    go_to(sent_ns + static_cast<Nanos>(kReplyMs) * kNanosPerMs);
    return nullptr;
  }
  const WholeAnswer& answer = answers_.front();
  go_to(answer.due_ns + kBusNs + kLineNs);
  begun_ = tick();
  // A sector closes by the clock also while an answer is on its way.
  if (const std::optional<Tick> due = log_.deadline(); due && *due <= begun_) {
    log_.on_time(begun_);
    write();
  }
  go_to(now_ns_ + rest_of_answer_ns(answer.message.size()));
  ++counters_.responses;
  answered_at_ = tick();
  silences_in_row_ = 0;
  return &answer;
}

void DirectLogger::discover() {
  // Nobody else speaks on this bus: listened to in vain at either rate.
  go_to(now_ns_ + static_cast<Nanos>(2 * kListenMs) * kNanosPerMs);
  discovery_.start();
  while (discovery_.state() == DiscoveryState::running) {
    const std::optional<Discovery::Request> request = discovery_.take_request(tick());
    if (!request) {
      const std::optional<Tick> due = discovery_.deadline();
      if (!due) break;
      go_to(static_cast<Nanos>(*due) * kNanosPerMs);
      discovery_.on_time(tick());
      continue;
    }
    if (exchange(request->frame) == nullptr) {
      discovery_.on_time(tick());
      continue;
    }
    for (const WholeAnswer& answer : answers_) {
      static_cast<void>(
          discovery_.on_message(tick(), answer.response_id, answer.extended, answer.message));
    }
  }
  if (discovery_.state() != DiscoveryState::found) {
    wait(WaitReason::not_found);
    return;
  }
  plan_.build(tick(), discovery_.map(), owners_);
  log_.set_van_tag(van_tag_of(discovery_.map().vin.view()));
  session_.start();
  wake_.on_answered();
  start_polling(DutyStart::life);
}

void DirectLogger::probe() {
  const bool prompted = wake_.prompted() && wake_.believes_signs();
  const bool by_supply = wake_.prompted_by_supply();
  const WholeAnswer* answer = exchange(plan_.request(0));
  if (answer == nullptr) {
    wait(WaitReason::silent);
    return;
  }
  std::array<RawWord, kMaxWordsPerReply> words{};
  const PollRequest& request = plan_.polls()[0];
  const std::span<const RawWord> known =
      std::span<const RawWord>(words).first(words_of(request.read(answer->message), words));
  keep(begun_, request, known);
  const bool used = duty_.shows_life(known);
  if (!prompted && !used) {
    wait(WaitReason::parked);
    return;
  }
  wake_.on_answered();
  start_polling(by_supply && !used ? DutyStart::supply : DutyStart::life);
}

void DirectLogger::start_polling(DutyStart start) {
  phase_ = Phase::polling;
  silences_in_row_ = 0;
  duty_.restart(tick(), start);
  plan_.resume(tick());
  update_conditions();
  balance_due_ = tick() + kBalanceEveryMs;
  if (plan_.empty()) wait(WaitReason::nothing_to_ask);
}

void DirectLogger::update_conditions() {
  const Duty duty = duty_.duty();
  if (!plan_.set_conditions(tick(), {.duty = duty,
                                     .driving_period_ms = setup_.poll_period_ms,
                                     .charging_period_ms = setup_.poll_period_ms,
                                     .pack_burst = duty_.pack_burst(tick()),
                                     .soc_fast = duty_.soc_fast(tick()),
                                     .odometer_fine = duty_.odometer_fine()}))
    return;
  log_.set_deadline_ms(duty == Duty::driving ? kDrivingDeadlineMs : kChargingDeadlineMs);
  plan_.ask_odometer_now(tick());
  session_.start();
}

void DirectLogger::poll(std::size_t index) {
  const Tick sent = tick();
  plan_.on_sent(sent, index);
  const WholeAnswer* answer = exchange(plan_.request(index));
  const auto took_ms = static_cast<std::uint32_t>(tick() - sent);
  if (answer == nullptr) {
    if (plan_.on_silence(tick(), index, took_ms)) session_.start();
    if (silences_in_row_ < 0xFF) ++silences_in_row_;
    const bool silent = !answered_at_ || tick() - *answered_at_ >= kSilentMs;
    if (silent && silences_in_row_ >= kSilences) wait(WaitReason::silent);
    return;
  }
  const std::span<const std::uint8_t> message = answer->message;
  const PollRequest& request = plan_.polls()[index];
  if (const std::optional<NegativeResponse> refusal = parse_negative_response(message)) {
    ++counters_.negative_responses;
    if (plan_.on_refused(tick(), index, refusal->action, took_ms)) session_.start();
    if (plan_.empty()) wait(WaitReason::nothing_to_ask);
    return;
  }
  const PidReply reply = request.read(message);
  std::array<RawWord, kMaxWordsPerReply> room{};
  const std::span<const RawWord> words =
      std::span<const RawWord>(room).first(words_of(reply, room));
  keep(begun_, request, words);
  if (plan_.on_reply(tick(), index, reply, took_ms)) session_.start();
  duty_.on_words(tick(), words);
  update_conditions();
}

void DirectLogger::keep(Tick at, const PollRequest& poll, std::span<const RawWord> words) {
  for_each_block(poll, words, [&](const BlockKey& key, std::span<const std::uint32_t> raw) {
    log_.add(at, key, raw);
    write();
  });
}

SessionSource DirectLogger::source() const {
  SessionSource source;
  source.tick = tick();
  source.van = setup_.van;
  source.reset_cause = BootCause::power_on;
  source.clock = clock_;
  if (discovery_.state() == DiscoveryState::found) {
    source.map = &discovery_.map();
    source.polls = plan_.polls();
    source.kbit_per_s = 500;
    source.extended_ids = discovery_.map().ecu[0].extended;
  }
  source.counters = counters_;
  source.counters.dropped_samples = log_.dropped_samples();
  source.owners = &owners_;
  source.supply_min_mv = supply_min_mv_;
  source.clean_stop = stopping_;
  source.not_found_in_row = wake_.not_found_in_row();
  return source;
}

// Until nothing is sealed and no session record is wanted: the card takes no time.
void DirectLogger::write() {
  for (;;) {
    if (const std::optional<CardRequest> request = log_.take_write()) {
      if (!card_.serve(*request, unused_).ok) throw BenchError("the card file refuses a sector");
      log_.on_written(tick(), true);
      continue;
    }
    if (log_.session_due() && !session_.pending()) session_.start();
    if (!session_.pending()) return;
    const std::span<std::uint8_t> room = log_.session_space();
    if (room.empty()) return;
    log_.seal_session(session_.write(
        source(), std::span<std::uint8_t, kSectorPayloadBytes>(room.data(), kSectorPayloadBytes)));
  }
}

}  // namespace packmile::benchvan
