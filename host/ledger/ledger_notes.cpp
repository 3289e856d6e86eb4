// The note table of the ledger.
#include "ledger/ledger.hpp"
#include "notes/note_kinds.hpp"

namespace packmile {

Result<Done> Ledger::replace_notes(const std::vector<Note>& notes) {
  if (auto done = db_.run("DELETE FROM note"); !done) return done.error();
  auto statement = Statement::prepare(
      db_,
      "INSERT INTO note(id,van,\"from\",\"to\",kind,v1,number1,v2,number2,v3,number3,remark,"
      "replaces,replaced_by,entered) VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15)");
  if (!statement) return statement.error();
  for (const Note& note : notes) {
    const NoteKindRule& rule = rule_of(note.kind);
    int next = 1;
    const auto bind_number = [&](const std::optional<std::uint32_t>& number) {
      number ? statement->bind(next++, std::int64_t{*number}) : statement->bind_null(next++);
    };
    statement->bind(next++, std::int64_t{note.id});
    statement->bind(next++, std::string_view{note.van});
    statement->bind(next++, std::int64_t{note.when.from.time_since_epoch().count()});
    statement->bind(next++, std::int64_t{note.when.to.time_since_epoch().count()});
    statement->bind(next++, rule.word);
    for (std::size_t k = 0; k < note.values.size(); ++k) {
      const NoteValue& value = note.values[k];
      const bool there = !value.text.empty();
      const bool number = there && rule.values[k].unit != NoteUnit::text;
      there ? statement->bind(next++, std::string_view{value.text}) : statement->bind_null(next++);
      number ? statement->bind(next++, value.number) : statement->bind_null(next++);
    }
    statement->bind(next++, std::string_view{note.remark});
    bind_number(note.replaces);
    bind_number(note.replaced_by);
    note.entered ? statement->bind(next++, std::int64_t{note.entered->time_since_epoch().count()})
                 : statement->bind_null(next++);
    if (auto done = statement->run(); !done) return done.error();
  }
  return Done{};
}

Result<std::int64_t> Ledger::notes() { return db_.number("SELECT count(*) FROM note"); }

Result<std::vector<Note>> Ledger::notes_of(std::string_view van) {
  auto statement = Statement::prepare(
      db_,
      "SELECT id,\"from\",\"to\",kind,v1,v2,v3,remark,replaces,entered FROM note "
      "WHERE van=?1 AND replaced_by IS NULL ORDER BY \"from\",\"to\",id");
  if (!statement) return statement.error();
  statement->bind(1, van);
  const auto utc = [](std::int64_t ms) { return UtcTime{std::chrono::milliseconds{ms}}; };
  std::vector<Note> out;
  for (;;) {
    const auto row = statement->step();
    if (!row) return row.error();
    if (!*row) return out;
    const Statement& s = *statement;
    const NoteKindRule* rule = note_kind_named(s.text(3));
    if (rule == nullptr || rule->kind == NoteKind::withdrawn) continue;
    Note note;
    note.id = static_cast<std::uint32_t>(s.integer(0));
    note.van = van;
    note.when = {utc(s.integer(1)), utc(s.integer(2))};
    note.kind = rule->kind;
    // The text is the value; number and step come from it wherever it is read.
    for (std::size_t k = 0; k < rule->values.size(); ++k) {
      const int column = 4 + static_cast<int>(k);
      if (s.is_null(column)) continue;
      auto value = read_note_value(rule->values[k], s.text(column));
      if (auto* read = std::get_if<NoteValue>(&value)) note.values[k] = std::move(*read);
    }
    note.remark = s.text(7);
    if (!s.is_null(8)) note.replaces = static_cast<std::uint32_t>(s.integer(8));
    if (!s.is_null(9)) note.entered = utc(s.integer(9));
    out.push_back(std::move(note));
  }
}

Result<std::vector<std::string>> Ledger::noted_vans() {
  auto statement = Statement::prepare(
      db_, "SELECT DISTINCT van FROM note WHERE replaced_by IS NULL AND kind<>?1 ORDER BY van");
  if (!statement) return statement.error();
  statement->bind(1, rule_of(NoteKind::withdrawn).word);
  std::vector<std::string> out;
  for (;;) {
    const auto row = statement->step();
    if (!row) return row.error();
    if (!*row) return out;
    out.push_back(statement->text(0));
  }
}

Result<VanNotes> van_notes(Ledger& ledger, std::string_view van) {
  const auto notes = ledger.notes_of(van);
  if (!notes) return notes.error();
  return van_notes_of(*notes, van);
}

}  // namespace packmile
