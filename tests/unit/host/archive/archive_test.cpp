#include "archive/archive.hpp"

#include <doctest/doctest.h>
#include <sys/resource.h>

#include <algorithm>
#include <csignal>
#include <fstream>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "card/crc.hpp"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::TempFolder;

namespace fs = std::filesystem;

namespace {

struct Sector {
  SectorHeader header;
  SectorBytes bytes;
};

Sector make(std::uint32_t log_id, std::uint32_t boot_id, std::uint32_t sequence,
            std::uint32_t van_tag = 0, std::uint8_t content = 0,
            SectorKind kind = SectorKind::data) {
  Sector sector{};
  sector.header.kind = kind;
  sector.header.log_id = log_id;
  sector.header.boot_id = boot_id;
  sector.header.sequence = sequence;
  sector.header.ring_sectors = 1u << 20;
  sector.header.van_tag = van_tag;
  sector.header.payload_bytes = 1;
  sector.bytes[kSectorHeaderBytes] = content;
  seal_sector(sector.bytes, sector.header);
  return sector;
}

Archive open_at(const fs::path& path) {
  auto archive = Archive::open(path);
  REQUIRE(archive);
  return std::move(*archive);
}

Result<ArchiveAdded> import_all(Archive& archive, const std::vector<Sector>& sectors) {
  auto import = archive.begin_import();
  REQUIRE(import);
  for (const Sector& s : sectors) import->add(s.header, s.bytes);
  return import->commit();
}

std::string walk(const Archive& archive, std::uint32_t log_id, SequenceRange range = {}) {
  std::string text;
  REQUIRE(archive.for_each_sector(log_id, range, [&](const SectorHeader& h, const auto& bytes) {
    text += std::to_string(h.sequence) + "/" + std::to_string(h.boot_id) + "/" +
            std::to_string(bytes[kSectorHeaderBytes]) + " ";
    return true;
  }));
  return text;
}

std::map<std::string, std::string> files_of(const fs::path& folder) {
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    std::ifstream in(entry.path(), std::ios::binary);
    files[fs::relative(entry.path(), folder).string()] =
        std::string(std::istreambuf_iterator<char>(in), {});
  }
  return files;
}

}  // namespace

