#include "core/poll_plan.hpp"

#include "catalogue/layout.hpp"
#include "columns/record_encoder.hpp"
#include "core/obd_request.hpp"
#include "obd_address.hpp"

namespace packmile {
namespace {

constexpr std::uint8_t kSpeed = 0x0D;
constexpr std::uint8_t kSoc = 0x5B;
constexpr std::uint8_t kModuleVoltage = 0x42;
constexpr std::uint8_t kOdometer = 0xA6;

// What one request asks together, most urgent first. 41 9A + 6 + 0D + 1 is 10
// bytes, still one first and one consecutive frame: speed costs no frame.
constexpr std::array<std::uint8_t, 2> kPackGroup{kPackPid, kSpeed};
constexpr std::array<std::uint8_t, 2> kSocGroup{kSoc, kModuleVoltage};
constexpr std::array<std::uint8_t, 1> kOdometerGroup{kOdometer};
constexpr std::array<std::uint8_t, 4> kSlowGroup{0x46, 0x1F, 0x05, 0x33};
constexpr std::array<std::uint8_t, 6> kRareGroup{0x01, 0x1C, 0x51, 0x30, 0x31, 0x4E};
constexpr std::array<std::uint8_t, 3> kRarerGroup{0x21, 0x4D, 0xC7};
constexpr std::array<std::uint8_t, 1> kUnknownLayoutGroup{0xB2};

constexpr std::uint32_t kRarePeriodMs = 1'800'000;
// A van that is awake with nothing to measure: the fastest of its requests.
constexpr std::uint32_t kSeldomPeriodMs = 10'000;

// Replies without one of the PIDs, or refusals, in a row that are believed.
constexpr std::uint8_t kBelieved = 2;
// A request that stays unanswered while others are answered costs a time-out
// each time: after so many in a row it is made at most this often.
constexpr std::uint8_t kSilentInRow = 5;
constexpr std::uint32_t kSilentPeriodMs = 2'000;
// Conditions not correct, and refusals that say nothing.
constexpr std::uint32_t kBackOffMs = 10'000;

// Shares of the time that the line is taken, in 1/1000. Common practice, no
// source: the distance between the two keeps the period from swinging.
constexpr std::uint32_t kOverload = 900;
constexpr std::uint32_t kRelaxed = 700;
// No exchange takes longer, all the responses that announce it included; what
// does is a port that slept.
constexpr std::uint32_t kMaxTookMs = 60'000;

std::uint32_t shorter(std::uint32_t a, std::uint32_t b) { return a < b ? a : b; }

std::uint8_t saturating_next(std::uint8_t n) {
  return n == 0xFF ? n : static_cast<std::uint8_t>(n + 1);
}

// The ECU that is asked for a PID by that service; nullptr: none answers it.
const VanEcu* ecu_for(const VanMap& map, std::uint8_t pid, SupportedPids VanEcu::*service) {
  const VanEcu* first = nullptr;
  for (const VanEcu& ecu : map.ecus()) {
    if (!(ecu.*service).has(pid)) continue;
    if (!first) first = &ecu;
    if ((ecu.*service).has(kPackPid)) return &ecu;
  }
  return first;
}

constexpr std::uint32_t bit_of(SignalRole role) { return 1u << static_cast<unsigned>(role); }
constexpr std::uint32_t kFastRoles =
    bit_of(SignalRole::pack_v) | bit_of(SignalRole::pack_a) | bit_of(SignalRole::speed);

}  // namespace

std::uint8_t PollRequest::service() const {
  return by_did || owners_did != 0 ? kServiceReadById : kServiceCurrentData;
}

bool PollRequest::is_answered_by(std::span<const std::uint8_t> message) const {
  if (message.size() < 2 || message[0] != service() + kPositiveResponse) return false;
  if (owners_did != 0) return message.size() > 3 && (message[1] << 8 | message[2]) == owners_did;
  const PidReply reply = parse_pid_reply(message);
  for (const PidData& one : reply.pids())
    if (asks(one.pid)) return true;
  return false;
}

PidReply PollRequest::read(std::span<const std::uint8_t> message) const {
  const PidReply reply = parse_pid_reply(message);
  if (pid_count < 2 || reply.end() == PidReplyEnd::complete) return reply;
  for (const std::uint8_t wanted : pids())
    if (reply.find(wanted).empty()) return PidReply{};
  return reply;  // all of them, and padding behind
}

void PollPlan::build(Tick now, const VanMap& map, const OwnersSignals& owners) {
  count_ = 0;
  slowed_ = false;
  owners_ = &owners;
  add_owners(now, true);
  add_group(now, map, kPackGroup);
  add_group(now, map, kSocGroup);
  add_group(now, map, kOdometerGroup);
  add_group(now, map, kSlowGroup);
  add_group(now, map, kRareGroup);
  add_group(now, map, kRarerGroup);
  add_group(now, map, kUnknownLayoutGroup);
  add_owners(now, false);
  put_periods(now);
  resume(now);
}

void PollPlan::add_group(Tick now, const VanMap& map, std::span<const std::uint8_t> group) {
  const std::size_t first = count_;
  for (const std::uint8_t pid : group) {
    const VanEcu* ecu = ecu_for(map, pid, &VanEcu::pids);
    const bool by_did = ecu == nullptr;
    if (by_did) ecu = ecu_for(map, pid, &VanEcu::dids);
    if (!ecu) continue;
    const std::size_t most_pids = by_did ? kMaxRequestDids : kMaxRequestPids;
    const std::size_t signals = layout_of_pid(pid).size();
    PollRequest* home = nullptr;
    for (std::size_t i = first; i < count_ && !home; ++i) {
      PollRequest& poll = polls_[i];
      std::size_t has = 0;
      for (const std::uint8_t one : poll.pids()) has += layout_of_pid(one).size();
      if (poll.response_id == ecu->response_id && poll.extended == ecu->extended &&
          poll.by_did == by_did && poll.pid_count < most_pids && has + signals <= kMaxBlockSignals)
        home = &poll;
    }
    if (!home) {
      if (count_ == kMaxPolls) return;
      home = &polls_[count_++];
      *home = {.response_id = ecu->response_id,
               .request_id = ecu->request_id,
               .due = now,
               .by_did = by_did,
               .extended = ecu->extended};
    }
    home->pid[home->pid_count++] = pid;
  }
}

void PollPlan::add_owners(Tick now, bool fast) {
  for (std::size_t i = 0; i < owners_->size(); ++i) {
    if (!owners_->is_first_of_its_did(i)) continue;
    const AllowedDid& did = owners_->dids()[i];
    std::uint32_t roles = 0;
    for (std::size_t k = i; k < owners_->size(); ++k)
      if (owners_->dids()[k] == did) roles |= bit_of(owners_->place(k).role);
    if (((roles & kFastRoles) != 0) != fast) continue;
    if (count_ == kMaxPolls) return;
    const bool extended = is_extended_id(did.request_id);
    polls_[count_++] = {.response_id = response_id_of(did.request_id, extended),
                        .request_id = did.request_id,
                        .due = now,
                        .owners_did = did.did,
                        .roles = static_cast<std::uint16_t>(roles),
                        .extended = extended};
  }
}

bool PollPlan::empty() const {
  for (const PollRequest& poll : polls())
    if (!poll.retired) return false;
  return true;
}

std::uint32_t PollPlan::fast_period_ms() const {
  switch (conditions_.duty) {
    case Duty::driving:
      return conditions_.driving_period_ms.value_or(200);
    case Duty::charging:
      if (conditions_.charging_period_ms) return *conditions_.charging_period_ms;
      return conditions_.pack_burst ? 1'000 : 5'000;
    case Duty::standing:
    case Duty::parked:
      return kSeldomPeriodMs;
  }
  return kSeldomPeriodMs;
}

std::uint32_t PollPlan::period_of(std::uint8_t pid) const {
  const bool driving = conditions_.duty == Duty::driving;
  const bool charging = conditions_.duty == Duty::charging;
  const auto slowed = [this](std::uint32_t ms) {
    return slowed_ && ms < kSlowedPeriodMs ? kSlowedPeriodMs : ms;
  };
  switch (pid) {
    case kPackPid:
      return slowed(fast_period_ms());
    case kSpeed:
      if (driving || (charging && conditions_.charging_period_ms)) return slowed(fast_period_ms());
      return 10'000;
    case kSoc:
      if (driving) return 5'000;
      if (charging) return conditions_.soc_fast ? 1'000 : 10'000;
      return 60'000;
    case kModuleVoltage:
      return driving ? 5'000 : 60'000;
    case kOdometer:
      if (driving) return conditions_.odometer_fine ? 1'000 : 5'000;
      return 300'000;
    default:
      break;
  }
  for (const std::uint8_t slow : kSlowGroup)
    if (pid == slow) return driving ? 60'000 : 300'000;
  return kRarePeriodMs;
}

std::uint32_t PollPlan::period_of_owners(std::size_t index) const {
  const OwnersSignalPlace& place = owners_->place(index);
  std::uint32_t period_ms = 0;
  switch (place.role) {
    case SignalRole::pack_v:
    case SignalRole::pack_a:
      period_ms = period_of(kPackPid);
      break;
    case SignalRole::speed:
      period_ms = period_of(kSpeed);
      break;
    case SignalRole::soc:
      period_ms = period_of(kSoc);
      break;
    case SignalRole::odometer:
      period_ms = period_of(kOdometer);
      break;
    case SignalRole::charger_state:
      period_ms = conditions_.duty == Duty::charging ? 10'000 : period_of(kSlowGroup[0]);
      break;
    case SignalRole::reported_capacity:
      period_ms = kRarePeriodMs;
      break;
    case SignalRole::none:
    case SignalRole::pack_temp:
      period_ms = period_of(kSlowGroup[0]);
      break;
  }
  if (place.period_ms == 0) return period_ms;
  if (conditions_.duty == Duty::driving && !slowed_) return place.period_ms;
  return period_ms < place.period_ms ? place.period_ms : period_ms;
}

std::uint32_t PollPlan::period_of(const PollRequest& poll) const {
  std::uint32_t period_ms = kRarePeriodMs;
  for (const std::uint8_t pid : poll.pids()) period_ms = shorter(period_ms, period_of(pid));
  if (poll.owners_did == 0) return period_ms;
  const AllowedDid did{poll.request_id, poll.owners_did};
  for (std::size_t i = 0; i < owners_->size(); ++i)
    if (owners_->dids()[i] == did) period_ms = shorter(period_ms, period_of_owners(i));
  return period_ms;
}

void PollPlan::put_periods(Tick now) {
  for (std::size_t i = 0; i < count_; ++i) {
    PollRequest& poll = polls_[i];
    const std::uint32_t period_ms = period_of(poll);
    if (period_ms < poll.period_ms && poll.due > now + period_ms) poll.due = now + period_ms;
    poll.period_ms = period_ms;
  }
}

bool PollPlan::set_conditions(Tick now, const PollConditions& conditions) {
  if (conditions == conditions_) return false;
  const bool plan_changed = conditions.duty != conditions_.duty ||
                            conditions.driving_period_ms != conditions_.driving_period_ms ||
                            conditions.charging_period_ms != conditions_.charging_period_ms;
  conditions_ = conditions;
  put_periods(now);
  return plan_changed;
}

void PollPlan::resume(Tick now) {
  for (std::size_t i = 0; i < count_; ++i) {
    polls_[i].due = now;
    polls_[i].silent_in_row = 0;
  }
}

void PollPlan::ask_odometer_now(Tick now) {
  for (std::size_t i = 0; i < count_; ++i) {
    PollRequest& poll = polls_[i];
    if ((poll.asks(kOdometer) || poll.has(SignalRole::odometer)) && poll.due > now) poll.due = now;
  }
}

std::optional<std::size_t> PollPlan::due_at(Tick now) const {
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < count_; ++i) {
    const PollRequest& poll = polls_[i];
    if (poll.retired || poll.due > now) continue;
    if (!best || poll.due < polls_[*best].due) best = i;
  }
  return best;
}

