#include "pack/resistance.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <random>

#include "pack/robust.hpp"

namespace packmile {
namespace {

constexpr std::int64_t kPairMs = 2'000;
constexpr std::int64_t kPairSlackMs = 500;
// Rows nearer to each other tell nothing new about steps of two seconds.
constexpr std::int64_t kLookMs = 400;
constexpr int kLeastStepTenthsA = 200;
constexpr std::size_t kLeastPairs = 100;
constexpr std::size_t kLeastDays = 3;
constexpr int kDraws = 200;
constexpr std::uint32_t kSeed = 1;
constexpr std::int64_t kSocHoldsMs = 300'000;
constexpr std::int64_t kAmbientHoldsMs = 3'600'000;

// values: in rising order.
double weighted_median(const std::vector<double>& values, const std::vector<double>& weights) {
  double all = 0;
  for (const double w : weights) all += w;
  double sum = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    sum += weights[i];
    if (sum >= all / 2) return values[i];
  }
  return values.back();
}

// The last sample at or before moments that never go back.
class Newest {
 public:
  explicit Newest(const SignalSeries& series) : series_(series) {}
  // nullopt: none, or older than that.
  std::optional<std::uint32_t> at(std::int64_t t_ms, std::int64_t holds_ms) {
    while (past_ < series_.time_ms.size() && series_.time_ms[past_] <= t_ms) ++past_;
    if (past_ == 0 || t_ms - series_.time_ms[past_ - 1] > holds_ms) return std::nullopt;
    return series_.raw[past_ - 1];
  }

 private:
  const SignalSeries& series_;
  std::size_t past_ = 0;
};

}  // namespace

void ResistanceSteps::add(const Episode& episode, const PackRows& rows) {
  Newest soc{episode.soc};
  const double gain = rows.gain ? rows.gain->resistance() : 1;
  const double gain_u = rows.gain ? rows.gain->u_resistance(rules_.voltage_gain_u) / gain
                                  : std::hypot(rules_.current_gain_u, rules_.voltage_gain_u);
  Newest ambient{episode.ambient};
  const std::int64_t* time_ms = rows.time_ms.data();
  const std::int16_t* tenths = rows.tenths_a.data();
  std::size_t from = 0;
  std::size_t first = 0;  // of the rows that are far enough away, the one nearest to 2 s
  std::int64_t next_ms = 0;
  for (std::size_t to = 1; to < rows.size(); ++to) {
    if (time_ms[to] < next_ms) continue;
    next_ms = time_ms[to] + kLookMs;
    while (time_ms[to] - time_ms[from] > kPairMs + kPairSlackMs) ++from;
    if (time_ms[to] - time_ms[from] < kPairMs - kPairSlackMs) continue;
    first = std::max(first, from);
    while (first + 1 < to && time_ms[to] - time_ms[first + 1] >= kPairMs) ++first;
    const int step = tenths[to] - tenths[first];
    if (std::abs(step) < kLeastStepTenthsA) continue;
    const auto code = soc.at(rows.time_ms[to], kSocHoldsMs);
    if (!code) continue;
    ResistanceBand band;
    band.soc_from_pct = std::min(9, static_cast<int>(*code * episode.soc_step_pct) / 10) * 10;
    if (const auto degrees = ambient.at(rows.time_ms[to], kAmbientHoldsMs)) {
      band.stratum = stratum_of(static_cast<double>(*degrees) - 40);
    }
    const int volts = static_cast<int>(rows.v_raw[to]) - static_cast<int>(rows.v_raw[first]);
    Pair pair;
    pair.weight = std::abs(step) * kAmpPerCode;
    // Current out of the pack lowers its voltage.
    pair.ohm = -gain * (volts * kVoltPerCode) / (step * kAmpPerCode);
    pair.day = static_cast<int>(rows.time_ms[to] / 86'400'000);
    Band& kept = bands_[band];
    kept.v_step_v = std::max(kept.v_step_v, rows.v_step_v);
    kept.gain_u = std::max(kept.gain_u, gain_u);
    if (kept.day != pair.day) {
      kept.day = pair.day;
      kept.of_day = 0;
    }
    if (kept.of_day < kMostPairsADay) {
      ++kept.of_day;
      kept.pairs.push_back(pair);
    }
    from = to;  // pairs do not overlap
    next_ms = time_ms[to] + kPairMs - kPairSlackMs;
  }
}