TEST_CASE("archive: sectors lie by log and van, whole, one behind the other") {
  const TempFolder folder;
  Archive archive = open_at(folder.path() / "archive");
  const auto added = import_all(archive, {make(0xAB, 1, 5), make(0xAB, 1, 6, 0xC0FFEE),
                                          make(0xAB, 1, 7, 0xC0FFEE), make(0x1CD, 2, 5)});
  REQUIRE(added);
  CHECK(added->added == 4);
  CHECK(added->known == 0);
  CHECK(added->conflicts == 0);
  CHECK(archive.log_ids() == std::vector<std::uint32_t>{0xAB, 0x1CD});
  CHECK(fs::file_size(folder.path() / "archive/log-000000AB/van-00000000.sectors") == 512);
  CHECK(fs::file_size(folder.path() / "archive/log-000000AB/van-00C0FFEE.sectors") == 1'024);
  CHECK(fs::file_size(folder.path() / "archive/log-000001CD/van-00000000.sectors") == 512);
  CHECK(walk(archive, 0xAB) == "5/1/0 6/1/0 7/1/0 ");
  CHECK(walk(archive, 0xFF) == "");
}

TEST_CASE("archive: importing again changes no byte, also from another program") {
  const TempFolder folder;
  std::vector<Sector> sectors;
  for (std::uint32_t i = 0; i < 3'000; ++i) sectors.push_back(make(9, 1 + i / 500, i, i % 2));
  {
    Archive archive = open_at(folder.path());
    REQUIRE(import_all(archive, sectors));
    const auto before = files_of(folder.path());
    const auto again = import_all(archive, sectors);
    REQUIRE(again);
    CHECK(again->added == 0);
    CHECK(again->known == 3'000);
    CHECK(files_of(folder.path()) == before);
  }
  Archive archive = open_at(folder.path());
  const auto again = import_all(archive, sectors);
  REQUIRE(again);
  CHECK(again->known == 3'000);
  CHECK(walk(archive, 9).size() > 3'000 * 6);
}

TEST_CASE("archive: any order and any overlap of cards reads the same") {
  std::vector<Sector> sectors;
  for (std::uint32_t i = 0; i < 400; ++i) sectors.push_back(make(9, 1 + i / 64, i, i % 3));
  sectors.push_back(make(9, 3, 130, 0, 77));  // the same key with other bytes
  sectors.push_back(make(9, 0, 0, 0, 1, SectorKind::settings));
  sectors.push_back(make(9, 0, 0, 0, 2, SectorKind::settings));
  const TempFolder plain;
  Archive reference = open_at(plain.path());
  const auto added = import_all(reference, sectors);
  REQUIRE(added);
  CHECK(added->conflicts == 1);
  const std::string expected = walk(reference, 9);
  std::mt19937 random(4);
  for (int round = 0; round < 10; ++round) {
    const TempFolder folder;
    std::shuffle(sectors.begin(), sectors.end(), random);
    const std::size_t third = sectors.size() / 3;
    std::vector<Sector> first(sectors.begin(), sectors.begin() + static_cast<long>(2 * third));
    std::vector<Sector> second(sectors.begin() + static_cast<long>(third), sectors.end());
    {
      Archive archive = open_at(folder.path());
      REQUIRE(import_all(archive, first));
      REQUIRE(import_all(archive, second));
      CHECK(walk(archive, 9) == expected);
    }
    CHECK(walk(open_at(folder.path()), 9) == expected);
  }
}

TEST_CASE("archive: ranges of the sequence, settings only at the front") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  std::vector<Sector> sectors{make(9, 0, 0, 0, 1, SectorKind::settings)};
  for (std::uint32_t i = 0; i < 2'000; ++i) sectors.push_back(make(9, 1, i, i < 700 ? 0 : 5));
  REQUIRE(import_all(archive, sectors));
  CHECK(walk(archive, 9, {698, 701}) == "698/1/0 699/1/0 700/1/0 701/1/0 ");
  CHECK(walk(archive, 9, {0, 1}) == "0/0/1 0/1/0 1/1/0 ");
  CHECK(walk(archive, 9, {1'999, 0xFFFFFFFF}) == "1999/1/0 ");
  CHECK(walk(archive, 9, {5'000, 6'000}) == "");
  CHECK(walk(archive, 9, {6, 5}) == "");
}

TEST_CASE("archive: it knows what it holds") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  REQUIRE(import_all(archive, {make(9, 1, 5)}));
  const auto holds = [&](const Sector& s) { return *archive.holds(s.header, s.bytes); };
  CHECK(holds(make(9, 1, 5)));
  CHECK_FALSE(holds(make(9, 1, 6)));
  CHECK_FALSE(holds(make(9, 1, 5, 0, 1)));
  CHECK_FALSE(holds(make(8, 1, 5)));
}

TEST_CASE("archive: a part of a sector at the end is cut back by the next import") {
  const TempFolder folder;
  const auto file = folder.path() / "log-00000009/van-00000000.sectors";
  {
    Archive archive = open_at(folder.path());
    REQUIRE(import_all(archive, {make(9, 1, 0), make(9, 1, 1)}));
  }
  for (const std::uintmax_t length : {512u + 1u, 512u + 511u, 1'023u}) {
    fs::resize_file(file, length);
    Archive archive = open_at(folder.path());
    CHECK(walk(archive, 9) == "0/1/0 ");
    const auto added = import_all(archive, {make(9, 1, 0), make(9, 1, 1)});
    REQUIRE(added);
    CHECK(added->added == 1);
    CHECK(fs::file_size(file) == 1'024);
    CHECK(walk(archive, 9) == "0/1/0 1/1/0 ");
  }
}

TEST_CASE("archive: a sector that rotted is not read, is counted, and can be had again") {
  const TempFolder folder;
  const auto file = folder.path() / "log-00000009/van-00000000.sectors";
  {
    Archive archive = open_at(folder.path());
    REQUIRE(import_all(archive, {make(9, 1, 0), make(9, 1, 1), make(9, 1, 2)}));
  }
  std::fstream out(file, std::ios::in | std::ios::out | std::ios::binary);
  out.seekp(512 + 77);
  out.put('\x55');
  out.close();
  Archive archive = open_at(folder.path());
  CHECK(walk(archive, 9) == "0/1/0 2/1/0 ");
  CHECK(*archive.damaged_sectors(9) == 1);
  REQUIRE(import_all(archive, {make(9, 1, 1)}));
  CHECK(walk(archive, 9) == "0/1/0 1/1/0 2/1/0 ");
}

TEST_CASE("archive: an import that is dropped leaves no trace") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  REQUIRE(import_all(archive, {make(9, 1, 0)}));
  const auto before = files_of(folder.path());
  {
    auto import = archive.begin_import();
    REQUIRE(import);
    for (std::uint32_t i = 0; i < 5'000; ++i) {
      const Sector s = make(9, 1, i);
      import->add(s.header, s.bytes);
      const Sector other = make(10, 1, i);
      import->add(other.header, other.bytes);
    }
  }
  CHECK(files_of(folder.path()) == before);
  CHECK(archive.log_ids() == std::vector<std::uint32_t>{9});
  CHECK(walk(archive, 9) == "0/1/0 ");
}

TEST_CASE("archive: one import at a time") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  Archive other = open_at(folder.path());
  {
    auto import = archive.begin_import();
    REQUIRE(import);
    const auto second = other.begin_import();
    REQUIRE_FALSE(second);
    CHECK(second.error().what == "another import is writing this archive");
    CHECK_FALSE(second.error().hint.empty());
    REQUIRE(import->commit());
    CHECK(other.begin_import());
  }
  // What another program added since is seen.
  REQUIRE(import_all(other, {make(9, 1, 0)}));
  const auto added = import_all(archive, {make(9, 1, 0)});
  REQUIRE(added);
  CHECK(added->known == 1);
}

// A limit on file size stands for a full disk: the same short write and error.
TEST_CASE("archive: a disk that is full changes nothing and says so") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  std::vector<Sector> sectors;
  for (std::uint32_t i = 0; i < 100; ++i) sectors.push_back(make(9, 1, i));
  REQUIRE(import_all(archive, sectors));
  const auto before = files_of(folder.path());
  for (std::uint32_t i = 100; i < 9'000; ++i) sectors.push_back(make(9, 1, i));
  for (std::uint32_t i = 0; i < 100; ++i) sectors.push_back(make(10, 1, i));

  rlimit limit{};
  REQUIRE(::getrlimit(RLIMIT_FSIZE, &limit) == 0);
  const auto usual = std::signal(SIGXFSZ, SIG_IGN);
  // In mid sector, so that a part of one is written.
  const rlimit small{3'000'077, limit.rlim_max};
  REQUIRE(::setrlimit(RLIMIT_FSIZE, &small) == 0);
  const auto added = import_all(archive, sectors);
  REQUIRE(::setrlimit(RLIMIT_FSIZE, &limit) == 0);
  std::signal(SIGXFSZ, usual);

  REQUIRE_FALSE(added);
  CHECK(added.error().what == "cannot write: File too large");
  CHECK(files_of(folder.path()) == before);
  CHECK(archive.log_ids() == std::vector<std::uint32_t>{9});
  const auto again = import_all(archive, sectors);
  REQUIRE(again);
  CHECK(again->added == 9'000);
}

TEST_CASE("archive: a forged card with endless logs is refused, nothing is taken") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  std::vector<Sector> sectors;
  for (std::uint32_t i = 0; i < 400; ++i) sectors.push_back(make(i, 1, 0));
  CHECK_FALSE(import_all(archive, sectors));
  CHECK(archive.log_ids().empty());
}

TEST_CASE("archive: a folder that cannot be made or written is an error") {
  const TempFolder folder;
  folder.write("file", std::vector<std::uint8_t>(3));
  CHECK_FALSE(Archive::open(folder.path() / "file"));
  CHECK_FALSE(Archive::open(folder.path() / "file" / "below"));
  // The place of a log is taken by a file.
  Archive archive = open_at(folder.path() / "archive");
  std::ofstream(folder.path() / "archive" / "log-00000009") << "no folder";
  const auto added = import_all(archive, {make(9, 1, 0)});
  REQUIRE_FALSE(added);
  CHECK_FALSE(added.error().where.empty());
}

TEST_CASE("archive: names that are not its own are left alone") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  REQUIRE(import_all(archive, {make(9, 1, 0)}));
  for (const char* name : {"log-0000000", "log-0000000g", "LOG-00000009", "log-00000009x"})
    fs::create_directory(folder.path() / name);
  std::ofstream(folder.path() / "log-00000009" / "van-0000.sectors") << std::string(512, 'x');
  std::ofstream(folder.path() / "log-00000009" / "notes.txt") << "hello";
  const Archive again = open_at(folder.path());
  CHECK(again.log_ids() == std::vector<std::uint32_t>{9});
  CHECK(walk(again, 9) == "0/1/0 ");
}

TEST_CASE("archive: what an interrupted import left does not count, and goes with the next one") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  REQUIRE(import_all(archive, {make(9, 1, 0), make(9, 1, 1)}));
  const auto before = files_of(folder.path());
  // As a program leaves it that is killed in mid import.
  REQUIRE(write_undo(folder.path(), archive.committed()));
  {
    std::ofstream old_file(folder.path() / "log-00000009/van-00000000.sectors",
                           std::ios::binary | std::ios::app);
    const Sector half = make(9, 1, 2);
    old_file.write(reinterpret_cast<const char*>(half.bytes.data()), 512);
    old_file.write(reinterpret_cast<const char*>(half.bytes.data()), 100);
  }
  fs::create_directory(folder.path() / "log-0000000A");
  std::ofstream(folder.path() / "log-0000000A/van-00000000.sectors") << std::string(512, 'x');
  std::ofstream(folder.path() / "pulled.csv") << "log-00000009,2026-01-01T00:00:00Z\n";
  {
    const Archive reader = open_at(folder.path());
    CHECK(walk(reader, 9) == "0/1/0 1/1/0 ");
    CHECK(reader.log_ids() == std::vector<std::uint32_t>{9});
    CHECK(reader.text("pulled.csv").value().empty());
  }
  SUBCASE("one that adds nothing") {
    Archive other = open_at(folder.path());
    REQUIRE(import_all(other, {make(9, 1, 1)}));
    CHECK(files_of(folder.path()) == before);
    CHECK_FALSE(fs::exists(folder.path() / "log-0000000A"));
  }
  SUBCASE("one that adds something") {
    Archive other = open_at(folder.path());
    REQUIRE(import_all(other, {make(9, 1, 3)}));
    CHECK(walk(other, 9) == "0/1/0 1/1/0 3/1/0 ");
    CHECK(walk(open_at(folder.path()), 9) == "0/1/0 1/1/0 3/1/0 ");
    CHECK_FALSE(fs::exists(folder.path() / kUndoFileName));
  }
}

TEST_CASE("archive: an undo file that is none is an error that says what to do") {
  for (const char* text : {"", "packmile archive undo 1\n", "packmile archive undo 2\nend\n",
                           "packmile archive undo 1\n12\nend\n", "packmile archive undo 1\nend",
                           "packmile archive undo 1\nx log-00000009/van-00000000.sectors\nend\n"}) {
    CAPTURE(text);
    const TempFolder folder;
    std::ofstream(folder.path() / kUndoFileName) << text;
    const auto archive = Archive::open(folder.path());
    REQUIRE_FALSE(archive);
    CHECK(archive.error().what == "is no undo file of an import");
    CHECK_FALSE(archive.error().hint.empty());
  }
}

TEST_CASE("archive: lines of text count with the sectors of their import") {
  const TempFolder folder;
  Archive archive = open_at(folder.path());
  {
    auto import = archive.begin_import();
    REQUIRE(import);
    import->add_line("pulled.csv", "dropped");
  }
  CHECK(archive.text("pulled.csv").value().empty());
  for (const char* line : {"one", "two"}) {
    auto import = archive.begin_import();
    REQUIRE(import);
    import->add_line("pulled.csv", line);
    REQUIRE(import->commit());
  }
  CHECK(archive.text("pulled.csv").value() == "one\ntwo\n");
  CHECK(open_at(folder.path()).text("pulled.csv").value() == "one\ntwo\n");
}
