// The same samples in LevelDB and in SQLite, as their documentation says that
// they are to be used.
#include <leveldb/db.h>
#include <leveldb/write_batch.h>
#include <sqlite3.h>

#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "powercut/beside/stores.hpp"
#include "unit/host/card/card_maker.hpp"

namespace packmile::beside {
namespace {

namespace fs = std::filesystem;

std::vector<std::uint8_t> read_file(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

void write_file(const fs::path& path, std::span<const std::uint8_t> bytes) {
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out.write(reinterpret_cast<const char*>(bytes.data()),
            static_cast<std::streamsize>(bytes.size()));
  if (!out) throw std::runtime_error("cannot write " + path.string());
}

void put_big(std::string& out, std::uint64_t value, int bytes) {
  for (int i = bytes - 1; i >= 0; --i) out += static_cast<char>(value >> (8 * i) & 0xFF);
}

std::uint64_t get_big(leveldb::Slice& in, std::size_t bytes) {
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < bytes; ++i) value = value << 8 | static_cast<std::uint8_t>(in[i]);
  in.remove_prefix(bytes);
  return value;
}

class LeveldbStore : public Store {
 public:
  LeveldbStore(std::span<const Response> drive, bool paranoid) : paranoid_(paranoid) {
    const fs::path folder = folder_.path() / "made";
    leveldb::Options options = this->options();
    options.create_if_missing = true;
    const std::unique_ptr<leveldb::DB> db = open(options, folder);
    if (!db) throw std::runtime_error("LevelDB does not begin");
    for (const Response& response : drive) {
      std::string key;
      std::string value;
      put_big(key, response.tick_ms, 8);
      put_big(key, response.key.ecu, 4);
      for (std::size_t k = 0; k < response.key.signals; ++k) {
        put_big(value, response.key.signal[k], 2);
        put_big(value, response.words[k], 4);
      }
      if (!db->Put({}, key, value).ok()) throw std::runtime_error("LevelDB takes no response");
    }
    // As after a power cut: everything is in the log, nothing in a table.
    for (const auto& file : fs::directory_iterator(folder)) {
      const fs::path copy = folder_.path() / file.path().filename();
      if (!file.is_regular_file() || file.path().filename() == "LOCK") continue;
      write_file(copy, read_file(file.path()));
      if (copy.extension() == ".log") log_name_ = copy.filename();
    }
    log_ = read_file(folder_.path() / log_name_);
  }
  std::string name() const override {
    return paranoid_ ? "LevelDB log, paranoid checks" : "LevelDB log";
  }
  const std::vector<std::uint8_t>& file() const override { return log_; }

  Found read(std::span<const std::uint8_t> damaged) const override {
    const fs::path folder = folder_.path() / "damaged";
    fs::remove_all(folder);
    fs::create_directory(folder);
    for (const auto& file : fs::directory_iterator(folder_.path()))
      if (file.is_regular_file()) fs::copy(file.path(), folder / file.path().filename());
    write_file(folder / log_name_, damaged);
    Found found;
    const std::unique_ptr<leveldb::DB> db = open(options(), folder);
    if (!db) return {.says_so = true};
    leveldb::ReadOptions how;
    how.verify_checksums = true;
    const std::unique_ptr<leveldb::Iterator> it(db->NewIterator(how));
    for (it->SeekToFirst(); it->Valid(); it->Next()) {
      leveldb::Slice key = it->key();
      leveldb::Slice value = it->value();
      if (key.size() != 12) continue;
      const std::uint64_t tick = get_big(key, 8);
      while (value.size() >= 6) {
        const auto id = static_cast<std::uint32_t>(get_big(value, 2));
        found.samples.push_back({tick, id, static_cast<std::uint32_t>(get_big(value, 4))});
      }
    }
    found.says_so = !it->status().ok();
    return found;
  }

 private:
  [[nodiscard]] leveldb::Options options() const {
    leveldb::Options options;
    options.write_buffer_size = 256u << 20;
    options.paranoid_checks = paranoid_;
    return options;
  }
  static std::unique_ptr<leveldb::DB> open(const leveldb::Options& options,
                                           const fs::path& folder) {
    leveldb::DB* db = nullptr;
    if (!leveldb::DB::Open(options, folder.string(), &db).ok()) return nullptr;
    return std::unique_ptr<leveldb::DB>(db);
  }

