// The poll plan: groups, periods, grid, and what it learns from answers.
#include "core/poll_plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <vector>

#include "columns/record_encoder.hpp"
#include "core/obd_request.hpp"

#include "card_decode.hpp"

using namespace packmile;

namespace {

const OwnersSignals kNoOwners;

void support(SupportedPids& pids, std::initializer_list<std::uint8_t> wanted) {
  for (std::size_t range = 0; range < kPidRanges; ++range) {
    std::array<std::uint8_t, 4> bits{};
    for (const std::uint8_t pid : wanted)
      if (pid != 0 && (pid - 1u) / 32 == range) {
        const std::size_t bit = (pid - 1u) % 32;
        bits[bit / 8] = static_cast<std::uint8_t>(bits[bit / 8] | 0x80u >> (bit % 8));
      }
    CHECK(pids.set(static_cast<std::uint8_t>(range * 0x20), bits));
  }
}

VanEcu& add_ecu(VanMap& map, std::uint32_t response_id, std::initializer_list<std::uint8_t> pids) {
  VanEcu& ecu = map.ecu[map.ecu_count++];
  ecu.response_id = response_id;
  ecu.request_id = response_id - 8;
  support(ecu.pids, pids);
  return ecu;
}

VanMap plain_map() {
  VanMap map;
  add_ecu(map, 0x7E8, {0x0D, 0x42, 0x46, 0x1F, 0x5B, 0x9A, 0xA6});
  add_ecu(map, 0x7E9, {0x0D, 0x42, 0x46});
  return map;
}

using Pids = std::vector<std::uint8_t>;

Pids pids_of(const PollRequest& poll) { return {poll.pids().begin(), poll.pids().end()}; }

const PollRequest* poll_with(const PollPlan& plan, std::uint8_t pid) {
  for (const PollRequest& poll : plan.polls())
    if (poll.asks(pid)) return &poll;
  return nullptr;
}

std::size_t index_of(const PollPlan& plan, std::uint8_t pid) {
  return static_cast<std::size_t>(poll_with(plan, pid) - plan.polls().data());
}

// Follows the plan with exchanges that take `took_ms`; returns the ticks at
// which each PID was asked.
std::map<std::uint8_t, std::vector<Tick>> follow(PollPlan& plan, Tick from, Tick until,
                                                 Tick took_ms) {
  std::map<std::uint8_t, std::vector<Tick>> asked;
  Tick now = from;
  while (now < until) {
    const auto due = plan.due_at(now);
    if (!due) {
      REQUIRE(plan.deadline());
      REQUIRE(*plan.deadline() > now);
      now = *plan.deadline();
      continue;
    }
    for (const std::uint8_t pid : plan.polls()[*due].pids()) asked[pid].push_back(now);
    plan.on_sent(now, *due);
    now += took_ms;
  }
  return asked;
}

std::uint32_t period_of(const PollPlan& plan, std::uint8_t pid) {
  const PollRequest* poll = poll_with(plan, pid);
  REQUIRE(poll);
  return poll->period_ms;
}

}  // namespace

TEST_CASE("poll plan: what belongs together is asked together, each signal of one ECU") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  REQUIRE(poll_with(plan, 0x9A));
  CHECK(pids_of(*poll_with(plan, 0x9A)) == Pids{0x9A, 0x0D});
  CHECK(pids_of(*poll_with(plan, 0x5B)) == Pids{0x5B, 0x42});
  CHECK(pids_of(*poll_with(plan, 0xA6)) == Pids{0xA6});
  CHECK(pids_of(*poll_with(plan, 0x46)) == Pids{0x46, 0x1F});
  CHECK(plan.polls().size() == 4);
  for (const PollRequest& poll : plan.polls()) CHECK(poll.response_id == 0x7E8);
  const CanFrame frame = plan.request(index_of(plan, 0x9A));
  CHECK(frame.id == 0x7E0);  // physical: one reply ends it
  CHECK(frame.data[0] == 3);
  CHECK(frame.data[1] == 0x01);
  CHECK(frame.data[2] == 0x9A);
  CHECK(frame.data[3] == 0x0D);
}

