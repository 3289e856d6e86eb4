#include "benchvan/lines_file.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <utility>

#include "benchvan/bench_error.hpp"

namespace packmile::benchvan {

LinesFile::LinesFile(std::string path) : path_(std::move(path)) {
  if (path_.empty()) return;
  file_ = std::fopen(path_.c_str(), "w");
  if (file_ == nullptr) throw BenchError(fmt::format("{}: {}", path_, std::strerror(errno)));
}

LinesFile::~LinesFile() {
  if (file_ != nullptr) std::fclose(file_);
}

void LinesFile::close() {
  if (file_ == nullptr) return;
  const bool failed = std::ferror(file_) != 0;
  if (std::fclose(std::exchange(file_, nullptr)) != 0 || failed)
    throw BenchError(fmt::format("{}: could not be written whole", path_));
}

}  // namespace packmile::benchvan
