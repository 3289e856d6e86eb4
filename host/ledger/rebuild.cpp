#include "ledger/rebuild.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <charconv>
#include <map>
#include <set>
#include <sstream>

#include "energy/session.hpp"
#include "energy/van_verdicts.hpp"
#include "ledger/pack_rows.hpp"
#include "ledger/schema.hpp"
#include "notes/note_kinds.hpp"
#include "pack/pack_watch.hpp"
#include "timeline/van_history.hpp"

namespace packmile {

namespace fs = std::filesystem;

namespace {

// Raise it whenever a method changes a figure: ledgers made before are then
// made again by themselves.
constexpr int kFiguresVersion = 9;

constexpr char kPulledFileName[] = "pulled.csv";

// FNV-1a, 64 bits (Fowler, Noll, Vo): tells states apart, proves nothing.
class Fingerprint {
 public:
  void add(std::string_view text) {
    for (const char c : text) step(static_cast<unsigned char>(c));
    step(0);
  }
  template <typename N>
  requires std::is_arithmetic_v<N>
  void add(N number) { add(std::string_view{fmt::format("{}", number)}); }
  void add(const std::optional<double>& number) {
    add(number ? std::string_view{fmt::format("{}", *number)} : std::string_view{"none"});
  }
  void add(const VanFacts& facts) {
    add(facts.nominal_kwh);
    add(facts.nominal_ah);
    add(facts.onboard_charger_kw);
    add(facts.first_used ? facts.first_used->time_since_epoch().count() : -1);
  }
  void add(const std::optional<Expectation>& line) {
    if (!line) return add(std::string_view{"none"});
    add(static_cast<int>(line->against));
    add(line->points.size());
    for (const ExpectationPoint& point : line->points) {
      add(point.at);
      add(point.percent);
    }
  }
  [[nodiscard]] std::string text() const { return fmt::format("{:016x}", state_); }

 private:
  void step(unsigned char byte) { state_ = (state_ ^ byte) * 1099511628211ull; }
  std::uint64_t state_ = 14695981039346656037ull;
};

// Everything that the ledger is made from. Archive files only ever grow: their
// sizes tell. Notes are read by hand and by editors: all of their text does.
std::string fingerprint_of(const Fleet& fleet, const Archive& archive, const std::string& notes) {
  Fingerprint print;
  print.add(kFiguresVersion);
  print.add(schema_version());
  for (const FleetVan& van : fleet.vans) {
    print.add(van.name);
    print.add(van.vin);
    print.add(van.facts);
    print.add(van.expectation);
  }
  for (const auto& [name, bytes] : archive.committed()) {
    print.add(name);
    print.add(bytes);
  }
  // A day of a note is one of the zone.
  print.add(fleet.zone.name());
  print.add(notes);
  return print.text();
}

// One van of the fleet with every history that is its own.
struct VanSource {
  std::string key;
  VanNames names;
  VanFacts facts;
  std::optional<Expectation> expectation;
  Zone zone;  // of the depot
  bool known_to_fleet = false;
  std::vector<const VanHistory*> histories;
  std::set<std::string> note_names;  // under which people may have kept its notes
  std::vector<Note> notes;           // that hold
  std::vector<Finding> findings;

