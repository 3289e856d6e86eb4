#include "benchvan/adapter.hpp"

#include <algorithm>

namespace packmile::benchvan {
namespace {

constexpr std::string_view kAccepted = "\r";
constexpr std::string_view kRefused = "\a";
constexpr std::string_view kDigits = "0123456789ABCDEF";
// Bit rate behind S0..S8, kbit/s. S7 is 800 or 750 by source; no van uses it.
constexpr std::array<unsigned, 9> kRates{10, 20, 50, 100, 125, 250, 500, 800, 1000};

// Value of each character as a hexadecimal digit; -1: it is none.
constexpr std::array<std::int8_t, 256> kDigitValues = [] {
  std::array<std::int8_t, 256> values{};
  values.fill(-1);
  for (std::size_t i = 0; i < 16; ++i) {
    const auto upper = static_cast<unsigned char>(kDigits[i]);
    values[upper] = static_cast<std::int8_t>(i);
    if (i >= 10) values[upper + ('a' - 'A')] = static_cast<std::int8_t>(i);
  }
  return values;
}();

// All of `text` as one hexadecimal number; absent: another character in it.
std::optional<std::uint32_t> hex_of(std::string_view text) {
  std::uint32_t value = 0;
  for (const char c : text) {
    const int digit = kDigitValues[static_cast<unsigned char>(c)];
    if (digit < 0) return std::nullopt;
    value = (value << 4) | static_cast<std::uint32_t>(digit);
  }
  return value;
}

char* put_hex(char* out, std::uint32_t value, int digits) {
  for (int i = digits - 1; i >= 0; --i) *out++ = kDigits[(value >> (4 * i)) & 0xF];
  return out;
}

}  // namespace

std::optional<BusFrame> read_frame_line(std::string_view line) {
  if (line.empty() || std::string_view("tTrR").find(line[0]) == std::string_view::npos) {
    return std::nullopt;
  }
  BusFrame frame;
  frame.extended = line[0] == 'T' || line[0] == 'R';
  frame.remote = line[0] == 'r' || line[0] == 'R';
  const std::size_t id_digits = frame.extended ? 8 : 3;
  if (line.size() < 1 + id_digits + 1) return std::nullopt;
  const std::optional<std::uint32_t> id = hex_of(line.substr(1, id_digits));
  if (!id || *id > (frame.extended ? 0x1FFFFFFFu : 0x7FFu)) return std::nullopt;
  frame.id = *id;
  const char length = line[1 + id_digits];
  if (length < '0' || length > '8') return std::nullopt;
  frame.length = static_cast<std::uint8_t>(length - '0');
  const std::string_view data = line.substr(2 + id_digits);
  if (data.size() != (frame.remote ? 0u : 2u * frame.length)) return std::nullopt;
  for (std::size_t i = 0; i < data.size() / 2; ++i) {
    const std::optional<std::uint32_t> byte = hex_of(data.substr(2 * i, 2));
    if (!byte) return std::nullopt;
    frame.data[i] = static_cast<std::uint8_t>(*byte);
  }
  return frame;
}

Adapter::Step Adapter::on_line(std::string_view line, bool too_long) {
  if (too_long) return {.answer = kRefused};
  if (line.empty()) return {.answer = kAccepted};
  switch (line[0]) {
    case 't':
    case 'T':
    case 'r':
    case 'R': {
      const std::optional<BusFrame> frame = read_frame_line(line);
      if (!frame || state_ != State::open) return {.answer = kRefused};
      return {.transmit = frame};
    }
    case 'V':
      return {.answer = line.size() == 1 ? std::string_view("V1013\r") : kRefused};
    case 'N':
      return {.answer = line.size() == 1 ? std::string_view("N0001\r") : kRefused};
    case 'F': {
      if (line.size() != 1) return {.answer = kRefused};
      char* end = flags_text_.data();
      *end++ = 'F';
      end = put_hex(end, status_flags_, 2);
      *end++ = '\r';
      status_flags_ = 0;
      return {.answer = {flags_text_.data(), static_cast<std::size_t>(end - flags_text_.data())}};
    }
    case 'M':
    case 'm':
      return {.answer = line.size() == 9 && hex_of(line.substr(1)) ? kAccepted : kRefused};
    case 'X':
      return {.answer = line == "X1" || line == "X0" ? kAccepted : kRefused};
    case 'U':
      return {.answer = kAccepted};
    default:
      return on_setting(line);
  }
}

Adapter::Step Adapter::on_setting(std::string_view line) {
  if (line == "C") {
    const bool was_open = state_ != State::closed;
    state_ = State::closed;
    return {.answer = was_open ? kAccepted : kRefused};
  }
  if (state_ != State::closed) return {.answer = kRefused};
  if (line.size() == 2 && line[0] == 'S' && line[1] >= '0' && line[1] <= '8') {
    kbit_per_s_ = kRates[static_cast<std::size_t>(line[1] - '0')];
    return {.answer = kAccepted};
  }
  if (line.size() == 5 && line[0] == 's' && hex_of(line.substr(1))) {
    // Raw bit timing: whatever it is, it is not one of our rates.
    kbit_per_s_ = 0;
    return {.answer = kAccepted};
  }
  if (line == "Z0" || line == "Z1") {
    stamps_ = line == "Z1";
    return {.answer = kAccepted};
  }
  if ((line == "O" || line == "L") && kbit_per_s_) {
    state_ = line == "O" ? State::open : State::listening;
    return {.answer = kAccepted};
  }
  return {.answer = kRefused};
}

std::string_view Adapter::confirmation(const BusFrame& frame) const {
  if (!z_confirm_) return kAccepted;
  return frame.extended ? "Z\r" : "z\r";
}

bool Adapter::hears(unsigned bus_kbit_per_s) const {
  return state_ != State::closed && kbit_per_s_ == bus_kbit_per_s;
}

std::string_view Adapter::frame_line(const BusFrame& frame, Nanos now_ns) {
  char* end = line_text_.data();
  if (frame.remote) {
    *end++ = frame.extended ? 'R' : 'r';
  } else {
    *end++ = frame.extended ? 'T' : 't';
  }
  end = put_hex(end, frame.id, frame.extended ? 8 : 3);
  end = put_hex(end, frame.length, 1);
  if (!frame.remote) {
    for (std::size_t i = 0; i < frame.length; ++i) end = put_hex(end, frame.data[i], 2);
  }
  // Milliseconds modulo one minute.
  if (stamps_) end = put_hex(end, static_cast<std::uint32_t>(now_ns / kNanosPerMs % 60000), 4);
  *end++ = '\r';
  return {line_text_.data(), static_cast<std::size_t>(end - line_text_.data())};
}

}  // namespace packmile::benchvan
