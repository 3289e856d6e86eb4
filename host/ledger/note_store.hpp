// notes.csv: every note of a depot, in the order in which they were entered.
//
// Standard  RFC 4180, UTF-8. Columns by name: van, date, kind, v1, v2, v3, remark,
//           id, replaces, entered. The first seven are a contract, the same as of
//           the files that `packmile note --from` takes; the others are the
//           store's own: a correction has to name what it corrects. id counts from
//           1 and is never used twice; a line without one, typed by hand, has the
//           number after the highest before it. replaces is the id of the note that
//           this one stands in place of. entered is when, by the machine's clock.
// Rule      append-only: bytes that are there are never changed, but that a first
//           line without the store's own columns gets them. A file with any mistake
//           is neither used nor written.
// Method    a change is written beside the file under another name, synced, and
//           renamed into place: whoever reads sees the old file or the new one,
//           never half a line. (The archive has its undo file instead, because its
//           files are large; these few lines are also read by other programs, which
//           know nothing of ours.) One change at a time: a lock on the folder.
// Bounded   kLargestNotesBytes.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/note_words.hpp"
#include "calendar/zone.hpp"
#include "notes/note.hpp"
#include "result.hpp"

namespace packmile {

// A hundred vans with a note a day for ten years are 25 MB.
inline constexpr std::uintmax_t kLargestNotesBytes = 32u << 20;
// More mistakes than this say no more.
inline constexpr std::size_t kMostNoteErrors = 20;

inline constexpr char kNotesFileName[] = "notes.csv";
// Of a new depot: what somebody has to know who types notes by hand.
inline constexpr char kNotesHeader[] = "van,date,kind,v1,v2,v3,remark\n";

// One line of a CSV file of notes.
struct NoteLine {
  NoteWords words;
  NoteWord id, entered;
  // The file has the column `last` of `packmile sheet`, which says what was known
  // when it was printed.
  bool of_sheet = false;
};

// A line of a sheet that came back as it was printed, or with its date alone.
[[nodiscard]] bool nothing_filled_in(const NoteLine& line);

// Calls `take` for each line in order, as long as it answers true; has_ids: there
// is a column id. Answers what is wrong with the file's form, in order of lines;
// `where` is the name that stands in front of line and column.
using TakeNoteLine = std::function<bool(const NoteLine& line, bool has_ids)>;
[[nodiscard]] std::vector<Error> walk_note_lines(std::string_view text, const std::string& where,
                                                 const TakeNoteLine& take);
[[nodiscard]] std::vector<Error> walk_note_file(const std::filesystem::path& file,
                                                const TakeNoteLine& take);

struct NotesRead {
  std::vector<Note> notes;  // all that ever were, in order of the file; none when there are errors
  std::vector<Error> errors;  // in order of lines; at most kMostNoteErrors and one that counts
};
[[nodiscard]] NotesRead parse_notes(std::string_view text, const std::string& where,
                                    const Zone& zone);
// The file's text; a file that is not there holds no notes.
[[nodiscard]] Result<std::string> read_notes_text(const std::filesystem::path& file);

// The whole text with these notes behind it; `text` is one that parse_notes() has
// no errors in, or is empty.
[[nodiscard]] std::string with_notes(std::string_view text, const std::vector<Note>& fresh,
                                     const Zone& zone);

// The one change that is under way. Others wait until it is gone.
class NoteStore {
 public:
  // Locks the folder and reads the file. Error: also the first mistake in it.
  [[nodiscard]] static Result<NoteStore> open(const std::filesystem::path& folder,
                                              const Zone& zone);
  NoteStore(NoteStore&& other) noexcept;
  NoteStore& operator=(NoteStore&&) = delete;
  ~NoteStore();

  [[nodiscard]] const std::vector<Note>& notes() const { return notes_; }
  // Afterwards the notes are on the disk, or the file is what it was.
  [[nodiscard]] Result<Done> append(const std::vector<Note>& fresh);

 private:
  NoteStore(std::filesystem::path file, const Zone& zone, int lock)
      : file_(std::move(file)), zone_(zone), lock_(lock) {}

  std::filesystem::path file_;
  Zone zone_;
  int lock_ = -1;
  std::string text_;
  std::vector<Note> notes_;
};

}  // namespace packmile
