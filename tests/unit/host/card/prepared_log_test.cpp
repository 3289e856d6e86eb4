#include "card/prepared_log.hpp"

#include <doctest/doctest.h>
#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <fstream>
#include <vector>

#include "card/card_file.hpp"
#include "card/card_survey.hpp"
#include "card/child_program.hpp"
#include "core/settings.hpp"
#include "packmile.pb.h"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::TempFolder;

namespace fs = std::filesystem;

namespace {

constexpr std::uint64_t kGib = 1024 * kSectorsPerMib;

LogIdentity linden() {
  LogIdentity identity;
  identity.log_id = 0xBADC0DE5;
  identity.van = "Linden \xC3\xA9";
  identity.prepared = UtcTime{std::chrono::milliseconds{1'780'000'000'123}};
  return identity;
}

class OpenFile {
 public:
  explicit OpenFile(const fs::path& path) : fd_(::open(path.c_str(), O_RDWR | O_CLOEXEC)) {
    REQUIRE(fd_ >= 0);
  }
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;
  ~OpenFile() { ::close(fd_); }
  [[nodiscard]] int fd() const { return fd_; }

 private:
  int fd_;
};

fs::path sparse(const TempFolder& folder, const char* name, std::uint64_t sectors) {
  const auto path = folder.write(name, {});
  fs::resize_file(path, sectors * kSectorBytes);
  return path;
}

// Not one complaint.
void check_with_fsck(const fs::path& card) {
  const auto run = run_program("fsck.vfat", {"-n", card.string()});
  REQUIRE(run);
  CHECK_MESSAGE(run->exit_status == 0, run->output);
  // Its name and version, and the count of files.
  CHECK_MESSAGE(std::count(run->output.begin(), run->output.end(), '\n') == 1, run->output);
}

}  // namespace

TEST_CASE("prepared log: the logger takes the settings sector, whole") {
  const auto sector = make_settings_sector(linden(), 64 * kSectorsPerMib);
  REQUIRE(sector);
  LoggerSettings settings;
  OwnersSignals owners;
  std::optional<SectorHeader> header;
  CHECK(read_settings_sector(*sector, settings, owners, header) == SettingsOutcome::taken);
  REQUIRE(header);
  CHECK(header->log_id == 0xBADC0DE5);
  CHECK(header->ring_sectors == 64 * 2048 - 32);
  CHECK(header->boot_id == 0);
  CHECK(header->sequence == 0);
  CHECK(std::string(settings.van.data(), settings.van_bytes) == "Linden \xC3\xA9");
  CHECK(settings.prepared_unix_ms == 1'780'000'000'123);
  CHECK_FALSE(settings.driving_period_ms);
  CHECK_FALSE(settings.charging_period_ms);
}

TEST_CASE("prepared log: a name or a log that no logger takes is refused") {
  LogIdentity identity = linden();
  identity.van = std::string(kMaxVanNameBytes, 'x');
  CHECK(make_settings_sector(identity, 64));
  CHECK_FALSE(make_settings_sector(identity, 63));
  identity.van += 'x';
  CHECK_FALSE(make_settings_sector(identity, 64));
}

namespace {

OwnersDefinition wide(char letter, std::uint32_t place) {
  return {.role = SignalRole::pack_temp,
          .name = "temperature_" + std::string(1, letter),
          .request_id = 0x7E4,
          .did = 0xF00D,
          .first_byte = static_cast<std::uint8_t>(place),
          .scale = 0.5,
          .offset = -40,
          .unit = "degC"};
}

}  // namespace

TEST_CASE("prepared log: the owner's signals stand in the settings, in their order") {
  LogIdentity identity = linden();
  identity.owners_signals = {wide('a', 1), wide('b', 2)};
  const auto sector = make_settings_sector(identity, 64);
  REQUIRE(sector);
  SectorHeader header;
  REQUIRE(read_sector(*sector, header) == SectorVerdict::good);
  const auto settings = read_settings(sector_payload(*sector, header));
  REQUIRE(settings);
  CHECK(settings->van == identity.van);
  CHECK(settings->owners_signals == identity.owners_signals);

  const TempFolder folder;
  const auto path = sparse(folder, "card.log", 64);
  {
    const OpenFile file(path);
    REQUIRE(write_settings(file.fd(), 0, *sector, "card.log"));
  }
  CHECK(verify_prepared(path, identity));
  const auto card = CardFile::open(path);
  REQUIRE(card);
  const CardSurvey survey = survey_card(*card);
  CHECK(survey.settings_dids == std::vector<std::uint16_t>{0xF00D});
  REQUIRE(survey.owners_signals.size() == 2);
  CHECK(survey.owners_signals[1].id == 1001);
  CHECK(survey.owners_signals[1].in_settings);
  CHECK_FALSE(survey.owners_signals[1].in_sessions);
  identity.owners_signals[1].scale = 1;
  CHECK_FALSE(verify_prepared(path, identity));
}

