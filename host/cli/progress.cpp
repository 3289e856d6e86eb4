#include "cli/progress.hpp"

#include <fmt/core.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <cstring>

#include "cli/say.hpp"

namespace packmile::cli {
namespace {

constexpr std::chrono::milliseconds kSilentFor{500};
constexpr std::chrono::milliseconds kBetween{100};
constexpr std::size_t kLongestName = 40;

}  // namespace

Progress::Progress(std::string what, std::string unit)
    : what_(clean_text(what).substr(0, kLongestName)), unit_(std::move(unit)) {
  const char* terminal = std::getenv("TERM");
  on_ = isatty(STDERR_FILENO) == 1 && terminal != nullptr && std::strcmp(terminal, "dumb") != 0;
}

void Progress::at(std::uint64_t done, std::uint64_t total) {
  if (!on_ || total == 0) return;
  const auto now = Clock::now();
  if (now - start_ < kSilentFor || now - last_ < kBetween) return;
  last_ = now;
  shown_ = true;
  const double seconds = std::chrono::duration<double>(now - start_).count();
  const double rate = static_cast<double>(done) / seconds;
  const double left_s = rate > 0 ? static_cast<double>(total - std::min(done, total)) / rate : 0;
  fmt::print(stderr, "\r{}: {} of {} {}, {:.0f}/s, {:.0f} s left\033[K", what_, done, total, unit_,
             rate, left_s);
  std::fflush(stderr);
}

Progress::~Progress() {
  if (shown_) std::fputs("\r\033[K", stderr);
}

}  // namespace packmile::cli
