// What is on a card: one pass over all its sectors.
//
// Standard  FORMAT.md, "What a reader must survive".
// Input     a CardFile. Each good sector is also handed to a sink, so that an
//           import reads the card once.
// Output    counts, boots, clock, what the van answered, findings, a verdict.
// Bounded   24 bytes for each good sector, and what the session records say.
#pragma once
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "card/boot_facts.hpp"
#include "card/card_file.hpp"
#include "card/owners_on_card.hpp"
#include "card/sector_source.hpp"
#include "figure.hpp"
#include "finding.hpp"

namespace packmile {

// The exit code of `check` and `import` for one card.
enum class CardVerdict : std::uint8_t {
  sound = 0,
  no_log = 1,           // nothing there that could be a log
  needs_attention = 3,  // damaged, foreign, misplaced; what is good was taken
};

struct AnsweredSignal {
  std::uint32_t ecu = 0;
  SignalId signal = 0;
  std::uint64_t rows = 0;
};

// Where one good sector lies; the index of the card.
struct SectorPlace {
  std::uint32_t address = 0;  // from the beginning of the file or device
  std::uint32_t sequence = 0;
  std::uint32_t boot_id = 0;
  std::uint32_t crc = 0;
  // Address - (head + sequence mod ring), modulo 2^32: the same for all sectors
  // that lie where they belong.
  std::uint32_t shift = 0;
  std::uint32_t log_and_kind = 0;  // index into log_ids * 2, + 1 for settings

  bool operator==(const SectorPlace&) const = default;
};

struct CardSurvey {
  std::string card;  // as given by the user
  CardVerdict verdict = CardVerdict::sound;
  // For people, empty when sound: what is wrong, and what to do about it.
  std::string message;
  std::string hint;

  // The card's present life: that of the settings sector, else of most sectors.
  std::optional<std::uint32_t> log_id;
  std::string van;  // name in the settings; may be empty
  std::uint64_t prepared_unix_ms = 0;
  std::vector<std::string> vins;       // that the logger read, in order of boots; each once
  std::string logger_version;          // of the newest boot
  std::vector<BootFacts> boots;        // of this life, in order of their sequence
  std::vector<BootClock> boot_clocks;  // one for each of them

  std::uint64_t sectors = 0;       // looked at
  std::uint64_t sectors_good = 0;  // of this life, copies once
  std::uint64_t sectors_damaged = 0;
  std::uint64_t sectors_foreign = 0;
  std::uint64_t sectors_newer = 0;
  // Good ones that do not lie where they belong, nor does a copy of them.
  std::uint64_t sectors_misplaced = 0;
  std::uint64_t sectors_older_log = 0;
  std::uint64_t sectors_copied = 0;    // the same sector found again
  std::uint64_t sectors_conflict = 0;  // same key, other bytes
  // Sequence numbers that were written and have no good sector; damaged ones
  // are among them. What the ring has overwritten is not.
  std::uint64_t sectors_missing = 0;
  std::uint64_t sectors_unreadable = 0;
  // The ring of the log, and the numbers on the card that lie where they belong.
  std::uint32_t ring_sectors = 0;  // 0: no log
  std::optional<std::uint32_t> oldest_sequence, newest_sequence;
  // Numbers below the ring's oldest place: this card had them, and has not now.
  std::uint64_t sectors_overwritten = 0;
  // Sectors at the end of the log that the copy does not have; 0: it is whole.
  std::uint64_t sectors_cut_off = 0;
  std::vector<UnreadableRun> unreadable;  // the first hundred
  // Where the log begins in a whole-card image; negative: the front is cut off.
  std::int64_t log_begins_at = 0;

  std::optional<UtcTime> first, last;      // of samples whose boot has a clock
  std::uint8_t clock_source = kClockNone;  // of the newest boot that has one
  std::optional<double> days_held;         // from first to last
  std::optional<double> supply_min_v;      // absent: this logger cannot measure it
  BootCounters counters;                   // over all boots of this life
  std::vector<AnsweredSignal> answers;     // by signal, then ECU
  // Supported by the van's bitmaps, or asked for, and in no sample of any ECU.
  std::vector<PolledPid> not_answered;
  std::vector<CardOwnersSignal> owners_signals;
  std::vector<std::uint16_t> settings_dids;  // data identifiers of those, ascending, each once
  std::vector<Finding> findings;

  // The index, for CardSectors: in order of (log, settings first, sequence,
  // boot id, CRC), copies left out.
  std::vector<std::uint32_t> log_ids;
  std::vector<SectorPlace> places;
};

using SectorSink =
    std::function<void(const SectorHeader&, std::span<const std::uint8_t, kSectorBytes>)>;
using CardProgress = std::function<void(std::uint64_t sectors_done, std::uint64_t sectors_total)>;

// `sink` gets every good sector of any life of the card, in order of address.
// Without one every record is decoded to see whether it can be; with one this
// is left to whoever reads the samples.
[[nodiscard]] CardSurvey survey_card(const CardFile& card, const SectorSink& sink = {},
                                     const CardProgress& progress = {});

// The good sectors of a surveyed card in order of sequence. Refers to both.
class CardSectors final : public SectorSource {
 public:
  CardSectors(const CardFile& card, const CardSurvey& survey) : card_(card), survey_(survey) {}

  using SectorSource::for_each_sector;
  [[nodiscard]] std::vector<std::uint32_t> log_ids() const override;
  [[nodiscard]] Result<Done> for_each_sector(std::uint32_t log_id, SequenceRange range,
                                             const SectorVisit& visit) const override;

 private:
  const CardFile& card_;
  const CardSurvey& survey_;
};

}  // namespace packmile
