// The depot's time zone: instants to local text and back.
//
// Standard  ISO 8601 with offset; zones of the IANA database as the system
//           packages it (tzdata). The machine's own zone is never looked at.
#pragma once
#include <memory>
#include <string>
#include <string_view>

#include "figure.hpp"
#include "result.hpp"

namespace packmile {

class Zone {
 public:
  // An IANA name such as Europe/London or UTC.
  [[nodiscard]] static Result<Zone> find(std::string_view name);

  [[nodiscard]] const std::string& name() const { return name_; }
  // 2026-03-01T06:00:00.000+00:00
  [[nodiscard]] std::string iso(UtcTime at) const;
  // 2026-03-01 06:00, for tables.
  [[nodiscard]] std::string minute(UtcTime at) const;
  // 2026-03-01
  [[nodiscard]] std::string day(UtcTime at) const;
  // A day (its first instant in this zone) or an instant with offset or Z.
  [[nodiscard]] Result<UtcTime> read(std::string_view text) const;
  // A local time without offset, 2026-03-01T06:00:00. Error: it never was, or was
  // twice, because the clocks changed.
  [[nodiscard]] Result<UtcTime> read_local(std::string_view text) const;
  // First and last (excluded) instant of the local day that holds `at`.
  struct Day {
    UtcTime from, to;
  };
  [[nodiscard]] Day day_of(UtcTime at) const;
  // First and last (excluded) instant of the local month that holds `at`.
  struct Month {
    UtcTime from, to;
  };
  [[nodiscard]] Month month_of(UtcTime at) const;
  // What the clocks of the zone are ahead of UTC at `at`, and the instant from
  // which on that may be otherwise.
  struct Clock {
    std::chrono::milliseconds ahead;
    UtcTime until;
  };
  [[nodiscard]] Clock clock_at(UtcTime at) const;
  // Local days since 1970-01-01, and the share of the present one that is over:
  // differences count local days, whatever their length, and add up.
  [[nodiscard]] double days_at(UtcTime at) const;

 private:
  std::string name_;
  const void* zone_ = nullptr;  // date::time_zone, which lives as long as the program
};

}  // namespace packmile
