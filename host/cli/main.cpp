// The program packmile: words of the command line into options, and the command
// that they name. The only file that knows CLI11.
#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <charconv>
#include <clocale>
#include <functional>
#include <list>
#include <map>

#include "card/prepared_log.hpp"
#include "cli/commands.hpp"
#include "cli/help_text.hpp"
#include "cli/render.hpp"
#include "ledger/nearest.hpp"
#include "ledger/schema.hpp"
#include "sector/sector.hpp"

namespace packmile::cli {
namespace {

// Words as CLI11 stores them, before they become options.
struct Words {
  std::string by, format;
  std::string units = "miles";
  std::string depot, van, from, to, as_of, pulled_at;
  std::string remark, replaces;
  std::string address;
  std::string size_mb;
  std::string battery = "lead";
};

struct Command {
  const CommandHelp* help = nullptr;
  CLI::App* app = nullptr;
  std::function<ExitCode()> run;
  // What must not be missing, and how to say it. Judged after parsing, so that
  // a mistyped option is named first.
  std::vector<std::pair<std::string, std::function<bool()>>> required;
};

const CommandHelp* help_of(std::string_view name) {
  for (const CommandHelp& help : kCommandHelp)
    if (help.name == name) return &help;
  return nullptr;
}

std::vector<std::string> command_names() {
  std::vector<std::string> names;
  for (const CommandHelp& help : kCommandHelp) names.emplace_back(help.name);
  return names;
}

std::optional<std::string> given(const CLI::App& app, const char* option, const std::string& word) {
  if (app.get_option(option)->count() == 0) return std::nullopt;
  return word;
}

Format format_of(const std::string& word) {
  return word == "csv"    ? Format::csv
         : word == "json" ? Format::json
         : word == "xlsx" ? Format::xlsx
                          : Format::table;
}

void add_depot(CLI::App& app, Words& words) {
  app.add_option("--depot", words.depot,
                 "DIR   the depot; else PACKMILE_DEPOT, else the current folder");
}

void add_format(CLI::App& app, Words& words, std::vector<std::string> formats) {
  words.format = formats.front();
  const std::string text = fmt::format("{}   default {}", fmt::join(formats, "|"), formats.front());
  app.add_option("--format", words.format, text)->check(CLI::IsMember(std::move(formats)));
}

void add_output(CLI::App& app, std::string& file) {
  app.add_option("-o,--output", file,
                 "FILE   appears whole or not at all; default standard output");
}

// A spreadsheet is a file.
void need_file(Command& command, Words& words, std::string& file) {
  command.required.emplace_back(
      "-o FILE with --format xlsx: a spreadsheet cannot go to standard output",
      [&words, &file] { return words.format != "xlsx" || (!file.empty() && file != "-"); });
}

// Of commands that write tables.
void add_rows_format(Command& command, Words& words, std::string& file) {
  add_format(*command.app, words, {"table", "csv", "json", "xlsx"});
  add_output(*command.app, file);
  need_file(command, words, file);
}

void print_general_help() {
  fmt::print(
      "usage: packmile COMMAND ...\n"
      "Turns the cards of battery-electric vans into trips, charges and figures with intervals.\n\n"
      "examples:\n"
      "  packmile new depot --zone Europe/London --currency GBP\n"
      "  packmile import /media/card --depot depot\n"
      "  packmile trips --depot depot --from 2026-03-01 --to 2026-04-01\n\n"
      "commands:\n");
  for (const CommandHelp& help : kCommandHelp) fmt::print("  {:<14}{}\n", help.name, help.sentence);
  fmt::print(
      "\noptions:\n"
      "  -h, --help  of any command\n"
      "  --version   of the program, the card format and the ledger\n\n"
      "{}next: packmile COMMAND --help\n",
      kExitCodes);
}

void print_help(const Command& command) {
  const CommandHelp& help = *command.help;
  fmt::print("usage: packmile {}{}{} [options]\n{}\n\nexamples:\n", help.name,
             help.arguments.empty() ? "" : " ", help.arguments, help.sentence);
  for (const std::string_view example : help.examples) fmt::print("  {}\n", example);
  fmt::print("\noptions:\n");
  for (const CLI::Option* option : command.app->get_options())
    if (option->nonpositional())
      fmt::print("  {:<14}{}\n",
                 fmt::format("{}", fmt::join(
                                       [&] {
                                         std::vector<std::string> names;
                                         for (const auto& s : option->get_snames())
                                           names.push_back("-" + s);
                                         for (const auto& l : option->get_lnames())
                                           names.push_back("--" + l);
                                         return names;
                                       }(),
                                       ", ")),
                 option->get_description());
  fmt::print("  {:<14}this text\n\n{}{}{}next: {}\n", "-h, --help", help.more,
             help.more.empty() ? "" : "\n", kExitCodes, help.next);
}

// --help and --version hold in any position; everything else is then ignored.
enum class Asked { nothing, help, version };
Asked asked_for(int argc, char** argv) {
  for (int k = 1; k < argc; ++k) {
    const std::string_view word = argv[k];
    if (word == "--") break;
    if (word == "--help" || word == "-h") return Asked::help;
    if (word == "--version") return Asked::version;
  }
  return Asked::nothing;
}

// The first word that nothing took: a mistyped option, or one argument too many.
ExitCode unexpected(const Command& command, const std::string& word) {
  const std::string name{command.help->name};
  const std::string hint = "see packmile " + name + " --help";
  if (word.starts_with('-') && word != "-") {
    std::vector<std::string> known{"--help"};
    for (const CLI::Option* option : command.app->get_options())
      for (const auto& l : option->get_lnames()) known.push_back("--" + l);
    const std::string bare = word.substr(0, word.find('='));
    return wrong_usage(
        fmt::format("{} has no option '{}'{}", name, bare, did_you_mean(bare, known)), hint);
  }
  return wrong_usage(fmt::format("{} does not take the argument '{}'", name, word), hint);
}

ExitCode no_command(const std::vector<std::string>& words) {
  if (words.empty())
    return wrong_usage("a command is missing", fmt::format("one of: {}; see packmile --help",
                                                           fmt::join(command_names(), ", ")));
  const std::string& word = words.front();
  if (word.starts_with('-'))
    return wrong_usage("there is no option '" + word + "' before a command", "see packmile --help");
  return wrong_usage("there is no command '" + word + "'" + did_you_mean(word, command_names()),
                     fmt::format("commands: {}", fmt::join(command_names(), ", ")));
}

class Program {
 public:
  Program() {
    app_.set_help_flag();
    app_.allow_extras();
    app_.require_subcommand(0, 1);
    add_new();
    card_app_ = app_.add_subcommand("card");
    card_app_->set_help_flag();
    card_app_->allow_extras();
    card_app_->require_subcommand(0, 1);
    add_card_prepare();
    add_card_release();
    add_check();
    add_import();
    add_note();
    add_sheet();
    add_rebuild();
    add_rows("trips", run_trips);
    add_rows("sessions", run_sessions);
    add_rows("throughput", run_throughput);
    add_rows("cost", run_cost, Today::asked, Pieces::asked);
    add_rows("verdicts", run_verdicts);
    add_rows("compare", run_compare, Today::asked);
    add_rows("upkeep", run_upkeep, Today::asked);
    add_rows("capacity", run_capacity);
    add_rows("fade", run_fade);
    add_report();
    add_samples();
    add_sectors();
    add_signals();
  }

