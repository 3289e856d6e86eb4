// A progress line on stderr: only on a terminal, only for what takes longer than
// half a second, erased at the end.
#pragma once
#include <chrono>
#include <cstdint>
#include <string>

namespace packmile::cli {

class Progress {
 public:
  // `unit`: what is counted, such as sectors.
  Progress(std::string what, std::string unit);
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  void at(std::uint64_t done, std::uint64_t total);

 private:
  using Clock = std::chrono::steady_clock;
  std::string what_;
  std::string unit_;
  bool on_ = false;
  bool shown_ = false;
  Clock::time_point start_ = Clock::now();
  Clock::time_point last_{};
};

}  // namespace packmile::cli
