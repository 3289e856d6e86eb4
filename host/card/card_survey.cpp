#include "card/card_survey.hpp"

#include <algorithm>
#include <cstring>
#include <functional>
#include <unordered_map>

#include "bus_load.hpp"
#include "card/card_clocks.hpp"
#include "card/crc.hpp"
#include "card/sequence_gap.hpp"

namespace packmile {
namespace {

// Bad stretches that are remembered until it is known where the log lies. A
// card with more of them is beyond counting; the count is then a lower bound.
constexpr std::size_t kMostBadRuns = 1'000'000;
constexpr std::size_t kMostSettings = 1024;
constexpr std::size_t kMostUnreadableTold = 100;
// A card in more vans than this is a forgery.
constexpr std::size_t kMostVins = 256;
constexpr double kMsPerDay = 86'400'000;

struct BadRun {
  std::uint64_t first = 0;
  std::uint64_t sectors = 0;
  SectorVerdict verdict = SectorVerdict::damaged;
};

// One life of the card.
struct LogTally {
  std::uint64_t sectors = 0;
  std::uint32_t ring_sectors = 0;  // by majority vote
  std::uint64_t ring_votes = 0;
};

struct SettingsSeen {
  std::uint64_t address = 0;
  std::uint32_t log_index = 0;
  std::uint32_t ring_sectors = 0;
  std::optional<CardSettings> settings;
};

struct Extent {
  bool known = false;
  std::int64_t begin = 0;  // sectors; negative: the front is cut off
  std::int64_t end = 0;

  [[nodiscard]] std::uint64_t inside(const BadRun& run) const {
    const std::int64_t from = std::max(begin, static_cast<std::int64_t>(run.first));
    const std::int64_t to = std::min(end, static_cast<std::int64_t>(run.first + run.sectors));
    return to > from ? static_cast<std::uint64_t>(to - from) : 0;
  }
};

bool is_settings(const SectorPlace& place) { return (place.log_and_kind & 1) != 0; }
std::uint32_t log_of(const SectorPlace& place) { return place.log_and_kind >> 1; }

bool place_order(const SectorPlace& a, const SectorPlace& b, std::uint32_t shift) {
  // Settings before samples of the same log.
  const std::uint32_t a_log = a.log_and_kind ^ 1;
  const std::uint32_t b_log = b.log_and_kind ^ 1;
  if (a_log != b_log) return a_log < b_log;
  if (a.sequence != b.sequence) return a.sequence < b.sequence;
  if (a.boot_id != b.boot_id) return a.boot_id < b.boot_id;
  if (a.crc != b.crc) return a.crc < b.crc;
  if ((a.shift == shift) != (b.shift == shift)) return a.shift == shift;
  return a.address < b.address;
}

bool same_key(const SectorPlace& a, const SectorPlace& b) {
  return a.log_and_kind == b.log_and_kind && a.sequence == b.sequence && a.boot_id == b.boot_id;
}

std::string counted(std::uint64_t count, const char* what) {
  return std::to_string(count) + " " + what;
}

// What people would recognise in a first sector that is not ours.
std::string describe_first_sector(std::span<const std::uint8_t> bytes) {
  if (bytes.size() < kSectorBytes) return "";
  const bool boot_mark = bytes[510] == 0x55 && bytes[511] == 0xAA;
  const auto has = [&](std::size_t at, const char* text) {
    return std::memcmp(bytes.data() + at, text, std::strlen(text)) == 0;
  };
  if (boot_mark && has(82, "FAT32")) return "the first sector is a FAT32 boot sector";
  if (boot_mark && has(3, "EXFAT")) return "the first sector is an exFAT boot sector";
  if (boot_mark && has(54, "FAT")) return "the first sector is a FAT boot sector";
  if (boot_mark) return "the first sector is a partition table";
  if (std::all_of(bytes.begin(), bytes.end(), [](std::uint8_t b) {
        return b == '\n' || b == '\r' || b == '\t' || (b >= 0x20 && b < 0x7F);
      }))
    return "it begins with text";
  return "";
}

class Surveyor {
 public:
  Surveyor(const CardFile& card, const SectorSink& sink, const CardProgress& progress)
      : card_(card),
        sink_(sink),
        progress_(progress),
        // What is imported is decoded again, whole, on its way to the figures.
        census_(sink ? BootCensus::Depth::times : BootCensus::Depth::whole) {
    survey_.card = card.name();
    survey_.sectors = card.sectors();
  }

