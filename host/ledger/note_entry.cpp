#include "ledger/note_entry.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "ledger/nearest.hpp"
#include "ledger/part_words.hpp"
#include "notes/note_kinds.hpp"

namespace packmile {
namespace {

// Names as different as this are two vans.
constexpr std::size_t kSlipLetters = 2;

std::string lower(std::string_view text) {
  std::string out{text};
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

// One is the other with a slip in it; a change of every letter is none.
bool looks_like(std::string_view word, std::string_view known) {
  const std::size_t distance = edit_distance(lower(word), lower(known));
  return distance <= kSlipLetters && distance < std::max(word.size(), known.size());
}

// As in tables: for people, who know their depot's zone.
std::string shown_time(const NoteTime& when, const Zone& zone) {
  return when.is_day() ? zone.day(when.from) : zone.minute(when.from);
}

}  // namespace

std::string note_van_name(const Fleet& fleet, const std::string& word) {
  if (fleet.van_of_name(word) != nullptr) return word;
  const FleetVan* van = fleet.van_of_vin(word);
  return van == nullptr ? word : van->name;
}

Result<NoteEntry> NoteEntry::begin(const std::filesystem::path& depot, const Fleet& fleet,
                                   std::vector<VanNames> archive_vans, UtcTime now) {
  auto store = NoteStore::open(depot, fleet.zone);
  if (!store) return store.error();
  return NoteEntry{std::move(*store), fleet, std::move(archive_vans), now};
}

NoteEntry::NoteEntry(NoteStore store, const Fleet& fleet, std::vector<VanNames> archive_vans,
                     UtcTime now)
    : store_(std::move(store)),
      fleet_(fleet),
      archive_vans_(std::move(archive_vans)),
      now_(std::chrono::floor<std::chrono::seconds>(now)) {
  for (Note note : store_.notes()) {
    note.van = note_van_name(fleet_, note.van);
    keep(note);
  }
}

void NoteEntry::keep(const Note& note) {
  notes_[note.id] = note;
  auto& ids = by_van_[{note.van, note.kind}];
  const auto key = [&](std::uint32_t id) {
    const Note& one = notes_.at(id);
    return std::tuple{one.when.from, one.when.to, one.id};
  };
  ids.insert(std::ranges::upper_bound(ids, key(note.id), {}, key), note.id);
}

Result<Done> NoteEntry::find_van(const NoteWord& word, Note& note, EnteredNote& out) const {
  note.van = note_van_name(fleet_, note.van);
  if (fleet_.van_of_name(note.van) != nullptr) return Done{};
  std::vector<std::string> known;
  for (const FleetVan& van : fleet_.vans) {
    known.push_back(van.name);
    if (!van.vin.empty()) known.push_back(van.vin);
  }
  for (const VanNames& van : archive_vans_) {
    if (note.van == van.van || (!van.vin.empty() && note.van == van.vin)) {
      note.van = van.van;
      return Done{};
    }
    known.push_back(van.van);
    if (!van.vin.empty()) known.push_back(van.vin);
  }
  for (const std::string& name : known)
    if (looks_like(note.van, name))
      return Error{fmt::format("neither fleet.toml nor the archive knows the van '{}'; did you "
                               "mean '{}'?",
                               note.van, name),
                   word.where,
                   "write the name as it stands in fleet.toml; a new van with a name as like as "
                   "this goes into fleet.toml first"};
  if (new_vans_.contains(note.van)) return Done{};
  const bool noted_before = std::ranges::any_of(
      by_van_, [&](const auto& entry) { return entry.first.first == note.van; });
  if (noted_before) {
    out.doubts.push_back(
        fmt::format("{} is in notes alone: fleet.toml does not know this van", note.van));
    return Done{};
  }
  out.new_van = note.van;
  out.doubts.push_back(
      fmt::format("{} is taken for a new van: fleet.toml does not know it", note.van));
  for (const auto& [key, ids] : by_van_)
    if (looks_like(note.van, key.first)) {
      out.doubts.push_back(fmt::format("{} looks like {}, which has notes", note.van, key.first));
      break;
    }
  return Done{};
}

Result<Done> NoteEntry::judge_date(const NoteWord& word, const Note& note, EnteredNote& out) const {
  if (note.when.from <= now_) return Done{};
  const std::string today = fleet_.zone.day(now_);
  if (note.when.from > now_ + kFurthestAhead)
    return Error{
        fmt::format("'{}' is more than a year ahead of this machine's {}", word.text, today),
        word.where, "is the year right? and is the machine's clock?"};
  out.doubts.push_back(fmt::format("{} is still to come: by this machine's clock it is {}",
                                   shown_time(note.when, fleet_.zone), today));
  return Done{};
}

// nullptr: the note replaces none.
Result<const Note*> NoteEntry::find_replaced(const NoteWords& words, const Note& note) const {
  if (!note.replaces) return static_cast<const Note*>(nullptr);
  const auto found = notes_.find(*note.replaces);
  if (found == notes_.end())
    return Error{fmt::format("there is no note {}", *note.replaces), words.replaces.where,
                 "packmile note --list shows the numbers"};
  const Note& old = found->second;
  if (old.replaced_by)
    return Error{fmt::format("note {} was replaced by note {} already", old.id, *old.replaced_by),
                 words.replaces.where,
                 fmt::format("to correct that one: --replaces {}", *old.replaced_by)};
  const bool same_kind =
      note.kind == old.kind || note.kind == NoteKind::withdrawn || old.kind == NoteKind::withdrawn;
  if (!same_kind)
    return Error{fmt::format("note {} is of the kind {}, and this one of the kind {}", old.id,
                             rule_of(old.kind).word, rule_of(note.kind).word),
                 words.replaces.where,
                 fmt::format("is the number right? to take note {} back: withdrawn --replaces {}",
                             old.id, old.id)};
  if (note.kind == NoteKind::withdrawn && old.kind == NoteKind::withdrawn)
    return Error{fmt::format("note {} takes back a note itself", old.id), words.replaces.where,
                 fmt::format("enter the note anew, with --replaces {}", old.id)};
  return &old;
}

const Note* NoteEntry::find_same(const Note& note) const {
  const auto ids = by_van_.find({note.van, note.kind});
  if (ids == by_van_.end()) return nullptr;
  for (const std::uint32_t id : ids->second) {
    const Note& one = notes_.at(id);
    if (says_the_same(one, note) && (!note.replaces || one.replaces == note.replaces)) return &one;
  }
  return nullptr;
}

std::vector<const Note*> NoteEntry::beside(const Note& note, NoteKind kind) const {
  std::vector<const Note*> out;
  const auto ids = by_van_.find({note.van, kind});
  if (ids == by_van_.end()) return out;
  for (const std::uint32_t id : ids->second) {
    const Note& one = notes_.at(id);
    if (one.holds() && one.id != note.replaces.value_or(0)) out.push_back(&one);
  }
  return out;
}

std::optional<Bought> NoteEntry::bought(const std::string& van) const {
  const FleetVan* known = fleet_.van_of_name(van);
  if (known == nullptr || !known->purchase) return std::nullopt;
  const auto& [day, sum, odometer_km] = *known->purchase;
  const auto from = fleet_.zone.read(fmt::format("{:04}-{:02}-{:02}", int{day.year()},
                                                 unsigned{day.month()}, unsigned{day.day()}));
  if (!from) return std::nullopt;
  const Zone::Day local = fleet_.zone.day_of(*from);
  return Bought{{local.from, local.to}, sum, odometer_km};
}

EnteredNote NoteEntry::known_already(const Note& same) const {
  EnteredNote out;
  out.outcome = EnteredNote::Outcome::known;
  out.id = same.id;
  out.answer = fmt::format("{}, {} on {}: there already, not entered again", same.van,
                           note_text(same, fleet_.currency), shown_time(same.when, fleet_.zone));
  if (!same.replaced_by) {
    if (rule_of(same.kind).several_a_day && same.when.is_day())
      out.answer += "; if it was a second one, give it its time of day";
    return out;
  }
  const Note* last = &notes_.at(*same.replaced_by);
  while (last->replaced_by) last = &notes_.at(*last->replaced_by);
  out.answer += fmt::format("; it was {} by note {}: to bring it back, --replaces {}",
                            last->kind == NoteKind::withdrawn ? "taken back" : "replaced", last->id,
                            last->id);
  return out;
}

Result<EnteredNote> NoteEntry::add(const NoteWords& words) {
  auto read = read_note(words, fleet_.zone);
  if (!read) return read.error();
  Note& note = *read;
  EnteredNote out;
  if (auto done = find_van(words.van, note, out); !done) return done.error();
  if (auto done = judge_date(words.date, note, out); !done) return done.error();
  if (const Note* same = find_same(note)) return known_already(*same);
  const auto replaced = find_replaced(words, note);
  if (!replaced) return replaced.error();

  const NoteKindRule& rule = rule_of(note.kind);
  note.id = notes_.empty() ? 1 : notes_.rbegin()->first + 1;
  note.entered = now_;
  if (note.id > kMostNoteId)
    return Error{fmt::format("there is no id left behind {}", kMostNoteId), words.where,
                 "give the note of that id in notes.csv the next free one"};
  const auto others = beside(note, note.kind);
  const auto date_text = [&](const NoteTime& when) { return shown_time(when, fleet_.zone); };
  if (!rule.several_a_day) {
    const auto rival = std::ranges::find_if(others, [&](const Note* other) {
      return other->when == note.when &&
             (!rule.by_place || other->values[0].text == note.values[0].text);
    });
    if (rival != others.end())
      return Error{
          fmt::format("{} has {} on {} already (note {})", note.van,
                      note_text(**rival, fleet_.currency), date_text(note.when), (*rival)->id),
          words.where,
          fmt::format("to correct it: --replaces {}; if both are right, give each its time "
                      "of day (2026-03-01T18:30)",
                      (*rival)->id)};
  }
  const NoteSetting setting{others, fleet_.currency, date_text,
                            [&](NoteKind kind) { return beside(note, kind); }, bought(note.van)};
  NoteJudgement judged = rule.judge(note, setting);
  if (judged.mistake) {
    const auto& value = judged.mistake->value;
    const std::string& where =
        value && *value < words.values.size() ? words.values[*value].where : words.where;
    return Error{std::move(judged.mistake->what), where, std::move(judged.mistake->hint)};
  }
  out.id = note.id;
  const auto told = [&](const Note& one) {
    return fmt::format("{}, {} on {}", one.van, note_text(one, fleet_.currency),
                       date_text(one.when));
  };
  out.answer = told(note);
  if (!judged.answer.empty()) out.answer += ": " + judged.answer;
  if (*replaced != nullptr)
    out.answer +=
        fmt::format("{} note {} ({})", judged.answer.empty() ? ": takes back" : "; in place of",
                    (*replaced)->id, told(**replaced));
  out.doubts.insert(out.doubts.end(), judged.doubts.begin(), judged.doubts.end());
  if (note.kind == NoteKind::job || note.kind == NoteKind::fluid)
    if (auto doubt = part_doubt(note.values[kJobPart].text, fleet_, note.van))
      out.doubts.push_back(std::move(*doubt));
  const auto odd = ownership_doubts(note, setting);
  out.doubts.insert(out.doubts.end(), odd.begin(), odd.end());
  if (note.replaces) notes_.at(*note.replaces).replaced_by = note.id;
  keep(note);
  if (!out.new_van.empty()) new_vans_.insert(out.new_van);
  fresh_.push_back(note);
  return out;
}

}  // namespace packmile
