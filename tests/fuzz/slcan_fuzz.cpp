// The slcan reader: any bytes, against a second and slower reading of each line.
//
// Holds  lines are independent of each other; a line is a frame exactly when the
//        plain rule says so; a frame that was read is written as it stood.
#include <cctype>
#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

#include "core/slcan.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"

namespace packmile::fuzz {
namespace {

bool all_hex(std::string_view text) {
  for (const char c : text)
    if (std::isxdigit(static_cast<unsigned char>(c)) == 0) return false;
  return true;
}

std::uint32_t hex_of(std::string_view text) {
  return static_cast<std::uint32_t>(std::stoul(std::string(text), nullptr, 16));
}

// By the words of slcan.hpp alone, one condition after the other.
bool is_frame_line(std::string_view line) {
  if (line.empty() || line.size() > kMaxSlcanLineBytes - 1) return false;
  if (std::string_view("tTrR").find(line[0]) == std::string_view::npos) return false;
  const bool extended = line[0] == 'T' || line[0] == 'R';
  const bool remote = line[0] == 'r' || line[0] == 'R';
  const std::size_t digits = extended ? 8 : 3;
  if (line.size() < digits + 2) return false;
  const std::string_view id = line.substr(1, digits);
  const char dlc = line[1 + digits];
  if (!all_hex(id) || hex_of(id) > (extended ? 0x1FFFFFFFu : 0x7FFu)) return false;
  if (dlc < '0' || dlc > '8') return false;
  const std::size_t data_digits = remote ? 0 : 2 * static_cast<std::size_t>(dlc - '0');
  const std::string_view rest = line.substr(digits + 2);
  if (!all_hex(rest)) return false;
  if (rest.size() == data_digits) return true;
  return rest.size() == data_digits + 4 && hex_of(rest.substr(data_digits)) <= kMaxSlcanStampMs;
}

void check_frame(const SlcanEvent& event, std::string line) {
  for (std::size_t i = 1; i < line.size(); ++i)
    line[i] = static_cast<char>(std::toupper(static_cast<unsigned char>(line[i])));
  std::uint8_t out[kMaxSlcanLineBytes];
  const std::size_t bytes = write_slcan(event.frame, out);
  must(bytes != 0, "a frame that was read can be written");
  std::string written(reinterpret_cast<const char*>(out), bytes);
  must(written.back() == '\r', "a written line ends in CR");
  written.pop_back();
  if (event.stamp_ms) {
    char stamp[8];
    std::snprintf(stamp, sizeof stamp, "%04X", static_cast<unsigned>(*event.stamp_ms));
    written += stamp;
  }
  must(written == line, "a frame is written as it stood on the line");
}

void check_event(const SlcanEvent& event, const std::string& line, std::uint8_t end) {
  must((event.kind == SlcanEventKind::frame) == is_frame_line(line), "frames are frame lines");
  const bool empty = line.empty() || line == "z" || line == "Z";
  const bool answer =
      event.kind == SlcanEventKind::accepted || event.kind == SlcanEventKind::refused;
  must(answer == empty, "an empty line, z or Z is the only answer");
  if (answer)
    must((event.kind == SlcanEventKind::refused) == (end == 0x07), "BEL refuses, CR accepts");
  must(event.frame.length <= 8, "a frame has at most 8 bytes");
  must(!event.stamp_ms || *event.stamp_ms <= kMaxSlcanStampMs, "stamps are below one minute");
  must(event.rx_errors <= 999 && event.tx_errors <= 999, "error counts have three digits");
  if (line.size() >= kMaxSlcanLineBytes)
    must(event.kind == SlcanEventKind::discarded, "a line that is too long is discarded");
  if (event.kind == SlcanEventKind::frame) check_frame(event, line);
}

}  // namespace

void try_slcan(Input input) {
  SlcanReader whole;
  std::string line;
  for (const std::uint8_t byte : input) {
    const auto event = whole.on_byte(byte);
    const bool ends = byte == 0x0D || byte == 0x07;
    must(event.has_value() == ends, "an event comes at the end of a line and nowhere else");
    if (!ends) {
      line.push_back(static_cast<char>(byte));
      continue;
    }
    // What came before must not matter, whole line or cut off by a reset.
    SlcanReader alone;
    for (const char c : std::string_view("t12")) (void)alone.on_byte(static_cast<std::uint8_t>(c));
    alone.reset();
    for (const char c : line) (void)alone.on_byte(static_cast<std::uint8_t>(c));
    must(alone.on_byte(byte) == event, "a line means the same whatever came before");
    check_event(*event, line, byte);
    line.clear();
  }
}

}  // namespace packmile::fuzz
