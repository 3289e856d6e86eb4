// SQLite behind two types that close what they opened.
//
// Errors    every failure is an Error with the file and SQLite's own message.
#pragma once
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "result.hpp"

struct sqlite3;
struct sqlite3_stmt;

namespace packmile {

class Db {
 public:
  // Opens the file, or makes it. Nothing is written yet.
  [[nodiscard]] static Result<Db> open(const std::filesystem::path& file);
  Db(Db&& other) noexcept;
  Db& operator=(Db&& other) noexcept;
  ~Db();

  // One or more statements without parameters.
  [[nodiscard]] Result<Done> run(const std::string& sql);
  // First column of the first row; 0 when there is none.
  [[nodiscard]] Result<std::int64_t> number(const std::string& sql);
  [[nodiscard]] bool in_transaction() const;
  [[nodiscard]] Error error(std::string_view doing) const;
  [[nodiscard]] sqlite3* handle() const { return handle_; }

 private:
  Db() = default;
  sqlite3* handle_ = nullptr;
  std::string file_;
};

class Statement {
 public:
  [[nodiscard]] static Result<Statement> prepare(Db& db, const std::string& sql);
  Statement(Statement&& other) noexcept;
  Statement& operator=(Statement&& other) noexcept;
  ~Statement();

  // Parameters count from 1, columns from 0, as in SQLite.
  void bind_null(int parameter);
  void bind(int parameter, std::int64_t value);
  void bind(int parameter, double value);  // NaN becomes NULL
  void bind(int parameter, std::string_view value);

  // True: a row stands ready. False: no more rows.
  [[nodiscard]] Result<bool> step();
  // For statements without rows; ready to be bound anew afterwards.
  [[nodiscard]] Result<Done> run();

  [[nodiscard]] bool is_null(int column) const;
  [[nodiscard]] std::int64_t integer(int column) const;
  [[nodiscard]] double real(int column) const;
  [[nodiscard]] std::string text(int column) const;
  [[nodiscard]] std::optional<double> real_or_none(int column) const;

 private:
  Statement() = default;
  Db* db_ = nullptr;
  sqlite3_stmt* handle_ = nullptr;
  std::string sql_;
};

// Rolls back unless committed.
class Transaction {
 public:
  [[nodiscard]] static Result<Transaction> begin(Db& db);
  Transaction(Transaction&& other) noexcept;
  Transaction& operator=(Transaction&&) = delete;
  ~Transaction();
  [[nodiscard]] Result<Done> commit();

 private:
  explicit Transaction(Db& db) : db_(&db) {}
  Db* db_;
};

}  // namespace packmile
