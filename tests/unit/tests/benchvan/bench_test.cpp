#include "benchvan/bench.hpp"

#include <doctest/doctest.h>

#include <array>
#include <string>
#include <vector>

#include "benchvan/replay.hpp"
#include "benchvan/replay_scene.hpp"

using namespace packmile::benchvan;

namespace {

struct Table {
  ReplayScene scene;
  Bench bench;
  Nanos now_ns = 0;

  explicit Table(const Faults& faults = {}, std::optional<double> ecu_ms = {},
                 Answers answers = Answers::service01, std::vector<OwnersField> fields = {})
      : scene({parse_replay("time_s,speed_kmh,pack_v,pack_a,soc_pct\n0,50,350,25,80\n"
                            "9,50,350,25,80\n18,50,350,25,80\n",
                            "x.csv")
                   .track},
              {.odometer_km = 12345.6}),
        bench({.vin = "1M8GDM9AXKP042788",
               .quantities =
                   [] {
                     QuantitySet set;
                     for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v,
                                                     Quantity::pack_a, Quantity::soc_pct}) {
                       set.add(quantity);
                     }
                     return set;
                   }(),
               .faults = faults,
               .ecu_ms = ecu_ms,
               .answers = answers,
               .fields = std::move(fields)},
              scene) {}

  // Sends the lines, waits 50 ms, gives what came back with CR shown as '|'.
  std::string operator()(const std::string& lines, Nanos for_ns = 50 * kNanosPerMs) {
    bench.on_host_bytes(now_ns, std::vector<std::uint8_t>(lines.begin(), lines.end()));
    std::string text;
    const Nanos end_ns = now_ns + for_ns;
    std::vector<std::uint8_t> bytes(256);
    while (bench.next_event_ns() <= end_ns) {
      now_ns = bench.next_event_ns();
      bench.advance(now_ns);
      const std::size_t count = bench.take_host_bytes(now_ns, bytes);
      text.append(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(count));
    }
    now_ns = end_ns;
    for (char& c : text) {
      if (c == '\r') c = '|';
    }
    return text;
  }
};

}  // namespace

// Source: id pairs of ISO 15765-4; $9A and $0D words by arithmetic (1/64 V, 0.1 A).
TEST_CASE("bench: a functional request is answered by every ECU, a physical one by its own") {
  Table ask;
  CHECK(ask("S6\rO\r") == "||");
  const std::string all = ask("t7DF8020100CCCCCCCCCC\r");
  for (const std::string id : {"t7E88", "t7E98", "t7EA8"}) CHECK(all.find(id) != all.npos);
  CHECK(ask("t7E1802010DCCCCCCCCCC\r") == "|t7E98037F0112AAAAAAAA|");
  CHECK(ask("t7E08020146CCCCCCCCCC\r") == "|t7E88037F0112AAAAAAAA|");
  CHECK(ask("t7E080301"
            "9A0DCCCCCCCC\r") == "|t7E88100A419A06005780|");
  CHECK(ask("t7E08300000CCCCCCCCCC\r") ==
        "|t7E88"
        "2100FA0D32AAAAAA|");
  CHECK(ask("t7E08020"
            "1A6CCCCCCCCCC\r")
            .substr(0, 20) == "|t7E880641A60001E240");
  CHECK(ask.bench.counts().forbidden == 0);
}

TEST_CASE("bench: an ECU answers as long after its request as it was told to") {
  for (const bool instant : {false, true}) {
    Faults faults;
    faults.instant_ecu = instant;
    Table ask(faults, 20);
    CHECK(ask("S6\rO\r") == "||");
    // 22 bytes of line take 1.9 ms, a frame on the bus 0.3 at most.
    CHECK(ask("t7E0802010DCCCCCCCCCC\r", 21 * kNanosPerMs) == "|");
    CHECK(ask("", 4 * kNanosPerMs) == "t7E8803410D32AAAAAAAA|");
  }
}

TEST_CASE("bench: two ECUs interleave their multi-frame answers") {
  Table ask;
  (void)ask("S6\rO\r");
  const std::string first = ask("t7DF8020904CCCCCCCCCC\r");
  CHECK(first.find("t7E88101349040142454E") != first.npos);
  CHECK(first.find("t7E98101349040142454E") != first.npos);
  const std::string rest = ask("t7E08300002CCCCCCCCCC\rt7E18300002CCCCCCCCCC\r");
  const auto at = [&](const char* line) { return rest.find(line); };
  REQUIRE(at("t7E8822") != rest.npos);
  REQUIRE(at("t7E9822") != rest.npos);
  // The second ECU begins before the first has ended.
  CHECK(at("t7E9821") < at("t7E8822"));
}

