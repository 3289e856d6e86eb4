#include "ledger/note_store.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <fstream>
#include <map>
#include <sstream>
#include <system_error>
#include <utility>

#include "ledger/nearest.hpp"
#include "notes/csv_rows.hpp"
#include "notes/note_kinds.hpp"

namespace packmile {

namespace fs = std::filesystem;

namespace {

enum class NoteColumn : std::uint8_t {
  van,
  date,
  kind,
  v1,
  v2,
  v3,
  remark,
  id,
  replaces,
  entered,
  last
};
constexpr std::array<std::string_view, 11> kColumnNames{
    "van", "date", "kind", "v1", "v2", "v3", "remark", "id", "replaces", "entered", "last"};
// What the store adds to a first line that somebody else wrote.
constexpr std::array kStoreColumns{NoteColumn::van,    NoteColumn::date, NoteColumn::kind,
                                   NoteColumn::v1,     NoteColumn::v2,   NoteColumn::v3,
                                   NoteColumn::remark, NoteColumn::id,   NoteColumn::replaces,
                                   NoteColumn::entered};
// Without these a file says nothing.
constexpr std::array kNeededColumns{NoteColumn::van, NoteColumn::date, NoteColumn::kind,
                                    NoteColumn::v1};

std::string name_of(NoteColumn column) {
  return std::string{kColumnNames[static_cast<std::size_t>(column)]};
}

std::string place_text(const std::string& file, const CsvPlace& at) {
  return fmt::format("{}:{}:{}", file, at.line, at.column);
}

struct Header {
  std::vector<NoteColumn> columns;
  std::vector<Error> errors;
};

Header read_header(const CsvRow& row, const std::string& where) {
  Header out;
  if (row.fields.size() == 1 && row.fields[0].text.find_first_of(";\t") != std::string::npos) {
    out.errors.push_back({"the columns are not separated by commas", place_text(where, row.at),
                          "save the file as CSV with commas between the fields and points in "
                          "numbers"});
    return out;
  }
  const std::vector<std::string> known{kColumnNames.begin(), kColumnNames.end()};
  for (const CsvField& field : row.fields) {
    const auto found = std::ranges::find(kColumnNames, field.text);
    if (found == kColumnNames.end()) {
      out.errors.push_back(
          {fmt::format("there is no column '{}'{}", field.text, did_you_mean(field.text, known)),
           place_text(where, field.at), "the first line is van,date,kind,v1,v2,v3,remark"});
      continue;
    }
    const auto column = static_cast<NoteColumn>(found - kColumnNames.begin());
    if (std::ranges::find(out.columns, column) != out.columns.end())
      out.errors.push_back({fmt::format("the column '{}' stands twice", field.text),
                            place_text(where, field.at), "take one of them away"});
    out.columns.push_back(column);
  }
  for (const NoteColumn column : kNeededColumns)
    if (out.errors.empty() && std::ranges::find(out.columns, column) == out.columns.end())
      out.errors.push_back({fmt::format("the column '{}' is missing", name_of(column)),
                            place_text(where, row.at),
                            "the first line is van,date,kind,v1,v2,v3,remark"});
  return out;
}

NoteLine line_of(const CsvRow& row, const std::vector<NoteColumn>& columns,
                 const std::string& where) {
  NoteLine line;
  const std::string whole = place_text(where, row.at);
  NoteWords& words = line.words;
  words.where = whole;
  words.values.assign(kMostNoteValues, {{}, whole});
  for (NoteWord* word : {&words.van, &words.date, &words.kind, &words.remark, &words.replaces,
                         &line.id, &line.entered})
    word->where = whole;
  for (std::size_t k = 0; k < std::min(columns.size(), row.fields.size()); ++k) {
    NoteWord word{row.fields[k].text, place_text(where, row.fields[k].at)};
    switch (columns[k]) {
      case NoteColumn::van:
        words.van = std::move(word);
        break;
      case NoteColumn::date:
        words.date = std::move(word);
        break;
      case NoteColumn::kind:
        words.kind = std::move(word);
        break;
      case NoteColumn::v1:
        words.values[0] = std::move(word);
        break;
      case NoteColumn::v2:
        words.values[1] = std::move(word);
        break;
      case NoteColumn::v3:
        words.values[2] = std::move(word);
        break;
      case NoteColumn::remark:
        words.remark = std::move(word);
        break;
      case NoteColumn::id:
        line.id = std::move(word);
        break;
      case NoteColumn::replaces:
        words.replaces = std::move(word);
        break;
      case NoteColumn::entered:
        line.entered = std::move(word);
        break;
      case NoteColumn::last:
        break;
    }
  }
  line.of_sheet = std::ranges::find(columns, NoteColumn::last) != columns.end();
  return line;
}

// The file's text, or why not. Absent: there is no such file.
Result<std::optional<std::string>> read_text_of(const fs::path& file) {
  std::error_code failed;
  const auto bytes = fs::file_size(file, failed);
  if (failed == std::errc::no_such_file_or_directory) return std::optional<std::string>{};
  if (!failed && bytes > kLargestNotesBytes)
    return Error{fmt::format("is larger than {} MiB", kLargestNotesBytes >> 20), file.string(),
                 "is it a file of notes?"};
  std::ifstream in{file, std::ios::binary};
  std::ostringstream text;
  if (!failed && bytes > 0) text << in.rdbuf();
  if (failed || !in || !text)
    return Error{
        "cannot be read" + (failed ? ": " + failed.message() : std::string{}), file.string(), {}};
  return std::optional<std::string>{text.str()};
}

// Builds the notes of the store out of its lines.
class StoreReader {
 public:
  explicit StoreReader(const Zone& zone) : zone_(zone) {}

