// The logger: asks one van's ECUs through a serial CAN adapter and keeps the
// answers in sectors. A pure machine: everything that happens comes in through
// on_*, everything that it wants goes out through take_*.
//
// Standard  SAE J1979 services 01 and 09, ISO 14229-1 service 22, ISO 15765-2, ISO
//           15765-4, slcan text lines; FORMAT.md for the card.
// Pure      no clock, heap, exceptions, RTTI, I/O, threads.
// Bounded   all state is in the object; output per input is bounded.
//
// The turn of a port, the same for every port (tests/ports holds them to it):
//   1. now = time since power-up in ms, never less than before
//   2. hand in what has arrived: on_bytes, on_card, on_supply, on_clock,
//      on_adapter; in that order; then on_time(now) if now >= deadline()
//   3. take_bytes until it gives 0; send them in order
//   4. take_card_request; do it; its answer is handed in by on_card at a later
//      turn, or at once followed by steps 3 and 4 again
//   5. sleep until deadline() or until something arrives
// At power-up: construct, then turns. To stop: on_stop(now), then turns until
// stopped().
//
// An answer that nobody waits for any more makes the wait twice as long, up to
// kSlowestReplyMs: a slow ECU is heard from then on.
//
// Chunking on_bytes differently gives the same output. on_time before the
// deadline does nothing. An answer that nobody asked for changes nothing but a
// counter. Time that runs backwards is taken as standing still.
//
//   phase        what happens                                 next
//   link_down    link up                                      opening
//   opening      C C C sent, input discarded                  listening
//   listening    clean frame                                  discovering at this rate;
//                                                             probing when the van is known
//   listening    error line, or 2 s over                      listening at the other rate;
//                then: nothing at all at either rate          discovering, 500 then 250 kbit/s
//                then: errors                                 waiting (not_found)
//   discovering  map found                                    polling
//   discovering  nobody, no confirmation, error line          the other rate; waiting (not_found)
//   probing      answered, on a sign of life                  polling
//   probing      answered, and the answer shows use           polling
//   probing      answered, and it does not                    waiting (parked)
//   probing      silence, no confirmation, error line         waiting (silent)
//   polling      no confirmation and no answer; error line    waiting (silent), soon a probe
//   polling      10 s without an answer; supply too low       waiting (silent)
//   polling      parked                                       waiting (parked)
//   any but      the third reset in 10 min, and up for less   waiting (reset_too_often)
//   waiting      than an hour
//   waiting      attempt due                                  probing; listening when the van is
//                                                             not known
//   any          a tester's id, or an answer to no question   waiting (foreign_tester)
//   any          link lost                                    link_down; the map is kept
//   any          on_stop                                      stopping
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/adapter_script.hpp"
#include "core/boot_history.hpp"
#include "core/discovery.hpp"
#include "core/duty.hpp"
#include "core/isotp_receiver.hpp"
#include "core/log_end.hpp"
#include "core/poll_plan.hpp"
#include "core/port.hpp"
#include "core/sector_log.hpp"
#include "core/session_record.hpp"
#include "core/settings.hpp"
#include "core/slcan.hpp"
#include "core/transmit_gate.hpp"
#include "core/wake_watch.hpp"
#include "volume/log_extent.hpp"

namespace packmile {

class Logger {
 public:
  explicit Logger(const PowerUp& power_up);

  void on_bytes(Tick now, std::span<const std::uint8_t> bytes);
  void on_card(Tick now, const CardAnswer& answer);
  // Supply at pin 16, millivolts. A port that cannot measure it never calls.
  void on_supply(Tick now, std::uint16_t millivolts);
  void on_clock(Tick now, const WallClockReading& reading);
  // The serial link to the adapter came up (also the first time) or was lost.
  void on_adapter(Tick now, AdapterLink link);
  void on_time(Tick now);
  // Writes the open sector and closes the adapter.
  void on_stop(Tick now);

  // Bytes for the adapter; returns how many were put into `out`.
  [[nodiscard]] std::size_t take_bytes(std::span<std::uint8_t> out);
  // At most one request is open: none until on_card answered the last.
  [[nodiscard]] std::optional<CardRequest> take_card_request();

  [[nodiscard]] Tick deadline() const;
  [[nodiscard]] Light light() const;
  [[nodiscard]] bool stopped() const;

