// The logger's way to the van: adapter, bit rate, discovery, polling, and when
// to leave the van alone. The table above class Logger has the transitions.
#include "core/logger.hpp"

#include <memory>

#include "bus_load.hpp"
#include "core/negative_response.hpp"
#include "obd_address.hpp"
#include "core/obd_request.hpp"
#include "core/pid_reply.hpp"

namespace packmile {
namespace {

// ISO 15765-4 start-up: a tester must not disturb a bus of another rate, so it
// listens first. How long is common practice, no source.
constexpr Tick kListenMs = 2'000;
// An answer that comes later than this after our last request is not to it: the
// longest wait of our own, and some line time.
constexpr Tick kUnaskedMs = kPendingMs + 500;
constexpr Tick kBalanceEveryMs = 10'000;
constexpr Tick kSupplyLowMs = 10'000;
constexpr Tick kSecondMs = 1'000;

AdapterCommand rate_command(bool rate_250) {
  return rate_250 ? AdapterCommand::rate_250 : AdapterCommand::rate_500;
}

bool is_tester_id(const CanFrame& frame) {
  return frame.id == functional_id(frame.extended) ||
         ecu_of_request_id(frame.id, frame.extended).has_value();
}

}  // namespace

void Logger::run_script(Phase phase, std::span<const AdapterCommand> commands) {
  phase_ = phase;
  end_exchange();
  send_again_at_.reset();
  abandon_receptions();
  script_.start(commands);
}

void Logger::abandon_receptions() {
  for (std::size_t i = 0; i < receivers_; ++i) {
    if (!receiver_[i].collecting()) continue;
    receiver_[i].abandon();
    gate_.reception_ended(receiver_[i].request_id(), receiver_[i].extended());
  }
}

void Logger::open_adapter() {
  reader_.reset();
  // Closes an adapter that was left half open, and flushes part of a line.
  static constexpr std::array kStart{AdapterCommand::close, AdapterCommand::close,
                                     AdapterCommand::close};
  run_script(Phase::opening, kStart);
}

void Logger::listen(Rate rate) {
  rate_ = rate;
  const std::array commands{AdapterCommand::close, rate_command(rate == Rate::kbit_250),
                            AdapterCommand::listen_only};
  run_script(Phase::listening, commands);
}

void Logger::open_bus(Phase phase, Rate rate) {
  rate_ = rate;
  if (listens_only()) {
    wait(WaitReason::reset_too_often);
    return;
  }
  if (wake_.supply_too_low()) {
    wait(van_known() ? WaitReason::silent : WaitReason::not_found);
    return;
  }
  const std::array commands{AdapterCommand::close, rate_command(rate == Rate::kbit_250),
                            AdapterCommand::open};
  run_script(phase, commands);
}

void Logger::wait(WaitReason reason, Tick alert_ms) {
  // Discovery has its own back-off, up to a day.
  gate_.set_parked(true, van_known());
  if (phase_ == Phase::polling) wake_.on_polled(duty_.life_seen());
  wake_.begin(now_, reason, alert_ms);
  if (reason == WaitReason::not_found) want_session();
  const std::array commands{AdapterCommand::close, rate_command(rate_ == Rate::kbit_250),
                            AdapterCommand::listen_only};
  run_script(Phase::waiting, commands);
}

void Logger::on_script_done() {
  adapter_answers_ = script_.answered();
  script_.stop();
  switch (phase_) {
    case Phase::opening:
      bus_errors_ = false;
      both_rates_ = false;
      listen(van_known() ? rate_ : Rate::kbit_500);
      break;
    case Phase::listening:
      phase_until_ = now_ + kListenMs;
      break;
    case Phase::discovering:
      receivers_ = 0;
      gate_.forget_ecus();
      discovery_.start(owners_.dids(), reply_ms_);
      break;
    case Phase::probing:
    case Phase::link_down:
    case Phase::polling:
    case Phase::waiting:
    case Phase::stopping:
      break;
  }
}

// Does what can be done now, until something has to be waited for. Every round
// sends, starts a script or ends the loop, so there are a few at most.
void Logger::progress() {
  if (phase_ == Phase::link_down) return;
  for (;;) {
    if (script_.running()) {
      const std::optional<AdapterCommand> command = script_.take_command(now_);
      if (!command || gate_.adapter_command(*command) == GateOutcome::queued) return;
      // No room: the port does not send. The time-out of the script goes on.
      return;
    }
    const Phase before = phase_;
    switch (phase_) {
      case Phase::discovering:
      case Phase::probing:
        ask_next();
        break;
      case Phase::polling:
        if (listens_only()) {
          wait(WaitReason::reset_too_often);  // the card was slower than the bus
        } else if (duty_.duty() == Duty::parked) {
          wait(WaitReason::parked);
        } else if (supply_low_since_ && now_ - *supply_low_since_ >= kSupplyLowMs) {
          wait(WaitReason::silent);
        } else {
          ask_next();
        }
        break;
      case Phase::waiting:
        if (const std::optional<Tick> due = wake_.next_attempt(now_); due && *due <= now_) {
          wake_.on_attempt(now_);
          // Whoever gets into the van must not wait for tomorrow.
          if (wake_.prompted() && wake_.believes_signs()) gate_.set_parked(true, false);
          if (van_known() && !plan_.polls().empty()) {
            open_bus(Phase::probing, rate_);
          } else {
            bus_errors_ = false;
            both_rates_ = false;
            listen(Rate::kbit_500);
          }
        }
        break;
      case Phase::link_down:
      case Phase::opening:
      case Phase::listening:
      case Phase::stopping:
        break;
    }
    if (phase_ == before && !script_.running()) return;
  }
}

void Logger::on_line(const SlcanEvent& event) {
  switch (event.kind) {
    case SlcanEventKind::accepted:
    case SlcanEventKind::refused:
      if (script_.running()) {
        script_.on_reply();
        if (!script_.running()) on_script_done();
      } else if (exchange_.asking != Asking::nothing) {
        if (event.kind == SlcanEventKind::accepted) {
          exchange_.confirmed = true;
        } else if (!exchange_.confirmed && !exchange_.heard) {
          on_unconfirmed();
        }
      }
      return;
    case SlcanEventKind::frame:
      if (!script_.running()) on_frame(event.frame);
      return;
    case SlcanEventKind::error:
      on_bus_error();
      return;
    case SlcanEventKind::state:
      if (event.bus_state == SlcanBusState::passive || event.bus_state == SlcanBusState::off)
        on_bus_error();
      return;
    case SlcanEventKind::status:
    case SlcanEventKind::version:
    case SlcanEventKind::serial:
      return;
    case SlcanEventKind::discarded:
      ++lines_discarded_;
      return;
  }
}

void Logger::on_bus_error() {
  if (script_.running()) return;
  switch (phase_) {
    case Phase::listening:
      bus_errors_ = true;
      after_listening(false);
      return;
    case Phase::waiting:
      wake_.on_traffic(now_);
      return;
    case Phase::discovering:
    case Phase::probing:
    case Phase::polling:
      // While polling, noise beside an answer is not worth a stop.
      if (exchange_.asking != Asking::nothing && !exchange_.heard) on_unconfirmed();
      return;
    case Phase::link_down:
    case Phase::opening:
    case Phase::stopping:
      return;
  }
}

// Some adapters hand back what they have sent. Each of our frames has one echo;
// another one like it is somebody else's.
bool Logger::is_echo(const CanFrame& frame) {
  if (!asked_at_ || now_ - *asked_at_ > kUnaskedMs) return false;
  for (std::optional<CanFrame>* own : {&request_sent_, &flow_control_sent_}) {
    if (*own != frame) continue;
    own->reset();
    ++echoed_frames_;
    return true;
  }
  return false;
}

void Logger::count_other() {
  if (now_ - others_since_ >= kSecondMs) {
    others_last_s_ = now_ - others_since_ < 2 * kSecondMs ? others_this_s_ : 0;
    if (others_this_s_ > other_frames_per_s_) other_frames_per_s_ = others_this_s_;
    others_this_s_ = 0;
    others_since_ = now_;
  }
  ++others_this_s_;
}

void Logger::on_foreign_tester() {
  if (phase_ == Phase::waiting && wake_.reason() == WaitReason::foreign_tester) {
    wake_.begin(now_, WaitReason::foreign_tester);  // still there: 10 min from now on
    return;
  }
  ++foreign_tester_events_;
  wait(WaitReason::foreign_tester);
}

void Logger::on_frame(const CanFrame& frame) {
  if (phase_ == Phase::opening || phase_ == Phase::stopping) return;
  const std::optional<std::uint32_t> request_id = request_id_of(frame.id, frame.extended);
  const bool asked_lately = asked_at_ && now_ - *asked_at_ <= kUnaskedMs;
  if (is_echo(frame)) return;
  if (is_tester_id(frame) || (request_id && !asked_lately)) {
    on_foreign_tester();
    return;
  }
  if (!request_id) count_other();
  if (phase_ == Phase::listening) {
    after_listening(true);
    return;
  }
  if (phase_ == Phase::waiting) {
    if (request_id) on_late_answer();
    wake_.on_traffic(now_);
    return;
  }
  if (!request_id) return;
  IsotpReceiver* receiver = receiver_for(frame, *request_id);
  if (!receiver) return;
  gate_.ecu_answered(frame.id, frame.extended);
  const IsotpReceiver::Step step = receiver->on_frame(now_, frame);
  const bool of_exchange =
      exchange_.asking == Asking::discovery ||
      (exchange_.response_id == frame.id && exchange_.extended == frame.extended);
  if (step.outcome != IsotpOutcome::ignored && of_exchange) exchange_.heard = true;
  switch (step.outcome) {
    case IsotpOutcome::ignored:
      return;
    case IsotpOutcome::started:
    case IsotpOutcome::too_long:
      gate_.reception_started(*request_id, frame.extended);
      if (step.flow_control) {
        // Refused or without room: the ECU gives up, and the exchange times out.
        if (gate_.send_flow_control(*step.flow_control) == GateOutcome::queued)
          flow_control_sent_ = step.flow_control;
      }
      if (step.outcome == IsotpOutcome::too_long)
        gate_.reception_ended(*request_id, frame.extended);
      if (exchange_.asking == Asking::discovery)
        discovery_.on_partial(now_, frame.id, frame.extended);
      return;
    case IsotpOutcome::collecting:
      if (exchange_.asking == Asking::discovery)
        discovery_.on_partial(now_, frame.id, frame.extended);
      return;
    case IsotpOutcome::wrong_sequence:
    case IsotpOutcome::timed_out:
      gate_.reception_ended(*request_id, frame.extended);
      return;
    case IsotpOutcome::message:
      gate_.reception_ended(*request_id, frame.extended);
      on_message(*receiver);
      return;
  }
}

IsotpReceiver* Logger::receiver_for(const CanFrame& frame, std::uint32_t request_id) {
  for (std::size_t i = 0; i < receivers_; ++i)
    if (receiver_[i].response_id() == frame.id && receiver_[i].extended() == frame.extended)
      return &receiver_[i];
  // Later ones are strangers: what they say answers nothing that we ask.
  if (phase_ != Phase::discovering || receivers_ == receiver_.size()) return nullptr;
  std::construct_at(&receiver_[receivers_], frame.id, request_id, frame.extended);
  return &receiver_[receivers_++];
}

void Logger::after_listening(bool clean) {
  if (clean) {
    both_rates_ = false;
    open_bus(van_known() ? Phase::probing : Phase::discovering, rate_);
    return;
  }
  if (van_known()) {
    open_bus(Phase::probing, rate_);
  } else if (rate_ == Rate::kbit_500) {
    listen(Rate::kbit_250);
  } else if (bus_errors_) {
    wait(WaitReason::not_found);
  } else {
    // Totally silent, as behind a gateway: one attempt at each rate.
    both_rates_ = true;
    open_bus(Phase::discovering, Rate::kbit_500);
  }
}

void Logger::after_failed_attempt() {
  if (phase_ == Phase::discovering && both_rates_ && rate_ == Rate::kbit_500) {
    open_bus(Phase::discovering, Rate::kbit_250);
  } else if (phase_ == Phase::discovering) {
    wait(WaitReason::not_found);
  } else {
    wait(WaitReason::silent);
  }
}

void Logger::discover_anew() {
  if (discovery_.state() == DiscoveryState::idle) return;
  // In place: a temporary of its size would be the deepest frame of the logger.
  std::construct_at(&discovery_);
  switch (phase_) {
    case Phase::discovering:
    case Phase::probing:
    case Phase::polling:
      open_bus(Phase::discovering, rate_);
      return;
    case Phase::link_down:
    case Phase::opening:
    case Phase::listening:
    case Phase::waiting:
    case Phase::stopping:
      return;
  }
}

void Logger::start_polling(DutyStart start) {
  phase_ = Phase::polling;
  end_exchange();
  silences_in_row_ = 0;
  gate_.set_parked(false);
  duty_.restart(now_, start);
  plan_.resume(now_);
  update_conditions();
  balance_due_ = now_ + kBalanceEveryMs;
  if (plan_.empty()) wait(WaitReason::nothing_to_ask);
}

void Logger::on_bus_time() {
  if (phase_ == Phase::link_down) return;
  if (script_.running()) {
    script_.on_time(now_);
    if (!script_.running()) on_script_done();
    return;
  }
  bool collecting = false;
  for (std::size_t i = 0; i < receivers_; ++i) {
    IsotpReceiver& receiver = receiver_[i];
    if (receiver.on_time(now_) == IsotpOutcome::timed_out)
      gate_.reception_ended(receiver.request_id(), receiver.extended());
    if (receiver.collecting() && receiver.response_id() == exchange_.response_id) collecting = true;
  }
  if (send_again_at_ && now_ >= *send_again_at_) send_again_at_.reset();
  if (phase_ == Phase::listening && now_ >= phase_until_) {
    after_listening(false);
    return;
  }
  if (const std::optional<Tick> due = confirmation_deadline(); due && now_ >= *due) {
    on_unconfirmed();
    return;
  }
  if (phase_ == Phase::discovering) {
    discovery_.on_time(now_);
    // The window is over, or the item was given up: the next request may go.
    if (!discovery_.deadline() || discovery_.state() != DiscoveryState::running) end_exchange();
  } else if (exchange_.asking != Asking::nothing && !collecting && now_ >= exchange_.deadline) {
    on_silence();
  }
  if (phase_ == Phase::polling && now_ >= balance_due_) {
    balance_due_ = now_ + kBalanceEveryMs;
    if (plan_.balance(now_, others_last_s_ >= kCrowdedFramesPerS)) want_session();
  }
}

Tick Logger::bus_deadline() const {
  Tick first = kNoDeadline;
  const auto consider = [&first](const std::optional<Tick>& due) { first = sooner(first, due); };
  if (phase_ == Phase::link_down) return first;
  if (script_.running()) return sooner(first, script_.deadline());
  bool collecting = false;
  for (std::size_t i = 0; i < receivers_; ++i) {
    consider(receiver_[i].deadline());
    if (receiver_[i].collecting() && receiver_[i].response_id() == exchange_.response_id)
      collecting = true;
  }
  consider(send_again_at_);
  if (exchange_.asking != Asking::nothing) {
    consider(confirmation_deadline());
    if (exchange_.asking != Asking::discovery && !collecting) consider(exchange_.deadline);
  }
  switch (phase_) {
    case Phase::listening:
      consider(phase_until_);
      break;
    case Phase::discovering:
      consider(discovery_.deadline());
      break;
    case Phase::polling:
      consider(balance_due_);
      if (exchange_.asking == Asking::nothing && !send_again_at_) consider(plan_.deadline());
      if (supply_low_since_) consider(*supply_low_since_ + kSupplyLowMs);
      break;
    case Phase::waiting:
      consider(wake_.next_attempt(now_));
      break;
    case Phase::link_down:
    case Phase::opening:
    case Phase::probing:
    case Phase::stopping:
      break;
  }
  return first;
}

}  // namespace packmile
