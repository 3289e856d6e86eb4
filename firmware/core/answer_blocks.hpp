// How the words of one answer become blocks, for whoever fills a sector log.
#pragma once
#include <array>
#include <cstdint>
#include <span>

#include "columns/record_encoder.hpp"
#include "core/pid_reply.hpp"
#include "core/poll_plan.hpp"

namespace packmile {

// Calls add(key, words) for each block: of kMaxBlockSignals signals, the last with
// what is left. No words: no call.
template <typename Add>
void for_each_block(const PollRequest& poll, std::span<const RawWord> words, Add add) {
  BlockKey key;
  std::array<std::uint32_t, kMaxBlockSignals> raw{};
  key.ecu = poll.response_id;
  key.period_ms = poll.period_ms;
  for (const RawWord& one : words) {
    key.signal[key.signals] = one.id;
    raw[key.signals++] = one.word;
    if (key.signals < kMaxBlockSignals) continue;
    add(key, std::span<const std::uint32_t>(raw));
    key.signals = 0;
    key.signal = {};
  }
  if (key.signals != 0) add(key, std::span<const std::uint32_t>(raw).first(key.signals));
}

}  // namespace packmile
