#include "archive/sha256.hpp"

#include <doctest/doctest.h>

#include <string>
#include <string_view>

using namespace packmile;

namespace {

std::span<const std::uint8_t> bytes_of(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

std::string sha256_of(std::string_view text) {
  Sha256 sum;
  sum.add(bytes_of(text));
  return sum.finish();
}

}  // namespace

// Source: NIST, examples of FIPS 180-4 (SHA256.pdf): one block, two blocks; and the
// long message of a million letters.
TEST_CASE("sha256: the standard's own examples") {
  CHECK(sha256_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256_of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256_of(std::string(1'000'000, 'a')) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  CHECK(sha256_of("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

// No source: where the bytes are cut does not matter, at every length around a block.
TEST_CASE("sha256: in any pieces the same") {
  for (std::size_t length = 0; length < 140; ++length) {
    CAPTURE(length);
    const std::string text(length, 'x');
    const std::string whole = sha256_of(text);
    for (std::size_t cut = 0; cut <= length; cut += 7) {
      Sha256 sum;
      sum.add(bytes_of(text).first(cut));
      sum.add(bytes_of(text).subspan(cut));
      CHECK(sum.finish() == whole);
    }
  }
}