std::optional<Tick> PollPlan::deadline() const {
  std::optional<Tick> first;
  for (const PollRequest& poll : polls())
    if (!poll.retired && (!first || poll.due < *first)) first = poll.due;
  return first;
}

CanFrame PollPlan::request(std::size_t index) const {
  const PollRequest& poll = polls_[index];
  if (poll.owners_did != 0)
    return read_by_id_request(poll.request_id, poll.extended, poll.owners_did);
  const std::optional<CanFrame> frame =
      poll.by_did ? obd_dids_request(poll.request_id, poll.extended, poll.pids())
                  : current_data_request(poll.request_id, poll.extended, poll.pids());
  return frame ? *frame : CanFrame{};
}

void PollPlan::on_sent(Tick now, std::size_t index) {
  PollRequest& poll = polls_[index];
  if (silent_alone(poll) && poll.period_ms < kSilentPeriodMs) {
    poll.due = now + kSilentPeriodMs;
  } else if (now - poll.due > poll.period_ms) {
    poll.due = now + poll.period_ms;
  } else {
    poll.due += poll.period_ms;
  }
}

void PollPlan::took(PollRequest& poll, std::uint32_t ms) {
  if (ms > kMaxTookMs) ms = kMaxTookMs;
  // A running mean over about eight exchanges.
  if (poll.mean_ms_x16 == 0) {
    poll.mean_ms_x16 = ms * 16;
  } else {
    poll.mean_ms_x16 = (poll.mean_ms_x16 * 7 + ms * 16) / 8;
  }
}

