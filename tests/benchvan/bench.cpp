#include "benchvan/bench.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "benchvan/diagnostic_codes.hpp"

namespace packmile::benchvan {
namespace {

// How long after a search for the ECU the schedule asks for the same identifier.
constexpr Nanos kAskedAgainNs = 10 * kNanosPerSecond;
// Other ECUs' frames of the fault bus-traffic: one each 20 ms, far below what
// the serial line carries.
constexpr Nanos kTrafficPeriodNs = 20 * kNanosPerMs;
constexpr std::array<std::uint32_t, 3> kTrafficIds{0x1A0, 0x2F4, 0x3C8};
constexpr Nanos kFloodPeriodNs = kNanosPerMs / 2;  // 2000 frames a second
constexpr Nanos kForeignPeriodNs = 100 * kNanosPerMs;
constexpr Nanos kAfterForeignNs = 600 * kNanosPerSecond;
// From its frame to what a host does about it: a full queue of lines, one that is
// late, and the host's own line.
constexpr Nanos kForeignHeardNs = 400 * kNanosPerMs;
constexpr Nanos kResetPeriodNs = 97 * kNanosPerSecond;
constexpr Nanos kLateNs = 60 * kNanosPerMs;
// Faults that come and go: seconds since the first poll request.
constexpr double kBusOffFromS = 120, kBusOffToS = 150;
constexpr double kForeignFromS = 120, kForeignToS = 180;
constexpr double kStopFromS = 120, kStopToS = 240;
// Of the faults soc-over-100 and pack-cold.
constexpr double kTooMuchSocPct = 60;
constexpr double kPackColdC = -70;

// An adapter that gets no acknowledgement says so; it has no confirmation.
constexpr std::string_view kNoAcknowledgement = "e1a\r";
constexpr std::string_view kFormError = "e1f\r";
// State line of the Linux driver: off the bus, error counters.
constexpr std::string_view kBusOffState = "sb256256\r";

unsigned kbit_of(const Faults& faults) {
  return faults.bus_125k ? 125 : faults.bus_250k ? 250 : 500;
}

EcuIdentity identity_of(unsigned number, bool extended) {
  EcuIdentity identity;
  identity.extended = extended;
  // 29-bit addresses 10, 11, 12: invented.
  identity.request_id = extended ? 0x18DA00F1u | ((0x10u + number) << 8) : 0x7E0u + number;
  identity.response_id = extended ? 0x18DAF100u | (0x10u + number) : 0x7E8u + number;
  return identity;
}

// Which PIDs the three ECUs answer, given what the van can ever show.
struct PidPlan {
  PidSet vehicle, charger, motor;
};

PidPlan plan_pids(const QuantitySet& quantities, const Faults& faults) {
  PidPlan plan;
  for (const unsigned pid : {0x01u, 0x1Cu, 0x1Fu, 0x42u, 0x51u}) plan.vehicle.set(pid);
  for (const unsigned pid : {0x01u, 0x1Cu, 0x42u}) plan.charger.set(pid);
  for (const unsigned pid : {0x01u, 0x1Cu}) plan.motor.set(pid);
  const auto answer = [&](Quantity quantity, unsigned pid, std::initializer_list<PidSet*> ecus) {
    if (!quantities.has(quantity)) return;
    for (PidSet* ecu : ecus) ecu->set(pid);
  };
  answer(Quantity::speed_kmh, 0x0D, {&plan.vehicle, &plan.motor});
  answer(Quantity::ambient_c, 0x46, {&plan.vehicle, &plan.charger});
  answer(Quantity::coolant_c, 0x05, {&plan.vehicle, &plan.charger, &plan.motor});
  answer(Quantity::barometric_kpa, 0x33, {&plan.vehicle});
  answer(Quantity::warm_ups, 0x30, {&plan.vehicle});
  answer(Quantity::time_since_clear_min, 0x4E, {&plan.vehicle});
  answer(Quantity::pack_v, 0x9A, {&plan.vehicle});
  answer(Quantity::pack_a, 0x9A, {&plan.vehicle});
  if (quantities.has(Quantity::pack_v)) answer(Quantity::pack_a, 0x62, {&plan.motor});
  answer(Quantity::demanded_torque_pct, 0x61, {&plan.motor});
  answer(Quantity::actual_torque_pct, 0x62, {&plan.motor});
  answer(Quantity::reference_torque_nm, 0x63, {&plan.motor});
  if (!faults.no_soc) answer(Quantity::soc_pct, 0x5B, {&plan.vehicle});
  if (!faults.no_odometer) {
    // The odometer grows by speed where it has no column of its own.
    for (const Quantity source : {Quantity::odometer_km, Quantity::speed_kmh}) {
      answer(source, 0xA6, {&plan.vehicle});
      answer(source, 0x31, {&plan.vehicle});
    }
  }
  return plan;
}

}  // namespace

Bench::Bench(const BenchSetup& setup, Scene& scene)
    : setup_(setup),
      scene_(scene),
      bus_kbit_per_s_(kbit_of(setup.faults)),
      from_host_(setup.line.baud),
      to_host_(setup.line),
      adapter_(setup.faults.z_confirm) {
  using namespace std::string_literals;
  const bool extended = setup.faults.ids_29bit;
  const std::optional<Nanos> answer_ns =
      setup.ecu_ms ? std::optional(nanos_of_seconds(*setup.ecu_ms / 1000)) : std::nullopt;
  const PidPlan plan = plan_pids(setup.quantities, setup.faults);
  EcuIdentity vehicle = identity_of(0, extended);
  if (!setup.faults.no_vin) vehicle.vin = setup.vin;
  vehicle.calibration_id = "BENCH-VCU-01.07";
  vehicle.name = "VCU\0-VehicleControl"s;
  EcuIdentity charger = identity_of(1, extended);
  charger.calibration_id = "BENCH-OBC-02.11";
  charger.name = "OBC\0-OnBoardCharger"s;
  // Its terminals are at the end of a longer wire.
  charger.module_v_drop = 0.1;
  EcuIdentity motor = identity_of(2, extended);
  motor.speed_offset_kmh = 7;
  motor.calibration_id = "BENCH-MCU-01.03";
  motor.name = "MCU\0-MotorControl"s;
  ecus_.emplace_back(vehicle, plan.vehicle, setup.coding, setup.faults, setup.seed, answer_ns);
  ecus_.emplace_back(charger, plan.charger, setup.coding, setup.faults, setup.seed, answer_ns);
  ecus_.emplace_back(motor, plan.motor, setup.coding, setup.faults, setup.seed, answer_ns);
  if (setup.answers == Answers::f4xx) {
    const std::array<const PidSet*, 3> pids{&plan.vehicle, &plan.charger, &plan.motor};
    for (std::size_t i = 0; i < pids.size(); ++i) {
      ecus_[i].answer_by_identifier({.vin = ecus_[i].identity().vin,
                                     .f4xx = true,
                                     .pids = *pids[i],
                                     .quantities = setup.quantities});
    }
  } else if (setup.answers == Answers::owner) {
    make_owners_ecus(answer_ns);
  }
  // A van that answers nothing is alive all the same.
  const bool others = setup.faults.bus_traffic || setup.answers == Answers::none;
  if ((others && !setup.faults.dead_bus) || setup.faults.adapter_flood) next_traffic_ns_ = 0;
  traffic_period_ns_ = setup.faults.adapter_flood ? kFloodPeriodNs : kTrafficPeriodNs;
  if (setup.faults.adapter_resets) next_reset_ns_ = kResetPeriodNs;
  going_on_.resize(ecus_.size());
}

void Bench::switch_faults(Nanos now_ns, const Faults& faults) {
  const Faults before = setup_.faults;
  setup_.faults = faults;
  faults_switched_ = true;
  for (Ecu& ecu : ecus_) ecu.set_faults(faults);
  adapter_.set_z_confirm(faults.z_confirm);
  const bool others = faults.bus_traffic && !faults.dead_bus;
  traffic_period_ns_ = faults.adapter_flood ? kFloodPeriodNs : kTrafficPeriodNs;
  if (!others && !faults.adapter_flood) {
    next_traffic_ns_ = kNever;
  } else {
    next_traffic_ns_ = std::min(next_traffic_ns_, now_ns + traffic_period_ns_);
  }
  if (faults.foreign_tester && !before.foreign_tester) next_foreign_ns_ = now_ns;
  if (!faults.adapter_resets) {
    next_reset_ns_ = kNever;
  } else if (!before.adapter_resets) {
    next_reset_ns_ = now_ns;
  }
}

// The three ECUs there are, and one for each further one that the list names.
void Bench::make_owners_ecus(std::optional<Nanos> answer_ns) {
  for (const OwnersField& field : setup_.fields) {
    const bool known = std::any_of(ecus_.begin(), ecus_.end(), [&](const Ecu& ecu) {
      return ecu.identity().request_id == field.request_id;
    });
    if (known) continue;
    const std::uint32_t id = field.request_id;
    EcuIdentity identity;
    identity.extended = id > 0x7FF;
    identity.request_id = id;
    identity.response_id = identity.extended ? 0x18DAF100u | ((id >> 8) & 0xFFu) : id + 8;
    ecus_.emplace_back(identity, PidSet{}, setup_.coding, setup_.faults, setup_.seed, answer_ns);
  }
  // The odometer grows by speed where it has no column of its own.
  QuantitySet quantities = setup_.quantities;
  if (quantities.has(Quantity::speed_kmh)) quantities.add(Quantity::odometer_km);
  if (setup_.faults.no_odometer) quantities.remove(Quantity::odometer_km);
  if (setup_.faults.no_soc) quantities.remove(Quantity::soc_pct);
  for (Ecu& ecu : ecus_) {
    DidSetup own{.vin = ecu.identity().vin, .quantities = quantities};
    for (const OwnersField& field : setup_.fields) {
      if (field.request_id == ecu.identity().request_id) own.fields.push_back(field);
    }
    ecu.answer_by_identifier(std::move(own));
  }
}

const Moment* Bench::show(Nanos now_ns) {
  const Moment* moment = scene_.show(now_ns);
  const Faults& faults = setup_.faults;
  if (moment == nullptr || !(faults.current_frozen || faults.soc_over_100 || faults.pack_cold))
    return moment;
  shown_ = *moment;
  if (const std::optional<double> pack_a = shown_.get(Quantity::pack_a);
      pack_a && faults.current_frozen) {
    if (!frozen_a_) frozen_a_ = pack_a;
    shown_.set(Quantity::pack_a, *frozen_a_);
  }
  if (const std::optional<double> soc_pct = shown_.get(Quantity::soc_pct);
      soc_pct && faults.soc_over_100)
    shown_.set(Quantity::soc_pct, *soc_pct + kTooMuchSocPct);
  if (faults.pack_cold) shown_.set(Quantity::pack_temp_c, kPackColdC);
  return &shown_;
}

void Bench::on_host_bytes(Nanos now_ns, std::span<const std::uint8_t> bytes) {
  from_host_.on_bytes(now_ns, bytes);
}

std::size_t Bench::take_host_bytes(Nanos now_ns, std::span<std::uint8_t> out) {
  return to_host_.take(now_ns, out);
}

Bench::LineFate Bench::to_host(Nanos now_ns, std::string_view line) {
  ++lines_to_host_;
  const bool cut = setup_.faults.adapter_half_line && lines_to_host_ % 50 == 0;
  if (cut) line = line.substr(0, line.size() / 2);
  if (setup_.faults.adapter_late) now_ns += kLateNs;
  if (line.empty()) return LineFate::cut;
  if (!to_host_.put(now_ns, line)) {
    ++counts_.lost_lines;
    adapter_.note_lost_line();
    return LineFate::crowded;
  }
  const bool spoiled = cut_before_;
  cut_before_ = cut;
  return cut || spoiled ? LineFate::cut : LineFate::whole;
}

void Bench::account(const OnBus& passed, bool heard, LineFate fate) {
  if (setup_.watch == nullptr || !passed.ecu) return;
  Answered& answer = going_on_[*passed.ecu];
  if (passed.begins) answer = {.first_ns = passed.at_ns};
  if (!heard) answer.unheard = true;
  if (heard && fate == LineFate::cut) answer.cut = true;
  if (heard && fate == LineFate::crowded) answer.crowded = true;
  if (!passed.completes) return;
  answer.last_ns = passed.at_ns;
  answer.response_id = leaving_.front().response_id;
  answer.payload = leaving_.front().payload;
  answer.broken = leaving_.front().broken;
  leaving_.pop_front();
  setup_.watch->on_answer(answer);
}

Nanos Bench::next_event_ns() const {
  Nanos next_ns = std::min({from_host_.next_ns(), to_host_.next_ns(), next_traffic_ns_,
                            next_foreign_ns_, next_reset_ns_});
  if (!bus_.empty()) next_ns = std::min(next_ns, bus_.front().at_ns);
  for (const Ecu& ecu : ecus_) next_ns = std::min(next_ns, ecu.deadline_ns());
  return next_ns;
}

void Bench::advance(Nanos now_ns) {
  for (;;) {
    const Nanos line_ns = from_host_.next_ns();
    const Nanos bus_ns = bus_.empty() ? kNever : bus_.front().at_ns;
    Ecu* first_ecu = nullptr;
    Nanos ecu_ns = kNever;
    for (Ecu& ecu : ecus_) {
      if (ecu.deadline_ns() >= ecu_ns) continue;
      ecu_ns = ecu.deadline_ns();
      first_ecu = &ecu;
    }
    const Nanos next_ns =
        std::min({line_ns, bus_ns, ecu_ns, next_traffic_ns_, next_foreign_ns_, next_reset_ns_});
    if (next_ns > now_ns) return;
    if (bus_ns == next_ns) {
      const OnBus passed = bus_.front();
      bus_.pop_front();
      on_bus_frame(passed);
    } else if (ecu_ns == next_ns) {
      if (const std::optional<BusFrame> frame = first_ecu->take_frame(ecu_ns)) {
        const std::uint64_t answers_before = first_ecu->answers();
        const Nanos sent_ns = put_on_bus(ecu_ns, *frame, false);
        OnBus& queued = bus_.back();
        queued.ecu = static_cast<std::size_t>(first_ecu - ecus_.data());
        queued.begins = frame->data[0] < 0x20;  // a single or a first frame
        first_ecu->on_sent(sent_ns);
        ++counts_.ecu_frames;
        if (first_ecu->answers() != answers_before) {
          counts_.last_answer_ns = sent_ns;
          queued.completes = setup_.watch != nullptr;
          if (queued.completes) {
            leaving_.push_back({.response_id = first_ecu->identity().response_id,
                                .payload = first_ecu->message(),
                                .broken = first_ecu->broken()});
          }
          if (counts_.first_poll_ns) ++counts_.polled_exchanges;
        }
      }
    } else if (line_ns == next_ns) {
      on_serial_line(*from_host_.take(next_ns));
    } else if (next_foreign_ns_ == next_ns) {
      be_a_foreign_tester(next_ns);
    } else if (next_reset_ns_ == next_ns) {
      adapter_.reset();
      next_reset_ns_ += kResetPeriodNs;
    } else {
      if (scene_.awake(next_ns)) {
        BusFrame frame{.id = kTrafficIds[traffic_count_ % kTrafficIds.size()], .length = 8};
        frame.data.fill(++traffic_count_);
        ++counts_.other_frames;
        (void)put_on_bus(next_ns, frame, false);
      }
      next_traffic_ns_ += traffic_period_ns_;
    }
  }
}

double Bench::polled_s(Nanos now_ns) const {
  return counts_.first_poll_ns ? seconds_of(now_ns - *counts_.first_poll_ns) : -1;
}

bool Bench::off_the_bus(Nanos now_ns) const {
  if (faults_switched_) return setup_.faults.bus_off;
  const double s = polled_s(now_ns);
  return setup_.faults.bus_off && s >= kBusOffFromS && s < kBusOffToS;
}

// What a workshop's tester asks, and what it is answered: both are on the bus.
void Bench::be_a_foreign_tester(Nanos now_ns) {
  next_foreign_ns_ += kForeignPeriodNs;
  if (faults_switched_ ? !setup_.faults.foreign_tester : polled_s(now_ns) >= kForeignToS) {
    next_foreign_ns_ = kNever;
    return;
  }
  const EcuIdentity& ecu = ecus_.front().identity();
  BusFrame frame{.id = ecu.request_id, .extended = ecu.extended, .length = 8};
  frame.data = {0x02, 0x3E, 0x00};
  (void)put_on_bus(now_ns, frame, false);
  bus_.back().foreign = true;
  frame.id = ecu.response_id;
  frame.data = {0x02, 0x7E, 0x00};
  (void)put_on_bus(now_ns, frame, false);
}

bool Bench::acknowledged(Nanos now_ns) {
  if (setup_.faults.dead_bus || off_the_bus(now_ns)) return false;
  return adapter_.hears(bus_kbit_per_s_) && (!setup_.faults.no_ack_asleep || scene_.awake(now_ns));
}

Nanos Bench::put_on_bus(Nanos now_ns, const BusFrame& frame, bool from_tester) {
  const Nanos busy_ns = setup_.faults.instant_ecu ? 0 : bus_time_ns(frame, bus_kbit_per_s_);
  bus_free_ns_ = std::max(bus_free_ns_, now_ns) + busy_ns;
  bus_.push_back({bus_free_ns_, frame, from_tester});
  return bus_free_ns_;
}

void Bench::on_serial_line(const SerialLine& line) {
  if (setup_.lines != nullptr)
    fmt::print(setup_.lines, "{:.3f} {}\n", seconds_of(line.at_ns), line.view());
  if (setup_.faults.adapter_echo) {
    std::string echo(line.view());
    echo += '\r';
    to_host(line.at_ns, echo);
  }
  const bool silent = line.view().empty() || line.view() == "C" || line.view() == "L" ||
                      line.view() == "F" || line.view().starts_with('S');
  // What was under way when the other tester was heard may still arrive.
  if (!silent && counts_.last_foreign_ns &&
      line.at_ns > *counts_.last_foreign_ns + kForeignHeardNs &&
      line.at_ns < *counts_.last_foreign_ns + kAfterForeignNs)
    ++counts_.while_foreign_tester;
  const Adapter::Step step = adapter_.on_line(line.view(), line.too_long);
  if (!step.answer.empty() && !setup_.faults.adapter_mute) to_host(line.at_ns, step.answer);
  if (!step.transmit) return;
  judge(*step.transmit);
  if (off_the_bus(line.at_ns)) to_host(line.at_ns, kBusOffState);
  if (acknowledged(line.at_ns)) {
    (void)put_on_bus(line.at_ns, *step.transmit, true);
  } else {
    to_host(line.at_ns, kNoAcknowledgement);
  }
}

void Bench::judge(const BusFrame& frame) {
  ++counts_.tester_frames;
  const bool functional = frame.id == (frame.extended ? 0x18DB33F1u : 0x7DFu);
  const bool physical = frame.extended ? (frame.id & 0xFFFF00FFu) == 0x18DA00F1u
                                       : frame.id >= 0x7E0 && frame.id <= 0x7E7;
  const std::uint8_t control = frame.data[0];
  const bool flow_control = physical && control >= 0x30 && control <= 0x32;
  const bool single = (functional || physical) && control >= 1 && control <= 7;
  const std::uint8_t service = frame.data[1];
  const bool reading = single && (service == 0x01 || service == 0x09 || service == 0x22);
  if (!flow_control) ++counts_.requests;
  if (!frame.remote && frame.length == 8 && (flow_control || reading)) return;
  ++counts_.forbidden;
  if (!counts_.first_forbidden.empty()) return;
  counts_.first_forbidden = fmt::format("{:0{}X}#", frame.id, frame.extended ? 8 : 3);
  if (frame.remote) counts_.first_forbidden += 'R';
  for (std::size_t i = 0; i < frame.length; ++i) {
    counts_.first_forbidden += fmt::format("{:02X}", frame.data[i]);
  }
}

bool Bench::is_poll(const OnBus& passed) {
  const BusFrame& frame = passed.frame;
  const std::uint8_t length = frame.data[0];
  if (length < 2 || length > 7) return false;
  if (frame.data[1] == kCurrentData) return !is_support_pid(frame.data[2]);
  if (frame.data[1] != kReadDataByIdentifier || length < 3) return false;
  const auto did = static_cast<unsigned>(frame.data[2] << 8 | frame.data[3]);
  if (!is_sensor_did(did)) return false;
  if (is_pid_did(did)) return true;
  const bool listed = std::any_of(
      setup_.fields.begin(), setup_.fields.end(),
      [&](const OwnersField& field) { return field.request_id == frame.id && field.did == did; });
  if (!listed) return false;
  for (AskedDid& asked : asked_dids_) {
    if (asked.request_id != frame.id || asked.did != did) continue;
    const bool again = passed.at_ns - asked.at_ns <= kAskedAgainNs;
    asked.at_ns = passed.at_ns;
    return again;
  }
  asked_dids_.push_back({.request_id = frame.id, .did = did, .at_ns = passed.at_ns});
  return false;
}

void Bench::on_bus_frame(const OnBus& passed) {
  if (setup_.candump != nullptr) setup_.candump->on_frame(passed.at_ns, passed.frame);
  if (!passed.from_tester) {
    const bool heard = adapter_.hears(bus_kbit_per_s_);
    LineFate fate = LineFate::whole;
    if (heard) {
      fate = to_host(passed.at_ns, adapter_.frame_line(passed.frame, passed.at_ns));
      if (passed.foreign && fate == LineFate::whole) counts_.last_foreign_ns = passed.at_ns;
    } else if (adapter_.on_bus()) {
      to_host(passed.at_ns, kFormError);
    }
    account(passed, heard, fate);
    return;
  }
  if (!setup_.faults.adapter_mute) to_host(passed.at_ns, adapter_.confirmation(passed.frame));
  const BusFrame& frame = passed.frame;
  scene_.on_tester_frame(passed.at_ns);
  if (is_poll(passed)) {
    if (!counts_.first_poll_ns) {
      counts_.first_poll_ns = passed.at_ns;
      if (setup_.faults.foreign_tester)
        next_foreign_ns_ = passed.at_ns + nanos_of_seconds(kForeignFromS);
    }
    scene_.on_poll_request(passed.at_ns);
  }
  const bool flow_control = (frame.data[0] & 0xF0) == 0x30;
  // A flow control asks for nothing that the sensors show.
  const Moment* moment = nullptr;
  if (!flow_control && setup_.answers != Answers::none) moment = show(passed.at_ns);
  const double s = polled_s(passed.at_ns);
  const bool stopped =
      setup_.faults.ecu_stops && (faults_switched_ || (s >= kStopFromS && s < kStopToS));
  if (setup_.faults.ecu_silent || stopped) return;
  for (Ecu& ecu : ecus_) ecu.on_frame(passed.at_ns, frame, moment);
}

void Bench::answer_whole(Nanos now_ns, const BusFrame& request, std::vector<WholeAnswer>& answers) {
  judge(request);
  const Moment* moment = show(now_ns);
  for (Ecu& ecu : ecus_) {
    if (!ecu.is_asked(request)) continue;
    ecu.on_frame(now_ns, request, moment);
    WholeAnswer answer{.response_id = ecu.identity().response_id,
                       .extended = ecu.identity().extended};
    if (ecu.take_whole(answer.due_ns, answer.message)) answers.push_back(answer);
  }
}

const BenchCounts& Bench::counts() {
  counts_.exchanges = 0;
  counts_.values = 0;
  counts_.aborted_replies = 0;
  for (const Ecu& ecu : ecus_) {
    counts_.exchanges += ecu.answers();
    counts_.values += ecu.values();
    counts_.aborted_replies += ecu.aborted();
  }
  return counts_;
}

}  // namespace packmile::benchvan
