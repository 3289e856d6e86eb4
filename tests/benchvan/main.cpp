// packmile-benchvan: the command line. The only file that knows CLI11.
#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cstdio>
#include <exception>
#include <optional>
#include <sstream>

#include "benchvan/bench_error.hpp"
#include "benchvan/drive.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/firm.hpp"
#include "benchvan/month.hpp"
#include "benchvan/owners_fields.hpp"
#include "benchvan/serve.hpp"
#include "benchvan/vin.hpp"

namespace {

using namespace packmile::benchvan;

constexpr int kUsage = 2;
// 2026-01-05T06:00:00Z: fixed, never the machine's clock.
constexpr char kDefaultStart[] = "2026-01-05T06:00:00Z";
constexpr char kMonthStart[] = "2026-01-05";
constexpr unsigned kDefaultVinNumber = 42;

// ISO 8601 in UTC: 2026-01-05T06:00:00Z, with or without fraction, or a date.
std::optional<std::int64_t> unix_ms_of(const std::string& text) {
  int year = 0, month = 0, day = 0, hour = 0, minute = 0;
  double second = 0;
  int end = 0;
  const char* c = text.c_str();
  if (std::sscanf(c, "%4d-%2d-%2dT%2d:%2d:%lf%n", &year, &month, &day, &hour, &minute, &second,
                  &end) != 6 ||
      end == 0) {
    return std::nullopt;
  }
  const std::string zone = text.substr(static_cast<std::size_t>(end));
  if (zone != "Z" && zone != "+00:00") return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(year),
                                         std::chrono::month(static_cast<unsigned>(month)),
                                         std::chrono::day(static_cast<unsigned>(day))};
  // A card's clock does not start before 1970.
  if (!date.ok() || year < 1970 || hour < 0 || hour > 23 || minute < 0 || minute > 59 ||
      !(second >= 0 && second < 60)) {
    return std::nullopt;
  }
  const auto days = std::chrono::sys_days(date).time_since_epoch().count();
  return ((std::int64_t{days} * 24 + hour) * 60 + minute) * 60000 +
         static_cast<std::int64_t>(second * 1000 + 0.5);
}

// What several commands share.
struct SharedText {
  std::string vin = invented_vin(kDefaultVinNumber);
  std::string coding = "twos";
  // Absent: discharge-positive, and the other way round for an owner's signals.
  std::string sign;
  std::string answers = "service01";
  std::vector<std::string> faults;
};

void add_fault_option(CLI::App& command, SharedText& text) {
  command
      .add_option("--fault", text.faults, "something wrong with the van, by name; may be repeated")
      ->expected(1)
      ->take_all()
      ->check([](const std::string& name) {
        Faults scratch;
        return set_fault(scratch, name) ? std::string()
                                        : fmt::format("there is no fault '{}'", name);
      });
  command.footer(fault_help());
}

void add_line_options(CLI::App& command, LineSetup& line, std::optional<double>& ecu_ms) {
  command.add_option("--pace-baud", line.baud, "of the serial line; 0: no pace")
      ->capture_default_str();
  command
      .add_option("--adapter-latency-ms", line.latency_ms,
                  "how much later each line of the adapter reaches the host, ms")
      ->capture_default_str()
      ->check(CLI::Range(0.0, 1000.0));
  command
      .add_option("--ecu-ms", ecu_ms,
                  "from a request to the start of its answer, ms; default: 4 to 7, spread")
      ->check(CLI::Range(0.0, 60000.0));
}

void add_van_options(CLI::App& command, SharedText& text) {
  command.add_option("--vin", text.vin, "vehicle identification number")
      ->capture_default_str()
      ->check([](const std::string& vin) { return vin_trouble(vin); });
  command.add_option("--coding", text.coding, "of the pack current word")
      ->capture_default_str()
      ->check(CLI::IsMember({"twos", "offset"}));
  command
      .add_option("--sign", text.sign,
                  "of the pack current word; default: discharge-positive, with --answers owner "
                  "discharge-negative")
      ->check(CLI::IsMember({"discharge-positive", "discharge-negative"}));
  command
      .add_option("--answers", text.answers,
                  "service01: services 01 and 09. f4xx: service 22 only, F400 + PID and F190. "
                  "owner: service 22 only, F190 and identifiers that no standard has: those that "
                  "the card defines, else the bench's own, which are invented (packmile-benchvan "
                  "signals). none: nothing, but others' frames are on the bus")
      ->capture_default_str()
      ->check(CLI::IsMember({"service01", "f4xx", "owner", "none"}));
  add_fault_option(command, text);
}

Answers answers_of(const SharedText& text) {
  if (text.answers == "f4xx") return Answers::f4xx;
  if (text.answers == "owner") return Answers::owner;
  return text.answers == "none" ? Answers::none : Answers::service01;
}

