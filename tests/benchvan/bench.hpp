// The bench van put together: serial line, adapter, bus, ECUs and the scene
// they live in. Event-driven: nothing happens between two events.
//
//   host bytes -> LineAssembler -> Adapter -> bus -> ECUs
//   host bytes <- LinePacer     <- Adapter <- bus <- ECUs
//
// Watch  every frame of the tester is judged: service 01, 09 or 22 in a single
//        frame, or flow control to an ECU; anything else is forbidden, counted,
//        and still put on the bus.
#pragma once
#include <cstdint>
#include <cstdio>
#include <deque>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "benchvan/adapter.hpp"
#include "benchvan/bench_watch.hpp"
#include "benchvan/candump.hpp"
#include "benchvan/ecu.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/owners_fields.hpp"
#include "benchvan/pid_words.hpp"
#include "benchvan/scene.hpp"
#include "benchvan/serial_line.hpp"

namespace packmile::benchvan {

struct BenchSetup {
  LineSetup line{};          // between host and adapter
  std::string vin{};         // at most 17 characters
  QuantitySet quantities{};  // what the van can ever answer
  PidCoding coding{};
  Faults faults{};
  std::optional<double> ecu_ms{};  // from request to answer; absent: as the faults say
  Answers answers = Answers::service01;
  std::vector<OwnersField> fields{};  // what the van answers by the family `owner`
  std::uint64_t seed = 0;             // of the ECUs' answer times
  Candump* candump = nullptr;         // null: no log of the bus
  // Every line of the host, as "SECONDS.MILLIS LINE"; null: no recording.
  std::FILE* lines = nullptr;
  BenchWatch* watch = nullptr;  // null: nobody keeps account
};

struct BenchCounts {
  std::uint64_t tester_frames = 0;
  std::uint64_t ecu_frames = 0;
  std::uint64_t other_frames = 0;      // of the fault bus-traffic
  std::uint64_t requests = 0;          // tester frames that are no flow control
  std::uint64_t exchanges = 0;         // positive answers that left an ECU whole
  std::uint64_t polled_exchanges = 0;  // those since the first poll request
  std::uint64_t values = 0;            // sensor values in those answers
  // Requests and adapter commands other than closing and listening, in the ten
  // minutes after frames of another tester whose lines went to the host whole.
  std::uint64_t while_foreign_tester = 0;
  std::uint64_t forbidden = 0;           // tester frames that a reader must not send
  std::uint64_t aborted_replies = 0;     // multi-frame answers not fetched
  std::uint64_t lost_lines = 0;          // the line to the host was too slow
  std::optional<Nanos> first_poll_ns{};  // first request for what a sensor shows
  std::optional<Nanos> last_answer_ns;
  std::optional<Nanos> last_foreign_ns{};
  std::string first_forbidden;  // as in a candump log; empty: none
};

// A whole answer of one ECU, without lines and without ISO-TP.
struct WholeAnswer {
  std::uint32_t response_id = 0;
  bool extended = false;
  Nanos due_ns = 0;  // its first frame begins
  // The ECU's own: valid until its next request.
  std::span<const std::uint8_t> message{};
};

class Bench {
 public:
  // `scene` and what the setup points to must outlive the bench.
  Bench(const BenchSetup& setup, Scene& scene);

  void on_host_bytes(Nanos now_ns, std::span<const std::uint8_t> bytes);
  // From now on these faults, instead of those before. Faults with a time of their
  // own (bus-off, foreign-tester, ecu-stops) last until the next switch. What the
  // van is by its make cannot be switched: its rate, its ids, what it can answer.
  void switch_faults(Nanos now_ns, const Faults& faults);
  // Another logger, or the same one after a reset: it cannot know whom the one
  // before had heard.
  void logger_starts() { counts_.last_foreign_ns.reset(); }
  // For a run without a line: a request whose last bit passes now, answered whole.
  // Appends to `answers`, in the order of the ECUs. Not beside on_host_bytes().
  void answer_whole(Nanos now_ns, const BusFrame& request, std::vector<WholeAnswer>& answers);
  // Lets everything happen that is due by now.
  void advance(Nanos now_ns);
  // Bytes that have reached the host by now; 0: none.
  [[nodiscard]] std::size_t take_host_bytes(Nanos now_ns, std::span<std::uint8_t> out);
  // When advance() or take_host_bytes() has something to do; kNever: nothing.
  [[nodiscard]] Nanos next_event_ns() const;
  [[nodiscard]] const BenchCounts& counts();

 private:
  struct OnBus {
    Nanos at_ns;  // its last bit has passed
    BusFrame frame;
    bool from_tester;
    bool foreign = false;              // of another tester
    std::optional<std::size_t> ecu{};  // whose answer; absent: none of an ECU
    bool begins = false;               // with its first frame
    bool completes = false;            // a positive one, with its last
  };
  // What became of one line to the host.
  enum class LineFate : std::uint8_t { whole, cut, crowded };

  [[nodiscard]] Nanos put_on_bus(Nanos now_ns, const BusFrame& frame, bool from_tester);
  void on_serial_line(const SerialLine& line);
  void on_bus_frame(const OnBus& passed);
  void judge(const BusFrame& frame);
  LineFate to_host(Nanos now_ns, std::string_view line);
  void account(const OnBus& passed, bool heard, LineFate fate);
  [[nodiscard]] bool acknowledged(Nanos now_ns);
  // Seconds since the first poll request; negative: there was none.
  [[nodiscard]] double polled_s(Nanos now_ns) const;
  [[nodiscard]] bool off_the_bus(Nanos now_ns) const;
  void be_a_foreign_tester(Nanos now_ns);
  // A request of the poll schedule. Its first request for one of the van's own
  // identifiers may be a search for the ECU: such a one is a poll when it was
  // asked for a little while ago.
  [[nodiscard]] bool is_poll(const OnBus& passed);
  void make_owners_ecus(std::optional<Nanos> answer_ns);
  // What the sensors show by the faults that are theirs; null: the ECUs are silent.
  [[nodiscard]] const Moment* show(Nanos now_ns);

  BenchSetup setup_;
  Scene& scene_;
  unsigned bus_kbit_per_s_;
  LineAssembler from_host_;
  LinePacer to_host_;
  Adapter adapter_;
  std::vector<Ecu> ecus_;
  std::deque<OnBus> bus_;
  struct AskedDid {
    std::uint32_t request_id;
    unsigned did;
    Nanos at_ns;
  };
  std::vector<AskedDid> asked_dids_;
  Nanos bus_free_ns_ = 0;
  Nanos next_traffic_ns_ = kNever;
  Nanos traffic_period_ns_ = 0;
  Nanos next_foreign_ns_ = kNever;
  Nanos next_reset_ns_ = kNever;
  Moment shown_;  // with faults of sensors
  std::optional<double> frozen_a_;
  std::uint64_t lines_to_host_ = 0;
  bool cut_before_ = false;         // half a line without its end waits for the next one
  bool faults_switched_ = false;    // switch_faults() was called
  std::deque<Answered> leaving_;    // whole answers whose last frame has yet to pass
  std::vector<Answered> going_on_;  // of each ECU: the answer that passes at present
  std::uint8_t traffic_count_ = 0;
  BenchCounts counts_;
};

}  // namespace packmile::benchvan
