#include "ledger/van_trace.hpp"

#include "reading/pack_reading.hpp"

namespace packmile {
namespace {

constexpr std::uint32_t kHysteresisCodes = 2;
constexpr double kKmPerOdometerCode = 0.1;
// Between two readings that are kept; the ends of an episode always are.
constexpr std::int64_t kOdometerEveryMs = 15 * 60 * 1000;

UtcTime at(std::int64_t ms) { return UtcTime{std::chrono::milliseconds{ms}}; }

bool inside(SocBandKind kind, double soc_pct) {
  switch (kind) {
    case SocBandKind::high:
      return soc_pct >= kSocHighPct;
    case SocBandKind::high_at_least:
      return soc_pct >= kSocHighPct + kSocErrorPct;
    case SocBandKind::high_at_most:
      return soc_pct >= kSocHighPct - kSocErrorPct;
    case SocBandKind::low:
      return soc_pct <= kSocLowPct;
    case SocBandKind::low_at_least:
      return soc_pct <= kSocLowPct - kSocErrorPct;
    case SocBandKind::low_at_most:
      return soc_pct <= kSocLowPct + kSocErrorPct;
  }
  return false;
}

}  // namespace

void VanTrace::follow(std::int64_t time_ms, std::uint32_t raw) {
  if (!extreme_) {
    extreme_ = {time_ms, raw};
    turns_.push_back({at(time_ms), raw * kSocPctPerCode});
    return;
  }
  const auto [extreme_ms, extreme_raw] = *extreme_;
  const bool further = way_ >= 0 ? raw >= extreme_raw : raw <= extreme_raw;
  if (way_ != 0 && further) {
    extreme_ = {time_ms, raw};
    return;
  }
  const std::uint32_t back = raw > extreme_raw ? raw - extreme_raw : extreme_raw - raw;
  if (back < kHysteresisCodes) return;
  // The first value stands already; from then on each extreme is a turning point.
  if (way_ != 0) turns_.push_back({at(extreme_ms), extreme_raw * kSocPctPerCode});
  way_ = raw > extreme_raw ? 1 : -1;
  extreme_ = {time_ms, raw};
}

void VanTrace::hold(std::int64_t from_ms, std::int64_t to_ms, std::uint32_t raw) {
  if (to_ms <= from_ms) return;
  const double soc_pct = raw * kSocPctPerCode;
  for (std::size_t k = 0; k < kSocBandKinds; ++k) {
    const auto kind = static_cast<SocBandKind>(k);
    if (!inside(kind, soc_pct)) continue;
    auto& newest = newest_[k];
    if (newest && bands_[*newest].end == at(from_ms)) {
      bands_[*newest].end = at(to_ms);
    } else {
      newest = bands_.size();
      bands_.push_back({kind, at(from_ms), at(to_ms)});
    }
  }
}

void VanTrace::observe(const Episode& episode) {
  const auto& soc = episode.soc;
  const std::size_t n = soc.raw.size();
  // Runs of one word at a time: a parked van repeats its SoC for hours.
  for (std::size_t k = 0; k < n;) {
    std::size_t next = k + 1;
    while (next < n && soc.raw[next] == soc.raw[k]) ++next;
    follow(soc.time_ms[k], soc.raw[k]);
    follow(soc.time_ms[next - 1], soc.raw[k]);
    const std::int64_t until =
        next < n ? soc.time_ms[next] : episode.end.time_since_epoch().count();
    hold(soc.time_ms[k], until, soc.raw[k]);
    k = next;
  }
  const auto& odometer = episode.odometer;
  std::int64_t last_ms = 0;
  for (std::size_t k = 0; k < odometer.raw.size(); ++k) {
    const bool border = k == 0 || k + 1 == odometer.raw.size();
    if (!border && odometer.time_ms[k] - last_ms < kOdometerEveryMs) continue;
    last_ms = odometer.time_ms[k];
    odometer_.push_back({at(last_ms), odometer.raw[k] * kKmPerOdometerCode});
  }
}

void VanTrace::finish() {
  if (!extreme_) return;
  const SocTurn last{at(extreme_->first), extreme_->second * kSocPctPerCode};
  if (turns_.back().time != last.time) turns_.push_back(last);
}

}  // namespace packmile
