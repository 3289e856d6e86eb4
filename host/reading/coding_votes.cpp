#include "reading/coding_votes.hpp"

#include <algorithm>

namespace packmile {
namespace {

// With at most 1 % junk one vote is worth ln(99) = 4.6; consecutive words are
// not independent, so a minute of them is asked. Common practice, no source.
constexpr std::int64_t kLeastWords = 60;
constexpr std::int64_t kLeastSpanMs = 60'000;
constexpr std::int64_t kMostAgainstPerCent = 1;

// 0000, FFFF, 8000, 7FFF.
constexpr bool is_silent(std::uint16_t word) {
  return ((static_cast<std::uint32_t>(word) + 1) & 0x7FFFu) <= 1;
}

}  // namespace

void CodingTally::observe(std::span<const std::int64_t> time_ms,
                          std::span<const std::uint16_t> words) {
  const std::size_t n = std::min(time_ms.size(), words.size());
  std::int64_t votes_twos = 0;
  std::int64_t votes_offset = 0;
  std::int64_t silent = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const std::uint16_t word = words[i];
    const bool mute = is_silent(word);
    silent += mute;
    votes_twos += !mute && possible_tenths_a(twos_tenths_a(word));
    votes_offset += !mute && possible_tenths_a(offset_tenths_a(word));
  }
  const auto all = static_cast<std::int64_t>(n);
  answered += all;
  if (silent == all) return;
  const bool first_votes = twos + offset + junk == 0;
  std::size_t first = 0;
  while (is_silent(words[first])) ++first;
  std::size_t last = n - 1;
  while (is_silent(words[last])) --last;
  first_ms = first_votes ? time_ms[first] : std::min(first_ms, time_ms[first]);
  last_ms = first_votes ? time_ms[last] : std::max(last_ms, time_ms[last]);
  twos += votes_twos;
  offset += votes_offset;
  junk += all - silent - votes_twos - votes_offset;
  for (std::size_t i = first; i <= last && n_distinct < distinct.size(); ++i) {
    const auto seen = distinct.begin() + static_cast<std::ptrdiff_t>(n_distinct);
    if (is_silent(words[i]) || std::find(distinct.begin(), seen, words[i]) != seen) continue;
    distinct[n_distinct++] = words[i];
  }
}

void CodingTally::merge(const CodingTally& other) {
  answered += other.answered;
  if (other.twos + other.offset + other.junk == 0) return;
  const bool first_votes = twos + offset + junk == 0;
  first_ms = first_votes ? other.first_ms : std::min(first_ms, other.first_ms);
  last_ms = first_votes ? other.last_ms : std::max(last_ms, other.last_ms);
  twos += other.twos;
  offset += other.offset;
  junk += other.junk;
  for (std::size_t i = 0; i < other.n_distinct && n_distinct < distinct.size(); ++i) {
    const auto seen = distinct.begin() + static_cast<std::ptrdiff_t>(n_distinct);
    if (std::find(distinct.begin(), seen, other.distinct[i]) == seen) {
      distinct[n_distinct++] = other.distinct[i];
    }
  }
}

CurrentCoding CodingTally::leaning() const {
  if (twos == offset) return CurrentCoding::unknown;
  return twos > offset ? CurrentCoding::twos_complement : CurrentCoding::offset_binary;
}

bool CodingTally::enough() const {
  return twos + offset + junk >= kLeastWords && last_ms - first_ms >= kLeastSpanMs &&
         n_distinct == distinct.size();
}

CurrentCoding CodingTally::decide() const {
  const std::int64_t votes = twos + offset + junk;
  const std::int64_t against = votes - std::max(twos, offset);
  if (!enough() || 100 * against >= kMostAgainstPerCent * votes) return CurrentCoding::unknown;
  return leaning();
}

void CodingVotes::observe(const CodingTally& episode) {
  const CurrentCoding own = episode.decide();
  twos_decided_ = twos_decided_ || own == CurrentCoding::twos_complement;
  offset_decided_ = offset_decided_ || own == CurrentCoding::offset_binary;
  total_.merge(episode);
}

CurrentCoding CodingVotes::decide() const {
  return contradictory() ? CurrentCoding::unknown : total_.decide();
}

}  // namespace packmile
