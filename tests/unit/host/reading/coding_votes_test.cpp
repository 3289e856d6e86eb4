#include "reading/coding_votes.hpp"

#include <doctest/doctest.h>

#include <vector>

namespace packmile {
namespace {

struct Words {
  std::vector<std::int64_t> time_ms;
  std::vector<std::uint16_t> word;
  void add(std::uint16_t w) {
    time_ms.push_back(static_cast<std::int64_t>(time_ms.size()) * 1000);
    word.push_back(w);
  }
  CodingTally tally() const {
    CodingTally t;
    t.observe(time_ms, word);
    return t;
  }
};

Words varied(std::uint16_t base, int n) {
  Words words;
  for (int i = 0; i < n; ++i) words.add(static_cast<std::uint16_t>(base + i % 5));
  return words;
}

}  // namespace

// S3, S4: 00FA is 25.0 A or -3251.8 A; 80FA the other way round.
TEST_CASE("coding: one word means two currents 3276.8 A apart") {
  CHECK(twos_tenths_a(0x00FA) == 250);
  CHECK(offset_tenths_a(0x00FA) == -32518);
  CHECK(twos_tenths_a(0x80FA) == -32518);
  CHECK(offset_tenths_a(0x80FA) == 250);
}

TEST_CASE("coding: the possible one of the two is taken") {
  CHECK(varied(0x00FA, 80).tally().decide() == CurrentCoding::twos_complement);
  CHECK(varied(0xFF38, 80).tally().decide() == CurrentCoding::twos_complement);
  CHECK(varied(0x80FA, 80).tally().decide() == CurrentCoding::offset_binary);
  CHECK(varied(0x7F38, 80).tally().decide() == CurrentCoding::offset_binary);
}

TEST_CASE("coding: fewer than 60 words, or under a minute, do not decide") {
  CHECK(varied(0x00FA, 59).tally().decide() == CurrentCoding::unknown);
  CHECK(varied(0x00FA, 61).tally().decide() == CurrentCoding::twos_complement);
  Words fast = varied(0x00FA, 200);
  for (std::size_t i = 0; i < fast.time_ms.size(); ++i) {
    fast.time_ms[i] = static_cast<std::int64_t>(i) * 100;
  }
  CHECK(fast.tally().decide() == CurrentCoding::unknown);
  CHECK(fast.tally().leaning() == CurrentCoding::twos_complement);
}

TEST_CASE("coding: what an ECU says when it has no answer does not vote") {
  for (const int word : {0x0000, 0xFFFF, 0x8000, 0x7FFF}) {
    const auto silent = static_cast<std::uint16_t>(word);
    Words words;
    for (int i = 0; i < 200; ++i) words.add(silent);
    CAPTURE(silent);
    CHECK(words.tally().decide() == CurrentCoding::unknown);
    CHECK(words.tally().leaning() == CurrentCoding::unknown);
    // Nor does it spoil the votes of the others.
    for (int i = 0; i < 80; ++i) words.add(static_cast<std::uint16_t>(0x8100 + i));
    CHECK(words.tally().decide() == CurrentCoding::offset_binary);
  }
}

TEST_CASE("coding: one constant word, and one in a hundred against, decide nothing") {
  Words constant;
  for (int i = 0; i < 200; ++i) constant.add(0x00FA);
  CHECK(constant.tally().decide() == CurrentCoding::unknown);
  Words junk = varied(0x00FA, 198);
  junk.add(0x4000);  // 1638.4 A or -1638.4 A
  CHECK(junk.tally().decide() == CurrentCoding::twos_complement);
  junk.add(0x80FA);
  CHECK(junk.tally().decide() == CurrentCoding::unknown);
}

TEST_CASE("coding: a later episode that decides otherwise is a contradiction") {
  CodingVotes votes;
  votes.observe(varied(0x00FA, 4000).tally());
  CHECK(votes.decide() == CurrentCoding::twos_complement);
  votes.observe(varied(0x00FA, 30).tally());
  CHECK(votes.decide() == CurrentCoding::twos_complement);
  votes.observe(varied(0x80FA, 80).tally());
  CHECK(votes.contradictory());
  CHECK(votes.decide() == CurrentCoding::unknown);
}

TEST_CASE("coding: short episodes add up") {
  CodingVotes votes;
  Words part = varied(0x80FA, 30);
  votes.observe(part.tally());
  CHECK(votes.decide() == CurrentCoding::unknown);
  for (std::int64_t& t : part.time_ms) t += 3'600'000;
  votes.observe(part.tally());
  CHECK(votes.decide() == CurrentCoding::offset_binary);
}

}  // namespace packmile
