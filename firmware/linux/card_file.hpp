// The card as a file: read and written in whole sectors.
//
// Input     PACKMILE.LOG, a folder that holds it, an image of a whole card, or a
//           block device that nothing has mounted. Where on a whole card the log
//           is, the core finds out.
// Rule      never made, never grown, never cut: preparing a card is another
//           program's work. A write that returns true is on the medium as far as
//           the system knows.
#pragma once
#include <cstdint>
#include <span>
#include <string>
#include <variant>

#include "core/port.hpp"
#include "linux/port_error.hpp"
#include "sector/sector.hpp"

namespace packmile::port {

class CardFile {
 public:
  [[nodiscard]] static std::variant<CardFile, PortError> open(const std::string& target);

  CardFile(CardFile&& other) noexcept;
  CardFile& operator=(CardFile&&) = delete;
  CardFile(const CardFile&) = delete;
  CardFile& operator=(const CardFile&) = delete;
  ~CardFile();

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] CardLayout layout() const { return layout_; }
  // Whole sectors; what is left over of the file is not used.
  [[nodiscard]] std::uint64_t sectors() const { return sectors_; }
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }

  [[nodiscard]] bool read(std::uint32_t address, std::span<std::uint8_t, kSectorBytes> out);
  [[nodiscard]] bool write(std::uint32_t address,
                           std::span<const std::uint8_t, kSectorBytes> sector);
  // Of the last read or write that failed, in the system's words.
  [[nodiscard]] const std::string& last_error() const { return last_error_; }

 private:
  CardFile(int descriptor, std::string path, std::uint64_t bytes)
      : path_(std::move(path)),
        bytes_(bytes),
        sectors_(bytes / kSectorBytes),
        descriptor_(descriptor) {}

  [[nodiscard]] bool fail();
  // A log alone begins with its settings; anything else that bears the mark of
  // a boot sector is a whole card.
  [[nodiscard]] CardLayout look();

  std::string path_;
  std::string last_error_;
  std::uint64_t bytes_ = 0;
  std::uint64_t sectors_ = 0;
  CardLayout layout_ = CardLayout::log;
  int descriptor_ = -1;
};

}  // namespace packmile::port
