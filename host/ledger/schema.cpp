#include "ledger/schema.hpp"

#include <array>
#include <string>

namespace packmile {
namespace {

// Append only: a ledger of any earlier version is brought up by the steps that
// it lacks; user_version is how many it has had. Times are UTC milliseconds.
constexpr std::array kMigrations{
    R"sql(-- fingerprint: what the figures were made from; other: make them anew.
CREATE TABLE van(
  id INTEGER PRIMARY KEY,
  key TEXT NOT NULL UNIQUE,
  van TEXT NOT NULL,
  vin TEXT,
  fingerprint TEXT NOT NULL,
  findings TEXT NOT NULL
) STRICT;
CREATE TABLE trip(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  start INTEGER NOT NULL,
  "end" INTEGER NOT NULL,
  distance_km REAL, distance_km_low REAL, distance_km_high REAL,
  distance_km_scatter REAL, distance_km_why TEXT,
  distance_source TEXT NOT NULL,
  discharge_kwh REAL, discharge_kwh_low REAL, discharge_kwh_high REAL,
  discharge_kwh_scatter REAL, discharge_kwh_why TEXT,
  regen_kwh REAL, regen_kwh_low REAL, regen_kwh_high REAL,
  regen_kwh_scatter REAL, regen_kwh_why TEXT,
  net_kwh REAL, net_kwh_low REAL, net_kwh_high REAL,
  net_kwh_scatter REAL, net_kwh_why TEXT,
  kwh_per_mile REAL, kwh_per_mile_low REAL, kwh_per_mile_high REAL,
  kwh_per_mile_scatter REAL, kwh_per_mile_why TEXT,
  wh_per_km REAL, wh_per_km_low REAL, wh_per_km_high REAL,
  wh_per_km_scatter REAL, wh_per_km_why TEXT,
  soc_start_pct REAL, soc_start_pct_low REAL, soc_start_pct_high REAL,
  soc_start_pct_scatter REAL, soc_start_pct_why TEXT,
  soc_end_pct REAL, soc_end_pct_low REAL, soc_end_pct_high REAL,
  soc_end_pct_scatter REAL, soc_end_pct_why TEXT,
  ambient_mean_c REAL, ambient_mean_c_low REAL, ambient_mean_c_high REAL,
  ambient_mean_c_scatter REAL, ambient_mean_c_why TEXT,
  energy_method TEXT NOT NULL,
  coverage REAL NOT NULL CHECK(coverage BETWEEN 0 AND 1),
  filled_kwh REAL, filled_kwh_low REAL, filled_kwh_high REAL,
  filled_kwh_scatter REAL, filled_kwh_why TEXT,
  current_verdict TEXT NOT NULL,
  findings TEXT NOT NULL,
  discharge_ah REAL, discharge_ah_low REAL, discharge_ah_high REAL,
  discharge_ah_scatter REAL, discharge_ah_why TEXT,
  regen_ah REAL, regen_ah_low REAL, regen_ah_high REAL,
  regen_ah_scatter REAL, regen_ah_why TEXT,
  clock_uncertainty_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE session(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  start INTEGER NOT NULL,
  "end" INTEGER NOT NULL,
  kind TEXT NOT NULL,
  source TEXT NOT NULL,
  pack_kwh REAL, pack_kwh_low REAL, pack_kwh_high REAL,
  pack_kwh_scatter REAL, pack_kwh_why TEXT,
  pack_ah REAL, pack_ah_low REAL, pack_ah_high REAL,
  pack_ah_scatter REAL, pack_ah_why TEXT,
  grid_kwh REAL, grid_kwh_low REAL, grid_kwh_high REAL,
  grid_kwh_scatter REAL, grid_kwh_why TEXT,
  peak_kw REAL, peak_kw_low REAL, peak_kw_high REAL,
  peak_kw_scatter REAL, peak_kw_why TEXT,
  soc_start_pct REAL, soc_start_pct_low REAL, soc_start_pct_high REAL,
  soc_start_pct_scatter REAL, soc_start_pct_why TEXT,
  soc_end_pct REAL, soc_end_pct_low REAL, soc_end_pct_high REAL,
  soc_end_pct_scatter REAL, soc_end_pct_why TEXT,
  coverage REAL NOT NULL CHECK(coverage BETWEEN 0 AND 1),
  filled_kwh REAL, filled_kwh_low REAL, filled_kwh_high REAL,
  filled_kwh_scatter REAL, filled_kwh_why TEXT,
  current_verdict TEXT NOT NULL,
  findings TEXT NOT NULL,
  clock_uncertainty_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE stand(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  start INTEGER NOT NULL,
  "end" INTEGER NOT NULL,
  net_kwh REAL, net_kwh_low REAL, net_kwh_high REAL,
  net_kwh_scatter REAL, net_kwh_why TEXT,
  discharge_kwh REAL, discharge_kwh_low REAL, discharge_kwh_high REAL,
  discharge_kwh_scatter REAL, discharge_kwh_why TEXT,
  charge_kwh REAL, charge_kwh_low REAL, charge_kwh_high REAL,
  charge_kwh_scatter REAL, charge_kwh_why TEXT,
  discharge_ah REAL, discharge_ah_low REAL, discharge_ah_high REAL,
  discharge_ah_scatter REAL, discharge_ah_why TEXT,
  charge_ah REAL, charge_ah_low REAL, charge_ah_high REAL,
  charge_ah_scatter REAL, charge_ah_why TEXT,
  coverage REAL NOT NULL CHECK(coverage BETWEEN 0 AND 1),
  filled_kwh REAL, filled_kwh_low REAL, filled_kwh_high REAL,
  filled_kwh_scatter REAL, filled_kwh_why TEXT
) STRICT;
CREATE INDEX trip_by_start ON trip(van_id, start);
CREATE INDEX session_by_start ON session(van_id, start);
CREATE INDEX stand_by_start ON stand(van_id, start);
CREATE TABLE verdict(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  ecu INTEGER NOT NULL,
  calibration_id TEXT NOT NULL,
  question TEXT NOT NULL,
  verdict TEXT NOT NULL,
  value TEXT,
  evidence TEXT NOT NULL,
  decided_on INTEGER NOT NULL,
  PRIMARY KEY(van_id, ecu, calibration_id, question)
) STRICT;
CREATE TABLE soc_turn(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  time INTEGER NOT NULL,
  soc_pct REAL NOT NULL
) STRICT;
CREATE TABLE soc_band(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  kind INTEGER NOT NULL,
  start INTEGER NOT NULL,
  "end" INTEGER NOT NULL
) STRICT;
CREATE TABLE odometer(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  time INTEGER NOT NULL,
  odometer_km REAL NOT NULL
) STRICT;
CREATE INDEX soc_turn_by_time ON soc_turn(van_id, time);
CREATE INDEX soc_band_by_start ON soc_band(van_id, start);
CREATE INDEX odometer_by_time ON odometer(van_id, time);
-- One line: what the whole ledger was made from.
CREATE TABLE made_from(
  id INTEGER PRIMARY KEY CHECK(id = 1),
  fingerprint TEXT NOT NULL
) STRICT;
)sql",
    R"sql(-- What was recorded and never read; from, to: null where nothing is known.
CREATE TABLE lost(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  log_id INTEGER NOT NULL,
  "from" INTEGER,
  "to" INTEGER,
  sectors INTEGER NOT NULL,
  why TEXT NOT NULL
) STRICT;
CREATE INDEX lost_by_van ON lost(van_id);
-- Which cards a van has records on, and what is doubtful about that.
CREATE TABLE card(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  log_id INTEGER NOT NULL,
  "from" INTEGER,
  "to" INTEGER,
  findings TEXT NOT NULL,
  PRIMARY KEY(van_id, log_id)
) STRICT;
)sql",
    R"sql(-- The notes of notes.csv, which is the truth. v1..v3 as it has them, number1..3 in
-- km, kWh and the depot's currency; from = to: an instant, else a local day.
CREATE TABLE note(
  id INTEGER PRIMARY KEY,
  van TEXT NOT NULL,
  "from" INTEGER NOT NULL,
  "to" INTEGER NOT NULL,
  kind TEXT NOT NULL,
  v1 TEXT, v2 TEXT, v3 TEXT,
  number1 REAL, number2 REAL, number3 REAL,
  remark TEXT NOT NULL,
  replaces INTEGER,
  replaced_by INTEGER,
  entered INTEGER
) STRICT;
CREATE INDEX note_by_van ON note(van, "from");
)sql",
    R"sql(-- ecu: null where nobody answers; value: a word or a number, by the question.
DROP TABLE verdict;
CREATE TABLE verdict(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  ecu INTEGER,
  calibration_id TEXT NOT NULL,
  segment INTEGER NOT NULL,
  question TEXT NOT NULL,
  verdict TEXT NOT NULL,
  value TEXT,
  value_number REAL, value_low REAL, value_high REAL, value_scatter REAL,
  evidence TEXT NOT NULL,
  decided_on INTEGER NOT NULL
) STRICT;
CREATE INDEX verdict_by_van ON verdict(van_id);
)sql",
    R"sql(-- Between what start and end were; null: nothing bounds it on that side.
ALTER TABLE trip DROP COLUMN clock_uncertainty_ms;
ALTER TABLE trip ADD COLUMN start_low INTEGER;
ALTER TABLE trip ADD COLUMN start_high INTEGER;
ALTER TABLE trip ADD COLUMN end_low INTEGER;
ALTER TABLE trip ADD COLUMN end_high INTEGER;
ALTER TABLE session DROP COLUMN clock_uncertainty_ms;
ALTER TABLE session ADD COLUMN start_low INTEGER;
ALTER TABLE session ADD COLUMN start_high INTEGER;
ALTER TABLE session ADD COLUMN end_low INTEGER;
ALTER TABLE session ADD COLUMN end_high INTEGER;
ALTER TABLE stand ADD COLUMN start_low INTEGER;
ALTER TABLE stand ADD COLUMN start_high INTEGER;
ALTER TABLE stand ADD COLUMN end_low INTEGER;
ALTER TABLE stand ADD COLUMN end_high INTEGER;
)sql",
    R"sql(-- How a trip was driven; hours of a charge by its power, kW into the pack.
