// The file that a run records the host's lines in; see BenchSetup::lines.
#pragma once
#include <cstdio>
#include <string>

namespace packmile::benchvan {

class LinesFile {
 public:
  // Empty path: no recording. Throws BenchError when the file cannot be made.
  explicit LinesFile(std::string path);
  LinesFile(const LinesFile&) = delete;
  LinesFile& operator=(const LinesFile&) = delete;
  ~LinesFile();

  [[nodiscard]] std::FILE* file() const { return file_; }  // null: no recording
  // Throws BenchError when not everything could be written.
  void close();

 private:
  std::string path_;
  std::FILE* file_ = nullptr;
};

}  // namespace packmile::benchvan
