#include "cli/failure_words.hpp"

#include <fmt/format.h>

#include "calendar/zone.hpp"
#include "cli/say.hpp"

namespace packmile::cli {
namespace {

// A forged card has as many as it likes.
constexpr std::size_t kMostFailuresTold = 10;

// Exception numbers: ARMv7-M Architecture Reference Manual, B1.5.2 (from memory).
std::string exception_text(std::uint32_t exception) {
  switch (exception) {
    case 2:
      return "non-maskable interrupt";
    case 3:
      return "hard fault";
    case 4:
      return "memory protection fault";
    case 5:
      return "bus fault";
    case 6:
      return "usage fault";
  }
  return exception < 16 ? fmt::format("exception {}", exception)
                        : fmt::format("interrupt {}", exception - 16);
}

struct StatusBit {
  unsigned bit;
  std::string_view text;
};

// Bits of CFSR: ARMv7-M Architecture Reference Manual, B3.2.15 (from memory).
constexpr StatusBit kStatusBits[] = {
    {0, "no code may run there"},
    {1, "no access to those data"},
    {3, "no access to the stack on return"},
    {4, "no access to the stack on entry: it may have overflowed"},
    {8, "no code could be fetched there"},
    {9, "data at an address that is not there"},
    {10, "data at an address that is not there, some instructions earlier"},
    {11, "stack not there on return"},
    {12, "stack not there on entry: it may have overflowed"},
    {16, "no such instruction"},
    {17, "not Thumb code"},
    {18, "bad return from an exception"},
    {19, "no coprocessor"},
    {24, "address not aligned"},
    {25, "division by zero"},
};

std::string status_text(std::uint32_t status) {
  std::string out;
  for (const StatusBit& known : kStatusBits)
    if ((status >> known.bit & 1) != 0)
      out += fmt::format("{}{}", out.empty() ? "" : "; ", known.text);
  return out;
}

std::string when_text(const CardSurvey& survey, std::size_t boot) {
  const BootClock& clock = survey.boot_clocks[boot];
  const std::optional<Tick>& first = survey.boots[boot].first_tick;
  const auto utc = Zone::find("UTC");
  if (!clock.known() || !first || !utc) return "at a time that is not known";
  return fmt::format("before {} UTC", utc->minute(UtcTime{std::chrono::milliseconds{
                                          static_cast<std::int64_t>(*first) + clock.offset_ms}}));
}

}  // namespace

std::string failure_text(const BootFacts& boot) {
  if (boot.failure == LoggerFailure::none) return {};
  std::string out = boot.failure == LoggerFailure::watchdog
                        ? "the logger hung, and its watchdog started it anew"
                        : "the logger stopped at a fault, and started anew";
  if (boot.fault) {
    const FaultFacts& f = *boot.fault;
    out += fmt::format(": {} at address 0x{:08X}, called from 0x{:08X}, status 0x{:08X}",
                       exception_text(f.exception), f.program_counter, f.link_register, f.status);
    const std::string status = status_text(f.status);
    if (!status.empty()) out += fmt::format(" ({})", status);
  } else {
    out += "; where in its program was not written down";
  }
  return out + fmt::format("; logger {}", boot.logger_version.empty()
                                              ? "of a version that is not known"
                                              : clean_text(boot.logger_version));
}

std::vector<std::string> failures_of(const CardSurvey& survey) {
  std::vector<std::string> out;
  std::size_t failures = 0;
  for (std::size_t k = survey.boots.size(); k-- > 0;) {
    const std::string text = failure_text(survey.boots[k]);
    if (text.empty()) continue;
    if (++failures <= kMostFailuresTold)
      out.push_back(
          fmt::format("{}, boot {:08X}: {}", when_text(survey, k), survey.boots[k].boot_id, text));
  }
  if (failures > kMostFailuresTold)
    out.push_back(fmt::format("and {} earlier ones", failures - kMostFailuresTold));
  return out;
}

}  // namespace packmile::cli
