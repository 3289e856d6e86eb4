#include "ledger/sqlite.hpp"

#include <sqlite3.h>

#include <cmath>
#include <utility>

namespace packmile {
namespace {

// How long to wait for another packmile that is writing, before saying so.
// A rebuild of a fleet's years takes about a minute.
constexpr int kBusyTimeoutMs = 60'000;

}  // namespace

Result<Db> Db::open(const std::filesystem::path& file) {
  Db db;
  db.file_ = file.string();
  const int rc = sqlite3_open_v2(db.file_.c_str(), &db.handle_,
                                 SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, nullptr);
  if (rc != SQLITE_OK) return db.error("cannot be opened");
  sqlite3_busy_timeout(db.handle_, kBusyTimeoutMs);
  return db;
}

Db::Db(Db&& other) noexcept
    : handle_(std::exchange(other.handle_, nullptr)), file_(std::move(other.file_)) {}

Db& Db::operator=(Db&& other) noexcept {
  std::swap(handle_, other.handle_);
  std::swap(file_, other.file_);
  return *this;
}

Db::~Db() { sqlite3_close_v2(handle_); }

bool Db::in_transaction() const { return sqlite3_get_autocommit(handle_) == 0; }

Error Db::error(std::string_view doing) const {
  Error error{
      std::string{doing} + ": " + (handle_ ? sqlite3_errmsg(handle_) : "out of memory"), file_, {}};
  const int code = handle_ ? sqlite3_errcode(handle_) : SQLITE_NOMEM;
  if (code == SQLITE_NOTADB || code == SQLITE_CORRUPT)
    error.hint = "the ledger can be made again: delete it and run packmile rebuild";
  if (code == SQLITE_BUSY) error.hint = "another packmile is writing; try again when it is done";
  if (code == SQLITE_FULL)
    error.hint = "make room on the disk and try again; the ledger is as it was";
  if (code == SQLITE_IOERR || code == SQLITE_READONLY || code == SQLITE_CANTOPEN)
    error.hint = "the depot must be on a disk that can be written; the ledger is as it was";
  return error;
}

Result<Done> Db::run(const std::string& sql) {
  if (sqlite3_exec(handle_, sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK)
    return error("cannot be written");
  return Done{};
}

Result<std::int64_t> Db::number(const std::string& sql) {
  auto statement = Statement::prepare(*this, sql);
  if (!statement) return statement.error();
  const auto row = statement->step();
  if (!row) return row.error();
  return *row ? statement->integer(0) : 0;
}

Result<Statement> Statement::prepare(Db& db, const std::string& sql) {
  Statement statement;
  statement.db_ = &db;
  statement.sql_ = sql;
  if (sqlite3_prepare_v3(db.handle(), sql.c_str(), static_cast<int>(sql.size()),
                         SQLITE_PREPARE_PERSISTENT, &statement.handle_, nullptr) != SQLITE_OK)
    return db.error("does not understand \"" + sql + "\"");
  return statement;
}

Statement::Statement(Statement&& other) noexcept
    : db_(other.db_), handle_(std::exchange(other.handle_, nullptr)), sql_(std::move(other.sql_)) {}

Statement& Statement::operator=(Statement&& other) noexcept {
  std::swap(db_, other.db_);
  std::swap(handle_, other.handle_);
  std::swap(sql_, other.sql_);
  return *this;
}

Statement::~Statement() { sqlite3_finalize(handle_); }

void Statement::bind_null(int parameter) { sqlite3_bind_null(handle_, parameter); }
void Statement::bind(int parameter, std::int64_t value) {
  sqlite3_bind_int64(handle_, parameter, value);
}
void Statement::bind(int parameter, double value) {
  // SQLite makes NaN a NULL by itself; infinity it would keep, and nobody could
  // print it.
  if (std::isfinite(value))
    sqlite3_bind_double(handle_, parameter, value);
  else
    bind_null(parameter);
}
void Statement::bind(int parameter, std::string_view value) {
  sqlite3_bind_text(handle_, parameter, value.data(), static_cast<int>(value.size()),
                    SQLITE_TRANSIENT);
}

Result<bool> Statement::step() {
  const int rc = sqlite3_step(handle_);
  if (rc == SQLITE_ROW) return true;
  if (rc == SQLITE_DONE) return false;
  return db_->error("cannot be read or written");
}

Result<Done> Statement::run() {
  const int rc = sqlite3_step(handle_);
  if (rc != SQLITE_DONE && rc != SQLITE_ROW) {
    Error error = db_->error("cannot be written");
    sqlite3_reset(handle_);
    return error;
  }
  sqlite3_reset(handle_);
  sqlite3_clear_bindings(handle_);
  return Done{};
}

bool Statement::is_null(int column) const {
  return sqlite3_column_type(handle_, column) == SQLITE_NULL;
}
std::int64_t Statement::integer(int column) const { return sqlite3_column_int64(handle_, column); }
double Statement::real(int column) const { return sqlite3_column_double(handle_, column); }
std::string Statement::text(int column) const {
  const auto* bytes = reinterpret_cast<const char*>(sqlite3_column_text(handle_, column));
  if (bytes == nullptr) return {};
  return {bytes, static_cast<std::size_t>(sqlite3_column_bytes(handle_, column))};
}
std::optional<double> Statement::real_or_none(int column) const {
  if (is_null(column)) return std::nullopt;
  return real(column);
}

Result<Transaction> Transaction::begin(Db& db) {
  if (const auto begun = db.run("BEGIN IMMEDIATE"); !begun) return begun.error();
  return Transaction{db};
}

Transaction::Transaction(Transaction&& other) noexcept : db_(std::exchange(other.db_, nullptr)) {}

Transaction::~Transaction() {
  if (db_ != nullptr) (void)db_->run("ROLLBACK");
}

Result<Done> Transaction::commit() {
  auto done = db_->run("COMMIT");
  if (done) db_ = nullptr;
  return done;
}

}  // namespace packmile