  // For a port's own log; nothing depends on them.
  [[nodiscard]] SettingsOutcome settings_outcome() const { return settings_outcome_; }
  // Of a whole card; found when the port opened the log alone.
  [[nodiscard]] ExtentOutcome extent_outcome() const { return extent_outcome_; }
  [[nodiscard]] LoggerCounters counters() const;
  // Time of the last exchange that was answered, milliseconds; none yet: 0.
  [[nodiscard]] std::uint32_t round_trip_ms() const { return round_trip_ms_; }
  // Tick of the last answer; none: nothing was ever answered.
  [[nodiscard]] std::optional<Tick> answered_at() const { return answered_at_; }

 private:
  enum class CardPhase : std::uint8_t {
    volume,    // where on the card is the log?
    settings,  // its sector 0 is to be read
    search,    // the end of the ring is looked for
    history,   // how the boots before ended
    writing,   // sectors are appended
    no_log     // no log, or no room for a ring: nothing is ever written
  };
  enum class Phase : std::uint8_t {
    link_down,
    opening,
    listening,
    discovering,
    probing,
    polling,
    waiting,
    stopping
  };
  enum class Rate : std::uint8_t { kbit_500, kbit_250 };
  enum class Asking : std::uint8_t { nothing, discovery, probe, poll };

  // The one request that is in flight.
  struct Exchange {
    Asking asking = Asking::nothing;
    std::uint8_t poll = 0;     // index into the plan
    std::uint8_t pending = 0;  // "response pending" in a row
    bool confirmed = false;    // by the adapter
    bool heard = false;        // a frame of an answer came
    bool extended = false;
    std::uint32_t response_id = 0;
    Tick sent = 0;
    Tick deadline = 0;
  };

  // logger.cpp: the face, the card, what is kept.
  [[nodiscard]] bool advance(Tick now);
  void service();
  void on_read(const CardAnswer& answer);
  void on_read_failed();
  void on_volume_read(const std::uint8_t* sector);
  void on_volume_step();
  void begin_volume();
  void begin_log(const LogExtent& extent);
  void on_settings_read(const std::uint8_t* sector);
  void on_ring_read(const std::uint8_t* sector);
  void begin_search();
  void end_search();
  void begin_writing();
  [[nodiscard]] bool reset_too_often() const {
    // A stop that was asked for is no reset.
    return history_.reset_too_often() && power_up_.reset_cause != BootCause::requested;
  }
  [[nodiscard]] bool listens_only() const { return reset_too_often() && now_ < kListenOnlyMs; }
  // noinline, here and above: their frames must not be below everything else.
  [[gnu::noinline]] void write_session();
  void want_session() { session_.start(); }
  [[nodiscard]] SessionSource session_source() const;
  void keep(Tick tick, const PollRequest& poll, std::span<const RawWord> words);

  // logger_bus.cpp: the adapter, the bus, the van; logger_exchange.cpp: one
  // request and its answer.
  void on_line(const SlcanEvent& event);
  void on_frame(const CanFrame& frame);
  void on_bus_error();
  void on_foreign_tester();
  [[nodiscard]] bool is_echo(const CanFrame& frame);
  void count_other();
  void on_bus_time();
  void progress();
  void on_script_done();
  void run_script(Phase phase, std::span<const AdapterCommand> commands);
  void open_adapter();
  void listen(Rate rate);
  void open_bus(Phase phase, Rate rate);
  void after_listening(bool clean);
  void after_failed_attempt();
  void discover_anew();
  void wait(WaitReason reason, Tick alert_ms = 0);
  void start_polling(DutyStart start);
  [[nodiscard]] bool van_known() const { return discovery_.state() == DiscoveryState::found; }
  [[nodiscard]] bool send(Asking asking, const CanFrame& frame);
  void ask_next();
  void ask_discovery();
  void ask_probe();
  void ask_poll();
  void on_answered();
  void on_message(const IsotpReceiver& receiver);
  [[gnu::noinline]] void on_poll_message(const IsotpReceiver& receiver);
  // The words of an answer to a request of the plan; none: it answers another.
  [[nodiscard]] [[gnu::noinline]] std::size_t words_of_answer(const PollRequest& poll,
                                                              std::span<const std::uint8_t> message,
                                                              std::span<RawWord> words);
  // The same in standard words, for the judge of the van's duty: never more.
  // Puts them in the place of what came, and returns how many they are.
  [[nodiscard]] std::size_t duty_words(std::span<RawWord> words);
  // Keeps what an answer says; leaves in `words`, and returns, what the judge of the
  // van's duty listens to.
  [[nodiscard]] std::span<const RawWord> keep_answer(const PollRequest& poll,
                                                     const IsotpReceiver& receiver,
                                                     std::span<RawWord> words);
  [[gnu::noinline]] void on_probe_message(const IsotpReceiver& receiver);
  void on_late_answer();
  [[nodiscard]] Tick patience_ms(Asking asking) const;
  void on_silence();
  void on_unconfirmed();
  void update_conditions();
  [[nodiscard]] IsotpReceiver* receiver_for(const CanFrame& frame, std::uint32_t request_id);
  void abandon_receptions();
  // Called from many places: not copied into each.
  [[gnu::noinline]] void end_exchange() { exchange_ = {}; }
  // When an exchange counts as unacknowledged; none: it does not wait for that.
  [[nodiscard]] std::optional<Tick> confirmation_deadline() const;
  [[nodiscard]] Tick bus_deadline() const;  // kNoDeadline: none
  [[gnu::noinline]] static Tick sooner(Tick first, const std::optional<Tick>& due);

