#include "linux/settings_file.hpp"

#include <algorithm>
#include <array>
#include <cstdio>
#include <filesystem>
#include <numeric>
#include <string_view>

#include <toml++/toml.h>

namespace packmile::port {
namespace {

// The constants of termios.h: Boost.Asio refuses any other rate on Linux.
constexpr std::array<std::uint32_t, 15> kBauds{9600,    19200,   38400,   57600,   115200,
                                               230400,  460800,  500000,  576000,  921600,
                                               1000000, 1500000, 2000000, 3000000, 4000000};

constexpr std::array<std::string_view, 2> kTables{"log", "port"};
constexpr std::array<std::string_view, 3> kPortKeys{"adapter", "baud", "card"};
constexpr std::array<std::string_view, 4> kLogKeys{"file", "files", "level", "max_bytes"};

// Bounds of the rotation. Common practice, no source.
constexpr std::int64_t kLeastLogBytes = 4096;
constexpr std::int64_t kMostLogBytes = 1 << 30;
constexpr std::int64_t kMostLogFiles = 100;

// Insertions, deletions and replacements from one word to the other.
std::size_t letters_apart(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row[b.size()];
}

std::string nearest(std::string_view key, std::span<const std::string_view> known) {
  const auto best = std::min_element(known.begin(), known.end(), [key](auto a, auto b) {
    return letters_apart(key, a) < letters_apart(key, b);
  });
  return std::string(*best);
}

class Reader {
 public:
  explicit Reader(std::string path) : path_(std::move(path)) {}

  void read(const toml::table& root) {
    for (const auto& [key, node] : root) {
      const toml::table* table = node.as_table();
      if (key == "port" && table) {
        read_port(*table);
      } else if (key == "log" && table) {
        read_log(*table);
      } else if (key == "port" || key == "log") {
        complain(node.source(), "'" + std::string(key.str()) + "' must be a table");
      } else {
        unknown(key, kTables, "");
      }
    }
  }

  FileSettings settings;

  [[nodiscard]] std::vector<PortError> errors() {
    std::stable_sort(errors_.begin(), errors_.end(), [](const auto& a, const auto& b) {
      return std::pair(a.line, a.column) < std::pair(b.line, b.column);
    });
    std::vector<PortError> out;
    for (const Placed& placed : errors_) out.push_back(placed.error);
    return out;
  }

 private:
  struct Placed {
    std::uint32_t line, column;
    PortError error;
  };

  void complain(const toml::source_region& at, std::string what, std::string hint = "") {
    const std::string where =
        path_ + ":" + std::to_string(at.begin.line) + ":" + std::to_string(at.begin.column);
    errors_.push_back({at.begin.line, at.begin.column, {std::move(what), where, std::move(hint)}});
  }

  void unknown(const toml::key& key, std::span<const std::string_view> known,
               const std::string& table) {
    std::string what = "unknown key '" + std::string(key.str()) + "'";
    if (!table.empty()) what += " in [" + table + "]";
    complain(key.source(), what + "; did you mean '" + nearest(key.str(), known) + "'?");
  }

  std::optional<std::string> text(const toml::key& key, const toml::node& node) {
    const auto value = node.value_exact<std::string>();
    if (!value || value->empty()) {
      complain(node.source(), std::string(key.str()) + " must be a text that is not empty");
      return std::nullopt;
    }
    return value;
  }

  std::optional<std::int64_t> number(const toml::key& key, const toml::node& node, std::int64_t low,
                                     std::int64_t high) {
    const auto value = node.value_exact<std::int64_t>();
    if (!value || *value < low || *value > high) {
      complain(node.source(), std::string(key.str()) + " must be a whole number from " +
                                  std::to_string(low) + " to " + std::to_string(high));
      return std::nullopt;
    }
    return value;
  }

  void read_port(const toml::table& table) {
    for (const auto& [key, node] : table) {
      if (key == "adapter") {
        settings.adapter = text(key, node);
      } else if (key == "card") {
        settings.card = text(key, node);
      } else if (key == "baud") {
        const auto baud = node.value_exact<std::int64_t>();
        if (baud && *baud > 0 && *baud <= 4'000'000 &&
            is_known_baud(static_cast<std::uint32_t>(*baud))) {
          settings.baud = static_cast<std::uint32_t>(*baud);
        } else {
          complain(node.source(), "baud must be one of " + known_bauds_text());
        }
      } else {
        unknown(key, kPortKeys, "port");
      }
    }
  }

  void read_log(const toml::table& table) {
    for (const auto& [key, node] : table) {
      if (key == "file") {
        settings.log_file = text(key, node);
      } else if (key == "level") {
        const auto name = node.value_exact<std::string>();
        if (const auto level = name ? log_level_of(*name) : std::nullopt) {
          settings.log_level = *level;
        } else {
          complain(node.source(), "level must be one of debug, info, warning, error, off");
        }
      } else if (key == "max_bytes") {
        if (const auto bytes = number(key, node, kLeastLogBytes, kMostLogBytes))
          settings.log_max_bytes = static_cast<std::uint64_t>(*bytes);
      } else if (key == "files") {
        if (const auto files = number(key, node, 1, kMostLogFiles))
          settings.log_files = static_cast<std::uint32_t>(*files);
      } else {
        unknown(key, kLogKeys, "log");
      }
    }
  }

  std::string path_;
  std::vector<Placed> errors_;
};

}  // namespace

std::optional<LogLevel> log_level_of(const std::string& name) {
  if (name == "debug") return LogLevel::debug;
  if (name == "info") return LogLevel::info;
  if (name == "warning") return LogLevel::warning;
  if (name == "error") return LogLevel::error;
  if (name == "off") return LogLevel::off;
  return std::nullopt;
}

std::variant<FileSettings, std::vector<PortError>> read_settings_file(const std::string& path) {
  std::error_code error;
  if (!std::filesystem::is_regular_file(path, error))
    return std::vector<PortError>{{"no such settings file", path, "pass the path of a TOML file"}};
  Reader reader(path);
  // The library throws: caught here, at its one call.
  try {
    reader.read(toml::parse_file(path));
  } catch (const toml::parse_error& e) {
    const auto& at = e.source().begin;
    return std::vector<PortError>{
        {std::string(e.description()),
         path + ":" + std::to_string(at.line) + ":" + std::to_string(at.column), ""}};
  }
  if (std::vector<PortError> errors = reader.errors(); !errors.empty()) return errors;
  return reader.settings;
}

std::span<const std::uint32_t> known_bauds() { return kBauds; }

bool is_known_baud(std::uint32_t baud) {
  return std::find(kBauds.begin(), kBauds.end(), baud) != kBauds.end();
}

std::string known_bauds_text() {
  std::string text;
  for (const std::uint32_t baud : kBauds) {
    if (!text.empty()) text += ", ";
    text += std::to_string(baud);
  }
  return text;
}

}  // namespace packmile::port