// No source: what is over is reckoned from the message itself.
TEST_CASE("prepared log: signals that do not fit are refused, with what to do") {
  LogIdentity identity = linden();
  identity.van = "Linden";
  char letter = 'a';
  while (true) {
    identity.owners_signals.push_back(wide(letter, static_cast<std::uint32_t>(letter - 'a')));
    ++letter;
    if (!make_settings_sector(identity, 64)) break;
    REQUIRE(letter < 'q');
  }
  Record record;
  Settings& settings = *record.mutable_settings();
  settings.set_van("Linden");
  settings.set_prepared_unix_ms(1'780'000'000'123);
  std::size_t bytes = 0;
  for (std::size_t k = 0; k < identity.owners_signals.size(); ++k) {
    OwnersSignal& signal = *settings.add_owners_signal();
    put_definition(identity.owners_signals[k], k, signal);
    bytes += signal.ByteSizeLong() + 2;
  }
  const std::size_t over = record.ByteSizeLong() - 480;
  const auto refused = make_settings_sector(identity, 64);
  CHECK(refused.error().what ==
        "the settings are " + std::to_string(over) + (over == 1 ? " byte" : " bytes") +
            " too long for their sector: " + std::to_string(identity.owners_signals.size()) +
            " owner's signals take " + std::to_string(bytes) + " bytes of 480");
  CHECK(refused.error().hint.find("leave a signal of this van out, or shorten names") !=
        std::string::npos);
  CHECK(refused.error().hint.find("the largest signal is 'temperature_b'") != std::string::npos);
  // As many letters less, and they fit: to the last byte.
  REQUIRE(over <= 13 * identity.owners_signals.size());
  std::size_t left = over;
  for (OwnersDefinition& d : identity.owners_signals) {
    CHECK_FALSE(make_settings_sector(identity, 64));
    const std::size_t cut = std::min<std::size_t>(left, 12);
    d.name.resize(d.name.size() - cut);
    left -= cut;
    if (left == 0) break;
  }
  CHECK(left == 0);
  CHECK(make_settings_sector(identity, 64));

  identity.owners_signals.assign(17, {.name = "x", .request_id = 0x7E0, .did = 1});
  CHECK(make_settings_sector(identity, 64).error().what ==
        "more than 16 owner's signals: there are 17");
}

