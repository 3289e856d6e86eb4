#include "timeline/van_history.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "card/card_survey.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::CardMaker;
using test::SessionText;
using test::TempFolder;

namespace {

constexpr std::uint64_t kHistoryPrepared = 1'767'000'000'000;
constexpr std::uint64_t kHistoryMonday = 1'767'600'000'000;
constexpr char kOtherVin[] = "11111111111111111";  // check digit right: 49 CFR 565

void drive(CardMaker& card, std::uint32_t boot_id, const std::string& vin, std::uint64_t unix_ms,
           int seconds = 60) {
  card.boot(boot_id);
  SessionText text;
  text.vin = vin;
  text.calibration_id = "CAL-1";
  if (unix_ms != 0) text.clock = ClockSample{kClockRtc, unix_ms, 0, 1'000};
  card.session(1, text);
  for (int i = 0; i < seconds * 5; ++i) {
    const Tick tick = 1'000 + static_cast<Tick>(i) * 200;
    card.response(tick, test::pack_key(200),
                  {6, 0, 20'000 + 100 * boot_id + static_cast<std::uint32_t>(i % 70),
                   static_cast<std::uint32_t>(i % 300), static_cast<std::uint32_t>(i % 50)});
    if (i % 5 == 0) card.response(tick + 20, test::soc_key(1'000), {180, 14'000});
  }
  card.close();
}

void import_card(Archive& archive, const TempFolder& folder, std::span<const std::uint8_t> bytes) {
  const auto file = CardFile::open(folder.write("card.log", bytes));
  REQUIRE(file);
  auto import = archive.begin_import();
  REQUIRE(import);
  (void)survey_card(*file, [&](const SectorHeader& h, const auto& s) { import->add(h, s); });
  REQUIRE(import->commit());
}

Archive archive_in(const TempFolder& folder) {
  auto archive = Archive::open(folder.path() / "archive");
  REQUIRE(archive);
  return std::move(*archive);
}

std::vector<VanHistory> open(const SectorSource& source) {
  auto vans = VanHistory::open(source);
  REQUIRE(vans);
  return std::move(*vans);
}

// Everything that an episode says, as text.
std::string story(const std::vector<VanHistory>& vans) {
  std::string text;
  for (const VanHistory& van : vans) {
    text += van.key().vin + "|" + van.key().name + "\n";
    REQUIRE(van.for_each_episode([&](const Episode& e) {
      std::uint64_t sum = 0;
      for (std::size_t i = 0; i < e.pack.time_ms.size(); ++i)
        sum = sum * 31 + static_cast<std::uint64_t>(e.pack.time_ms[i]) + e.pack.v_raw[i] * 7u +
              e.pack.a_raw[i] * 3u + e.pack.period_ms[i];
      for (std::size_t i = 0; i < e.speed.raw.size(); ++i)
        sum = sum * 31 + static_cast<std::uint64_t>(e.speed.time_ms[i]) + e.speed.raw[i];
      text += std::to_string(e.start.time_since_epoch().count()) + " " +
              std::to_string(e.end.time_since_epoch().count()) + " " +
              std::to_string(e.pack.v_raw.size()) + " " + std::to_string(e.soc.raw.size()) + " " +
              std::to_string(e.log_id) + " " + std::to_string(e.boot_id) + " " +
              std::to_string(sum) + "\n";
      return true;
    }));
  }
  return text;
}

bool has(const VanHistory& van, Finding finding) {
  return std::find(van.findings().begin(), van.findings().end(), finding) != van.findings().end();
}

}  // namespace

TEST_CASE("history: every sample of a card comes out once, on the UTC clock") {
  const TempFolder folder;
  CardMaker card(7, 256);
  card.settings("Alder", kHistoryPrepared);
  drive(card, 1, test::kVin, kHistoryMonday, 100);
  drive(card, 2, test::kVin, kHistoryMonday + 3'600'000, 50);
  Archive archive = archive_in(folder);
  import_card(archive, folder, card.bytes());
  const auto vans = open(archive);
  REQUIRE(vans.size() == 1);
  CHECK(vans[0].key() == VanKey{test::kVin, "Alder"});
  CHECK(vans[0].findings().empty());
  REQUIRE(vans[0].boots().size() == 2);
  std::vector<Episode> episodes;
  REQUIRE(vans[0].for_each_episode([&](const Episode& e) {
    episodes.push_back(e);
    return true;
  }));
  REQUIRE(episodes.size() == 2);
  const Episode& e = episodes[0];
  CHECK(e.start == UtcTime{std::chrono::milliseconds(kHistoryMonday + 1'000)});
  CHECK(e.end == UtcTime{std::chrono::milliseconds(kHistoryMonday + 1'000 + 99'800)});
  REQUIRE(e.pack.v_raw.size() == 500);
  CHECK(e.pack.calibration_id == "CAL-1");
  CHECK(e.speed.raw.size() == 500);
  CHECK(e.soc.raw.size() == 100);
  CHECK(e.module_v.raw.size() == 100);
  for (std::size_t i = 0; i < 500; ++i) {
    REQUIRE(e.pack.time_ms[i] == static_cast<std::int64_t>(kHistoryMonday + 1'000 + i * 200));
    REQUIRE(e.pack.v_raw[i] == 20'100 + i % 70);
    REQUIRE(e.pack.a_raw[i] == i % 300);
    REQUIRE(e.speed.raw[i] == i % 50);
  }
  CHECK(episodes[1].pack.v_raw.size() == 250);
  CHECK(episodes[1].boot_id == 2);

  // A card that no archive has is read the same way.
  const auto file = CardFile::open(folder.path() / "card.log");
  REQUIRE(file);
  const CardSurvey survey = survey_card(*file);
  const CardSectors sectors(*file, survey);
  CHECK(story(open(sectors)) == story(vans));
}

TEST_CASE("history: vans by VIN, by van tag, by card, by name, by log") {
  const TempFolder folder;
  Archive archive = archive_in(folder);
  // VIN read in one of two boots: the other belongs to it.
  CardMaker alder(0x10, 256);
  alder.settings("Alder", kHistoryPrepared);
  drive(alder, 1, "", kHistoryMonday);
  drive(alder, 2, test::kVin, kHistoryMonday + 3'600'000);
  import_card(archive, folder, alder.bytes());
  // Another card, VIN never read, but its sectors carry the tag.
  CardMaker tagged(0x20, 256);
  tagged.van_tag(van_tag_of(std::string_view(test::kVin)));
  drive(tagged, 3, "", kHistoryMonday + 7'200'000);
  import_card(archive, folder, tagged.bytes());
  // A third that only has the name.
  CardMaker named(0x30, 256);
  named.settings("Alder", kHistoryPrepared);
  drive(named, 4, "", kHistoryMonday + 10'800'000);
  import_card(archive, folder, named.bytes());
  // A name of its own, a card of two vans, and one of which nothing is known.
  CardMaker birch(0x40, 256);
  birch.settings("Birch", kHistoryPrepared);
  drive(birch, 5, "", kHistoryMonday);
  import_card(archive, folder, birch.bytes());
  CardMaker moved(0x50, 256);
  drive(moved, 6, test::kVin, kHistoryMonday + 20'000'000);
  drive(moved, 7, kOtherVin, kHistoryMonday + 30'000'000);
  drive(moved, 8, "", kHistoryMonday + 40'000'000);
  import_card(archive, folder, moved.bytes());

  std::map<std::string, std::vector<std::uint32_t>> boots;
  for (const VanHistory& van : open(archive))
    for (const Boot& boot : van.boots())
      boots[van.key().vin + "|" + van.key().name].push_back(boot.boot_id);
  CHECK(boots.size() == 4);
  CHECK(boots[std::string(test::kVin) + "|Alder"] == std::vector<std::uint32_t>{1, 2, 3, 4, 6});
  CHECK(boots[std::string(kOtherVin) + "|"] == std::vector<std::uint32_t>{7});
  CHECK(boots["|Birch"] == std::vector<std::uint32_t>{5});
  CHECK(boots["|log-00000050"] == std::vector<std::uint32_t>{8});
}

TEST_CASE("history: the order of imports and overlapping copies change nothing") {
  std::vector<std::vector<std::uint8_t>> cards;
  for (std::uint32_t k = 0; k < 3; ++k) {
    CardMaker card(0x100 + k, 256);
    card.settings(k == 2 ? "Birch" : "Alder", kHistoryPrepared + k);
    for (std::uint32_t b = 0; b < 3; ++b) {
      drive(card, 10 * k + b, k == 1 && b == 0 ? "" : (k == 2 ? kOtherVin : test::kVin),
            b == 1 ? 0 : kHistoryMonday + k * 90'000'000 + b * 3'600'000);
      // An earlier copy of the same card.
      if (b == 1) cards.push_back(card.bytes());
    }
    cards.push_back(card.bytes());
  }
  std::string expected;
  std::mt19937 random(2);
  for (int round = 0; round < 6; ++round) {
    const TempFolder folder;
    Archive archive = archive_in(folder);
    for (const auto& card : cards) import_card(archive, folder, card);
    const std::string text = story(open(archive));
    if (round == 0) {
      expected = text;
      CHECK(std::count(text.begin(), text.end(), '\n') > 9);
    }
    CHECK(text == expected);
    // And as another program sees it.
    CHECK(story(open(archive_in(folder))) == expected);
    std::shuffle(cards.begin(), cards.end(), random);
  }
}

TEST_CASE("history: two cards of one van alternate, time goes on across them") {
  const TempFolder folder;
  Archive archive = archive_in(folder);
  CardMaker odd(1, 256), even(2, 256);
  for (std::uint32_t i = 0; i < 6; ++i)
    drive(i % 2 == 0 ? even : odd, 50 + i, test::kVin, kHistoryMonday + i * 7'200'000);
  import_card(archive, folder, odd.bytes());
  import_card(archive, folder, even.bytes());
  const auto vans = open(archive);
  REQUIRE(vans.size() == 1);
  std::vector<std::uint32_t> order;
  REQUIRE(vans[0].for_each_episode([&](const Episode& e) {
    order.push_back(e.boot_id);
    CHECK(e.pack.v_raw.size() == 300);
    return true;
  }));
  CHECK(order == std::vector<std::uint32_t>{50, 51, 52, 53, 54, 55});
  CHECK_FALSE(has(vans[0], Finding::time_overlap));
}

TEST_CASE("history: a copy of a card that was continued twice keeps both boots") {
  const TempFolder folder;
  Archive archive = archive_in(folder);
  CardMaker card(1, 256);
  drive(card, 1, test::kVin, kHistoryMonday);
  CardMaker copy = card;
  drive(card, 2, test::kVin, kHistoryMonday + 7'200'000);
  drive(copy, 3, test::kVin, kHistoryMonday + 14'400'000);
  import_card(archive, folder, card.bytes());
  import_card(archive, folder, copy.bytes());
  const auto vans = open(archive);
  REQUIRE(vans.size() == 1);
  std::size_t rows = 0;
  std::size_t episodes = 0;
  REQUIRE(vans[0].for_each_episode([&](const Episode& e) {
    rows += e.pack.v_raw.size();
    ++episodes;
    // Their sectors lie between each other's, under the same sequence numbers.
    CHECK(e.pack.v_raw[0] == 20'000 + 100 * e.boot_id);
    return true;
  }));
  CHECK(episodes == 3);
  CHECK(rows == 900);
}

// Side by side on the same numbers, the order says nothing about the time.
TEST_CASE("history: a copy of a card that was continued twice keeps both clocks") {
  for (const std::int64_t first_ms : {7'200'000, 14'400'000}) {
    CAPTURE(first_ms);
    const TempFolder folder;
    Archive archive = archive_in(folder);
    CardMaker card(1, 256);
    drive(card, 1, test::kVin, kHistoryMonday);
    CardMaker copy = card;
    drive(card, 2, test::kVin, kHistoryMonday + first_ms);
    drive(copy, 3, test::kVin, kHistoryMonday + 21'600'000 - first_ms);
    import_card(archive, folder, card.bytes());
    import_card(archive, folder, copy.bytes());
    const auto vans = open(archive);
    REQUIRE(vans.size() == 1);
    REQUIRE(vans[0].for_each_episode([&](const Episode& e) {
      CHECK_FALSE(e.clock_guessed);
      return true;
    }));
  }
}

TEST_CASE("history: records under a right checksum that break the format are a finding") {
  const TempFolder folder;
  Archive archive = archive_in(folder);
  CardMaker card(1, 256);
  drive(card, 1, test::kVin, kHistoryMonday);
  // Malformed only in a column: times and signals can be read.
  const std::vector<std::uint8_t> payload{0x12, 0x0B, 0x08, 0xE8, 0x0F, 0x12, 0x01,
                                          0x05, 0x22, 0x02, 0x00, 0x00, 0x2A};
  std::vector<std::uint8_t> bad = payload;
  bad[1] = 0x0D;
  bad.insert(bad.end(), {0x01, 0x02});
  card.sector(SectorKind::data, bad);
  import_card(archive, folder, card.bytes());
  const auto vans = open(archive);
  REQUIRE(vans.size() == 1);
  std::size_t rows = 0;
  REQUIRE(vans[0].for_each_episode([&](const Episode& e) {
    rows += e.pack.v_raw.size();
    return true;
  }));
  CHECK(rows == 300);
  CHECK(has(vans[0], Finding::record_malformed));
}

TEST_CASE("history: forged sectors in any number are survived") {
  std::mt19937 random(8);
  for (int round = 0; round < 15; ++round) {
    const TempFolder folder;
    Archive archive = archive_in(folder);
    CardMaker card(1, 512);
    drive(card, 1, test::kVin, kHistoryMonday, 30);
    for (int i = 0; i < 300; ++i) {
      if (i % 7 == 0) card.boot(static_cast<std::uint32_t>(random() % 5));
      std::vector<std::uint8_t> payload(random() % 481);
      for (auto& b : payload) b = static_cast<std::uint8_t>(random());
      // Begins like a record, so that some of it is believed.
      const std::uint8_t start[] = {0x08, 0x10, 0x12, 0x20, 0x08, 0xE8, 0x0F, 0x12, 0x01, 0x05};
      std::copy_n(start, std::min(payload.size(), sizeof start), payload.begin());
      card.sector(static_cast<SectorKind>(1 + random() % 3), payload);
    }
    import_card(archive, folder, card.bytes());
    for (const VanHistory& van : open(archive))
      CHECK(van.for_each_episode([](const Episode& e) { return e.start <= e.end; }));
  }
}
