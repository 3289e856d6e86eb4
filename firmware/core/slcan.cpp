#include "core/slcan.hpp"

#include <utility>

namespace packmile {
namespace {

constexpr std::uint8_t kCr = 0x0D;
constexpr std::uint8_t kBel = 0x07;

constexpr std::size_t kStampDigits = 4;

struct FrameType {
  bool extended;
  bool remote;
};

constexpr std::optional<FrameType> frame_type(char letter) {
  switch (letter) {
    case 't':
      return FrameType{false, false};
    case 'T':
      return FrameType{true, false};
    case 'r':
      return FrameType{false, true};
    case 'R':
      return FrameType{true, true};
  }
  return std::nullopt;
}

constexpr std::size_t id_digits(bool extended) { return extended ? 8 : 3; }
constexpr std::uint32_t max_id(bool extended) { return extended ? 0x1FFFFFFF : 0x7FF; }

constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }

constexpr bool is_alphanumeric(char c) {
  return is_digit(c) || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

constexpr std::optional<std::uint8_t> hex_digit(char c) {
  if (is_digit(c)) return static_cast<std::uint8_t>(c - '0');
  if (c >= 'A' && c <= 'F') return static_cast<std::uint8_t>(c - 'A' + 10);
  if (c >= 'a' && c <= 'f') return static_cast<std::uint8_t>(c - 'a' + 10);
  return std::nullopt;
}

// At most eight digits.
std::optional<std::uint32_t> hex_number(std::string_view digits) {
  std::uint32_t value = 0;
  for (const char c : digits) {
    const auto digit = hex_digit(c);
    if (!digit) return std::nullopt;
    value = value << 4 | *digit;
  }
  return value;
}

std::optional<std::uint16_t> decimal_of_three(const char* digits) {
  std::uint16_t value = 0;
  for (int i = 0; i < 3; ++i) {
    if (!is_digit(digits[i])) return std::nullopt;
    value = static_cast<std::uint16_t>(value * 10 + (digits[i] - '0'));
  }
  return value;
}

constexpr std::string_view tail(std::string_view text, std::size_t from) {
  return {text.data() + from, text.size() - from};
}
constexpr std::string_view head(std::string_view text, std::size_t size) {
  return {text.data(), size};
}

// Each of these fills in what its kind of line carries. False: it is not one, and
// what it has filled in means nothing.
bool parse_frame(std::string_view line, FrameType type, SlcanEvent& event) {
  const std::size_t data_at = 1 + id_digits(type.extended) + 1;
  if (line.size() < data_at) return false;
  const auto id = hex_number(head(tail(line, 1), id_digits(type.extended)));
  const char dlc = line[data_at - 1];
  if (!id || *id > max_id(type.extended) || dlc < '0' || dlc > '8') return false;

  event.kind = SlcanEventKind::frame;
  event.frame.id = *id;
  event.frame.extended = type.extended;
  event.frame.remote = type.remote;
  event.frame.length = static_cast<std::uint8_t>(dlc - '0');

  const std::size_t data_bytes = type.remote ? 0 : event.frame.length;
  const std::size_t stamp_at = data_at + 2 * data_bytes;
  if (line.size() != stamp_at && line.size() != stamp_at + kStampDigits) return false;
  for (std::size_t i = 0; i < data_bytes; ++i) {
    const auto byte = hex_number(head(tail(line, data_at + 2 * i), 2));
    if (!byte) return false;
    event.frame.data[i] = static_cast<std::uint8_t>(*byte);
  }
  if (line.size() > stamp_at) {
    const auto stamp_ms = hex_number(tail(line, stamp_at));
    if (!stamp_ms || *stamp_ms > kMaxSlcanStampMs) return false;
    event.stamp_ms = static_cast<std::uint16_t>(*stamp_ms);
  }
  return true;
}

std::optional<std::uint8_t> error_bit(char code) {
  switch (code) {
    case 'a':
      return slcan_error::ack;
    case 'b':
      return slcan_error::bit0;
    case 'B':
      return slcan_error::bit1;
    case 'c':
      return slcan_error::crc;
    case 'f':
      return slcan_error::form;
    case 'o':
      return slcan_error::rx_overrun;
    case 'O':
      return slcan_error::tx_overrun;
    case 's':
      return slcan_error::stuff;
  }
  return std::nullopt;
}

bool parse_error(std::string_view line, SlcanEvent& event) {
  if (line.size() < 3 || line[1] < '1' || line[1] > '8') return false;
  if (line.size() != 2 + static_cast<std::size_t>(line[1] - '0')) return false;
  event.kind = SlcanEventKind::error;
  for (const char code : tail(line, 2)) {
    const auto bit = error_bit(code);
    if (!bit) return false;
    event.errors = static_cast<std::uint8_t>(event.errors | *bit);
  }
  return true;
}

std::optional<SlcanBusState> bus_state(char letter) {
  switch (letter) {
    case 'a':
      return SlcanBusState::active;
    case 'w':
      return SlcanBusState::warning;
    case 'p':
      return SlcanBusState::passive;
    case 'b':
      return SlcanBusState::off;
  }
  return std::nullopt;
}

bool parse_state(std::string_view line, SlcanEvent& event) {
  if (line.size() != 8) return false;
  const auto state = bus_state(line[1]);
  const auto rx_errors = decimal_of_three(line.data() + 2);
  const auto tx_errors = decimal_of_three(line.data() + 5);
  if (!state || !rx_errors || !tx_errors) return false;
  event.kind = SlcanEventKind::state;
  event.bus_state = *state;
  event.rx_errors = *rx_errors;
  event.tx_errors = *tx_errors;
  return true;
}

bool parse_status(std::string_view line, SlcanEvent& event) {
  if (line.size() != 3) return false;
  const auto flags = hex_number(tail(line, 1));
  if (!flags) return false;
  event.kind = SlcanEventKind::status;
  event.status_flags = static_cast<std::uint8_t>(*flags);
  return true;
}

bool parse_text(std::string_view line, SlcanEventKind kind, SlcanEvent& event) {
  if (line.size() != 1 + event.text.size()) return false;
  event.kind = kind;
  for (std::size_t i = 0; i < event.text.size(); ++i) {
    if (!is_alphanumeric(line[1 + i])) return false;
    event.text[i] = line[1 + i];
  }
  return true;
}

bool parse_line(std::string_view line, std::uint8_t end, SlcanEvent& event) {
  const bool empty = line.empty() || (line.size() == 1 && (line[0] == 'z' || line[0] == 'Z'));
  if (empty) {
    event.kind = end == kBel ? SlcanEventKind::refused : SlcanEventKind::accepted;
    return true;
  }
  if (const auto type = frame_type(line[0])) return parse_frame(line, *type, event);
  switch (line[0]) {
    case 'e':
      return parse_error(line, event);
    case 's':
      return parse_state(line, event);
    case 'F':
      return parse_status(line, event);
    case 'V':
      return parse_text(line, SlcanEventKind::version, event);
    case 'N':
      return parse_text(line, SlcanEventKind::serial, event);
  }
  return false;
}

void put_hex(std::uint32_t value, std::size_t digits, std::uint8_t* out) {
  for (std::size_t i = 0; i < digits; ++i)
    out[i] = static_cast<std::uint8_t>("0123456789ABCDEF"[value >> 4 * (digits - 1 - i) & 0xF]);
}

}  // namespace

std::optional<SlcanEvent> SlcanReader::on_byte(std::uint8_t byte) {
  if (byte != kCr && byte != kBel) {
    if (size_ < line_.size())
      line_[size_++] = static_cast<char>(byte);
    else
      too_long_ = true;
    return std::nullopt;
  }
  std::optional<SlcanEvent> event{std::in_place};
  if (too_long_ || !parse_line({line_.data(), size_}, byte, *event)) event.emplace();
  reset();
  return event;
}

void SlcanReader::reset() {
  size_ = 0;
  too_long_ = false;
}

std::string_view slcan_line(AdapterCommand command) {
  using std::string_view_literals::operator""sv;
  switch (command) {
    case AdapterCommand::close:
      return "C\r"sv;
    case AdapterCommand::rate_500:
      return "S6\r"sv;
    case AdapterCommand::rate_250:
      return "S5\r"sv;
    case AdapterCommand::open:
      return "O\r"sv;
    case AdapterCommand::listen_only:
      return "L\r"sv;
    case AdapterCommand::status:
      return "F\r"sv;
  }
  return {};
}

std::size_t write_slcan(const CanFrame& frame, std::span<std::uint8_t> out) {
  if (frame.id > max_id(frame.extended) || frame.length > frame.data.size()) return 0;
  const std::size_t digits = id_digits(frame.extended);
  const std::size_t data_bytes = frame.remote ? 0 : frame.length;
  const std::size_t size = 1 + digits + 1 + 2 * data_bytes + 1;
  if (out.size() < size) return 0;
  const char letter = frame.remote ? (frame.extended ? 'R' : 'r') : (frame.extended ? 'T' : 't');
  out[0] = static_cast<std::uint8_t>(letter);
  put_hex(frame.id, digits, &out[1]);
  put_hex(frame.length, 1, &out[1 + digits]);
  for (std::size_t i = 0; i < data_bytes; ++i)
    put_hex(frame.data[i], 2, &out[1 + digits + 1 + 2 * i]);
  out[size - 1] = kCr;
  return size;
}

}  // namespace packmile
