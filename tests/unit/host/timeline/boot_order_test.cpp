#include "timeline/boot_order.hpp"

#include <doctest/doctest.h>

#include <cstdlib>

#include "card/card_survey.hpp"
#include "timeline/clock_repair.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::CardMaker;
using test::SessionText;
using test::TempFolder;

namespace {

constexpr std::uint64_t kOrderPrepared = 1'767'000'000'000;
constexpr std::int64_t kOrderMonday = 1'767'600'000'000;
constexpr std::int64_t kYear = 366LL * 86'400'000;

// A boot whose samples are at the given ticks; clock: what it showed at tick 0.
void add_boot(CardMaker& card, std::uint32_t boot_id, std::initializer_list<Tick> ticks,
              std::int64_t clock_ms = 0) {
  card.boot(boot_id);
  SessionText text;
  if (clock_ms != 0)
    text.clock = ClockSample{kClockRtc, static_cast<std::uint64_t>(clock_ms), 0, 1'000};
  card.session(1, text);
  for (const Tick tick : ticks) card.response(tick, test::soc_key(1'000), {100, 13'000});
  card.close();
}

LogBoots boots_of(CardMaker& card, std::vector<PulledCard> pulled = {}) {
  const TempFolder folder;
  const auto file = CardFile::open(folder.write("card.log", card.bytes()));
  REQUIRE(file);
  const CardSurvey survey = survey_card(*file);
  const CardSectors sectors(*file, survey);
  auto log = read_log_boots(sectors, *survey.log_id, std::move(pulled));
  REQUIRE(log);
  return std::move(*log);
}

}  // namespace

TEST_CASE("boots: each with its own clock, ticks and sequence") {
  CardMaker card(7, 256);
  card.settings("Alder", kOrderPrepared);
  add_boot(card, 1, {1'000, 2'000}, kOrderMonday);
  add_boot(card, 2, {500, 90'000, 95'000}, kOrderMonday + 3'600'000);
  const LogBoots log = boots_of(card);
  CHECK(log.settings_van == "Alder");
  REQUIRE(log.boots.size() == 2);
  CHECK(log.boots[0].clock_offset_ms == kOrderMonday);
  CHECK_FALSE(log.boots[0].clock_guessed);
  CHECK(log.boots[1].first_sequence == 32);
  CHECK(log.boots[1].first_tick == 500);
  CHECK(log.boots[1].last_tick == 95'000);
  CHECK(log.boots[1].clock_source == kClockRtc);
  CHECK_FALSE(log.no_clock);
}

// Check C5 of the analytic rules: A with a clock, B and C without, D with one:
// B and C stand in their order between the end of A and the start of D.
TEST_CASE("boots: without a clock they stand between their neighbours, in order") {
  CardMaker card(7, 256);
  card.settings("Alder", kOrderPrepared);
  add_boot(card, 1, {1'000, 60'000}, kOrderMonday);
  add_boot(card, 2, {1'000, 30'000});
  add_boot(card, 3, {2'000, 10'000});
  add_boot(card, 4, {1'000}, kOrderMonday + 500'000);
  const LogBoots log = boots_of(card);
  REQUIRE(log.boots.size() == 4);
  const Boot& b = log.boots[1];
  const Boot& c = log.boots[2];
  CHECK(b.clock_guessed);
  CHECK(c.clock_guessed);
  // By hand: behind the end of A at 60 s, the 30 s of B and the 10 s of C before
  // the start of D at 500 s; A's clock is an RTC that was prepared 6.9 days
  // before (50 ppm: 30 s, and 25 ms more after 500 s), read to 1 s, and the ticks may be 100 ppm
  // off.
  constexpr std::int64_t kRtcMs = 30'000;
  CHECK(*b.earliest_start_ms == kOrderMonday + 60'000 - kRtcMs - 6);
  CHECK(*c.earliest_start_ms == kOrderMonday + 90'000 - kRtcMs - 6 - 3);
  CHECK(*c.latest_end_ms == kOrderMonday + 501'000 + kRtcMs + 25);
  CHECK(*b.latest_end_ms == kOrderMonday + 491'000 + kRtcMs + 25 + 1);
  // In the middle of the 400 s that are left, C right behind B.
  CHECK(b.clock_offset_ms == kOrderMonday + 60'001 + (500'000 - 100'001) / 2);
  CHECK(std::abs(c.clock_offset_ms - (b.clock_offset_ms + 30'001)) <= 1);
  const TickInterval end_of_c = interval_at(c, 10'000);
  const TickInterval start_of_b = interval_at(b, 0);
  CHECK(*start_of_b.low_ms >= *interval_at(log.boots[0], 60'000).low_ms);
  CHECK(*end_of_c.high_ms <= *interval_at(log.boots[3], 0).high_ms);
  CHECK(*end_of_c.high_ms - *start_of_b.low_ms == 441'000 + 2 * kRtcMs + 25 + 6);
  CHECK_FALSE(log.boots[3].clock_guessed);
}

TEST_CASE("boots: without a clock at the front they lie behind the preparation of the card") {
  CardMaker card(7, 256);
  card.settings("Alder", kOrderPrepared);
  add_boot(card, 1, {1'000, 60'000});
  add_boot(card, 2, {1'000}, kOrderMonday);
  const LogBoots log = boots_of(card);
  const Boot& first = log.boots[0];
  CHECK(*first.earliest_start_ms == static_cast<std::int64_t>(kOrderPrepared));
  // The RTC of the next boot: 50 ppm of the 600,000 s since the preparation.
  CHECK(*first.latest_end_ms == kOrderMonday + 1'000 + 30'000);
  CHECK(first.clock_offset_ms ==
        (static_cast<std::int64_t>(kOrderPrepared) + kOrderMonday - 60'000) / 2);
}

TEST_CASE("boots: no clock on the whole card") {
  const std::vector<PulledCard> pulled_at{{UtcTime{std::chrono::milliseconds(kOrderMonday)}}};
  SUBCASE("prepared and pulled bound it") {
    CardMaker card(7, 256);
    card.settings("Alder", kOrderPrepared);
    add_boot(card, 1, {1'000, 60'000});
    add_boot(card, 2, {1'000, 9'000});
    const LogBoots log = boots_of(card, pulled_at);
    CHECK(log.no_clock);
    CHECK(*log.boots[0].earliest_start_ms == static_cast<std::int64_t>(kOrderPrepared));
    CHECK(*log.boots[1].earliest_start_ms ==
          static_cast<std::int64_t>(kOrderPrepared) + 60'000 - 6);
    CHECK(*log.boots[1].latest_end_ms == kOrderMonday);
    CHECK(*log.boots[0].latest_end_ms == kOrderMonday - 9'000 + 1);
    CHECK(log.boots[1].clock_offset_ms > log.boots[0].clock_offset_ms + 60'000);
  }
  SUBCASE("only the day on which it was pulled") {
    CardMaker card(7, 256);
    card.settings("Alder", 0);
    add_boot(card, 1, {1'000, 60'000});
    const LogBoots log = boots_of(card, pulled_at);
    CHECK(log.boots[0].clock_offset_ms == kOrderMonday - 60'000);
    CHECK(log.boots[0].clock_uncertainty_ms == kYear);
    CHECK_FALSE(log.boots[0].earliest_start_ms.has_value());
    CHECK(*log.boots[0].latest_end_ms == kOrderMonday);
  }
  SUBCASE("nothing at all") {
    CardMaker card(7, 256);
    add_boot(card, 1, {1'000, 60'000});
    const LogBoots log = boots_of(card);
    CHECK(log.no_clock);
    CHECK(log.boots[0].clock_guessed);
    CHECK(log.boots[0].clock_uncertainty_ms == kYear);
    CHECK_FALSE(log.boots[0].earliest_start_ms.has_value());
    CHECK_FALSE(log.boots[0].latest_end_ms.has_value());
  }
}

// A board whose clock has no cell starts at one date again and again; by its clock
// all boots would lie on top of one another, and only one of them would be seen.
TEST_CASE("boots: a clock that starts at the same date each time moves no boot onto another") {
  CardMaker card(7, 256);
  card.settings("Alder", kOrderPrepared);
  for (std::uint32_t id = 1; id <= 4; ++id) add_boot(card, id, {1'000, 900'000}, kOrderMonday);
  const LogBoots log = boots_of(card);
  REQUIRE(log.boots.size() == 4);
  int guessed = 0;
  for (std::size_t i = 0; i < log.boots.size(); ++i) {
    CAPTURE(i);
    guessed += log.boots[i].clock_guessed ? 1 : 0;
    if (i > 0) CHECK(log.boots[i].clock_offset_ms > log.boots[i - 1].clock_offset_ms + 900'000);
  }
  CHECK(guessed == 3);
}

TEST_CASE("boots: one clock against all others loses, wherever it stands") {
  for (std::size_t wrong = 0; wrong < 5; ++wrong) {
    for (const std::int64_t shift_ms : {-30 * 86'400'000LL, 30 * 86'400'000LL}) {
      // The first may lie before, the last behind all others; of the first two
      // either may be the wrong one.
      if ((wrong <= 1 && shift_ms < 0) || (wrong == 4 && shift_ms > 0)) continue;
      CAPTURE(wrong);
      CAPTURE(shift_ms);
      CardMaker card(7, 256);
      for (std::size_t i = 0; i < 5; ++i)
        add_boot(
            card, static_cast<std::uint32_t>(i + 1), {1'000, 60'000},
            kOrderMonday + static_cast<std::int64_t>(i) * 3'600'000 + (i == wrong ? shift_ms : 0));
      const LogBoots log = boots_of(card);
      REQUIRE(log.boots.size() == 5);
      for (std::size_t i = 0; i < 5; ++i) {
        CAPTURE(i);
        CHECK(log.boots[i].clock_guessed == (i == wrong));
        if (i > 0) CHECK(log.boots[i].clock_offset_ms >= log.boots[i - 1].clock_offset_ms + 60'000);
      }
    }
  }
}

TEST_CASE("boots: a clock that was set back by less than a minute keeps its boots") {
  CardMaker card(7, 256);
  add_boot(card, 1, {1'000, 60'000}, kOrderMonday);
  add_boot(card, 2, {1'000, 60'000}, kOrderMonday + 1'000);
  const LogBoots log = boots_of(card);
  CHECK_FALSE(log.boots[0].clock_guessed);
  CHECK_FALSE(log.boots[1].clock_guessed);
}

TEST_CASE("boots: a boot id that comes back much later is another boot") {
  CardMaker card(7, 1024);
  card.settings("Alder", kOrderPrepared);
  add_boot(card, 1, {1'000}, kOrderMonday);
  for (std::uint32_t i = 0; i < 8; ++i) add_boot(card, 100 + i, {5'000}, kOrderMonday + 60'000 * i);
  add_boot(card, 1, {1'000}, kOrderMonday + 900'000);
  const LogBoots log = boots_of(card);
  REQUIRE(log.boots.size() == 10);
  CHECK(log.boots[0].boot_id == 1);
  CHECK(log.boots[9].boot_id == 1);
  CHECK(log.boots[9].clock_offset_ms == kOrderMonday + 900'000);
}

TEST_CASE("boots: losses inside a boot are counted, the skip before a boot is not") {
  CardMaker card(7, 256);
  add_boot(card, 1, {1'000, 20'000, 40'000, 60'000, 80'000}, kOrderMonday);
  add_boot(card, 2, {1'000}, kOrderMonday + 3'600'000);
  card.fill_sector(kHeadSectors + 2, 0);
  card.fill_sector(kHeadSectors + 3, 0);
  const LogBoots log = boots_of(card);
  CHECK(log.boots[0].sectors_missing == 2);
  CHECK(log.boots[1].sectors_missing == 0);
}

TEST_CASE("boots: each series comes from the ECU that answers it most") {
  CardMaker card(7, 256);
  card.boot(1);
  for (Tick t = 1'000; t < 9'000; t += 1'000) {
    card.response(t, test::soc_key(1'000, 0x7EA), {1, 2});
    if (t % 2'000 == 0) card.response(t, test::pack_key(2'000, 0x7E9), {6, 0, 1, 2, 3});
    if (t % 4'000 == 0) card.response(t, test::pack_key(4'000, 0x7E8), {6, 0, 1, 2, 3});
  }
  card.close();
  const LogBoots log = boots_of(card);
  CHECK(log.boots[0].series_ecu.pack == 0x7E9);
  CHECK(log.boots[0].series_ecu.speed == 0x7E9);
  CHECK(log.boots[0].series_ecu.soc == 0x7EA);
  CHECK(log.boots[0].series_ecu.odometer == 0);
}
