// An SD card on an SPI bus: made ready, read, written, lost and found again.
// Nothing in here waits: what takes the card a while is asked for again at a later
// on_time(), so that the bus of the van is heard meanwhile.
//
// Standard  SD Physical Layer Simplified Specification, SPI mode: sections are named
//           where they were looked up, all else is from memory.
// Input     CardRequest; CardAnswer when it is done. One request at a time.
// Bounded   one call moves kSdTurnBytes over the bus at most; a request is answered
//           within kSdAnswerMs whatever the card does, by calls that come when due.
// Rule      CRC is on before anything else is asked for; a card that refuses that
//           is not used. No address beyond the card's end is sent.
// Rule      the first write after each start of the card is read back and compared
//           before it is answered. A card that is not the one of this power-up is
//           never written.
// Trouble   a request that fails is answered as failed, never repeated in here.
//           The card is started again when it does not answer, refuses a command,
//           takes too long, or after three failures in a row.
//
//   phase        what happens                          next
//   resting      due                                   identifying, flushing
//   flushing     a block's worth of bytes sent         waking
//   waking       CMD0 answered; not                    identifying; resting (absent)
//   identifying  CMD8, CMD59                           powering_up
//   powering_up  ACMD41 says ready                     sizing
//   sizing       CMD58, CMD16 where it counts          csd
//   csd, cid     registers read                        idle; closed when they are another card's
//   any of these anything else, too long               resting (absent)
//   idle         request                               reading, programming
//   reading      block came                            idle
//   programming  no longer busy, CMD13 says good       idle; checking after a first write
//   checking     block came, and is what was written   idle
//   any of these refused, too long, third failure      resting (starting)
#pragma once
#include <algorithm>
#include <array>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/port.hpp"
#include "cortex_m/sd_capacity.hpp"
#include "cortex_m/sd_command.hpp"
#include "cortex_m/sd_crc.hpp"
#include "tick.hpp"

namespace packmile::cortex_m {

// A bus with one card on it. exchange() sends a byte, mode 0, and returns the one
// that came meanwhile; a line that nobody drives reads 0xFF. set_slow(): at most
// 400 kHz; set_fast(): at most 25 MHz.
template <class T>
concept SpiBus = requires(T& spi, std::uint8_t byte) {
  spi.select();
  spi.deselect();
  { spi.exchange(byte) } -> std::same_as<std::uint8_t>;
  spi.set_slow();
  spi.set_fast();
};

enum class CardState : std::uint8_t {
  absent,    // no card, or none that can be used
  starting,  // not tried yet, or a card answers and is being made ready
  ready,
  changed  // another card than the one of this power-up; stays so
};

inline constexpr std::uint32_t kSdBlockBytes = 512;
// Bytes over the bus that one on_time() takes at most: a block with its command
// and what belongs to them.
inline constexpr std::size_t kSdTurnBytes = 600;

// 4.6.2: a card reads within 100 ms. Twice that: common practice, no source.
inline constexpr Tick kSdReadMs = 200;
// 4.6.2: 250 ms; larger cards 500 ms, from memory. Worn ones take longer: four times
// the one, common practice, no source.
inline constexpr Tick kSdBusyMs = 1'000;
// ACMD41 says ready within 1 s of the first.
inline constexpr Tick kSdPowerUpMs = 1'000;
// Common practice, no source, like the next two: a card takes 10 to 500 ms.
inline constexpr Tick kSdPowerUpPollMs = 5;
inline constexpr Tick kSdPollMs = 1;
// While no card answers.
inline constexpr Tick kSdRestMs = 500;
// A write that came while the card was started again, and is read back.
inline constexpr Tick kSdAnswerMs =
    kSdPowerUpMs + 2 * kSdReadMs + kSdBusyMs + kSdReadMs + kSdPowerUpPollMs;

template <SpiBus Spi>
class SdCard {
 public:
  constexpr explicit SdCard(Spi& bus) : spi_(bus) {}

  // Does the next step when it is due. `now` that runs backwards does nothing.
  void on_time(Tick now);
  // When the next step is due; it may have passed. kNoDeadline: nothing waits.
  [[nodiscard]] Tick deadline() const { return answer_waits() ? Tick{0} : due_; }

