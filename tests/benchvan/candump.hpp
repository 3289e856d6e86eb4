// Writes the bus traffic as a candump -L text log:
//   (1767592800.020000) can0 7DF#02010DCCCCCCCCCC
// Lines wait in memory until the wall clock of the bench's zero is known.
#pragma once
#include <cstdint>
#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include "benchvan/bus_frame.hpp"

namespace packmile::benchvan {

class Candump {
 public:
  // Throws BenchError when the file cannot be made.
  explicit Candump(const std::string& path);
  Candump(const Candump&) = delete;
  Candump& operator=(const Candump&) = delete;
  ~Candump();

  void on_frame(Nanos at_ns, const BusFrame& frame);
  // UTC of bench time 0, microseconds since 1970.
  void set_origin(std::int64_t unix_us);
  // Writes what still waits (against origin 0 if none came) and closes. Throws
  // BenchError when not everything could be written.
  void close();

 private:
  struct Waiting {
    Nanos at_ns;
    BusFrame frame;
  };
  void write(Nanos at_ns, const BusFrame& frame);

  std::string path_;
  std::FILE* file_;
  std::optional<std::int64_t> origin_us_;
  std::vector<Waiting> waiting_;
};

}  // namespace packmile::benchvan
