#include "timeline/clock_repair.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <functional>
#include <map>
#include <random>

#include "card/card_clocks.hpp"
#include "card/card_survey.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::CardMaker;
using test::SessionText;
using test::TempFolder;

namespace {

constexpr std::int64_t kMonday = 1'767'600'000'000;
constexpr std::int64_t kMinute = 60'000;
constexpr std::int64_t kHour = 3'600'000;

// A boot of `length_ms` that starts at `start_ms` by a clock that is right to the
// millisecond; absent: none was read.
Boot boot_at(std::uint32_t first_sequence, std::int64_t length_ms,
             std::optional<std::int64_t> start_ms = {}) {
  Boot boot;
  boot.boot_id = first_sequence;
  boot.first_sequence = first_sequence;
  boot.last_sequence = first_sequence + 9;
  boot.has_samples = true;
  boot.last_tick = static_cast<Tick>(length_ms);
  boot.clock_guessed = !start_ms;
  if (start_ms) {
    boot.clock_offset_ms = *start_ms;
    boot.clock_anchors = {{0, *start_ms, *start_ms},
                          {boot.last_tick, *start_ms + length_ms, *start_ms + length_ms}};
  }
  return boot;
}

BootOwner owner(std::optional<OdometerSpan> odometer = {}, const char* van = "Alder") {
  return {van, odometer};
}

std::int64_t latest_start(const Boot& boot) { return *interval_at(boot, 0).high_ms; }

// A card of one van with an odometer in each boot.
struct MadeBoot {
  std::int64_t clock_ms;  // 0: none
  Tick last_tick;
  std::uint32_t odometer_first, odometer_last;  // 0.1 km
};
CardMaker card_of(std::uint32_t log_id, std::initializer_list<MadeBoot> boots) {
  CardMaker card{log_id, 512};
  card.settings("Alder", 1'767'000'000'000);
  std::uint32_t id = 0;
  for (const MadeBoot& boot : boots) {
    card.boot(++id);
    SessionText text;
    text.vin = test::kVin;
    if (boot.clock_ms != 0)
      text.clock = ClockSample{kClockSystem, static_cast<std::uint64_t>(boot.clock_ms), 0, 1};
    card.session(1, text);
    const BlockKey key = test::key_of(signal::odometer_km, 10'000);
    card.response(1'000, key, {boot.odometer_first});
    for (Tick t = 11'000; t < boot.last_tick; t += 10'000)
      card.response(t, key, {boot.odometer_first});
    card.response(boot.last_tick, key, {boot.odometer_last});
    card.close();
  }
  return card;
}

}  // namespace

// Check C5 of the analytic rules (by hand): A has a clock and drives from 1000 to
// 1050 km, B and C have none and drive to 1080 and 1080.4 km, D has a clock and
// stands at 1080.4 km. Here B and C are on another card: only the odometer tells.
TEST_CASE("clock repair: the odometer puts boots of one card between those of another") {
  const TempFolder folder;
  CardMaker first = card_of(
      1, {{kMonday, 600'000, 10'000, 10'500}, {kMonday + 20'000'000, 60'000, 10'804, 10'804}});
  CardMaker second = card_of(2, {{0, 900'000, 10'500, 10'800}, {0, 120'000, 10'800, 10'804}});
  Archive archive = Archive::open(folder.path() / "archive").value();
  for (CardMaker* card : {&first, &second}) {
    const auto file = CardFile::open(folder.write("card.log", card->bytes())).value();
    auto import = archive.begin_import().value();
    (void)survey_card(
        file, [&](const SectorHeader& header, const auto& sector) { import.add(header, sector); });
    REQUIRE(import.commit());
  }
  const auto histories = VanHistory::open(archive).value();
  REQUIRE(histories.size() == 1);
  const auto& boots = histories[0].boots();
  REQUIRE(boots.size() == 4);
  // In order of time: A, B, C, D.
  CHECK(boots[0].log_id == 1);
  CHECK(boots[1].log_id == 2);
  CHECK(boots[2].log_id == 2);
  CHECK(boots[3].log_id == 1);
  CHECK(boots[1].first_sequence < boots[2].first_sequence);
  for (const std::size_t k : {1u, 2u}) {
    CAPTURE(k);
    CHECK(boots[k].clock_guessed);
    CHECK_FALSE(boots[k].order_conflict);
    CHECK(*interval_at(boots[k], 0).low_ms >= kMonday + 600'000 - 100);
    CHECK(*interval_at(boots[k], boots[k].last_tick).high_ms <= kMonday + 20'000'000 + 100);
  }
  CHECK(*boots[2].earliest_start_ms >= kMonday + 600'000 + 900'000 - 300);
  // The room that is left: 20,000 s less the 600, 900 and 120 s of A, B and C.
  CHECK(latest_start(boots[1]) - *boots[1].earliest_start_ms ==
        doctest::Approx(18'380'000).epsilon(1e-4));
}

TEST_CASE("clock repair: equal odometers tell no order, and a stand comes before who drives on") {
  std::vector<LogBoots> logs(2);
  logs[0].boots = {boot_at(0, kHour, kMonday), boot_at(32, kHour, kMonday + 100 * kHour)};
  // Stands where the first boot ended, then where the last one began.
  logs[1].boots = {boot_at(0, kHour), boot_at(32, kHour)};
  const std::vector<std::vector<BootOwner>> owners{
      {owner(OdometerSpan{10'000, 10'500}), owner(OdometerSpan{10'800, 10'900})},
      {owner(OdometerSpan{10'500, 10'500}), owner(OdometerSpan{10'900, 10'900})}};
  repair_clocks(logs, owners);
  const Boot& between = logs[1].boots[0];
  CHECK(*between.earliest_start_ms == kMonday + kHour);
  CHECK(*between.latest_end_ms == kMonday + 100 * kHour);
  const Boot& behind = logs[1].boots[1];
  CHECK(*behind.earliest_start_ms == kMonday + 101 * kHour);
  CHECK_FALSE(behind.latest_end_ms.has_value());
  CHECK_FALSE(behind.order_conflict);
}

TEST_CASE("clock repair: a card that was pulled bounds what was on it then, and no more") {
  std::vector<LogBoots> logs(1);
  logs[0].prepared_unix_ms = logs[0].prepared_first_unix_ms = kMonday;
  logs[0].boots = {boot_at(0, kHour), boot_at(32, kHour), boot_at(64, kHour)};
  const auto at = [](std::int64_t ms) { return UtcTime{std::chrono::milliseconds{ms}}; };
  logs[0].pulled = {{at(kMonday + 50 * kHour), 41}};
  repair_clocks(logs, {});
  CHECK(*logs[0].boots[1].latest_end_ms == kMonday + 50 * kHour);
  // The first one ended before the second one began.
  CHECK(*logs[0].boots[0].latest_end_ms == kMonday + 49 * kHour + drift_ms(kHour));
  CHECK_FALSE(logs[0].boots[2].latest_end_ms.has_value());
  CHECK(*logs[0].boots[2].earliest_start_ms == kMonday + 2 * (kHour - drift_ms(kHour)));
}

TEST_CASE("clock repair: sequence against odometer keeps both orders") {
  const auto conflict = [](std::initializer_list<OdometerSpan> spans) {
    std::vector<LogBoots> logs(1);
    std::vector<std::vector<BootOwner>> owners(1);
    std::uint32_t sequence = 0;
    std::size_t k = 0;
    for (const OdometerSpan& span : spans) {
      const bool end = k == 0 || k + 1 == spans.size();
      const std::int64_t at_ms = kMonday + static_cast<std::int64_t>(k) * 10 * kHour;
      logs[0].boots.push_back(boot_at(sequence, kHour, end ? std::optional{at_ms} : std::nullopt));
      owners[0].push_back(owner(span));
      sequence += 32;
      ++k;
    }
    repair_clocks(logs, owners);
    return logs[0].boots;
  };
  SUBCASE("one against one: either may be wrong") {
    const auto boots =
        conflict({{10'000, 10'500}, {10'800, 10'900}, {10'500, 10'800}, {10'900, 10'900}});
    for (const std::size_t k : {1u, 2u}) {
      CAPTURE(k);
      CHECK(boots[k].order_conflict);
      // Whichever came first: both lie anywhere between the two with a clock.
      CHECK(*boots[k].earliest_start_ms == kMonday + kHour);
      CHECK(*boots[k].latest_end_ms == kMonday + 30 * kHour);
    }
    CHECK(boots[1].clock_offset_ms != boots[2].clock_offset_ms);
  }
  SUBCASE("one against many: the one") {
    const auto boots = conflict({{10'000, 10'500},
                                 {10'500, 10'600},
                                 {10'100, 10'200},
                                 {10'600, 10'700},
                                 {10'700, 10'800},
                                 {10'800, 10'900}});
    for (std::size_t k = 0; k < boots.size(); ++k) {
      CAPTURE(k);
      CHECK(boots[k].order_conflict == (k == 2));
    }
  }
  SUBCASE("no conflict where the odometer only stands") {
    for (const Boot& boot :
         conflict({{10'000, 10'500}, {10'500, 10'500}, {10'500, 10'500}, {10'500, 10'600}}))
      CHECK_FALSE(boot.order_conflict);
  }
}

TEST_CASE("clock repair: clocks that leave no room for a boot are a conflict") {
  std::vector<LogBoots> logs(1);
  logs[0].boots = {boot_at(0, kHour, kMonday), boot_at(32, 3 * kHour),
                   boot_at(64, kHour, kMonday + 2 * kHour)};
  repair_clocks(logs, {});
  const Boot& squeezed = logs[0].boots[1];
  CHECK(squeezed.order_conflict);
  CHECK(*squeezed.earliest_start_ms <= kMonday - kHour + 3 * drift_ms(kHour));
  CHECK(*squeezed.latest_end_ms >= kMonday + 4 * kHour - drift_ms(3 * kHour));
}

// What the tables are made from leaves out samples of a time that another boot has.
TEST_CASE("clock repair: a boot is put beside what other boots of its van cover") {
  std::vector<LogBoots> logs(2);
  logs[0].boots = {boot_at(0, kHour, kMonday), boot_at(32, 9 * kHour, kMonday + 2 * kHour),
                   boot_at(64, kHour, kMonday + 13 * kHour)};
  logs[1].prepared_unix_ms = logs[1].prepared_first_unix_ms = kMonday;
  logs[1].pulled = {{UtcTime{std::chrono::milliseconds{kMonday + 14 * kHour}}, 1'000}};
  logs[1].boots = {boot_at(0, 90 * kMinute)};
  const auto place = [&](const char* van) {
    repair_clocks(logs, {{owner(), owner(), owner()}, {owner({}, van)}});
    return logs[1].boots[0].clock_offset_ms;
  };
  CHECK(place("Alder") == kMonday + 11 * kHour + 1);
  // In another van it may be at the same time.
  CHECK(place("Rowan") == kMonday + (14 * kHour - 90 * kMinute) / 2);
}

TEST_CASE("clock repair: forged lengths and endless cards do no harm") {
  std::vector<LogBoots> logs(1);
  for (std::uint32_t k = 0; k < 20'000; ++k) {
    Boot boot = boot_at(k * 32, 0, k % 5'000 == 0 ? std::optional{kMonday} : std::nullopt);
    boot.last_tick = Tick{1} << 53;
    logs[0].boots.push_back(boot);
  }
  repair_clocks(logs, {});
  std::vector<std::vector<BootOwner>> owners(1);
  for (std::uint32_t k = 0; k < 20'000; ++k)
    owners[0].push_back(owner(OdometerSpan{k * 7'919 % 1'000, k * 104'729 % 1'000}));
  repair_clocks(logs, owners);
  CHECK(logs[0].boots[1].clock_guessed);
}

// Odometers of two cards that go round in a ring never come to rest.
TEST_CASE("clock repair: odometers that go round in a ring are given up") {
  std::vector<LogBoots> logs(2);
  logs[0].prepared_unix_ms = logs[0].prepared_first_unix_ms = kMonday;
  logs[0].boots = {boot_at(0, kHour), boot_at(32, kHour)};
  logs[1].boots = {boot_at(0, kHour), boot_at(32, kHour)};
  // On each card the order agrees; across them 200 comes before 100.
  repair_clocks(logs, {{owner(OdometerSpan{2'000, 2'100}), owner(OdometerSpan{900, 1'000})},
                       {owner(OdometerSpan{1'000, 1'100}), owner(OdometerSpan{1'900, 2'000})}});
  for (const LogBoots& log : logs) {
    for (const Boot& boot : log.boots) {
      if (boot.earliest_start_ms) CHECK(*boot.earliest_start_ms < kMonday + 5 * kHour);
    }
  }
}

namespace {

// A firm's months, with the truth beside them.
struct TrueBoot {
  std::int64_t start_ms = 0;
  double rate = 1;  // ticks in a true millisecond
  [[nodiscard]] double at(Tick tick) const {
    return static_cast<double>(start_ms) + static_cast<double>(tick) / rate;
  }
};

struct World {
  std::vector<LogBoots> logs;
  std::vector<std::vector<BootOwner>> owners;
  std::vector<std::vector<TrueBoot>> truth;
};

// Vans that swap cards, clocks that are read to a second, drift, are never set,
// or not there; odometers that are answered or not.
World make_world(std::uint64_t seed) {
  std::mt19937_64 random{seed};
  const auto chance = [&](double p) { return std::bernoulli_distribution{p}(random); };
  const auto between = [&](std::int64_t low, std::int64_t high) {
    return std::uniform_int_distribution<std::int64_t>{low, high}(random);
  };
  const std::size_t vans = static_cast<std::size_t>(between(1, 2));
  const std::size_t cards = static_cast<std::size_t>(between(1, 4));
  const double clocks = 0.1 + 0.2 * static_cast<double>(between(0, 4));
  World world;
  std::vector<std::vector<BootFacts>> facts(cards);
  std::vector<std::uint32_t> sequence(cards, 0);
  std::vector<std::uint64_t> prepared(cards, 0);
  std::vector<double> rtc_ppm(cards);
  world.logs.resize(cards);
  world.owners.resize(cards);
  world.truth.resize(cards);
  std::vector<double> km(vans);
  for (double& one : km) one = 10'000 + static_cast<double>(between(0, 50'000));
  for (double& ppm : rtc_ppm) ppm = static_cast<double>(between(-49, 49));
  for (std::size_t k = 0; k < cards; ++k)
    if (chance(0.7))
      prepared[k] = static_cast<std::uint64_t>(kMonday - between(0, 60 * 24 * kHour));
  // Both vans in turn: one logger at a time is enough for the order of a card.
  std::int64_t now_ms = kMonday;
  std::size_t card = 0, van = 0;
  const std::int64_t boots = between(3, 40);
  for (std::int64_t b = 0; b < boots; ++b) {
    if (chance(0.2))
      card = static_cast<std::size_t>(between(0, static_cast<std::int64_t>(cards) - 1));
    if (chance(0.1))
      van = static_cast<std::size_t>(between(0, static_cast<std::int64_t>(vans) - 1));
    now_ms += chance(0.2) ? between(0, 3'000) : between(kMinute, 60 * kHour);
    TrueBoot truth{now_ms, 1 + static_cast<double>(between(-99, 99)) * 1e-6};
    const std::int64_t length_ms = chance(0.2) ? between(0, 20'000) : between(kMinute, 40 * kHour);
    const auto last_tick = static_cast<Tick>(static_cast<double>(length_ms) * truth.rate);
    now_ms += length_ms + 1;
    const double from_km = km[van];
    if (chance(0.6)) km[van] += static_cast<double>(between(0, 1'000)) * 0.1;
    if (chance(0.1)) km[van] += static_cast<double>(between(0, 300));  // unseen, behind the boot
    BootFacts one;
    one.boot_id = static_cast<std::uint32_t>(b);
    one.first_sequence = sequence[card];
    one.last_sequence = sequence[card] + static_cast<std::uint32_t>(between(0, 200));
    sequence[card] = (one.last_sequence / 32 + 1) * 32;
    one.first_tick = static_cast<Tick>(between(0, static_cast<std::int64_t>(last_tick)));
    one.last_tick = last_tick;
    if (chance(clocks)) {
      const bool rtc = prepared[card] != 0 && chance(0.5);
      for (std::int64_t n = between(1, 5); n > 0; --n) {
        const auto tick = static_cast<Tick>(between(0, static_cast<std::int64_t>(last_tick)));
        double shown = truth.at(tick);
        if (rtc) shown += (shown - static_cast<double>(prepared[card])) * rtc_ppm[card] * 1e-6;
        one.clock_readings.push_back({rtc ? kClockRtc : kClockSystem,
                                      static_cast<std::uint64_t>(shown / 1'000) * 1'000, tick,
                                      1'000});
      }
    } else if (chance(0.3)) {
      // Never set: 2000-01-01.
      one.clock_readings.push_back({kClockRtc, 946'684'800'000, 0, 1'000});
    }
    std::optional<OdometerSpan> odometer;
    if (chance(0.8))
      odometer = OdometerSpan{static_cast<std::uint32_t>(from_km * 10),
                              static_cast<std::uint32_t>(std::max(from_km, km[van]) * 10)};
    world.owners[card].push_back({van == 0 ? "Alder" : "Rowan", odometer});
    world.truth[card].push_back(truth);
    facts[card].push_back(std::move(one));
    // Somebody pulls the card and says when.
    if (chance(0.05))
      world.logs[card].pulled.push_back(
          {UtcTime{std::chrono::milliseconds{now_ms}}, facts[card].back().last_sequence});
  }
  for (std::size_t k = 0; k < cards; ++k) {
    LogBoots& log = world.logs[k];
    log.log_id = static_cast<std::uint32_t>(k + 1);
    log.prepared_unix_ms = log.prepared_first_unix_ms = prepared[k];
    const CardClocks fitted = fit_card_clocks(
        std::vector<std::reference_wrapper<const BootFacts>>(facts[k].begin(), facts[k].end()),
        prepared[k]);
    for (std::size_t i = 0; i < facts[k].size(); ++i) {
      const BootClock& clock = fitted.of_boot[i];
      Boot boot;
      boot.log_id = log.log_id;
      boot.boot_id = facts[k][i].boot_id;
      boot.first_sequence = facts[k][i].first_sequence;
      boot.last_sequence = facts[k][i].last_sequence;
      boot.has_samples = true;
      boot.first_tick = *facts[k][i].first_tick;
      boot.last_tick = *facts[k][i].last_tick;
      boot.clock_offset_ms = clock.offset_ms;
      boot.clock_guessed = !clock.known() || clock.jumped;
      boot.clock_anchors = clock.anchors;
      log.boots.push_back(std::move(boot));
    }
  }
  return world;
}

}  // namespace

// Property: whatever months are made, the true time of every tick lies between
// what is said, and months without a lie have no conflict.
TEST_CASE("clock repair: the truth lies within every interval") {
  std::size_t guessed = 0, two_sided = 0, one_sided = 0, overlapping = 0;
  for (std::uint64_t seed = 1; seed <= 3'000; ++seed) {
    CAPTURE(seed);
    World world = make_world(seed);
    repair_clocks(world.logs, world.owners);
    std::map<std::string, std::vector<std::pair<std::int64_t, std::int64_t>>> spans_of;
    for (std::size_t k = 0; k < world.logs.size(); ++k) {
      for (std::size_t i = 0; i < world.logs[k].boots.size(); ++i) {
        const Boot& boot = world.logs[k].boots[i];
        CAPTURE(k);
        CAPTURE(i);
        CAPTURE(boot.clock_guessed);
        CAPTURE(boot.clock_anchors.size());
        CHECK_FALSE(boot.order_conflict);
        for (const Tick tick : {Tick{0}, boot.first_tick, boot.last_tick / 2, boot.last_tick}) {
          const TickInterval said = interval_at(boot, tick);
          const double truth_ms = world.truth[k][i].at(tick);
          if (said.low_ms) CHECK(static_cast<double>(*said.low_ms) - truth_ms <= 1);
          if (said.high_ms) CHECK(truth_ms - static_cast<double>(*said.high_ms) <= 1);
        }
        spans_of[world.owners[k][i].van].emplace_back(
            boot.clock_offset_ms + static_cast<std::int64_t>(boot.first_tick),
            boot.clock_offset_ms + static_cast<std::int64_t>(boot.last_tick));
        if (!boot.clock_guessed) continue;
        ++guessed;
        const bool low = boot.earliest_start_ms.has_value();
        const bool high = boot.latest_end_ms.has_value();
        two_sided += low && high ? 1 : 0;
        one_sided += low != high ? 1 : 0;
      }
    }
    for (auto& [van, spans] : spans_of) {
      std::sort(spans.begin(), spans.end());
      for (std::size_t i = 1; i < spans.size(); ++i)
        overlapping += spans[i].first <= spans[i - 1].second - 60'000 ? 1 : 0;
    }
  }
  MESSAGE("seeds 1 to 3000: ", guessed, " boots without a clock, ", two_sided,
          " bounded on both sides, ", one_sided, " on one, ", overlapping, " put onto another");
  CHECK(two_sided * 2 > guessed);
  CHECK(one_sided > 0);
  // What is put onto another loses its samples: next to never.
  CHECK(overlapping * 200 <= guessed);
}
