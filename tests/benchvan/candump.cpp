#include "benchvan/candump.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <iterator>

#include "benchvan/bench_error.hpp"

namespace packmile::benchvan {

Candump::Candump(const std::string& path) : path_(path), file_(std::fopen(path.c_str(), "wb")) {
  if (file_ == nullptr) throw BenchError(fmt::format("{}: {}", path, std::strerror(errno)));
}

Candump::~Candump() {
  if (file_ != nullptr) std::fclose(file_);
}

void Candump::on_frame(Nanos at_ns, const BusFrame& frame) {
  if (origin_us_) {
    write(at_ns, frame);
  } else {
    waiting_.push_back({at_ns, frame});
  }
}

void Candump::set_origin(std::int64_t unix_us) {
  origin_us_ = unix_us;
  for (const Waiting& waiting : waiting_) write(waiting.at_ns, waiting.frame);
  waiting_.clear();
}

void Candump::write(Nanos at_ns, const BusFrame& frame) {
  const std::int64_t at_us = *origin_us_ + at_ns / 1000;
  fmt::memory_buffer line;
  fmt::format_to(std::back_inserter(line), "({}.{:06}) can0 ", at_us / 1000000, at_us % 1000000);
  fmt::format_to(std::back_inserter(line), "{:0{}X}#", frame.id, frame.extended ? 8 : 3);
  if (frame.remote) {
    fmt::format_to(std::back_inserter(line), "R{}", frame.length);
  } else {
    for (std::size_t i = 0; i < frame.length; ++i) {
      fmt::format_to(std::back_inserter(line), "{:02X}", frame.data[i]);
    }
  }
  line.push_back('\n');
  std::fwrite(line.data(), 1, line.size(), file_);
}

void Candump::close() {
  if (!origin_us_) set_origin(0);
  const bool bad = std::ferror(file_) != 0;
  const bool unclosed = std::fclose(file_) != 0;
  file_ = nullptr;
  if (bad || unclosed) throw BenchError(fmt::format("{}: could not be written whole", path_));
}

}  // namespace packmile::benchvan