  void find(Finding finding) {
    if (std::ranges::find(findings, finding) == findings.end()) findings.push_back(finding);
  }
};

// The name that fleet.toml gives to the VIN, else the name in the settings,
// else the VIN, else log- and the log id.
VanSource source_of(const VanHistory& history, const Fleet& fleet) {
  VanSource source;
  source.zone = fleet.zone;
  const VanKey& key = history.key();
  const FleetVan* known = nullptr;
  if (!key.vin.empty()) {
    // A name that is another van's would mix the two up in every table: the
    // history has left it out.
    const std::string& name = key.name;
    const FleetVan* namesake = name.empty() ? nullptr : fleet.van_of_name(name);
    known = fleet.van_of_vin(key.vin);
    // A van that fleet.toml names without its VIN.
    if (known == nullptr && namesake != nullptr && namesake->vin.empty()) known = namesake;
    source.key = key.vin;
    source.names = {known ? known->name : name.empty() ? key.vin : name, key.vin};
  } else {
    known = fleet.van_of_name(key.name);
    const std::string vin = known ? known->vin : std::string{};
    source.key = vin.empty() ? "name:" + key.name : vin;
    source.names = {key.name, vin};
  }
  source.known_to_fleet = known != nullptr;
  if (known) {
    source.facts = known->facts;
    source.expectation = known->expectation;
  }
  source.note_names = {source.names.van};
  if (!source.names.vin.empty()) source.note_names.insert(source.names.vin);
  // A note may be older than the name that fleet.toml gives.
  if (!key.name.empty() && fleet.van_of_name(key.name) == nullptr)
    source.note_names.insert(key.name);
  if (!known) source.find(Finding::van_unknown);
  return source;
}

std::string text_of(const BootOwnersSignal& signal) {
  const OwnersDefinition& d = signal.definition;
  std::string text = std::to_string(signal.id) + " " + d.name + " " + hex_text(d.request_id) + " " +
                     hex_text(d.did, 4) + " " + bytes_text(d);
  for (const int number : {static_cast<int>(d.role), int{d.first_bit}, int{d.bits},
                           int{d.little_endian}, int{d.is_signed}})
    text += " " + std::to_string(number);
  for (const double number : {d.scale, d.offset})
    text += " " + hex_text(static_cast<std::uint32_t>(std::bit_cast<std::uint64_t>(number) >> 32)) +
            hex_text(static_cast<std::uint32_t>(std::bit_cast<std::uint64_t>(number)), 8);
  return text;
}

std::string fingerprint_of(const VanSource& source) {
  Fingerprint print;
  print.add(kFiguresVersion);
  print.add(schema_version());
  print.add(source.facts);
  print.add(source.expectation);
  // A month of its pack is one of the zone.
  print.add(source.zone.name());
  // A remark changes no figure, and neither does the name of the van.
  for (const Note& note : source.notes) {
    print.add(note.id);
    for (const UtcTime at : {note.when.from, note.when.to})
      print.add(at.time_since_epoch().count());
    print.add(rule_of(note.kind).word);
    for (const NoteValue& value : note.values) print.add(value.text);
  }
  for (const VanHistory* history : source.histories) {
    for (const Boot& boot : history->boots()) {
      // Clock offsets hold what was told about pulled cards, too.
      for (const std::uint64_t number :
           {std::uint64_t{boot.log_id}, std::uint64_t{boot.boot_id},
            std::uint64_t{boot.first_sequence}, std::uint64_t{boot.last_sequence}, boot.sectors,
            boot.sectors_missing, static_cast<std::uint64_t>(boot.clock_offset_ms),
            std::uint64_t{boot.clock_guessed}, std::uint64_t{boot.order_conflict}})
        print.add(number);
      for (const auto& bound : {boot.earliest_start_ms, boot.latest_end_ms})
        print.add(bound ? std::string_view{fmt::format("{}", *bound)} : std::string_view{"none"});
      for (const ClockAnchor& anchor : boot.clock_anchors)
        for (const std::int64_t number :
             {static_cast<std::int64_t>(anchor.tick_ms), anchor.low_ms, anchor.high_ms})
          print.add(number);
      // A definition may stand in the settings alone, and have been changed there.
      for (const BootOwnersSignal& signal : boot.owners_signals) print.add(text_of(signal));
    }
    for (const CardUse& card : history->cards()) print.add(text_of(card.findings));
    for (const LostStretch& lost : history->lost()) {
      for (const auto& at : {lost.from, lost.to})
        print.add(at ? std::int64_t{at->time_since_epoch().count()} : -1);
      print.add(lost.sectors);
      print.add(word_of(lost.why));
    }
  }
  for (const Finding finding : source.findings) print.add(entry_of(finding).word);
  return print.text();
}

// Gives the notes to their vans, under the names that these have in their rows.
// A name that is several vans' stays as it was typed.
void hand_out(std::vector<Note>& notes, std::map<std::string, VanSource>& sources) {
  std::map<std::string, VanSource*> van_of_name;
  for (auto& [key, source] : sources)
    for (const std::string& name : source.note_names) {
      const auto [place, is_new] = van_of_name.try_emplace(name, &source);
      if (!is_new) place->second = nullptr;
    }
  for (Note& note : notes) {
    const auto found = van_of_name.find(note.van);
    if (found == van_of_name.end() || found->second == nullptr) continue;
    note.van = found->second->names.van;
    if (note.holds()) found->second->notes.push_back(note);
  }
}

std::uint64_t sectors_of(const VanHistory& history) {
  std::uint64_t sectors = 0;
  for (const Boot& boot : history.boots()) sectors += boot.sectors;
  return sectors;
}

// Episodes of all histories of one van in order of time. The longest history
// streams; the others wait in memory.
class MergedEpisodes {
 public:
  [[nodiscard]] static Result<MergedEpisodes> open(const VanSource& source) {
    MergedEpisodes merged;
    for (const VanHistory* history : source.histories)
      if (merged.main_ == nullptr || sectors_of(*history) > sectors_of(*merged.main_))
        merged.main_ = history;
    for (const VanHistory* history : source.histories) {
      if (history == merged.main_) continue;
      const auto walked = history->for_each_episode([&](const Episode& episode) {
        merged.waiting_.push_back(episode);
        return true;
      });
      if (!walked) return walked.error();
    }
    std::ranges::stable_sort(merged.waiting_, {}, &Episode::start);
    return merged;
  }