Faults faults_of(const SharedText& text) {
  Faults faults;
  for (const std::string& name : text.faults) (void)set_fault(faults, name);
  return faults;
}

PidCoding coding_of(const SharedText& text) {
  return {.offset_binary = text.coding == "offset",
          .discharge_negative =
              text.sign.empty() ? text.answers == "owner" : text.sign == "discharge-negative",
          .speed_cut = faults_of(text).speed_cut};
}

int run(int argc, char** argv) {
  CLI::App app{
      "Plays a battery-electric van on the bench: serial CAN adapter, ECUs, supply and pack.\n\n"
      "Examples:\n"
      "  packmile-benchvan drive --card van.log --replay drive.csv\n"
      "  packmile-benchvan drive --card van.log --replay drive.csv --answers owner\n"
      "  packmile-benchvan serve --link /tmp/van-tty --round 7\n"
      "  packmile-benchvan month --out demo --vans 5\n",
      "packmile-benchvan"};
  app.require_subcommand(0, 1);
  app.set_version_flag("--version", "packmile-benchvan " PACKMILE_VERSION);
  app.footer(fault_help() +
             "\nExit codes: 0 done; 1 could not be done, or the tester sent a frame that a reader\n"
             "must not send; 2 usage");

  SharedText text;
  DriveOptions drive;
  std::string start = kDefaultStart;
  CLI::App* drive_command =
      app.add_subcommand("drive", "Replay files through the real core onto a card, virtual time");
  drive_command->add_option("--card", drive.card, "log file: made if missing, else continued");
  drive_command->add_option("--replay", drive.replays, "replay CSV; may be repeated")
      ->expected(1)
      ->take_all();
  drive_command->add_option("--gap-minutes", drive.gap_minutes, "sleep between two files, minutes")
      ->capture_default_str()
      ->check(CLI::Range(0.0, 1e6));
  drive_command->add_option("--start", start, "time of the first row, ISO 8601 UTC")
      ->capture_default_str()
      ->check([](const std::string& given) {
        return unix_ms_of(given) ? std::string()
                                 : fmt::format("'{}' is not a time like {}", given, kDefaultStart);
      });
  drive_command->add_option("--odometer-km", drive.odometer_km, "odometer at the first row, km")
      ->capture_default_str()
      ->check(CLI::Range(0.0, 4e8));
  drive_command
      ->add_option("--poll-hz", drive.poll_hz,
                   "rate of pack voltage, current and speed; 0: as fast as the answers come")
      ->capture_default_str()
      ->check(CLI::Range(0.0, 1000.0));
  add_line_options(*drive_command, drive.line, drive.ecu_ms);
  drive_command->add_option("--candump", drive.candump, "write the bus traffic as a text log");
  drive_command->add_option("--lines", drive.lines,
                            "record every line of the logger, with its second");
  drive_command
      ->add_option("--parked-hours", drive.parked_hours, "stand so long after the last file")
      ->check(CLI::Range(0.0, 10000.0));
  add_van_options(*drive_command, text);

  ServeOptions serve;
  CLI::App* serve_command =
      app.add_subcommand("serve", "The van behind a pseudo-terminal, real time, until a signal");
  serve_command->add_option("--link", serve.link, "symbolic link to make to the terminal");
  CLI::Option* replay = serve_command->add_option("--replay", serve.replay, "replay CSV");
  CLI::Option* round =
      serve_command->add_option("--round", serve.round, "seed of an endless delivery round");
  replay->excludes(round);
  serve_command->add_option("--odometer-km", serve.odometer_km, "odometer at the start, km")
      ->capture_default_str()
      ->check(CLI::Range(0.0, 4e8));
  add_line_options(*serve_command, serve.line, serve.ecu_ms);
  serve_command->add_option("--card", serve.card,
                            "the logger's card (read only): whose settings define what --answers "
                            "owner answers; a log, an image, or a mounted card");
  serve_command->add_option("--candump", serve.candump, "write the bus traffic as a text log");
  serve_command->add_option("--lines", serve.lines,
                            "record every line of the logger, with its second");
  add_van_options(*serve_command, text);

  std::string signals_van = kDriveVan;
  CLI::App* signals_command = app.add_subcommand(
      "signals", "Print the bench's own identifiers, all invented, as [[signal]] for fleet.toml");
  signals_command->add_option("--van", signals_van, "whose they are")->capture_default_str();
  add_fault_option(*signals_command, text);

  MonthOptions month;
  CLI::App* month_command =
      app.add_subcommand("month", "Made-up months of a firm's vans, with the truth beside them");
  month_command->add_option("--out", month.out, "folder for logs, fleet, notes and truth");
  month_command->add_option("--vans", month.vans, "how many vans")
      ->capture_default_str()
      ->check(CLI::Range(1u, kMaxMonthVans));
  month_command->add_option("--days", month.days, "how many days")
      ->capture_default_str()
      ->check(CLI::Range(1u, kMaxMonthDays));
  month_command->add_flag("--lines", month.lines,
                          "also NAME.lines of each van: every line of its logger, with its second");
  month_command->add_flag("--direct", month.direct,
                          "the ECUs' words straight into sectors, without serial line, adapter and "
                          "ISO-TP: much faster");
  month_command->add_option("--seed", month.seed, "of everything made up")->capture_default_str();
  std::string month_start = kMonthStart;
  month_command->add_option("--start", month_start, "day one, a date: its season is the weather's")
      ->capture_default_str()
      ->check([](const std::string& date) {
        return unix_ms_of(date + "T00:00:00Z")
                   ? std::string()
                   : fmt::format("'{}' is not a date like {}", date, kMonthStart);
      });
  month_command
      ->add_option("--mechanism", month.mechanism_names,
                   "what the van's sensors, pack and controller do, by name; may be repeated")
      ->expected(1)
      ->take_all()
      ->check([](const std::string& name) {
        Mechanisms scratch;
        return set_mechanism(scratch, name) ? std::string()
                                            : fmt::format("there is no mechanism '{}'", name);
      });
  add_fault_option(*month_command, text);
  month_command->footer(mechanism_help() + "\n" + fault_help());

  FirmOptions firm;
  CLI::App* firm_command = app.add_subcommand(
      "firm", "A year of an invented linen-hire firm's five vans, each with a story of its own");
  firm_command->add_option("--out", firm.out, "folder for cards, fleet, notes and truth");
  firm_command
      ->add_option("--cards-before", firm.cards_before, "cards of four weeks before the last month")
      ->capture_default_str()
      ->check(CLI::Range(0u, kMaxFirmCardsBefore));
  firm_command->add_option("--days", firm.days, "days of the last month, through the whole core")
      ->capture_default_str()
      ->check(CLI::Range(1u, kMaxMonthDays));
  firm_command->add_option("--seed", firm.seed, "of everything made up")->capture_default_str();
  firm_command->add_flag("--contrasts", firm.contrasts,
                         "vans that differ, more or less, in what a report tells apart; drawn by "
                         "the seed");

  try {
    app.parse(argc, argv);
    if (app.get_subcommands().empty())
      throw CLI::RequiredError("a command: drive, serve, signals, month or firm");
    // Only now: a mistyped option is named before a missing one.
    const auto need = [](bool given, const char* what) {
      if (!given) throw CLI::RequiredError(what);
    };
    if (drive_command->parsed()) {
      need(!drive.card.empty(), "--card");
      need(!drive.replays.empty(), "--replay");
    } else if (serve_command->parsed()) {
      need(!serve.link.empty(), "--link");
      need(replay->count() + round->count() > 0, "--replay or --round");
    } else if (month_command->parsed()) {
      need(!month.out.empty(), "--out");
    } else if (firm_command->parsed()) {
      need(!firm.out.empty(), "--out");
    }
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return app.exit(error);  // help, version
    fmt::print(stderr, "packmile-benchvan: {}\n  packmile-benchvan --help\n", error.what());
    return kUsage;
  }

  if (drive_command->parsed()) {
    drive.start_unix_ms = *unix_ms_of(start);
    drive.vin = text.vin;
    drive.coding = coding_of(text);
    drive.answers = answers_of(text);
    drive.fault_names = text.faults;
    drive.faults = faults_of(text);
    return run_drive(drive);
  }
  if (serve_command->parsed()) {
    serve.vin = text.vin;
    serve.coding = coding_of(text);
    serve.answers = answers_of(text);
    serve.faults = faults_of(text);
    return run_serve(serve);
  }
  if (signals_command->parsed()) {
    const Faults faults = faults_of(text);
    fmt::print("{}", fleet_toml_of(benchs_own_fields(faults.v_and_a_apart, faults.ids_29bit),
                                   signals_van));
    return 0;
  }
  if (firm_command->parsed()) return run_firm(firm);
  month.fault_names = text.faults;
  month.faults = faults_of(text);
  for (const std::string& name : month.mechanism_names) (void)set_mechanism(month.mechanisms, name);
  month.start_unix_ms = *unix_ms_of(month_start + "T00:00:00Z");
  return run_month(month);
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const packmile::benchvan::BenchError& error) {
    fmt::print(stderr, "packmile-benchvan: {}\n", error.what());
  } catch (const std::exception& error) {
    fmt::print(stderr, "packmile-benchvan: {}\n", error.what());
  }
  return 1;
}
