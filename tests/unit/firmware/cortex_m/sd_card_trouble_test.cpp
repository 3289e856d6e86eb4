// Cards that err, lines that lie: every request is answered, and no answer is
// better than the truth.
#include "../../rounds.hpp"
#include "card_bench.hpp"

using namespace packmile;
using namespace packmile::testing;
using packmile::cortex_m::CardState;
using packmile::cortex_m::kSdAnswerMs;
using packmile::cortex_m::kSdBusyMs;
using packmile::cortex_m::kSdRestMs;
using packmile::cortex_m::kSdTurnBytes;

TEST_CASE("sd trouble: busy for longer than a second fails, to the millisecond") {
  ReadyCard bench;
  bench.card.faults.busy_ms = kSdBusyMs;
  Tick begun = bench.now;
  CHECK(bench.write(5, block_of(5)));
  CHECK(bench.now == begun + kSdBusyMs);

  bench.card.faults.busy_ms = kSdBusyMs + 1;
  begun = bench.now;
  CHECK_FALSE(bench.write(6, block_of(6)));
  CHECK(bench.now == begun + kSdBusyMs);
  CHECK(bench.driver->state() == CardState::starting);
  // It comes to its senses while it is started again.
  bench.card.faults.busy_ms = 0;
  REQUIRE(bench.run_until_ready(2 * kSdRestMs));
  CHECK(bench.write(7, block_of(7)));
}

