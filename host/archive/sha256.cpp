#include "archive/sha256.hpp"

#include <algorithm>
#include <bit>
#include <cstring>
#include <fstream>

#include "archive/committed_files.hpp"

namespace packmile {
namespace {

constexpr std::array<std::uint32_t, 64> kRoundWords{
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

constexpr std::size_t kReadBytes = 1 << 20;

std::uint32_t big_endian(const std::uint8_t* at) {
  return std::uint32_t{at[0]} << 24 | std::uint32_t{at[1]} << 16 | std::uint32_t{at[2]} << 8 |
         std::uint32_t{at[3]};
}

}  // namespace

void Sha256::take_block(const std::uint8_t* block) {
  std::array<std::uint32_t, 64> w{};
  for (std::size_t t = 0; t < 16; ++t) w[t] = big_endian(block + 4 * t);
  for (std::size_t t = 16; t < 64; ++t) {
    const std::uint32_t s0 = std::rotr(w[t - 15], 7) ^ std::rotr(w[t - 15], 18) ^ (w[t - 15] >> 3);
    const std::uint32_t s1 = std::rotr(w[t - 2], 17) ^ std::rotr(w[t - 2], 19) ^ (w[t - 2] >> 10);
    w[t] = w[t - 16] + s0 + w[t - 7] + s1;
  }
  auto [a, b, c, d, e, f, g, h] = state_;
  for (std::size_t t = 0; t < 64; ++t) {
    const std::uint32_t s1 = std::rotr(e, 6) ^ std::rotr(e, 11) ^ std::rotr(e, 25);
    const std::uint32_t t1 = h + s1 + ((e & f) ^ (~e & g)) + kRoundWords[t] + w[t];
    const std::uint32_t s0 = std::rotr(a, 2) ^ std::rotr(a, 13) ^ std::rotr(a, 22);
    const std::uint32_t t2 = s0 + ((a & b) ^ (a & c) ^ (b & c));
    h = g;
    g = f;
    f = e;
    e = d + t1;
    d = c;
    c = b;
    b = a;
    a = t1 + t2;
  }
  const std::array<std::uint32_t, 8> add{a, b, c, d, e, f, g, h};
  for (std::size_t k = 0; k < state_.size(); ++k) state_[k] += add[k];
}

void Sha256::add(std::span<const std::uint8_t> bytes) {
  bytes_ += bytes.size();
  while (!bytes.empty()) {
    if (waiting_bytes_ == 0 && bytes.size() >= waiting_.size()) {
      take_block(bytes.data());
      bytes = bytes.subspan(waiting_.size());
      continue;
    }
    const std::size_t taken = std::min(bytes.size(), waiting_.size() - waiting_bytes_);
    std::memcpy(waiting_.data() + waiting_bytes_, bytes.data(), taken);
    waiting_bytes_ += taken;
    bytes = bytes.subspan(taken);
    if (waiting_bytes_ < waiting_.size()) continue;
    take_block(waiting_.data());
    waiting_bytes_ = 0;
  }
}

std::string Sha256::finish() {
  const std::uint64_t bits = bytes_ * 8;
  const std::uint8_t end = 0x80, zero = 0;
  add({&end, 1});
  while (waiting_bytes_ != 56) add({&zero, 1});
  std::array<std::uint8_t, 8> length{};
  for (std::size_t k = 0; k < length.size(); ++k)
    length[k] = static_cast<std::uint8_t>(bits >> (56 - 8 * k));
  add(length);
  std::string out;
  constexpr char kDigits[] = "0123456789abcdef";
  for (const std::uint32_t word : state_)
    for (int shift = 28; shift >= 0; shift -= 4) out += kDigits[word >> shift & 15];
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