  // False: it is of no use to go on.
  bool take(const NoteLine& line) {
    if (line.of_sheet) {
      complain({"the column 'last' is one of a sheet, not of the notes themselves",
                line.words.where, "packmile note --from FILE.csv enters a sheet"});
      return false;
    }
    auto note = read_note(line.words, zone_);
    if (!note) return complain(note.error());
    note->id = highest_ + 1;
    if (!line.id.text.empty()) {
      note->id = read_note_id(line.id.text);
      if (note->id == 0)
        return complain({fmt::format("'{}' is no id", line.id.text), line.id.where,
                         "a whole number from 1 on, of its own for each note"});
    }
    if (!ids_.emplace(note->id, notes_.size()).second)
      return complain({fmt::format("the id {} stands twice", note->id), line.id.where,
                       "each note has a number of its own"});
    highest_ = std::max(highest_, note->id);
    if (!line.entered.text.empty()) {
      const auto at = zone_.read(line.entered.text);
      if (!at) return complain({at.error().what, line.entered.where, at.error().hint});
      note->entered = *at;
    }
    notes_.push_back(std::move(*note));
    replaces_at_.push_back(line.words.replaces.where);
    return true;
  }

  NotesRead finish(const std::vector<Error>& form) {
    errors_.insert(errors_.end(), form.begin(), form.end());
    if (errors_.empty()) link();
    NotesRead out;
    if (errors_.empty()) {
      out.notes = std::move(notes_);
      return out;
    }
    if (errors_.size() > kMostNoteErrors) {
      errors_.resize(kMostNoteErrors);
      errors_.push_back({"there are more mistakes behind these", {}, {}});
    }
    out.errors = std::move(errors_);
    return out;
  }

 private:
  bool complain(Error error) {
    errors_.push_back(std::move(error));
    return errors_.size() <= kMostNoteErrors;
  }

  // Which note stands in place of which.
  void link() {
    for (std::size_t k = 0; k < notes_.size(); ++k) {
      const Note& note = notes_[k];
      if (!note.replaces) continue;
      const auto found = ids_.find(*note.replaces);
      if (found == ids_.end() || *note.replaces >= note.id) {
        if (!complain({fmt::format("note {} replaces note {}, which is no earlier one", note.id,
                                   *note.replaces),
                       replaces_at_[k], "the id of a note that was entered before"}))
          return;
        continue;
      }
      Note& old = notes_[found->second];
      if (old.replaced_by) {
        if (!complain({fmt::format("note {} is replaced twice, by {} and by {}", old.id,
                                   *old.replaced_by, note.id),
                       replaces_at_[k],
                       fmt::format("the later one replaces note {}", *old.replaced_by)}))
          return;
        continue;
      }
      old.replaced_by = note.id;
    }
  }