TEST_CASE("sd trouble: busy for ever is asked again at a calm pace, and ends with the power") {
  ReadyCard bench;
  bench.card.faults.busy_ms = 100'000'000;
  CHECK_FALSE(bench.write(5, block_of(5)));
  CHECK_FALSE(bench.write(6, block_of(6)));
  CHECK(bench.driver->state() == CardState::absent);
  const std::size_t before = bench.slot.exchanges;
  bench.run_until(bench.now + 60'000);
  CHECK(bench.slot.exchanges - before < 120 * 600);
  bench.slot.remove();
  bench.card.faults.busy_ms = 0;
  bench.slot.insert(bench.card);
  REQUIRE(bench.run_until_ready(kSdRestMs + 20));
  CHECK(bench.write(7, block_of(7)));
}

TEST_CASE("sd trouble: each error of a write is an answer that says so") {
  using Fault = int CardFaults::*;
  for (const Fault fault :
       {&CardFaults::blocks_refused_as_crc, &CardFaults::blocks_refused_as_write,
        &CardFaults::blocks_without_response, &CardFaults::status_errors}) {
    ReadyCard bench;
    bench.card.faults.*fault = 1;
    CHECK_FALSE(bench.write(5, block_of(5)));
    CHECK(bench.card.faults.*fault == 0);
    CHECK(bench.write(6, block_of(6)));
    CHECK(bench.card.block(6) == block_of(6));
    CHECK(bench.card.complaints == std::vector<std::string>{});
  }
}

TEST_CASE("sd trouble: each error of a read is an answer that says so") {
  using Fault = int CardFaults::*;
  for (const Fault fault : {&CardFaults::error_tokens, &CardFaults::wrong_read_crcs,
                            &CardFaults::reads_refused, &CardFaults::garbage_tokens}) {
    ReadyCard bench;
    bench.card.set_block(5, block_of(5));
    bench.card.faults.*fault = 1;
    CHECK_FALSE(bench.read(5));
    CHECK(bench.card.faults.*fault == 0);
    CHECK(bench.read(5) == block_of(5));
  }
}

TEST_CASE("sd trouble: three failures in a row start the card again, two and a success do not") {
  ReadyCard bench;
  bench.card.faults.wrong_read_crcs = 2;
  CHECK_FALSE(bench.read(5));
  CHECK_FALSE(bench.read(5));
  CHECK(bench.read(5));
  bench.card.faults.wrong_read_crcs = 2;
  CHECK_FALSE(bench.read(5));
  CHECK_FALSE(bench.read(5));
  CHECK(bench.count(0) == 0);
  CHECK(bench.driver->state() == CardState::ready);
  bench.card.faults.wrong_read_crcs = 1;
  CHECK_FALSE(bench.read(5));
  CHECK(bench.driver->state() == CardState::starting);
  CHECK(bench.read(5));  // held until it was started
  CHECK(bench.count(0) == 1);
}

TEST_CASE("sd trouble: the card goes at any byte of a write, and nothing else is harmed") {
  int torn = 0;
  for (std::size_t after = 0; after < 560; after += 3) {
    CAPTURE(after);
    ReadyCard bench;
    bench.card.faults.busy_bytes = 20;
    bench.card.set_block(4, block_of(4));
    bench.slot.remove_after = after;
    const bool ok = bench.write(5, block_of(5));
    const CardBlock there = bench.card.block(5);
    if (ok) CHECK(there == block_of(5));
    if (there != block_of(5) && there != CardBlock{}) ++torn;
    CHECK(bench.card.block(4) == block_of(4));
    bench.slot.remove_after.reset();
    bench.slot.remove();
    bench.slot.insert(bench.card);
    (void)bench.write(6, block_of(6));
    REQUIRE(bench.run_until_ready(kSdRestMs + 20));
    CHECK(bench.write(7, block_of(7)));
    CHECK(bench.read(4) == block_of(4));
  }
  CHECK(torn > 0);  // the card did do its worst
}

TEST_CASE("sd trouble: the card goes at any byte of a start") {
  for (std::size_t after = 0; after < 420; ++after) {
    CAPTURE(after);
    SimulatedCard card = card_of(SimulatedKind::sdsc_v2);
    CardBench bench;
    bench.slot.insert(card);
    bench.slot.remove_after = after;
    bench.run_until(300);
    bench.slot.remove();
    (void)bench.read(0);
    bench.run_until(bench.now + kSdAnswerMs);
    CHECK(bench.driver->state() == CardState::absent);
    bench.slot.insert(card);
    CHECK(bench.run_until_ready(kSdRestMs + 20));
  }
}

TEST_CASE("sd trouble: a line that is stuck at any value is no card") {
  for (int value = 0; value < 256; ++value) {
    CAPTURE(value);
    CardBench bench;
    bench.slot.stuck = static_cast<std::uint8_t>(value);
    CHECK_FALSE(bench.run_until_ready(3'000));
    CHECK_FALSE(bench.write(0, block_of(1)));
    CHECK(bench.most_exchanges <= kSdTurnBytes);

    // And the same on a card that was good.
    ReadyCard good;
    good.slot.stuck = static_cast<std::uint8_t>(value);
    CHECK_FALSE(good.read(1));
    CHECK_FALSE(good.write(1, block_of(2)));
    good.slot.stuck.reset();
    CHECK(good.run_until_ready(kSdAnswerMs + kSdRestMs));
    CHECK(good.read(1));
  }
}

TEST_CASE("sd trouble: no bytes make it hang") {
  for (std::uint64_t round = 0; round < rounds_of(2'000); ++round) {
    CAPTURE(round);
    ReadyCard bench;
    bench.slot.random.seed(static_cast<std::uint32_t>(round));
    // From power-up, or in the middle of work.
    if (round % 2 == 0) bench.restart_machine();
    bench.slot.nonsense =
        round / 2 % 2 == 0 ? SimulatedSlot::Nonsense::any : SimulatedSlot::Nonsense::plausible;
    for (int i = 0; i < 10; ++i) {
      (void)bench.read(static_cast<std::uint32_t>(i));
      (void)bench.write(static_cast<std::uint32_t>(i), block_of(2));
      bench.run_until(bench.now + 100);
    }
    CHECK(bench.most_exchanges <= kSdTurnBytes);
    bench.slot.nonsense = SimulatedSlot::Nonsense::none;
    // Unless it was taken for another one, the card comes back.
    bench.run_until(bench.now + kSdAnswerMs + 2 * kSdRestMs);
    CHECK(
        (bench.driver->state() == CardState::ready || bench.driver->state() == CardState::changed));
    CHECK(bench.card.programmed.empty());
  }
}

TEST_CASE("sd trouble: on a noisy line no wrong block is called good") {
  int good = 0, failed = 0;
  for (std::uint64_t round = 0; round < rounds_of(3'000); ++round) {
    CAPTURE(round);
    ReadyCard bench(kAllKinds[round % 4]);
    bench.slot.random.seed(static_cast<std::uint32_t>(round));
    bench.slot.noise_one_in = round % 3 == 0 ? 1'000 : 5'000;
    std::map<std::uint64_t, CardBlock> written;
    for (std::uint32_t i = 0; i < 12; ++i) {
      const std::uint32_t at = 100 + i % 5;
      const CardBlock content = block_of(i);
      if (bench.write(at, content)) {
        ++good;
        CHECK(bench.card.block(at) == content);
        written[at] = content;
      } else {
        ++failed;
        written.erase(at);  // the old, the new: not known
      }
      const auto back = bench.read(at);
      if (back) CHECK(*back == bench.card.block(at));
    }
    for (const auto& [at, content] : written) CHECK(bench.card.block(at) == content);
    for (const std::uint64_t at : bench.card.programmed) CHECK((at >= 100 && at < 105));
    for (const std::string& complaint : bench.card.complaints)
      CHECK(complaint != "an address beyond the end");
  }
  CHECK(good > failed);
  CHECK(failed > 0);
}
