// The port's TOML file: what is taken, and where each mistake is.
#include "linux/settings_file.hpp"

#include <doctest/doctest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include <unistd.h>

using namespace packmile::port;

namespace {

class TomlFile {
 public:
  explicit TomlFile(const std::string& text) {
    path_ = (std::filesystem::temp_directory_path() /
             ("packmile-settings-" + std::to_string(::getpid()) + ".toml"))
                .string();
    std::ofstream(path_) << text;
  }
  ~TomlFile() { std::filesystem::remove(path_); }
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  std::string path_;
};

FileSettings taken(const std::string& text) {
  const TomlFile file(text);
  const auto read = read_settings_file(file.path());
  REQUIRE(std::holds_alternative<FileSettings>(read));
  return std::get<FileSettings>(read);
}

// "line:column: what" of every error, in order.
std::vector<std::string> refused(const std::string& text) {
  const TomlFile file(text);
  const auto read = read_settings_file(file.path());
  REQUIRE(std::holds_alternative<std::vector<PortError>>(read));
  std::vector<std::string> out;
  for (const PortError& error : std::get<std::vector<PortError>>(read)) {
    REQUIRE(error.where.starts_with(file.path() + ":"));
    out.push_back(error.where.substr(file.path().size() + 1) + ": " + error.what);
  }
  return out;
}

}  // namespace

TEST_CASE("settings file: everything that can be said") {
  const FileSettings s = taken(R"([port]
adapter = "/dev/serial/by-id/usb-x"
baud = 921600
card = "/media/card"
[log]
file = "logger.log"
level = "info"
max_bytes = 65536
files = 5
)");
  CHECK(s.adapter == "/dev/serial/by-id/usb-x");
  CHECK(s.baud == 921600u);
  CHECK(s.card == "/media/card");
  CHECK(s.log_file == "logger.log");
  CHECK(s.log_level == LogLevel::info);
  CHECK(s.log_max_bytes == 65536);
  CHECK(s.log_files == 5);
}

TEST_CASE("settings file: nothing said is quiet") {
  const FileSettings s = taken("");
  CHECK_FALSE(s.adapter);
  CHECK_FALSE(s.baud);
  CHECK_FALSE(s.log_file);
  CHECK(s.log_level == LogLevel::warning);
}

TEST_CASE("settings file: mistakes are named with their place and the nearest known key") {
  CHECK(refused("[port]\nadaptor = \"x\"\n") ==
        std::vector<std::string>{"2:1: unknown key 'adaptor' in [port]; did you mean 'adapter'?"});
  CHECK(refused("[prot]\nbaud = 1\n") ==
        std::vector<std::string>{"1:2: unknown key 'prot'; did you mean 'port'?"});
  CHECK(refused("[port]\nbaud = \"fast\"\n")[0].starts_with("2:8: baud must be one of 9600, "));
  CHECK(refused("[port]\nbaud = 250000\n")[0].starts_with("2:8: baud must be one of"));
  CHECK(refused("[port]\nbaud = -115200\n").size() == 1);
  CHECK(refused("[port]\ncard = 3\n") ==
        std::vector<std::string>{"2:8: card must be a text that is not empty"});
  CHECK(refused("[log]\nlevel = \"loud\"\n") ==
        std::vector<std::string>{"2:9: level must be one of debug, info, warning, error, off"});
  CHECK(refused("[log]\nfiles = 0\n") ==
        std::vector<std::string>{"2:9: files must be a whole number from 1 to 100"});
  CHECK(refused("[log]\nfiles = 2.5\n").size() == 1);
  CHECK(refused("port = 3\n") == std::vector<std::string>{"1:8: 'port' must be a table"});
  // All at once, in the order of their lines.
  const auto all = refused("[log]\nlevel = 1\nsize = 2\n[port]\nbaud = 7\nnick = 1\n");
  REQUIRE(all.size() == 4);
  CHECK(all[0].starts_with("2:"));
  CHECK(all[1].starts_with("3:"));
  CHECK(all[2].starts_with("5:"));
  CHECK(all[3].starts_with("6:"));
}

TEST_CASE("settings file: what is not TOML, and what is not there") {
  CHECK(refused("[port\nbaud = 1\n").size() == 1);
  CHECK(refused("[port]\nbaud = 1\nbaud = 2\n").size() == 1);
  const auto read = read_settings_file("/nonexistent/logger.toml");
  REQUIRE(std::holds_alternative<std::vector<PortError>>(read));
  CHECK(std::get<std::vector<PortError>>(read)[0].where == "/nonexistent/logger.toml");
}