  CardSurvey run() {
    CardFile::PieceVisitor visitor;
    visitor.bytes = [this](std::uint64_t first, std::span<const std::uint8_t> bytes) {
      take_piece(first, bytes);
    };
    visitor.hole = [this](std::uint64_t first, std::uint64_t sectors) { tell(first + sectors); };
    visitor.unreadable = [this](const UnreadableRun& run) {
      survey_.sectors_unreadable += run.sectors;
      if (survey_.unreadable.size() < kMostUnreadableTold) survey_.unreadable.push_back(run);
      tell(run.first_sector + run.sectors);
    };
    card_.for_each_piece(visitor);
    census_.finish();

    choose_log();
    find_extent();
    count_bad();
    sort_places();
    count_misplaced();
    count_missing();
    gather_boots();
    list_answers();
    survey_.owners_signals = owners_signals_of(
        main_settings_ && main_settings_->settings ? &*main_settings_->settings : nullptr,
        survey_.boots);
    survey_.settings_dids = dids_of(survey_.owners_signals);
    if (main_settings_ && main_settings_->settings)
      for (BootFacts& boot : survey_.boots) define_by_settings(boot, *main_settings_->settings);
    list_findings();
    decide();
    return std::move(survey_);
  }

 private:
  void tell(std::uint64_t sectors_done) {
    if (progress_) progress_(sectors_done, survey_.sectors);
  }

  void take_piece(std::uint64_t first, std::span<const std::uint8_t> bytes) {
    if (first == 0) first_sector_ = describe_first_sector(bytes.first(kSectorBytes));
    for (std::size_t at = 0; at < bytes.size(); at += kSectorBytes) {
      const auto sector = bytes.subspan(at).first<kSectorBytes>();
      const std::uint64_t address = first + at / kSectorBytes;
      SectorHeader header;
      const SectorVerdict verdict = judge_sector(sector, header);
      switch (verdict) {
        case SectorVerdict::good:
          take_good(address, header, sector);
          break;
        case SectorVerdict::blank:
          break;
        case SectorVerdict::damaged:
        case SectorVerdict::foreign:
        case SectorVerdict::newer:
          take_bad(address, verdict);
          break;
      }
    }
    tell(first + bytes.size() / kSectorBytes);
  }

  void take_bad(std::uint64_t address, SectorVerdict verdict) {
    written_ = true;
    if (verdict == SectorVerdict::newer) newer_anywhere_ = true;
    if (!bad_.empty() && bad_.back().verdict == verdict &&
        bad_.back().first + bad_.back().sectors == address)
      ++bad_.back().sectors;
    else if (bad_.size() < kMostBadRuns)
      bad_.push_back({address, 1, verdict});
  }

  void take_good(std::uint64_t address, const SectorHeader& header,
                 std::span<const std::uint8_t, kSectorBytes> sector) {
    written_ = true;
    if (survey_.places.empty() || header.log_id != survey_.log_ids[last_log_]) {
      const auto next = static_cast<std::uint32_t>(survey_.log_ids.size());
      const auto [at, is_new] = log_index_.try_emplace(header.log_id, next);
      if (is_new) {
        survey_.log_ids.push_back(header.log_id);
        logs_.push_back({});
      }
      last_log_ = at->second;
    }
    LogTally& log = logs_[last_log_];
    ++log.sectors;
    if (log.ring_votes == 0) log.ring_sectors = header.ring_sectors;
    log.ring_sectors == header.ring_sectors ? ++log.ring_votes : --log.ring_votes;

    const bool settings = header.kind == SectorKind::settings;
    SectorPlace place;
    place.address = static_cast<std::uint32_t>(address);
    place.sequence = header.sequence;
    place.boot_id = header.boot_id;
    place.crc = stored_crc(sector);
    place.shift = settings ? place.address
                           : place.address - kHeadSectors - header.sequence % header.ring_sectors;
    place.log_and_kind = last_log_ << 1 | (settings ? 1u : 0u);
    survey_.places.push_back(place);

    const auto payload = sector_payload(sector, header);
    if (settings) {
      if (settings_.size() < kMostSettings)
        settings_.push_back({address, last_log_, header.ring_sectors, read_settings(payload)});
    } else {
      const std::uint64_t key = std::uint64_t{header.log_id} << 32 | header.boot_id;
      if (!last_boot_ || key != last_boot_key_) {
        last_boot_ = &boots_[key];
        last_boot_key_ = key;
      }
      census_.add(*last_boot_, header, payload);
    }
    if (sink_) sink_(header, sector);
  }

