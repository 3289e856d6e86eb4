#include "ledger/nearest.hpp"

#include <algorithm>
#include <vector>

namespace packmile {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  // Longer words are cut: nothing known is that long, and the table stays small.
  constexpr std::size_t kLongest = 64;
  a = a.substr(0, kLongest);
  b = b.substr(0, kLongest);
  const std::size_t width = b.size() + 1;
  std::vector<std::size_t> before(width), last(width), now(width);
  for (std::size_t j = 0; j < width; ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    now[0] = i;
    for (std::size_t j = 1; j < width; ++j) {
      const std::size_t change = a[i - 1] == b[j - 1] ? 0 : 1;
      now[j] = std::min({last[j] + 1, now[j - 1] + 1, last[j - 1] + change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        now[j] = std::min(now[j], before[j - 2] + 1);
    }
    before.swap(last);
    last.swap(now);
  }
  return last[b.size()];
}

std::optional<std::string> nearest_of(std::string_view word, std::span<const std::string> known) {
  const std::size_t most = std::min<std::size_t>(2, (word.size() + 2) / 3);
  std::optional<std::string> best;
  std::size_t best_distance = most + 1;
  for (const std::string& candidate : known) {
    const std::size_t distance = edit_distance(word, candidate);
    if (distance < best_distance) {
      best_distance = distance;
      best = candidate;
    }
  }
  return best;
}

std::string did_you_mean(std::string_view word, std::span<const std::string> known) {
  const auto near = nearest_of(word, known);
  return near ? "; did you mean '" + *near + "'?" : std::string{};
}

}  // namespace packmile