  ExitCode run(int argc, char** argv) {
    switch (asked_for(argc, argv)) {
      case Asked::version:
        fmt::print("packmile {}\ncard format {}\nledger schema {}\nrow schema {}\n",
                   kProgramVersion, kFormatVersion, schema_version(), kSchemaVersion);
        return ExitCode::done;
      case Asked::help: {
        const Command* command = argc > 1 ? command_of(argv[1]) : nullptr;
        if (argc > 2 && !command) command = command_of(std::string(argv[1]) + " " + argv[2]);
        if (command)
          print_help(*command);
        else
          print_general_help();
        return ExitCode::done;
      }
      case Asked::nothing:
        break;
    }
    try {
      app_.parse(argc, argv);
    } catch (const CLI::ParseError& e) {
      return wrong_usage(e.what(), "see packmile COMMAND --help");
    }
    if (app_.get_subcommands().empty()) return no_command(app_.remaining());
    const CLI::App* named = app_.get_subcommands().front();
    std::string name = named->get_name();
    if (named == card_app_) {
      auto words = named->remaining();
      words.insert(words.begin(), name);
      if (named->get_subcommands().empty())
        return no_command({words.size() > 1 ? name + " " + words[1] : name});
      if (words.size() > 1) return no_command({name + " " + words[1]});
      name += " " + named->get_subcommands().front()->get_name();
    }
    const Command& command = *command_of(name);
    const auto left = command.app->remaining();
    if (!left.empty()) return unexpected(command, left.front());
    if (const auto before = app_.remaining(); !before.empty()) return no_command(before);
    for (const auto& [what, is_there] : command.required)
      if (!is_there())
        return wrong_usage(fmt::format("{} needs {}", command.help->name, what),
                           fmt::format("see packmile {} --help", command.help->name));
    return command.run();
  }

