#include "core/discovery.hpp"

#include <algorithm>
#include <memory>
#include <type_traits>

#include "core/isotp_receiver.hpp"
#include "obd_address.hpp"
#include "core/obd_request.hpp"
#include "core/pid_reply.hpp"

namespace packmile {
namespace {

// One request, asked again once when its answer was lost on the way.
constexpr std::uint8_t kMaxTries = 2;
// Before asking a busy ECU again. Common practice, no source.
constexpr Tick kBusyPauseMs = 200;
constexpr Tick kSlowPauseMs = 1000;

constexpr std::size_t kVinBytes = 17;             // SAE J1979, 49 CFR 565
constexpr std::size_t kCalibrationIdBytes = 16;   // SAE J1979
constexpr std::size_t kEcuNameBytes = 20;         // SAE J1979
constexpr std::size_t kInformationHeadBytes = 3;  // 49, info type, number of items

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

void Discovery::start() {
  // In place: an assignment would build a second one on the small stack.
  std::construct_at(this);
  ask(Step::find_11);
}

std::optional<Discovery::Request> Discovery::take_request(Tick now) {
  if (state() != DiscoveryState::running || wait_ != Wait::to_be_taken) return std::nullopt;
  wait_ = Wait::reply;
  window_end_ = now + kReplyMs;
  give_up_ = now + kLongestReplyMs;
  late_count_ = 0;
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
  else if (is_functional())
    taken = on_find(response_id, extended, message);
  else
    taken = on_bitmap(message);
  if (taken) no_longer_late(response_id);
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
  const bool ask_all = map_.vin.empty() && information_silent_;
  ask(ask_all ? Step::any_vin : Step::found);
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
      return map_.ecu_count > 0 ? begin_ecu() : ask(Step::nothing);
    case Step::bitmaps:
      return ask(Step::info);
    case Step::info:
      return next_ecu();
    case Step::vin:
    case Step::calibration:
    case Step::name:
      return next_item();
    case Step::any_vin:
      return ask(Step::found);
    case Step::idle:
    case Step::found:
    case Step::nothing:
      return;
  }
}

void Discovery::on_silence() {
  // Silence on a functional request, or on the first request of a service, is
  // how an ECU says no; the others were promised by a bitmap.
  const bool promised = !is_functional() && step_ != Step::info;
  if (promised && tries_ < kMaxTries) {
    wait_ = Wait::to_be_taken;
    return;
  }
  if (step_ == Step::info) information_silent_ = true;
  give_up_item();
}

bool Discovery::on_negative(Tick now, std::uint32_t response_id, const NegativeResponse& response) {
  const std::uint8_t asked = asks_information() ? kServiceVehicleInformation : kServiceCurrentData;
  if (response.service != asked) return false;
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
      if (asks_information())
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

bool Discovery::on_find(std::uint32_t response_id, bool extended,
                        std::span<const std::uint8_t> message) {
  const auto bitmap = parse_pid_reply(message).find(0x00);
  if (bitmap.empty() || map_.find(response_id) != nullptr) return false;
  if (map_.ecu_count == kMaxEcus) return true;
  std::size_t place = map_.ecu_count++;
  for (; place > 0 && map_.ecu[place - 1].response_id > response_id; --place)
    map_.ecu[place] = map_.ecu[place - 1];
  VanEcu& ecu = map_.ecu[place];
  ecu = VanEcu{};
  ecu.response_id = response_id;
  ecu.request_id = *request_id_of(response_id, extended);
  ecu.extended = extended;
  ecu.pids.set(0x00, bitmap);
  return true;
}

bool Discovery::on_bitmap(std::span<const std::uint8_t> message) {
  SupportedPids& pids = map_.ecu[ecu_].pids;
  const std::uint8_t base = *pids.next_base();
  const auto bitmap = parse_pid_reply(message).find(base);
  if (bitmap.empty()) return false;
  pids.set(base, bitmap);
  ask(pids.next_base() ? Step::bitmaps : Step::info);
  return true;
}

bool Discovery::on_information(std::span<const std::uint8_t> message) {
  const CanFrame asked = request();
  if (message.size() < 2 || message[0] != kServiceVehicleInformation + kPositiveResponse ||
      message[1] != asked.data[2])
    return false;
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
  const bool extended =
      is_functional() ? step_ == Step::find_29 || (step_ == Step::any_vin && map_.ecu[0].extended)
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
    case Step::bitmaps:
      pid = map_.ecu[ecu_].pids.next_base().value_or(0);
      break;
    case Step::idle:
    case Step::find_11:
    case Step::find_29:
    case Step::found:
    case Step::nothing:
      break;
  }
  return *current_data_request(id, extended, std::span(&pid, 1));
}

bool Discovery::is_functional() const {
  return step_ == Step::find_11 || step_ == Step::find_29 || step_ == Step::any_vin;
}

bool Discovery::asks_information() const {
  return step_ == Step::info || step_ == Step::vin || step_ == Step::calibration ||
         step_ == Step::name || step_ == Step::any_vin;
}

bool Discovery::is_expected(std::uint32_t response_id, bool extended) const {
  if (is_functional()) return request_id_of(response_id, extended).has_value();
  const VanEcu& ecu = map_.ecu[ecu_];
  return response_id == ecu.response_id && extended == ecu.extended;
}

}  // namespace packmile