bool PollPlan::split(std::size_t index) {
  PollRequest& poll = polls_[index];
  if (poll.pid_count < 2 || count_ + poll.pid_count - 1u > kMaxPolls) return false;
  for (std::size_t i = 1; i < poll.pid_count; ++i) {
    PollRequest& single = polls_[count_++];
    single = {.response_id = poll.response_id,
              .request_id = poll.request_id,
              .period_ms = period_of(poll.pid[i]),
              .due = poll.due,
              .by_did = poll.by_did,
              .extended = poll.extended};
    single.pid[0] = poll.pid[i];
    single.pid_count = 1;
  }
  poll.pid_count = 1;
  poll.period_ms = period_of(poll.pid[0]);
  poll.mean_ms_x16 = 0;
  poll.missing_in_row = 0;
  poll.silent_in_row = 0;
  poll.refused_in_row = 0;
  return true;
}

bool PollPlan::on_reply(Tick now, std::size_t index, const PidReply& reply, std::uint32_t took_ms) {
  replied_at_ = now;
  PollRequest& poll = polls_[index];
  took(poll, took_ms);
  poll.silent_in_row = 0;
  poll.refused_in_row = 0;
  bool missing = false;
  for (const std::uint8_t pid : poll.pids())
    if (reply.find(pid).empty()) missing = true;
  poll.missing_in_row = missing ? saturating_next(poll.missing_in_row) : std::uint8_t{0};
  return poll.missing_in_row >= kBelieved && split(index);
}