 private:
  const Command* command_of(std::string_view name) const {
    for (const Command& command : commands_)
      if (command.help->name == name) return &command;
    return nullptr;
  }

  // A command of two words is below the first of them.
  Command& add(const char* name) {
    const std::string_view words = name;
    const std::size_t space = words.find(' ');
    CLI::App& above = space == words.npos ? app_ : *card_app_;
    CLI::App* sub = above.add_subcommand(std::string(words.substr(space + 1)));
    sub->set_help_flag();
    sub->allow_extras();
    commands_.push_back({help_of(name), sub, {}, {}});
    return commands_.back();
  }

  // CARD... in a list of its own for each command.
  void add_cards(Command& command, std::vector<std::string>& cards) {
    command.app->add_option("CARD", cards, "");
    command.required.emplace_back("a CARD: a mounted folder, a log file, an image or a device",
                                  [&cards] { return !cards.empty(); });
  }

  void add_new() {
    Command& command = add("new");
    command.app->add_option("DIR", new_.folder, "");
    command.app->add_option("--zone", new_.zone, "ZONE   IANA time zone of the depot; default UTC");
    command.app->add_option("--currency", new_.currency,
                            "CODE   three capital letters, ISO 4217; default XXX (none)");
    command.required.emplace_back("a DIR", [this] { return !new_.folder.empty(); });
    command.run = [this] { return run_new(new_); };
  }

  void add_card_prepare() {
    Command& command = add("card prepare");
    Words& words = words_of("card prepare");
    CLI::App& app = *command.app;
    app.add_option("TARGET", prepare_.target, "");
    app.add_option("--van", prepare_.van,
                   fmt::format("NAME   the van that the card goes into; 1 to {} bytes of UTF-8",
                               kMaxVanNameBytes));
    app.add_option("--size-mb", words.size_mb,
                   fmt::format("N   of the log, {} to {}; default {}, or what there is room for",
                               kMinLogMib, kMaxLogMib, kUsualLogMib));
    app.add_option("--battery", words.battery,
                   "lead|lithium   the van's 12 V battery: below which supply nothing is sent; "
                   "default lead")
        ->check(CLI::IsMember({"lead", "lithium"}));
    app.add_flag("--yes", prepare_.yes, "do not ask before a card is made anew");
    add_depot(app, words);
    command.required.emplace_back("a TARGET: a mounted folder, an image file or a device",
                                  [this] { return !prepare_.target.empty(); });
    command.required.emplace_back("--van NAME", [&app] { return app.count("--van") != 0; });
    command.run = [this, &app, &words]() -> ExitCode {
      prepare_.depot = given(app, "--depot", words.depot);
      prepare_.lithium_battery = words.battery == "lithium";
      if (const auto word = given(app, "--size-mb", words.size_mb)) {
        std::uint32_t size_mb = 0;
        const char* end = word->data() + word->size();
        const auto [at, error] = std::from_chars(word->data(), end, size_mb);
        if (error != std::errc{} || at != end || size_mb < kMinLogMib || size_mb > kMaxLogMib)
          return wrong_usage(fmt::format("--size-mb: '{}' is no whole number from {} to {}", *word,
                                         kMinLogMib, kMaxLogMib),
                             "a file on FAT32 is shorter than 4096 MB; a van-month takes 50 to 80");
        prepare_.size_mb = size_mb;
      }
      return run_card_prepare(prepare_);
    };
  }

  void add_card_release() {
    Command& command = add("card release");
    Words& words = words_of("card release");
    command.app->add_option("TARGET", release_.target, "");
    add_depot(*command.app, words);
    command.required.emplace_back("a TARGET: a mounted folder, a log file, an image or a device",
                                  [this] { return !release_.target.empty(); });
    command.run = [this, app = command.app, &words] {
      release_.depot = given(*app, "--depot", words.depot);
      return run_card_release(release_);
    };
  }

  void add_check() {
    Command& command = add("check");
    add_cards(command, check_.cards);
    add_rows_format(command, words_of("check"), check_.output);
    command.run = [this] {
      check_.format = format_of(words_of("check").format);
      return run_check(check_);
    };
  }

