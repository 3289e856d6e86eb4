#include "core/discovery.hpp"

#include <algorithm>
#include <memory>
#include <type_traits>

#include "core/isotp_receiver.hpp"
#include "core/obd_request.hpp"
#include "core/pid_reply.hpp"
#include "obd_address.hpp"

namespace packmile {
namespace {

// One request, asked again once when its answer was lost on the way.
constexpr std::uint8_t kMaxTries = 2;
// Before asking a busy ECU again. Common practice, no source.
constexpr Tick kBusyPauseMs = 200;
constexpr Tick kSlowPauseMs = 1000;

constexpr std::size_t kVinBytes = 17;            // SAE J1979, 49 CFR 565
constexpr std::size_t kCalibrationIdBytes = 16;  // SAE J1979
constexpr std::size_t kEcuNameBytes = 20;        // SAE J1979
constexpr std::size_t kInformationHeadBytes = 3;

// The VIN with its left padding of 00 taken off; empty if anything else than a
// visible character is in it.
FixedText<kVinBytes> vin_of(std::span<const std::uint8_t> bytes) {
  if (bytes.size() < kVinBytes) return {};
  while (!bytes.empty() && bytes[0] == 0) bytes = bytes.subspan(1);
  if (bytes.size() > kVinBytes) return {};
  FixedText<kVinBytes> text;
  for (const std::uint8_t byte : bytes) {
    if (byte <= ' ' || byte > '~') return {};
    text.append(static_cast<char>(byte));
  }
  return text;
}

// Text filled up with 00 or spaces, also between its parts (an ECU name is an
// acronym, filled up, and a text); empty if anything unprintable is in it.
template <std::size_t N>
FixedText<N> text_of(std::span<const std::uint8_t> bytes) {
  if (bytes.size() < N) return {};
  FixedText<N> text;
  for (const std::uint8_t byte : bytes.first(N)) {
    if (byte == 0) continue;
    if (byte < ' ' || byte > '~') return {};
    text.append(static_cast<char>(byte));
  }
  while (!text.empty() && text.chars[text.size - 1u] == ' ') text.chars[--text.size] = 0;
  return text;
}

}  // namespace

static_assert(std::is_trivially_destructible_v<Discovery>);

void Discovery::start(std::span<const AllowedDid> owners, Tick reply_ms) {
  // In place: an assignment would build a second one on the small stack.
  std::construct_at(this);
  owners_ = owners;
  reply_ms_ = reply_ms;
  ask(Step::find_11);
}

std::optional<Discovery::Request> Discovery::take_request(Tick now) {
  if (state() != DiscoveryState::running || wait_ != Wait::to_be_taken) return std::nullopt;
  wait_ = Wait::reply;
  window_end_ = now + reply_ms_;
  give_up_ = now + kLongestReplyMs;
  late_count_ = 0;
  patient_ = false;
  ++tries_;
  return Request{request(), is_functional()};
}

bool Discovery::on_message(Tick now, std::uint32_t response_id, bool extended,
                           std::span<const std::uint8_t> message) {
  if (wait_ != Wait::reply || !is_expected(response_id, extended)) return false;
  if (const auto negative = parse_negative_response(message))
    return on_negative(now, response_id, *negative);
  bool taken = false;
  if (asks_information())
    taken = on_information(message);
  else if (step_ == Step::owners)
    taken = message[0] == kServiceReadById + kPositiveResponse && on_owners();
  else if (is_functional())
    taken = on_find(response_id, extended, message);
  else
    taken = on_bitmap(message);
  if (taken) no_longer_late(response_id);
  if (taken && patient_) {
    reply_ms_ *= kPatience;
    if (reply_ms_ > kSlowestReplyMs) reply_ms_ = kSlowestReplyMs;
    patient_ = false;
  }
  return taken;
}

void Discovery::on_partial(Tick now, std::uint32_t response_id, bool extended) {
  if (wait_ != Wait::reply || !is_expected(response_id, extended)) return;
  if (Late* late = late_of(response_id)) late->until = now + kNCrMs;
}

void Discovery::on_time(Tick now) {
  const auto due = deadline();
  if (!due || now < *due) return;
  if (wait_ == Wait::pause)
    wait_ = Wait::to_be_taken;
  else
    on_silence();
}

std::optional<Tick> Discovery::deadline() const {
  if (state() != DiscoveryState::running || wait_ == Wait::to_be_taken) return std::nullopt;
  if (wait_ == Wait::pause) return window_end_;
  Tick due = window_end_;
  for (const Late& late : std::span<const Late>(late_).first(late_count_))
    due = std::max(due, late.until);
  return std::min(due, give_up_);
}

DiscoveryState Discovery::state() const {
  switch (step_) {
    case Step::idle:
      return DiscoveryState::idle;
    case Step::found:
      return DiscoveryState::found;
    case Step::nothing:
      return DiscoveryState::nothing;
    case Step::find_11:
    case Step::find_29:
    case Step::bitmaps:
    case Step::info:
    case Step::vin:
    case Step::calibration:
    case Step::name:
    case Step::any_vin:
    case Step::by_id_11:
    case Step::by_id_29:
    case Step::id_bitmaps:
    case Step::owners:
    case Step::id_vin:
      return DiscoveryState::running;
  }
  return DiscoveryState::idle;
}

void Discovery::ask(Step step) {
  step_ = step;
  wait_ = Wait::to_be_taken;
  tries_ = 0;
  late_count_ = 0;
}

void Discovery::begin_ecu() {
  info_ = SupportedPids{};
  ask(map_.ecu[ecu_].pids.next_base() ? Step::bitmaps : Step::info);
}

void Discovery::next_ecu() {
  ++ecu_;
  if (ecu_ < map_.ecu_count) return begin_ecu();
  if (map_.vin.empty() && information_silent_) return ask(Step::any_vin);
  begin_by_id();
}

void Discovery::begin_by_id() {
  for (const VanEcu& ecu : map_.ecus())
    if (ecu.pids.has(kPackPid)) return begin_owners();
  ask(map_.ecu_count > 0 && map_.ecu[0].extended ? Step::by_id_29 : Step::by_id_11);
}

void Discovery::next_id_bitmap() {
  for (; ecu_ < map_.ecu_count; ++ecu_) {
    const SupportedPids& dids = map_.ecu[ecu_].dids;
    if (dids.ranges() != 0 && dids.next_base()) return ask(Step::id_bitmaps);
  }
  begin_owners();
}

void Discovery::begin_owners() {
  ecu_ = 0;
  next_owners();
}

// The next ECU of the list that has not said anything yet.
void Discovery::next_owners() {
  for (; ecu_ < owners_.size(); ++ecu_) {
    const std::uint32_t id = owners_[ecu_].request_id;
    bool known = false;
    for (std::size_t i = 0; i < ecu_; ++i) known = known || owners_[i].request_id == id;
    for (const VanEcu& ecu : map_.ecus()) known = known || ecu.request_id == id;
    if (!known) return ask(Step::owners);
  }
  ecu_ = 0;
  next_id_vin();
}

void Discovery::next_id_vin() {
  for (; map_.vin.empty() && ecu_ < map_.ecu_count; ++ecu_)
    if (map_.ecu[ecu_].by_id) return ask(Step::id_vin);
  ask(map_.ecu_count > 0 ? Step::found : Step::nothing);
}

void Discovery::next_item() {
  if (step_ < Step::vin && map_.vin.empty() && info_.has(info_type::vin)) return ask(Step::vin);
  if (step_ < Step::calibration && info_.has(info_type::calibration_ids))
    return ask(Step::calibration);
  if (step_ < Step::name && info_.has(info_type::ecu_name)) return ask(Step::name);
  next_ecu();
}

void Discovery::give_up_item() {
  switch (step_) {
    case Step::find_11:
      return map_.ecu_count > 0 ? begin_ecu() : ask(Step::find_29);
    case Step::find_29:
      return map_.ecu_count > 0 ? begin_ecu() : begin_by_id();
    case Step::bitmaps:
      return ask(Step::info);
    case Step::info:
      return next_ecu();
    case Step::vin:
    case Step::calibration:
    case Step::name:
      return next_item();
    case Step::any_vin:
      return begin_by_id();
    case Step::by_id_11:
      // A van that was found answers with the ids that it was found by.
      if (map_.ecu_count == 0) return ask(Step::by_id_29);
      [[fallthrough]];
    case Step::by_id_29:
      ecu_ = 0;
      return next_id_bitmap();
    case Step::id_bitmaps:
      ++ecu_;
      return next_id_bitmap();
    case Step::owners:
      ++ecu_;
      return next_owners();
    case Step::id_vin:
      ++ecu_;
      return next_id_vin();
    case Step::idle:
    case Step::found:
    case Step::nothing:
      return;
  }
}

void Discovery::on_silence() {
  // Silence on a functional request, or on the first request of a service, is
  // how an ECU says no; the others were promised by a bitmap.
  if (is_functional() && map_.ecu_count == 0 && !patient_) {
    patient_ = true;
    window_end_ += (kPatience - 1) * reply_ms_;
    return;
  }
  const bool promised = !is_functional() && step_ != Step::info;
  if (promised && tries_ < kMaxTries) {
    wait_ = Wait::to_be_taken;
    return;
  }
  if (step_ == Step::info) information_silent_ = true;
  give_up_item();
}

bool Discovery::on_negative(Tick now, std::uint32_t response_id, const NegativeResponse& response) {
  if (response.service != service_asked()) return false;
  if (response.action == NegativeAction::keep_waiting) {
    Late* late = late_of(response_id);
    if (late == nullptr) return true;
    if (late->pending_in_a_row < kMaxPendingInARow) {
      ++late->pending_in_a_row;
      late->until = now + kPendingMs;
    } else if (is_functional()) {
      late->until = 0;
    } else {
      give_up_item();
    }
    return true;
  }
  no_longer_late(response_id);
  // One ECU's no ends nothing for the others.
  if (is_functional()) return true;
  // It is there, and may answer another identifier, or this one later.
  if (step_ == Step::owners) return on_owners();
  switch (response.action) {
    case NegativeAction::retry:
    case NegativeAction::retry_slowly:
      if (tries_ < kMaxTries) {
        wait_ = Wait::pause;
        window_end_ =
            now + (response.action == NegativeAction::retry ? kBusyPauseMs : kSlowPauseMs);
      } else {
        give_up_item();
      }
      return true;
    case NegativeAction::service_unsupported:
      if (asks_information() && !asks_by_id())
        next_ecu();
      else
        give_up_item();
      return true;
    case NegativeAction::back_off:
    case NegativeAction::item_unsupported:
    case NegativeAction::our_mistake:
    case NegativeAction::ask_fewer:
    case NegativeAction::keep_waiting:
      give_up_item();
      return true;
  }
  return true;
}

VanEcu* Discovery::add_ecu(std::uint32_t response_id, bool extended) {
  if (map_.ecu_count == kMaxEcus) return nullptr;
  std::size_t place = map_.ecu_count++;
  for (; place > 0 && map_.ecu[place - 1].response_id > response_id; --place)
    map_.ecu[place] = map_.ecu[place - 1];
  VanEcu& ecu = map_.ecu[place];
  ecu = VanEcu{};
  ecu.response_id = response_id;
  ecu.request_id = *request_id_of(response_id, extended);
  ecu.extended = extended;
  return &ecu;
}

bool Discovery::on_find(std::uint32_t response_id, bool extended,
                        std::span<const std::uint8_t> message) {
  if (message.empty() || message[0] != service_asked() + kPositiveResponse) return false;
  const auto bitmap = parse_pid_reply(message).find(0x00);
  VanEcu* ecu = map_.find(response_id);
  const bool again = ecu != nullptr && (!asks_by_id() || ecu->dids.answered(0x00));
  if (bitmap.empty() || again) return false;
  if (ecu == nullptr) ecu = add_ecu(response_id, extended);
  if (ecu == nullptr) return true;  // more than there is room for
  (asks_by_id() ? ecu->dids : ecu->pids).set(0x00, bitmap);
  ecu->by_id = asks_by_id();
  return true;
}

bool Discovery::on_bitmap(std::span<const std::uint8_t> message) {
  if (message.empty() || message[0] != service_asked() + kPositiveResponse) return false;
  SupportedPids& pids = asks_by_id() ? map_.ecu[ecu_].dids : map_.ecu[ecu_].pids;
  const std::uint8_t base = *pids.next_base();
  const auto bitmap = parse_pid_reply(message).find(base);
  if (bitmap.empty()) return false;
  pids.set(base, bitmap);
  if (asks_by_id())
    next_id_bitmap();
  else
    ask(pids.next_base() ? Step::bitmaps : Step::info);
  return true;
}

bool Discovery::on_owners() {
  const std::uint32_t id = owners_[ecu_].request_id;
  const bool extended = is_extended_id(id);
  if (VanEcu* ecu = add_ecu(response_id_of(id, extended), extended)) ecu->by_id = true;
  ++ecu_;
  next_owners();
  return true;
}

bool Discovery::on_information(std::span<const std::uint8_t> message) {
  // The echo: an info type, or both bytes of an identifier.
  const CanFrame asked = request();
  const std::size_t echo = asks_by_id() ? 2 : 1;
  if (message.size() < 1 + echo || message[0] != service_asked() + kPositiveResponse ||
      message[1] != asked.data[2] || message[echo] != asked.data[1 + echo])
    return false;
  // 49, info type, number of items; or 62 and an identifier.
  const auto item = message.size() > kInformationHeadBytes ? message.subspan(kInformationHeadBytes)
                                                           : std::span<const std::uint8_t>{};
  switch (step_) {
    case Step::info:
      // Without a number of items, unlike the rest.
      info_.set(info_type::supported, message.subspan(2));
      break;
    case Step::vin:
    case Step::any_vin:
      if (map_.vin.empty()) map_.vin = vin_of(item);
      break;
    case Step::id_vin:
      map_.vin = vin_of(item);
      ++ecu_;
      next_id_vin();
      return true;
    case Step::calibration:
      map_.ecu[ecu_].calibration_id = text_of<kCalibrationIdBytes>(item);
      break;
    case Step::name:
      map_.ecu[ecu_].name = text_of<kEcuNameBytes>(item);
      break;
    case Step::idle:
    case Step::find_11:
    case Step::find_29:
    case Step::bitmaps:
    case Step::by_id_11:
    case Step::by_id_29:
    case Step::id_bitmaps:
    case Step::owners:
    case Step::found:
    case Step::nothing:
      return false;
  }
  // The others may still be sending theirs: the window ends by time.
  if (step_ != Step::any_vin) next_item();
  return true;
}

Discovery::Late* Discovery::late_of(std::uint32_t response_id) {
  for (std::size_t i = 0; i < late_count_; ++i)
    if (late_[i].response_id == response_id) return &late_[i];
  if (late_count_ == late_.size()) return nullptr;
  late_[late_count_] = Late{0, response_id, 0};
  return &late_[late_count_++];
}

void Discovery::no_longer_late(std::uint32_t response_id) {
  for (std::size_t i = 0; i < late_count_; ++i) {
    if (late_[i].response_id != response_id) continue;
    late_[i] = late_[--late_count_];
    return;
  }
}

CanFrame Discovery::request() const {
  if (step_ == Step::owners) {
    const AllowedDid& first = owners_[ecu_];
    return read_by_id_request(first.request_id, is_extended_id(first.request_id), first.did);
  }
  const bool of_map = map_.ecu_count > 0 && map_.ecu[0].extended;
  const bool extended = is_functional() ? step_ == Step::find_29 || step_ == Step::by_id_29 ||
                                              (step_ == Step::any_vin && of_map)
                                        : map_.ecu[ecu_].extended;
  const std::uint32_t id = is_functional() ? functional_id(extended) : map_.ecu[ecu_].request_id;
  std::uint8_t pid = 0;
  switch (step_) {
    case Step::info:
      return vehicle_information_request(id, extended, info_type::supported);
    case Step::vin:
    case Step::any_vin:
      return vehicle_information_request(id, extended, info_type::vin);
    case Step::calibration:
      return vehicle_information_request(id, extended, info_type::calibration_ids);
    case Step::name:
      return vehicle_information_request(id, extended, info_type::ecu_name);
    case Step::id_vin:
      return read_by_id_request(id, extended, kVinDid);
    case Step::id_bitmaps:
      pid = map_.ecu[ecu_].dids.next_base().value_or(0);
      break;
    case Step::bitmaps:
      pid = map_.ecu[ecu_].pids.next_base().value_or(0);
      break;
    case Step::idle:
    case Step::find_11:
    case Step::find_29:
    case Step::by_id_11:
    case Step::by_id_29:
    case Step::owners:
    case Step::found:
    case Step::nothing:
      break;
  }
  return asks_by_id() ? *obd_dids_request(id, extended, std::span(&pid, 1))
                      : *current_data_request(id, extended, std::span(&pid, 1));
}

bool Discovery::is_functional() const {
  return step_ == Step::find_11 || step_ == Step::find_29 || step_ == Step::any_vin ||
         step_ == Step::by_id_11 || step_ == Step::by_id_29;
}

bool Discovery::asks_information() const {
  return step_ == Step::info || step_ == Step::vin || step_ == Step::calibration ||
         step_ == Step::name || step_ == Step::any_vin || step_ == Step::id_vin;
}

bool Discovery::asks_by_id() const { return step_ >= Step::by_id_11 && step_ <= Step::id_vin; }

std::uint8_t Discovery::service_asked() const {
  if (asks_by_id()) return kServiceReadById;
  return asks_information() ? kServiceVehicleInformation : kServiceCurrentData;
}

bool Discovery::is_expected(std::uint32_t response_id, bool extended) const {
  const auto request_id = request_id_of(response_id, extended);
  if (is_functional()) return request_id.has_value();
  if (step_ == Step::owners) return request_id == owners_[ecu_].request_id;
  const VanEcu& ecu = map_.ecu[ecu_];
  return response_id == ecu.response_id && extended == ecu.extended;
}

}  // namespace packmile
