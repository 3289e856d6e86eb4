// Entering notes: each is judged against what the depot knows, all of one change
// are kept together or not at all.
//
// Rules     a van is known by fleet.toml or by the archive; a name that is within
//           two letters of a known one is refused, any other is a new van. What was
//           entered before is recognised and not entered again, also when it was
//           corrected since. Two of one van, time and kind with other values are
//           refused, but where several a day are ordinary (receipt, meter).
#pragma once
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "ledger/fleet.hpp"
#include "ledger/note_store.hpp"
#include "ledger/row.hpp"
#include "notes/note_kinds.hpp"
#include "result.hpp"

namespace packmile {

// A clock that is a year wrong, or a year that is: more is refused, less is said.
inline constexpr std::chrono::days kFurthestAhead{366};

// The name by which a van's notes are kept: that of fleet.toml where it knows the
// name or the VIN.
[[nodiscard]] std::string note_van_name(const Fleet& fleet, const std::string& word);

struct EnteredNote {
  enum class Outcome : std::uint8_t { entered, known };
  Outcome outcome = Outcome::entered;
  std::uint32_t id = 0;             // its own, or that of the one that was there
  std::string answer;               // one sentence: what it changed
  std::vector<std::string> doubts;  // looks wrong, and was taken
  std::string new_van;              // its name, where nobody knew it; else empty
};

class NoteEntry {
 public:
  // Takes the one place for a change of the notes. `archive_vans`: those that the
  // ledger knows.
  [[nodiscard]] static Result<NoteEntry> begin(const std::filesystem::path& depot,
                                               const Fleet& fleet,
                                               std::vector<VanNames> archive_vans, UtcTime now);

  // Error: at the place of the word that is wrong; nothing was added.
  [[nodiscard]] Result<EnteredNote> add(const NoteWords& words);
  [[nodiscard]] std::size_t added() const { return fresh_.size(); }
  // All that was added, or nothing.
  [[nodiscard]] Result<Done> commit() { return store_.append(fresh_); }

 private:
  NoteEntry(NoteStore store, const Fleet& fleet, std::vector<VanNames> archive_vans, UtcTime now);

  [[nodiscard]] Result<Done> find_van(const NoteWord& word, Note& note, EnteredNote& out) const;
  [[nodiscard]] Result<Done> judge_date(const NoteWord& word, const Note& note,
                                        EnteredNote& out) const;
  [[nodiscard]] Result<const Note*> find_replaced(const NoteWords& words, const Note& note) const;
  [[nodiscard]] const Note* find_same(const Note& note) const;
  // Those of its van and of a kind that hold, in order of time, without the one
  // that it replaces.
  [[nodiscard]] std::vector<const Note*> beside(const Note& note, NoteKind kind) const;
  [[nodiscard]] std::optional<Bought> bought(const std::string& van) const;
  [[nodiscard]] EnteredNote known_already(const Note& same) const;
  void keep(const Note& note);

  NoteStore store_;
  const Fleet& fleet_;
  std::vector<VanNames> archive_vans_;
  UtcTime now_;
  // The store's and the fresh ones, by id.
  std::map<std::uint32_t, Note> notes_;
  // Of one van and kind, in order of time, then id.
  std::map<std::pair<std::string, NoteKind>, std::vector<std::uint32_t>> by_van_;
  std::vector<Note> fresh_;
  std::set<std::string> new_vans_;  // of this change: said once
};

}  // namespace packmile
