// The machine as it is in an image, over a board made of test equipment: the strict
// card in its slot, the bench van on its line, in virtual time. What the emulator's
// card never is: slow, or gone.
#include "cortex_m/machine.hpp"

#include <doctest/doctest.h>

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

#include "benchvan/bench.hpp"
#include "benchvan/planned_scene.hpp"
#include "benchvan/replay.hpp"
#include "benchvan/settings_sector.hpp"
#include "sector/sector.hpp"
#include "unit/firmware/cortex_m/simulated_card.hpp"

namespace packmile::cortex_m {

// A real one does not come back.
struct MachineRestarted {
  LastWords words;
};
void reset_with(const LastWords& words) { throw MachineRestarted{words}; }

}  // namespace packmile::cortex_m

namespace {

using namespace packmile;
using namespace packmile::benchvan;
using cortex_m::SerialLine;
using testing::SimulatedCard;
using testing::SimulatedKind;
using testing::SimulatedSlot;

constexpr std::uint64_t kCardSectors = 8'192;
constexpr std::uint32_t kRingSectors = 4'096;
constexpr std::uint32_t kLogId = 0x5107CA2D;

Tick table_now = 0;

// On the table: time and equipment are where a static board finds them.
struct TableBoard {
  static constexpr CardLayout kLayout = CardLayout::log;
  static inline SerialLine* line_on_table = nullptr;
  static inline SimulatedSlot* slot_on_table = nullptr;
  static inline int supplies_asked = 0;
  static inline int flashes = 0;
  static inline bool is_lit = false;

  static void feed_watchdog() {}
  static SerialLine& line() { return *line_on_table; }
  static void begin_sending() {}
  static std::optional<std::uint16_t> supply_mv() {
    ++supplies_asked;
    return std::uint16_t{14'200};
  }
  static void show(bool lit) {
    if (lit && !is_lit) ++flashes;
    is_lit = lit;
  }
  static BootCause reset_cause() { return BootCause::power_on; }
  static std::uint32_t entropy() { return 7; }

  struct Spi {
    void select() { slot_on_table->select(); }
    void deselect() { slot_on_table->deselect(); }
    std::uint8_t exchange(std::uint8_t byte) { return slot_on_table->exchange(byte); }
    void set_slow() { slot_on_table->set_slow(); }
    void set_fast() { slot_on_table->set_fast(); }
  };
};

struct TableClock {
  // Whoever waits for a card at power-up sees time go on.
  [[nodiscard]] Tick now_ms() { return waits_at_power_up ? table_now++ : table_now; }
  bool waits_at_power_up = false;
};

using TableMachine = cortex_m::Machine<TableBoard, TableClock>;

class OneDrive : public ActSource {
 public:
  explicit OneDrive(int seconds) : seconds_(seconds) {}
  [[nodiscard]] std::optional<Act> next() override {
    if (seconds_ == 0) return std::nullopt;
    std::string rows = "time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c,odometer_km\n";
    for (int s = 0; s < seconds_; ++s)
      rows += fmt::format("{},{},{},{},{},8,{}\n", s, 20 + s % 40, 370 - s % 7, s % 90 - 20,
                          71 - s / 200.0, 40'000 + s * 0.01);
    seconds_ = 0;
    return Act{.wake_ns = kNanosPerSecond, .track = parse_replay(rows, "a drive").track};
  }

 private:
  int seconds_;
};

struct Outcome {
  std::uint64_t left_whole = 0;  // exchanges whose answer left its ECU
  LoggerCounters counters{};
  std::uint64_t fetched_in_part = 0;
  std::uint64_t lost_lines = 0;
  std::size_t programmed = 0;
  std::vector<std::string> complaints;
};

struct Table {
  explicit Table(int drive_s)
      : drive(drive_s),
        scene(drive, 38'000),
        bench({.vin = "0PMLVAN19T0000042",
               .quantities = answered(),
               .answers = Answers::service01,
               .seed = 11},
              scene),
        card(SimulatedKind::sdhc, testing::csd_2(7), testing::cid_of(1), kCardSectors) {
    table_now = 0;
    TableBoard::line_on_table = &line;
    TableBoard::slot_on_table = &slot;
    TableBoard::supplies_asked = TableBoard::flashes = 0;
    const auto settings = make_settings_sector(kLogId, kRingSectors, {.van = "Linden"});
    REQUIRE(settings);
    card.set_block(0, *settings);
    card.power_on();
    slot.insert(card);
  }

  static QuantitySet answered() {
    QuantitySet all;
    for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a,
                                    Quantity::soc_pct, Quantity::ambient_c, Quantity::odometer_km})
      all.add(quantity);
    return all;
  }

