// All that the archive holds of one van, in order: boots, their clocks, and
// episode by episode the samples.
//
// Input     good sectors in order: of the archive, or of one card.
// Output    Boot values, then episodes in time order.
// Clock     each boot's wall clock = tick + offset, the offset from the clock
//           readings in its session records (card/boot_clock.hpp). A boot without
//           one is bounded and placed by clock_repair.hpp and marked clock_guessed.
// Bounded   one episode at a time is in memory.
#pragma once
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "archive/archive.hpp"
#include "card/boot_facts.hpp"
#include "card/record_decoder.hpp"
#include "card/sector_source.hpp"
#include "result.hpp"
#include "tick.hpp"
#include "timeline/episode.hpp"
#include "timeline/lost_stretch.hpp"
#include "timeline/owners_roles.hpp"

namespace packmile {

// Which ECU each series of an episode is taken from: the one that answered it
// most often in the boot. 0: none did.
struct SeriesEcus {
  std::uint32_t pack = 0;
  std::uint32_t speed = 0;
  std::uint32_t soc = 0;
  std::uint32_t odometer = 0;
  std::uint32_t ambient = 0;
  std::uint32_t module_v = 0;
};

// What is known against the definition of an owner's signal.
struct OwnersComplaint {
  Finding finding;
  std::string text;  // which signal, what was seen, what to check
};

struct OwnersJudgement {
  SignalId id = signal::none;  // in the first boot that has the definition
  std::uint32_t ecu = 0;       // id of its answers
  OwnersDefinition definition;
  std::uint64_t rows = 0;  // answered
  // False: its words are no figure.
  bool used = true;
  std::vector<OwnersComplaint> complaints;
};

struct Boot {
  std::uint32_t log_id = 0;
  std::uint32_t boot_id = 0;
  std::uint32_t first_sequence = 0;
  std::uint32_t last_sequence = 0;
  std::uint64_t sectors = 0;
  std::uint64_t sectors_missing = 0;  // gaps in the sequence inside the boot
  std::string vin;                    // empty: never read in this boot
  std::string settings_van;           // name in the card's settings; may be empty
  std::string logger_version;
  std::vector<EcuFacts> ecus;
  BootCounters counters;
  std::uint32_t supply_min_mv = 0;  // 0: not measured
  // unix ms = tick + clock_offset_ms.
  std::int64_t clock_offset_ms = 0;
  std::int64_t clock_uncertainty_ms = 0;
  std::uint8_t clock_source = 0;  // packmile.ClockSource
  bool clock_guessed = false;
  // What its clock said; empty: no clock.
  std::vector<ClockAnchor> clock_anchors;
  // Where clock_guessed: tick 0 was not before, last_tick not after (unix ms).
  // Absent: nothing bounds it on that side.
  std::optional<std::int64_t> earliest_start_ms, latest_end_ms;
  // Its place by the sequence on the card contradicts the odometer, or the clocks
  // around it leave no room for it.
  bool order_conflict = false;
  // Of the first and last sample; both 0 and has_samples false: none.
  bool has_samples = false;
  Tick first_tick = 0;
  Tick last_tick = 0;
  SeriesEcus series_ecu;
  // As its session records define them, else the settings of its card.
  std::vector<BootOwnersSignal> owners_signals;
  bool broken_definition = false;  // some were left out
  // Those that take the place of standard signals; set by VanHistory::open().
  OwnersRoles roles;
};

// Who drove which boot: the VIN that was read or told (van_identity.hpp), else
// the name in the settings, else "log-" and the log id.
struct VanKey {
  std::string vin;  // may be empty
  // The name in the settings that the van went by last, without those that
  // belong to another VIN; log-XXXXXXXX when nothing is known.
  std::string name;
  auto operator<=>(const VanKey&) const = default;
};

// What one van has on one log.
struct CardUse {
  std::uint32_t log_id = 0;
  std::optional<UtcTime> from, to;  // of its samples; absent: none
  // About this card in this van: van_name_of_another_vin, time_overlap,
  // van_told_by_evidence, van_not_told, van_changed.
  std::vector<Finding> findings;
  std::uint64_t boots = 0;  // with samples
  std::uint64_t boots_without_clock = 0;
  std::uint64_t sectors = 0;          // good ones
  std::uint64_t sectors_missing = 0;  // gaps in the sequence of a boot
  std::uint64_t requests_while_parked = 0;
};

// What whoever pulled a card said: all that was on it then, up to a sector, was
// written before.
struct PulledCard {
  UtcTime at{};
  std::uint32_t last_sequence = 0xFFFFFFFFu;

  bool operator==(const PulledCard&) const = default;
};

class VanHistory {
 public:
  // Every van that the source holds, in order of their keys. pulled_at: when
  // the cards were read, the upper bound for boots that have no clock. The
  // source must stay where it is while a history is in use.
  [[nodiscard]] static Result<std::vector<VanHistory>> open(const SectorSource& source,
                                                            std::optional<UtcTime> pulled_at = {});
  // The same with moments for each log.
  using PulledAt = std::function<std::vector<PulledCard>(std::uint32_t log_id)>;
  [[nodiscard]] static Result<std::vector<VanHistory>> open(const SectorSource& source,
                                                            const PulledAt& pulled_at);
  // The same where the owner has said which VIN a name belongs to.
  using VinOfName = std::map<std::string, std::string>;
  [[nodiscard]] static Result<std::vector<VanHistory>> open(const SectorSource& source,
                                                            const PulledAt& pulled_at,
                                                            const VinOfName& vin_of_name);

  [[nodiscard]] const VanKey& key() const { return key_; }
  [[nodiscard]] const std::vector<Boot>& boots() const { return boots_; }
  // What was lost of its records, in order of time. A gap between two vans that
  // used one card is the later one's.
  [[nodiscard]] const std::vector<LostStretch>& lost() const { return lost_; }
  // In order of log ids.
  [[nodiscard]] const std::vector<CardUse>& cards() const { return cards_; }
  // Calls `visit` with each episode in time order. The episode's arrays are
  // reused: valid during the call only. False from visit ends the walk.
  [[nodiscard]] Result<Done> for_each_episode(
      const std::function<bool(const Episode&)>& visit) const;
  // One for each definition of an owner's signal, in order of ids.
  [[nodiscard]] const std::vector<OwnersJudgement>& owners_signals() const {
    return owners_signals_;
  }
  // Findings about boots and records, filled by open() and for_each_episode().
  [[nodiscard]] const std::vector<Finding>& findings() const { return findings_; }

 private:
  using RecordVisit = std::function<bool(const Boot&, std::span<const BlockView>)>;
  [[nodiscard]] Result<Done> for_each_record(const RecordVisit& visit) const;
  [[nodiscard]] Result<Done> judge_owners_signals();

  VanKey key_;
  std::vector<Boot> boots_;
  std::vector<LostStretch> lost_;
  std::vector<CardUse> cards_;
  std::vector<OwnersJudgement> owners_signals_;
  mutable std::vector<Finding> findings_;
  const SectorSource* source_ = nullptr;
};

}  // namespace packmile
