#include "benchvan/out_files.hpp"

#include <fmt/format.h>

#include <cstring>
#include <ctime>

#include "benchvan/bench_error.hpp"

namespace packmile::benchvan {

namespace fs = std::filesystem;

void make_folder(const fs::path& folder) {
  std::error_code trouble;
  fs::create_directories(folder, trouble);
  if (trouble) throw BenchError(fmt::format("{}: {}", folder.string(), trouble.message()));
}

void refuse_existing(const fs::path& path) {
  if (fs::symlink_status(path).type() == fs::file_type::not_found) return;
  throw BenchError(fmt::format("{}: exists; nothing was written\n  give an empty folder to --out",
                               path.string()));
}

std::ofstream make_file(const fs::path& path) {
  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  if (!file) throw BenchError(fmt::format("{}: {}", path.string(), std::strerror(errno)));
  return file;
}

void close_file(std::ofstream& file, const fs::path& path) {
  file.close();
  if (!file) throw BenchError(fmt::format("{}: could not be written whole", path.string()));
}

double cpu_seconds() {
  timespec spent{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &spent);
  return static_cast<double>(spent.tv_sec) + 1e-9 * static_cast<double>(spent.tv_nsec);
}

}  // namespace packmile::benchvan