  template <typename Visit>
  [[nodiscard]] Result<Done> for_each(const Visit& visit) const {
    auto next = waiting_.begin();
    const auto walked = main_->for_each_episode([&](const Episode& episode) {
      for (; next != waiting_.end() && next->start < episode.start; ++next) visit(*next);
      visit(episode);
      return true;
    });
    if (!walked) return walked.error();
    for (; next != waiting_.end(); ++next) visit(*next);
    return Done{};
  }

 private:
  const VanHistory* main_ = nullptr;
  std::vector<Episode> waiting_;
};

// Each card once, also where several histories of the van are on it.
std::vector<CardUse> cards_of(const VanSource& source) {
  std::map<std::uint32_t, CardUse> by_log;
  for (const VanHistory* history : source.histories) {
    for (const CardUse& card : history->cards()) {
      const auto [at, is_new] = by_log.try_emplace(card.log_id, card);
      if (is_new) continue;
      CardUse& known = at->second;
      known.boots += card.boots;
      known.boots_without_clock += card.boots_without_clock;
      known.sectors += card.sectors;
      known.sectors_missing += card.sectors_missing;
      known.requests_while_parked += card.requests_while_parked;
      if (card.from) known.from = known.from ? std::min(*known.from, *card.from) : card.from;
      if (card.to) known.to = known.to ? std::max(*known.to, *card.to) : card.to;
      for (const Finding finding : card.findings)
        if (std::ranges::find(known.findings, finding) == known.findings.end())
          known.findings.push_back(finding);
    }
  }
  std::vector<CardUse> cards;
  for (auto& [log_id, card] : by_log) cards.push_back(std::move(card));
  return cards;
}

// Whatever name they were kept under.
VanNotes notes_of(const VanSource& source) {
  std::vector<Note> notes = source.notes;
  for (Note& note : notes) note.van = source.names.van;
  return van_notes_of(notes, source.names.van);
}

Result<VanRecord> work_out(const VanSource& source, std::string fingerprint) {
  const auto episodes = MergedEpisodes::open(source);
  if (!episodes) return episodes.error();
  VanRecord record;
  record.key = source.key;
  record.names = source.names;
  record.fingerprint = std::move(fingerprint);
  record.findings = source.findings;
  record.cards = cards_of(source);
  for (const VanHistory* history : source.histories)
    record.lost.insert(record.lost.end(), history->lost().begin(), history->lost().end());
  std::ranges::stable_sort(
      record.lost, {}, [](const LostStretch& lost) { return lost.from.value_or(UtcTime::min()); });
  PackEvidence evidence;
  VanVerdicts verdicts;
  if (auto done = episodes->for_each([&](const Episode& episode) {
        evidence.observe(episode);
        verdicts.observe(episode);
      });
      !done)
    return done.error();
  std::vector<PackReading> readings = evidence.decide();
  const VanNotes notes = notes_of(source);
  // Odometer notes need no account.
  const EnergyRules rules =
      rules_for_distance(verdicts.decide(readings, noted_evidence_of(notes, {})));
  const CapacityRules pack_rules{.zone = source.zone};
  PackObservations observed;
  const auto account_for = [&](const auto& see) {
    VanAccount account{source.facts, readings, rules};
    PackWatch watch{source.facts, readings, rules, pack_rules};
    BrakeWatch brakes;
    auto done = episodes->for_each([&](const Episode& episode) {
      account.add(episode, [&](const PlannedEpisode& planned) {
        watch.add(planned);
        brakes.add(planned);
      });
      see(episode);
    });
    record.figures = account.finish();
    record.braking = brakes.finish();
    observed = watch.finish();
    return done;
  };
  if (auto done = account_for([&](const Episode& episode) { record.trace.observe(episode); });
      !done)
    return done.error();
  record.trace.finish();
  record.verdicts = verdicts.decide(readings, noted_evidence_of(notes, record.figures.sessions));
  // The gain rests on what the words make of the charges, so the verdict stays as it
  // is: the account is made anew with what it says.
  if (take_gains(record.verdicts, readings, rules)) {
    if (auto done = account_for([](const Episode&) {}); !done) return done.error();
  }
  const PackFacts facts =
      pack_facts_of(source.facts, source.expectation, record.figures, source.zone);
  PackAssessment pack = assess_pack(observed, facts, pack_rules);
  record.capacity = std::move(pack.capacity.rows);
  record.fade = {std::move(pack.fade_points), std::move(pack.witness), pack.age_since_logged,
                 pack.cycles_since_logged};
  const auto keep = [&](const std::vector<Finding>& findings) {
    for (const Finding finding : findings)
      if (std::ranges::find(record.findings, finding) == record.findings.end())
        record.findings.push_back(finding);
  };
  keep(record.figures.findings);
  for (const VanHistory* history : source.histories) keep(history->findings());
  std::ranges::sort(record.findings);
  return record;
}

// By log id: for each state of the card the latest moment that was told.
using Pulled = std::map<std::uint32_t, std::vector<PulledCard>>;

Result<Pulled> read_pulled(const Archive& archive) {
  const auto text = archive.text(kPulledFileName);
  if (!text) return text.error();
  const auto utc = Zone::find("UTC");
  if (!utc) return utc.error();
  Pulled pulled;
  std::istringstream in{*text};
  for (std::string line; std::getline(in, line);) {
    // log-0000002A,2026-03-31T17:00:00Z,4210 ; the last sector that was on it is
    // not there in lines of earlier versions. Anything else is no line of ours.
    unsigned log_id = 0;
    int used = 0;
    if (std::sscanf(line.c_str(), "log-%8X,%n", &log_id, &used) != 1 || used == 0) continue;
    std::string_view rest = std::string_view{line}.substr(static_cast<std::size_t>(used));
    PulledCard card;
    if (const auto comma = rest.find(','); comma != std::string_view::npos) {
      const std::string_view number = rest.substr(comma + 1);
      const auto read =
          std::from_chars(number.data(), number.data() + number.size(), card.last_sequence);
      if (read.ec != std::errc{} || read.ptr != number.data() + number.size()) continue;
      rest = rest.substr(0, comma);
    }
    const auto at = utc->read(rest);
    if (!at) continue;
    card.at = *at;
    auto& told = pulled[log_id];
    const auto known = std::ranges::find(told, card.last_sequence, &PulledCard::last_sequence);
    if (known == told.end())
      told.push_back(card);
    else
      known->at = std::max(known->at, card.at);
  }
  // A line without a last sector bounds all of the card, and so it must be the
  // latest.
  for (auto& [log_id, told] : pulled) {
    const UtcTime latest = std::ranges::max(told, {}, &PulledCard::at).at;
    std::erase_if(told, [&](const PulledCard& card) {
      return card.last_sequence == PulledCard{}.last_sequence && card.at < latest;
    });
  }
  return pulled;
}

}  // namespace

Result<Done> keep_pulled_at(const Archive& archive, Archive::Import& import, std::uint32_t log_id,
                            const PulledCard& card) {
  const auto pulled = read_pulled(archive);
  if (!pulled) return pulled.error();
  if (const auto of_log = pulled->find(log_id); of_log != pulled->end()) {
    for (const PulledCard& known : of_log->second)
      if (known.last_sequence == card.last_sequence && known.at >= card.at) return Done{};
  }
  const auto utc = Zone::find("UTC");
  if (!utc) return utc.error();
  import.add_line(kPulledFileName,
                  fmt::format("log-{:08X},{},{}", log_id, utc->iso(card.at), card.last_sequence));
  return Done{};
}

namespace {

// nullptr: fleet.toml does not know the van.
const FleetVan* fleet_van_of(const Fleet& fleet, const VanNames& names) {
  const FleetVan* van = fleet.van_of_vin(names.vin);
  if (van == nullptr) {
    van = fleet.van_of_name(names.van);
    // The name of another van's VIN says nothing about this one.
    if (van != nullptr && !van->vin.empty() && van->vin != names.vin) van = nullptr;
  }
  return van;
}

}  // namespace

VanFacts facts_of(const Fleet& fleet, const VanNames& names) {
  const FleetVan* van = fleet_van_of(fleet, names);
  return van ? van->facts : VanFacts{};
}

std::optional<Expectation> expectation_of(const Fleet& fleet, const VanNames& names) {
  const FleetVan* van = fleet_van_of(fleet, names);
  return van ? van->expectation : std::nullopt;
}

Result<std::vector<RebuiltVan>> rebuild(const Depot& depot, Ledger& ledger,
                                        const RebuildRequest& request) {
  auto archive = Archive::open(depot.archive());
  if (!archive) return archive.error();
  auto notes_text = read_notes_text(depot.notes());
  if (!notes_text) return notes_text.error();
  std::string print = fingerprint_of(depot.fleet, *archive, *notes_text);
  auto made_from = ledger.made_from();
  if (!made_from) return made_from.error();
  std::optional<Transaction> change;
  if (request.everything || *made_from != print) {
    auto begun = ledger.begin_change();
    if (!begun) return begun.error();
    change.emplace(std::move(*begun));
    // While this one waited another program may have imported, and may have
    // brought the ledger up.
    archive = Archive::open(depot.archive());
    if (!archive) return archive.error();
    notes_text = read_notes_text(depot.notes());
    if (!notes_text) return notes_text.error();
    print = fingerprint_of(depot.fleet, *archive, *notes_text);
    made_from = ledger.made_from();
    if (!made_from) return made_from.error();
  }
  const auto before = ledger.vans();
  if (!before) return before.error();

  std::vector<RebuiltVan> out;
  if (!request.everything && *made_from == print) {
    for (const LedgerVan& van : *before) {
      const bool unknown =
          std::ranges::find(van.findings, Finding::van_unknown) != van.findings.end();
      out.push_back({van.names, !unknown, false, van.findings});
    }
    return out;
  }

  NotesRead notes = notes_of(depot, *notes_text);
  if (!notes.errors.empty()) return notes.errors.front();

  const auto pulled = read_pulled(*archive);
  if (!pulled) return pulled.error();
  VanHistory::VinOfName vin_of_name;
  for (const FleetVan& van : depot.fleet.vans)
    if (!van.vin.empty()) vin_of_name[van.name] = van.vin;
  const auto histories = VanHistory::open(
      *archive,
      [&](std::uint32_t log_id) {
        const auto found = pulled->find(log_id);
        return found == pulled->end() ? std::vector<PulledCard>{} : found->second;
      },
      vin_of_name);
  if (!histories) return histories.error();

  std::map<std::string, VanSource> sources;
  for (const VanHistory& history : *histories) {
    VanSource source = source_of(history, depot.fleet);
    auto [place, added] = sources.emplace(source.key, source);
    place->second.histories.push_back(&history);
    place->second.note_names.merge(source.note_names);
    for (const Finding finding : source.findings) place->second.find(finding);
  }
  hand_out(notes.notes, sources);
  if (const auto kept = ledger.replace_notes(notes.notes); !kept) return kept.error();

  std::size_t done = 0;
  for (auto& [key, source] : sources) {
    if (request.progress) request.progress(done++, sources.size());
    std::ranges::sort(source.findings);
    const std::string van_print = fingerprint_of(source);
    const auto old = std::ranges::find(*before, key, &LedgerVan::key);
    const bool same = !request.everything && old != before->end() && old->fingerprint == van_print;
    RebuiltVan van{source.names, source.known_to_fleet, !same, source.findings};
    if (!same) {
      const auto record = work_out(source, van_print);
      if (!record) return record.error();
      if (const auto kept = ledger.replace_van(*record); !kept) return kept.error();
      van.findings = record->findings;
    } else {
      van.findings = old->findings;
      if (old->names.van != source.names.van)
        if (const auto kept = ledger.rename_van(old->id, source.names); !kept) return kept.error();
    }
    out.push_back(std::move(van));
  }
  for (const LedgerVan& van : *before)
    if (!sources.contains(van.key))
      if (const auto gone = ledger.remove_van(van.id); !gone) return gone.error();
  if (const auto kept = ledger.set_made_from(print); !kept) return kept.error();
  if (const auto kept = change->commit(); !kept) return kept.error();
  std::ranges::sort(out, {},
                    [](const RebuiltVan& van) { return std::tie(van.names.van, van.names.vin); });
  return out;
}

}  // namespace packmile