  // The newest settings say which life is the present one; without any, the
  // life that most sectors are of.
  void choose_log() {
    if (survey_.places.empty()) return;
    const auto prepared = [](const SettingsSeen& s) {
      return s.settings ? s.settings->prepared_unix_ms : 0;
    };
    const SettingsSeen* newest = nullptr;
    for (const SettingsSeen& s : settings_) {
      if (!newest || prepared(s) > prepared(*newest) ||
          (prepared(s) == prepared(*newest) &&
           logs_[s.log_index].sectors > logs_[newest->log_index].sectors))
        newest = &s;
    }
    main_settings_ = newest;
    if (newest) {
      main_log_ = newest->log_index;
      ring_sectors_ = newest->ring_sectors;
    } else {
      for (std::uint32_t i = 1; i < logs_.size(); ++i)
        if (logs_[i].sectors > logs_[main_log_].sectors) main_log_ = i;
      ring_sectors_ = logs_[main_log_].ring_sectors;
    }
    survey_.log_id = survey_.log_ids[main_log_];
  }

  [[nodiscard]] bool in_ring_of_main(const SectorPlace& place) const {
    return log_of(place) == main_log_ && !is_settings(place);
  }

  // Most sectors of a log lie where one constant says; whichever that is.
  void find_extent() {
    if (!survey_.log_id) return;
    std::uint32_t shift = 0;
    std::uint64_t votes = 0;
    for (const SectorPlace& place : survey_.places) {
      if (!in_ring_of_main(place)) continue;
      if (votes == 0) shift = place.shift;
      place.shift == shift ? ++votes : --votes;
    }
    std::uint64_t agree = 0;
    std::uint64_t agree_with_settings = 0;
    std::uint64_t all = 0;
    for (const SectorPlace& place : survey_.places) {
      if (!in_ring_of_main(place)) continue;
      ++all;
      agree += place.shift == shift;
      agree_with_settings += main_settings_ && place.shift == main_settings_->address;
    }
    // The settings lie at the beginning. With a fair part of the sectors on their
    // side they are right against a majority that was copied elsewhere; alone they
    // may be what was moved. The share is common practice, no source.
    if (agree_with_settings != 0 && agree_with_settings * 8 >= all) {
      shift = static_cast<std::uint32_t>(main_settings_->address);
      agree = all;
    }
    if (all == 0 && main_settings_) {
      shift_ = static_cast<std::uint32_t>(main_settings_->address);
      extent_.known = true;
    } else if (agree * 2 > all) {
      shift_ = shift;
      extent_.known = true;
    } else if (!is_image()) {
      extent_.known = true;  // a log whose sectors are in disorder
    }
    // A front that is cut off shows as a small negative number.
    extent_.begin = shift_ > 0xC0000000u
                        ? static_cast<std::int64_t>(shift_) - (std::int64_t{1} << 32)
                        : static_cast<std::int64_t>(shift_);
    extent_.end = extent_.begin + kHeadSectors + ring_sectors_;
    survey_.log_begins_at = extent_.known ? extent_.begin : 0;
  }

  // Something that is not the log alone: only the log in it is judged.
  [[nodiscard]] bool is_image() const {
    if (card_.kind() == CardKind::folder || card_.kind() == CardKind::image) return false;
    return !main_settings_ || main_settings_->address != 0;
  }

  void count_bad() {
    if (!survey_.log_id) {
      extent_ = {true, 0, static_cast<std::int64_t>(survey_.sectors)};
    }
    if (!extent_.known) return;
    for (const BadRun& run : bad_) {
      const std::uint64_t inside = extent_.inside(run);
      switch (run.verdict) {
        case SectorVerdict::damaged:
          survey_.sectors_damaged += inside;
          break;
        case SectorVerdict::foreign:
          survey_.sectors_foreign += inside;
          break;
        case SectorVerdict::newer:
          survey_.sectors_newer += inside;
          break;
        case SectorVerdict::good:
        case SectorVerdict::blank:
          break;
      }
    }
    if (!survey_.log_id) return;
    const auto have = static_cast<std::int64_t>(survey_.sectors);
    if (extent_.begin < 0) survey_.sectors_cut_off += static_cast<std::uint64_t>(-extent_.begin);
    if (extent_.end > have)
      survey_.sectors_cut_off += static_cast<std::uint64_t>(extent_.end - have);
  }

