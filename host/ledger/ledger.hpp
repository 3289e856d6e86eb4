// The ledger: what was worked out of the archive, kept so that questions are
// quick. It may be deleted at any time.
//
// Rule      a rebuild is one transaction: whenever it is killed or the disk is
//           full, a reader sees the old figures of all vans or the new ones of
//           all. It can lag behind the archive, by an import that was killed
//           between the two; made_from() then shows it, and every command brings
//           it up before it reads.
#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "energy/van_account.hpp"
#include "ledger/brake_watch.hpp"
#include "ledger/row.hpp"
#include "ledger/sqlite.hpp"
#include "ledger/van_trace.hpp"
#include "notes/van_notes.hpp"
#include "pack/capacity.hpp"
#include "pack/fade.hpp"
#include "reading/verdict.hpp"
#include "result.hpp"
#include "timeline/lost_stretch.hpp"
#include "timeline/van_history.hpp"

namespace packmile {

inline constexpr char kLedgerFileName[] = "depot.db";

// Half open: from <= t < to. Absent: no border.
struct Period {
  std::optional<UtcTime> from, to;
  [[nodiscard]] bool holds(UtcTime at) const { return (!from || at >= *from) && (!to || at < *to); }
  // Wherever within its doubt the moment was, or at least somewhere there.
  [[nodiscard]] bool surely_holds(UtcTime at, const TimeDoubt& doubt) const {
    const auto earliest = doubt.earliest(at), latest = doubt.latest(at);
    return (!from || (earliest && *earliest >= *from)) && (!to || (latest && *latest < *to));
  }
  [[nodiscard]] bool may_hold(UtcTime at, const TimeDoubt& doubt) const {
    const auto earliest = doubt.earliest(at), latest = doubt.latest(at);
    return (!from || !latest || *latest >= *from) && (!to || !earliest || *earliest < *to);
  }
};

// What the fade of a van is told from: of all its months, or of some.
struct FadeSource {
  std::vector<FadePoint> points;  // in order of months
  Witness witness;                // heard over the whole record
  bool age_since_logged = false;
  bool cycles_since_logged = false;
};

// Everything about one van that goes into the ledger.
struct VanRecord {
  std::string key;  // what it is found by: its VIN, else its name
  VanNames names;
  std::string fingerprint;
  std::vector<Finding> findings;
  VanFigures figures;
  std::vector<Verdict> verdicts;
  VanTrace trace;
  std::vector<LostStretch> lost;
  std::vector<CardUse> cards;
  std::vector<CapacityRow> capacity;
  FadeSource fade;
  std::vector<TripBraking> braking{};
};

struct LedgerVan {
  std::int64_t id = 0;
  std::string key;
  VanNames names;
  std::string fingerprint;
  std::vector<Finding> findings;
};

struct TraceLines {
  std::vector<SocTurn> turns;
  std::vector<SocBand> bands;
  std::vector<OdometerReading> odometer;
};

class Ledger {
 public:
  // Opens or makes the ledger and brings its schema up. A newer one is refused
  // untouched.
  [[nodiscard]] static Result<Ledger> open(const std::filesystem::path& file);

  // One change of any number of vans. Others that want to write wait.
  [[nodiscard]] Result<Transaction> begin_change() { return Transaction::begin(db_); }
  // From now on only this state is read, whatever other programs write; there is
  // no writing any more.
  [[nodiscard]] Result<Done> hold_for_reading() { return db_.run("BEGIN"); }

  // A transaction of its own where none has begun.
  [[nodiscard]] Result<Done> replace_van(const VanRecord& van);
  // A van that only got another name.
  [[nodiscard]] Result<Done> rename_van(std::int64_t id, const VanNames& names);
  [[nodiscard]] Result<Done> remove_van(std::int64_t id);

  // All notes, in place of those that were there.
  [[nodiscard]] Result<Done> replace_notes(const std::vector<Note>& notes);
  [[nodiscard]] Result<std::int64_t> notes();  // how many there are
  // Those of the van that hold, in order of time: corrections in place of what
  // they correct.
  [[nodiscard]] Result<std::vector<Note>> notes_of(std::string_view van);

  // Names that notes that hold are kept under, in order.
  [[nodiscard]] Result<std::vector<std::string>> noted_vans();

  // What the whole ledger was made from; empty: not made yet.
  [[nodiscard]] Result<std::string> made_from();
  [[nodiscard]] Result<Done> set_made_from(const std::string& fingerprint);

  [[nodiscard]] Result<std::vector<LedgerVan>> vans();  // by name, then key
  // In order of start; those whose `start` lies in the period, so that each is in
  // one month. Those that may have started outside it, too, have period_unsure.
  [[nodiscard]] Result<std::vector<Trip>> trips(std::int64_t van_id, const Period& period);
  [[nodiscard]] Result<std::vector<ChargeSession>> sessions(std::int64_t van_id,
                                                            const Period& period);
  [[nodiscard]] Result<std::vector<Stand>> stands(std::int64_t van_id, const Period& period);
  // How many trips or sessions have their `start` outside the period, and may have
  // started in it.
  [[nodiscard]] Result<std::int64_t> trips_beside(std::int64_t van_id, const Period& period);
  [[nodiscard]] Result<std::int64_t> sessions_beside(std::int64_t van_id, const Period& period);
  // From the first to the last record of the van; those that nothing bounds in
  // time are left out.
  [[nodiscard]] Result<Period> covered(std::int64_t van_id);
  // By question, then segment. seen_from is not kept.
  [[nodiscard]] Result<std::vector<Verdict>> verdicts(std::int64_t van_id);
  // The whole life of the van, in order of time.
  [[nodiscard]] Result<TraceLines> trace(std::int64_t van_id);
  // By method, scope and date, the whole record.
  [[nodiscard]] Result<std::vector<CapacityRow>> capacity(std::int64_t van_id);
  [[nodiscard]] Result<FadeSource> fade(std::int64_t van_id);
  // In order of time.
  [[nodiscard]] Result<std::vector<TripBraking>> braking(std::int64_t van_id);
  // In order of log ids.
  [[nodiscard]] Result<std::vector<CardUse>> cards(std::int64_t van_id);
  // In order of time.
  [[nodiscard]] Result<std::vector<LostStretch>> lost(std::int64_t van_id);

 private:
  explicit Ledger(Db db) : db_(std::move(db)) {}
  [[nodiscard]] Result<Done> insert_van(const VanRecord& van);
  Db db_;
};

// What figures take: the notes under the name that the van has in its rows. A van
// that has notes alone has them under the name in the notes.
[[nodiscard]] Result<VanNotes> van_notes(Ledger& ledger, std::string_view van);

}  // namespace packmile