std::vector<Resistance> ResistanceSteps::finish() {
  std::vector<Resistance> result;
  for (auto& [key, band] : bands_) {
    std::vector<Pair>& pairs = band.pairs;
    std::sort(pairs.begin(), pairs.end(),
              [](const Pair& a, const Pair& b) { return a.ohm < b.ohm; });
    std::vector<int> days;
    for (const Pair& p : pairs) days.push_back(p.day);
    std::sort(days.begin(), days.end());
    days.erase(std::unique(days.begin(), days.end()), days.end());
    Resistance row;
    row.band = key;
    row.n_pairs = pairs.size();
    row.n_days = days.size();
    if (row.n_pairs < kLeastPairs || row.n_days < kLeastDays) {
      row.mohm =
          MaybeFigure::unknown(std::to_string(row.n_pairs) + " steps of current on " +
                               std::to_string(row.n_days) + " days: 100 on 3 days are needed");
      result.push_back(std::move(row));
      continue;
    }
    std::vector<double> ohms, weights;
    std::vector<std::size_t> day_of;
    for (const Pair& p : pairs) {
      ohms.push_back(p.ohm);
      weights.push_back(p.weight);
      day_of.push_back(static_cast<std::size_t>(std::lower_bound(days.begin(), days.end(), p.day) -
                                                days.begin()));
    }
    const double ohm = weighted_median(ohms, weights);
    std::mt19937 random{kSeed};
    std::vector<double> drawn(days.size()), redrawn(ohms.size());
    double sum = 0, squares = 0;
    for (int draw = 0; draw < kDraws; ++draw) {
      std::fill(drawn.begin(), drawn.end(), 0.0);
      for (std::size_t d = 0; d < days.size(); ++d) drawn[random() % days.size()] += 1;
      for (std::size_t i = 0; i < ohms.size(); ++i) redrawn[i] = weights[i] * drawn[day_of[i]];
      const double value = weighted_median(ohms, redrawn);
      sum += value;
      squares += value * value;
    }
    const double mean = sum / kDraws;
    const double u = std::sqrt(std::max(0.0, (squares - kDraws * mean * mean) / (kDraws - 1)));
    // What a step of the voltage hides in the usual pair may be the same in all.
    const double u_step = band.v_step_v / std::sqrt(12.0) / median_of(weights);
    const double u_systematic = std::hypot(band.gain_u * ohm, u_step);
    row.mohm = ohm > 0 ? MaybeFigure::known(figure_of(1000 * ohm, 1000 * u, 1000 * u_systematic))
                       : MaybeFigure::unknown("the voltage does not give way to the current");
    result.push_back(std::move(row));
  }
  bands_.clear();
  std::stable_sort(result.begin(), result.end(),
                   [](const auto& a, const auto& b) { return a.n_pairs > b.n_pairs; });
  return result;
}

std::optional<ResistanceTrend> tell_resistance_trend(std::span<const MonthlyResistance> months) {
  std::map<ResistanceBand, std::vector<MonthValue>> bands;
  for (const MonthlyResistance& month : months) {
    for (const Resistance& row : month.rows) {
      if (!row.mohm.figure) continue;
      bands[row.band].push_back({month.month, month.month / 12.0, row.mohm.figure->value,
                                 row.mohm.figure->scatter / kZ95});
    }
  }
  const auto best = std::max_element(bands.begin(), bands.end(), [](const auto& a, const auto& b) {
    return a.second.size() < b.second.size();
  });
  if (best == bands.end()) return std::nullopt;
  ResistanceTrend result;
  result.band = best->first;
  result.n_months = best->second.size();
  const TrendOrWhy fitted = fit_trend(best->second);
  if (!fitted.trend) {
    result.pct_per_year = MaybeFigure::unknown(fitted.why);
    return result;
  }
  const Trend& trend = *fitted.trend;
  double first_x = best->second.front().x;
  for (const MonthValue& v : best->second) first_x = std::min(first_x, v.x);
  const double pct = 100 / trend.at(first_x);
  result.pct_per_year = MaybeFigure::known(
      {trend.slope * pct, trend.low * pct, trend.high * pct, (trend.high - trend.low) / 2 * pct});
  return result;
}

}  // namespace packmile
