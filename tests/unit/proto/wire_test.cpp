#include "wire.hpp"

#include <array>
#include <cstdint>
#include <random>
#include <vector>

#include <doctest/doctest.h>

using namespace packmile;

namespace {

std::vector<std::uint8_t> varint(std::uint64_t value) {
  std::array<std::uint8_t, 16> out{};
  wire::Writer writer(out);
  writer.varint(value);
  REQUIRE(writer.ok());
  return {out.begin(), out.begin() + static_cast<std::ptrdiff_t>(writer.size())};
}

}  // namespace

// Source: the encoding page of protobuf.dev; the same bytes came from protoc 3.21.12.
TEST_CASE("wire: varints as published") {
  using Bytes = std::vector<std::uint8_t>;
  CHECK(varint(0) == Bytes{0x00});
  CHECK(varint(1) == Bytes{0x01});
  CHECK(varint(127) == Bytes{0x7F});
  CHECK(varint(128) == Bytes{0x80, 0x01});
  CHECK(varint(150) == Bytes{0x96, 0x01});
  CHECK(varint(300) == Bytes{0xAC, 0x02});
  CHECK(varint(16384) == Bytes{0x80, 0x80, 0x01});
  CHECK(varint(0xFFFFFFFF) == Bytes{0xFF, 0xFF, 0xFF, 0xFF, 0x0F});
  CHECK(varint(~0ull).size() == wire::kMaxVarintBytes);
  for (const std::uint64_t value : {0ull, 127ull, 128ull, 16383ull, 16384ull, ~0ull})
    CHECK(varint(value).size() == wire::varint_bytes(value));
}

// Source: the encoding page of protobuf.dev.
TEST_CASE("wire: zigzag as published") {
  CHECK(wire::zigzag(0) == 0);
  CHECK(wire::zigzag(-1) == 1);
  CHECK(wire::zigzag(1) == 2);
  CHECK(wire::zigzag(-2) == 3);
  CHECK(wire::zigzag(2147483647) == 0xFFFFFFFE);
  CHECK(wire::zigzag(-2147483647 - 1) == 0xFFFFFFFF);
  for (const std::int32_t value : {0, 1, -1, 77, -77, 2147483647, -2147483647 - 1})
    CHECK(wire::unzigzag(wire::zigzag(value)) == value);
}

TEST_CASE("wire: a writer that is full says so and keeps what it has") {
  std::array<std::uint8_t, 3> out{};
  wire::Writer writer(out);
  writer.varint(300);
  const std::array<std::uint8_t, 2> two{1, 2};
  writer.raw(two);
  CHECK_FALSE(writer.ok());
  CHECK(writer.size() == 2);
}

// Source: field examples of the encoding page of protobuf.dev.
TEST_CASE("wire: a reader takes the published fields apart") {
  const std::array<std::uint8_t, 12> bytes{0x08, 0x96, 0x01, 0x12, 0x07, 0x74,
                                           0x65, 0x73, 0x74, 0x69, 0x6E, 0x67};
  wire::Reader reader(bytes);
  wire::Field field;
  REQUIRE(reader.next(field));
  CHECK(field.number == 1);
  CHECK(field.value == 150);
  REQUIRE(reader.next(field));
  CHECK(field.number == 2);
  CHECK(field.bytes.size() == 7);
  CHECK_FALSE(reader.next(field));
  CHECK(reader.ok());
}

TEST_CASE("wire: any bytes end the reader without reading outside") {
  std::mt19937 random(20260105);
  for (int round = 0; round < 200000; ++round) {
    std::array<std::uint8_t, 24> bytes;
    for (std::uint8_t& b : bytes) b = static_cast<std::uint8_t>(random());
    const std::span<const std::uint8_t> in(bytes.data(), random() % (bytes.size() + 1));
    wire::Reader reader(in);
    wire::Field field;
    int fields = 0;
    while (reader.next(field)) {
      ++fields;
      if (field.type == wire::kBytes) {
        const bool inside = field.bytes.data() >= in.data() &&
                            field.bytes.data() + field.bytes.size() <= in.data() + in.size();
        REQUIRE(inside);
      }
    }
    REQUIRE(fields <= static_cast<int>(in.size()));
  }
}

// libprotobuf 3.21 refuses a key or length of more than five bytes, whatever it
// comes to; a logger that took one would obey settings that no tool can read.
TEST_CASE("wire: keys and lengths have at most five bytes") {
  const auto taken = [](std::vector<std::uint8_t> bytes) {
    wire::Reader reader(bytes);
    wire::Field field;
    return reader.next(field) && reader.ok();
  };
  CHECK(taken({0x98, 0x80, 0x80, 0x80, 0x00, 0x05}));
  CHECK_FALSE(taken({0x98, 0x80, 0x80, 0x80, 0x80, 0x00, 0x05}));
  CHECK(taken({0x0A, 0x81, 0x80, 0x80, 0x80, 0x00, 0x41}));
  CHECK_FALSE(taken({0x0A, 0x81, 0x80, 0x80, 0x80, 0x80, 0x00, 0x41}));
}

TEST_CASE("wire: eleven bytes are no varint, and groups are refused") {
  std::array<std::uint8_t, 11> bytes;
  bytes.fill(0xFF);
  wire::Reader reader(bytes);
  std::uint64_t value = 0;
  CHECK_FALSE(reader.varint(value));
  const std::array<std::uint8_t, 1> group{0x0B};
  wire::Reader group_reader(group);
  wire::Field field;
  CHECK_FALSE(group_reader.next(field));
  CHECK_FALSE(group_reader.ok());
}
