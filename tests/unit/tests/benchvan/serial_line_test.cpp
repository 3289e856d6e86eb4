#include "benchvan/serial_line.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

using namespace packmile::benchvan;

namespace {

std::vector<std::uint8_t> bytes_of(const std::string& text) { return {text.begin(), text.end()}; }

}  // namespace

// Source: 8N1 is 10 bits a byte; 22 bytes at 115200 baud are 1.910 ms.
TEST_CASE("serial line: a request of 22 bytes takes 1.910 ms at 115200 baud") {
  LineAssembler assembler(115200);
  assembler.on_bytes(5, bytes_of("t7DF802010DCCCCCCCCCC\r"));
  CHECK(assembler.next_ns() == doctest::Approx(1.9097e6 + 5).epsilon(1e-4));
  CHECK_FALSE(assembler.take(assembler.next_ns() - 1).has_value());
  const auto line = assembler.take(assembler.next_ns());
  REQUIRE(line.has_value());
  CHECK(std::string(line->view()) == "t7DF802010DCCCCCCCCCC");
}

TEST_CASE("serial line: any chunking of the same bytes gives the same lines") {
  const std::string text = "C\rS6\rO\rt7E080201A6CCCCCCCCCC\r\r" + std::string(40, 'x') + "\rF\r";
  std::vector<std::string> whole;
  for (std::size_t chunk = 1; chunk <= text.size(); ++chunk) {
    LineAssembler assembler(115200);
    for (std::size_t at = 0; at < text.size(); at += chunk) {
      assembler.on_bytes(0, bytes_of(text.substr(at, chunk)));
    }
    std::vector<std::string> lines;
    while (const auto line = assembler.take(kNever - 1)) {
      lines.push_back(std::to_string(line->at_ns) + (line->too_long ? "!" : ":") +
                      std::string(line->view()));
    }
    if (whole.empty()) whole = lines;
    CHECK(lines == whole);
  }
  REQUIRE(whole.size() == 7);
  CHECK(whole[5].find('!') != std::string::npos);
}

TEST_CASE("serial line: lines to the host queue behind each other, and a full queue says so") {
  LinePacer pacer({.baud = 115200});
  CHECK(pacer.put(0, "\r"));
  CHECK(pacer.put(0, "t7E8300\r"));
  std::vector<std::uint8_t> out(64);
  CHECK(pacer.take(86805, out) == 0);
  CHECK(pacer.take(86806, out) == 1);
  CHECK(pacer.take(kNever - 1, out) == 8);
  int taken = 0;
  while (pacer.put(0, "\r")) ++taken;
  CHECK(taken == static_cast<int>(LinePacer::kMaxLines));
}

TEST_CASE("serial line: latency moves each line to the host, and keeps none behind it back") {
  LinePacer pacer({.baud = 115200, .latency_ms = 16});
  CHECK(pacer.put(0, "\r"));
  CHECK(pacer.put(0, "t7E8300\r"));
  std::vector<std::uint8_t> out(64);
  CHECK(pacer.take(16'086'805, out) == 0);
  CHECK(pacer.take(16'086'806, out) == 1);
  // Eight bytes of line time later, not another 16 ms.
  CHECK(pacer.take(16'781'253, out) == 0);
  CHECK(pacer.take(16'781'254, out) == 8);
}
