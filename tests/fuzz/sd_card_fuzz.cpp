// The SD card driver against a card whose words are changed on the way to it.
//
// Holds  every request is answered in time; no call takes more of the bus than it
//        may; the card never gets an address that it must refuse, a block that was
//        not asked for, or one for another place.
#include <array>
#include <map>
#include <optional>
#include <set>
#include <utility>

#include "cortex_m/sd_card.hpp"
#include "fuzz/fuzz_input.hpp"
#include "fuzz/targets.hpp"
#include "unit/firmware/cortex_m/simulated_card.hpp"

namespace packmile::fuzz {
namespace {

using testing::CardBlock;
using testing::SimulatedCard;
using testing::SimulatedKind;
using testing::SimulatedSlot;
using Driver = cortex_m::SdCard<SimulatedSlot>;

SimulatedCard sd_card_of(std::uint8_t kind) {
  const testing::CardRegister cid = testing::cid_of(7);
  switch (kind % 4) {
    case 0:
      return {SimulatedKind::sdsc_v1, testing::csd_1(2000, 3, 9), cid, 64'032};
    case 1:
      return {SimulatedKind::sdsc_v2, testing::csd_1(4095, 7, 10), cid, 4'194'304};
    case 2:
      return {SimulatedKind::sdhc, testing::csd_2(0x3B37), cid, 15'523'840};
    default:
      return {SimulatedKind::sdxc, testing::csd_2(0x3FFFFF), cid, 0x1'0000'0000};
  }
}

struct SdBench {
  explicit SdBench(std::uint8_t kind) : card(sd_card_of(kind)) { slot.insert(card); }

  void step() {
    now = std::max(now, driver.deadline());
    const std::size_t before = slot.exchanges;
    driver.on_time(now);
    must(slot.exchanges - before <= cortex_m::kSdTurnBytes, "a call takes a bounded share");
  }
  void ask(const CardRequest& request) {
    const Tick until = now + cortex_m::kSdAnswerMs;
    driver.begin(now, request);
    for (int steps = 0; !driver.take_answer(); ++steps) {
      must(driver.deadline() <= until, "a request is answered in time");
      must(steps < 10'000, "a request is answered after so many calls");
      step();
    }
  }

  Tick now = 0;
  SimulatedCard card;
  SimulatedSlot slot{now};
  Driver driver{slot};
};

}  // namespace

// First byte: kind of card, and whether it is ready when the trouble begins. Then
// how each byte that is heard differs: a count of good ones, and what is changed.
void try_sd_card(Input input) {
  ByteSource source(input);
  const std::uint8_t how = source.u8();
  SdBench bench(how);
  if ((how & 0x80) != 0)
    for (int i = 0; i < 100 && bench.driver.state() != cortex_m::CardState::ready; ++i)
      bench.step();
  std::uint32_t good_bytes = source.u16();
  bench.slot.heard = [&source, &good_bytes](std::uint8_t said) {
    if (good_bytes-- != 0) return said;
    const auto heard = static_cast<std::uint8_t>(said ^ source.u8());
    good_bytes = source.empty() ? ~0u : source.u8() & 0x80 ? source.u8() * 4u : 0;
    return heard;
  };
  std::map<std::uint64_t, std::set<CardBlock>> asked;
  const auto sectors = (how & 3) == 0 ? 64'032u : 4'194'304u;
  for (std::uint32_t i = 0; i < 4; ++i) {
    const std::uint32_t at = i * 12'345 % sectors;
    CardBlock block{};
    for (std::size_t k = 0; k < block.size(); ++k)
      block[k] = static_cast<std::uint8_t>(k * (i + 3) + i);
    asked[at].insert(block);
    bench.ask({.operation = CardOperation::write, .address = at, .sector = block.data()});
    bench.ask({.operation = CardOperation::read, .address = at});
  }
  for (const std::uint64_t at : bench.card.programmed) {
    must(asked.contains(at), "only what was asked for is written");
    const CardBlock there = bench.card.block(at);
    must(there == CardBlock{} || asked[at].contains(there), "as it was asked for");
  }
  for (const std::string& complaint : bench.card.complaints)
    must(complaint != "an address inside a block" && complaint != "an address beyond the end",
         complaint.c_str());
}

}  // namespace packmile::fuzz
