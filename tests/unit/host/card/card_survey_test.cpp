#include "card/card_survey.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>
#include <set>
#include <vector>

#include "card/crc.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::CardMaker;
using test::SessionText;
using test::TempFolder;

namespace {

constexpr std::uint64_t kPrepared = 1'767'000'000'000;
constexpr std::uint64_t kClockStart = 1'767'600'000'000;

// A boot of `seconds` at 5 Hz.
void drive(CardMaker& card, std::uint32_t boot_id, int seconds, std::uint64_t unix_ms) {
  card.boot(boot_id);
  SessionText text;
  text.vin = test::kVin;
  text.supply_min_mv = 12'300;
  text.requests_while_parked = 3;
  text.supported_pids = std::string("\x00\x08\x00\x01\x00\x00\x00\x01\x00\x00\x00\x00", 12);
  if (unix_ms != 0) text.clock = ClockSample{kClockSystem, unix_ms, 500, 1};
  card.session(1'000, text);
  for (int i = 0; i < seconds * 5; ++i) {
    const Tick tick = 2'000 + static_cast<Tick>(i) * 200;
    card.response(tick, test::pack_key(200),
                  {6, 0, static_cast<std::uint32_t>(23'000 + i % 70),
                   static_cast<std::uint32_t>(100 + i % 300), static_cast<std::uint32_t>(i % 50)});
    if (i % 5 == 0) card.response(tick + 20, test::soc_key(1'000), {180, 14'000});
  }
  card.close();
}

CardMaker plain_card() {
  CardMaker card(0xAB12, 256);
  card.settings("Alder", kPrepared);
  drive(card, 1, 200, kClockStart);
  drive(card, 2, 100, kClockStart + 3'600'000);
  return card;
}

CardSurvey survey_of(const TempFolder& folder, std::span<const std::uint8_t> bytes,
                     const SectorSink& sink = {}) {
  const auto card = CardFile::open(folder.write("card.log", bytes));
  REQUIRE(card);
  return survey_card(*card, sink);
}

bool has(const CardSurvey& survey, Finding finding) {
  return std::find(survey.findings.begin(), survey.findings.end(), finding) !=
         survey.findings.end();
}

}  // namespace

TEST_CASE("survey: a sound card") {
  const TempFolder folder;
  CardMaker card = plain_card();
  std::uint64_t handed = 0;
  const CardSurvey s = survey_of(folder, card.bytes(), [&](const auto&, const auto&) { ++handed; });
  CHECK(s.verdict == CardVerdict::sound);
  CHECK(s.message == "");
  CHECK(s.log_id == 0xAB12u);
  CHECK(s.van == "Alder");
  REQUIRE(s.vins.size() == 1);
  CHECK(s.vins[0] == test::kVin);
  REQUIRE(s.boots.size() == 2);
  CHECK(s.boots[0].boot_id == 1);
  CHECK(s.sectors_good == handed);
  CHECK(s.sectors_good > 20);
  CHECK(s.sectors_missing == 0);
  CHECK(s.sectors == 288);
  CHECK(s.findings.empty());
  CHECK(s.clock_source == kClockSystem);
  CHECK(s.first == UtcTime{std::chrono::milliseconds(kClockStart + 1'500)});
  CHECK(s.last == UtcTime{std::chrono::milliseconds(kClockStart + 3'600'000 + 1'500 + 99'800)});
  CHECK(*s.days_held == doctest::Approx(3'699.8 / 86'400));
  CHECK(s.supply_min_v == 12.3);
  CHECK(s.counters.requests_while_parked == 6);
  // 9A has four signals, with 0D, 5B and 42.
  CHECK(s.answers.size() == 7);
  CHECK(s.answers[0].signal == signal::pack_v);
  CHECK(s.answers[0].rows == 1'500);
  // The bitmaps support 0D, 20 and 40: nothing that is missing.
  CHECK(s.not_answered.empty());
}

TEST_CASE("survey: what the van supports and never answers is listed") {
  const TempFolder folder;
  CardMaker card(1);
  card.settings("", 0);
  card.boot(1);
  SessionText text;
  // 00: PIDs 0D and 20; 20: 40; 40: 46 and 5B.
  text.supported_pids = std::string("\x00\x08\x00\x01\x00\x00\x00\x01\x04\x00\x00\x20", 12);
  card.session(1, text);
  card.response(2, test::soc_key(1'000), {5, 6});
  card.close();
  const CardSurvey s = survey_of(folder, card.bytes());
  REQUIRE(s.not_answered.size() == 2);
  CHECK(s.not_answered[0].pid == 0x0D);
  CHECK(s.not_answered[1].pid == 0x46);
  CHECK(has(s, Finding::clock_missing));
  CHECK_FALSE(s.first);
}

TEST_CASE("survey: blank, prepared and meaningless cards") {
  const TempFolder folder;
  const CardSurvey blank = survey_of(folder, std::vector<std::uint8_t>(100'000));
  CHECK(blank.verdict == CardVerdict::no_log);
  CHECK_FALSE(blank.message.empty());
  CHECK(survey_of(folder, std::vector<std::uint8_t>(51'200, 0xFF)).verdict == CardVerdict::no_log);

  std::vector<std::uint8_t> noise(1'000'000);
  std::mt19937 random(3);
  for (auto& b : noise) b = static_cast<std::uint8_t>(random());
  const CardSurvey s = survey_of(folder, noise);
  CHECK(s.verdict == CardVerdict::needs_attention);
  CHECK(s.message == "no logger sector in 1953 sectors read");
  CHECK(s.sectors_damaged == 1'953);
  CHECK(survey_of(folder, std::vector<std::uint8_t>(100, 'x')).verdict ==
        CardVerdict::needs_attention);
  CHECK(survey_of(folder, std::vector<std::uint8_t>(100)).verdict == CardVerdict::no_log);

  noise.assign(51'200, 0);
  noise[510] = 0x55;
  noise[511] = 0xAA;
  std::copy_n("FAT32   ", 8, noise.begin() + 82);
  CHECK(survey_of(folder, noise).message ==
        "no logger sector in 100 sectors read (the first sector is a FAT32 boot sector)");

  CardMaker prepared(5);
  prepared.settings("Birch", kPrepared);
  const CardSurvey ready = survey_of(folder, prepared.bytes());
  CHECK(ready.verdict == CardVerdict::sound);
  CHECK(ready.findings == std::vector{Finding::no_data_yet});
  CHECK(ready.van == "Birch");
}

TEST_CASE("survey: a copy that is cut off keeps all its whole sectors") {
  const TempFolder folder;
  CardMaker card = plain_card();
  const CardSurvey whole = survey_of(folder, card.bytes());
  for (const std::size_t length : {40 * 512u, 40 * 512u + 1, 45 * 512u + 511, 33 * 512u}) {
    CAPTURE(length);
    const CardSurvey s = survey_of(folder, std::span(card.bytes()).first(length));
    CHECK(s.verdict == CardVerdict::sound);
    CHECK(has(s, Finding::truncated));
    CHECK(s.sectors_cut_off == 288 - length / 512);
    CHECK(s.sectors_good == length / 512 - 31);
    CHECK(s.sectors_damaged == 0);
    CHECK(s.log_id == whole.log_id);
  }
}

TEST_CASE("survey: damaged sectors are counted, the others are all there") {
  const TempFolder folder;
  CardMaker card = plain_card();
  const CardSurvey whole = survey_of(folder, card.bytes());
  for (std::uint32_t sequence = 3; sequence < 9; ++sequence)
    card.bytes()[card.offset_of(sequence) + 100 + sequence] ^= 0x10;
  const CardSurvey s = survey_of(folder, card.bytes());
  CHECK(s.verdict == CardVerdict::needs_attention);
  CHECK(s.sectors_damaged == 6);
  CHECK(s.sectors_missing == 6);
  CHECK(s.sectors_good == whole.sectors_good - 6);
  CHECK(has(s, Finding::sectors_damaged));
  CHECK(has(s, Finding::sectors_missing));
  // Erased instead of garbled: nothing to see but the gap.
  for (std::uint32_t sequence = 3; sequence < 9; ++sequence)
    card.fill_sector(kHeadSectors + sequence, 0);
  const CardSurvey erased = survey_of(folder, card.bytes());
  CHECK(erased.sectors_damaged == 0);
  CHECK(erased.sectors_missing == 6);
  CHECK(erased.verdict == CardVerdict::sound);
}

TEST_CASE("survey: every bit flip in a sector of the card is noticed") {
  const TempFolder folder;
  CardMaker card = plain_card();
  const CardSurvey whole = survey_of(folder, card.bytes());
  std::mt19937 random(9);
  for (int i = 0; i < 300; ++i) {
    const std::size_t at =
        card.offset_of(static_cast<std::uint32_t>(random() % 10)) + random() % 512;
    const auto bit = static_cast<std::uint8_t>(1u << (random() % 8));
    card.bytes()[at] ^= bit;
    const CardSurvey s = survey_of(folder, card.bytes());
    REQUIRE(s.sectors_good == whole.sectors_good - 1);
    REQUIRE(s.sectors_damaged == 1);
    card.bytes()[at] ^= bit;
  }
}

TEST_CASE("survey: misplaced, copied, contradicting and foreign sectors") {
  const TempFolder folder;
  CardMaker card = plain_card();
  const CardSurvey whole = survey_of(folder, card.bytes());
  auto bytes = card.bytes();
  const auto at = [&](std::size_t address) {
    return bytes.begin() + static_cast<std::ptrdiff_t>(address * 512);
  };
  std::copy_n(at(40), 512, at(200));
  CardSurvey s = survey_of(folder, bytes);
  // A copy of a sector that is still in its place is that and nothing else.
  CHECK(s.sectors_misplaced == 0);
  CHECK(s.sectors_copied == 1);
  CHECK(s.sectors_good == whole.sectors_good);
  CHECK(s.verdict == CardVerdict::needs_attention);
  CHECK(s.message.find("copied") != std::string::npos);
  CHECK(has(s, Finding::sectors_misplaced));
  CHECK(s.places == whole.places);

  // The same key with another content, sealed right.
  const auto sector = std::span(bytes).subspan(200 * 512).first<kSectorBytes>();
  SectorHeader header;
  REQUIRE(judge_sector(sector, header) == SectorVerdict::good);
  sector[kSectorHeaderBytes + 3] ^= 1;
  seal_sector(sector, header);
  s = survey_of(folder, bytes);
  CHECK(s.sectors_conflict == 1);
  CHECK(s.sectors_copied == 0);
  CHECK(has(s, Finding::sectors_foreign));

  bytes = card.bytes();
  const auto foreign = std::span(bytes).subspan(201 * 512).first<kSectorBytes>();
  header.ring_sectors = 7;
  seal_sector(foreign, header);
  const auto newer = std::span(bytes).subspan(202 * 512).first<kSectorBytes>();
  header.ring_sectors = 256;
  header.version = 2;
  seal_sector(newer, header);
  s = survey_of(folder, bytes);
  CHECK(s.sectors_foreign == 1);
  CHECK(s.sectors_newer == 1);
  CHECK(has(s, Finding::newer_format));
  CHECK(s.verdict == CardVerdict::needs_attention);
}

TEST_CASE("survey: a ring that has gone round loses nothing but what it overwrote") {
  const TempFolder folder;
  CardMaker card(0x77, 64);
  card.settings("Alder", kPrepared);
  for (std::uint32_t boot = 1; boot <= 9; ++boot)
    drive(card, boot, 130, kClockStart + boot * 600'000);
  REQUIRE(card.next_sequence() > 128);
  const CardSurvey s = survey_of(folder, card.bytes());
  CHECK(s.verdict == CardVerdict::sound);
  CHECK(s.sectors_missing == 0);
  CHECK(s.sectors_misplaced == 0);
  CHECK(s.boots.back().boot_id == 9);
  CHECK(s.boots.front().boot_id > 1);
}

// A board without a cell; import places the same boots one behind the other, and
// what it says of the card must not differ.
TEST_CASE("survey: boots that all start at one date have one clock between them") {
  const TempFolder folder;
  CardMaker card(7, 256);
  for (std::uint32_t id = 1; id <= 3; ++id) drive(card, id, 200, kClockStart);
  const CardSurvey s = survey_of(folder, card.bytes());
  REQUIRE(s.boots.size() == 3);
  CHECK(std::ranges::count_if(s.boot_clocks, &BootClock::known) == 1);
  CHECK(has(s, Finding::clock_guessed));
}

TEST_CASE("survey: an earlier life of the card is kept apart") {
  const TempFolder folder;
  CardMaker old_life(0x11, 256);
  old_life.settings("Birch", kPrepared);
  drive(old_life, 5, 900, kClockStart);
  CardMaker card(0x22, 256);
  card.settings("Alder", kPrepared + 1);
  drive(card, 6, 100, kClockStart);
  // The new life has overwritten the head and the front of the ring.
  const std::size_t front = (kHeadSectors + card.next_sequence()) * 512;
  std::copy_n(card.bytes().begin(), front, old_life.bytes().begin());
  std::set<std::uint32_t> handed;
  const CardSurvey s = survey_of(folder, old_life.bytes(), [&](const SectorHeader& h, const auto&) {
    handed.insert(h.log_id);
  });
  CHECK(s.log_id == 0x22u);
  CHECK(s.van == "Alder");
  CHECK(s.boots.size() == 1);
  CHECK(s.sectors_older_log > 40);
  CHECK(s.verdict == CardVerdict::sound);
  CHECK(s.findings == std::vector{Finding::older_log});
  CHECK(handed.size() == 2);
}

TEST_CASE("survey: head destroyed, front cut off, and the log inside an image") {
  const TempFolder folder;
  CardMaker card = plain_card();
  const CardSurvey whole = survey_of(folder, card.bytes());
  SUBCASE("head blank") {
    card.fill_sector(0, 0);
    const CardSurvey s = survey_of(folder, card.bytes());
    CHECK(s.sectors_good == whole.sectors_good - 1);
    CHECK(s.verdict == CardVerdict::sound);
    CHECK(s.findings == std::vector{Finding::head_destroyed});
  }
  SUBCASE("head garbled") {
    card.fill_sector(0, 0x5A);
    const CardSurvey s = survey_of(folder, card.bytes());
    CHECK(s.sectors_damaged == 1);
    CHECK(s.verdict == CardVerdict::needs_attention);
    CHECK(has(s, Finding::head_destroyed));
  }
  SUBCASE("front cut off") {
    const CardSurvey s = survey_of(folder, std::span(card.bytes()).subspan(34 * 512));
    CHECK(s.log_begins_at == -34);
    CHECK(s.sectors_cut_off == 34);
    CHECK(s.sectors_misplaced == 0);
    CHECK(s.sectors_good == whole.sectors_good - 3);
    CHECK(s.verdict == CardVerdict::sound);
    CHECK(has(s, Finding::truncated));
  }
  SUBCASE("whole-card image") {
    // A boot sector, other files before and behind the log: not ours to judge.
    std::vector<std::uint8_t> image(9'000 * 512, 0x33);
    image[510] = 0x55;
    image[511] = 0xAA;
    std::copy(card.bytes().begin(), card.bytes().end(), image.begin() + 8'192 * 512);
    CardSurvey s = survey_of(folder, image);
    CHECK(s.log_begins_at == 8'192);
    CHECK(s.sectors_good == whole.sectors_good);
    CHECK(s.sectors_damaged == 0);
    CHECK(s.verdict == CardVerdict::sound);
    // But inside the log damage is damage.
    image[(8'192 + 35) * 512 + 60] ^= 1;
    s = survey_of(folder, image);
    CHECK(s.sectors_damaged == 1);
    CHECK(s.sectors_missing == 1);
    // And an image that ends in the log is cut off.
    image.resize(8'300 * 512);
    s = survey_of(folder, image);
    CHECK(s.sectors_cut_off == 288 - 108);
  }
}

TEST_CASE("survey: random sectors and lies under a right checksum do no harm") {
  const TempFolder folder;
  std::mt19937 random(11);
  for (int round = 0; round < 40; ++round) {
    std::vector<std::uint8_t> bytes(200 * 512);
    for (std::size_t at = 0; at < bytes.size(); at += 512) {
      const auto sector = std::span(bytes).subspan(at).first<kSectorBytes>();
      for (auto& b : sector) b = static_cast<std::uint8_t>(random());
      SectorHeader header;
      header.kind = static_cast<SectorKind>(1 + random() % 3);
      header.payload_bytes = static_cast<std::uint16_t>(random() % 481);
      header.log_id = static_cast<std::uint32_t>(random() % 3);
      header.boot_id = static_cast<std::uint32_t>(random() % 3);
      header.sequence = static_cast<std::uint32_t>(random() % 2 ? random() : random() % 9);
      header.ring_sectors = random() % 2 ? 32 : 0xFFFFFFE0u;
      seal_sector(sector, header);
    }
    const CardSurvey s = survey_of(folder, bytes);
    CHECK(s.sectors_good + s.sectors_older_log + s.sectors_copied == 200);
    const auto card = CardFile::open(folder.path() / "card.log");
    REQUIRE(card);
    const CardSectors sectors(*card, s);
    std::uint64_t seen = 0;
    for (const std::uint32_t id : sectors.log_ids())
      CHECK(sectors.for_each_sector(id, [&](const auto&, const auto&) { return ++seen != 0; }));
    CHECK(seen == s.places.size());
  }
}

TEST_CASE("card sectors: in order of sequence, ranges, and a card that changed") {
  const TempFolder folder;
  CardMaker card(0x77, 64);
  card.settings("Alder", kPrepared);
  for (std::uint32_t boot = 1; boot <= 9; ++boot) drive(card, boot, 130, kClockStart);
  const auto file = CardFile::open(folder.write("card.log", card.bytes()));
  REQUIRE(file);
  const CardSurvey s = survey_card(*file);
  const CardSectors sectors(*file, s);
  CHECK(sectors.log_ids() == std::vector<std::uint32_t>{0x77});
  std::vector<std::uint32_t> order;
  REQUIRE(sectors.for_each_sector(0x77, [&](const SectorHeader& h, const auto&) {
    order.push_back(h.kind == SectorKind::settings ? 0 : h.sequence);
    return true;
  }));
  CHECK(order.size() == s.sectors_good);
  CHECK(order[0] == 0);
  CHECK(std::is_sorted(order.begin(), order.end()));
  std::vector<std::uint32_t> part;
  const SequenceRange range{order[10], order[20]};
  REQUIRE(sectors.for_each_sector(0x77, range, [&](const SectorHeader& h, const auto&) {
    part.push_back(h.sequence);
    return true;
  }));
  CHECK(part == std::vector<std::uint32_t>(order.begin() + 10, order.begin() + 21));
  CHECK(sectors.for_each_sector(0x99, [](const auto&, const auto&) { return true; }));

  card.bytes()[card.offset_of(order[15]) + 40] ^= 1;
  seal_sector(std::span(card.bytes()).subspan(card.offset_of(order[15])).first<kSectorBytes>(),
              SectorHeader{.log_id = 0x77, .ring_sectors = 64});
  folder.write("card.log", card.bytes());
  const auto walked = sectors.for_each_sector(0x77, [](const auto&, const auto&) { return true; });
  REQUIRE_FALSE(walked);
  CHECK_FALSE(walked.error().hint.empty());
}
