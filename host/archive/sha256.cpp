#include "archive/sha256.hpp"

#include <openssl/evp.h>

#include <algorithm>
#include <array>
#include <fstream>
#include <new>

#include "archive/committed_files.hpp"

namespace packmile {
namespace {

constexpr std::size_t kReadBytes = 1 << 20;

// Digests of bytes in memory fail only where there is no memory.
void need(int done) {
  if (done != 1) throw std::bad_alloc{};
}

}  // namespace

void Sha256::Free::operator()(evp_md_ctx_st* context) const { EVP_MD_CTX_free(context); }

Sha256::Sha256() : context_(EVP_MD_CTX_new()) {
  need(context_ != nullptr);
  need(EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr));
}

void Sha256::add(std::span<const std::uint8_t> bytes) {
  need(EVP_DigestUpdate(context_.get(), bytes.data(), bytes.size()));
}

std::string Sha256::finish() {
  std::array<std::uint8_t, EVP_MAX_MD_SIZE> digest{};
  unsigned int size = 0;
  need(EVP_DigestFinal_ex(context_.get(), digest.data(), &size));
  std::string out;
  constexpr char kDigits[] = "0123456789abcdef";
  for (unsigned int k = 0; k < size; ++k) {
    out += kDigits[digest[k] >> 4];
    out += kDigits[digest[k] & 15];
  }
  return out;
}

Result<std::vector<FileDigest>> digests_of_logs(const std::filesystem::path& archive,
                                                const std::vector<std::uint32_t>& log_ids) {
  const auto committed = read_committed(archive);
  if (!committed) return committed.error();
  std::vector<FileDigest> out;
  std::vector<std::uint8_t> buffer(kReadBytes);
  for (const auto& [file, bytes] : *committed) {
    const bool wanted = std::ranges::any_of(log_ids, [&](std::uint32_t id) {
      return file.starts_with(std::string{kLogPrefix} + hex_id(id) + "/");
    });
    if (!wanted) continue;
    std::ifstream in(archive / file, std::ios::binary);
    Sha256 sum;
    for (std::uint64_t left = bytes; left > 0;) {
      const auto part = static_cast<std::size_t>(std::min<std::uint64_t>(left, buffer.size()));
      if (!in.read(reinterpret_cast<char*>(buffer.data()), static_cast<std::streamsize>(part)))
        return Error{"cannot be read to its end", (archive / file).string(), {}};
      sum.add({buffer.data(), part});
      left -= part;
    }
    out.push_back({file, bytes, sum.finish()});
  }
  return out;
}

}  // namespace packmile
