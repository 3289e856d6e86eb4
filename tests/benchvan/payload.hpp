// A diagnostic message under construction: fixed room, no heap.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace packmile::benchvan {

class Payload {
 public:
  // More than six PIDs of the longest answer or any info type here needs.
  static constexpr std::size_t kMaxBytes = 160;

  void put(std::uint8_t byte) {
    if (size_ < kMaxBytes) bytes_[size_++] = byte;
  }
  // The `count` low bytes of the word, the highest first.
  void put_word(std::uint32_t word, int count) {
    for (int i = count - 1; i >= 0; --i) put(static_cast<std::uint8_t>(word >> (8 * i)));
  }
  // Text in a field of fixed width, zeros behind it.
  void put_text(std::string_view text, std::size_t width) {
    for (std::size_t i = 0; i < width; ++i) {
      put(i < text.size() ? static_cast<std::uint8_t>(text[i]) : std::uint8_t{0});
    }
  }
  void clear() { size_ = 0; }
  [[nodiscard]] std::size_t size() const { return size_; }
  [[nodiscard]] bool empty() const { return size_ == 0; }
  [[nodiscard]] std::span<const std::uint8_t> bytes() const {
    return std::span(bytes_).first(size_);
  }

 private:
  std::array<std::uint8_t, kMaxBytes> bytes_{};
  std::size_t size_ = 0;
};

}  // namespace packmile::benchvan
