// SHA-256 of bytes and of the archive's files, for whoever wants to check that these
// are the ones.
//
// Standard  FIPS 180-4. The digest of a file is that of `sha256sum`.
#pragma once
#include <array>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "result.hpp"

namespace packmile {

class Sha256 {
 public:
  void add(std::span<const std::uint8_t> bytes);
  // 64 hexadecimal digits. Nothing may be added afterwards.
  [[nodiscard]] std::string finish();

 private:
  void take_block(const std::uint8_t* block);
  std::array<std::uint32_t, 8> state_{0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                      0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::array<std::uint8_t, 64> waiting_{};
  std::size_t waiting_bytes_ = 0;
  std::uint64_t bytes_ = 0;
};

struct FileDigest {
  std::string file;  // below the archive's folder
  std::uint64_t bytes = 0;
  std::string sha256;
};
// Of the sector files of these logs that count, in order of names. Error: one of them
// cannot be read, or is shorter than what counts.
[[nodiscard]] Result<std::vector<FileDigest>> digests_of_logs(
    const std::filesystem::path& archive, const std::vector<std::uint32_t>& log_ids);

}  // namespace packmile
