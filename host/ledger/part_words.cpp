#include "ledger/part_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "ledger/nearest.hpp"
#include "notes/positions.hpp"

namespace packmile {
namespace {

// Names that are listed where none is near.
constexpr std::size_t kMostPartsNamed = 6;

std::string lower_part(std::string_view text) {
  std::string out;
  for (const char c : text) out += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> out;
  std::string word;
  for (const char c : lower_part(text) + ' ') {
    if (c == ' ' || c == ',') {
      if (!word.empty()) out.push_back(std::move(word));
      word.clear();
    } else {
      word += c;
    }
  }
  return out;
}

// Ends alike in the singular and the plural: tyre, tyres.
bool same_word(std::string_view a, std::string_view b) {
  return a == b || (a.size() == b.size() + 1 && a.ends_with('s') && a.starts_with(b)) ||
         (b.size() == a.size() + 1 && b.ends_with('s') && b.starts_with(a));
}

// Of what has its own past at each wheel or axle, where a note names none.
std::optional<std::string> place_doubt(std::string_view noted, std::string_view part,
                                       PartGauge gauge) {
  if (gauge == PartGauge::none) return std::nullopt;
  const auto places = places_in(noted, part);
  if (!places || !places->empty()) return std::nullopt;
  if (gauge == PartGauge::tread)
    return fmt::format("'{}' names no wheel, so no tyre begins anew: '{} fl' or '{} front'", noted,
                       part, part);
  return fmt::format("'{}' names no axle, so those of both begin anew: '{} front' or '{} rear'",
                     noted, part, part);
}

}  // namespace

std::optional<std::vector<std::string>> places_in(std::string_view noted, std::string_view part) {
  const auto words = words_of(noted), name = words_of(part);
  if (name.empty() || words.size() < name.size()) return std::nullopt;
  for (std::size_t k = 0; k < name.size(); ++k)
    if (!same_word(words[k], name[k])) return std::nullopt;
  std::vector<std::string> out;
  for (std::size_t k = name.size(); k < words.size(); ++k) {
    std::string word = words[k];
    if (k + 1 < words.size() && axle_named(word) &&
        (words[k + 1] == "left" || words[k + 1] == "right"))
      word = std::string{word[0]} + words[++k][0];
    if (!wheel_named(word) && !axle_named(word)) return std::nullopt;
    out.push_back(word);
  }
  return out;
}

std::optional<std::string> part_doubt(std::string_view noted, const Fleet& fleet,
                                      std::string_view van) {
  std::vector<std::string> names;
  for (const FleetPart* part : fleet.parts_of(van)) {
    names.push_back(part->name);
    if (auto doubt = place_doubt(noted, part->name, part->gauge)) return doubt;
  }
  if (auto doubt = place_doubt(noted, kTyreName, PartGauge::tread)) return doubt;
  if (auto doubt = place_doubt(noted, kPadName, PartGauge::pad)) return doubt;
  if (names.empty()) return std::nullopt;
  for (const char* name : {kTyreName, kPadName}) names.emplace_back(name);
  for (const std::string& name : names)
    if (places_in(noted, name)) return std::nullopt;
  const std::string meant = did_you_mean(lower_part(noted), names);
  if (!meant.empty()) return fmt::format("fleet.toml has no part '{}'{}", noted, meant);
  names.resize(std::min(names.size(), kMostPartsNamed));
  return fmt::format("fleet.toml has no part '{}', so this renews none; it has {}", noted,
                     fmt::join(names, ", "));
}

}  // namespace packmile
