// SHA-256 of bytes and of the archive's files, for whoever wants to check that these
// are the ones.
//
// Standard  FIPS 180-4. The digest of a file is that of `sha256sum`.
#pragma once
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "result.hpp"

// OpenSSL's, whose headers stay out of this one.
struct evp_md_ctx_st;

namespace packmile {

class Sha256 {
 public:
  Sha256();
  void add(std::span<const std::uint8_t> bytes);
  // 64 hexadecimal digits. Nothing may be added afterwards.
  [[nodiscard]] std::string finish();

 private:
  struct Free {
    void operator()(evp_md_ctx_st* context) const;
  };
  std::unique_ptr<evp_md_ctx_st, Free> context_;
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