TEST_CASE("bench: what a reader must not send is counted and still put on the bus") {
  const std::vector<std::string> forbidden{"t7DF80104CCCCCCCCCCCC\r",  // clears trouble codes
                                           "t7E08021003CCCCCCCCCC\r",  // session control
                                           "t7E0802"
                                           "3E00CCCCCCCCCC\r",
                                           "t1238020100CCCCCCCCCC\r",
                                           "t7E83020100\r",
                                           "r7DF8\r",
                                           "t7E08101449020131CCCC\r",
                                           "t7DF8300000CCCCCCCCCC\r"};
  for (const std::string& line : forbidden) {
    CAPTURE(line);
    Table ask;
    (void)ask("S6\rO\r");
    (void)ask(
        "t7DF8020100CCCCCCCCCC\rt7E0803"
        "22F190CCCCCCCC\rt7E08300000CCCCCCCCCC\r");
    CHECK(ask.bench.counts().forbidden == 0);
    CHECK(ask(line).substr(0, 1) == "|");
    CHECK(ask.bench.counts().forbidden == 1);
    CHECK(ask.bench.counts().first_forbidden.substr(0, 3) == line.substr(1, 3));
  }
}

TEST_CASE("bench: a bus at another rate, and a van that sleeps without acknowledging") {
  Table slow({.bus_250k = true});
  CHECK(slow("S6\rO\rt7DF8020100CCCCCCCCCC\r") == "||e1a|");
  CHECK(slow("C\rS5\rO\rt7DF8020100CCCCCCCCCC\r").find("t7E8") != std::string::npos);
  Table asleep({.no_ack_asleep = true});
  (void)asleep("S6\rO\rt7E0802010DCCCCCCCCCC\r");
  asleep.now_ns += 30 * kNanosPerSecond;
  CHECK(asleep("t7E0802010DCCCCCCCCCC\r") == "e1a|");
  Table listening({.bus_traffic = true});
  CHECK(listening("S6\rL\r", 100 * kNanosPerMs).find("t1A08") != std::string::npos);
  CHECK(listening("C\rS5\rL\r", 100 * kNanosPerMs).find("e1f|") != std::string::npos);
}

TEST_CASE("bench: after the last row the ECUs are silent and the bus still acknowledges") {
  Table ask;
  (void)ask("S6\rO\r");
  CHECK(ask("t7E0802010DCCCCCCCCCC\r").find("410D32") != std::string::npos);
  ask.now_ns += 30 * kNanosPerSecond;
  CHECK(ask("t7E0802010DCCCCCCCCCC\r") == "|");
}

TEST_CASE("bench: a van that answers by standard identifiers only") {
  Table ask({}, {}, Answers::f4xx);
  (void)ask("S6\rO\r");
  CHECK(ask("t7DF8020100CCCCCCCCCC\r") == "|");
  CHECK(ask("t7E08020100CCCCCCCCCC\r") == "|t7E88037F0111AAAAAAAA|");
  CHECK_FALSE(ask.bench.counts().first_poll_ns.has_value());
  const std::string all = ask("t7DF80322F400CCCCCCCC\r");
  for (const std::string id : {"t7E88", "t7E98", "t7EA8"})
    CHECK(all.find(id + "0762F400") != all.npos);
  CHECK_FALSE(ask.bench.counts().first_poll_ns.has_value());
  CHECK(ask("t7E00322F40DCCCCCCCC\r") == "\a");
  CHECK(ask("t7E080322F40DCCCCCCCC\r") == "|t7E880462F40D32AAAAAA|");
  CHECK(ask.bench.counts().first_poll_ns.has_value());
  CHECK(ask.bench.counts().forbidden == 0);
}

