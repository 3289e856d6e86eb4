// The voice of the port: warnings on stderr, or a rotating file.
//
// Quiet     by default only what somebody should do something about.
#pragma once
#include <memory>
#include <optional>
#include <string_view>

#include "linux/port_error.hpp"
#include "linux/settings_file.hpp"

namespace packmile::port {

class Journal {
 public:
  // None: the log file cannot be written.
  [[nodiscard]] static std::optional<Journal> open(const FileSettings& settings, PortError& error);

  Journal(Journal&&) noexcept;
  Journal& operator=(Journal&&) noexcept;
  ~Journal();

  void info(std::string_view text);
  void warning(std::string_view text);
  void error(std::string_view text);

 private:
  struct Sink;
  explicit Journal(std::unique_ptr<Sink> sink);
  std::unique_ptr<Sink> sink_;
};

}  // namespace packmile::port
