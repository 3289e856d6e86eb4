#include "card/card_file.hpp"

#include <doctest/doctest.h>

#include <filesystem>
#include <vector>

#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using test::TempFolder;

namespace fs = std::filesystem;

TEST_CASE("card file: what cannot be a card is named with what to do") {
  const TempFolder folder;
  const auto fails = [](const fs::path& path) {
    const auto opened = CardFile::open(path);
    REQUIRE_FALSE(opened);
    CHECK_FALSE(opened.error().what.empty());
    CHECK_FALSE(opened.error().where.empty());
    CHECK_FALSE(opened.error().hint.empty());
    return opened.error().what;
  };
  CHECK(fails(folder.path() / "none") == "no such file or folder");
  CHECK(fails(folder.path()) == "no PACKMILE.LOG in this folder");
  CHECK(fails(folder.write("empty.log", {})) == "empty: 0 bytes");
  CHECK(fails(folder.path() / "empty.log" / "below") == "cannot read: Not a directory");
  fs::create_symlink("loop", folder.path() / "loop");
  CHECK(fails(folder.path() / "loop") == "cannot read: Too many levels of symbolic links");
  CHECK(fails("/dev/null") == "neither a file nor a folder nor a block device");
  fs::create_directory(folder.path() / "mounted");
  fs::create_directory(folder.path() / "mounted" / "PACKMILE.LOG");
  CHECK(fails(folder.path() / "mounted") == "PACKMILE.LOG is a folder, not a log");
}

TEST_CASE("card file: the log in a folder is found, also in small letters") {
  const TempFolder folder;
  folder.write("packmile.log", std::vector<std::uint8_t>(1024));
  const auto card = CardFile::open(folder.path());
  REQUIRE(card);
  CHECK(card->kind() == CardKind::folder);
  CHECK(card->path().filename() == "packmile.log");
  CHECK(card->name() == folder.path().string());
  CHECK(card->sectors() == 2);
}

TEST_CASE("card file: pieces and holes cover the card once, in order") {
  const TempFolder folder;
  // Three pieces of data with holes of many sizes between, and a part sector.
  std::vector<std::uint8_t> bytes(3'000'000, 0xA5);
  const auto path = folder.write("sparse.log", bytes);
  fs::resize_file(path, 20'000'300);
  const auto card = CardFile::open(path);
  REQUIRE(card);
  CHECK(card->sectors() == 20'000'300 / 512);
  CHECK(card->part_sector_bytes() == 20'000'300 % 512);
  CHECK_FALSE(card->part_sector_is_written());
  std::uint64_t next = 0;
  std::uint64_t written = 0;
  CardFile::PieceVisitor visitor;
  visitor.bytes = [&](std::uint64_t first, std::span<const std::uint8_t> piece) {
    CHECK(first == next);
    CHECK(piece.size() % 512 == 0);
    CHECK(piece.size() <= 1u << 20);
    for (const std::uint8_t b : piece) written += b == 0xA5;
    next = first + piece.size() / 512;
  };
  visitor.hole = [&](std::uint64_t first, std::uint64_t sectors) {
    CHECK(first == next);
    next = first + sectors;
  };
  visitor.unreadable = [](const UnreadableRun&) { FAIL("readable"); };
  card->for_each_piece(visitor);
  CHECK(next == card->sectors());
  CHECK(written == bytes.size());
}

TEST_CASE("card file: a file that shrinks while it is read is reported, not believed") {
  const TempFolder folder;
  const auto path = folder.write("shrinks.log", std::vector<std::uint8_t>(2'097'152, 1));
  const auto card = CardFile::open(path);
  REQUIRE(card);
  std::uint64_t got = 0;
  std::uint64_t lost = 0;
  CardFile::PieceVisitor visitor;
  visitor.bytes = [&](std::uint64_t, std::span<const std::uint8_t> piece) {
    got += piece.size() / 512;
    // In the middle of the card, and of a 4 KiB step.
    if (got == 2'048) fs::resize_file(path, 2'050 * 512);
  };
  visitor.hole = [&](std::uint64_t, std::uint64_t sectors) { lost += sectors; };
  visitor.unreadable = [&](const UnreadableRun& run) {
    CHECK_FALSE(run.why.empty());
    lost += run.sectors;
  };
  card->for_each_piece(visitor);
  CHECK(got == 2'050);
  CHECK(lost == 4'096 - 2'050);
}

TEST_CASE("card file: single sectors, and what is behind the end") {
  const TempFolder folder;
  std::vector<std::uint8_t> bytes(1'030, 7);
  const auto card = CardFile::open(folder.write("small.log", bytes));
  REQUIRE(card);
  CHECK(card->part_sector_bytes() == 6);
  CHECK(card->part_sector_is_written());
  std::vector<std::uint8_t> out(2'048);
  CHECK(card->read(0, out) == 1'024);
  CHECK(card->read(1, out) == 512);
  CHECK(card->read(2, out) == 0);
  CHECK(card->read(~std::uint64_t{0}, out) == 0);
}
