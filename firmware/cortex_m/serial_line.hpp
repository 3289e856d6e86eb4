// The adapter's line between its interrupt and the turn: two rings of bytes.
//
// Rule      a byte for which there is no room is lost, and a byte that no line of
//           an adapter holds is put in its place: two halves of two lines must
//           never be read as one.
#pragma once
#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace packmile::cortex_m {

// One writer, one reader, of which one may be an interrupt. kBytes: a power of two.
template <std::size_t kBytes>
class ByteRing {
  static_assert((kBytes & (kBytes - 1)) == 0);

 public:
  [[nodiscard]] std::size_t size() const {
    return head_.load(std::memory_order_acquire) - tail_.load(std::memory_order_acquire);
  }
  [[nodiscard]] std::size_t room() const { return kBytes - size(); }

  bool put(std::uint8_t byte) {
    if (room() == 0) return false;
    const std::uint32_t head = head_.load(std::memory_order_relaxed);
    bytes_[head % kBytes] = byte;
    head_.store(head + 1, std::memory_order_release);
    return true;
  }

  [[nodiscard]] std::optional<std::uint8_t> take() {
    if (size() == 0) return std::nullopt;
    const std::uint32_t tail = tail_.load(std::memory_order_relaxed);
    const std::uint8_t byte = bytes_[tail % kBytes];
    tail_.store(tail + 1, std::memory_order_release);
    return byte;
  }

 private:
  std::array<std::uint8_t, kBytes> bytes_{};
  std::atomic<std::uint32_t> head_{0};
  std::atomic<std::uint32_t> tail_{0};
};

class SerialLine {
 public:
  // 44 ms at 115200 baud, 5 ms at 1 Mbaud: longer than a turn takes.
  static constexpr std::size_t kReceiveBytes = 512;
  static constexpr std::size_t kSendBytes = 128;
  // No line of an adapter holds it (slcan: letters, digits, CR, BEL).
  static constexpr std::uint8_t kSpoiled = 0xFF;

  // For the interrupt.
  void on_received(std::uint8_t byte) {
    if (lost_ && !received_.put(kSpoiled)) return;
    lost_ = !received_.put(byte);
  }
  // The hardware lost bytes before the one that comes next.
  void on_overrun() { lost_ = true; }
  [[nodiscard]] std::optional<std::uint8_t> next_to_send() { return to_send_.take(); }

  // For the turn.
  [[nodiscard]] bool has_received() const { return received_.size() != 0; }
  [[nodiscard]] std::size_t take_received(std::span<std::uint8_t> out) {
    std::size_t n = 0;
    while (n < out.size()) {
      const std::optional<std::uint8_t> byte = received_.take();
      if (!byte) break;
      out[n++] = *byte;
    }
    return n;
  }
  [[nodiscard]] std::size_t room_to_send() const { return to_send_.room(); }
  // No more than room_to_send(); the port then wakes its sender.
  void send(std::span<const std::uint8_t> bytes) {
    for (const std::uint8_t byte : bytes) (void)to_send_.put(byte);
  }
  [[nodiscard]] bool sending() const { return to_send_.size() != 0; }

 private:
  ByteRing<kReceiveBytes> received_;
  ByteRing<kSendBytes> to_send_;
  bool lost_ = false;
};

}  // namespace packmile::cortex_m
