#include "archive/unarchived.hpp"

#include <doctest/doctest.h>

#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::TempFolder;

namespace {

constexpr std::uint64_t kDayMs = 86'400'000;
constexpr std::uint64_t kMorningMs = 1'767'592'800'000;  // 2026-01-05T06:00:00Z

// A boot on each of three days, with a clock, 9 s of samples after a minute.
test::CardMaker three_days() {
  test::CardMaker maker(0x20260105);
  maker.settings("Linden", kMorningMs - kDayMs);
  for (std::uint32_t day = 0; day < 3; ++day) {
    maker.boot(0xB007 + day);
    test::SessionText session;
    session.clock = ClockSample{.source = 2,
                                .unix_ms = kMorningMs + day * kDayMs,
                                .tick_ms = 1'000,
                                .resolution_ms = 1'000};
    maker.session(1'000, session);
    for (Tick tick = 61'000; tick < 70'000; tick += 200)
      maker.response(tick, test::pack_key(200), {6, 0, 22'400, 250, 50});
    maker.close();
  }
  return maker;
}

struct Look {
  CardSurvey survey;
  Unarchived unarchived;
};

Look look(const std::filesystem::path& path, const Archive* archive, const LogExtent& log = {}) {
  const auto card = CardFile::open(path);
  REQUIRE(card);
  Look out;
  out.survey = survey_card(*card);
  const auto found = find_unarchived(*card, out.survey, archive, log);
  REQUIRE(found);
  out.unarchived = *found;
  return out;
}

UtcTime at(std::uint64_t unix_ms) {
  return UtcTime{std::chrono::milliseconds{static_cast<std::int64_t>(unix_ms)}};
}

}  // namespace

TEST_CASE(
    "unarchived: without an archive everything is missing, from its first to its last moment") {
  const TempFolder folder;
  const auto maker = three_days();
  const auto path = folder.write("card.log", test::CardMaker(maker).bytes());
  const Look all = look(path, nullptr);
  // Three session records and three sectors of samples; the settings are not
  // counted.
  CHECK(all.unarchived.good == 6);
  CHECK(all.unarchived.missing == 6);
  CHECK(all.unarchived.missing_elsewhere == 0);
  REQUIRE(all.unarchived.first);
  CHECK(*all.unarchived.first == at(kMorningMs));
  CHECK(*all.unarchived.last == at(kMorningMs + 2 * kDayMs + 60'000));
}

TEST_CASE("unarchived: what the archive lacks is counted, and told from when it is") {
  const TempFolder folder;
  auto maker = three_days();
  const auto path = folder.write("card.log", maker.bytes());
  auto archive = Archive::open(folder.path() / "archive");
  REQUIRE(archive);
  const auto card = CardFile::open(path);
  REQUIRE(card);
  // All but the second day.
  {
    auto import = archive->begin_import();
    REQUIRE(import);
    (void)survey_card(*card, [&](const SectorHeader& header, const auto& sector) {
      if (header.boot_id != 0xB008) import->add(header, sector);
    });
    REQUIRE(import->commit());
  }
  const Look one_day = look(path, &*archive);
  CHECK(one_day.unarchived.good == 6);
  CHECK(one_day.unarchived.missing == 2);
  CHECK(*one_day.unarchived.first == at(kMorningMs + kDayMs));
  CHECK(*one_day.unarchived.last == at(kMorningMs + kDayMs + 60'000));
  // Both lie outside a log that ends with the first day.
  CHECK(look(path, &*archive, LogExtent{0, 32 + 32}).unarchived.missing_elsewhere == 2);
  CHECK(look(path, &*archive, LogExtent{0, 32 + 96}).unarchived.missing_elsewhere == 0);
  {
    auto import = archive->begin_import();
    REQUIRE(import);
    (void)survey_card(*card, [&](const SectorHeader& header, const auto& sector) {
      import->add(header, sector);
    });
    REQUIRE(import->commit());
  }
  const Look none = look(path, &*archive);
  CHECK(none.unarchived.good == 6);
  CHECK(none.unarchived.missing == 0);
  CHECK_FALSE(none.unarchived.first);
  // The same key with other bytes is another sector.
  const std::size_t sector = maker.offset_of(33);
  auto bytes = maker.bytes();
  SectorHeader header;
  const auto changed = std::span(bytes).subspan(sector).first<kSectorBytes>();
  REQUIRE(read_sector(changed, header) == SectorVerdict::good);
  changed[kSectorHeaderBytes + 3] ^= 1;
  seal_sector(changed, header);
  CHECK(look(folder.write("changed.log", bytes), &*archive).unarchived.missing == 1);
}

TEST_CASE("unarchived: a card on which nothing is yet has nothing to lose") {
  const TempFolder folder;
  test::CardMaker maker(9);
  maker.settings("Linden", kMorningMs);
  const Look fresh = look(folder.write("card.log", maker.bytes()), nullptr);
  CHECK(fresh.survey.sectors_good == 1);
  CHECK(fresh.unarchived.good == 0);
  CHECK(fresh.unarchived.missing == 0);
}
