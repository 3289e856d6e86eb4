// Commands to the adapter, one in flight at a time.
#include "core/adapter_script.hpp"

#include <doctest/doctest.h>

#include <array>
#include <vector>

using namespace packmile;

namespace {

constexpr std::array kOpen{AdapterCommand::close, AdapterCommand::rate_500, AdapterCommand::open};

}  // namespace

TEST_CASE("adapter script: the next command waits for the last one's answer") {
  AdapterScript script;
  CHECK_FALSE(script.running());
  script.start(kOpen);
  for (std::size_t i = 0; i < kOpen.size(); ++i) {
    CHECK(script.running());
    CHECK_FALSE(script.deadline());
    const auto command = script.take_command(1'000);
    REQUIRE(command);
    CHECK(*command == kOpen[i]);
    CHECK_FALSE(script.take_command(1'000));  // one in flight
    CHECK(script.deadline() == 1'000 + kAdapterReplyMs);
    script.on_reply();
  }
  CHECK_FALSE(script.running());
  CHECK(script.answered());
}

TEST_CASE("adapter script: a silent adapter does not stall it") {
  AdapterScript script;
  script.start(kOpen);
  Tick now = 0;
  std::vector<AdapterCommand> sent;
  while (script.running()) {
    REQUIRE(sent.size() < 10);
    if (const auto command = script.take_command(now)) sent.push_back(*command);
    REQUIRE(script.deadline());
    script.on_time(*script.deadline() - 1);  // early: nothing
    CHECK_FALSE(script.take_command(now));
    now = *script.deadline();
    script.on_time(now);
  }
  CHECK(sent == std::vector<AdapterCommand>(kOpen.begin(), kOpen.end()));
  CHECK(now == 3 * kAdapterReplyMs);
  CHECK_FALSE(script.answered());
}

TEST_CASE("adapter script: answers to nothing change nothing") {
  AdapterScript script;
  script.on_reply();
  script.on_time(1'000'000);
  script.start(kOpen);
  script.on_reply();  // nothing is in flight yet
  CHECK_FALSE(script.answered());
  CHECK(script.take_command(0) == AdapterCommand::close);
  script.stop();
  CHECK_FALSE(script.running());
  CHECK_FALSE(script.take_command(0));
  CHECK_FALSE(script.deadline());
}

TEST_CASE("adapter script: more commands than fit are cut off") {
  std::vector<AdapterCommand> many(kMaxScriptCommands + 5, AdapterCommand::close);
  AdapterScript script;
  script.start(many);
  std::size_t sent = 0;
  while (script.running()) {
    REQUIRE(script.take_command(0));
    script.on_reply();
    ++sent;
  }
  CHECK(sent == kMaxScriptCommands);
}
