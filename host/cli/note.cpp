// packmile note: what only people know, into notes.csv.
#include <fmt/format.h>

#include <chrono>
#include <iostream>
#include <map>
#include <set>
#include <sstream>

#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"
#include "cli/note_charge.hpp"
#include "cli/note_list.hpp"
#include "cli/note_wear.hpp"
#include "ledger/note_entry.hpp"
#include "notes/note_kinds.hpp"

namespace packmile::cli {
namespace {

UtcTime now() {
  return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
}

// What has been said of doubts and of vans, each once.
class Doubts {
 public:
  void add(const EnteredNote& note) {
    for (const std::string& doubt : note.doubts)
      if (seen_.insert(doubt).second)
        lines_ += fmt::format("packmile: note {}: {}\n", note.id, clean_text(doubt));
    if (!note.new_van.empty()) vans_.insert(note.new_van);
  }
  void print(const Depot& depot) const {
    fmt::print(stderr, "{}", lines_);
    if (vans_.empty()) return;
    fmt::print(stderr, "{} does not know every van; paste and complete:\n",
               clean_text((depot.root / kFleetFileName).string()));
    for (const std::string& van : vans_) fmt::print(stderr, "\n{}", van_lines(van, {}));
  }

 private:
  std::set<std::string> seen_;
  std::set<std::string> vans_;
  std::string lines_;
};

std::string answer_line(const EnteredNote& note) {
  return fmt::format("note {}: {}\n", note.id, clean_text(note.answer));
}

// The place for a change of the notes. None: the error has been said.
std::optional<NoteEntry> begin(OpenDepot& open) {
  const auto vans = open.ledger.vans();
  if (!vans) {
    say(vans.error());
    return std::nullopt;
  }
  std::vector<VanNames> names;
  for (const LedgerVan& van : *vans) names.push_back(van.names);
  auto entry = NoteEntry::begin(open.depot.root, open.depot.fleet, std::move(names), now());
  if (!entry) {
    say(entry.error());
    return std::nullopt;
  }
  return std::move(*entry);
}

// The notes are in; the ledger follows.
ExitCode follow(OpenDepot& open, const std::set<std::uint32_t>& entered) {
  return refresh(open) && tell_charges(open, entered) && tell_wear(open, entered)
             ? ExitCode::done
             : ExitCode::failed;
}

ExitCode enter_words(const NoteOptions& options, OpenDepot& open) {
  NoteWords words;
  words.van = {options.van.value_or(""), "--van"};
  words.date = {options.date.value_or(""), "--date"};
  words.kind = {options.words.front(), {}};
  words.remark = {options.remark.value_or(""), "--remark"};
  words.replaces = {options.replaces.value_or(""), "--replaces"};
  for (std::size_t k = 1; k < options.words.size(); ++k)
    words.values.push_back({options.words[k], {}});

  Doubts doubts;
  std::set<std::uint32_t> entered;
  {
    auto entry = begin(open);
    if (!entry) return ExitCode::failed;
    const auto note = entry->add(words);
    if (!note) {
      say(note.error());
      return ExitCode::usage;
    }
    if (const auto kept = entry->commit(); !kept) {
      say(kept.error());
      return ExitCode::failed;
    }
    fmt::print("{}", answer_line(*note));
    doubts.add(*note);
    entered.insert(note->id);
  }
  doubts.print(open.depot);
  return follow(open, entered);
}

// One file into one change.
class FileOfNotes {
 public:
  // `date`: of lines that have none; empty: each must have one.
  FileOfNotes(std::string name, std::string date, NoteEntry& entry)
      : name_(std::move(name)), date_(std::move(date)), entry_(entry) {}

  // The mistakes, in the order in which they were found; then nothing is to be
  // kept.
  std::vector<Error> read() {
    const auto take = [this](const NoteLine& line, bool has_ids) {
      return take_line(line, has_ids);
    };
    std::vector<Error> form;
    if (name_ == "-") {
      std::string text;
      for (char buffer[4096]; std::cin.read(buffer, sizeof buffer) || std::cin.gcount() > 0;) {
        text.append(buffer, static_cast<std::size_t>(std::cin.gcount()));
        if (text.size() > kLargestNotesBytes)
          return {{fmt::format("is larger than {} MiB", kLargestNotesBytes >> 20), "standard input",
                   "is it a file of notes?"}};
      }
      form = walk_note_lines(text, "standard input", take);
    } else {
      form = walk_note_file(name_, take);
    }
    errors_.insert(errors_.end(), form.begin(), form.end());
    return std::move(errors_);
  }

  [[nodiscard]] std::size_t known() const { return known_; }
  // Lines of a sheet in which nothing was filled in.
  [[nodiscard]] std::size_t passed_over() const { return passed_over_; }
  [[nodiscard]] const std::string& answers() const { return answers_; }
  [[nodiscard]] const Doubts& doubts() const { return doubts_; }
  [[nodiscard]] const std::set<std::uint32_t>& entered() const { return entered_; }

