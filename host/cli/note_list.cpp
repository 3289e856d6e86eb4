#include "cli/note_list.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "cli/van_rows.hpp"
#include "ledger/nearest.hpp"
#include "ledger/note_entry.hpp"
#include "notes/note_kinds.hpp"

namespace packmile::cli {
namespace {

std::vector<Column> note_columns() {
  return {{"van"},
          {"date", ColumnKind::day},
          {"kind"},
          {"v1"},
          {"v2"},
          {"v3"},
          {"remark"},
          {"id", ColumnKind::count},
          {"replaces", ColumnKind::count, true},
          {"replaced_by", ColumnKind::count, true},
          {"entered", ColumnKind::time, true}};
}

Cell text_cell(std::string text) { return {std::move(text), {}}; }

Cell id_cell(const std::optional<std::uint32_t>& id, const char* why) {
  return id ? Cell{std::int64_t{*id}, {}} : Cell::unknown(why);
}

Row row_of(const Note& note, const Zone& zone) {
  return {text_cell(note.van),
          text_cell(note_date_text(note.when, zone)),
          text_cell(std::string{rule_of(note.kind).word}),
          text_cell(note.values[0].text),
          text_cell(note.values[1].text),
          text_cell(note.values[2].text),
          text_cell(note.remark),
          {std::int64_t{note.id}, {}},
          id_cell(note.replaces, "it stands in place of no other note"),
          id_cell(note.replaced_by, "no other note stands in its place"),
          note.entered ? Cell{*note.entered, {}} : Cell::unknown("typed into notes.csv by hand")};
}

std::vector<std::string> line_of(const Note& note, const Fleet& fleet) {
  const NoteKindRule& rule = rule_of(note.kind);
  std::string values;
  for (std::size_t k = 0; k < rule.values.size(); ++k) {
    const std::string text = value_text(rule.values[k], note.values[k], fleet.currency);
    if (!text.empty()) values += (values.empty() ? "" : ", ") + text;
  }
  std::string state;
  if (note.replaces)
    state = fmt::format("{} {}", note.kind == NoteKind::withdrawn ? "takes back" : "replaces",
                        *note.replaces);
  if (note.replaced_by)
    state += fmt::format("{}no longer holds: see {}", state.empty() ? "" : ", ", *note.replaced_by);
  return {fmt::format("{}", note.id),
          clean_text(note.van),
          note.when.is_day() ? fleet.zone.day(note.when.from) : fleet.zone.minute(note.when.from),
          std::string{rule.word},
          clean_text(values),
          state,
          clean_text(note.remark)};
}

}  // namespace

ExitCode list_notes(const NoteOptions& options, const OpenDepot& open) {
  const Fleet& fleet = open.depot.fleet;
  NotesRead read = read_notes(open.depot);
  for (const Error& error : read.errors) say(error);
  if (!read.errors.empty()) return ExitCode::failed;

  if (options.van) {
    const std::string van = note_van_name(fleet, *options.van);
    std::vector<std::string> known;
    for (const FleetVan& one : fleet.vans) known.push_back(one.name);
    for (const Note& note : read.notes) known.push_back(note.van);
    std::ranges::sort(known);
    const auto twice = std::ranges::unique(known);
    known.erase(twice.begin(), twice.end());
    if (std::ranges::find(known, van) == known.end())
      return wrong_usage(
          "--van: neither fleet.toml nor the notes know '" + van + "'" + did_you_mean(van, known),
          known.empty() ? "there are no notes yet"
                        : fmt::format("known: {}", fmt::join(known, ", ")));
    std::erase_if(read.notes, [&](const Note& note) { return note.van != van; });
  }

  Rows rows{note_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  for (const Note& note : read.notes) {
    if (options.format == Format::table)
      lines.push_back(line_of(note, fleet));
    else
      rows.rows.push_back(row_of(note, fleet.zone));
  }
  RowsOptions where;
  where.format = options.format;
  where.output = options.output;
  return write_rows(where, "note", rows, fleet.zone, [&]() -> Result<std::string> {
    const std::vector<TableColumn> columns{{"id", true},     {"van", false},    {"date", false},
                                           {"kind", false},  {"values", false}, {"state", false},
                                           {"remark", false}};
    return render_table(columns, lines) + fmt::format("{} {}\n\nDepot {}, zone {}.\n", lines.size(),
                                                      lines.size() == 1 ? "note" : "notes",
                                                      clean_text(open.depot.root.string()),
                                                      fleet.zone.name());
  });
}

}  // namespace packmile::cli
