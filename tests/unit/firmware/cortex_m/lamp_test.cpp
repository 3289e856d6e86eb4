#include "cortex_m/lamp.hpp"

#include <doctest/doctest.h>

#include <map>

namespace {

using packmile::Light;
using packmile::Tick;
using packmile::cortex_m::Lamp;
using packmile::cortex_m::lamp_at;

struct Seen {
  int flashes = 0;
  Tick lit_ms = 0;
};

// What an eye sees of a lamp that is asked only when it said it would change.
Seen watch(Light light, Tick from, Tick ms) {
  Seen seen;
  bool was_lit = lamp_at(light, from == 0 ? 0 : from - 1).lit;
  for (Tick now = from; now < from + ms;) {
    const Lamp lamp = lamp_at(light, now);
    REQUIRE(lamp.until > now);
    const Tick until = lamp.until < from + ms ? lamp.until : from + ms;
    if (lamp.lit) {
      seen.lit_ms += until - now;
      if (!was_lit || now == from) ++seen.flashes;
    }
    was_lit = lamp.lit;
    now = until;
  }
  return seen;
}

}  // namespace

TEST_CASE("lamp: each state has its number of short flashes") {
  const std::map<Light, int> in_20_s = {{Light::recording, 10},
                                        {Light::waiting, 2},
                                        {Light::starting, 50},
                                        {Light::card_trouble, 20},
                                        {Light::adapter_trouble, 30}};
  for (const auto& [light, flashes] : in_20_s) {
    const Seen seen = watch(light, 0, 20'000);
    CHECK(seen.flashes == flashes);
    CHECK(seen.lit_ms == static_cast<Tick>(flashes) * 20);
  }
}

TEST_CASE("lamp: it changes when it said it would, and not before") {
  for (const Light light : {Light::recording, Light::waiting, Light::starting, Light::card_trouble,
                            Light::adapter_trouble}) {
    Lamp last = lamp_at(light, 0);
    for (Tick now = 1; now < 21'000; ++now) {
      const Lamp lamp = lamp_at(light, now);
      if (now < last.until) {
        REQUIRE(lamp.lit == last.lit);
        REQUIRE(lamp.until == last.until);
      } else {
        REQUIRE(lamp.lit != last.lit);
      }
      last = lamp;
    }
  }
}

TEST_CASE("lamp: goes on after 49.7 days, where 32 bits of milliseconds end") {
  CHECK(watch(Light::recording, (Tick{1} << 32) + 10'000, 20'000).flashes == 10);
}
