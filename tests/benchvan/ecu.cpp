#include "benchvan/ecu.hpp"

#include <algorithm>
#include <array>

#include "benchvan/diagnostic_codes.hpp"

namespace packmile::benchvan {
namespace {

constexpr std::uint32_t kFunctionalId = 0x7DF;
constexpr std::uint32_t kFunctionalIdExtended = 0x18DB33F1;
constexpr std::size_t kMaxPids = 6;
constexpr unsigned kPendingInChain = 15;
constexpr Nanos kChainStepNs = 200 * kNanosPerMs;

// 0: at the usual pace.
Nanos slow_answer_ns(const Faults& faults) {
  if (faults.ecu_500ms) return 500 * kNanosPerMs;
  if (faults.ecu_51ms) return 51 * kNanosPerMs;
  if (faults.ecu_49ms) return 49 * kNanosPerMs;
  return 0;
}

}  // namespace

Ecu::Ecu(EcuIdentity identity, const PidSet& supported, const PidCoding& coding,
         const Faults& faults, std::uint64_t seed, std::optional<Nanos> answer_ns)
    : identity_(std::move(identity)),
      supported_(supported),
      coding_(coding),
      faults_(faults),
      answer_ns_(answer_ns),
      generator_(seed ^ identity_.response_id),
      sender_(identity_.response_id, identity_.extended, faults.short_n_bs ? kShortNBsNs : kNBsNs) {
  set_faults(faults);
  link_support_ranges(supported_);
}

void Ecu::set_faults(const Faults& faults) {
  faults_ = faults;
  sender_.set_faults({.wrong_sequence = faults.wrong_sequence,
                      .wrong_length = faults.wrong_length,
                      .unpadded_last = faults.short_last_frame});
}

void Ecu::answer_by_identifier(DidSetup setup) {
  link_support_ranges(setup.pids);
  identifiers_.emplace(std::move(setup), coding_, faults_);
}

bool Ecu::is_asked(const BusFrame& frame) const {
  if (frame.extended != identity_.extended || frame.remote || frame.length < 2) return false;
  return frame.id == identity_.request_id ||
         frame.id == (identity_.extended ? kFunctionalIdExtended : kFunctionalId);
}

bool Ecu::take_whole(Nanos& due_ns, std::span<const std::uint8_t>& message) {
  if (reply_due_ns_ == kNever) return false;
  due_ns = reply_due_ns_;
  message = reply_.bytes();
  reply_due_ns_ = kNever;
  if (reply_positive_) {
    ++answers_;
    values_ += reply_values_;
  }
  return true;
}

void Ecu::on_frame(Nanos now_ns, const BusFrame& frame, const Moment* moment) {
  if (!is_asked(frame)) return;
  const bool functional = frame.id != identity_.request_id;
  const std::uint8_t control = frame.data[0];
  if ((control & 0xF0) == 0x30) {
    if (!functional) sender_.on_flow_control(now_ns, frame);
    return;
  }
  // Single frames only: no request of ours is longer, and an ECU that is asked
  // for 00 bytes or for more than the frame holds does not answer.
  if (control == 0 || control > 7 || control >= frame.length || moment == nullptr) return;
  on_request(now_ns, std::span(frame.data).subspan(1, control), functional, *moment);
}

void Ecu::on_request(Nanos now_ns, std::span<const std::uint8_t> request, bool functional,
                     const Moment& moment) {
  reply_.clear();
  reply_due_ns_ = kNever;
  announced_.reset();
  reply_values_ = 0;
  reply_positive_ = true;
  const std::uint8_t service = request[0];
  if (identifiers_) {
    answer_identifiers(request, functional, moment);
  } else if (service == kCurrentData && request.size() >= 2 && request.size() <= 1 + kMaxPids) {
    answer_current_data(request.subspan(1), functional, moment);
  } else if (service == kVehicleInformation && request.size() == 2) {
    answer_vehicle_information(request[1], functional);
  } else if (!functional) {
    const bool known = service == kCurrentData || service == kVehicleInformation;
    refuse(service, known ? kWrongLength : kServiceNotSupported);
  }
  if (reply_.empty()) return;
  const double spread = generator_.share();
  reply_due_ns_ = now_ns;
  if (answer_ns_) {
    reply_due_ns_ += *answer_ns_;
  } else if (const Nanos slow_ns = slow_answer_ns(faults_); slow_ns != 0) {
    reply_due_ns_ += slow_ns;
  } else if (!faults_.instant_ecu) {
    reply_due_ns_ +=
        kAnswerFixedNs + static_cast<Nanos>(spread * static_cast<double>(kAnswerSpreadNs));
  }
  const bool pending = faults_.response_pending || faults_.pending_chain;
  if (pending && reply_positive_ && ++requests_ % 7 == 0) {
    announced_ = reply_;
    pending_left_ = faults_.pending_chain ? kPendingInChain - 1 : 0;
    reply_.clear();
    refuse(service, kResponsePending);
  }
}

void Ecu::answer_identifiers(std::span<const std::uint8_t> request, bool functional,
                             const Moment& moment) {
  if (request[0] != kReadDataByIdentifier) {
    if (!functional) refuse(request[0], kServiceNotSupported);
    return;
  }
  const DataIdentifiers::Outcome outcome =
      identifiers_->answer(request.subspan(1), own_moment(moment), reply_);
  reply_values_ = outcome.values;
  if (outcome.refused != 0 && !functional) refuse(kReadDataByIdentifier, outcome.refused);
}

const Moment& Ecu::own_moment(const Moment& moment) {
  const bool other_speed = faults_.ecus_differ && identity_.speed_offset_kmh != 0;
  if (identity_.module_v_drop == 0 && !other_speed) return moment;
  own_ = moment;
  if (const std::optional<double> module_v = moment.get(Quantity::module_v)) {
    own_.set(Quantity::module_v, *module_v - identity_.module_v_drop);
  }
  if (const std::optional<double> speed_kmh = moment.get(Quantity::speed_kmh);
      speed_kmh && other_speed) {
    own_.set(Quantity::speed_kmh, *speed_kmh + identity_.speed_offset_kmh);
  }
  return own_;
}

void Ecu::answer_current_data(std::span<const std::uint8_t> pids, bool functional,
                              const Moment& moment) {
  if (faults_.one_pid_only && pids.size() > 1) {
    if (!functional) refuse(kCurrentData, kSubFunctionNotSupported);
    return;
  }
  std::array<std::uint8_t, kMaxPids> order{};
  std::copy(pids.begin(), pids.end(), order.begin());
  const auto asked = std::span(order).first(pids.size());
  if (faults_.pids_reversed) std::reverse(asked.begin(), asked.end());

  const Moment& own = own_moment(moment);
  reply_.put(kCurrentData | kPositive);
  bool any_supported = false;
  for (const std::uint8_t pid : asked) {
    const bool supported = pid == 0 || supported_[pid];
    any_supported = any_supported || supported;
    if (!supported) continue;
    if (is_support_pid(pid)) {
      put_support_bitmap(pid, supported_, reply_);
    } else if (put_pid(pid, own, coding_, reply_)) {
      reply_values_ += values_of_pid(pid);
    }
  }
  if (reply_.size() > 1) return;
  reply_.clear();
  if (!any_supported && !functional) refuse(kCurrentData, kSubFunctionNotSupported);
}

void Ecu::answer_vehicle_information(std::uint8_t info_type, bool functional) {
  const auto begin = [&] {
    reply_.put(kVehicleInformation | kPositive);
    reply_.put(info_type);
  };
  switch (info_type) {
    case 0x00: {
      const std::uint32_t bits = (identity_.vin.empty() ? 0u : 1u << (32 - 0x02)) |
                                 (1u << (32 - 0x04)) | (1u << (32 - 0x0A));
      begin();
      reply_.put_word(bits, 4);
      return;
    }
    case 0x02:
      if (identity_.vin.empty()) break;
      begin();
      reply_.put(1);
      for (std::size_t i = identity_.vin.size(); i < 17; ++i) reply_.put(0);
      reply_.put_text(identity_.vin, identity_.vin.size());
      return;
    case 0x04:
      begin();
      reply_.put(1);
      reply_.put_text(identity_.calibration_id, 16);
      return;
    case 0x0A:
      begin();
      reply_.put(1);
      reply_.put_text(identity_.name, 20);
      return;
    default:
      break;
  }
  if (!functional) refuse(kVehicleInformation, kSubFunctionNotSupported);
}

void Ecu::refuse(std::uint8_t service, std::uint8_t reason) {
  reply_.clear();
  reply_.put(0x7F);
  reply_.put(service);
  reply_.put(reason);
  reply_positive_ = false;
}

std::optional<BusFrame> Ecu::take_frame(Nanos now_ns) {
  if (reply_due_ns_ <= now_ns) {
    sender_.start(now_ns, reply_);
    sending_positive_ = reply_positive_;
    sending_values_ = reply_positive_ ? reply_values_ : 0;
    reply_due_ns_ = kNever;
    if (announced_ && pending_left_ > 0) {
      --pending_left_;
      reply_due_ns_ = now_ns + kChainStepNs;
    } else if (announced_) {
      reply_ = *announced_;
      announced_.reset();
      reply_positive_ = true;
      reply_due_ns_ = now_ns + (faults_.pending_chain ? kChainStepNs : kPendingNs);
    }
  }
  return sender_.take_frame(now_ns);
}

void Ecu::on_sent(Nanos at_ns) {
  if (!sender_.on_sent(at_ns) || !sending_positive_) return;
  ++answers_;
  values_ += sending_values_;
}

Nanos Ecu::deadline_ns() const { return std::min(reply_due_ns_, sender_.deadline_ns()); }

}  // namespace packmile::benchvan