bool PollPlan::silent_alone(const PollRequest& poll) const {
  return poll.silent_in_row >= kSilentInRow && replied_at_ > poll.silent_since;
}

bool PollPlan::on_silence(Tick now, std::size_t index, std::uint32_t took_ms) {
  PollRequest& poll = polls_[index];
  took(poll, took_ms);
  if (poll.silent_in_row == 0) poll.silent_since = now;
  poll.silent_in_row = saturating_next(poll.silent_in_row);
  // Some ECUs answer one PID at a time only, and a longer request not at all.
  return silent_alone(poll) && split(index);
}

bool PollPlan::on_refused(Tick now, std::size_t index, NegativeAction action,
                          std::uint32_t took_ms) {
  PollRequest& poll = polls_[index];
  took(poll, took_ms);
  poll.silent_in_row = 0;
  poll.refused_in_row = saturating_next(poll.refused_in_row);
  switch (action) {
    case NegativeAction::service_unsupported: {
      const std::uint32_t ecu = poll.response_id;
      const std::uint8_t service = poll.service();
      for (std::size_t i = 0; i < count_; ++i)
        if (polls_[i].response_id == ecu && polls_[i].service() == service)
          polls_[i].retired = true;
      return true;
    }
    case NegativeAction::item_unsupported:
    case NegativeAction::our_mistake:
    case NegativeAction::ask_fewer:
      if (poll.pid_count > 1) return split(index);
      if (poll.refused_in_row < kBelieved) return false;
      poll.retired = true;
      return true;
    case NegativeAction::retry:
      return false;
    case NegativeAction::retry_slowly:
    case NegativeAction::back_off:
    case NegativeAction::keep_waiting:
      if (poll.due < now + kBackOffMs) poll.due = now + kBackOffMs;
      return false;
  }
  return false;
}

bool PollPlan::balance(Tick now, bool crowded) {
  // What the line would be taken for if nothing were slowed down.
  std::uint32_t load = 0;
  const bool was_slowed = slowed_;
  slowed_ = false;
  for (const PollRequest& poll : polls()) {
    if (poll.retired) continue;
    std::uint32_t period_ms = period_of(poll);
    if (silent_alone(poll) && period_ms < kSilentPeriodMs) period_ms = kSilentPeriodMs;
    if (period_ms != 0) load += poll.mean_ms_x16 * (1000 / 4) / 4 / period_ms;
  }
  slowed_ = crowded || (was_slowed ? load > kRelaxed : load > kOverload);
  if (slowed_ == was_slowed) return false;
  put_periods(now);
  return true;
}

}  // namespace packmile
