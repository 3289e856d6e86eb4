// What was recorded, kept apart from the card: every sector that was handed to
// it with its bytes, and every sample in it. Then what the decoder makes of the
// card, held against that.
//
// Method    a sector counts as undamaged if and only if its bytes stand on the
//           card; then each of its samples must come out once, with its word.
//           Anything else that comes out is invented.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <unordered_map>
#include <vector>

#include "card/card_survey.hpp"
#include "powercut/lying_card.hpp"
#include "tick.hpp"

namespace packmile::powercut {

struct Sample {
  Tick tick_ms = 0;
  std::uint32_t boot_id = 0;
  std::uint32_t ecu = 0;
  std::uint32_t signal = 0;
  std::uint32_t raw = 0;

  // A word is one of a boot, a tick, an ECU and a signal.
  [[nodiscard]] bool same_moment(const Sample& other) const {
    return tick_ms == other.tick_ms && boot_id == other.boot_id && ecu == other.ecu &&
           signal == other.signal;
  }
};

struct RecordedSector {
  SectorHeader header;
  std::uint32_t address = 0;
  Sector bytes{};
  std::uint32_t first_sample = 0;
  std::uint32_t samples = 0;
};

class Recorded {
 public:
  Recorded() = default;
  // Begins with the first `sectors` of another, which must outlive this one.
  Recorded(const Recorded& before, std::size_t sectors);

  void add(std::uint32_t address, std::span<const std::uint8_t, kSectorBytes> bytes,
           std::span<const Sample> samples);

  [[nodiscard]] std::size_t sectors() const { return before_sectors_ + sectors_.size(); }
  [[nodiscard]] std::size_t samples() const { return before_samples_ + samples_.size(); }
  [[nodiscard]] const RecordedSector& sector(std::size_t index) const;
  // Index of the sector with these bytes; none: not one of ours.
  [[nodiscard]] std::optional<std::size_t> find_sector(
      std::span<const std::uint8_t, kSectorBytes> bytes) const;
  // Index of a sample with the same boot, tick, ECU and signal; `hint` is where
  // it is looked for first.
  [[nodiscard]] std::optional<std::size_t> find_sample(const Sample& sample,
                                                       std::size_t hint) const;
  [[nodiscard]] const Sample& sample(std::size_t index) const;

 private:
  const Recorded* before_ = nullptr;
  std::size_t before_sectors_ = 0;
  std::size_t before_samples_ = 0;
  std::vector<RecordedSector> sectors_;
  std::vector<Sample> samples_;
  std::unordered_multimap<std::uint32_t, std::size_t> by_crc_;
  // Samples of one boot in a row, ascending by tick.
  struct Run {
    std::uint32_t boot_id = 0;
    std::size_t first = 0;
    std::size_t end = 0;
  };
  std::vector<Run> runs_;
};

struct Tally {
  std::uint64_t cases = 0;
  std::uint64_t samples_at_stake = 0;  // recorded and not overwritten by the ring
  std::uint64_t sectors_damaged = 0;   // by the experiment
  std::uint64_t samples_lost_with_them = 0;
  std::uint64_t samples_lost_beyond = 0;  // of undamaged sectors: must be 0
  std::uint64_t samples_invented = 0;     // must be 0
  std::uint64_t newer_overwritten = 0;    // sectors that a boot should have seen: must be 0
  std::uint64_t not_continued = 0;        // boots that did not write on: must be 0
  std::uint64_t named_wrong = 0;          // cases that the survey calls by a wrong name: must be 0
  std::string first_failure;              // in words, for whoever has to find it

  void operator+=(const Tally& other);
  void fail(std::uint64_t& counter, const std::string& words, std::uint64_t by = 1);
  [[nodiscard]] bool failed() const {
    return samples_lost_beyond + samples_invented + newer_overwritten + not_continued +
               named_wrong !=
           0;
  }
};

// Reads cards in memory through the host's own way: CardFile, survey_card,
// for_each_sample.
class Reader {
 public:
  Reader();
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;
  ~Reader();

  // The survey of an image of any length but 0.
  [[nodiscard]] CardSurvey survey(std::span<const std::uint8_t> image);
  // Surveys the image and holds its samples against what was recorded.
  CardSurvey judge(std::span<const std::uint8_t> image, const Recorded& recorded,
                   const std::string& name, Tally& tally);

 private:
  void take(std::span<const std::uint8_t> image);

  int file_ = -1;
  std::string path_;
  std::vector<std::uint8_t> seen_;   // of each sample: how often
  std::vector<std::uint8_t> whole_;  // of each sector: its bytes stand on the card
  std::vector<std::uint32_t> last_;  // of each place: 1 + the sector handed over last
};

}  // namespace packmile::powercut
