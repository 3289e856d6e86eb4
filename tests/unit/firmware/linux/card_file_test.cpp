// The card as a file: opened, read and written, never made or grown.
#include "linux/card_file.hpp"

#include <doctest/doctest.h>

#include <array>
#include <filesystem>
#include <fstream>

#include <unistd.h>

using namespace packmile;
using packmile::port::CardFile;
using packmile::port::PortError;

namespace {

class Folder {
 public:
  Folder() {
    path_ =
        std::filesystem::temp_directory_path() / ("packmile-card-" + std::to_string(::getpid()));
    std::filesystem::create_directory(path_);
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  [[nodiscard]] std::string file(const std::string& name, std::uintmax_t bytes) const {
    const auto path = path_ / name;
    std::ofstream(path).put('\0');
    std::filesystem::resize_file(path, bytes);
    return path.string();
  }
  [[nodiscard]] std::string path() const { return path_.string(); }

 private:
  std::filesystem::path path_;
};

PortError refusal(const std::string& target) {
  auto opened = CardFile::open(target);
  REQUIRE(std::holds_alternative<PortError>(opened));
  return std::get<PortError>(opened);
}

constexpr std::uintmax_t kSmallest = 64 * kSectorBytes;

}  // namespace

TEST_CASE("card file: a folder stands for the log in it") {
  const Folder folder;
  CHECK(refusal(folder.path()).what == "no log here");
  CHECK(refusal(folder.path()).hint.find("packmile card prepare") != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(folder.path() + "/PACKMILE.LOG"));  // it is not made
  (void)folder.file("PACKMILE.LOG", kSmallest);
  auto opened = CardFile::open(folder.path());
  REQUIRE(std::holds_alternative<CardFile>(opened));
  CHECK(std::get<CardFile>(opened).sectors() == 64);
  CHECK(std::get<CardFile>(opened).path() == folder.path() + "/PACKMILE.LOG");
}

TEST_CASE("card file: what is no log is refused") {
  const Folder folder;
  CHECK(refusal(folder.path() + "/none.img").what == "no log here");
  CHECK(refusal(folder.file("empty.img", 0)).what.starts_with("too small for a log"));
  CHECK(refusal(folder.file("short.img", kSmallest - 1)).what.starts_with("too small for a log"));
  CHECK(refusal("/dev/null").what == "not a file or a block device");
}

TEST_CASE("card file: sectors go where they belong, and the file stays as it is") {
  const Folder folder;
  const std::string path = folder.file("card.img", kSmallest + 100);  // 100 bytes left over
  {
    auto opened = CardFile::open(path);
    REQUIRE(std::holds_alternative<CardFile>(opened));
    CardFile& card = std::get<CardFile>(opened);
    CHECK(card.sectors() == 64);
    for (std::uint32_t address = 0; address < 64; ++address) {
      std::array<std::uint8_t, kSectorBytes> sector{};
      sector.fill(static_cast<std::uint8_t>(address + 1));
      REQUIRE(card.write(address, sector));
    }
    std::array<std::uint8_t, kSectorBytes> sector{};
    CHECK_FALSE(card.write(64, sector));
    CHECK_FALSE(card.read(64, sector));
    CHECK_FALSE(card.last_error().empty());
    CHECK_FALSE(card.write(0xFFFFFFFF, sector));
    for (std::uint32_t address = 0; address < 64; ++address) {
      REQUIRE(card.read(address, sector));
      CHECK(sector[0] == address + 1);
      CHECK(sector[511] == address + 1);
    }
    CHECK(std::filesystem::file_size(path) == kSmallest + 100);
    // One writer at a time.
    CHECK(refusal(path).what == "another logger writes this log");
    std::filesystem::resize_file(path, 10 * kSectorBytes);
    CHECK_FALSE(card.read(20, sector));
  }
  std::filesystem::resize_file(path, kSmallest);
  CHECK(std::holds_alternative<CardFile>(CardFile::open(path)));
}

TEST_CASE("card file: a whole card is told from a log by its first sector") {
  const Folder folder;
  const auto layout_with = [&](const std::array<std::uint8_t, kSectorBytes>& first) {
    const std::string path = folder.file("card.img", 64 * kSectorBytes);
    std::fstream(path, std::ios::binary | std::ios::in | std::ios::out)
        .write(reinterpret_cast<const char*>(first.data()), kSectorBytes);
    auto opened = CardFile::open(path);
    REQUIRE(std::holds_alternative<CardFile>(opened));
    return std::get<CardFile>(opened).layout();
  };
  std::array<std::uint8_t, kSectorBytes> sector{};
  CHECK(layout_with(sector) == CardLayout::log);
  sector[510] = 0x55;
  sector[511] = 0xAA;
  CHECK(layout_with(sector) == CardLayout::volume);
  // A settings sector whose CRC happens to end in the same two bytes.
  SectorHeader header{.kind = SectorKind::settings, .ring_sectors = 32};
  do {
    ++header.log_id;
    seal_sector(sector, header);
  } while (sector[510] != 0x55 || sector[511] != 0xAA);
  CHECK(layout_with(sector) == CardLayout::log);
}