TEST_CASE("bench: a van that answers its own identifiers only, each on its own ECU") {
  Table ask({}, {}, Answers::owner,
            {{.role = FieldRole::speed, .request_id = 0x7E6, .did = 0xD099},
             {.role = FieldRole::pack_v,
              .request_id = 0x18DA40F1,
              .did = 0xD099,
              .bytes = 2,
              .little_endian = true}});
  (void)ask("S6\rO\r");
  CHECK(ask("t7DF8020100CCCCCCCCCC\r") == "|");
  CHECK(ask("t7DF80322F400CCCCCCCC\r") == "|");
  CHECK(ask("t7DF80322D099CCCCCCCC\r") == "|t7EE80462D09932AAAAAA|");
  CHECK(ask("t7E080322D099CCCCCCCC\r") == "|t7E88037F2231AAAAAAAA|");
  CHECK_FALSE(ask.bench.counts().first_poll_ns.has_value());
  CHECK(ask("t7E680322D099CCCCCCCC\r") == "|t7EE80462D09932AAAAAA|");
  // A search for the ECU is no poll: the same again soon after is one.
  CHECK_FALSE(ask.bench.counts().first_poll_ns.has_value());
  CHECK(ask("t7E680322D099CCCCCCCC\r") == "|t7EE80462D09932AAAAAA|");
  CHECK(ask.bench.counts().first_poll_ns.has_value());
  CHECK(ask("T18DA40F180322D099CCCCCCCC\r") == "|T18DAF14080562D0995E01AAAA|");
  CHECK(ask("t7E680322F190CCCCCCCC\r") == "|t7EE8037F2231AAAAAAAA|");
  CHECK(ask("t7E080322F190CCCCCCCC\r") == "|t7E88101462F190314D38|");
}

TEST_CASE("bench: a van that answers nothing is alive, unless its bus is dead") {
  Table alive({}, {}, Answers::none);
  const std::string text = alive("S6\rO\rt7DF8020100CCCCCCCCCC\r", 100 * kNanosPerMs);
  CHECK(text.find("t1A08") != text.npos);
  CHECK(text.find("t7E") == text.npos);
  Table dead({.dead_bus = true}, {}, Answers::none);
  CHECK(dead("S6\rO\rt7DF8020100CCCCCCCCCC\r", 100 * kNanosPerMs) == "||e1a|");
}

TEST_CASE("bench: sensors that are wrong") {
  const std::vector<OwnersField> fields{
      {.role = FieldRole::soc, .request_id = 0x7E0, .did = 0xD001},
      {.role = FieldRole::pack_temp,
       .request_id = 0x7E0,
       .did = 0xD001,
       .first_byte = 1,
       .is_signed = true}};
  CHECK(Table({}, {}, Answers::owner, fields)("S6\rO\rt7E080322D001CCCCCCCC\r") ==
        "|||t7E880562D0015015AAAA|");
  CHECK(Table({.soc_over_100 = true, .pack_cold = true}, {}, Answers::owner,
              fields)("S6\rO\rt7E080322D001CCCCCCCC\r") == "|||t7E880562D0018CBAAAAA|");
}

TEST_CASE("bench: a current that never changes") {
  const std::vector<OwnersField> fields{
      {.role = FieldRole::pack_a, .request_id = 0x7E0, .did = 0xD001, .is_signed = true}};
  for (const bool frozen : {false, true}) {
    ReplayScene scene({parse_replay("time_s,pack_a\n0,10\n9,100\n", "x.csv").track}, {});
    QuantitySet quantities;
    quantities.add(Quantity::pack_a);
    Bench bench({.quantities = quantities,
                 .faults = {.current_frozen = frozen},
                 .answers = Answers::owner,
                 .fields = fields},
                scene);
    std::string text;
    // The second request starts the clock of the file.
    for (const Nanos from_ns : {Nanos{0}, kNanosPerSecond, 9 * kNanosPerSecond}) {
      for (const char c : std::string("S6\rO\rt7E080322D001CCCCCCCC\r")) {
        const auto byte = static_cast<std::uint8_t>(c);
        bench.on_host_bytes(from_ns, std::span(&byte, 1));
      }
      bench.advance(from_ns + kNanosPerSecond);
      std::array<std::uint8_t, 256> bytes{};
      const std::size_t count = bench.take_host_bytes(from_ns + kNanosPerSecond, bytes);
      text.append(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(count));
    }
    CHECK(text.find("t7E880462D0010A") != text.npos);
    // 90 A at 8 s.
    CHECK((text.find("t7E880462D0015A") != text.npos) == !frozen);
  }
}

TEST_CASE("bench: any bytes of the host are taken") {
  static constexpr char kAlphabet[] = "0123456789ABCDEFtTrRSOLCFVNZMmXU\r\r\r\a x";
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    CAPTURE(seed);
    Generator generator(seed);
    Table ask({.bus_traffic = seed % 2 == 0});
    std::string bytes = "S6\rO\r";
    for (int i = 0; i < 20000; ++i) {
      const bool any = seed % 4 == 0;
      bytes += any ? static_cast<char>(generator.below(256))
                   : kAlphabet[generator.below(sizeof kAlphabet - 1)];
      if (generator.below(400) == 0) bytes += "\rO\rt7E0802010DCCCCCCCCCC\r";
    }
    (void)ask(bytes, 3 * kNanosPerSecond);
    CHECK(ask.bench.counts().exchanges > 0);
  }
}
