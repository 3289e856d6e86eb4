// Whoever keeps account of what the bench van has answered.
#pragma once
#include <cstdint>

#include "benchvan/bench_time.hpp"
#include "benchvan/payload.hpp"

namespace packmile::benchvan {

// A positive answer that an ECU has sent whole, and what its lines met on the way
// to the host.
struct Answered {
  Nanos first_ns = 0;  // its first frame had passed on the bus
  Nanos last_ns = 0;   // its last one
  std::uint32_t response_id = 0;
  Payload payload{};
  // Each of these keeps it from reaching the host whole.
  bool broken = false;   // sent with a wrong sequence number or length
  bool unheard = false;  // the adapter was closed, or at another bit rate
  bool cut = false;      // half a line was lost, of it or right before it
  bool crowded = false;  // the adapter's queue to the host was full

  [[nodiscard]] bool reaches_host() const { return !broken && !unheard && !cut && !crowded; }
};

class BenchWatch {
 public:
  BenchWatch() = default;
  BenchWatch(const BenchWatch&) = delete;
  BenchWatch& operator=(const BenchWatch&) = delete;
  virtual ~BenchWatch() = default;
  // When its last frame has passed, before any of that frame's line has.
  virtual void on_answer(const Answered& answer) = 0;
};

}  // namespace packmile::benchvan
