#include "cli/card_list.hpp"

#include <doctest/doctest.h>

#include <initializer_list>

using namespace packmile;
using namespace packmile::cli;

namespace {

int code_of(std::initializer_list<CardVerdict> verdicts) {
  CardList list;
  for (const CardVerdict verdict : verdicts) list.add(verdict);
  return static_cast<int>(list.code());
}

constexpr auto kSound = CardVerdict::sound;
constexpr auto kNoLog = CardVerdict::no_log;
constexpr auto kAttention = CardVerdict::needs_attention;

}  // namespace

TEST_CASE("card list: one card by itself") {
  CHECK(code_of({kSound}) == 0);
  CHECK(code_of({kNoLog}) == 1);
  CHECK(code_of({kAttention}) == 3);
}

TEST_CASE("card list: no log is 1 only when nothing could be read") {
  CHECK(code_of({kNoLog, kNoLog}) == 1);
  CHECK(code_of({kNoLog, kSound}) == 3);
  CHECK(code_of({kSound, kNoLog}) == 3);
  CHECK(code_of({kSound, kSound}) == 0);
  CHECK(code_of({kSound, kAttention}) == 3);
  CHECK(code_of({kNoLog, kAttention}) == 3);
}