TEST_CASE("poll plan: speed of another ECU is a request of its own") {
  VanMap map;
  add_ecu(map, 0x7E8, {0x42, 0x46});
  add_ecu(map, 0x7E9, {0x0D});
  add_ecu(map, 0x7EA, {0x9A, 0x42});
  PollPlan plan;
  plan.build(0, map, kNoOwners);
  CHECK(pids_of(*poll_with(plan, 0x9A)) == Pids{0x9A});
  CHECK(poll_with(plan, 0x9A)->response_id == 0x7EA);
  CHECK(pids_of(*poll_with(plan, 0x0D)) == Pids{0x0D});
  CHECK(poll_with(plan, 0x0D)->response_id == 0x7E9);
  // 42 of both: of the one that answers $9A.
  CHECK(poll_with(plan, 0x42)->response_id == 0x7EA);
  CHECK(poll_with(plan, 0x46)->response_id == 0x7E8);
  CHECK(period_of(plan, 0x0D) == 200);
}

TEST_CASE(
    "poll plan: no request has an unknown length beside others, or more signals than a block") {
  VanMap map;
  VanEcu& all = add_ecu(map, 0x7E8, {});
  std::array<std::uint8_t, 4> every{0xFF, 0xFF, 0xFF, 0xFF};
  for (std::size_t r = 0; r < kPidRanges; ++r)
    all.pids.set(static_cast<std::uint8_t>(r * 0x20), every);
  PollPlan plan;
  plan.build(0, map, kNoOwners);
  std::vector<std::uint8_t> seen;
  for (const PollRequest& poll : plan.polls()) {
    std::size_t signals = 0;
    CHECK(poll.pid_count >= 1);
    for (const std::uint8_t pid : poll.pids()) {
      const PidEntry* entry = find_pid(pid);
      REQUIRE(entry);
      if (entry->bytes == 0) CHECK(poll.pid_count == 1);
      signals += signals_of_pid(pid).size();
      seen.push_back(pid);
    }
    CHECK(signals <= kMaxBlockSignals);
  }
  std::sort(seen.begin(), seen.end());
  CHECK(std::adjacent_find(seen.begin(), seen.end()) == seen.end());
}

TEST_CASE("poll plan: a van that answers nothing of ours has an empty plan") {
  PollPlan plan;
  CHECK(plan.empty());
  CHECK_FALSE(plan.deadline());
  VanMap map;
  add_ecu(map, 0x7E8, {0x0C, 0x11});
  plan.build(0, map, kNoOwners);
  CHECK(plan.empty());
  CHECK_FALSE(plan.due_at(1'000'000));
}

