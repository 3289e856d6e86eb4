// The files that a run of the bench makes beside its cards. Nothing that is there
// is written over. All of these throw BenchError.
#pragma once
#include <filesystem>
#include <fstream>

namespace packmile::benchvan {

void make_folder(const std::filesystem::path& folder);
void refuse_existing(const std::filesystem::path& path);
[[nodiscard]] std::ofstream make_file(const std::filesystem::path& path);
// What could not be written whole is an error.
void close_file(std::ofstream& file, const std::filesystem::path& path);

// What this process has had of the processor so far.
[[nodiscard]] double cpu_seconds();

}  // namespace packmile::benchvan
