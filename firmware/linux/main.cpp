// packmile-logger: the logger on a Linux machine.
#include <CLI/CLI.hpp>

#include <cstdio>
#include <string>
#include <utility>
#include <variant>

#include "linux/card_file.hpp"
#include "linux/journal.hpp"
#include "linux/logger_loop.hpp"
#include "linux/settings_file.hpp"
#include "sector/sector.hpp"

namespace {

using namespace packmile::port;

constexpr int kDone = 0;
constexpr int kCouldNot = 1;
constexpr int kUsage = 2;

void print(const PortError& error) {
  std::fprintf(stderr, "packmile-logger: %s%s%s\n", error.where.c_str(),
               error.where.empty() ? "" : ": ", error.what.c_str());
  if (!error.hint.empty()) std::fprintf(stderr, "  %s\n", error.hint.c_str());
}

int usage(const std::string& what) {
  std::fprintf(stderr, "packmile-logger: %s\n  see packmile-logger --help\n", what.c_str());
  return kUsage;
}

constexpr const char* kFooter = R"(Examples:
  packmile-logger --adapter /dev/serial/by-id/usb-ADAPTER --card /media/card
  packmile-logger --adapter /dev/ttyACM0 --card van3.img --baud 921600
  packmile-logger --settings logger.toml

Settings file (TOML); the command line wins:
  [port] adapter, baud, card
  [log]  file, level (debug, info, warning, error, off), max_bytes, files

SIGTERM and SIGINT write the open sector, close the adapter and end the program.
Exit code: 0 stopped; 1 could not be done; 2 wrong usage.)";

int run(int argc, char** argv) {
  CLI::App app{"Reads a battery-electric van through a serial CAN adapter and keeps it on a card."};
  std::string adapter, card, settings_path;
  std::uint32_t baud = 0;
  app.add_option("--adapter", adapter,
                 "serial line of the adapter; a path by id survives replugging")
      ->type_name("TTY");
  app.add_option("--card", card, "the log, or the folder that holds PACKMILE.LOG")
      ->type_name("FILE|DIR");
  app.add_option("--baud", baud, "rate of the serial line (default 115200)")->type_name("N");
  app.add_option("--settings", settings_path, "settings of this program")->type_name("FILE.toml");
  app.set_version_flag("--version",
                       std::string("packmile-logger " PACKMILE_VERSION "\ncard format ") +
                           std::to_string(packmile::kFormatVersion));
  app.footer(kFooter);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    if (e.get_exit_code() == static_cast<int>(CLI::ExitCodes::Success)) return app.exit(e);
    return usage(e.what());
  }

  FileSettings file;
  if (!settings_path.empty()) {
    auto read = read_settings_file(settings_path);
    if (const auto* errors = std::get_if<std::vector<PortError>>(&read)) {
      for (const PortError& error : *errors) print(error);
      return kUsage;
    }
    file = std::get<FileSettings>(std::move(read));
  }
  if (adapter.empty()) adapter = file.adapter.value_or("");
  if (card.empty()) card = file.card.value_or("");
  const bool baud_given = app.count("--baud") != 0;
  if (!baud_given) baud = file.baud.value_or(115200);
  // Asked for here, not by the library: it would name them before a mistyped option.
  if (adapter.empty()) return usage("--adapter is required");
  if (card.empty()) return usage("--card is required");
  if (!is_known_baud(baud)) return usage("--baud must be one of " + known_bauds_text());

  PortError error;
  std::optional<Journal> journal = Journal::open(file, error);
  if (!journal) {
    print(error);
    return kCouldNot;
  }
  auto opened = CardFile::open(card);
  if (const auto* refused = std::get_if<PortError>(&opened)) {
    print(*refused);
    return kCouldNot;
  }
  CardFile& log = std::get<CardFile>(opened);
  if (log.bytes() % packmile::kSectorBytes != 0)
    journal->warning(log.path() + ": not a whole number of sectors; the last " +
                     std::to_string(log.bytes() % packmile::kSectorBytes) + " bytes are not used");
  if (const auto failed = run_logger({.adapter = adapter, .baud = baud}, log, *journal)) {
    print(*failed);
    return kCouldNot;
  }
  return kDone;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "packmile-logger: %s\n", e.what());
    return kCouldNot;
  }
}
