// A made-up drive, as the responses of one ECU: what all stores are given.
#pragma once
#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "columns/record_encoder.hpp"
#include "tick.hpp"

namespace packmile::beside {

struct Response {
  Tick tick_ms = 0;
  BlockKey key;
  std::array<std::uint32_t, kMaxBlockSignals> words{};

  [[nodiscard]] std::span<const std::uint32_t> row() const {
    return std::span(words).first(key.signals);
  }
};

struct Sample {
  std::uint64_t tick_ms = 0;
  std::uint32_t signal = 0;
  std::uint32_t raw = 0;
};

// Town and country, with stops: pack words and speed at 5 Hz, state of charge
// and 12 V each 5 s. The same seed, the same drive.
[[nodiscard]] std::vector<Response> made_up_drive(std::uint32_t minutes, std::uint64_t seed);
[[nodiscard]] std::vector<Sample> samples_of(std::span<const Response> drive);

}  // namespace packmile::beside