  bool paranoid_;
  test::TempFolder folder_;
  fs::path log_name_;
  std::vector<std::uint8_t> log_;
};

class SqliteStore : public Store {
 public:
  SqliteStore(std::span<const Response> drive, bool in_wal) : in_wal_(in_wal) {
    const fs::path path = folder_.path() / "made.db";
    sqlite3* db = open(path);
    run(db, in_wal ? "PRAGMA journal_mode=WAL; PRAGMA wal_autocheckpoint=0"
                   : "PRAGMA journal_mode=DELETE");
    run(db,
        "PRAGMA synchronous=OFF; CREATE TABLE sample(tick_ms INTEGER NOT NULL, signal INTEGER "
        "NOT NULL, raw INTEGER NOT NULL); BEGIN");
    sqlite3_stmt* insert = nullptr;
    sqlite3_prepare_v2(db, "INSERT INTO sample VALUES(?,?,?)", -1, &insert, nullptr);
    Tick began = 0;
    for (const Response& response : drive) {
      if (response.tick_ms - began >= 10'000) {
        run(db, "COMMIT; BEGIN");
        began = response.tick_ms;
      }
      for (std::size_t k = 0; k < response.key.signals; ++k) {
        sqlite3_bind_int64(insert, 1, static_cast<sqlite3_int64>(response.tick_ms));
        sqlite3_bind_int64(insert, 2, response.key.signal[k]);
        sqlite3_bind_int64(insert, 3, response.words[k]);
        if (sqlite3_step(insert) != SQLITE_DONE) throw std::runtime_error("SQLite takes no sample");
        sqlite3_reset(insert);
      }
    }
    sqlite3_finalize(insert);
    run(db, "COMMIT");
    // Copied while open: closing would empty the log into the file.
    database_ = read_file(path);
    if (in_wal_) wal_ = read_file(folder_.path() / "made.db-wal");
    sqlite3_close(db);
  }
  std::string name() const override {
    return in_wal_ ? "SQLite write-ahead log" : "SQLite database";
  }
  const std::vector<std::uint8_t>& file() const override { return in_wal_ ? wal_ : database_; }

  Found read(std::span<const std::uint8_t> damaged) const override {
    const fs::path path = folder_.path() / "damaged.db";
    for (const char* more : {"", "-wal", "-shm", "-journal"}) fs::remove(path.string() + more);
    write_file(path, in_wal_ ? std::span<const std::uint8_t>(database_) : damaged);
    if (in_wal_) write_file(path.string() + "-wal", damaged);
    Found found;
    sqlite3* db = open(path);
    sqlite3_stmt* select = nullptr;
    int result =
        sqlite3_prepare_v2(db, "SELECT tick_ms, signal, raw FROM sample", -1, &select, nullptr);
    if (result == SQLITE_OK) {
      while ((result = sqlite3_step(select)) == SQLITE_ROW)
        found.samples.push_back({static_cast<std::uint64_t>(sqlite3_column_int64(select, 0)),
                                 static_cast<std::uint32_t>(sqlite3_column_int64(select, 1)),
                                 static_cast<std::uint32_t>(sqlite3_column_int64(select, 2))});
      if (result == SQLITE_DONE) result = SQLITE_OK;
    }
    found.says_so = result != SQLITE_OK;
    sqlite3_finalize(select);
    sqlite3_close(db);
    return found;
  }

 private:
  static sqlite3* open(const fs::path& path) {
    sqlite3* db = nullptr;
    if (sqlite3_open(path.c_str(), &db) != SQLITE_OK) throw std::runtime_error("SQLite: no file");
    return db;
  }
  static void run(sqlite3* db, const char* sql) {
    if (sqlite3_exec(db, sql, nullptr, nullptr, nullptr) != SQLITE_OK)
      throw std::runtime_error(std::string("SQLite: ") + sqlite3_errmsg(db));
  }

  bool in_wal_;
  test::TempFolder folder_;
  std::vector<std::uint8_t> database_;
  std::vector<std::uint8_t> wal_;
};

}  // namespace

std::unique_ptr<Store> leveldb_store(std::span<const Response> drive, bool paranoid) {
  return std::make_unique<LeveldbStore>(drive, paranoid);
}
std::unique_ptr<Store> sqlite_store(std::span<const Response> drive, bool in_wal) {
  return std::make_unique<SqliteStore>(drive, in_wal);
}

}  // namespace packmile::beside
