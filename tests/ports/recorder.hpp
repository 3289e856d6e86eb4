// Records a script: bench van and core in virtual time, turn by turn as a port has
// them. Time goes by whole milliseconds here, as in a port: what the adapter has sent
// by then is handed over at once.
//
// Held      now and then the adapter's bytes are held back until the very tick at which
//           the core would give up waiting: a port that has its turn the wrong way
//           round then loses what it was waiting for.
// Output    lines of text
//             boot TICK ENTROPY UNIX_MS OUT DUE
//             turn TICK EVENT IN OUT DUE         EVENT: - lost up stop
//             cut                                the power is gone
//           IN, OUT: bytes from and to the adapter in hex, none: -. DUE: deadline of
//           the core after that, none: -
#pragma once
#include <cstdint>
#include <cstdio>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "benchvan/bench.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/planned_scene.hpp"
#include "ports/virtual_port.hpp"

namespace packmile::ports {

class Recorder {
 public:
  using Nanos = benchvan::Nanos;
  // All of them must outlive the recorder. `script`: written from where it stands.
  Recorder(benchvan::Bench& bench, benchvan::Scene& scene, benchvan::CardFile& card,
           std::FILE* script);

  // Power-up at the bench's present time. `boot.unix_ms` is set here.
  void boot(std::uint32_t entropy);
  void run_until(Nanos end_ns);
  // The adapter is unplugged, and back after `away_ms`.
  void pull_adapter(Tick away_ms);
  // Until the core has stopped.
  void stop();
  void cut();

  // Turns that brought bytes at the tick of a deadline.
  [[nodiscard]] std::uint64_t coincidences() const { return coincidences_; }
  [[nodiscard]] std::uint64_t turns() const { return turns_; }

 private:
  [[nodiscard]] Tick tick() const;
  void take_turn(std::string_view event);
  void put(std::span<const std::uint8_t> bytes);
  void put_due();

  benchvan::Bench& bench_;
  benchvan::Scene& scene_;
  benchvan::CardFile& card_;
  std::FILE* script_;
  std::unique_ptr<VirtualPort> port_;
  Nanos now_ns_ = 0;
  Nanos boot_ns_ = 0;
  bool unplugged_ = false;
  std::vector<std::uint8_t> received_;
  std::optional<Tick> held_until_;
  unsigned batches_ = 0;
  std::uint64_t coincidences_ = 0;
  std::uint64_t turns_ = 0;
};

}  // namespace packmile::ports
