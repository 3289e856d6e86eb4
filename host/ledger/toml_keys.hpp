// Reads tables of a TOML file by lists of keys, and collects every mistake with
// its place.
//
// Input     toml++ tables; this header is for the readers of fleet.toml alone.
// Output    errors and warnings in order of lines, then columns: toml++ walks
//           tables in order of their keys, people read files in order of lines.
#pragma once
#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <functional>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "ledger/nearest.hpp"
#include "result.hpp"

namespace packmile {

class Complaints {
 public:
  explicit Complaints(std::string file) : file_(std::move(file)) {}

  void error(const toml::source_region& at, std::string what, std::string hint = {}) {
    errors_.emplace(std::pair{at.begin.line, at.begin.column},
                    Error{std::move(what), where(at), std::move(hint)});
  }
  void warning(const toml::source_region& at, const std::string& what) {
    warnings_.emplace(std::pair{at.begin.line, at.begin.column}, where(at) + ": " + what);
  }
  [[nodiscard]] std::string where(const toml::source_region& at) const {
    if (at.begin.line == 0) return file_;
    return fmt::format("{}:{}:{}", file_, at.begin.line, at.begin.column);
  }
  [[nodiscard]] std::size_t count() const { return errors_.size(); }
  [[nodiscard]] std::vector<Error> errors() const {
    std::vector<Error> out;
    for (const auto& [place, error] : errors_) out.push_back(error);
    return out;
  }
  [[nodiscard]] std::vector<std::string> warnings() const {
    std::vector<std::string> out;
    for (const auto& [place, text] : warnings_) out.push_back(text);
    return out;
  }

 private:
  using Place = std::pair<toml::source_index, toml::source_index>;
  std::string file_;
  std::multimap<Place, Error> errors_;
  std::multimap<Place, std::string> warnings_;
};

// One key: its name, what must stand there, and where it goes. `read` answers
// with what is wrong; an empty answer means that it was taken.
template <typename T>
struct Key {
  const char* name;
  bool required;
  std::function<std::string(T&, const toml::node&)> read;
};

inline std::string read_text(const toml::node& node, std::string& out) {
  const auto* text = node.as_string();
  if (text == nullptr) return "must be text in quotes";
  out = text->get();
  return {};
}

// Reads one table by its list of keys. `others`: names that someone else reads.
template <typename T>
void read_table(const toml::table& table, const std::vector<Key<T>>& keys,
                std::span<const std::string> others, std::string_view title, T& out,
                Complaints& complaints) {
  std::vector<std::string> known{others.begin(), others.end()};
  for (const auto& key : keys) known.emplace_back(key.name);
  for (auto&& [name, node] : table) {
    const std::string word{name.str()};
    if (std::ranges::find(others, word) != others.end()) continue;
    const auto key = std::ranges::find_if(keys, [&](const auto& k) { return word == k.name; });
    if (key == keys.end()) {
      complaints.error(name.source(), fmt::format("unknown key '{}' in {}{}", word, title,
                                                  did_you_mean(word, known)));
      continue;
    }
    if (auto wrong = key->read(out, node); !wrong.empty())
      complaints.error(node.source(), fmt::format("{} {}", word, wrong));
  }
  for (const auto& key : keys) {
    if (key.required && !table.contains(key.name))
      complaints.error(table.source(), fmt::format("{} lacks the key '{}'", title, key.name));
  }
}

}  // namespace packmile
