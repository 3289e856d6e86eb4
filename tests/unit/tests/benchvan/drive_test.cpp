// drive as a whole: the real core, in virtual time, on a small made-up drive.
#include "benchvan/drive.hpp"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "benchvan/bench_error.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/vin.hpp"
#include "sector/sector.hpp"

using namespace packmile::benchvan;

namespace {

namespace fs = std::filesystem;

class Folder {
 public:
  Folder() : path_(fs::temp_directory_path() / fmt::format("packmile-drive-{}", ::getpid())) {
    fs::remove_all(path_);
    fs::create_directories(path_);
    std::ofstream csv(path_ / "drive.csv");
    csv << "time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n";
    for (int i = 0; i <= 1200; ++i) {
      const double wave = std::sin(i / 30.0);
      csv << fmt::format("{:.1f},{:.2f},{:.2f},{:.2f},{:.1f},12\n", i / 10.0, 40 + 30 * wave,
                         370 - 4 * wave, 30 + 80 * wave, 80 - i / 800.0);
    }
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() { fs::remove_all(path_); }
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  fs::path path_;
};

DriveOptions options_for(const Folder& folder, const std::string& card) {
  return {.card = folder.file(card),
          .replays = {folder.file("drive.csv")},
          .start_unix_ms = 1767592800000,
          .vin = invented_vin(1)};
}

std::string read(const std::string& path) {
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

std::size_t good_sectors(const std::string& log) {
  std::size_t count = 0;
  for (std::size_t at = 0; at + packmile::kSectorBytes <= log.size();
       at += packmile::kSectorBytes) {
    if (log[at] == 0) continue;
    packmile::SectorHeader header;
    const auto* sector = reinterpret_cast<const std::uint8_t*>(log.data() + at);
    count += packmile::read_sector(std::span<const std::uint8_t, 512>(sector, 512), header) ==
             packmile::SectorVerdict::good;
  }
  return count;
}

}  // namespace

TEST_CASE("drive: the same arguments give the same bytes, others do not") {
  const Folder folder;
  REQUIRE(run_drive(options_for(folder, "a.log")) == 0);
  DriveOptions with_dump = options_for(folder, "b.log");
  with_dump.candump = folder.file("b.dump");
  REQUIRE(run_drive(with_dump) == 0);
  const std::string log = read(folder.file("a.log"));
  CHECK(log.size() == kDriveCardBytes);
  // 120 s at a deadline of 10 s, and session records.
  CHECK(good_sectors(log) >= 13);
  CHECK(log == read(folder.file("b.log")));
  CHECK(read(folder.file("b.dump")).find(" can0 7E0#") != std::string::npos);

  DriveOptions other = options_for(folder, "c.log");
  other.coding.offset_binary = true;
  REQUIRE(run_drive(other) == 0);
  CHECK(log != read(folder.file("c.log")));
}

TEST_CASE("drive: an existing log is continued, anything else is refused") {
  const Folder folder;
  REQUIRE(run_drive(options_for(folder, "a.log")) == 0);
  const std::string before = read(folder.file("a.log"));
  DriveOptions again = options_for(folder, "a.log");
  again.poll_hz = 2;
  REQUIRE(run_drive(again) == 0);
  const std::string after = read(folder.file("a.log"));
  CHECK(good_sectors(after) > good_sectors(before) + 10);
  // The head has the new plan; the ring's old part is untouched.
  CHECK(before.substr(0, 512) != after.substr(0, 512));
  CHECK(before.substr(8, 4) == after.substr(8, 4));
  const std::size_t ring = packmile::kHeadSectors * packmile::kSectorBytes;
  CHECK(before.substr(ring, 5 * 512) == after.substr(ring, 5 * 512));

  std::ofstream(folder.file("junk.log")) << std::string(70000, 'x');
  CHECK_THROWS_AS((void)run_drive(options_for(folder, "junk.log")), BenchError);
  CHECK(read(folder.file("junk.log")) == std::string(70000, 'x'));
  CHECK_THROWS_AS((void)run_drive(options_for(folder, "")), BenchError);
}

TEST_CASE("drive: a card made for a van of its own identifiers defines them, once for all") {
  const Folder folder;
  DriveOptions own = options_for(folder, "a.log");
  own.answers = Answers::owner;
  CHECK(run_drive(own) == 0);
  const auto on_card = [&] { return CardFile::read_fields(folder.file("a.log")); };
  CHECK(on_card().size() == benchs_own_fields(false, false).size());
  // What the card defines stands, whatever else the van could answer.
  own.faults.v_and_a_apart = true;
  CHECK(run_drive(own) == 0);
  CHECK(on_card()[1].did == 0xD001);
  // The other families' cards define nothing.
  DriveOptions standard = options_for(folder, "b.log");
  standard.answers = Answers::f4xx;
  CHECK(run_drive(standard) == 0);
  CHECK(CardFile::read_fields(folder.file("b.log")).empty());
  CHECK_THROWS_AS((void)CardFile::read_fields(folder.file("drive.csv")), BenchError);
}

TEST_CASE("drive: a definition that cannot be played is named, and nothing is written") {
  const Folder folder;
  const std::string path = folder.file("a.log");
  std::vector<OwnersField> fields = benchs_own_fields(false, false);
  fields[3].bytes = 9;
  (void)CardFile::prepare(path, 1 << 20, 7, {.van = "alder", .fields = fields});
  const std::string before = read(path);
  DriveOptions own = options_for(folder, "a.log");
  own.answers = Answers::owner;
  CHECK_THROWS_WITH_AS((void)run_drive(own), doctest::Contains("signal 'soc'"), BenchError);
  CHECK(good_sectors(read(path)) == good_sectors(before));
}

TEST_CASE("drive: a van that answers nothing still makes a readable card") {
  const Folder folder;
  DriveOptions silent = options_for(folder, "a.log");
  silent.answers = Answers::none;
  CHECK(run_drive(silent) == 0);
  CHECK(good_sectors(read(folder.file("a.log"))) >= 2);
}
