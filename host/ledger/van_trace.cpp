#include "ledger/van_trace.hpp"

#include <algorithm>
#include <cmath>

#include "catalogue/catalogue.hpp"
#include "reading/pack_reading.hpp"

namespace packmile {
namespace {

// Of 100/255 %; two of the van's own steps where those are longer.
constexpr double kHysteresisCodes = 2;
// What the arithmetic of steps may add or take.
constexpr double kRounding = 1e-6;
const double kKmPerOdometerCode = find_signal(signal::odometer_km)->scale;
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

void VanTrace::follow(std::int64_t time_ms, double codes, double hysteresis_codes) {
  if (!extreme_) {
    extreme_ = {time_ms, codes};
    turns_.push_back({at(time_ms), codes * kSocPctPerCode});
    return;
  }
  const auto [extreme_ms, extreme_codes] = *extreme_;
  const bool further = way_ >= 0 ? codes >= extreme_codes : codes <= extreme_codes;
  if (way_ != 0 && further) {
    extreme_ = {time_ms, codes};
    return;
  }
  if (std::abs(codes - extreme_codes) < hysteresis_codes) return;
  // The first value stands already; from then on each extreme is a turning point.
  if (way_ != 0) turns_.push_back({at(extreme_ms), extreme_codes * kSocPctPerCode});
  way_ = codes > extreme_codes ? 1 : -1;
  extreme_ = {time_ms, codes};
}

void VanTrace::hold(std::int64_t from_ms, std::int64_t to_ms, double soc_pct) {
  if (to_ms <= from_ms) return;
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
  const double step_codes = episode.soc_step_pct / kSocPctPerCode;
  const double hysteresis = std::max(kHysteresisCodes, 2 * step_codes) - kRounding;
  // Runs of one word at a time: a parked van repeats its SoC for hours.
  for (std::size_t k = 0; k < n;) {
    std::size_t next = k + 1;
    while (next < n && soc.raw[next] == soc.raw[k]) ++next;
    const double codes = soc.raw[k] * step_codes;
    follow(soc.time_ms[k], codes, hysteresis);
    follow(soc.time_ms[next - 1], codes, hysteresis);
    const std::int64_t until =
        next < n ? soc.time_ms[next] : episode.end.time_since_epoch().count();
    hold(soc.time_ms[k], until, soc.raw[k] * episode.soc_step_pct);
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