  [[nodiscard]] CardState state() const { return state_; }
  // Of 512 bytes, of the card of this power-up; 0 until it was ready once.
  [[nodiscard]] std::uint64_t sectors() const {
    return known_ ? static_cast<std::uint64_t>(last_sector_) + 1 : 0;
  }

  // Not while another request is open: that changes nothing. Absent or changed,
  // it has failed at once; starting, it waits until that has come to an end.
  void begin(Tick now, const CardRequest& request);
  // Once for each request; ask after begin() and after on_time(). `sector` stays
  // valid until the next begin().
  [[nodiscard]] std::optional<CardAnswer> take_answer();

 private:
  enum class Phase : std::uint8_t {
    resting,
    flushing,
    waking,
    identifying,
    powering_up,
    sizing,
    csd,
    cid,
    idle,
    reading,
    programming,
    checking,
    closed
  };
  enum class Request : std::uint8_t { none, open, failed, done };
  // At least 74 clocks before the first command.
  static constexpr int kWakeBytes = 10;
  // An answer comes within 8 bytes.
  static constexpr int kAnswerBytes = 9;
  static constexpr int kPollBytes = 64;
  // A block, its CRC and whatever is left over. Ends a transfer that a restart of
  // ours has cut: the card takes commands for data until then.
  static constexpr int kFlushBytes = 520;
  // Common practice, no source.
  static constexpr std::uint8_t kFailuresInRow = 3;

  [[nodiscard]] bool answer_waits() const {
    return request_is_ == Request::failed || request_is_ == Request::done;
  }
  [[nodiscard]] std::uint32_t wire_address() const {
    return high_capacity_ ? request_.address : request_.address * kSdBlockBytes;
  }
  [[nodiscard]] bool is_over(Tick limit_ms) const {
    return static_cast<std::uint32_t>(now_) - since_ >= limit_ms;
  }

  [[nodiscard]] std::uint8_t receive() { return spi_.exchange(0xFF); }
  void release();
  // The first byte that is not 0xFF, or 0xFF when there is none among `most`.
  std::uint8_t first_byte(int most);
  // Leaves the card selected. kSdNoAnswer also from a card that holds the line.
  std::uint8_t command(SdCommand index, std::uint32_t argument);
  std::uint8_t short_command(SdCommand index, std::uint32_t argument);
  std::uint8_t long_command(SdCommand index, std::uint32_t argument, std::uint32_t& value);
  std::uint8_t send_block();
  bool receive_block();

  void go(Phase phase);
  void wake();
  void flush();
  void identify();
  void power_up();
  void size();
  void ask_for_block(SdCommand index, std::uint32_t argument, Phase phase);
  void await_block();
  void on_register();
  void serve();
  void await_release();
  void finish(bool ok);
  void succeed();
  void refuse(bool start_again);
  void give_up();
  void close();