ALTER TABLE trip ADD COLUMN moving_kmh REAL;
ALTER TABLE trip ADD COLUMN stops REAL;
ALTER TABLE session ADD COLUMN hours_from_0_6_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_2_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_5_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_8_5_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_15_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_25_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_50_kw REAL;
ALTER TABLE session ADD COLUMN hours_from_100_kw REAL;
)sql",
    R"sql(-- What each pack is told to hold, by method; date: null where nothing was measured.
CREATE TABLE capacity(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  date INTEGER,
  method TEXT NOT NULL,
  scope TEXT NOT NULL,
  ah REAL, ah_low REAL, ah_high REAL,
  ah_scatter REAL, ah_why TEXT,
  kwh REAL, kwh_low REAL, kwh_high REAL,
  kwh_scatter REAL, kwh_why TEXT,
  window_low_pct REAL, window_low_pct_low REAL, window_low_pct_high REAL,
  window_low_pct_scatter REAL, window_low_pct_why TEXT,
  window_high_pct REAL, window_high_pct_low REAL, window_high_pct_high REAL,
  window_high_pct_scatter REAL, window_high_pct_why TEXT,
  window_low_v REAL,
  window_high_v REAL,
  temp_c REAL, temp_c_low REAL, temp_c_high REAL,
  temp_c_scatter REAL, temp_c_why TEXT,
  temp_stratum TEXT NOT NULL,
  charge_kind TEXT NOT NULL,
  n_used INTEGER NOT NULL,
  n_rejected INTEGER NOT NULL,
  rejected TEXT NOT NULL,
  segment INTEGER NOT NULL,
  offset_a REAL, offset_a_low REAL, offset_a_high REAL,
  offset_a_scatter REAL, offset_a_why TEXT,
  resistance_mohm REAL, resistance_mohm_low REAL, resistance_mohm_high REAL,
  resistance_mohm_scatter REAL, resistance_mohm_why TEXT,
  change_pct REAL, change_pct_low REAL, change_pct_high REAL,
  change_pct_scatter REAL, change_pct_why TEXT,
  relative_only TEXT NOT NULL,
  against_expectation TEXT NOT NULL,
  reason TEXT NOT NULL,
  findings TEXT NOT NULL
) STRICT;
CREATE INDEX capacity_by_van ON capacity(van_id, date);
-- What the fade is told from. month: since the year 0; u_: 1 sd.
CREATE TABLE fade_month(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  month INTEGER NOT NULL,
  ah REAL NOT NULL,
  u_random_ah REAL NOT NULL,
  u_gain_ah REAL NOT NULL,
  u_offset_ah REAL NOT NULL,
  odometer_km REAL,
  age_years REAL,
  full_cycles REAL,
  PRIMARY KEY(van_id, month)
) STRICT;
-- Whether anything independent confirms it, over the whole record.
CREATE TABLE pack_witness(
  van_id INTEGER PRIMARY KEY REFERENCES van(id) ON DELETE CASCADE,
  verdict TEXT NOT NULL,
  reason TEXT NOT NULL,
  age_since_logged INTEGER NOT NULL,
  cycles_since_logged INTEGER NOT NULL
) STRICT;
)sql",
    // What the cells may have changed by, and whether rests tell the same level.
    R"sql(
