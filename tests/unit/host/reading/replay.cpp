#include "host/reading/replay.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <limits>
#include <sstream>

namespace packmile::testing {
namespace {

constexpr double kAbsent = std::numeric_limits<double>::quiet_NaN();
constexpr double kSilentStepS = 10;

std::vector<std::vector<double>> read_rows(const std::string& path,
                                           std::vector<std::string>* header,
                                           std::vector<std::string>* first_column) {
  std::vector<std::vector<double>> rows;
  std::ifstream in{path};
  std::string line;
  bool is_header = true;
  while (std::getline(in, line)) {
    std::vector<double> row;
    std::size_t from = 0;
    while (from <= line.size()) {
      const std::size_t comma = std::min(line.find(',', from), line.size());
      const std::string_view cell{line.data() + from, comma - from};
      if (is_header && header != nullptr) header->emplace_back(cell);
      if (!is_header && from == 0 && first_column != nullptr) first_column->emplace_back(cell);
      double value = kAbsent;
      std::from_chars(cell.data(), cell.data() + cell.size(), value);
      row.push_back(value);
      from = comma + 1;
    }
    if (!is_header) rows.push_back(std::move(row));
    is_header = false;
  }
  return rows;
}

// One column's rows that hold a value, stamps strictly rising.
struct Curve {
  std::vector<double> t, y;
  std::size_t at = 0;