  void add_import() {
    Command& command = add("import");
    Words& words = words_of("import");
    add_cards(command, import_.cards);
    add_depot(*command.app, words);
    command.app->add_option("--pulled-at", words.pulled_at,
                            "TIME   when the cards were pulled: the latest time for boots that "
                            "had no clock");
    command.run = [this, app = command.app, &words] {
      import_.depot = given(*app, "--depot", words.depot);
      import_.pulled_at = given(*app, "--pulled-at", words.pulled_at);
      return run_import(import_);
    };
  }

  void add_note() {
    Command& command = add("note");
    Words& words = words_of("note");
    CLI::App& app = *command.app;
    app.add_option("KIND", note_.words, "");
    app.add_option("--van", words.van, "NAME|VIN   whose note; with --list: of one van alone");
    app.add_option("--date", words.from,
                   "DAY   a day or an instant; with --from: of lines that have none");
    app.add_option("--remark", words.remark, "TEXT   whatever else is worth keeping");
    app.add_option("--replaces", words.replaces, "ID   the note that this one stands in place of");
    app.add_option("--from", note_.files, "FILE.csv   all notes of a file; - is standard input")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    app.add_flag("--list", note_.list, "show the notes that are there, with their numbers");
    add_rows_format(command, words, note_.output);
    add_depot(app, words);
    command.run = [this, &app, &words] {
      note_.depot = given(app, "--depot", words.depot);
      note_.van = given(app, "--van", words.van);
      note_.date = given(app, "--date", words.from);
      note_.remark = given(app, "--remark", words.remark);
      note_.replaces = given(app, "--replaces", words.replaces);
      note_.format = format_of(words.format);
      return run_note(note_);
    };
  }

  void add_sheet() {
    Command& command = add("sheet");
    Words& words = words_of("sheet");
    CLI::App& app = *command.app;
    app.add_option("--van", words.van, "NAME|VIN   one van; default all that were not sold");
    add_format(app, words, {"text", "html", "csv"});
    add_output(app, sheet_.output);
    add_depot(app, words);
    command.run = [this, &app, &words] {
      sheet_.depot = given(app, "--depot", words.depot);
      sheet_.van = given(app, "--van", words.van);
      sheet_.format = words.format == "html"  ? SheetFormat::html
                      : words.format == "csv" ? SheetFormat::csv
                                              : SheetFormat::text;
      return run_sheet(sheet_);
    };
  }

  void add_rebuild() {
    Command& command = add("rebuild");
    Words& words = words_of("rebuild");
    add_depot(*command.app, words);
    command.run = [app = command.app, &words] {
      return run_rebuild({given(*app, "--depot", words.depot)});
    };
  }

  enum class Today : bool { not_asked, asked };
  enum class Pieces : bool { not_asked, asked };
  void add_rows(const char* name, ExitCode (*list)(const RowsOptions&),
                Today today = Today::not_asked, Pieces pieces = Pieces::not_asked) {
    Command& command = add(name);
    Words& words = words_of(name);
    CLI::App& app = *command.app;
    add_depot(app, words);
    app.add_option("--van", words.van, "NAME|VIN   one van; default all");
    app.add_option("--from", words.from, "D   a day or an instant with offset; included");
    app.add_option("--to", words.to, "D   the same; not included");
    if (pieces == Pieces::asked)
      app.add_option("--by", words.by, "month   a row for each; default one for the period")
          ->check(CLI::IsMember({"month"}));
    app.add_option("--units", words.units, "miles|km   of tables; default miles")
        ->check(CLI::IsMember({"miles", "km"}));
    if (today == Today::asked)
      app.add_option("--as-of", words.as_of,
                     "D   what today is; default the last moment in archive and notes");
    std::string& output = outputs_[name];
    add_rows_format(command, words, output);
    command.run = [&app, &words, &output, list, today, pieces] {
      return list({given(app, "--depot", words.depot), given(app, "--van", words.van),
                   given(app, "--from", words.from), given(app, "--to", words.to),
                   words.units == "km" ? Units::km : Units::miles, format_of(words.format), output,
                   today == Today::asked ? given(app, "--as-of", words.as_of) : std::nullopt,
                   pieces == Pieces::asked ? given(app, "--by", words.by) : std::nullopt});
    };
  }