ALTER TABLE pack_witness ADD COLUMN cells_low_pct REAL;
ALTER TABLE pack_witness ADD COLUMN cells_high_pct REAL;
ALTER TABLE pack_witness ADD COLUMN level_agrees INTEGER NOT NULL DEFAULT 0;
)sql",
    R"sql(-- When the energy of a charge came: corners "ms kWh;" since its start. Prices and
-- places are in fleet.toml: costs are worked out when they are asked for.
ALTER TABLE session ADD COLUMN curve TEXT;
)sql",
    R"sql(-- What each trip's falls of speed set free and the pack took back.
CREATE TABLE braking(
  van_id INTEGER NOT NULL REFERENCES van(id) ON DELETE CASCADE,
  start INTEGER NOT NULL,
  kinetic_j_per_kg REAL NOT NULL,
  rolled_m REAL NOT NULL,
  drag_m3_per_s2 REAL NOT NULL,
  regen_kwh REAL NOT NULL,
  fall_s REAL NOT NULL,
  seen_s REAL NOT NULL
) STRICT;
CREATE INDEX braking_by_van ON braking(van_id, start);
)sql",
    R"sql(-- What is on each card: boots with samples, good sectors, and what was asked while
-- the van was parked.
ALTER TABLE card ADD COLUMN boots INTEGER NOT NULL DEFAULT 0;
ALTER TABLE card ADD COLUMN boots_without_clock INTEGER NOT NULL DEFAULT 0;
ALTER TABLE card ADD COLUMN sectors INTEGER NOT NULL DEFAULT 0;
ALTER TABLE card ADD COLUMN sectors_missing INTEGER NOT NULL DEFAULT 0;
ALTER TABLE card ADD COLUMN requests_while_parked INTEGER NOT NULL DEFAULT 0;
)sql",
};

}  // namespace