  void count_misplaced() {
    if (!survey_.log_id || !extent_.known) return;
    for (const SectorPlace& place : survey_.places)
      if (log_of(place) == main_log_) survey_.sectors_misplaced += place.shift != shift_;
  }

  void sort_places() {
    auto& places = survey_.places;
    // Of copies the one that lies where it belongs comes first, and is kept.
    const auto order = [this](const SectorPlace& a, const SectorPlace& b) {
      return place_order(a, b, shift_);
    };
    if (!std::is_sorted(places.begin(), places.end(), order))
      std::sort(places.begin(), places.end(), order);
    std::size_t kept = 0;
    for (const SectorPlace& place : places) {
      const bool follows = kept != 0 && same_key(places[kept - 1], place);
      if (follows && places[kept - 1].crc == place.crc) {
        ++survey_.sectors_copied;
        continue;
      }
      if (follows && !is_settings(place)) ++survey_.sectors_conflict;
      if (log_of(place) == main_log_)
        ++survey_.sectors_good;
      else
        ++survey_.sectors_older_log;
      places[kept++] = place;
    }
    places.resize(kept);
    places.shrink_to_fit();
  }

  void count_missing() {
    const SectorPlace* before = nullptr;
    std::uint32_t newest = 0;
    for (const SectorPlace& place : survey_.places)
      if (in_ring_of_main(place) && place.shift == shift_)
        newest = std::max(newest, place.sequence);
    // What the ring has overwritten since is not a loss.
    const std::uint32_t oldest = newest >= ring_sectors_ ? newest - ring_sectors_ + 1 : 0;
    survey_.ring_sectors = survey_.log_id ? ring_sectors_ : 0;
    survey_.sectors_overwritten = oldest;
    for (const SectorPlace& place : survey_.places) {
      if (!in_ring_of_main(place) || place.sequence < oldest || place.sequence > newest) continue;
      if (!survey_.oldest_sequence) survey_.oldest_sequence = place.sequence;
      survey_.newest_sequence = place.sequence;
      if (before)
        survey_.sectors_missing +=
            missing_between(before->sequence, before->boot_id == place.boot_id, place.sequence);
      else if (oldest == 0)
        survey_.sectors_missing += place.sequence;
      before = &place;
    }
  }

  void gather_boots() {
    if (main_settings_ && main_settings_->settings) {
      survey_.van = main_settings_->settings->van;
      survey_.prepared_unix_ms = main_settings_->settings->prepared_unix_ms;
    }
    for (auto& [key, boot] : boots_)
      if (survey_.log_id && boot.log_id == *survey_.log_id)
        survey_.boots.push_back(std::move(boot));
    std::sort(survey_.boots.begin(), survey_.boots.end(),
              [](const BootFacts& a, const BootFacts& b) {
                return a.first_sequence != b.first_sequence ? a.first_sequence < b.first_sequence
                                                            : a.boot_id < b.boot_id;
              });
    CardClocks clocks = fit_card_clocks(std::vector<std::reference_wrapper<const BootFacts>>(
                                            survey_.boots.begin(), survey_.boots.end()),
                                        survey_.prepared_unix_ms);
    before_prepared_ = clocks.before_prepared;
    survey_.boot_clocks = std::move(clocks.of_boot);
    std::uint32_t supply_min_mv = 0;
    for (std::size_t i = 0; i < survey_.boots.size(); ++i) {
      const BootFacts& boot = survey_.boots[i];
      const BootClock& clock = survey_.boot_clocks[i];
      if (clock.known()) {
        survey_.clock_source = clock.source;
        if (boot.first_tick) take_time(clock, *boot.first_tick);
        if (boot.last_tick) take_time(clock, *boot.last_tick);
      }
      if (!boot.vin.empty() && survey_.vins.size() < kMostVins &&
          std::find(survey_.vins.begin(), survey_.vins.end(), boot.vin) == survey_.vins.end())
        survey_.vins.push_back(boot.vin);
      if (!boot.logger_version.empty()) survey_.logger_version = boot.logger_version;
      if (survey_.van.empty()) survey_.van = boot.van;
      if (boot.supply_min_mv != 0 && (supply_min_mv == 0 || boot.supply_min_mv < supply_min_mv))
        supply_min_mv = boot.supply_min_mv;
      survey_.counters.requests_while_parked += boot.counters.requests_while_parked;
      survey_.counters.refused_transmits += boot.counters.refused_transmits;
      survey_.counters.foreign_tester_events += boot.counters.foreign_tester_events;
      survey_.counters.dropped_samples += boot.counters.dropped_samples;
      survey_.counters.other_frames_per_s =
          std::max(survey_.counters.other_frames_per_s, boot.counters.other_frames_per_s);
      survey_.counters.echoed_frames += boot.counters.echoed_frames;
      survey_.counters.late_answers += boot.counters.late_answers;
      survey_.counters.reply_wait_ms =
          std::max(survey_.counters.reply_wait_ms, boot.counters.reply_wait_ms);
    }
    if (supply_min_mv != 0) survey_.supply_min_v = supply_min_mv / 1000.0;
    if (survey_.first)
      survey_.days_held = static_cast<double>((*survey_.last - *survey_.first).count()) / kMsPerDay;
  }