  TableMachine& power_up(const std::optional<cortex_m::LastWords>& last = std::nullopt) {
    clock.waits_at_power_up = true;
    TableMachine& made = machine.emplace(clock, last);
    clock.waits_at_power_up = false;
    return made;
  }

  // Lets everything happen until `end_ms`.
  void run_until(Tick end_ms) {
    while (table_now < end_ms) {
      const Nanos now_ns = static_cast<Nanos>(table_now) * kNanosPerMs;
      bench.advance(now_ns);
      std::array<std::uint8_t, 256> bytes;
      while (const std::size_t n = bench.take_host_bytes(now_ns, bytes))
        for (const std::uint8_t byte : std::span(bytes).first(n)) line.on_received(byte);
      machine->turn();
      while (const auto byte = line.next_to_send()) bench.on_host_bytes(now_ns, std::array{*byte});
      const Nanos event_ms = (bench.next_event_ns() + kNanosPerMs - 1) / kNanosPerMs;
      table_now = std::clamp(std::min(machine->due(), static_cast<Tick>(event_ms)), table_now + 1,
                             std::max(end_ms, table_now + 1));
    }
  }

  [[nodiscard]] Outcome outcome() {
    const BenchCounts& counts = bench.counts();
    return {.left_whole = counts.exchanges,
            .counters = machine->logger().counters(),
            .fetched_in_part = counts.aborted_replies,
            .lost_lines = counts.lost_lines,
            .programmed = card.programmed.size(),
            .complaints = card.complaints};
  }

