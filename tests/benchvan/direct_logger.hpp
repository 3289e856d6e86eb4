// The logger without its serial line: what the ECUs answer goes straight into the
// sectors, so that a month of a van takes a second.
//
// Parts    the core's own discovery, poll plan, judge of duty, watch for a waking
//          van, session record and sector log. Only what lies between them and the
//          van is left out: text lines, adapter, ISO-TP, transmit gate, the search
//          for the end of a ring.
// Time     a request and its answer take as long as over a line of 115200 baud;
//          the adapter's set-up takes no time.
// Refused  faults of line, adapter and bus: they cannot be played here.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "benchvan/bench.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/planned_scene.hpp"
#include "core/discovery.hpp"
#include "core/duty.hpp"
#include "core/poll_plan.hpp"
#include "core/sector_log.hpp"
#include "core/session_record.hpp"
#include "core/wake_watch.hpp"

namespace packmile::benchvan {

// The first of the names that needs the line to be played; empty: none.
[[nodiscard]] std::string fault_of_the_line(const std::vector<std::string>& fault_names);

class DirectLogger {
 public:
  struct Setup {
    std::uint32_t log_id = 0;                       // as the card was prepared with
    std::uint32_t entropy = 0;                      // becomes the boot id
    std::string van{};                              // of the settings
    std::optional<std::int64_t> origin_unix_ms{};   // of bench time 0; absent: no clock
    std::optional<std::uint32_t> poll_period_ms{};  // as the card was prepared with
  };
  // The card must be one that was just prepared: empty. All must outlive it.
  DirectLogger(Bench& bench, PlannedScene& scene, CardFile& card, Setup setup);

  // Lives through the whole plan, and on for `after_ns`; then stops cleanly.
  // Throws BenchError when the card refuses a sector.
  void run(Nanos after_ns);

 private:
  enum class Phase : std::uint8_t { waiting, polling };

  [[nodiscard]] Tick tick() const { return static_cast<Tick>(now_ns_ / kNanosPerMs); }
  void go_to(Nanos at_ns);
  void look_at_supply();
  void wait(WaitReason reason, Tick alert_ms = 0);
  void attempt();
  void discover();
  void probe();
  void start_polling(DutyStart start);
  void poll(std::size_t index);
  void update_conditions();
  void keep(Tick at, const PollRequest& poll, std::span<const RawWord> words);
  // Sends the request; null: nobody answered, and the time for it is over.
  [[nodiscard]] const WholeAnswer* exchange(const CanFrame& request);
  void write();
  [[nodiscard]] SessionSource source() const;

  Bench& bench_;
  PlannedScene& scene_;
  CardFile& card_;
  Setup setup_;
  Nanos now_ns_ = 0;
  Nanos scene_changes_ns_ = 0;
  Nanos next_clock_ns_ = 0;
  Phase phase_ = Phase::waiting;

  Discovery discovery_;
  PollPlan plan_;
  DutyJudge duty_;
  WakeWatch wake_;
  OwnersSignals owners_;
  SectorLog log_;
  SessionWriter session_;
  LoggerCounters counters_;
  std::optional<WallClockReading> clock_;
  std::uint16_t supply_min_mv_ = 0;
  std::optional<Tick> answered_at_;
  Tick balance_due_ = 0;
  std::uint8_t silences_in_row_ = 0;
  bool lasted_told_ = false;
  bool stopping_ = false;
  std::vector<WholeAnswer> answers_;
  std::array<std::uint8_t, kSectorBytes> unused_{};  // the card is never read
  Tick begun_ = 0;                                   // of the last answer: its first frame
};

}  // namespace packmile::benchvan