  // Straight line; absent outside and over silent steps. `t_s` never falls.
  double line(double t_s) {
    if (t.empty() || t_s < t.front() || t_s > t.back()) return kAbsent;
    while (at + 1 < t.size() && t[at + 1] <= t_s) ++at;
    if (at + 1 >= t.size()) return y[at];
    const double step = t[at + 1] - t[at];
    if (step > kSilentStepS) {
      // Silent, but for the end of a step that was not.
      const bool ends_one = t_s == t[at] && at > 0 && t[at] - t[at - 1] <= kSilentStepS;
      return ends_one ? y[at] : kAbsent;
    }
    return y[at] + (y[at + 1] - y[at]) * (t_s - t[at]) / step;
  }
  double held(double t_s) {
    if (t.empty() || t_s < t.front()) return kAbsent;
    while (at + 1 < t.size() && t[at + 1] <= t_s) ++at;
    return y[at];
  }
};

}  // namespace

std::string data_folder() { return PACKMILE_DATA; }

bool data_is_there() { return std::filesystem::exists(data_folder() + "/truth.csv"); }

std::vector<std::string> files_named(const std::string& prefix) {
  std::vector<std::string> names;
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator(data_folder(), error)) {
    const std::string name = entry.path().filename().string();
    if (name.rfind(prefix, 0) == 0) names.push_back(name);
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::map<std::string, TruthRow> read_truth() {
  std::vector<std::string> header;
  std::vector<std::string> files;
  const auto rows = read_rows(data_folder() + "/truth.csv", &header, &files);
  std::map<std::string, TruthRow> truth;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    for (std::size_t k = 2; k < rows[i].size() && k < header.size(); ++k) {
      if (!std::isnan(rows[i][k])) truth[files[i]][header[k]] = rows[i][k];
    }
  }
  return truth;
}

std::uint16_t current_word(double pack_a, CurrentCoding coding, CurrentSign sign) {
  const auto tenths = static_cast<std::int32_t>(std::lround(pack_a * 10));
  const std::int32_t word = sign == CurrentSign::discharge_negative ? -tenths : tenths;
  return static_cast<std::uint16_t>(coding == CurrentCoding::offset_binary ? word + 32768 : word);
}

void add_pack_row(Episode& episode, std::int64_t t_ms, double pack_v, double pack_a,
                  std::uint32_t period_ms, CurrentCoding coding, CurrentSign sign) {
  episode.pack.time_ms.push_back(t_ms);
  episode.pack.v_raw.push_back(static_cast<std::uint16_t>(std::lround(pack_v * 64)));
  episode.pack.a_raw.push_back(current_word(pack_a, coding, sign));
  episode.pack.period_ms.push_back(period_ms);
}

void add_sample(SignalSeries& series, std::int64_t t_ms, std::uint32_t raw) {
  series.time_ms.push_back(t_ms);
  series.raw.push_back(raw);
}

void close_episode(Episode& episode) {
  std::int64_t first = std::numeric_limits<std::int64_t>::max();
  std::int64_t last = std::numeric_limits<std::int64_t>::min();
  const auto look = [&](const std::vector<std::int64_t>& t) {
    if (t.empty()) return;
    first = std::min(first, t.front());
    last = std::max(last, t.back());
  };
  look(episode.pack.time_ms);
  look(episode.speed.time_ms);
  look(episode.soc.time_ms);
  look(episode.odometer.time_ms);
  look(episode.ambient.time_ms);
  if (first > last) return;
  episode.start = UtcTime{std::chrono::milliseconds{first}};
  episode.end = UtcTime{std::chrono::milliseconds{last}};
}

PackReading agreed_reading() {
  PackReading reading;
  reading.verdict = CurrentVerdict::agreed;
  reading.coding = CurrentCoding::twos_complement;
  reading.sign = CurrentSign::discharge_positive;
  return reading;
}

Episode replay(const std::string& file, const ReplayOptions& options) {
  Episode episode;
  std::vector<std::string> header;
  const auto rows = read_rows(data_folder() + "/" + file, &header, nullptr);
  Curve curves[5];  // speed, V, A, SoC, ambient
  double before = -1;
  for (const auto& row : rows) {
    if (row.size() < 6 || row[0] <= before) continue;
    before = row[0];
    const bool pack = !std::isnan(row[2]) && !std::isnan(row[3]);
    for (std::size_t k = 0; k < 5; ++k) {
      const bool is_pack = k == 1 || k == 2;
      if (std::isnan(row[k + 1]) || (is_pack && !pack)) continue;
      curves[k].t.push_back(row[0]);
      curves[k].y.push_back(row[k + 1]);
    }
  }
  Curve odometer;
  double km = options.odometer_start_km;
  for (std::size_t i = 0; i < curves[0].t.size(); ++i) {
    if (i > 0) {
      km +=
          (curves[0].y[i] + curves[0].y[i - 1]) / 2 * (curves[0].t[i] - curves[0].t[i - 1]) / 3600;
    }
    odometer.t.push_back(curves[0].t[i]);
    odometer.y.push_back(km);
  }
  if (rows.empty()) return episode;
  const double start_s = rows.front()[0];
  const double end_s = before;
  const auto polls = [&](double period_s, auto&& each) {
    for (std::int64_t k = 0;; ++k) {
      const double t = start_s + options.phase_s + static_cast<double>(k) * period_s;
      if (t > end_s + 1e-9) return;
      each(std::min(t, end_s), kReplayStartMs + std::llround((t - start_s) * 1e3));
    }
  };
  // A silent step silences every signal.
  Curve all;
  for (const auto& row : rows) {
    if (all.t.empty() || row[0] > all.t.back()) {
      all.t.push_back(row[0]);
      all.y.push_back(0);
    }
  }
  Curve awake = all;
  const auto period_ms = static_cast<std::uint32_t>(std::lround(1000 / options.hz));
  polls(1 / options.hz, [&](double t, std::int64_t t_ms) {
    const double v = curves[1].line(t);
    const double a = curves[2].line(t);
    const double kmh = curves[0].line(t);
    if (!std::isnan(v) && !std::isnan(a)) {
      add_pack_row(episode, t_ms, v, a, period_ms, options.coding, options.sign);
    }
    if (!std::isnan(kmh) && options.speed_answered) {
      add_sample(episode.speed, t_ms,
                 static_cast<std::uint32_t>(options.speed_cut ? std::floor(kmh) : std::round(kmh)));
    }
  });
  if (options.soc_answered) {
    polls(options.soc_period_s, [&](double t, std::int64_t t_ms) {
      const double pct = options.soc_constant_pct.value_or(curves[3].held(t));
      if (std::isnan(pct) || std::isnan(awake.line(t))) return;
      add_sample(episode.soc, t_ms, static_cast<std::uint32_t>(std::floor(pct * 2.55 + 1e-9)));
    });
  }
  if (options.odometer_period_s > 0) {
    polls(options.odometer_period_s, [&](double t, std::int64_t t_ms) {
      const double now = odometer.line(t);
      if (!std::isnan(now)) {
        add_sample(episode.odometer, t_ms, static_cast<std::uint32_t>(std::floor(now * 10)));
      }
    });
  }
  awake.at = 0;
  polls(60, [&](double t, std::int64_t t_ms) {
    const double celsius = curves[4].held(t);
    if (std::isnan(celsius) || std::isnan(awake.line(t))) return;
    add_sample(episode.ambient, t_ms, static_cast<std::uint32_t>(std::lround(celsius + 40)));
  });
  close_episode(episode);
  return episode;
}

}  // namespace packmile::testing
