#include "ledger/ledger.hpp"

#include "ledger/schema.hpp"
#include "ledger/sql_fields.hpp"

namespace packmile {
namespace {

// These tables differ only in their list of fields.
template <typename T>
struct Table;

template <>
struct Table<Trip> {
  static constexpr const char* kName = "trip";
  template <typename V, typename T>
  static void fields(V& v, T& value) {
    fields::of_trip(v, value);
  }
};
template <>
struct Table<ChargeSession> {
  static constexpr const char* kName = "session";
  template <typename V, typename T>
  static void fields(V& v, T& value) {
    static const SessionCost kMoneyIsOfTheFleet;
    static const std::string kCurrencyIsOfTheFleet;
    fields::of_session(v, value, kMoneyIsOfTheFleet, kCurrencyIsOfTheFleet);
  }
};
template <>
struct Table<Stand> {
  static constexpr const char* kName = "stand";
  template <typename V, typename T>
  static void fields(V& v, T& value) {
    fields::of_stand(v, value);
  }
};

template <>
struct Table<CapacityRow> {
  static constexpr const char* kName = "capacity";
  template <typename V, typename T>
  static void fields(V& v, T& value) {
    fields::of_capacity(v, value);
  }
};

// "end" is a keyword of SQL and a key of ours: every name goes in quotes.
std::string quoted(const std::string& name) { return '"' + name + '"'; }

template <typename T>
std::vector<std::string> names_of() {
  SqlColumns columns;
  const T none{};
  Table<T>::fields(columns, none);
  return std::move(columns.names);
}

std::string insert_of(const char* table, const std::vector<std::string>& names) {
  std::string sql = std::string{"INSERT INTO "} + table + "(van_id";
  for (const auto& name : names) sql += "," + quoted(name);
  sql += ") VALUES(?";
  for (std::size_t k = 0; k < names.size(); ++k) sql += ",?";
  return sql + ")";
}

template <typename T>
Result<Done> insert_all(Db& db, std::int64_t van_id, const std::vector<T>& values) {
  auto statement = Statement::prepare(db, insert_of(Table<T>::kName, names_of<T>()));
  if (!statement) return statement.error();
  for (const T& value : values) {
    statement->bind(1, van_id);
    SqlBinder binder{*statement, 2};
    Table<T>::fields(binder, value);
    if (const auto done = statement->run(); !done) return done.error();
  }
  return Done{};
}

// Rows of a table with a plain list of columns; `bind` fills parameters 2 on.
template <typename T, typename Bind>
Result<Done> insert_plain(Db& db, std::int64_t van_id, const char* table,
                          const std::vector<std::string>& names, const std::vector<T>& values,
                          const Bind& bind) {
  auto statement = Statement::prepare(db, insert_of(table, names));
  if (!statement) return statement.error();
  for (const T& value : values) {
    statement->bind(1, van_id);
    bind(*statement, value);
    if (const auto done = statement->run(); !done) return done.error();
  }
  return Done{};
}

// Parameters 2 and 3.
void bind_period(Statement& statement, const Period& period) {
  statement.bind(2, period.from ? std::int64_t{period.from->time_since_epoch().count()}
                                : std::numeric_limits<std::int64_t>::min());
  statement.bind(3, period.to ? std::int64_t{period.to->time_since_epoch().count()}
                              : std::numeric_limits<std::int64_t>::max());
}

Result<std::int64_t> count_beside(Db& db, const char* table, std::int64_t van_id,
                                  const Period& period) {
  // Nothing lies beside everything.
  if (!period.from && !period.to) return std::int64_t{0};
  auto statement = Statement::prepare(
      db, std::string{"SELECT count(*) FROM "} + table +
              " WHERE van_id=?1 AND NOT (start>=?2 AND start<?3) AND "
              "(start_low IS NULL OR start_low<?3) AND (start_high IS NULL OR start_high>=?2)");
  if (!statement) return statement.error();
  statement->bind(1, van_id);
  bind_period(*statement, period);
  const auto row = statement->step();
  if (!row) return row.error();
  return *row ? statement->integer(0) : std::int64_t{0};
}

// Stands are in no list of their own.
void mark_unsure(Stand&, const Period&) {}
template <typename T>
void mark_unsure(T& row, const Period& period) {
  if (!period.surely_holds(row.start, row.start_doubt))
    row.findings.push_back(Finding::period_unsure);
}

template <typename T>
std::string select_of() {
  std::string sql = "SELECT ";
  for (const auto& name : names_of<T>()) sql += (sql.size() > 7 ? "," : "") + quoted(name);
  return sql + " FROM " + Table<T>::kName + " WHERE van_id=?1 ";
}

template <typename T>
Result<std::vector<T>> select_all(Db& db, std::int64_t van_id, const Period& period) {
  const std::string sql =
      select_of<T>() + "AND start>=?2 AND start<?3 ORDER BY start, \"end\", rowid";
  auto statement = Statement::prepare(db, sql);
  if (!statement) return statement.error();
  statement->bind(1, van_id);
  bind_period(*statement, period);
  std::vector<T> out;
  for (;;) {
    const auto row = statement->step();
    if (!row) return row.error();
    if (!*row) return out;
    SqlReader reader{*statement};
    Table<T>::fields(reader, out.emplace_back());
    mark_unsure(out.back(), period);
  }
}

// Walks a SELECT whose only parameter is the van.
template <typename Take>
Result<Done> for_each_row(Db& db, const char* sql, std::int64_t van_id, const Take& take) {
  auto statement = Statement::prepare(db, sql);
  if (!statement) return statement.error();
  statement->bind(1, van_id);
  for (;;) {
    const auto row = statement->step();
    if (!row) return row.error();
    if (!*row) return Done{};
    take(*statement);
  }
}

std::int64_t ms_of(UtcTime at) { return at.time_since_epoch().count(); }
UtcTime time_of(std::int64_t ms) { return UtcTime{std::chrono::milliseconds{ms}}; }

void bind_time(Statement& statement, int parameter, const std::optional<UtcTime>& at) {
  if (at)
    statement.bind(parameter, ms_of(*at));
  else
    statement.bind_null(parameter);
}

void bind_verdict(Statement& s, const Verdict& verdict) {
  if (verdict.ecu == 0)
    s.bind_null(2);
  else
    s.bind(2, std::int64_t{verdict.ecu});
  s.bind(3, std::string_view{verdict.calibration_id});
  s.bind(4, std::int64_t{verdict.segment});
  s.bind(5, word_of(verdict.question));
  s.bind(6, word_of(verdict.answer));
  if (verdict.word.empty())
    s.bind_null(7);
  else
    s.bind(7, std::string_view{verdict.word});
  const std::optional<Figure>& number = verdict.number;
  int at = 8;
  for (const auto part : {&Figure::value, &Figure::low, &Figure::high, &Figure::scatter}) {
    if (number)
      s.bind(at++, (*number).*part);
    else
      s.bind_null(at++);
  }
  s.bind(12, std::string_view{verdict.evidence});
  s.bind(13, ms_of(verdict.decided_on));
}

std::optional<UtcTime> time_or_none(const Statement& statement, int column) {
  if (statement.is_null(column)) return std::nullopt;
  return time_of(statement.integer(column));
}

void bind_number(Statement& statement, int parameter, const std::optional<double>& number) {
  if (number)
    statement.bind(parameter, *number);
  else
    statement.bind_null(parameter);
}

Result<Done> insert_fade(Db& db, std::int64_t van_id, const FadeSource& fade) {
  auto done = insert_plain(db, van_id, "fade_month",
                           {"month", "ah", "u_random_ah", "u_gain_ah", "u_offset_ah", "odometer_km",
                            "age_years", "full_cycles"},
                           fade.points, [](Statement& s, const FadePoint& p) {
                             s.bind(2, std::int64_t{p.month});
                             s.bind(3, p.ah);
                             s.bind(4, p.u_random_ah);
                             s.bind(5, p.u_gain_ah);
                             s.bind(6, p.u_offset_ah);
                             bind_number(s, 7, p.odometer_km);
                             bind_number(s, 8, p.age_years);
                             bind_number(s, 9, p.full_cycles);
                           });
  if (!done) return done;
  return insert_plain(db, van_id, "pack_witness",
                      {"verdict", "reason", "age_since_logged", "cycles_since_logged",
                       "cells_low_pct", "cells_high_pct", "level_agrees"},
                      std::vector{&fade}, [](Statement& s, const FadeSource* source) {
                        s.bind(2, word_of(source->witness.verdict));
                        s.bind(3, std::string_view{source->witness.reason});
                        s.bind(4, std::int64_t{source->age_since_logged});
                        s.bind(5, std::int64_t{source->cycles_since_logged});
                        const auto& cells = source->witness.cells_pct;
                        bind_number(s, 6, cells ? std::optional{cells->low} : std::nullopt);
                        bind_number(s, 7, cells ? std::optional{cells->high} : std::nullopt);
                        s.bind(8, std::int64_t{source->witness.level_agrees});
                      });
}

}  // namespace

Result<Ledger> Ledger::open(const std::filesystem::path& file) {
  auto db = Db::open(file);
  if (!db) return db.error();
  if (const auto ready = migrate(*db, file.string()); !ready) return ready.error();
  return Ledger{std::move(*db)};
}

Result<Done> Ledger::replace_van(const VanRecord& van) {
  if (db_.in_transaction()) return insert_van(van);
  auto transaction = Transaction::begin(db_);
  if (!transaction) return transaction.error();
  if (const auto done = insert_van(van); !done) return done.error();
  return transaction->commit();
}

Result<Done> Ledger::insert_van(const VanRecord& van) {
  auto old = Statement::prepare(db_, "DELETE FROM van WHERE key=?1");
  if (!old) return old.error();
  old->bind(1, std::string_view{van.key});
  if (const auto done = old->run(); !done) return done.error();

  auto head = Statement::prepare(
      db_, "INSERT INTO van(key,van,vin,fingerprint,findings) VALUES(?1,?2,?3,?4,?5)");
  if (!head) return head.error();
  head->bind(1, std::string_view{van.key});
  head->bind(2, std::string_view{van.names.van});
  if (van.names.vin.empty())
    head->bind_null(3);
  else
    head->bind(3, std::string_view{van.names.vin});
  head->bind(4, std::string_view{van.fingerprint});
  head->bind(5, std::string_view{text_of(van.findings)});
  if (const auto done = head->run(); !done) return done.error();
  const auto id = db_.number("SELECT last_insert_rowid()");
  if (!id) return id.error();

  if (auto done = insert_all(db_, *id, van.figures.trips); !done) return done;
  if (auto done = insert_all(db_, *id, van.figures.sessions); !done) return done;
  if (auto done = insert_all(db_, *id, van.figures.stands); !done) return done;
  if (auto done = insert_all(db_, *id, van.capacity); !done) return done;
  if (auto done = insert_fade(db_, *id, van.fade); !done) return done;
  if (auto done = insert_plain(
          db_, *id, "verdict",
          {"ecu", "calibration_id", "segment", "question", "verdict", "value", "value_number",
           "value_low", "value_high", "value_scatter", "evidence", "decided_on"},
          van.verdicts, bind_verdict);
      !done)
    return done;
  if (auto done = insert_plain(db_, *id, "soc_turn", {"time", "soc_pct"}, van.trace.turns(),
                               [](Statement& s, const SocTurn& turn) {
                                 s.bind(2, ms_of(turn.time));
                                 s.bind(3, turn.soc_pct);
                               });
      !done)
    return done;
  if (auto done = insert_plain(db_, *id, "soc_band", {"kind", "start", "end"}, van.trace.bands(),
                               [](Statement& s, const SocBand& band) {
                                 s.bind(2, static_cast<std::int64_t>(band.kind));
                                 s.bind(3, ms_of(band.start));
                                 s.bind(4, ms_of(band.end));
                               });
      !done)
    return done;
  if (auto done =
          insert_plain(db_, *id, "lost", {"log_id", "from", "to", "sectors", "why"}, van.lost,
                       [](Statement& s, const LostStretch& lost) {
                         s.bind(2, std::int64_t{lost.log_id});
                         bind_time(s, 3, lost.from);
                         bind_time(s, 4, lost.to);
                         s.bind(5, static_cast<std::int64_t>(lost.sectors));
                         s.bind(6, word_of(lost.why));
                       });
      !done)
    return done;
  if (auto done = insert_plain(db_, *id, "card",
                               {"log_id", "from", "to", "findings", "boots", "boots_without_clock",
                                "sectors", "sectors_missing", "requests_while_parked"},
                               van.cards,
                               [](Statement& s, const CardUse& card) {
                                 s.bind(2, std::int64_t{card.log_id});
                                 bind_time(s, 3, card.from);
                                 bind_time(s, 4, card.to);
                                 s.bind(5, std::string_view{text_of(card.findings)});
                                 int at = 6;
                                 for (const std::uint64_t count :
                                      {card.boots, card.boots_without_clock, card.sectors,
                                       card.sectors_missing, card.requests_while_parked})
                                   s.bind(at++, static_cast<std::int64_t>(count));
                               });
      !done)
    return done;
  if (auto done = insert_plain(db_, *id, "braking",
                               {"start", "kinetic_j_per_kg", "rolled_m", "drag_m3_per_s2",
                                "regen_kwh", "fall_s", "seen_s"},
                               van.braking,
                               [](Statement& s, const TripBraking& trip) {
                                 int next = 2;
                                 s.bind(next++, ms_of(trip.start));
                                 for (const double value :
                                      {trip.falls.kinetic_j_per_kg, trip.falls.rolled_m,
                                       trip.falls.drag_m3_per_s2, trip.falls.regen_kwh,
                                       trip.falls.fall_s, trip.falls.seen_s})
                                   s.bind(next++, value);
                               });
      !done)
    return done;
  return insert_plain(db_, *id, "odometer", {"time", "odometer_km"}, van.trace.odometer(),
                      [](Statement& s, const OdometerReading& reading) {
                        s.bind(2, ms_of(reading.time));
                        s.bind(3, reading.odometer_km);
                      });
}

Result<Done> Ledger::rename_van(std::int64_t id, const VanNames& names) {
  auto statement = Statement::prepare(db_, "UPDATE van SET van=?1 WHERE id=?2");
  if (!statement) return statement.error();
  statement->bind(1, std::string_view{names.van});
  statement->bind(2, id);
  return statement->run();
}

Result<Done> Ledger::remove_van(std::int64_t id) {
  auto statement = Statement::prepare(db_, "DELETE FROM van WHERE id=?1");
  if (!statement) return statement.error();
  statement->bind(1, id);
  return statement->run();
}

Result<std::string> Ledger::made_from() {
  auto statement = Statement::prepare(db_, "SELECT fingerprint FROM made_from");
  if (!statement) return statement.error();
  const auto row = statement->step();
  if (!row) return row.error();
  return *row ? statement->text(0) : std::string{};
}

Result<Done> Ledger::set_made_from(const std::string& fingerprint) {
  auto statement =
      Statement::prepare(db_, "INSERT OR REPLACE INTO made_from(id,fingerprint) VALUES(1,?1)");
  if (!statement) return statement.error();
  statement->bind(1, std::string_view{fingerprint});
  return statement->run();
}

Result<std::vector<LedgerVan>> Ledger::vans() {
  std::vector<LedgerVan> out;
  // The parameter is only there because for_each_row binds one.
  const auto done = for_each_row(
      db_, "SELECT id,key,van,vin,fingerprint,findings FROM van WHERE ?1=0 ORDER BY van,key", 0,
      [&](const Statement& s) {
        out.push_back(
            {s.integer(0), s.text(1), {s.text(2), s.text(3)}, s.text(4), findings_of(s.text(5))});
      });
  if (!done) return done.error();
  return out;
}

Result<std::vector<Trip>> Ledger::trips(std::int64_t van_id, const Period& period) {
  return select_all<Trip>(db_, van_id, period);
}
Result<std::vector<ChargeSession>> Ledger::sessions(std::int64_t van_id, const Period& period) {
  return select_all<ChargeSession>(db_, van_id, period);
}
Result<std::vector<Stand>> Ledger::stands(std::int64_t van_id, const Period& period) {
  return select_all<Stand>(db_, van_id, period);
}

Result<std::int64_t> Ledger::trips_beside(std::int64_t van_id, const Period& period) {
  return count_beside(db_, "trip", van_id, period);
}
Result<std::int64_t> Ledger::sessions_beside(std::int64_t van_id, const Period& period) {
  return count_beside(db_, "session", van_id, period);
}

Result<Period> Ledger::covered(std::int64_t van_id) {
  Period out;
  const auto done = for_each_row(
      db_,
      "SELECT min(start), max(\"end\") FROM "
      "(SELECT start,\"end\",start_low,start_high FROM trip WHERE van_id=?1 "
      "UNION ALL SELECT start,\"end\",start_low,start_high FROM session WHERE van_id=?1 "
      "UNION ALL SELECT start,\"end\",start_low,start_high FROM stand WHERE van_id=?1) "
      "WHERE start_low IS NOT NULL OR start_high IS NOT NULL",
      van_id, [&](const Statement& s) {
        if (s.is_null(0)) return;
        out = {time_of(s.integer(0)), time_of(s.integer(1))};
      });
  if (!done) return done.error();
  return out;
}

Result<std::vector<Verdict>> Ledger::verdicts(std::int64_t van_id) {
  std::vector<Verdict> out;
  // They were written by question, then segment.
  const auto done = for_each_row(
      db_,
      "SELECT ecu,calibration_id,segment,question,verdict,value,value_number,value_low,value_high,"
      "value_scatter,evidence,decided_on FROM verdict WHERE van_id=?1 ORDER BY rowid",
      van_id, [&](const Statement& s) {
        const auto question = question_of(s.text(3));
        const auto answer = answer_of(s.text(4));
        if (!question || !answer) return;
        Verdict verdict;
        verdict.question = *question;
        verdict.answer = *answer;
        verdict.ecu = static_cast<std::uint32_t>(s.integer(0));
        verdict.calibration_id = s.text(1);
        verdict.segment = static_cast<std::uint32_t>(s.integer(2));
        verdict.word = s.text(5);
        if (!s.is_null(6)) verdict.number = Figure{s.real(6), s.real(7), s.real(8), s.real(9)};
        verdict.evidence = s.text(10);
        verdict.decided_on = time_of(s.integer(11));
        out.push_back(std::move(verdict));
      });
  if (!done) return done.error();
  return out;
}

Result<TraceLines> Ledger::trace(std::int64_t van_id) {
  TraceLines out;
  auto done =
      for_each_row(db_, "SELECT time,soc_pct FROM soc_turn WHERE van_id=?1 ORDER BY time,rowid",
                   van_id, [&](const Statement& s) {
                     out.turns.push_back({time_of(s.integer(0)), s.real(1)});
                   });
  if (!done) return done.error();
  done = for_each_row(
      db_, "SELECT kind,start,\"end\" FROM soc_band WHERE van_id=?1 ORDER BY start,kind,rowid",
      van_id, [&](const Statement& s) {
        const auto kind = s.integer(0);
        if (kind < 0 || kind >= static_cast<std::int64_t>(kSocBandKinds)) return;
        out.bands.push_back(
            {static_cast<SocBandKind>(kind), time_of(s.integer(1)), time_of(s.integer(2))});
      });
  if (!done) return done.error();
  done =
      for_each_row(db_, "SELECT time,odometer_km FROM odometer WHERE van_id=?1 ORDER BY time,rowid",
                   van_id, [&](const Statement& s) {
                     out.odometer.push_back({time_of(s.integer(0)), s.real(1)});
                   });
  if (!done) return done.error();
  return out;
}

Result<std::vector<TripBraking>> Ledger::braking(std::int64_t van_id) {
  std::vector<TripBraking> out;
  const auto done = for_each_row(
      db_,
      "SELECT start,kinetic_j_per_kg,rolled_m,drag_m3_per_s2,regen_kwh,fall_s,seen_s "
      "FROM braking WHERE van_id=?1 ORDER BY start,rowid",
      van_id, [&](const Statement& s) {
        out.push_back({time_of(s.integer(0)),
                       {s.real(1), s.real(2), s.real(3), s.real(4), s.real(5), s.real(6)}});
      });
  if (!done) return done.error();
  return out;
}

Result<std::vector<CapacityRow>> Ledger::capacity(std::int64_t van_id) {
  std::vector<CapacityRow> out;
  const auto done = for_each_row(db_, (select_of<CapacityRow>() + "ORDER BY rowid").c_str(), van_id,
                                 [&](const Statement& s) {
                                   SqlReader reader{s};
                                   fields::of_capacity(reader, out.emplace_back());
                                 });
  if (!done) return done.error();
  return out;
}

Result<FadeSource> Ledger::fade(std::int64_t van_id) {
  FadeSource out;
  auto done = for_each_row(
      db_,
      "SELECT month,ah,u_random_ah,u_gain_ah,u_offset_ah,odometer_km,age_years,full_cycles "
      "FROM fade_month WHERE van_id=?1 ORDER BY month",
      van_id, [&](const Statement& s) {
        out.points.push_back({static_cast<int>(s.integer(0)), s.real(1), s.real(2), s.real(3),
                              s.real(4), s.real_or_none(5), s.real_or_none(6), s.real_or_none(7)});
      });
  if (!done) return done.error();
  done = for_each_row(db_,
                      "SELECT verdict,reason,age_since_logged,cycles_since_logged,"
                      "cells_low_pct,cells_high_pct,level_agrees "
                      "FROM pack_witness WHERE van_id=?1",
                      van_id, [&](const Statement& s) {
                        for (int k = 0; k < fields::kValuesOf<WitnessVerdict>; ++k) {
                          const auto verdict = static_cast<WitnessVerdict>(k);
                          if (s.text(0) == word_of(verdict)) out.witness.verdict = verdict;
                        }
                        out.witness.reason = s.text(1);
                        out.age_since_logged = s.integer(2) != 0;
                        out.cycles_since_logged = s.integer(3) != 0;
                        const auto low = s.real_or_none(4);
                        const auto high = s.real_or_none(5);
                        if (low && high) out.witness.cells_pct = ChangeRange{*low, *high};
                        out.witness.level_agrees = s.integer(6) != 0;
                      });
  if (!done) return done.error();
  return out;
}

Result<std::vector<CardUse>> Ledger::cards(std::int64_t van_id) {
  std::vector<CardUse> out;
  const auto done = for_each_row(
      db_,
      "SELECT log_id,\"from\",\"to\",findings,boots,boots_without_clock,sectors,sectors_missing,"
      "requests_while_parked FROM card WHERE van_id=?1 ORDER BY log_id",
      van_id, [&](const Statement& s) {
        const auto count = [&](int column) {
          return static_cast<std::uint64_t>(s.integer(column));
        };
        out.push_back({static_cast<std::uint32_t>(s.integer(0)), time_or_none(s, 1),
                       time_or_none(s, 2), findings_of(s.text(3)), count(4), count(5), count(6),
                       count(7), count(8)});
      });
  if (!done) return done.error();
  return out;
}

Result<std::vector<LostStretch>> Ledger::lost(std::int64_t van_id) {
  std::vector<LostStretch> out;
  // They were written in order of time.
  const auto done = for_each_row(
      db_, "SELECT log_id,\"from\",\"to\",sectors,why FROM lost WHERE van_id=?1 ORDER BY rowid",
      van_id, [&](const Statement& s) {
        const bool overwritten = s.text(4) == word_of(LostWhy::overwritten);
        out.push_back({static_cast<std::uint32_t>(s.integer(0)), time_or_none(s, 1),
                       time_or_none(s, 2), static_cast<std::uint64_t>(s.integer(3)),
                       overwritten ? LostWhy::overwritten : LostWhy::damaged_or_missing});
      });
  if (!done) return done.error();
  return out;
}

}  // namespace packmile
