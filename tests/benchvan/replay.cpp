#include "benchvan/replay.hpp"

#include <csv.h>
#include <fast_float/fast_float.h>
#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <limits>
#include <optional>
#include <sstream>
#include <vector>

#include "benchvan/bench_error.hpp"

namespace packmile::benchvan {
namespace {

constexpr std::string_view kTimeColumn = "time_s";

// libcsv's callbacks are C: nothing may be thrown through them, so the first
// error is kept and thrown afterwards.
class RowReader {
 public:
  explicit RowReader(std::string name) : name_(std::move(name)) {}

  void on_field(std::string_view text) {
    if (error_) return;
    if (in_header_) {
      on_header(text);
    } else {
      on_number(text);
    }
    ++field_;
  }

  void on_row_end() {
    if (!error_) {
      if (in_header_) {
        end_header();
      } else {
        end_row();
      }
    }
    field_ = 0;
  }

  void count_line() { ++line_; }
  [[nodiscard]] const std::optional<std::string>& error() const { return error_; }
  [[nodiscard]] std::size_t line() const { return line_; }

  ReplayFile take() {
    if (in_header_) {
      throw BenchError(fmt::format("{}:1:1: empty file, a header was expected", name_));
    }
    if (file_.track.time_s.empty()) {
      throw BenchError(fmt::format("{}:{}:1: no rows after the header", name_, line_));
    }
    measure_distance(file_.track);
    return std::move(file_);
  }

 private:
  struct Column {
    bool is_time = false;
    Quantity quantity = Quantity::speed_kmh;
  };

  void fail(std::size_t column, const std::string& what) {
    error_ = fmt::format("{}:{}:{}: {}", name_, line_, column, what);
  }

  void on_header(std::string_view text) {
    if (text == kTimeColumn) {
      if (time_column_) return fail(field_ + 1, "time_s stands twice in the header");
      time_column_ = field_;
      columns_.push_back({.is_time = true});
      return;
    }
    const std::optional<Quantity> quantity = quantity_named(text);
    if (!quantity) return fail(field_ + 1, fmt::format("unknown column '{}'", text));
    for (const Column& column : columns_) {
      if (!column.is_time && column.quantity == *quantity) {
        return fail(field_ + 1, fmt::format("{} stands twice in the header", text));
      }
    }
    columns_.push_back({.quantity = *quantity});
  }

  void end_header() {
    if (!time_column_) return fail(1, "no column time_s in the header");
    in_header_ = false;
    row_.resize(columns_.size());
  }

  void on_number(std::string_view text) {
    if (field_ >= columns_.size()) {
      return fail(field_ + 1,
                  fmt::format("more fields than the {} of the header", columns_.size()));
    }
    double value = std::numeric_limits<double>::quiet_NaN();
    if (!text.empty()) {
      const char* end = text.data() + text.size();
      const auto parsed = fast_float::from_chars(text.data(), end, value);
      if (parsed.ec != std::errc() || parsed.ptr != end || !std::isfinite(value)) {
        return fail(field_ + 1, fmt::format("'{}' is not a number", text));
      }
    } else if (columns_[field_].is_time) {
      return fail(field_ + 1, "a row without time_s");
    }
    row_[field_] = value;
  }

  void end_row() {
    if (field_ != columns_.size()) {
      return fail(field_ + 1, fmt::format("{} fields, the header has {}", field_, columns_.size()));
    }
    Track& track = file_.track;
    const double time_s = row_[*time_column_];
    if (!track.time_s.empty() && time_s <= track.time_s.back()) {
      ++(time_s == track.time_s.back() ? file_.repeated_stamps : file_.backward_stamps);
      return;
    }
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      if (columns_[i].is_time) {
        track.time_s.push_back(row_[i]);
      } else {
        track.column(columns_[i].quantity).push_back(row_[i]);
      }
    }
  }

  std::string name_;
  ReplayFile file_;
  std::vector<Column> columns_;
  std::optional<std::size_t> time_column_;
  std::vector<double> row_;
  std::optional<std::string> error_;
  std::size_t line_ = 1;
  std::size_t field_ = 0;
  bool in_header_ = true;
};

void on_csv_field(void* text, std::size_t length, void* reader) {
  static_cast<RowReader*>(reader)->on_field({static_cast<const char*>(text), length});
}

void on_csv_row(int, void* reader) { static_cast<RowReader*>(reader)->on_row_end(); }

}  // namespace

ReplayFile parse_replay(std::string_view text, const std::string& name) {
  RowReader reader(name);
  csv_parser parser;
  if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI) != 0) {
    throw BenchError(fmt::format("{}: no memory for the CSV reader", name));
  }
  // Line by line, because libcsv does not say where it is.
  std::optional<std::string> csv_trouble;
  while (!text.empty() && !csv_trouble && !reader.error()) {
    const std::size_t end = text.find('\n');
    const std::string_view line = text.substr(0, end == text.npos ? text.size() : end + 1);
    if (csv_parse(&parser, line.data(), line.size(), on_csv_field, on_csv_row, &reader) !=
        line.size()) {
      csv_trouble = csv_strerror(csv_error(&parser));
      break;
    }
    if (end != text.npos && !reader.error()) reader.count_line();
    text.remove_prefix(line.size());
  }
  if (!csv_trouble && !reader.error() &&
      csv_fini(&parser, on_csv_field, on_csv_row, &reader) != 0) {
    csv_trouble = csv_strerror(csv_error(&parser));
  }
  csv_free(&parser);
  if (reader.error()) throw BenchError(*reader.error());
  if (csv_trouble) {
    throw BenchError(fmt::format("{}:{}:1: {}", name, reader.line(), *csv_trouble));
  }
  return reader.take();
}

ReplayFile read_replay(const std::string& path) {
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream text;
  if (!stream || !(text << stream.rdbuf())) {
    throw BenchError(fmt::format("{}: cannot be read as a replay CSV", path));
  }
  return parse_replay(text.str(), path);
}

}  // namespace packmile::benchvan