// No source: the table in poll_plan.hpp, line by line.
TEST_CASE("poll plan: periods by duty") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  plan.set_conditions(0, {.duty = Duty::driving});
  CHECK(period_of(plan, 0x9A) == 200);
  CHECK(period_of(plan, 0x5B) == 5'000);
  CHECK(period_of(plan, 0xA6) == 5'000);
  CHECK(period_of(plan, 0x46) == 60'000);
  plan.set_conditions(0, {.duty = Duty::driving, .odometer_fine = true});
  CHECK(period_of(plan, 0xA6) == 1'000);
  CHECK(plan.set_conditions(0, {.duty = Duty::charging}));
  CHECK(period_of(plan, 0x9A) == 5'000);
  CHECK(period_of(plan, 0x5B) == 10'000);
  CHECK(period_of(plan, 0xA6) == 300'000);
  CHECK(period_of(plan, 0x46) == 300'000);
  // A burst is no change of the plan.
  CHECK_FALSE(plan.set_conditions(0, {.duty = Duty::charging, .pack_burst = true}));
  CHECK(period_of(plan, 0x9A) == 1'000);
  plan.set_conditions(0, {.duty = Duty::charging, .soc_fast = true});
  CHECK(period_of(plan, 0x5B) == 1'000);
  plan.set_conditions(0, {.duty = Duty::standing});
  CHECK(period_of(plan, 0x9A) == 10'000);
  CHECK(period_of(plan, 0x5B) == 60'000);
  // The settings' periods.
  plan.set_conditions(0, {.duty = Duty::driving, .driving_period_ms = 500});
  CHECK(period_of(plan, 0x9A) == 500);
  CHECK(period_of(plan, 0x5B) == 5'000);
  plan.set_conditions(0, {.duty = Duty::charging, .charging_period_ms = 250});
  CHECK(period_of(plan, 0x9A) == 250);
  plan.set_conditions(0, {.duty = Duty::driving, .driving_period_ms = 0});
  CHECK(period_of(plan, 0x9A) == 0);
}

TEST_CASE("poll plan: the grid is kept, whatever the exchanges take") {
  for (const Tick took_ms : {1u, 7u, 20u, 60u}) {
    PollPlan plan;
    plan.build(1'000, plain_map(), kNoOwners);
    plan.set_conditions(1'000, {.duty = Duty::driving});
    const auto asked = follow(plan, 1'000, 121'000, took_ms);
    CAPTURE(took_ms);
    CHECK(asked.at(0x9A).size() == 600);
    CHECK(asked.at(0x5B).size() == 24);
    CHECK(asked.at(0xA6).size() == 24);
    CHECK(asked.at(0x46).size() == 2);
    for (std::size_t i = 0; i < 600; ++i) CHECK(asked.at(0x9A)[i] < 1'000 + i * 200 + 4 * took_ms);
  }
}

TEST_CASE("poll plan: after a delay of more than a period the grid begins anew") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  const std::size_t pack = index_of(plan, 0x9A);
  plan.on_sent(0, pack);
  plan.on_sent(1'000, pack);  // 800 late: no burst of four requests follows
  CHECK(plan.polls()[pack].due == 1'200);
  plan.on_sent(1'300, pack);  // 100 late: the grid holds
  CHECK(plan.polls()[pack].due == 1'400);
}

TEST_CASE("poll plan: with period 0 the line is never idle, and slow requests still come") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  plan.set_conditions(0, {.duty = Duty::driving, .driving_period_ms = 0});
  const auto asked = follow(plan, 0, 60'000, 8);
  CHECK(asked.at(0x5B).size() == 12);
  CHECK(asked.at(0xA6).size() == 12);
  CHECK(asked.at(0x46).size() == 1);
  CHECK(asked.at(0x9A).size() == 60'000 / 8 - 25);
}

TEST_CASE("poll plan: a shorter period takes effect at once") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  plan.set_conditions(0, {.duty = Duty::standing});
  const std::size_t soc = index_of(plan, 0x5B);
  plan.on_sent(0, soc);
  CHECK(plan.polls()[soc].due == 60'000);
  plan.set_conditions(1'000, {.duty = Duty::driving});
  CHECK(plan.polls()[soc].due == 6'000);
  const std::size_t odometer = index_of(plan, 0xA6);
  plan.on_sent(1'000, odometer);
  CHECK(plan.polls()[odometer].due > 1'500);
  plan.ask_odometer_now(1'500);
  CHECK(plan.polls()[odometer].due == 1'500);
  CHECK(plan.polls()[soc].due == 6'000);
}

TEST_CASE("poll plan: a PID that is left out twice makes single requests of the group") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  const std::array<std::uint8_t, 4> whole{0x41, 0x0D, 0x32, 0x00};
  const std::size_t pack = index_of(plan, 0x9A);
  const auto only_speed = parse_pid_reply(std::span(whole).first(3));
  const std::array<std::uint8_t, 10> both{0x41, 0x9A, 6, 0, 0x57, 0x80, 0, 0xFA, 0x0D, 0x32};
  CHECK_FALSE(plan.on_reply(1, pack, only_speed, 10));
  CHECK_FALSE(plan.on_reply(2, pack, parse_pid_reply(both), 10));  // not twice in a row
  CHECK_FALSE(plan.on_reply(3, pack, only_speed, 10));
  CHECK(plan.on_reply(4, pack, only_speed, 10));
  CHECK(pids_of(*poll_with(plan, 0x9A)) == Pids{0x9A});
  CHECK(pids_of(*poll_with(plan, 0x0D)) == Pids{0x0D});
  CHECK(period_of(plan, 0x0D) == 200);
  CHECK(plan.polls().size() == 5);
}

TEST_CASE("poll plan: refusals") {
  for (const NegativeAction action :
       {NegativeAction::item_unsupported, NegativeAction::our_mistake, NegativeAction::ask_fewer}) {
    PollPlan plan;
    plan.build(0, plain_map(), kNoOwners);
    const std::size_t soc = index_of(plan, 0x5B);
    CHECK(plan.on_refused(0, soc, action, 5));  // the group is split at once
    CHECK(pids_of(*poll_with(plan, 0x5B)) == Pids{0x5B});
    CHECK(pids_of(*poll_with(plan, 0x42)) == Pids{0x42});
    // A single one is believed the second time, and not asked again.
    CHECK_FALSE(plan.on_refused(0, soc, action, 5));
    CHECK(plan.on_refused(0, soc, action, 5));
    CHECK(plan.polls()[soc].retired);
    const auto asked = follow(plan, 0, 30'000, 5);
    CHECK(asked.count(0x5B) == 0);
    CHECK(asked.at(0x42).size() == 6);
  }
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  // Busy: the schedule goes on. Conditions not correct: seldom.
  CHECK_FALSE(plan.on_refused(0, 0, NegativeAction::retry, 5));
  CHECK(plan.polls()[0].due == 0);
  CHECK_FALSE(plan.on_refused(0, 0, NegativeAction::retry_slowly, 5));
  CHECK(plan.polls()[0].due == 10'000);
  // Service not supported: this ECU is not asked again.
  CHECK(plan.on_refused(0, 0, NegativeAction::service_unsupported, 5));
  CHECK(plan.empty());
}

TEST_CASE("poll plan: one silent request among answered ones is split and then asked seldom") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  const std::size_t pack = index_of(plan, 0x9A);
  const std::size_t odometer = index_of(plan, 0xA6);
  const std::array<std::uint8_t, 6> km{0x41, 0xA6, 0, 1, 0xE2, 0x40};
  Tick now = 0;
  bool changed = false;
  for (int i = 0; i < 5; ++i) {
    plan.on_sent(now, pack);
    changed = plan.on_silence(now += 150, pack, 150) || changed;
    plan.on_reply(now += 10, odometer, parse_pid_reply(km), 10);
  }
  CHECK(changed);
  CHECK(pids_of(plan.polls()[pack]) == Pids{0x9A});
  for (int i = 0; i < 5; ++i) {
    plan.on_sent(now, pack);
    plan.on_silence(now += 150, pack, 150);
    plan.on_reply(now += 10, odometer, parse_pid_reply(km), 10);
  }
  plan.on_sent(now, pack);
  CHECK(plan.polls()[pack].due == now + 2'000);
  // Answered again: back on its period.
  const std::array<std::uint8_t, 8> data{0x41, 0x9A, 6, 0, 0x57, 0x80, 0, 0xFA};
  plan.on_reply(now, pack, parse_pid_reply(data), 10);
  plan.on_sent(now + 2'000, pack);
  CHECK(plan.polls()[pack].due == now + 2'200);
}

TEST_CASE("poll plan: a van that fell asleep loses no group") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  Tick now = 0;
  for (int i = 0; i < 100; ++i) {
    const auto due = plan.due_at(now);
    if (due) {
      plan.on_sent(now, *due);
      CHECK_FALSE(plan.on_silence(now + 150, *due, 150));
    }
    now += 150;
  }
  CHECK(plan.polls().size() == 4);
  CHECK(pids_of(*poll_with(plan, 0x9A)) == Pids{0x9A, 0x0D});
}

TEST_CASE("poll plan: an ECU too slow for 5 Hz is asked at 2 Hz, and again at 5 Hz when it can") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  plan.set_conditions(0, {.duty = Duty::driving});
  const std::size_t pack = index_of(plan, 0x9A);
  const std::array<std::uint8_t, 10> both{0x41, 0x9A, 6, 0, 0x57, 0x80, 0, 0xFA, 0x0D, 0x32};
  CHECK_FALSE(plan.balance(0));  // nothing known yet
  for (int i = 0; i < 50; ++i) plan.on_reply(0, pack, parse_pid_reply(both), 50);
  CHECK_FALSE(plan.balance(0));  // 25 % of the line
  for (int i = 0; i < 50; ++i) plan.on_reply(0, pack, parse_pid_reply(both), 190);
  CHECK(plan.balance(0));
  CHECK(plan.slowed());
  CHECK(plan.polls()[pack].period_ms == 500);
  CHECK_FALSE(plan.balance(0));
  // Not at the first sign: 160 ms of 200 would fill the line by 80 %.
  for (int i = 0; i < 50; ++i) plan.on_reply(0, pack, parse_pid_reply(both), 160);
  CHECK_FALSE(plan.balance(0));
  for (int i = 0; i < 50; ++i) plan.on_reply(0, pack, parse_pid_reply(both), 100);
  CHECK(plan.balance(0));
  CHECK(plan.polls()[pack].period_ms == 200);
}

TEST_CASE("poll plan: by identifier where service 01 does not have it, three at once") {
  VanMap map;
  add_ecu(map, 0x7E8, {0x0D});
  VanEcu& pack = map.ecu[map.ecu_count++];
  pack.response_id = 0x7EC;
  pack.request_id = 0x7E4;
  support(pack.dids, {0x0D, 0x42, 0x46, 0x5B, 0x9A, 0xA6, 0x1F, 0x05, 0x33});
  PollPlan plan;
  plan.build(0, map, kNoOwners);
  // Speed comes by service 01 from an ECU that has it so.
  REQUIRE(poll_with(plan, 0x0D));
  CHECK_FALSE(poll_with(plan, 0x0D)->by_did);
  CHECK(poll_with(plan, 0x0D)->response_id == 0x7E8);
  REQUIRE(poll_with(plan, 0x9A));
  CHECK(poll_with(plan, 0x9A)->by_did);
  CHECK(poll_with(plan, 0x9A)->service() == 0x22);
  CHECK(poll_with(plan, 0x9A)->tells_current());
  for (const PollRequest& poll : plan.polls()) {
    CHECK(poll.pid_count <= (poll.by_did ? 3 : 6));
    if (!poll.by_did) continue;
    const CanFrame frame = plan.request(static_cast<std::size_t>(&poll - plan.polls().data()));
    CHECK(frame.id == 0x7E4);
    CHECK(frame.data[0] == 1 + 2 * poll.pid_count);
    CHECK(frame.data[1] == 0x22);
    for (std::size_t i = 0; i < poll.pid_count; ++i) {
      CHECK(frame.data[2 + 2 * i] == 0xF4);
      CHECK(frame.data[3 + 2 * i] == poll.pid[i]);
    }
  }
  // Split, each goes on by identifier; a service that is refused takes no other along.
  const std::size_t soc = index_of(plan, 0x5B);
  CHECK(plan.on_refused(0, soc, NegativeAction::ask_fewer, 5));
  CHECK(poll_with(plan, 0x42)->by_did);
  CHECK(plan.on_refused(0, index_of(plan, 0x9A), NegativeAction::service_unsupported, 5));
  CHECK(poll_with(plan, 0x9A)->retired);
  CHECK_FALSE(poll_with(plan, 0x0D)->retired);
}

TEST_CASE("poll plan: an answer of several that cannot be read to its end has none") {
  PollPlan plan;
  plan.build(0, plain_map(), kNoOwners);
  const PollRequest& both = plan.polls()[index_of(plan, 0x9A)];
  REQUIRE(both.pid_count == 2);
  const std::vector<std::uint8_t> whole{0x41, 0x9A, 6, 0, 0x57, 0x80, 0, 0xFA, 0x0D, 0x32};
  CHECK(both.read(whole).pids().size() == 2);
  // $9A a byte short: the speed's PID would be taken for the last of the current.
  const std::vector<std::uint8_t> five{0x41, 0x9A, 6, 0, 0x57, 0x80, 0, 0x0D, 0x32};
  CHECK(parse_pid_reply(five).find(0x9A).size() == 6);
  CHECK(both.read(five).pids().empty());
  // An ECU that counts its padding in loses nothing.
  std::vector<std::uint8_t> padded = whole;
  padded.push_back(0xAA);
  CHECK(both.read(padded).pids().size() == 2);
  // Left out, the rest is believed.
  CHECK(both.read(std::span(whole).first(8)).pids().size() == 1);
  // Such answers lead to requests of one, and there nothing can be mixed up.
  const std::size_t pack = index_of(plan, 0x9A);
  CHECK_FALSE(plan.on_reply(0, pack, both.read(five), 5));
  CHECK(plan.on_reply(0, pack, both.read(five), 5));
  CHECK(pids_of(*poll_with(plan, 0x9A)) == Pids{0x9A});
}

TEST_CASE("poll plan: the owner's identifiers, one in a request, by the period of their roles") {
  constexpr int kVoltage = 1, kCurrent = 2, kSoc = 3, kTemperature = 6, kCharger = 7;
  OwnersSignals owners;
  using test::encode_owners;
  REQUIRE(owners.add(encode_owners({.id = 1000, .did = 0x2001, .role = kTemperature})));
  REQUIRE(owners.add(encode_owners({.id = 1001, .did = 0x2000, .role = kVoltage})));
  REQUIRE(
      owners.add(encode_owners({.id = 1002, .did = 0x2000, .first_byte = 2, .role = kCurrent})));
  REQUIRE(owners.add(encode_owners({.id = 1003, .did = 0x2002, .role = kSoc})));
  REQUIRE(
      owners.add(encode_owners({.id = 1004, .did = 0x2003, .period_ms = 1'000, .role = kCharger})));
  PollPlan plan;
  plan.build(0, plain_map(), owners);
  const auto poll_of = [&plan](std::uint16_t did) {
    const PollRequest* found = nullptr;
    for (const PollRequest& poll : plan.polls())
      if (poll.owners_did == did) {
        CHECK(found == nullptr);  // once
        found = &poll;
      }
    REQUIRE(found);
    return *found;
  };
  // What tells the current is asked first, by a probe too.
  CHECK(plan.polls()[0].owners_did == 0x2000);
  CHECK(plan.polls()[0].tells_current());
  CHECK(plan.polls()[0].request_id == 0x7E4);
  CHECK(plan.polls()[0].response_id == 0x7EC);
  const CanFrame frame = plan.request(0);
  CHECK(frame.id == 0x7E4);
  CHECK(frame.data[0] == 3);
  CHECK(frame.data[1] == 0x22);
  CHECK(frame.data[2] == 0x20);
  CHECK(frame.data[3] == 0x00);
  const std::vector<std::uint8_t> answer{0x62, 0x20, 0x00, 1, 2, 3, 4};
  CHECK(plan.polls()[0].is_answered_by(answer));
  CHECK_FALSE(poll_of(0x2002).is_answered_by(answer));
  CHECK_FALSE(plan.polls()[0].is_answered_by(std::span(answer).first(3)));

  plan.set_conditions(0, {.duty = Duty::driving});
  CHECK(poll_of(0x2000).period_ms == 200);
  CHECK(poll_of(0x2001).period_ms == 60'000);
  CHECK(poll_of(0x2002).period_ms == 5'000);
  CHECK(poll_of(0x2003).period_ms == 1'000);
  plan.set_conditions(0, {.duty = Duty::charging});
  CHECK(poll_of(0x2000).period_ms == 5'000);
  CHECK(poll_of(0x2002).period_ms == 10'000);
  CHECK(poll_of(0x2003).period_ms == 10'000);
  plan.set_conditions(0, {.duty = Duty::standing});
  CHECK(poll_of(0x2003).period_ms >= 10'000);
  // Refused for good it is asked no more, and the others go on.
  const auto index = [&plan](std::uint16_t did) {
    std::size_t i = 0;
    while (plan.polls()[i].owners_did != did) ++i;
    return i;
  };
  CHECK_FALSE(plan.on_refused(0, index(0x2002), NegativeAction::item_unsupported, 5));
  CHECK(plan.on_refused(0, index(0x2002), NegativeAction::item_unsupported, 5));
  CHECK(plan.polls()[index(0x2002)].retired);
  CHECK_FALSE(plan.polls()[0].retired);
}
