#include "benchvan/serial_line.hpp"

#include <algorithm>

namespace packmile::benchvan {

void LineAssembler::on_bytes(Nanos now_ns, std::span<const std::uint8_t> bytes) {
  free_ns_ = std::max(free_ns_, now_ns);
  for (const std::uint8_t byte : bytes) {
    free_ns_ += byte_ns_;
    if (byte != '\r') {
      if (open_.length < kMaxLineBytes - 1) {
        open_.text[open_.length++] = static_cast<char>(byte);
      } else {
        open_.too_long = true;
      }
      continue;
    }
    open_.at_ns = free_ns_;
    lines_.push_back(open_);
    open_ = SerialLine{};
  }
}

std::optional<SerialLine> LineAssembler::take(Nanos now_ns) {
  if (next_ns() > now_ns) return std::nullopt;
  const SerialLine line = lines_.front();
  lines_.pop_front();
  return line;
}

bool LinePacer::put(Nanos now_ns, std::string_view line) {
  if (lines_.size() >= kMaxLines || line.size() > kMaxLineBytes) return false;
  free_ns_ = std::max(free_ns_, now_ns) + byte_ns_ * static_cast<Nanos>(line.size());
  SerialLine& queued = lines_.emplace_back();
  queued.at_ns = free_ns_ + latency_ns_;
  queued.length = line.size();
  std::copy(line.begin(), line.end(), queued.text.begin());
  return true;
}

std::size_t LinePacer::take(Nanos now_ns, std::span<std::uint8_t> out) {
  std::size_t count = 0;
  while (next_ns() <= now_ns && count + lines_.front().length <= out.size()) {
    const std::string_view line = lines_.front().view();
    std::copy(line.begin(), line.end(), out.begin() + static_cast<std::ptrdiff_t>(count));
    count += line.size();
    lines_.pop_front();
  }
  return count;
}

}  // namespace packmile::benchvan