  const Zone& zone_;
  std::vector<Note> notes_;
  std::vector<std::string> replaces_at_;
  std::map<std::uint32_t, std::size_t> ids_;
  std::uint32_t highest_ = 0;
  std::vector<Error> errors_;
};

std::string line_text(const Note& note, const std::vector<NoteColumn>& columns, const Zone& zone,
                      const Zone& utc) {
  std::string out;
  for (std::size_t k = 0; k < columns.size(); ++k) {
    if (k > 0) out += ',';
    std::string text;
    switch (columns[k]) {
      case NoteColumn::van:
        text = note.van;
        break;
      case NoteColumn::date:
        text = note_date_text(note.when, zone);
        break;
      case NoteColumn::kind:
        text = rule_of(note.kind).word;
        break;
      case NoteColumn::v1:
        text = note.values[0].text;
        break;
      case NoteColumn::v2:
        text = note.values[1].text;
        break;
      case NoteColumn::v3:
        text = note.values[2].text;
        break;
      case NoteColumn::remark:
        text = note.remark;
        break;
      case NoteColumn::id:
        text = fmt::format("{}", note.id);
        break;
      case NoteColumn::replaces:
        if (note.replaces) text = fmt::format("{}", *note.replaces);
        break;
      case NoteColumn::entered:
        if (note.entered) text = note_date_text({*note.entered, *note.entered}, utc);
        break;
      case NoteColumn::last:
        break;
    }
    out += csv_quoted(text);
  }
  return out;
}

Error cannot(const char* doing, const fs::path& path, int error) {
  std::string hint = "no note was entered";
  if (error == ENOSPC || error == EDQUOT) hint = "make room on the disk; " + hint;
  if (error == EACCES || error == EPERM || error == EROFS)
    hint = "is the disk read-only, or the folder somebody else's? " + hint;
  return {std::string{doing} + ": " + std::generic_category().message(error), path.string(), hint};
}

bool write_all(int fd, std::string_view text) {
  while (!text.empty()) {
    const ssize_t n = ::write(fd, text.data(), text.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return false;
    text.remove_prefix(static_cast<std::size_t>(n));
  }
  return true;
}

// Whole, or as it was.
Result<Done> replace_file(const fs::path& file, std::string_view text) {
  // A link stays one: what it points at is renamed over.
  std::error_code failed;
  fs::path target = fs::canonical(file, failed);
  if (failed) target = file;
  fs::path fresh = target;
  fresh += ".new";
  // Of a change that was killed; a link in its place is not written through.
  ::unlink(fresh.c_str());
  const int fd = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  if (fd < 0) return cannot("cannot be written", fresh, errno);
  struct stat old {};
  bool good = true;
  if (::stat(target.c_str(), &old) == 0) good = ::fchmod(fd, old.st_mode & 0777) == 0;
  good = good && write_all(fd, text) && ::fsync(fd) == 0;
  int error = good ? 0 : errno;
  if (::close(fd) != 0 && good) error = errno;
  if (error == 0 && ::rename(fresh.c_str(), target.c_str()) != 0) error = errno;
  if (error != 0) {
    ::unlink(fresh.c_str());
    return cannot("cannot be written", file, error);
  }
  // The new name is only safe when the folder is. It counts already, and what
  // comes next cannot make it worse: an error here is none of the note's.
  if (const int folder = ::open(target.parent_path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
      folder >= 0) {
    ::fsync(folder);
    ::close(folder);
  }
  return Done{};
}

}  // namespace

bool nothing_filled_in(const NoteLine& line) {
  if (!line.of_sheet || !line.words.remark.text.empty()) return false;
  const NoteKindRule* rule = note_kind_named(line.words.kind.text);
  if (rule == nullptr) return false;
  for (std::size_t k = 0; k < line.words.values.size(); ++k) {
    const bool printed = k < rule->values.size() && !rule->values[k].words.empty();
    if (!printed && !line.words.values[k].text.empty()) return false;
  }
  return true;
}

std::vector<Error> walk_note_lines(std::string_view text, const std::string& where,
                                   const TakeNoteLine& take) {
  std::vector<Error> errors;
  std::optional<std::vector<NoteColumn>> columns;
  bool has_ids = false;
  const auto trouble = read_csv(text, [&](CsvRow&& row) {
    if (!columns) {
      Header header = read_header(row, where);
      errors = std::move(header.errors);
      columns = std::move(header.columns);
      has_ids = std::ranges::find(*columns, NoteColumn::id) != columns->end();
      return errors.empty();
    }
    const auto is_more = row.fields.begin() +
                         static_cast<std::ptrdiff_t>(std::min(columns->size(), row.fields.size()));
    const auto more = std::find_if(is_more, row.fields.end(),
                                   [](const CsvField& field) { return !field.text.empty(); });
    if (more != row.fields.end()) {
      errors.push_back(
          {fmt::format("'{}' is more than the {} fields of the first line", more->text,
                       columns->size()),
           place_text(where, more->at),
           "a text with commas in it stands in quotes; decimals stand behind a point"});
      return errors.size() <= kMostNoteErrors;
    }
    return take(line_of(row, *columns, where), has_ids);
  });
  if (trouble) errors.push_back({trouble->what, place_text(where, trouble->at), trouble->hint});
  if (!columns && errors.empty())
    errors.push_back({"is empty", where, "the first line is van,date,kind,v1,v2,v3,remark"});
  return errors;
}

std::vector<Error> walk_note_file(const fs::path& file, const TakeNoteLine& take) {
  const auto text = read_text_of(file);
  if (!text) return {text.error()};
  if (!*text) return {{"there is no such file", file.string(), {}}};
  return walk_note_lines(**text, file.string(), take);
}

NotesRead parse_notes(std::string_view text, const std::string& where, const Zone& zone) {
  // An editor may leave nothing at all.
  if (text.empty()) return {};
  StoreReader reader{zone};
  const std::vector<Error> form =
      walk_note_lines(text, where, [&](const NoteLine& line, bool) { return reader.take(line); });
  return reader.finish(form);
}

Result<std::string> read_notes_text(const fs::path& file) {
  auto text = read_text_of(file);
  if (!text) return text.error();
  return std::move(*text).value_or(std::string{});
}

std::string with_notes(std::string_view text, const std::vector<Note>& fresh, const Zone& zone) {
  if (text.empty()) text = kNotesHeader;
  std::vector<NoteColumn> columns;
  std::size_t header_end = 0;
  static_cast<void>(read_csv(text, [&](CsvRow&& row) {
    columns = read_header(row, {}).columns;
    header_end = row.end;
    return false;
  }));
  const std::string_view line_end =
      text.substr(std::min(header_end, text.size())).starts_with("\r\n") ? "\r\n" : "\n";
  std::string out{text.substr(0, header_end)};
  for (const NoteColumn column : kStoreColumns) {
    if (std::ranges::find(columns, column) != columns.end()) continue;
    columns.push_back(column);
    out += "," + name_of(column);
  }
  out += text.substr(header_end);
  if (!out.ends_with('\n') && !out.ends_with('\r')) out += line_end;
  const auto utc = Zone::find("UTC");
  for (const Note& note : fresh) {
    out += line_text(note, columns, zone, utc ? *utc : zone);
    out += line_end;
  }
  return out;
}

Result<NoteStore> NoteStore::open(const fs::path& folder, const Zone& zone) {
  const int lock = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (lock < 0) return cannot("cannot be read", folder, errno);
  NoteStore store{folder / kNotesFileName, zone, lock};
  while (::flock(lock, LOCK_EX) != 0)
    if (errno != EINTR) return cannot("cannot be locked", folder, errno);
  auto text = read_notes_text(store.file_);
  if (!text) return text.error();
  store.text_ = std::move(*text);
  NotesRead read = parse_notes(store.text_, store.file_.string(), zone);
  if (!read.errors.empty()) {
    Error first = read.errors.front();
    if (read.errors.size() > 1)
      first.hint += fmt::format("; packmile note --list shows all {} mistakes", read.errors.size());
    return first;
  }
  store.notes_ = std::move(read.notes);
  return store;
}

NoteStore::NoteStore(NoteStore&& other) noexcept
    : file_(std::move(other.file_)),
      zone_(std::move(other.zone_)),
      lock_(std::exchange(other.lock_, -1)),
      text_(std::move(other.text_)),
      notes_(std::move(other.notes_)) {}

NoteStore::~NoteStore() {
  if (lock_ >= 0) ::close(lock_);
}

Result<Done> NoteStore::append(const std::vector<Note>& fresh) {
  if (fresh.empty()) return Done{};
  std::string text = with_notes(text_, fresh, zone_);
  if (text.size() > kLargestNotesBytes)
    return Error{fmt::format("would be larger than {} MiB", kLargestNotesBytes >> 20),
                 file_.string(), "no note was entered"};
  if (auto done = replace_file(file_, text); !done) return done.error();
  text_ = std::move(text);
  notes_.insert(notes_.end(), fresh.begin(), fresh.end());
  return Done{};
}

}  // namespace packmile