TEST_CASE("prepared log: on every size of card the log begins on 4 MiB, in a FAT32 that all take") {
  for (std::uint64_t sectors = image_sectors_for(0); sectors < 512 * kGib;
       sectors += 1 + sectors / 37) {
    CAPTURE(sectors);
    const auto layout = plan_card(sectors, kSectorsPerMib);
    REQUIRE(layout);
    CHECK(layout->log_first_sector % 8192 == 0);
    CHECK(layout->reserved_sectors >= 32);
    CHECK(layout->reserved_sectors <= 0xFFFF);
    // Right behind the root directory, which is one cluster.
    CHECK(layout->reserved_sectors + 2 * layout->fat_sectors + layout->cluster_sectors ==
          layout->log_first_sector);
    const std::uint64_t clusters =
        (sectors - layout->log_first_sector) / layout->cluster_sectors + 1;
    CHECK(clusters >= 65'525);
    CHECK(clusters + 2 <= std::uint64_t{layout->fat_sectors} * 128);
    // The usual place, but where the tables alone are longer.
    if (sectors < 8 * kGib) CHECK(layout->log_first_sector == 8192);
    const std::uint32_t longest = longest_log_mib(sectors);
    CHECK(plan_card(sectors, longest * kSectorsPerMib));
    CHECK_FALSE(plan_card(sectors, (longest + 1) * kSectorsPerMib));
  }
  CHECK_FALSE(plan_card(0, 0));
  CHECK_FALSE(plan_card(8192, 2048));
  CHECK_FALSE(plan_card(8192 + 65'000, 2048));
  for (const std::uint32_t mib : {1u, 28u, 29u, 64u, 512u, 4095u})
    CHECK(plan_card(image_sectors_for(mib * kSectorsPerMib), mib * kSectorsPerMib));
}

TEST_CASE("prepared log: what mkfs.vfat makes is as planned, and the card reads back") {
  const TempFolder folder;
  // Cluster sizes 1, 2, 8 and 64, tables that fit into 4 MiB and that do not.
  for (const std::uint64_t mib : {40, 72, 520, 3'000, 32'000}) {
    CAPTURE(mib);
    const std::uint64_t sectors = mib * kSectorsPerMib + 77;
    const auto card = sparse(folder, "card.img", sectors);
    const auto layout = plan_card(sectors, 16 * kSectorsPerMib);
    REQUIRE(layout);
    const auto volume = make_file_system(card, *layout);
    REQUIRE(volume);
    const auto settings = make_settings_sector(linden(), layout->log_sectors);
    REQUIRE(settings);
    {
      const OpenFile file(card);
      REQUIRE(add_log_file(file.fd(), *volume, layout->log_first_sector, layout->log_sectors,
                           linden().prepared));
      CHECK_FALSE(verify_prepared(card, linden()));
      REQUIRE(write_settings(file.fd(), layout->log_first_sector, *settings, card.string()));
    }
    CHECK(verify_prepared(card, linden()));
    check_with_fsck(card);
    const auto opened = CardFile::open(card);
    REQUIRE(opened);
    CHECK(opened->kind() == CardKind::image);
    CHECK(opened->first_sector() == layout->log_first_sector);
    CHECK(opened->sectors() == layout->log_sectors);
    LogIdentity other = linden();
    other.log_id ^= 1;
    CHECK_FALSE(verify_prepared(card, other));
    const OpenFile file(card);
    const char stray = 'x';
    REQUIRE(::pwrite(file.fd(), &stray, 1,
                     static_cast<off_t>((layout->log_first_sector + 5'000) * kSectorBytes)) == 1);
    CHECK_FALSE(verify_prepared(card, linden()));
  }
}

TEST_CASE("prepared log: a log goes into any file system, but over no other file") {
  const TempFolder folder;
  struct Case {
    const char* cluster_sectors;
    std::uint64_t card_mib;
  };
  for (const Case& c : {Case{"1", 50}, Case{"8", 300}, Case{"64", 2'200}}) {
    CAPTURE(c.cluster_sectors);
    const auto card = sparse(folder, "any.img", c.card_mib * kSectorsPerMib);
    const auto made =
        run_program("mkfs.vfat", {"-F", "32", "-s", c.cluster_sectors, card.string()});
    REQUIRE(made);
    REQUIRE(made->exit_status == 0);
    const OpenFile file(card);
    const LogExtentSearch before = search_log_extent(file.fd(), c.card_mib * kSectorsPerMib);
    REQUIRE(before.outcome() == ExtentOutcome::no_log_file);
    const Fat32Volume& volume = before.volume();
    const std::uint64_t first = volume.sector_of(1'000);
    const std::uint64_t sectors = 3 * kSectorsPerMib + 1;
    CHECK_FALSE(add_log_file(file.fd(), volume, first, (c.card_mib + 1) * kSectorsPerMib, {}));
    if (volume.cluster_sectors > 1)
      CHECK_FALSE(add_log_file(file.fd(), volume, first + 1, sectors, {}));
    CHECK_FALSE(add_log_file(file.fd(), volume, volume.sector_of(2), sectors, {}));
    REQUIRE(add_log_file(file.fd(), volume, first, sectors, linden().prepared));
    CHECK_FALSE(add_log_file(file.fd(), volume, first, sectors, {}));
    const LogExtentSearch after = search_log_extent(file.fd(), c.card_mib * kSectorsPerMib);
    CHECK(after.outcome() == ExtentOutcome::found);
    CHECK(after.extent() ==
          LogExtent{static_cast<std::uint32_t>(first), static_cast<std::uint32_t>(sectors)});
    check_with_fsck(card);
  }
}

TEST_CASE("prepared log: what mkfs.vfat says is handed on") {
  const TempFolder folder;
  const auto layout = plan_card(100 * kSectorsPerMib, kSectorsPerMib);
  REQUIRE(layout);
  const auto made = make_file_system(folder.path() / "none.img", *layout);
  REQUIRE_FALSE(made);
  CHECK(made.error().what.find("No such file") != std::string::npos);
  const auto none = run_program("packmile-no-such-program", {});
  REQUIRE_FALSE(none);
  CHECK(none.error().hint.find("dosfstools") != std::string::npos);
}

TEST_CASE("child program: its output and how it ended") {
  const auto said = run_program("sh", {"-c", "echo out; echo err >&2; exit 7"});
  REQUIRE(said);
  CHECK(said->exit_status == 7);
  CHECK(said->output == "out\nerr");
  const auto killed = run_program("sh", {"-c", "kill -9 $$"});
  REQUIRE(killed);
  CHECK(killed->exit_status == 128 + 9);
  const auto endless = run_program("sh", {"-c", "head -c 1000000 /dev/zero"});
  REQUIRE(endless);
  CHECK(endless->exit_status == 0);
  CHECK(endless->output.size() == 4096);
}

TEST_CASE("card file: in an image the log alone is read, holes told from where it begins") {
  const TempFolder folder;
  const std::uint64_t sectors = 72 * kSectorsPerMib;
  const auto card = sparse(folder, "card.img", sectors);
  const auto layout = plan_card(sectors, 64 * kSectorsPerMib);
  REQUIRE(layout);
  const auto volume = make_file_system(card, *layout);
  REQUIRE(volume);
  // A sector of ours as the last of the log, and one behind it.
  test::CardMaker maker(7);
  maker.settings("Linden", 0);
  const auto last = layout->log_first_sector + layout->log_sectors - 1;
  {
    const OpenFile file(card);
    REQUIRE(add_log_file(file.fd(), *volume, layout->log_first_sector, layout->log_sectors, {}));
    for (const std::uint64_t at : {last, last + 1})
      REQUIRE(::pwrite(file.fd(), maker.bytes().data(), kSectorBytes,
                       static_cast<off_t>(at * kSectorBytes)) == kSectorBytes);
  }
  const auto opened = CardFile::open(card);
  REQUIRE(opened);
  std::uint64_t next = 0;
  CardFile::PieceVisitor visitor;
  visitor.hole = [&](std::uint64_t first, std::uint64_t count) {
    CHECK(first == next);
    next = first + count;
  };
  visitor.bytes = [&](std::uint64_t first, std::span<const std::uint8_t> piece) {
    CHECK(first == next);
    next = first + piece.size() / kSectorBytes;
  };
  visitor.unreadable = [](const UnreadableRun&) { FAIL("readable"); };
  opened->for_each_piece(visitor);
  CHECK(next == layout->log_sectors);
  SectorBytes sector{};
  CHECK(opened->read(layout->log_sectors - 1, sector) == kSectorBytes);
  CHECK(std::equal(sector.begin(), sector.end(), maker.bytes().begin()));
  CHECK(opened->read(layout->log_sectors, sector) == 0);
  CHECK(survey_card(*opened).places.size() == 1);
  const auto whole = CardFile::open_whole(card);
  REQUIRE(whole);
  CHECK(whole->sectors() == sectors);
  CHECK(survey_card(*whole).sectors_copied == 1);
}

TEST_CASE("prepared log: pieces of a file are seen, or said not to be") {
  const TempFolder folder;
  const auto path = folder.write("one", std::vector<std::uint8_t>(4096, 1));
  const OpenFile file(path);
  REQUIRE(::fsync(file.fd()) == 0);
  CHECK(look_at_pieces(file.fd(), 4096) != PieceVerdict::several);
  // A hole in front of data is no file in one piece.
  const auto holed = sparse(folder, "holed", 4096);
  const OpenFile with_hole(holed);
  REQUIRE(::pwrite(with_hole.fd(), "x", 1, 1'000'000) == 1);
  REQUIRE(::fsync(with_hole.fd()) == 0);
  CHECK(look_at_pieces(with_hole.fd(), 4096 * kSectorBytes) != PieceVerdict::one);
}
