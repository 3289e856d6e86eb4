#include "powercut/recorded.hpp"

#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <stdexcept>

#include "card/crc.hpp"
#include "card/sample_walk.hpp"

namespace packmile::powercut {
Recorded::Recorded(const Recorded& before, std::size_t sectors)
    : before_(&before), before_sectors_(sectors) {
  if (sectors != 0) {
    const RecordedSector& last = before.sector(sectors - 1);
    before_samples_ = std::size_t{last.first_sample} + last.samples;
  }
}

const RecordedSector& Recorded::sector(std::size_t index) const {
  return index < before_sectors_ ? before_->sector(index) : sectors_[index - before_sectors_];
}

const Sample& Recorded::sample(std::size_t index) const {
  return index < before_samples_ ? before_->sample(index) : samples_[index - before_samples_];
}

void Recorded::add(std::uint32_t address, std::span<const std::uint8_t, kSectorBytes> bytes,
                   std::span<const Sample> samples) {
  RecordedSector one;
  if (judge_sector(bytes, one.header) != SectorVerdict::good)
    throw std::logic_error("the logger wrote a sector that is not good");
  one.address = address;
  std::copy(bytes.begin(), bytes.end(), one.bytes.begin());
  one.first_sample = static_cast<std::uint32_t>(this->samples());
  one.samples = static_cast<std::uint32_t>(samples.size());
  by_crc_.emplace(stored_crc(bytes), sectors());
  if (!samples.empty()) {
    const std::size_t from = samples_.size();
    samples_.insert(samples_.end(), samples.begin(), samples.end());
    const auto first = samples_.begin() + static_cast<std::ptrdiff_t>(from);
    const auto by_tick = [](const Sample& a, const Sample& b) { return a.tick_ms < b.tick_ms; };
    std::stable_sort(first, samples_.end(), by_tick);
    const bool goes_on = !runs_.empty() && runs_.back().boot_id == one.header.boot_id &&
                         samples_[from - 1].tick_ms <= first->tick_ms;
    if (!goes_on) runs_.push_back({.boot_id = one.header.boot_id, .first = from});
    runs_.back().end = samples_.size();
  }
  sectors_.push_back(one);
}

std::optional<std::size_t> Recorded::find_sector(
    std::span<const std::uint8_t, kSectorBytes> bytes) const {
  const auto [first, last] = by_crc_.equal_range(stored_crc(bytes));
  for (auto it = first; it != last; ++it)
    if (std::equal(bytes.begin(), bytes.end(), sector(it->second).bytes.begin())) return it->second;
  if (!before_) return std::nullopt;
  const auto found = before_->find_sector(bytes);
  return found && *found < before_sectors_ ? found : std::nullopt;
}

std::optional<std::size_t> Recorded::find_sample(const Sample& wanted, std::size_t hint) const {
  if (hint < samples() && sample(hint).same_moment(wanted)) return hint;
  for (const Run& run : runs_) {
    if (run.boot_id != wanted.boot_id) continue;
    const auto end = samples_.begin() + static_cast<std::ptrdiff_t>(run.end);
    auto at = std::lower_bound(samples_.begin() + static_cast<std::ptrdiff_t>(run.first), end,
                               wanted.tick_ms,
                               [](const Sample& s, Tick tick) { return s.tick_ms < tick; });
    for (; at != end && at->tick_ms == wanted.tick_ms; ++at)
      if (at->same_moment(wanted))
        return before_samples_ + static_cast<std::size_t>(at - samples_.begin());
  }
  if (!before_) return std::nullopt;
  const auto found = before_->find_sample(wanted, hint);
  return found && *found < before_samples_ ? found : std::nullopt;
}

void Tally::operator+=(const Tally& other) {
  cases += other.cases;
  samples_at_stake += other.samples_at_stake;
  sectors_damaged += other.sectors_damaged;
  samples_lost_with_them += other.samples_lost_with_them;
  samples_lost_beyond += other.samples_lost_beyond;
  samples_invented += other.samples_invented;
  newer_overwritten += other.newer_overwritten;
  not_continued += other.not_continued;
  named_wrong += other.named_wrong;
  if (first_failure.empty()) first_failure = other.first_failure;
}

void Tally::fail(std::uint64_t& counter, const std::string& words, std::uint64_t by) {
  counter += by;
  if (first_failure.empty()) first_failure = words;
}

Reader::Reader() : file_(::memfd_create("card", MFD_CLOEXEC)) {
  if (file_ < 0) throw std::runtime_error("no file in memory");
  path_ = "/proc/self/fd/" + std::to_string(file_);
}

Reader::~Reader() { ::close(file_); }

void Reader::take(std::span<const std::uint8_t> image) {
  if (::ftruncate(file_, static_cast<off_t>(image.size())) != 0 ||
      ::pwrite(file_, image.data(), image.size(), 0) != static_cast<ssize_t>(image.size()))
    throw std::runtime_error("the file in memory takes no bytes");
}

CardSurvey Reader::survey(std::span<const std::uint8_t> image) {
  take(image);
  const auto card = CardFile::open(path_);
  if (!card) throw std::runtime_error(card.error().what);
  return survey_card(*card);
}

CardSurvey Reader::judge(std::span<const std::uint8_t> image, const Recorded& recorded,
                         const std::string& name, Tally& tally) {
  take(image);
  const auto card = CardFile::open(path_);
  if (!card) throw std::runtime_error(card.error().what);
  CardSurvey survey = survey_card(*card);

  seen_.assign(recorded.samples(), 0);
  std::size_t hint = 0;
  std::uint64_t invented = 0;
  const auto walked = for_each_sample(*card, survey, {}, [&](const SampleRow& row) {
    const Sample sample{row.tick_ms, row.boot_id, row.ecu, row.signal, row.raw};
    const auto at = recorded.find_sample(sample, hint);
    if (!at || recorded.sample(*at).raw != sample.raw || seen_[*at] != 0) {
      ++invented;
    } else {
      seen_[*at] = 1;
      hint = *at + 1;
    }
    return true;
  });
  if (!walked) tally.fail(tally.samples_lost_beyond, name + ": " + walked.error().what);

  whole_.assign(recorded.sectors(), 0);
  for (std::size_t at = 0; at + kSectorBytes <= image.size(); at += kSectorBytes) {
    const auto found = recorded.find_sector(image.subspan(at).first<kSectorBytes>());
    if (found) whole_[*found] = 1;
  }
  // What was handed over last for a place is what should stand there.
  last_.assign(image.size() / kSectorBytes + 1, 0);
  for (std::size_t i = 0; i < recorded.sectors(); ++i)
    if (recorded.sector(i).address + 1 < last_.size())
      last_[recorded.sector(i).address] = static_cast<std::uint32_t>(i) + 1;
  for (std::size_t i = 0; i < recorded.sectors(); ++i) {
    const RecordedSector& sector = recorded.sector(i);
    const bool wanted = sector.address + 1 < last_.size() &&
                        last_[sector.address] == static_cast<std::uint32_t>(i) + 1;
    if (whole_[i] != 0 || wanted) tally.samples_at_stake += sector.samples;
    if (whole_[i] == 0 && wanted) {
      ++tally.sectors_damaged;
      tally.samples_lost_with_them += sector.samples;
    }
  }
  std::uint64_t lost = 0;
  for (std::size_t i = 0; i < recorded.sectors(); ++i) {
    const RecordedSector& sector = recorded.sector(i);
    std::uint64_t out = 0;
    for (std::uint32_t k = 0; k < sector.samples; ++k) out += seen_[sector.first_sample + k];
    if (whole_[i] != 0)
      lost += sector.samples - out;
    else
      invented += out;  // from bytes that are not there
  }
  if (lost != 0) tally.fail(tally.samples_lost_beyond, name + ": samples lost beyond", lost);
  if (invented != 0) tally.fail(tally.samples_invented, name + ": samples invented", invented);
  return survey;
}

}  // namespace packmile::powercut
