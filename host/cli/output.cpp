#include "cli/output.hpp"

#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <utility>
#include <vector>

namespace packmile::cli {

Result<Output> Output::open(const std::string& file) {
  Output out;
  if (file.empty() || file == "-") {
    out.stream_ = stdout;
    return out;
  }
  out.file_ = file;
  // In the same folder: a rename over a border of file systems is no rename.
  std::string name = file + ".XXXXXX";
  const int fd = mkstemp(name.data());
  if (fd < 0)
    return Error{std::string{"cannot be written: "} + std::strerror(errno), file,
                 "does its folder exist, and may you write there?"};
  out.temporary_ = name;
  // mkstemp makes it private; a result is as public as any new file of the user.
  const mode_t mask = umask(0);
  umask(mask);
  (void)fchmod(fd, 0666 & ~mask);
  out.stream_ = fdopen(fd, "wb");
  if (out.stream_ == nullptr) {
    close(fd);
    return Error{std::string{"cannot be written: "} + std::strerror(errno), file, {}};
  }
  return out;
}

Output::Output(Output&& other) noexcept
    : stream_(std::exchange(other.stream_, nullptr)),
      file_(std::move(other.file_)),
      temporary_(std::exchange(other.temporary_, {})),
      good_(other.good_) {}

Output::~Output() {
  if (stream_ != nullptr && stream_ != stdout) std::fclose(stream_);
  if (!temporary_.empty()) unlink(temporary_.c_str());
}

void Output::write(std::string_view text) {
  if (good_ && std::fwrite(text.data(), 1, text.size(), stream_) != text.size()) good_ = false;
}

Result<Done> Output::commit() {
  const std::string name = file_.empty() ? "standard output" : file_;
  if (std::fflush(stream_) != 0) good_ = false;
  const int why = errno;
  const auto failed = [&](int code) {
    return Error{std::string{"cannot be written: "} + std::strerror(code), name,
                 "is the disk full?"};
  };
  if (!good_) return failed(why);
  if (file_.empty()) return Done{};
  if (fsync(fileno(stream_)) != 0 && errno != EINVAL) return failed(errno);
  if (std::fclose(std::exchange(stream_, nullptr)) != 0) return failed(errno);
  if (std::rename(temporary_.c_str(), file_.c_str()) != 0) return failed(errno);
  temporary_.clear();
  return Done{};
}

bool Output::is_terminal() const { return isatty(fileno(stream_)) == 1; }

std::size_t terminal_columns(const std::string& file) {
  winsize size{};
  const bool terminal = (file.empty() || file == "-") && isatty(STDOUT_FILENO) == 1 &&
                        ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0;
  return terminal ? size.ws_col : 0;
}

}  // namespace packmile::cli
