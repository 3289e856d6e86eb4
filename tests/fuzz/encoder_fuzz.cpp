// The logger's encoder, against libprotobuf and the plain decoder: what goes in
// is what is read back, in no more than 480 bytes.
#include <array>
#include <string>
#include <vector>

#include "columns/record_encoder.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/plain_record.hpp"
#include "fuzz/targets.hpp"
#include "packmile.pb.h"

namespace packmile::fuzz {
namespace {

constexpr std::uint64_t kMostTick = std::uint64_t{1} << 53;

BlockKey take_key(ByteSource& source) {
  BlockKey key;
  const std::uint8_t how = source.u8();
  key.ecu = (how & 0x80) != 0 ? source.u32() : 0x7E8u + (how >> 4 & 7u);
  if (key.ecu == 0) key.ecu = 0x18DAF110;
  key.signals = static_cast<std::uint8_t>(1 + how % kMaxBlockSignals);
  for (std::size_t k = 0; k < key.signals; ++k) {
    const std::uint8_t id = source.u8();
    key.signal[k] = id < 0xF0 ? static_cast<SignalId>(1 + id % 40) : source.u16();
    if (key.signal[k] == signal::none) key.signal[k] = signal::pack_v;
  }
  // A period goes to the card as it is; the plan has none above half an hour.
  key.period_ms = (how & 8) != 0 ? source.u32() % 1'800'001 : 200;
  return key;
}

std::uint32_t word_mask(SignalId id) {
  static const auto masks = [] {
    std::array<std::uint32_t, 64> all;
    all.fill(0xFFFFFFFFu);
    for (const SignalEntry& entry : signal_catalogue())
      if (entry.bytes < 4) all.at(entry.id) = (1u << (8u * entry.bytes)) - 1;
    return all;
  }();
  return id < masks.size() ? masks[id] : 0xFFFFFFFFu;
}

class Model {
 public:
  void take(std::uint64_t tick, const BlockKey& key, std::span<const std::uint32_t> words) {
    std::size_t i = 0;
    while (i < keys_.size() && keys_[i] != key) ++i;
    if (i == keys_.size()) {
      keys_.push_back(key);
      PlainBlock block;
      block.ecu = key.ecu;
      block.period_ms = key.period_ms;
      for (std::size_t k = 0; k < key.signals; ++k) block.signals.push_back(key.signal[k]);
      block.words.resize(key.signals);
      record.blocks.push_back(block);
    }
    record.blocks[i].tick_ms.push_back(tick);
    for (std::size_t k = 0; k < key.signals; ++k)
      record.blocks[i].words[k].push_back(words[k] & word_mask(key.signal[k]));
    samples += key.signals;
  }

  PlainRecord record;
  std::uint32_t samples = 0;

 private:
  std::vector<BlockKey> keys_;
};

void finish(RecordEncoder& encoder, Model& model) {
  must(encoder.samples() == model.samples, "samples are counted");
  const std::size_t exact = encoder.encoded_bytes();
  std::array<std::uint8_t, kSectorPayloadBytes> out{};
  const std::size_t bytes = encoder.finish(out);
  must(bytes == exact && bytes <= kSectorPayloadBytes, "the size is the one foretold");
  must(encoder.empty() && encoder.encoded_bytes() == 0, "the encoder is empty afterwards");
  const auto payload = std::span<const std::uint8_t>(out).first(bytes);
  const auto read = read_plain_record(payload);
  must(read.has_value(), "the plain decoder takes what the logger wrote");
  must(read->blocks == model.record.blocks, "what went in is what is read back");
  must(read->dropped_samples == model.record.dropped_samples, "dropped samples are told");
  compare_decoders(payload);
  Record record;
  must(record.ParseFromArray(payload.data(), static_cast<int>(payload.size())),
       "libprotobuf reads what the logger wrote");
  const std::string again = record.SerializeAsString();
  must(again.size() == payload.size() &&
           std::equal(payload.begin(), payload.end(), again.begin(),
                      [](std::uint8_t a, char b) { return a == static_cast<std::uint8_t>(b); }),
       "libprotobuf writes the same bytes");
  model = {};
}

}  // namespace

void try_encoder(Input input) {
  ByteSource source(input);
  std::vector<BlockKey> keys(1 + source.u8() % 10);
  for (BlockKey& key : keys) key = take_key(source);
  std::uint64_t tick = source.u8() % 2 == 0 ? source.u16() : source.u64() % (kMostTick / 2);
  RecordEncoder encoder;
  Model model;
  std::vector<std::uint32_t> last(64);
  while (!source.empty()) {
    const std::uint8_t how = source.u8();
    const std::size_t index = how % keys.size();
    const BlockKey& key = keys[index];
    const std::uint8_t step = source.u8();
    tick += step < 0xF0 ? step : step < 0xFF ? source.u16() : source.u32() / 4;
    std::array<std::uint32_t, kMaxBlockSignals> words{};
    for (std::size_t k = 0; k < key.signals; ++k) {
      std::uint32_t& word = last[(index * kMaxBlockSignals + k) % last.size()];
      if ((how & 0x10) != 0) word = source.u32();
      if ((how & 0x20) != 0) word += static_cast<std::uint32_t>(source.u8()) - 128;
      words[k] = word;
    }
    if ((how & 0xC0) == 0xC0) {
      const std::uint32_t dropped = model.samples == 0 ? source.u32() : 0;
      // Only where nothing was added yet: it takes room too.
      if (dropped != 0) {
        encoder.set_dropped_samples(dropped);
        model.record.dropped_samples = dropped;
      }
    }
    const auto given = std::span<const std::uint32_t>(words).first(key.signals);
    if (!encoder.add(tick, key, given)) {
      finish(encoder, model);
      must(encoder.add(tick, key, given), "an empty encoder takes any response");
    }
    model.take(tick, key, given);
    must(encoder.encoded_bytes() <= kSectorPayloadBytes, "a record never outgrows its sector");
  }
  finish(encoder, model);
}

}  // namespace packmile::fuzz