  // What is used most stands first, and the large ones last: what lies near the
  // beginning of the object takes shorter instructions.
  Phase phase_ = Phase::link_down;
  CardPhase card_phase_ = CardPhase::settings;
  Rate rate_ = Rate::kbit_500;
  bool both_rates_ = false;  // a silent bus: the other rate is tried too
  bool bus_errors_ = false;  // seen while listening
  bool adapter_answers_ = true;
  bool link_was_up_ = false;
  bool stop_wanted_ = false;
  bool card_request_open_ = false;
  bool card_was_read_ = false;
  bool lasted_told_ = false;  // that this boot has outlived kResetWindowMs
  ExtentOutcome extent_outcome_ = ExtentOutcome::found;
  SettingsOutcome settings_outcome_ = SettingsOutcome::not_read;
  std::uint8_t read_tries_ = 0;  // of the sector at hand
  std::uint8_t unreadable_in_row_ = 0;
  std::uint8_t receivers_ = 0;
  std::uint8_t silences_in_row_ = 0;
  std::uint8_t unconfirmed_answers_ = 0;  // in a row
  std::uint8_t probe_poll_ = 0;           // index into the plan
  // Roles that an owner's signal has told; a bit each. The standard signal is
  // then no longer listened to: two odometers would always seem to move.
  std::uint16_t roles_told_ = 0;
  std::uint16_t supply_min_mv_ = 0;
  Tick now_ = 0;
  Exchange exchange_;
  AdapterScript script_;
  SessionWriter session_;
  std::uint32_t ring_sectors_ = 0;
  // First sector of the log in what the port has opened.
  std::uint32_t log_first_sector_ = 0;
  std::uint32_t card_hash_ = 0;  // of the CRCs of all sectors read
  std::optional<std::uint32_t> log_id_;
  std::uint32_t round_trip_ms_ = 0;
  Tick phase_until_ = 0;  // end of listening
  Tick balance_due_ = 0;
  Tick reply_ms_ = kReplyMs;  // how long an answer is waited for
  Tick reply_grew_at_ = 0;
  std::optional<Tick> asked_at_;
  std::optional<Tick> answered_at_;
  std::optional<Tick> send_again_at_;  // the gate had no room
  std::optional<Tick> read_again_at_;  // a rest after failed reads
  std::optional<Tick> supply_low_since_;
  Tick others_since_ = 0;
  std::uint32_t others_this_s_ = 0;
  std::uint32_t others_last_s_ = 0;
  // Those of LoggerCounters that no other machine counts.
  std::uint32_t responses_ = 0;
  std::uint32_t timeouts_ = 0;
  std::uint32_t negative_responses_ = 0;
  std::uint32_t pending_responses_ = 0;
  std::uint32_t lines_discarded_ = 0;
  std::uint32_t adapter_reopened_ = 0;
  std::uint32_t foreign_tester_events_ = 0;
  std::uint32_t other_frames_per_s_ = 0;
  std::uint32_t echoed_frames_ = 0;
  std::uint32_t late_answers_ = 0;
  // Own frames whose echo may still come.
  std::optional<CanFrame> request_sent_;
  std::optional<CanFrame> flow_control_sent_;
  std::optional<WallClockReading> clock_;
  std::optional<WallClockReading> clock_told_;  // in the last session record
  PowerUp power_up_;
  LoggerSettings settings_;
  SlcanReader reader_;
  WakeWatch wake_;
  DutyJudge duty_;
  LogEndSearch search_;
  BootHistory history_;
  TransmitGate gate_;
  Discovery discovery_;
  LogExtentSearch extent_search_;
  OwnersSignals owners_;
  PollPlan plan_;
  SectorLog log_;
  std::array<IsotpReceiver, kMaxEcus> receiver_{};
};

}  // namespace packmile