  void add_report() {
    Command& command = add("report");
    Words& words = words_of("report");
    CLI::App& app = *command.app;
    add_depot(app, words);
    app.add_option("-o,--output", report_.output, "FILE   appears whole or not at all");
    add_format(app, words, {"html", "xlsx"});
    app.add_flag("--for-buyer", report_.for_buyer,
                 "of one van what whoever buys it may see: sums by month, no times, no places");
    app.add_option("--van", words.van, "NAME|VIN   with --for-buyer: which one");
    app.add_option("--as-of", words.as_of,
                   "D   what today is; default the last moment in archive and notes");
    app.add_option("--units", words.units, "miles|km   of the page; default miles")
        ->check(CLI::IsMember({"miles", "km"}));
    command.required.emplace_back("-o FILE: a report is a file", [this] {
      return !report_.output.empty() && report_.output != "-";
    });
    command.required.emplace_back("--van NAME with --for-buyer", [this, &app] {
      return !report_.for_buyer || app.count("--van") != 0;
    });
    command.required.emplace_back(
        "--for-buyer with --van: the report is of all vans",
        [this, &app] { return report_.for_buyer || app.count("--van") == 0; });
    command.required.emplace_back("--format html with --for-buyer", [this, &words] {
      return !report_.for_buyer || words.format == "html";
    });
    command.run = [this, &app, &words] {
      report_.depot = given(app, "--depot", words.depot);
      report_.van = given(app, "--van", words.van);
      report_.as_of = given(app, "--as-of", words.as_of);
      report_.units = words.units == "km" ? Units::km : Units::miles;
      report_.format = words.format == "xlsx" ? ReportFormat::xlsx : ReportFormat::html;
      return run_report(report_);
    };
  }

  void add_samples() {
    Command& command = add("samples");
    add_cards(command, samples_.cards);
    command.app
        ->add_option("--signal", samples_.signals,
                     "NAME   only this signal; may be repeated; default all")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    add_format(*command.app, words_of("samples"), {"csv", "json", "xlsx"});
    add_output(*command.app, samples_.output);
    need_file(command, words_of("samples"), samples_.output);
    command.run = [this] {
      samples_.format = format_of(words_of("samples").format);
      return run_samples(samples_);
    };
  }

  void add_sectors() {
    Command& command = add("sectors");
    Words& words = words_of("sectors");
    add_cards(command, sectors_.cards);
    command.app->add_option("--address", words.address,
                            "N   sector of the log, 0 = settings, 32 = first of the ring");
    command.app->add_flag("--raw", sectors_.raw, "the record itself, for protoc");
    command.required.emplace_back("--address N", [&words] { return !words.address.empty(); });
    command.run = [this, &words]() -> ExitCode {
      std::uint64_t address = 0;
      const char* end = words.address.data() + words.address.size();
      const auto [at, error] = std::from_chars(words.address.data(), end, address);
      if (error != std::errc{} || at != end)
        return wrong_usage("--address: '" + words.address + "' is no sector number",
                           "see packmile sectors --help");
      if (sectors_.cards.size() != 1)
        return wrong_usage("sectors takes one CARD at a time", "see packmile sectors --help");
      sectors_.address = address;
      return run_sectors(sectors_);
    };
  }

  void add_signals() {
    Command& command = add("signals");
    Words& words = words_of("signals");
    command.app
        ->add_option("--card", signals_.cards,
                     "CARD   and the owner's signals that this card defines; may be repeated")
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    command.app->add_option("--depot", words.depot,
                            "DIR   and those of its fleet.toml; without it no depot is looked at");
    add_rows_format(command, words, signals_.output);
    command.run = [this, app = command.app, &words] {
      signals_.depot = given(*app, "--depot", words.depot);
      signals_.format = format_of(words_of("signals").format);
      return run_signals(signals_);
    };
  }

  Words& words_of(const std::string& command) { return words_[command]; }

  CLI::App app_{"packmile"};
  std::list<Command> commands_;
  // By command; maps keep the places that CLI11 writes to.
  std::map<std::string, Words> words_;
  std::map<std::string, std::string> outputs_;
  NewOptions new_;
  CLI::App* card_app_ = nullptr;
  CardPrepareOptions prepare_;
  CardReleaseOptions release_;
  CheckOptions check_;
  ImportOptions import_;
  NoteOptions note_;
  SheetOptions sheet_;
  ReportOptions report_;
  SamplesOptions samples_;
  SectorsOptions sectors_;
  SignalsOptions signals_;
};

}  // namespace
}  // namespace packmile::cli

int main(int argc, char** argv) {
  using namespace packmile::cli;
  // Widths of letters in tables; nothing else, or decimal points would turn.
  std::setlocale(LC_CTYPE, "C.UTF-8");
  try {
    return static_cast<int>(Program{}.run(argc, argv));
  } catch (const std::bad_alloc&) {
    say(std::string_view{"out of memory"});
  } catch (const std::exception& e) {
    say(std::string_view{e.what()});
  }
  return static_cast<int>(ExitCode::failed);
}