 private:
  bool take_line(const NoteLine& line, bool has_ids) {
    if (nothing_filled_in(line)) {
      ++passed_over_;
      return true;
    }
    NoteWords words = line.words;
    if (words.date.text.empty() && !date_.empty()) words.date = {date_, "--date"};
    std::uint32_t id = 0;
    if (has_ids) {
      // Another depot's notes.csv: its numbers are not ours.
      id = line.id.text.empty() ? highest_ + 1 : read_note_id(line.id.text);
      if (id == 0 || ours_.contains(id))
        return complain({fmt::format("'{}' is no id, or stands twice", line.id.text), line.id.where,
                         "a whole number from 1 on, of its own for each note"});
      highest_ = std::max(highest_, id);
      if (const std::uint32_t old = read_note_id(words.replaces.text); old != 0) {
        const auto found = ours_.find(old);
        if (found == ours_.end())
          return complain({fmt::format("the note {} to replace is in no line before this", old),
                           words.replaces.where,
                           "in a file with a column id, replaces means an id of this file"});
        words.replaces.text = fmt::format("{}", found->second);
      }
    }
    const auto note = entry_.add(words);
    if (!note) return complain(note.error());
    if (has_ids) ours_[id] = note->id;
    if (note->outcome == EnteredNote::Outcome::known) ++known_;
    answers_ += answer_line(*note);
    doubts_.add(*note);
    if (note->outcome == EnteredNote::Outcome::entered) entered_.insert(note->id);
    return true;
  }

  bool complain(Error error) {
    errors_.push_back(std::move(error));
    return errors_.size() < kMostNoteErrors;
  }

  std::string name_;
  std::string date_;
  NoteEntry& entry_;
  std::vector<Error> errors_;
  std::string answers_;
  Doubts doubts_;
  std::set<std::uint32_t> entered_;
  std::size_t known_ = 0;
  std::size_t passed_over_ = 0;
  std::map<std::uint32_t, std::uint32_t> ours_;  // id in the file, id in the depot
  std::uint32_t highest_ = 0;
};

// The first code that is not done counts.
ExitCode enter_file(const std::string& name, const std::string& date, OpenDepot& open,
                    std::set<std::uint32_t>& entered) {
  auto entry = begin(open);
  if (!entry) return ExitCode::failed;
  FileOfNotes file{name, date, *entry};
  const auto errors = file.read();
  for (const Error& error : errors) say(error);
  const std::string shown = clean_text(name == "-" ? "standard input" : name);
  if (!errors.empty()) {
    fmt::print(stderr, "{}: nothing was entered{}\n", shown,
               errors.size() >= kMostNoteErrors ? "; there may be more mistakes" : "");
    // A file that cannot be read is no mistake in it.
    return errors.front().where == name ? ExitCode::failed : ExitCode::usage;
  }
  if (const auto kept = entry->commit(); !kept) {
    say(kept.error());
    return ExitCode::failed;
  }
  fmt::print("{}{}: entered {} {}", file.answers(), shown, entry->added(),
             entry->added() == 1 ? "note" : "notes");
  if (file.known() > 0)
    fmt::print("; {} {} there already", file.known(), file.known() == 1 ? "was" : "were");
  if (file.passed_over() > 0)
    fmt::print("; {} {} nothing filled in", file.passed_over(),
               file.passed_over() == 1 ? "line has" : "lines have");
  fmt::print("\n");
  file.doubts().print(open.depot);
  entered.insert(file.entered().begin(), file.entered().end());
  return ExitCode::done;
}

ExitCode enter_files(const NoteOptions& options, OpenDepot& open) {
  ExitCode code = ExitCode::done;
  std::set<std::uint32_t> entered;
  for (const std::string& name : options.files)
    if (const ExitCode one = enter_file(name, options.date.value_or(""), open, entered);
        code == ExitCode::done)
      code = one;
  const ExitCode followed = follow(open, entered);
  return code == ExitCode::done ? followed : code;
}

}  // namespace

ExitCode run_note(const NoteOptions& options) {
  constexpr char kHelp[] = "see packmile note --help";
  // A day may go with a file: that of its lines without one.
  const bool single = !options.words.empty() || (options.date && options.files.empty()) ||
                      options.remark || options.replaces;
  if (int{single} + int{!options.files.empty()} + int{options.list} > 1 ||
      (!options.files.empty() && options.van))
    return wrong_usage("a note, --from FILE.csv and --list do not go together", kHelp);
  if (options.files.empty() && !options.list) {
    const std::string kinds = "KIND is one of: " + note_kind_words();
    if (options.words.empty()) return wrong_usage("note needs a KIND of note", kinds);
    if (!options.van) return wrong_usage("note needs --van NAME", kHelp);
    if (!options.date) return wrong_usage("note needs --date DAY", kHelp);
  }
  auto open = open_depot(options.depot);
  if (!open) return ExitCode::failed;
  if (options.list) return list_notes(options, *open);
  // All mistakes of the file at once, before anything is asked of it.
  const NotesRead read = read_notes(open->depot);
  for (const Error& error : read.errors) say(error);
  if (!read.errors.empty()) return ExitCode::failed;
  // What the archive has come to know since.
  if (!refresh(*open)) return ExitCode::failed;
  return options.files.empty() ? enter_words(options, *open) : enter_files(options, *open);
}

}  // namespace packmile::cli