  void take_time(const BootClock& clock, Tick tick) {
    const UtcTime time{
        std::chrono::milliseconds(static_cast<std::int64_t>(tick) + clock.offset_ms)};
    if (!survey_.first || time < *survey_.first) survey_.first = time;
    if (!survey_.last || time > *survey_.last) survey_.last = time;
  }

  void list_answers() {
    std::vector<PolledPid> wanted;
    for (const BootFacts& boot : survey_.boots) {
      for (const AnsweredSet& set : boot.answered)
        for (std::size_t k = 0; k < set.signals; ++k)
          survey_.answers.push_back({set.ecu, set.signal[k], set.rows});
      wanted.insert(wanted.end(), boot.polled.begin(), boot.polled.end());
      for (const EcuFacts& ecu : boot.ecus) {
        for (const std::uint8_t pid : ecu.supported_pids) wanted.push_back({ecu.response_id, pid});
        for (const std::uint8_t pid : ecu.supported_dids)
          wanted.push_back({ecu.response_id, pid, true});
      }
    }
    auto& answers = survey_.answers;
    const auto key = [](const AnsweredSignal& a) { return std::pair(a.signal, a.ecu); };
    std::sort(answers.begin(), answers.end(),
              [&](const AnsweredSignal& a, const AnsweredSignal& b) { return key(a) < key(b); });
    std::size_t kept = 0;
    for (const AnsweredSignal& a : answers) {
      if (kept != 0 && key(answers[kept - 1]) == key(a))
        answers[kept - 1].rows += a.rows;
      else
        answers[kept++] = a;
    }
    answers.resize(kept);

    std::array<bool, 256> answered{};
    for (const AnsweredSignal& a : answers)
      if (const SignalEntry* entry = find_signal(a.signal)) answered[entry->pid] = true;
    std::sort(wanted.begin(), wanted.end());
    wanted.erase(std::unique(wanted.begin(), wanted.end()), wanted.end());
    // PIDs that only say which PIDs there are, and those that no signal is
    // known of, are not missed by anybody.
    for (const PolledPid& want : wanted)
      if (!answered[want.pid] && !signals_of_pid(want.pid).empty())
        survey_.not_answered.push_back(want);
  }

  void list_findings() {
    auto& findings = survey_.findings;
    const auto find = [&](bool found, Finding finding) {
      if (found) findings.push_back(finding);
    };
    const auto samples = std::any_of(survey_.boots.begin(), survey_.boots.end(),
                                     [](const BootFacts& b) { return b.first_tick.has_value(); });
    bool all_clocks = true;
    bool malformed = false;
    bool broken = false;
    bool reset_too_often = false;
    bool failed = false;
    for (std::size_t i = 0; i < survey_.boots.size(); ++i) {
      const BootClock& clock = survey_.boot_clocks[i];
      if (survey_.boots[i].first_tick && (!clock.known() || clock.jumped)) all_clocks = false;
      malformed = malformed || survey_.boots[i].malformed_records != 0;
      broken = broken || survey_.boots[i].broken_definition;
      reset_too_often = reset_too_often || survey_.boots[i].reset_too_often;
      failed = failed || survey_.boots[i].failure != LoggerFailure::none;
    }
    const bool have_log = survey_.log_id.has_value();
    find(samples && !survey_.first, Finding::clock_missing);
    find(samples && before_prepared_, Finding::clock_before_prepared);
    find(samples && survey_.first && !all_clocks, Finding::clock_guessed);
    find(main_settings_ && (!main_settings_->settings || main_settings_->settings->refused()),
         Finding::settings_refused);
    find(have_log && !main_settings_ && extent_.begin >= 0, Finding::head_destroyed);
    find(survey_.sectors_damaged + survey_.sectors_unreadable != 0, Finding::sectors_damaged);
    find(survey_.sectors_missing != 0, Finding::sectors_missing);
    find(survey_.sectors_foreign + survey_.sectors_conflict != 0, Finding::sectors_foreign);
    find(survey_.sectors_misplaced + survey_.sectors_copied != 0, Finding::sectors_misplaced);
    find(survey_.sectors_cut_off != 0, Finding::truncated);
    find(survey_.sectors_newer != 0, Finding::newer_format);
    find(survey_.sectors_older_log != 0, Finding::older_log);
    find(survey_.counters.dropped_samples != 0, Finding::samples_dropped);
    find(survey_.counters.other_frames_per_s >= kCrowdedFramesPerS, Finding::line_crowded);
    find(survey_.counters.reply_wait_ms != 0, Finding::answers_late);
    find(reset_too_often, Finding::reset_too_often);
    find(failed, Finding::logger_failed);
    find(have_log && survey_.boots.empty(), Finding::no_data_yet);
    find(malformed, Finding::record_malformed);
    find(survey_.sectors_overwritten != 0, Finding::overwritten);
    find(survey_.vins.size() > 1, Finding::van_changed);
    find(broken, Finding::definition_broken);
  }

