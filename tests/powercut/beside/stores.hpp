// Ways to keep the same samples, each read by its own library: one file of bytes
// that can be damaged, and what comes out of it afterwards.
#pragma once
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "powercut/beside/made_up_drive.hpp"

namespace packmile::beside {

struct Found {
  std::vector<Sample> samples{};
  bool says_so = false;  // the reader told that something is wrong
};

class Store {
 public:
  virtual ~Store() = default;
  [[nodiscard]] virtual std::string name() const = 0;
  // The file that holds the samples, and the part of it to damage.
  [[nodiscard]] virtual const std::vector<std::uint8_t>& file() const = 0;
  [[nodiscard]] virtual std::size_t samples_begin() const { return 0; }
  [[nodiscard]] virtual std::size_t samples_end() const { return file().size(); }
  // Reads it with other bytes in the file's place.
  [[nodiscard]] virtual Found read(std::span<const std::uint8_t> damaged) const = 0;
};

// The sectors of this project, by the logger's writer and the decoder.
[[nodiscard]] std::unique_ptr<Store> card_store(std::span<const Response> drive);
// Samples in a sector of that card; none: nothing but a session record there.
[[nodiscard]] std::size_t samples_of_sector(std::span<const std::uint8_t> card, std::size_t sector);
// The same records one after another, each after its length; libprotobuf.
[[nodiscard]] std::unique_ptr<Store> stream_store(std::span<const Response> drive);
// One put for each response, all in the write-ahead log.
[[nodiscard]] std::unique_ptr<Store> leveldb_store(std::span<const Response> drive, bool paranoid);
// One row for each sample, a transaction each 10 s; in the file, or still in the
// write-ahead log.
[[nodiscard]] std::unique_ptr<Store> sqlite_store(std::span<const Response> drive, bool in_wal);

}  // namespace packmile::beside
