// Joins decoded records into episodes.
//
// Input     boots in order of time, their records in order of sequence.
// Output    each episode as soon as it is complete.
// Rule      no time twice: left out are rows that are not later than the last
//           row of their series (a sector that was written twice), and what a
//           boot says about a time that an earlier boot has covered.
//           Boots whose owner's signals mean different things are not joined.
// Pairing   voltage and current of owner's signals may come in two answers: each
//           row of the current gets the voltage on the straight line between its
//           neighbours, where both are within 2.5 of its poll periods.
// Bounded   one episode; its arrays keep their capacity.
#pragma once
#include <cstdint>
#include <functional>
#include <limits>
#include <optional>
#include <span>

#include "card/record_decoder.hpp"
#include "timeline/episode.hpp"
#include "timeline/van_history.hpp"

namespace packmile {

class EpisodeBuilder {
 public:
  // False from `visit` makes stopped() true; nothing is visited after that.
  explicit EpisodeBuilder(const std::function<bool(const Episode&)>& visit) : visit_(visit) {}

  // The boot of the records that follow; must outlive them.
  void begin_boot(const Boot& boot);
  void add_record(std::span<const BlockView> blocks);
  void finish();

  [[nodiscard]] bool stopped() const { return stopped_; }
  // Rows were left out because another boot claims their time.
  [[nodiscard]] bool time_overlapped() const { return time_overlapped_; }

 private:
  void add_stretch(std::span<const BlockView> blocks, Tick first, Tick last, bool whole);
  [[nodiscard]] bool must_split(std::int64_t first_ms, bool& goes_on) const;
  void open_episode(std::int64_t first_ms, std::int64_t last_ms);
  void add_block(const BlockView& block, std::size_t begin, std::size_t end);
  void add_owners_block(const BlockView& block, std::size_t begin, std::size_t end);
  void add_reported(const OwnersDefinition& definition, const BlockView& block, std::size_t k,
                    std::size_t begin, std::size_t end);
  void add_pack(const BlockView& block, std::size_t begin, std::size_t end, std::size_t v,
                std::size_t a);
  void add_series(SignalSeries& series, const BlockView& block, std::size_t column,
                  std::size_t begin, std::size_t end);
  [[nodiscard]] std::size_t skip_known(const std::vector<std::int64_t>& time_ms,
                                       const BlockView& block, std::size_t begin,
                                       std::size_t end) const;
  void emit(bool goes_on);

  // Voltage or current of a pack whose words come from owner's signals.
  struct PackHalf {
    std::vector<std::int64_t> time_ms;
    std::vector<std::uint16_t> code;
    std::vector<std::uint32_t> period_ms;
    void clear();
  };
  // The codes of a column; nullopt from `code` leaves the row out.
  template <typename Code>
  void add_half(PackHalf& half, const BlockView& block, std::size_t begin, std::size_t end,
                Code code);
  void pair_halves();

  const std::function<bool(const Episode&)>& visit_;
  Episode episode_;
  PackHalf volts_, amperes_;
  bool open_ = false;  // the episode has samples
  const Boot* boot_ = nullptr;
  const Boot* last_boot_ = nullptr;  // of the sample before
  // Of an episode of more than one boot: the widest where they meet.
  std::optional<TimeDoubt> joined_doubt_;
  std::int64_t start_ms_ = 0;
  std::int64_t end_ms_ = 0;
  // Up to here boots before this one have had their say.
  std::int64_t covered_ms_ = std::numeric_limits<std::int64_t>::min();
  std::int64_t newest_ms_ = std::numeric_limits<std::int64_t>::min();
  bool stopped_ = false;
  bool time_overlapped_ = false;
};

}  // namespace packmile
