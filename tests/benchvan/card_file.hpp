// The card of the bench: a log file that is prepared or continued, or an image of
// a whole FAT32 card with a log in it; read and written by sector.
//
// Standard  sector/sector.hpp for the sector; FORMAT.md for head and ring.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "benchvan/settings_sector.hpp"
#include "core/port.hpp"

namespace packmile::benchvan {

class CardFile {
 public:
  // Makes a prepared card, sparse; refuses a file that exists. All of these
  // throw BenchError.
  [[nodiscard]] static CardFile prepare(const std::string& path, std::uint64_t size_bytes,
                                        std::uint32_t log_id, const CardSettings& settings);
  // Continues a log, or the log in the image of a card: keeps log id and
  // settings, but puts the poll period into force.
  [[nodiscard]] static CardFile continue_log(const std::string& path,
                                             std::optional<std::uint32_t> poll_period_ms);

  // The owner's signals that the card's settings define; reads only. FILE: a log,
  // the image of a card, or a mounted card's folder.
  [[nodiscard]] static std::vector<OwnersField> read_fields(const std::string& path);

  CardFile(CardFile&& other) noexcept;
  CardFile& operator=(CardFile&&) = delete;
  ~CardFile();

  [[nodiscard]] std::uint64_t sectors() const { return sectors_; }
  [[nodiscard]] CardLayout layout() const { return layout_; }
  // The owner's signals in the settings.
  [[nodiscard]] const std::vector<OwnersField>& fields() const { return fields_; }
  [[nodiscard]] std::uint64_t written() const { return written_; }
  // Does what the logger asks of its card. `sector` is room for 512 bytes, valid
  // in the answer until the next call.
  [[nodiscard]] CardAnswer serve(const CardRequest& request, std::span<std::uint8_t, 512> sector);

 private:
  CardFile(std::string path, int file, std::uint64_t sectors);
  [[nodiscard]] bool read(std::uint64_t address, std::span<std::uint8_t, 512> sector) const;
  // Opens what has a log, and reads its settings sector.
  struct Opened;
  [[nodiscard]] static Opened open(const std::string& path, int flags);
  // First sector of the log in the image of a card; refuses one without.
  [[nodiscard]] std::uint32_t find_log() const;

  std::string path_;
  int file_;
  std::uint64_t sectors_;
  std::uint64_t written_ = 0;
  CardLayout layout_ = CardLayout::log;
  std::vector<OwnersField> fields_;
};

}  // namespace packmile::benchvan