int schema_version() { return static_cast<int>(kMigrations.size()); }

Result<Done> migrate(Db& db, const std::string& file) {
  const auto found = db.number("PRAGMA user_version");
  if (!found) return found.error();
  if (*found > schema_version()) {
    return Error{"ledger is from a newer version (schema " + std::to_string(*found) +
                     ", this program knows " + std::to_string(schema_version()) +
                     "); nothing was changed",
                 file, "use that version, or delete the ledger and run: packmile rebuild"};
  }
  const auto tables = db.number("SELECT count(*) FROM sqlite_schema");
  if (!tables) return tables.error();
  if (*found < 0 || (*found == 0 && *tables > 0))
    return Error{"is an SQLite file but no ledger of this program; nothing was changed", file,
                 "move it away and run: packmile rebuild"};
  // Readers are not held up by an import, and a killed one leaves the old state.
  if (const auto set = db.run("PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; "
                              "PRAGMA foreign_keys=ON;");
      !set)
    return set.error();
  for (auto version = *found; version < schema_version(); ++version) {
    auto transaction = Transaction::begin(db);
    if (!transaction) return transaction.error();
    // Another program may have taken the step while this one waited.
    const auto now = db.number("PRAGMA user_version");
    if (!now) return now.error();
    if (*now > version) continue;
    const auto step = db.run(kMigrations[static_cast<std::size_t>(version)]);
    if (!step) return step.error();
    const auto mark = db.run("PRAGMA user_version=" + std::to_string(version + 1));
    if (!mark) return mark.error();
    if (const auto done = transaction->commit(); !done) return done.error();
  }
  return Done{};
}

}  // namespace packmile
