// How a card is made ready, lost and found again.
#include "card_bench.hpp"

using namespace packmile;
using namespace packmile::testing;
using packmile::cortex_m::CardState;
using packmile::cortex_m::kSdPowerUpMs;
using packmile::cortex_m::kSdRestMs;
using packmile::cortex_m::kSdTurnBytes;

TEST_CASE("sd start: each kind of card becomes ready, in the order of the specification") {
  for (const SimulatedKind kind : kAllKinds) {
    CAPTURE(static_cast<int>(kind));
    SimulatedCard card = card_of(kind);
    card.faults.power_up_ms = 12;
    CardBench bench;
    bench.slot.insert(card);
    CHECK(bench.driver->state() == CardState::starting);
    CHECK(bench.driver->sectors() == 0);
    REQUIRE(bench.run_until_ready(1'000));
    CHECK(bench.now == 15);  // asked each 5 ms
    const std::vector<int> long_blocks{0, 8, 59, 55, 141, 55, 141, 55, 141, 55, 141, 58, 9, 10};
    const std::vector<int> short_blocks{0,   8,  59,  55, 141, 55, 141, 55,
                                        141, 55, 141, 58, 16,  9,  10};
    const bool by_blocks = kind == SimulatedKind::sdhc || kind == SimulatedKind::sdxc;
    CHECK(card.commands == (by_blocks ? long_blocks : short_blocks));
    CHECK(card.complaints == std::vector<std::string>{});
    CHECK(bench.driver->deadline() == kNoDeadline);
    CHECK(bench.most_exchanges <= 100);  // a slow byte takes 20 us
  }
}

TEST_CASE("sd start: sectors come from the card's own register") {
  const std::uint64_t wanted[] = {64'032, 4'194'304, 15'523'840, 0x1'0000'0000};
  for (std::size_t i = 0; i < 4; ++i) {
    SimulatedCard card = card_of(kAllKinds[i]);
    CardBench bench;
    bench.slot.insert(card);
    REQUIRE(bench.run_until_ready(1'000));
    CHECK(bench.driver->sectors() == wanted[i]);
  }
}

TEST_CASE("sd start: an answer may come at once or after eight bytes") {
  for (int after = 0; after <= 8; ++after) {
    CAPTURE(after);
    SimulatedCard card = card_of(SimulatedKind::sdsc_v2);
    card.faults.answer_after_bytes = after;
    CardBench bench;
    bench.slot.insert(card);
    REQUIRE(bench.run_until_ready(1'000));
    CHECK(bench.write(7, block_of(7)));
    CHECK(bench.read(7) == block_of(7));
    CHECK(card.complaints == std::vector<std::string>{});
  }
}

TEST_CASE("sd start: a card that refuses CRC is never used") {
  SimulatedCard card = card_of(SimulatedKind::sdhc);
  card.faults.refuses_crc = true;
  CardBench bench;
  bench.slot.insert(card);
  CHECK_FALSE(bench.run_until_ready(5'000));
  CHECK(bench.driver->state() == CardState::absent);
  CHECK_FALSE(bench.write(0, block_of(1)));
  CHECK(card.programmed.empty());
  CHECK(std::count(card.commands.begin(), card.commands.end(), 141) == 0);
}

TEST_CASE("sd start: a card that gives a wrong answer is not used") {
  for (int which = 0; which < 5; ++which) {
    CAPTURE(which);
    SimulatedCard card = card_of(SimulatedKind::sdhc);
    card.faults.wrong_voltage = which == 0;
    card.faults.wrong_echo = which == 1;
    card.faults.refuses_acmd41 = which == 2;  // no SD card
    card.faults.never_powered_up = which == 3;
    card.faults.only_low_voltage = which == 4;
    CardBench bench;
    bench.slot.insert(card);
    CHECK_FALSE(bench.run_until_ready(3'000));
    CHECK(bench.driver->state() == CardState::absent);
  }
}

TEST_CASE("sd start: the powered-up bit counts, not the idle bit beside it") {
  // The card of qemu 7.2 (lm3s6965evb) answers CMD58 like this; seen there.
  SimulatedCard card = card_of(SimulatedKind::sdhc);
  card.faults.idle_in_ocr_answer = true;
  CardBench bench;
  bench.slot.insert(card);
  CHECK(bench.run_until_ready(1'000));
}

TEST_CASE("sd start: a card whose addresses and size contradict each other is not used") {
  SimulatedCard card(SimulatedKind::sdhc, csd_1(4095, 7, 9), cid_of(1), 2'097'152);
  CardBench bench;
  bench.slot.insert(card);
  CHECK_FALSE(bench.run_until_ready(3'000));
  CHECK(bench.driver->sectors() == 0);
}

TEST_CASE("sd start: a card has one second to power up, to the millisecond") {
  SimulatedCard card = card_of(SimulatedKind::sdhc);
  card.faults.power_up_ms = kSdPowerUpMs;
  CardBench bench;
  bench.slot.insert(card);
  REQUIRE(bench.run_until_ready(kSdPowerUpMs));
  CHECK(bench.now == kSdPowerUpMs);

  SimulatedCard slow = card_of(SimulatedKind::sdhc);
  slow.faults.power_up_ms = kSdPowerUpMs + 1;
  CardBench other;
  other.slot.insert(slow);
  other.run_until(kSdPowerUpMs - 1);
  CHECK(other.driver->state() == CardState::starting);
  other.run_until(kSdPowerUpMs);
  CHECK(other.driver->state() == CardState::absent);
  // Not for ever: asked again, it had time enough.
  CHECK(other.driver->deadline() == kSdPowerUpMs + kSdRestMs);
  slow.faults.power_up_ms = 30;
  CHECK(other.run_until_ready(kSdRestMs + 30));
}

TEST_CASE("sd start: an empty slot is asked twice a second, and what is put in is found") {
  CardBench bench;
  bench.run_until(0);
  CHECK(bench.driver->state() == CardState::absent);
  CHECK(bench.driver->deadline() == kSdRestMs);
  bench.run_until(10'100);
  const std::size_t before = bench.slot.exchanges;
  bench.run_until(bench.now + 10'000);
  CHECK((bench.slot.exchanges - before) / 20 <= 600);  // a look takes so many bytes
  CHECK(bench.driver->state() == CardState::absent);
  CHECK_FALSE(bench.read(0));

  SimulatedCard card = card_of(SimulatedKind::sdhc);
  bench.slot.insert(card);
  REQUIRE(bench.run_until_ready(kSdRestMs + 20));
  CHECK(bench.driver->sectors() == 15'523'840);
}

TEST_CASE("sd start: requests while it starts wait for its end, either way") {
  SimulatedCard card = card_of(SimulatedKind::sdhc);
  card.faults.power_up_ms = 300;
  card.set_block(9, block_of(9));
  CardBench bench;
  bench.slot.insert(card);
  CHECK(bench.read(9) == block_of(9));
  CHECK(bench.now == 300);

  SimulatedCard dead = card_of(SimulatedKind::sdhc);
  dead.faults.power_up_ms = 99'999;
  CardBench other;
  other.slot.insert(dead);
  CHECK_FALSE(other.read(9));
  CHECK(other.now == kSdPowerUpMs);
}

TEST_CASE("sd lost: taken out and put back, the same card goes on") {
  for (const SimulatedKind kind : kAllKinds) {
    ReadyCard bench(kind);
    bench.slot.remove();
    CHECK_FALSE(bench.write(2, block_of(2)));
    bench.run_until(bench.now);
    CHECK(bench.driver->state() == CardState::absent);
    CHECK_FALSE(bench.write(3, block_of(3)));
    CHECK(bench.driver->sectors() > 0);
    bench.run_until(bench.now + 3'210);
    bench.slot.insert(bench.card);
    REQUIRE(bench.run_until_ready(kSdRestMs + 20));
    CHECK(bench.write(4, block_of(4)));
    CHECK(bench.card.programmed == std::vector<std::uint64_t>{4});
    CHECK(bench.card.block(4) == block_of(4));
    CHECK(bench.card.complaints == std::vector<std::string>{});
  }
}

TEST_CASE("sd lost: out and in between two writes costs one of them") {
  ReadyCard bench;
  bench.slot.remove();
  bench.slot.insert(bench.card);
  CHECK_FALSE(bench.write(2, block_of(2)));
  CHECK(bench.write(3, block_of(3)));  // held while the card was started
  CHECK(bench.card.programmed == std::vector<std::uint64_t>{3});
}

TEST_CASE("sd lost: another card is never written, and not asked any more") {
  SimulatedCard other = card_of(SimulatedKind::sdhc, 2);
  // The same maker's label on a card of another size.
  SimulatedCard larger(SimulatedKind::sdhc, csd_2(0x3B38), cid_of(1), 15'524'864);
  for (SimulatedCard* second : {&other, &larger}) {
    ReadyCard bench;
    bench.slot.remove();
    bench.slot.insert(*second);
    CHECK_FALSE(bench.write(2, block_of(2)));
    CHECK_FALSE(bench.write(3, block_of(3)));
    CHECK(bench.driver->state() == CardState::changed);
    CHECK(bench.driver->deadline() == kNoDeadline);
    CHECK_FALSE(bench.read(0));
    CHECK(second->programmed.empty());
    const std::size_t before = bench.slot.exchanges;
    bench.run_until(bench.now + 60'000);
    bench.driver->on_time(bench.now);
    CHECK(bench.slot.exchanges == before);
    // Of the card that the log was begun on.
    CHECK(bench.driver->sectors() == 15'523'840);
  }
}

TEST_CASE("sd lost: a restart of the machine in the middle of a block does no harm") {
  const CardBlock old = block_of(20);
  // In a write after so many bytes; in a read after so many.
  for (std::size_t cut = 0; cut < 520; cut += cut < 20 ? 1 : 3) {
    CAPTURE(cut);
    ReadyCard bench;
    bench.card.set_block(6, old);
    CardBlock content = block_of(21);
    // Bytes that look like a command.
    for (std::size_t i = 0; i < content.size(); i += 7) content[i] = 0x40;
    bench.driver->begin(
        bench.now, {.operation = CardOperation::write, .address = 6, .sector = content.data()});
    // The bus goes quiet, as when the machine is reset: what comes after is lost.
    struct Cut {};
    std::size_t left = cut;  // the command and its answer come first
    bench.slot.before_exchange = [&left] {
      if (left-- == 0) throw Cut{};
    };
    CHECK_THROWS_AS(bench.driver->on_time(bench.now), Cut);
    bench.slot.before_exchange = nullptr;
    bench.restart_machine();
    REQUIRE(bench.run_until_ready(2 * kSdRestMs));
    const CardBlock now_there = bench.card.block(6);
    const bool whole = now_there == old || now_there == content;
    CHECK(whole);
    CHECK(bench.write(8, block_of(8)));
  }
}

TEST_CASE("sd lost: a card that waits for a block that does not come is freed, and not written") {
  ReadyCard bench;
  bench.card.set_block(6, block_of(6));
  int heard = 0;
  bench.slot.heard = [&heard](std::uint8_t said) {
    return ++heard == 9 ? std::uint8_t{0x20} : said;  // the answer to CMD24
  };
  CHECK_FALSE(bench.write(6, block_of(7)));
  CHECK(bench.card.commands == std::vector<int>{24});
  CHECK(bench.driver->state() == CardState::starting);
  CHECK(bench.write(8, block_of(8)));
  CHECK(bench.card.block(6) == block_of(6));
  CHECK(bench.card.programmed == std::vector<std::uint64_t>{8});
}

TEST_CASE("sd lost: a restart of the machine while a block comes does no harm") {
  for (std::size_t cut = 1; cut < 515; cut += 3) {
    CAPTURE(cut);
    ReadyCard bench;
    CardBlock content = block_of(21);
    for (std::size_t i = 0; i < content.size(); i += 7) content[i] = 0x01;
    bench.card.set_block(6, content);
    bench.driver->begin(bench.now, {.operation = CardOperation::read, .address = 6});
    struct Cut {};
    std::size_t left = cut + 10;
    bench.slot.before_exchange = [&left] {
      if (left-- == 0) throw Cut{};
    };
    CHECK_THROWS_AS(while (!bench.driver->take_answer()) bench.driver->on_time(bench.now), Cut);
    bench.slot.before_exchange = nullptr;
    bench.restart_machine();
    REQUIRE(bench.run_until_ready(2 * kSdRestMs));
    CHECK(bench.read(6) == content);
  }
}