  Tick now_ = 0;  // of the step that is being done
  Tick due_ = 0;
  Spi& spi_;
  CardRequest request_{};
  std::uint32_t last_sector_ = 0;
  std::uint32_t since_ = 0;  // low half of the tick at which a wait began
  std::array<std::uint8_t, kSdRegisterBytes> cid_{};
  std::array<std::uint8_t, kSdBlockBytes> sector_{};
  Phase phase_ = Phase::resting;
  CardState state_ = CardState::starting;
  Request request_is_ = Request::none;
  std::uint8_t failures_in_row_ = 0;
  bool version_1_ = false;
  bool high_capacity_ = false;
  bool write_proved_ = false;
  bool known_ = false;  // cid_ and last_sector_ are those of this power-up's card
};

template <SpiBus Spi>
void SdCard<Spi>::begin(Tick now, const CardRequest& request) {
  if (request_is_ != Request::none) return;
  request_ = request;
  request_is_ = Request::open;
  if (state_ == CardState::absent || state_ == CardState::changed) {
    finish(false);
  } else if (phase_ == Phase::idle) {
    due_ = now;
  }
}

template <SpiBus Spi>
std::optional<CardAnswer> SdCard<Spi>::take_answer() {
  if (!answer_waits()) return std::nullopt;
  const bool ok = request_is_ == Request::done;
  request_is_ = Request::none;
  const bool read = ok && request_.operation == CardOperation::read;
  return CardAnswer{.ok = ok, .sector = read ? sector_.data() : nullptr};
}

template <SpiBus Spi>
void SdCard<Spi>::on_time(Tick now) {
  if (now < due_) return;
  now_ = now;
  switch (phase_) {
    case Phase::resting:
    case Phase::waking:
      wake();
      break;
    case Phase::flushing:
      flush();
      go(Phase::waking);
      break;
    case Phase::identifying:
      identify();
      break;
    case Phase::powering_up:
      power_up();
      break;
    case Phase::sizing:
      size();
      break;
    case Phase::csd:
    case Phase::cid:
    case Phase::reading:
    case Phase::checking:
      await_block();
      break;
    case Phase::programming:
      await_release();
      break;
    case Phase::idle:
      serve();
      break;
    case Phase::closed:
      break;
  }
}

template <SpiBus Spi>
void SdCard<Spi>::go(Phase phase) {
  phase_ = phase;
  since_ = static_cast<std::uint32_t>(now_);
  due_ = now_;
}

// The card lets go of the line only with a clock after its select has gone.
template <SpiBus Spi>
void SdCard<Spi>::release() {
  spi_.deselect();
  (void)receive();
}

template <SpiBus Spi>
std::uint8_t SdCard<Spi>::first_byte(int most) {
  std::uint8_t byte = 0xFF;
  for (int i = 0; i < most && byte == 0xFF; ++i) byte = receive();
  return byte;
}

template <SpiBus Spi>
std::uint8_t SdCard<Spi>::command(SdCommand index, std::uint32_t argument) {
  spi_.select();
  // A card that is busy, or in the middle of a block, would not understand.
  if (receive() != 0xFF) return kSdNoAnswer;
  std::uint8_t byte = static_cast<std::uint8_t>(0x40 | static_cast<std::uint8_t>(index));
  std::uint8_t crc7 = 0;
  for (int shift = 24;; shift -= 8) {
    spi_.exchange(byte);
    crc7 = crc7_next(crc7, byte);
    if (shift < 0) break;
    byte = static_cast<std::uint8_t>(argument >> shift);
  }
  spi_.exchange(static_cast<std::uint8_t>(crc7 | 1));
  std::uint8_t answer = kSdNoAnswer;
  for (int i = 0; i < kAnswerBytes && (answer & 0x80) != 0; ++i) answer = receive();
  return (answer & 0x80) != 0 ? kSdNoAnswer : answer;
}

template <SpiBus Spi>
std::uint8_t SdCard<Spi>::short_command(SdCommand index, std::uint32_t argument) {
  const std::uint8_t answer = command(index, argument);
  release();
  return answer;
}

template <SpiBus Spi>
std::uint8_t SdCard<Spi>::long_command(SdCommand index, std::uint32_t argument,
                                       std::uint32_t& value) {
  const std::uint8_t answer = command(index, argument);
  for (int i = 0; i < 4; ++i) value = value << 8 | receive();
  release();
  return answer;
}

template <SpiBus Spi>
void SdCard<Spi>::wake() {
  spi_.set_slow();
  spi_.deselect();
  for (int i = 0; i < kWakeBytes; ++i) (void)receive();
  if (short_command(SdCommand::go_idle, 0) == kSdIdle) {
    state_ = CardState::starting;
    go(Phase::identifying);
  } else if (phase_ == Phase::resting) {
    go(Phase::flushing);
  } else {
    give_up();
  }
}

// Only a card that was started before can be in the middle of a block, so it takes
// the fast clock. It may also wait for a block to begin: this one's CRC is wrong, so
// that it is refused.
template <SpiBus Spi>
void SdCard<Spi>::flush() {
  spi_.set_fast();
  spi_.select();
  spi_.exchange(kSdDataToken);
  for (int i = 0; i < kFlushBytes; ++i) (void)receive();
  release();
}

template <SpiBus Spi>
void SdCard<Spi>::identify() {
  std::uint32_t echo = 0;
  const std::uint8_t answer = long_command(SdCommand::send_if_cond, kSdIfCond, echo);
  version_1_ = answer == (kSdIdle | kSdIllegal);
  const bool version_2 = answer == kSdIdle && (echo & 0xFFF) == kSdIfCond;
  // 7.2.2: before ACMD41.
  if ((version_1_ || version_2) && short_command(SdCommand::crc_on_off, 1) == kSdIdle) {
    go(Phase::powering_up);
  } else {
    give_up();
  }
}

template <SpiBus Spi>
void SdCard<Spi>::power_up() {
  std::uint8_t answer = short_command(SdCommand::app_command, 0);
  if ((answer & ~kSdIdle) == 0)
    answer = short_command(SdCommand::send_op_cond, version_1_ ? 0 : kSdHighCapacityHost);
  if (answer == 0) {
    go(Phase::sizing);
  } else if (answer != kSdIdle || is_over(kSdPowerUpMs)) {
    give_up();
  } else {
    due_ = now_ + kSdPowerUpPollMs;
  }
}

template <SpiBus Spi>
void SdCard<Spi>::size() {
  std::uint32_t ocr = 0;
  // The register has its own bit for "powered up"; the one of the answer lags behind
  // in the card of qemu's emulation.
  bool usable = (long_command(SdCommand::read_ocr, 0, ocr) & ~kSdIdle) == 0 &&
                (ocr & kSdOcrPoweredUp) != 0 && (ocr & kSdOcrVoltage) != 0;
  high_capacity_ = !version_1_ && (ocr & kSdOcrHighCapacity) != 0;
  // 7.2.3: where addresses count blocks, a block is 512 bytes anyhow.
  if (usable && !high_capacity_)
    usable = short_command(SdCommand::set_block_length, kSdBlockBytes) == 0;
  if (!usable) {
    give_up();
    return;
  }
  spi_.set_fast();
  ask_for_block(SdCommand::send_csd, 0, Phase::csd);
}

template <SpiBus Spi>
void SdCard<Spi>::ask_for_block(SdCommand index, std::uint32_t argument, Phase phase) {
  const std::uint8_t answer = command(index, argument);
  go(phase);
  if (answer == 0) return;
  release();
  // The answer may have been heard wrong, and the card now send a block, or wait for
  // one: it would take the next for this address.
  refuse(true);
}

template <SpiBus Spi>
void SdCard<Spi>::await_block() {
  const std::uint8_t token = first_byte(kPollBytes);
  if (token == 0xFF && !is_over(kSdReadMs)) {
    due_ = now_ + kSdPollMs;
    return;
  }
  if (token != kSdDataToken) {
    release();
    // An error token has its upper bits clear. What is neither cannot be
    // relied on to have come to an end.
    refuse((token & 0xF0) != 0);
    return;
  }
  const bool good = receive_block();
  release();
  if (!good) {
    refuse(false);
  } else if (phase_ == Phase::csd || phase_ == Phase::cid) {
    on_register();
  } else {
    write_proved_ = write_proved_ || phase_ == Phase::checking;
    succeed();
  }
}

// Into sector_; while checking compared instead. False: wrong CRC, or not the same.
template <SpiBus Spi>
bool SdCard<Spi>::receive_block() {
  const bool is_register = phase_ == Phase::csd || phase_ == Phase::cid;
  const std::size_t length = is_register ? kSdRegisterBytes : kSdBlockBytes;
  const bool compare = phase_ == Phase::checking;
  std::uint16_t crc16 = 0;
  std::uint8_t differs = 0;
  for (std::size_t i = 0; i < length; ++i) {
    const std::uint8_t byte = receive();
    crc16 = crc16_next(crc16, byte);
    if (compare) {
      differs |= static_cast<std::uint8_t>(byte ^ request_.sector[i]);
    } else {
      sector_[i] = byte;
    }
  }
  // A block followed by its own CRC leaves 0.
  crc16 = crc16_next(crc16, receive());
  crc16 = crc16_next(crc16, receive());
  return crc16 == 0 && differs == 0;
}

template <SpiBus Spi>
void SdCard<Spi>::on_register() {
  const std::span<const std::uint8_t, kSdRegisterBytes> content(sector_.data(), kSdRegisterBytes);
  if (phase_ == Phase::csd) {
    const std::uint32_t last_sector = sd_last_sector_of(content, high_capacity_);
    if (last_sector == 0) {
      give_up();
    } else if (known_ && last_sector != last_sector_) {
      close();
    } else {
      last_sector_ = last_sector;
      ask_for_block(SdCommand::send_cid, 0, Phase::cid);
    }
  } else if (known_ && !std::equal(content.begin(), content.end(), cid_.begin())) {
    close();
  } else {
    std::copy(content.begin(), content.end(), cid_.begin());
    known_ = true;
    state_ = CardState::ready;
    failures_in_row_ = 0;
    write_proved_ = false;
    phase_ = Phase::idle;
    due_ = request_is_ == Request::open ? now_ : kNoDeadline;
  }
}

template <SpiBus Spi>
void SdCard<Spi>::serve() {
  due_ = kNoDeadline;
  if (request_is_ != Request::open) return;
  const bool write = request_.operation == CardOperation::write;
  if (request_.address > last_sector_ || (write && !request_.sector)) {
    finish(false);
    return;
  }
  if (!write) {
    ask_for_block(SdCommand::read_block, wire_address(), Phase::reading);
    return;
  }
  ask_for_block(SdCommand::write_block, wire_address(), Phase::programming);
  if (phase_ != Phase::programming) return;
  const std::uint8_t response = send_block();
  if (response == kSdDataAccepted) return;
  release();
  refuse(response == kSdNoAnswer);
}

// Returns what the card said of it: kSdDataAccepted, another response, kSdNoAnswer.
template <SpiBus Spi>
std::uint8_t SdCard<Spi>::send_block() {
  (void)receive();
  spi_.exchange(kSdDataToken);
  std::uint16_t crc16 = 0;
  for (std::size_t i = 0; i < kSdBlockBytes; ++i) {
    spi_.exchange(request_.sector[i]);
    crc16 = crc16_next(crc16, request_.sector[i]);
  }
  spi_.exchange(static_cast<std::uint8_t>(crc16 >> 8));
  spi_.exchange(static_cast<std::uint8_t>(crc16));
  const std::uint8_t response = first_byte(kAnswerBytes);
  // xxx0sss1
  return (response & 0x11) == 0x01 ? response & 0x1F : kSdNoAnswer;
}

template <SpiBus Spi>
void SdCard<Spi>::await_release() {
  bool busy = true;
  for (int i = 0; i < kPollBytes && busy; ++i) busy = receive() != 0xFF;
  if (busy) {
    if (!is_over(kSdBusyMs)) {
      due_ = now_ + kSdPollMs;
    } else {
      release();
      refuse(true);
    }
    return;
  }
  release();
  // Address, protection and programming errors show only now (R2).
  const std::uint8_t answer = command(SdCommand::send_status, 0);
  const std::uint8_t second = receive();
  release();
  if ((answer | second) != 0) {
    refuse(answer != 0);
  } else if (!write_proved_) {
    ask_for_block(SdCommand::read_block, wire_address(), Phase::checking);
  } else {
    succeed();
  }
}

template <SpiBus Spi>
void SdCard<Spi>::finish(bool ok) {
  if (request_is_ == Request::open) request_is_ = ok ? Request::done : Request::failed;
}

template <SpiBus Spi>
void SdCard<Spi>::succeed() {
  failures_in_row_ = 0;
  phase_ = Phase::idle;
  due_ = kNoDeadline;
  finish(true);
}

template <SpiBus Spi>
void SdCard<Spi>::refuse(bool start_again) {
  if (state_ != CardState::ready) {
    give_up();
    return;
  }
  finish(false);
  if (start_again || ++failures_in_row_ >= kFailuresInRow) {
    state_ = CardState::starting;
    go(Phase::resting);
  } else {
    phase_ = Phase::idle;
    due_ = kNoDeadline;
  }
}

template <SpiBus Spi>
void SdCard<Spi>::give_up() {
  state_ = CardState::absent;
  finish(false);
  phase_ = Phase::resting;
  due_ = now_ + kSdRestMs;
}

template <SpiBus Spi>
void SdCard<Spi>::close() {
  state_ = CardState::changed;
  finish(false);
  phase_ = Phase::closed;
  due_ = kNoDeadline;
}

}  // namespace packmile::cortex_m
