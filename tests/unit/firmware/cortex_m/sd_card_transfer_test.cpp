// Reading and writing a card that does what it should, and how long that takes.
#include "card_bench.hpp"

using namespace packmile;
using namespace packmile::testing;
using packmile::cortex_m::CardState;
using packmile::cortex_m::kSdTurnBytes;

TEST_CASE("sd transfer: first, last and any sector of each kind of card") {
  for (const SimulatedKind kind : kAllKinds) {
    CAPTURE(static_cast<int>(kind));
    ReadyCard bench(kind);
    const auto last = static_cast<std::uint32_t>(bench.driver->sectors() - 1);
    const std::uint32_t places[] = {0, 2, 12'345, last / 2, last};
    for (const std::uint32_t at : places) REQUIRE(bench.write(at, block_of(at)));
    for (const std::uint32_t at : places) {
      CAPTURE(at);
      CHECK(bench.card.block(at) == block_of(at));
      CHECK(bench.read(at) == block_of(at));
    }
    CHECK(bench.card.programmed ==
          std::vector<std::uint64_t>(std::begin(places), std::end(places)));
    CHECK(bench.read(3) == CardBlock{});
    CHECK(bench.card.complaints == std::vector<std::string>{});
    CHECK(bench.most_exchanges <= kSdTurnBytes);
  }
}

TEST_CASE("sd transfer: what lies beyond the end is never asked for") {
  for (const SimulatedKind kind :
       {SimulatedKind::sdsc_v1, SimulatedKind::sdsc_v2, SimulatedKind::sdhc}) {
    ReadyCard bench(kind);
    const auto end = static_cast<std::uint32_t>(bench.driver->sectors());
    const std::size_t before = bench.slot.exchanges;
    for (const std::uint32_t at : {end, end + 1, 0x0080'0000u + end, 0xFFFF'FFFFu}) {
      CHECK_FALSE(bench.read(at));
      CHECK_FALSE(bench.write(at, block_of(1)));
    }
    CHECK(bench.slot.exchanges == before);
    CHECK(bench.driver->state() == CardState::ready);
    CHECK(bench.card.complaints == std::vector<std::string>{});
  }
}

TEST_CASE("sd transfer: a write of nothing fails") {
  ReadyCard bench;
  CHECK_FALSE(bench.ask({.operation = CardOperation::write, .address = 5}).ok);
  CHECK(bench.card.programmed.empty());
}

TEST_CASE("sd transfer: a second request while one is open changes nothing") {
  ReadyCard bench;
  const CardBlock first = block_of(1);
  const CardBlock second = block_of(2);
  bench.driver->begin(bench.now,
                      {.operation = CardOperation::write, .address = 5, .sector = first.data()});
  bench.driver->begin(bench.now,
                      {.operation = CardOperation::write, .address = 6, .sector = second.data()});
  bench.run_until(bench.now + 10);
  bench.driver->begin(bench.now,
                      {.operation = CardOperation::write, .address = 7, .sector = second.data()});
  const auto answer = bench.driver->take_answer();
  REQUIRE(answer);
  CHECK(answer->ok);
  bench.run_until(bench.now + 10);
  CHECK(bench.card.programmed == std::vector<std::uint64_t>{5});
}

TEST_CASE("sd transfer: busy for half a second is never waited for") {
  ReadyCard bench;
  bench.card.faults.busy_ms = 500;
  const CardBlock content = block_of(5);
  const Tick begun = bench.now;
  bench.driver->begin(begun,
                      {.operation = CardOperation::write, .address = 5, .sector = content.data()});
  while (!bench.card.is_programming()) REQUIRE(bench.step(begun));
  bench.most_exchanges = 0;
  for (Tick at = begun; at < begun + 500; ++at) {
    bench.calls_in_ms = 0;
    while (bench.step(at)) {
    }
    CHECK(bench.driver->deadline() == at + 1);
    CHECK_FALSE(bench.driver->take_answer());
  }
  CHECK(bench.most_exchanges == 64);  // 41 us of a bus of 12.5 MHz
  bench.run_until(begun + 500);
  const auto answer = bench.driver->take_answer();
  REQUIRE(answer);
  CHECK(answer->ok);
  CHECK(bench.card.block(5) == content);
  CHECK(bench.card.complaints == std::vector<std::string>{});
}

TEST_CASE("sd transfer: a call before the deadline, or of an earlier time, does nothing") {
  ReadyCard bench;
  bench.card.faults.busy_ms = 100;
  const CardBlock content = block_of(5);
  bench.now = 10'000;
  bench.driver->begin(bench.now,
                      {.operation = CardOperation::write, .address = 5, .sector = content.data()});
  bench.run_until(10'050);
  const std::size_t before = bench.slot.exchanges;
  for (const Tick at : {Tick{10'050}, Tick{10'049}, Tick{9'000}, Tick{0}})
    bench.driver->on_time(at);
  CHECK(bench.slot.exchanges == before);
  bench.run_until(10'100);
  CHECK(bench.driver->take_answer()->ok);
}

TEST_CASE("sd transfer: a block may be 200 ms late and not more") {
  ReadyCard bench;
  bench.card.set_block(5, block_of(5));
  bench.card.faults.token_after_ms = 200;
  const Tick begun = bench.now;
  CHECK(bench.read(5) == block_of(5));
  CHECK(bench.now == begun + 200);
  CHECK(bench.driver->state() == CardState::ready);

  bench.card.faults.token_after_ms = 201;
  CHECK_FALSE(bench.read(5));
  CHECK(bench.now == begun + 400);
  CHECK(bench.driver->state() == CardState::starting);
  bench.card.faults.token_after_ms = 0;
  CHECK(bench.run_until_ready(1'000));
  CHECK(bench.read(5) == block_of(5));
}

TEST_CASE("sd transfer: the first write of a start is read back, the next are not") {
  SimulatedCard card = card_of(SimulatedKind::sdhc);
  CardBench bench;
  bench.slot.insert(card);
  REQUIRE(bench.run_until_ready(1'000));
  const auto reads = [&card] { return std::count(card.commands.begin(), card.commands.end(), 17); };
  CHECK(bench.write(5, block_of(5)));
  CHECK(reads() == 1);
  CHECK(bench.write(6, block_of(6)));
  CHECK(reads() == 1);
  // Started again, it is a stranger again.
  bench.slot.remove();
  bench.slot.insert(card);
  CHECK_FALSE(bench.write(7, block_of(7)));
  CHECK(bench.write(8, block_of(8)));
  CHECK(reads() == 2);
}

TEST_CASE("sd transfer: a card that forgets or alters the first write is found out") {
  for (int which = 0; which < 3; ++which) {
    CAPTURE(which);
    SimulatedCard card = card_of(SimulatedKind::sdsc_v2);
    if (which == 0) card.faults.blocks_lost = 1;
    if (which == 1) card.faults.blocks_damaged = 1;
    if (which == 2) card.faults.wrong_read_crcs = 1;
    CardBench bench;
    bench.slot.insert(card);
    REQUIRE(bench.run_until_ready(1'000));
    CHECK_FALSE(bench.write(5, block_of(5)));
    // Not proved by a failure: the next is read back, too.
    CHECK(bench.write(6, block_of(6)));
    CHECK(std::count(card.commands.begin(), card.commands.end(), 17) == 2);
    CHECK(bench.write(7, block_of(7)));
    CHECK(std::count(card.commands.begin(), card.commands.end(), 17) == 2);
  }
}