  OneDrive drive;
  PlannedScene scene;
  Bench bench;
  SimulatedCard card;
  SerialLine line;
  SimulatedSlot slot{table_now};
  TableClock clock;
  std::optional<TableMachine> machine;
};

void lose_nothing(const Outcome& seen) {
  CHECK(seen.complaints.empty());
  // Some requests ask for what this van does not know: each gets its answer, too.
  CHECK(seen.left_whole > 1'000);
  CHECK(seen.counters.responses >= seen.left_whole);
  CHECK(seen.counters.dropped_samples == 0);
  CHECK(seen.counters.isotp_dropped == 0);
  CHECK(seen.counters.lines_discarded == 0);
  CHECK(seen.counters.late_answers == 0);
  CHECK(seen.fetched_in_part == 0);
  CHECK(seen.lost_lines == 0);
}

}  // namespace

TEST_CASE("machine: a card that is busy for half a second at every write costs no reply") {
  constexpr int kDriveS = 180;
  std::uint64_t usual = 0;
  for (const Tick busy_ms : {Tick{0}, Tick{100}, Tick{500}}) {
    CAPTURE(busy_ms);
    Table table(kDriveS);
    table.card.faults.busy_ms = busy_ms;
    table.power_up();
    table.run_until(kDriveS * 1'000);
    const Outcome seen = table.outcome();
    lose_nothing(seen);
    CHECK(seen.counters.card_write_failures == 0);
    CHECK(seen.programmed > 10);
    if (busy_ms == 0) usual = seen.left_whole;
    // Asked as often as with a card that takes no time.
    CHECK(seen.left_whole + usual / 200 >= usual);
    MESSAGE("busy " << busy_ms << " ms at each of " << seen.programmed << " writes: "
                    << seen.left_whole << " replies of the van's, " << seen.counters.responses
                    << " heard, " << seen.counters.timeouts << " waited for in vain");
  }
}

TEST_CASE("machine: the supply is fetched once a second, and the lamp tells of recording") {
  Table table(120);
  table.power_up();
  table.run_until(60'000);
  const int before = TableBoard::flashes;
  TableBoard::supplies_asked = 0;
  table.run_until(100'000);
  CHECK(TableBoard::supplies_asked >= 39);
  CHECK(TableBoard::supplies_asked <= 41);
  CHECK(TableBoard::flashes - before == 20);
}

TEST_CASE("machine: a card busy for longer than any may be is given up, and the van is asked on") {
  Table table(180);
  table.power_up();
  table.run_until(30'000);
  table.card.faults.busy_ms = 5'000;
  table.run_until(60'000);
  table.card.faults.busy_ms = 0;
  table.run_until(175'000);
  const Outcome seen = table.outcome();
  CHECK(seen.counters.card_write_failures > 0);
  CHECK(seen.counters.responses >= seen.left_whole);
  CHECK(seen.lost_lines == 0);
  // Of complaints there are some: it is spoken to while it is busy, to start it again.
  CHECK(seen.programmed > 10);
}

TEST_CASE("machine: the card pulled and put back goes on, and what was lost is counted") {
  Table table(300);
  table.power_up();
  table.run_until(60'000);
  const std::size_t before = table.card.programmed.size();
  CHECK(before > 3);
  table.slot.remove();
  table.run_until(90'000);
  CHECK(table.machine->logger().light() == Light::card_trouble);
  table.card.power_off();
  table.card.power_on();
  table.slot.insert(table.card);
  table.run_until(290'000);
  CHECK(table.card.programmed.size() > before + 10);
  const Outcome seen = table.outcome();
  CHECK(seen.counters.card_write_failures > 0);
  CHECK(seen.counters.responses >= seen.left_whole);
  CHECK(table.machine->logger().light() == Light::recording);
  CHECK(seen.complaints.empty());
  // One boot, in order, no place written twice.
  std::vector<std::uint64_t> places = table.card.programmed;
  CHECK(std::is_sorted(places.begin(), places.end()));
}

TEST_CASE("machine: another card is never written, and the machine begins anew with it") {
  Table table(300);
  table.power_up();
  table.run_until(60'000);
  SimulatedCard other(SimulatedKind::sdhc, testing::csd_2(7), testing::cid_of(2), kCardSectors);
  other.power_on();
  table.slot.remove();
  table.run_until(62'000);
  table.slot.insert(other);
  CHECK_THROWS_AS(table.run_until(120'000), cortex_m::MachineRestarted);
  CHECK(other.programmed.empty());
}

TEST_CASE(
    "machine: without a card the van is not asked for what nobody keeps, and a card that comes is "
    "begun with") {
  Table table(120);
  table.slot.remove();
  table.power_up();
  table.run_until(9'000);
  CHECK(table.machine->logger().light() == Light::card_trouble);
  table.card.power_off();
  table.card.power_on();
  table.slot.insert(table.card);
  CHECK_THROWS_AS(table.run_until(30'000), cortex_m::MachineRestarted);
  CHECK(table.card.programmed.empty());
}

TEST_CASE("machine: how the last run failed outlives a boot that had no card to tell it to") {
  Table table(120);
  table.slot.remove();
  table.power_up(cortex_m::LastWords{
      .cause = BootCause::fault,
      .fault = {.exception = 3, .program_counter = 0x1234, .link_register = 0x77, .status = 2}});
  table.run_until(5'000);
  table.card.power_off();
  table.card.power_on();
  table.slot.insert(table.card);
  try {
    table.run_until(30'000);
    FAIL("the machine did not begin anew");
  } catch (const cortex_m::MachineRestarted& restarted) {
    CHECK(restarted.words.cause == BootCause::fault);
    CHECK(restarted.words.fault.program_counter == 0x1234);
    CHECK(restarted.words.fault.exception == 3);
  }
}
