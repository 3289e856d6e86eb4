// One request in flight: how it is made, what its answer leads to, and what its
// silence does.
#include "core/logger.hpp"

#include "core/negative_response.hpp"
#include "core/obd_request.hpp"
#include "core/pid_reply.hpp"

namespace packmile {
namespace {

// Neither confirmed nor answered for so long: nobody acknowledges the frame, and
// the adapter would repeat it for ever.
constexpr Tick kUnconfirmedMs = 100;
// After 10 s without any reply requests stop, with at least so many unanswered:
// a slow schedule asks seldom. Common practice, no source.
constexpr Tick kSilentMs = 10'000;
constexpr std::uint8_t kSilences = 3;
// After an exchange that the adapter did not confirm: one or two more tries.
constexpr Tick kBrokenOffAlertMs = 5'000;
// Answers in a row without the adapter's word that the request went out: it is
// one that never gives it. Then silence alone has to tell, three times.
constexpr std::uint8_t kNeverConfirms = 3;
// Where no request tells both current and speed, a probe makes the first two of
// the plan in turn.
constexpr std::uint8_t kProbePolls = 2;
// Until the port has sent something, the gate has no room.
constexpr Tick kGateFullMs = 10;

}  // namespace

// Also the end of an exchange on an error line: closed at once either way.
void Logger::on_unconfirmed() {
  const Asking asking = exchange_.asking;
  end_exchange();
  ++timeouts_;
  if (asking == Asking::poll) {
    const bool answered_lately = answered_at_ && now_ - *answered_at_ < kSilentMs;
    wait(WaitReason::silent, answered_lately ? kBrokenOffAlertMs : 0);
  } else {
    after_failed_attempt();
  }
}

bool Logger::send(Asking asking, const CanFrame& frame) {
  send_again_at_.reset();
  switch (gate_.send_request(frame)) {
    case GateOutcome::queued:
      exchange_ = {.asking = asking,
                   .extended = frame.extended,
                   .sent = now_,
                   .deadline = now_ + patience_ms(asking)};
      asked_at_ = now_;
      request_sent_ = frame;
      return true;
    case GateOutcome::full:
      send_again_at_ = now_ + kGateFullMs;
      return false;
    case GateOutcome::refused:
    case GateOutcome::used_up:
      // Counted by the gate; asked for again it would only be refused again.
      return false;
  }
  return false;
}

// Where answers fail to come the next one is waited for longer.
Tick Logger::patience_ms(Asking asking) const {
  Tick wait_ms = reply_ms_;
  if (asking == Asking::poll && silences_in_row_ != 0)
    wait_ms <<= silences_in_row_ < kSilences ? silences_in_row_ : kSilences;
  return wait_ms < kSlowestReplyMs ? wait_ms : kSlowestReplyMs;
}

void Logger::ask_next() {
  if (exchange_.asking != Asking::nothing || send_again_at_) return;
  switch (phase_) {
    case Phase::discovering:
      ask_discovery();
      return;
    case Phase::probing:
      ask_probe();
      return;
    case Phase::polling:
      ask_poll();
      return;
    case Phase::link_down:
    case Phase::opening:
    case Phase::listening:
    case Phase::waiting:
    case Phase::stopping:
      return;
  }
}

void Logger::ask_discovery() {
  switch (discovery_.state()) {
    case DiscoveryState::running:
      // A request that finds no room is lost; discovery asks again by itself.
      if (const std::optional<Discovery::Request> request = discovery_.take_request(now_))
        static_cast<void>(send(Asking::discovery, request->frame));
      return;
    case DiscoveryState::found:
      reply_ms_ = discovery_.reply_ms();
      plan_.build(now_, discovery_.map(), owners_);
      roles_told_ = 0;
      log_.set_van_tag(van_tag_of(discovery_.map().vin.view()));
      want_session();
      wake_.on_answered();
      start_polling(DutyStart::life);
      return;
    case DiscoveryState::nothing:
      after_failed_attempt();
      return;
    case DiscoveryState::idle:
      return;
  }
}

void Logger::ask_probe() {
  // A request of the plan, so that its answer can tell what the van is doing:
  // the one with current and speed, else one after the other.
  if (plan_.polls()[0].tells_current() || probe_poll_ >= plan_.polls().size()) probe_poll_ = 0;
  for (std::size_t i = 0; i < plan_.polls().size() && plan_.polls()[probe_poll_].retired; ++i)
    probe_poll_ = static_cast<std::uint8_t>((probe_poll_ + 1u) % plan_.polls().size());
  const PollRequest& poll = plan_.polls()[probe_poll_];
  if (send(Asking::probe, plan_.request(probe_poll_))) {
    exchange_.poll = probe_poll_;
    exchange_.response_id = poll.response_id;
    probe_poll_ = static_cast<std::uint8_t>((probe_poll_ + 1u) % kProbePolls);
  } else if (!send_again_at_) {
    wait(WaitReason::silent);
  }
}

void Logger::ask_poll() {
  const std::optional<std::size_t> due = plan_.due_at(now_);
  if (!due) return;
  if (!send(Asking::poll, plan_.request(*due))) {
    // A refused request must not be tried again in the same turn.
    if (!send_again_at_) send_again_at_ = now_ + kReplyMs;
    return;
  }
  exchange_.poll = static_cast<std::uint8_t>(*due);
  exchange_.response_id = plan_.polls()[*due].response_id;
  plan_.on_sent(now_, *due);
}

void Logger::update_conditions() {
  const Duty duty = duty_.duty();
  const PollConditions conditions{.duty = duty,
                                  .driving_period_ms = settings_.driving_period_ms,
                                  .charging_period_ms = settings_.charging_period_ms,
                                  .pack_burst = duty_.pack_burst(now_),
                                  .soc_fast = duty_.soc_fast(now_),
                                  .odometer_fine = duty_.odometer_fine()};
  if (!plan_.set_conditions(now_, conditions)) return;
  log_.set_deadline_ms(duty == Duty::driving ? settings_.driving_deadline_ms
                                             : settings_.charging_deadline_ms);
  // The odometer at the start of a charge or a stand belongs to the trip before.
  plan_.ask_odometer_now(now_);
  want_session();
}

void Logger::on_answered() {
  ++responses_;
  answered_at_ = now_;
  silences_in_row_ = 0;
  if (exchange_.confirmed) {
    unconfirmed_answers_ = 0;
  } else if (unconfirmed_answers_ < kNeverConfirms) {
    ++unconfirmed_answers_;
  }
}

void Logger::on_message(const IsotpReceiver& receiver) {
  switch (exchange_.asking) {
    case Asking::discovery:
      if (!discovery_.on_message(now_, receiver.response_id(), receiver.extended(),
                                 receiver.message())) {
        on_late_answer();
        return;
      }
      on_answered();
      gate_.set_parked(false);
      // Functional requests are answered by several: the window is discovery's.
      if (!discovery_.deadline() || discovery_.state() != DiscoveryState::running) end_exchange();
      return;
    case Asking::probe:
      if (receiver.response_id() == exchange_.response_id) on_probe_message(receiver);
      return;
    case Asking::poll:
      if (receiver.response_id() == exchange_.response_id) on_poll_message(receiver);
      return;
    case Asking::nothing:
      on_late_answer();
      return;
  }
}

// Any answer at all shows that the ECU is awake, a refusal too. Whether the van
// is used is another question: asked for nothing, it may be awake because of us.
void Logger::on_probe_message(const IsotpReceiver& receiver) {
  const bool prompted = wake_.prompted() && wake_.believes_signs();
  const bool by_supply = wake_.prompted_by_supply();
  on_answered();
  std::array<RawWord, kMaxWordsPerReply> words{};
  std::span<const RawWord> standard;
  if (!parse_negative_response(receiver.message()))
    standard = keep_answer(plan_.polls()[exchange_.poll], receiver, words);
  const bool used = duty_.shows_life(standard);
  if (!prompted && !used) {
    wait(WaitReason::parked);
    return;
  }
  wake_.on_answered();
  start_polling(by_supply && !used ? DutyStart::supply : DutyStart::life);
}

void Logger::on_poll_message(const IsotpReceiver& receiver) {
  const std::size_t index = exchange_.poll;
  const std::uint32_t took_ms = static_cast<std::uint32_t>(now_ - exchange_.sent);
  if (const std::optional<NegativeResponse> refusal = parse_negative_response(receiver.message())) {
    if (refusal->service != plan_.polls()[index].service()) return;
    on_answered();
    if (refusal->action == NegativeAction::keep_waiting) {
      ++pending_responses_;
      if (++exchange_.pending <= kMaxPendingInARow) {
        exchange_.deadline = now_ + kPendingMs;
        return;
      }
    } else {
      ++negative_responses_;
    }
    end_exchange();
    if (plan_.on_refused(now_, index, refusal->action, took_ms)) want_session();
    if (plan_.empty()) wait(WaitReason::nothing_to_ask);
    return;
  }
  const PollRequest& poll = plan_.polls()[index];
  if (!poll.is_answered_by(receiver.message())) {
    on_late_answer();
    return;
  }
  on_answered();
  // An announced one has its own time.
  if (exchange_.pending == 0)
    while (reply_ms_ < kSlowestReplyMs && receiver.begun() >= exchange_.sent + reply_ms_)
      reply_ms_ *= 2;
  round_trip_ms_ = took_ms;
  end_exchange();
  std::array<RawWord, kMaxWordsPerReply> words{};
  const std::span<const RawWord> standard = keep_answer(poll, receiver, words);
  if (plan_.on_reply(now_, index, poll.read(receiver.message()), took_ms)) want_session();
  duty_.on_words(now_, standard);
  update_conditions();
}

std::size_t Logger::words_of_answer(const PollRequest& poll, std::span<const std::uint8_t> message,
                                    std::span<RawWord> words) {
  if (!poll.is_answered_by(message)) return 0;
  if (poll.owners_did == 0) return words_of(poll.read(message), words);
  std::size_t count = 0;
  const AllowedDid did{poll.request_id, poll.owners_did};
  for (std::size_t i = 0; i < owners_.size() && count < words.size(); ++i) {
    if (owners_.dids()[i] != did) continue;
    if (const std::optional<std::uint32_t> word = owners_.word(i, message.subspan(3)))
      words[count++] = {static_cast<SignalId>(kFirstOwnersSignal + i), *word};
  }
  return count;
}

std::span<const RawWord> Logger::keep_answer(const PollRequest& poll, const IsotpReceiver& receiver,
                                             std::span<RawWord> words) {
  words = words.first(words_of_answer(poll, receiver.message(), words));
  keep(receiver.begun(), poll, words);
  return words.first(duty_words(words));
}

std::size_t Logger::duty_words(std::span<RawWord> words) {
  std::size_t count = 0;
  for (const RawWord one : words) {
    if (one.id < kFirstOwnersSignal) {
      bool told = false;
      for (unsigned role = 0; role <= static_cast<unsigned>(kLastRole); ++role)
        if ((roles_told_ >> role & 1) != 0 &&
            standard_signal_of(static_cast<SignalRole>(role)) == one.id)
          told = true;
      if (!told) words[count++] = one;
      continue;
    }
    const std::size_t index = one.id - kFirstOwnersSignal;
    const std::optional<RawWord> word = owners_.standard_word(index, one.word);
    if (!word) continue;
    roles_told_ |=
        static_cast<std::uint16_t>(1u << static_cast<unsigned>(owners_.place(index).role));
    words[count++] = *word;
  }
  return count;
}

// Which request it answers is not known: the wait grows until none is late. What
// was asked before it grew may be late still.
void Logger::on_late_answer() {
  ++late_answers_;
  const bool gave_up = phase_ != Phase::polling || silences_in_row_ != 0;
  if (!gave_up || reply_ms_ >= kSlowestReplyMs || now_ < reply_grew_at_ + reply_ms_) return;
  reply_ms_ *= 2;
  reply_grew_at_ = now_;
  if (phase_ != Phase::discovering) return;
  end_exchange();
  discovery_.start(owners_.dids(), reply_ms_);
}

void Logger::on_silence() {
  const Exchange over = exchange_;
  end_exchange();
  ++timeouts_;
  if (over.asking == Asking::probe) {
    after_failed_attempt();
    return;
  }
  if (over.asking != Asking::poll) return;
  // Waiting longer than usual is our own choice, and says nothing of the van.
  const Tick took_ms = now_ - over.sent < reply_ms_ ? now_ - over.sent : reply_ms_;
  if (plan_.on_silence(now_, over.poll, static_cast<std::uint32_t>(took_ms))) want_session();
  if (silences_in_row_ < 0xFF) ++silences_in_row_;
  if (unconfirmed_answers_ >= kNeverConfirms && silences_in_row_ >= kSilences) {
    wait(WaitReason::silent, kBrokenOffAlertMs);
    return;
  }
  const bool silent = !answered_at_ || now_ - *answered_at_ >= kSilentMs;
  if (silent && silences_in_row_ >= kSilences) wait(WaitReason::silent);
}

std::optional<Tick> Logger::confirmation_deadline() const {
  if (exchange_.asking == Asking::nothing || exchange_.confirmed || exchange_.heard ||
      unconfirmed_answers_ >= kNeverConfirms)
    return std::nullopt;
  return exchange_.sent + kUnconfirmedMs;
}

}  // namespace packmile