  void decide() {
    const bool part_written = card_.part_sector_bytes() != 0 && card_.part_sector_is_written();
    if (!survey_.log_id) {
      if (!written_ && !part_written && survey_.sectors_unreadable == 0) {
        survey_.verdict = CardVerdict::no_log;
        survey_.message =
            "blank: nothing was ever written in " + counted(survey_.sectors, "sectors");
        survey_.hint = "a card must be prepared before a logger can use it";
        return;
      }
      survey_.verdict = CardVerdict::needs_attention;
      survey_.message = "no logger sector in " + counted(survey_.sectors, "sectors read");
      if (survey_.sectors_unreadable != 0)
        survey_.message += ", " + counted(survey_.sectors_unreadable, "of which could not be read");
      if (newer_anywhere_)
        survey_.message += "; there are sectors of a newer logger";
      else if (!first_sector_.empty())
        survey_.message += " (" + first_sector_ + ")";
      survey_.hint = newer_anywhere_ ? "use a newer version of this program"
                                     : "pass the mounted folder, or the log file in it";
      return;
    }
    std::string what;
    const auto list = [&](std::uint64_t count, const char* word) {
      if (count == 0) return;
      if (!what.empty()) what += ", ";
      what += counted(count, word);
    };
    list(survey_.sectors_damaged, "damaged");
    list(survey_.sectors_unreadable, "unreadable");
    list(survey_.sectors_foreign, "foreign");
    list(survey_.sectors_newer, "of a newer logger");
    list(survey_.sectors_misplaced, "misplaced");
    list(survey_.sectors_copied, "copied to another place");
    list(survey_.sectors_conflict, "contradicting another");
    if (what.empty()) return;
    survey_.verdict = CardVerdict::needs_attention;
    survey_.message = "sectors " + what + ", beside " + counted(survey_.sectors_good, "good ones");
    survey_.hint = "the good ones can be used; if a second copy says the same, replace the card";
  }

  const CardFile& card_;
  const SectorSink& sink_;
  const CardProgress& progress_;
  CardSurvey survey_;
  BootCensus census_;
  std::unordered_map<std::uint32_t, std::uint32_t> log_index_;
  std::vector<LogTally> logs_;
  std::uint32_t last_log_ = 0;
  std::unordered_map<std::uint64_t, BootFacts> boots_;
  BootFacts* last_boot_ = nullptr;
  std::uint64_t last_boot_key_ = 0;
  std::vector<BadRun> bad_;
  std::vector<SettingsSeen> settings_;
  std::string first_sector_;
  bool written_ = false;  // anything but blank was seen
  bool newer_anywhere_ = false;
  bool before_prepared_ = false;

  const SettingsSeen* main_settings_ = nullptr;
  std::uint32_t main_log_ = 0;
  std::uint32_t ring_sectors_ = 0;
  std::uint32_t shift_ = 0;
  Extent extent_;
};

}  // namespace

CardSurvey survey_card(const CardFile& card, const SectorSink& sink, const CardProgress& progress) {
  return Surveyor(card, sink, progress).run();
}

}  // namespace packmile
