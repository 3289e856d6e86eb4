// The account of a soak: every sample that an ECU has answered, kept apart from
// the core, and what became of it.
//
// Input     whole answers from the bench; the bytes at the core's port, in both
//           directions; the sectors of the card after each boot.
// Method    the bytes are read by the bench's own line grammar and a reader of
//           ISO-TP of its own; what has come whole must be on the card with the
//           tick at which the first frame's line ended (tolerance 0 ms) and with
//           its word, or have a reason that was seen from outside. Reasons that the
//           logger must count are then held against its counters.
// Bounded   one boot is held in memory.
#pragma once
#include <array>
#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "benchvan/bench_watch.hpp"
#include "benchvan/clockwork.hpp"
#include "soak/card_reading.hpp"

namespace packmile::soak {

// What became of a sample.
enum class Fate : std::uint8_t {
  on_card,
  broken,        // sent with a wrong sequence number or length
  unheard,       // the adapter was closed, or at another bit rate
  cut,           // a line of it lost its second half, or was glued to such a one
  crowded,       // the adapter's queue to the host was full
  late,          // the logger had given the request up
  too_long,      // given up after ten times "response pending"
  closed,        // the logger had closed the adapter meanwhile
  other_tester,  // the same, because of another tester
  no_logger,     // it was stopped or without power
  card_busy,     // the card took too long; Record.dropped_samples
  power_cut,     // not written yet when the logger lost its power
  unexplained,   // must be 0
};
inline constexpr std::size_t kFates = 13;
[[nodiscard]] const char* name_of(Fate fate);

struct Totals {
  std::array<std::uint64_t, kFates> samples{};
  std::array<std::uint64_t, kFates> answers{};
  std::uint64_t answered_samples = 0;
  std::uint64_t invented = 0;         // on the card and never answered: must be 0
  std::uint64_t never_sent = 0;       // whole at the port, and no ECU sent it: must be 0
  std::uint64_t allocations = 0;      // of the core: must be 0
  std::uint64_t spoiled_lines = 0;    // that the port had to discard
  std::uint64_t discarded_lines = 0;  // that the logger counted
  std::uint64_t sectors = 0;
  std::uint64_t boots = 0;
  std::uint64_t cuts = 0;              // of them that ended without power
  benchvan::Nanos longest_way_ns = 0;  // from the bus to the port
  std::vector<std::string> wrong;      // in words; empty: the account is balanced
};

// How a boot ended.
struct BootEnd {
  LoggerCounters counters{};
  bool power_cut = false;
  benchvan::Nanos at_ns = 0;
};

class Account : public benchvan::BenchWatch, public benchvan::PortWatch {
 public:
  // Reads the log as it is written; the file must be there.
  explicit Account(const std::string& card_path) : card_(card_path) {}

  void on_answer(const benchvan::Answered& answer) override;
  void to_core(Tick now, std::span<const std::uint8_t> bytes) override;
  void from_core(Tick now, std::span<const std::uint8_t> bytes) override;
  void core_begins() override;
  void core_ends() override;

  // `power_up_ns`: the bench's time of tick 0.
  void begin_boot(benchvan::Nanos power_up_ns);
  // The logger was told to stop: what it leaves is not its fault.
  void stopping() { stopping_ = true; }
  void end_boot(const BootEnd& end);
  // While the card takes longer than it should, or refuses.
  void card_in_trouble(bool trouble);
  // Nothing is left on its way. Call at the very end.
  [[nodiscard]] const Totals& close();

 private:
  struct Sample {
    Tick tick = 0;
    std::uint32_t ecu = 0;
    std::uint32_t raw = 0;
    std::uint16_t signal = 0;
    Fate fate = Fate::unexplained;  // where it is not on the card
    bool first = false;             // of its answer
    bool card_trouble = false;
  };
  // The request that was sent last.
  struct Question {
    Tick sent = 0;
    Tick until = 0;
    std::uint32_t ecu = 0;
    std::vector<std::uint8_t> pids{};
    unsigned pending = 0;
    bool open = false;
    Fate fate = Fate::late;  // of an answer that comes when it is not open
  };
  struct Joining {
    benchvan::Payload payload{};
    std::size_t total = 0;
    std::uint8_t next = 0;
    bool collecting = false;
    Tick first = 0;
    Tick last = 0;
  };

  // A frame of an ECU in the middle of its own answer.
  struct Interruption {
    benchvan::Nanos at_ns;
    std::uint32_t ecu;
  };

  void give_up_before(benchvan::Nanos at_ns);
  void on_port_line(Tick now, std::string_view line);
  void on_port_frame(Tick now, const benchvan::BusFrame& frame);
  void on_port_message(std::uint32_t ecu, const Joining& message);
  void on_own_line(Tick now, std::string_view line);
  [[nodiscard]] Fate fate_if_missing(std::uint32_t ecu, const Joining& message,
                                     std::span<const std::uint8_t> pids);
  [[nodiscard]] bool was_sent(std::uint32_t ecu, const Joining& message);
  void tally(Fate fate, std::uint64_t samples);
  void compare(const BootEnd& end, std::vector<CardSample>& on_card);
  void check_counters(const BootEnd& end, const CardBoot& boot);
  void complain(const std::string& words);

  CardReading card_;
  Totals totals_;
  benchvan::Nanos power_up_ns_ = 0;
  std::uint64_t core_depth_allocations_ = 0;
  std::deque<benchvan::Answered> on_their_way_;
  std::string to_core_line_, from_core_line_;
  std::map<std::uint32_t, Joining> joining_;
  std::optional<Question> question_;
  bool stopping_ = false;
  bool running_ = false;
  bool card_trouble_ = false;
  Tick trouble_over_at_ = 0;
  std::optional<Tick> tester_heard_at_;
  std::vector<Interruption> interruptions_;
  std::vector<Sample> samples_;
  // Of the present boot, answers that its counters must cover.
  std::uint64_t boot_spoiled_ = 0;
  std::uint64_t spoiled_while_stopping_ = 0;
  Tick last_dropped_ = 0;
  std::array<std::uint64_t, kFates> boot_answers_{};
};

// The samples in the data of a positive answer of service 01, and its PIDs.
struct Words {
  struct One {
    std::uint16_t signal = 0;
    std::uint32_t raw = 0;
  };
  std::vector<One> samples{};
  std::vector<std::uint8_t> pids{};
};
[[nodiscard]] Words words_of_answer(std::span<const std::uint8_t> message);

}  // namespace packmile::soak
