// A small adapter, a few ECUs and a card for the tests of class Logger: virtual
// time, whole lines, fixed delays. The real bench is tests/benchvan; this one
// only has to be easy to make misbehave.
#pragma once
#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "card_decode.hpp"
#include "core/logger.hpp"

namespace packmile::test {

using Bytes = std::vector<std::uint8_t>;

struct FakeEcu {
  std::uint32_t response_id = 0x7E8;
  // Data of a PID at a moment; empty: not answered now.
  std::map<std::uint8_t, std::function<Bytes(Tick)>> pids;
  std::string vin, name, calibration_id;
  bool answers_multiple = true;
  std::uint8_t refuses_pid = 0;  // answered by 7F 01 12
  // Its PIDs by service 22 as F4xx, and neither service 01 nor 09.
  bool by_id = false;
  // Identifiers of its own.
  std::map<std::uint16_t, std::function<Bytes(Tick)>> dids;
};

[[nodiscard]] std::function<Bytes(Tick)> constant(Bytes data);
[[nodiscard]] Bytes pack_data(std::uint16_t volts_raw, std::uint16_t amps_raw,
                              std::uint8_t support = 0x06);

class FakeVan {
 public:
  explicit FakeVan(std::uint32_t log_sectors = 32 + 256);

  std::vector<FakeEcu> ecus;
  bool awake = true;         // somebody acknowledges frames, and ECUs answer
  bool confirms = true;      // the adapter says CR after a command or frame
  bool acknowledged = true;  // frames are acknowledged on the bus
  Tick confirm_after_ms = 1;
  Tick answer_after_ms = 5;
  std::size_t chunk = 0;  // bytes per on_bytes, across lines; 0: a line at a time
  // Follows every frame of an ECU in the same bytes: an adapter that says too much.
  std::string after_frame;
  int fail_writes = 0;  // so many writes fail from now on; -1: all
  int fail_reads = 0;
  std::uint32_t fail_reads_at = 0xFFFFFFFF;  // this address never reads
  bool fail_ring_reads = false;              // only the head reads
  bool answer_card = true;                   // false: the card keeps its request
  Bytes card;
  CardLayout layout = CardLayout::log;
  // How the run before the next power_up() ended.
  BootCause reset_cause = BootCause::power_on;
  FaultRecord fault{};

  void prepare(const SettingsFields& settings, std::uint32_t log_id = 0x11223344);
  // A new boot on the same card.
  void power_up(std::uint32_t entropy = 1);
  void plug_adapter();
  void unplug_adapter();
  void say(Tick delay_ms, const std::string& line);  // to the logger
  void run_until(Tick end);
  void stop();

  Logger& logger() { return *logger_; }
  [[nodiscard]] Tick now() const { return now_; }
  // Everything that the logger sent, as "tick line".
  std::vector<std::pair<Tick, std::string>> sent;
  // Every line that reached the logger.
  std::vector<std::pair<Tick, std::string>> heard;
  [[nodiscard]] std::size_t count_sent(Tick from, Tick to, const std::string& prefix) const;
  std::vector<std::uint32_t> written;  // addresses, in order
  int turns = 0;

  // Good sectors of the ring by address.
  struct Found {
    SectorHeader header;
    DecodedRecord record;
    std::uint32_t address = 0;
  };
  [[nodiscard]] std::vector<Found> sectors() const;
  [[nodiscard]] std::vector<DecodedSample> samples(std::uint32_t signal) const;

 private:
  void turn();
  void exchange_with_port();
  void on_line(const std::string& line);
  void on_frame(std::uint32_t id, const Bytes& data, Tick at);
  void answer(const FakeEcu& ecu, const Bytes& message, Tick at);
  [[nodiscard]] Bytes reply_of(const FakeEcu& ecu, const Bytes& request, bool functional) const;

  std::vector<Logger> storage_;
  Logger* logger_ = nullptr;
  Tick now_ = 0;
  std::multimap<Tick, std::string> to_logger_;
  std::map<std::uint32_t, std::vector<std::string>> held_;  // consecutive frames until FC
  std::string line_;
  char mode_ = 'C';
};

// A van as many answer: pack, speed, SoC, 12 V, odometer and ambient from one
// ECU, a charger beside it.
[[nodiscard]] std::vector<FakeEcu> plain_van();
// The same with its logger powered up, the adapter not yet plugged in.
[[nodiscard]] FakeVan started_van(std::uint32_t log_sectors = 32 + 256);

}  // namespace packmile::test
