#include "timeline/boot_order.hpp"

#include <algorithm>
#include <functional>
#include <map>
#include <unordered_map>

#include "card/card_clocks.hpp"
#include "card/sequence_gap.hpp"
#include "timeline/clock_repair.hpp"

namespace packmile {
namespace {

struct Gathered {
  BootFacts facts;
  std::uint32_t newest_sequence = 0;
  std::uint64_t missing = 0;
};

// A gap in the sequence, and where the samples around it are.
struct GatheredGap {
  NumberGap numbers;
  const Gathered* before = nullptr;  // of the last data sector before; may be none
  std::uint32_t before_sequence = 0;
  const Gathered* behind = nullptr;       // of the sector behind
  const Gathered* data_behind = nullptr;  // of the first data sector behind; may be none
  std::uint32_t behind_sequence = 0;
};

class Gatherer {
 public:
  bool take(const SectorHeader& header, std::span<const std::uint8_t> payload) {
    if (header.kind == SectorKind::settings) {
      take_settings(payload);
      return true;
    }
    if (last_ && last_->facts.boot_id == header.boot_id &&
        last_->newest_sequence == header.sequence) {
      conflict = true;
      return true;
    }
    const Gathered* const before = last_;
    const std::uint32_t before_sequence = before ? before->newest_sequence : 0;
    Gathered& boot = boot_of(header);
    take_gap(before, before_sequence, boot, header);
    if (boot.facts.sectors != 0)
      boot.missing += missing_between(boot.newest_sequence, true, header.sequence);
    boot.newest_sequence = header.sequence;
    census_.add(boot.facts, header, payload);
    return true;
  }

  void finish() {
    census_.finish();
    for (std::size_t k = gaps.size(); k > 1; --k) {
      NumberGap& gap = gaps[k - 2].numbers;
      const NumberGap& next = gaps[k - 1].numbers;
      if (parted_by_remnant(gap, next.first)) gap.alive_from = next.alive_from;
    }
  }

  std::vector<std::unique_ptr<Gathered>> boots;
  std::vector<GatheredGap> gaps;
  std::uint32_t ring_sectors = 0;  // of most sectors
  CardSettings settings;
  std::uint64_t prepared_first_unix_ms = 0;
  bool conflict = false;

 private:
  // A changed settings sector is kept beside the old one: the newest counts.
  void take_settings(std::span<const std::uint8_t> payload) {
    const auto read = read_settings(payload);
    if (!read) return;
    if (read->prepared_unix_ms != 0 &&
        (prepared_first_unix_ms == 0 || read->prepared_unix_ms < prepared_first_unix_ms))
      prepared_first_unix_ms = read->prepared_unix_ms;
    if (read->prepared_unix_ms > settings.prepared_unix_ms ||
        (read->prepared_unix_ms == settings.prepared_unix_ms && read->van > settings.van))
      settings = *read;
  }

  // `before`: the boot of the sector before, nullptr for the first one.
  void take_gap(const Gathered* before, std::uint32_t before_sequence, const Gathered& boot,
                const SectorHeader& header) {
    if (ring_votes_ == 0) ring_sectors = header.ring_sectors;
    ring_sectors == header.ring_sectors ? ++ring_votes_ : --ring_votes_;
    const std::uint64_t sectors =
        before ? missing_between(before_sequence, before == &boot, header.sequence)
               : header.sequence;
    if (sectors != 0) {
      if (gaps.size() == kMostGaps) {
        gaps.back().numbers.sectors += sectors;
        gaps.back().data_behind = nullptr;
      } else {
        gaps.push_back(
            {{static_cast<std::uint32_t>(header.sequence - sectors), sectors, header.sequence},
             last_data_,
             last_data_sequence_,
             &boot,
             nullptr,
             0});
      }
    }
    if (header.kind != SectorKind::data) return;
    for (auto gap = gaps.rbegin(); gap != gaps.rend() && !gap->data_behind; ++gap) {
      gap->data_behind = &boot;
      gap->behind_sequence = header.sequence;
    }
    last_data_ = &boot;
    last_data_sequence_ = header.sequence;
  }

  // Boot ids repeat by chance once in some 80,000 boots. One that comes back
  // after other boots, and after more sectors than two session records are
  // apart, is another boot.
  Gathered& boot_of(const SectorHeader& header) {
    if (last_ && last_->facts.boot_id == header.boot_id) return *last_;
    Gathered*& known = by_id_[header.boot_id];
    if (!known || header.sequence - known->newest_sequence > kSessionEverySectors) {
      boots.push_back(std::make_unique<Gathered>());
      known = boots.back().get();
    }
    last_ = known;
    return *known;
  }

  std::unordered_map<std::uint32_t, Gathered*> by_id_;
  Gathered* last_ = nullptr;
  const Gathered* last_data_ = nullptr;
  std::uint32_t last_data_sequence_ = 0;
  std::uint64_t ring_votes_ = 0;
  BootCensus census_{BootCensus::Depth::times};
};

// The ECU with most rows; of equal ones the lowest id.
class Contest {
 public:
  void count(std::uint32_t ecu, std::uint64_t rows) { rows_[ecu] += rows; }
  [[nodiscard]] std::uint32_t winner() const {
    std::uint32_t best = 0;
    std::uint64_t most = 0;
    for (const auto& [ecu, rows] : rows_) {
      if (rows <= most) continue;
      most = rows;
      best = ecu;
    }
    return best;
  }

 private:
  std::map<std::uint32_t, std::uint64_t> rows_;
};

SeriesEcus choose_ecus(const std::vector<AnsweredSet>& sets) {
  Contest pack, speed, soc, odometer, ambient, module_v;
  for (const AnsweredSet& set : sets) {
    const auto end = set.signal.begin() + set.signals;
    const auto has = [&](SignalId id) { return std::find(set.signal.begin(), end, id) != end; };
    if (has(signal::pack_v) && has(signal::pack_a)) pack.count(set.ecu, set.rows);
    if (has(signal::speed_kmh)) speed.count(set.ecu, set.rows);
    if (has(signal::soc_pct)) soc.count(set.ecu, set.rows);
    if (has(signal::odometer_km)) odometer.count(set.ecu, set.rows);
    if (has(signal::ambient_c)) ambient.count(set.ecu, set.rows);
    if (has(signal::module_v)) module_v.count(set.ecu, set.rows);
  }
  return {pack.winner(),     speed.winner(),   soc.winner(),
          odometer.winner(), ambient.winner(), module_v.winner()};
}

Boot boot_from(Gathered& gathered, const CardSettings& settings, const BootClock& clock) {
  BootFacts& facts = gathered.facts;
  Boot boot;
  boot.log_id = facts.log_id;
  boot.boot_id = facts.boot_id;
  boot.first_sequence = facts.first_sequence;
  boot.last_sequence = facts.last_sequence;
  boot.sectors = facts.sectors;
  boot.sectors_missing = gathered.missing;
  boot.vin = std::move(facts.vin);
  boot.settings_van = facts.van.empty() ? settings.van : std::move(facts.van);
  boot.logger_version = std::move(facts.logger_version);
  boot.ecus = std::move(facts.ecus);
  boot.counters = facts.counters;
  boot.supply_min_mv = facts.supply_min_mv;
  boot.has_samples = facts.first_tick.has_value();
  boot.first_tick = facts.first_tick.value_or(0);
  boot.last_tick = facts.last_tick.value_or(0);
  boot.series_ecu = choose_ecus(facts.answered);
  define_by_settings(facts, settings);
  boot.owners_signals = std::move(facts.owners_signals);
  boot.broken_definition = facts.broken_definition;
  boot.clock_source = clock.source;
  boot.clock_offset_ms = clock.offset_ms;
  boot.clock_uncertainty_ms = clock.uncertainty_ms;
  // One that was set during the boot says between what, not when.
  boot.clock_guessed = !clock.known() || clock.jumped;
  boot.clock_anchors = clock.anchors;
  return boot;
}

// The time of the first or the last sample of one sector. Absent: it has none.
Result<std::optional<UtcTime>> sample_time(const SectorSource& source, const Boot& boot,
                                           std::uint32_t sequence, bool last) {
  std::optional<UtcTime> time;
  RecordDecoder decoder;
  auto walked = source.for_each_sector(
      boot.log_id, SequenceRange{sequence, sequence},
      [&](const SectorHeader& header, std::span<const std::uint8_t, kSectorBytes> sector) {
        if (header.kind != SectorKind::data || header.boot_id != boot.boot_id) return true;
        if (!decoder.decode(sector_payload(sector, header))) return true;
        std::optional<Tick> tick;
        for (const BlockView& block : decoder.blocks()) {
          const Tick at = block.tick_ms[last ? block.rows - 1 : 0];
          tick = !tick ? at : last ? std::max(*tick, at) : std::min(*tick, at);
        }
        if (tick)
          time = UtcTime{
              std::chrono::milliseconds{boot.clock_offset_ms + static_cast<std::int64_t>(*tick)}};
        return !tick;
      });
  if (!walked) return walked.error();
  return time;
}

Result<Done> add_gaps(LogBoots& log, const SectorSource& source, const Gatherer& gatherer) {
  std::unordered_map<const Gathered*, std::size_t> index_of;
  for (std::size_t i = 0; i < gatherer.boots.size(); ++i) index_of[gatherer.boots[i].get()] = i;
  std::vector<std::uint32_t> boot_ends;
  for (const Boot& boot : log.boots) boot_ends.push_back(boot.last_sequence);
  std::sort(boot_ends.begin(), boot_ends.end());
  const GatheredGap* last = nullptr;
  for (const GatheredGap& gap : gatherer.gaps) {
    LogGap out;
    out.boot_behind = index_of[gap.behind];
    out.lost.log_id = log.log_id;
    if (gap.before) {
      auto time = sample_time(source, log.boots[index_of[gap.before]], gap.before_sequence, true);
      if (!time) return time.error();
      out.lost.from = *time;
      out.boot_of_from = index_of[gap.before];
    }
    if (gap.data_behind) {
      auto time =
          sample_time(source, log.boots[index_of[gap.data_behind]], gap.behind_sequence, false);
      if (!time) return time.error();
      out.lost.to = *time;
      out.boot_of_to = index_of[gap.data_behind];
    }
    const std::uint64_t overwritten = overwritten_of(gap.numbers, gatherer.ring_sectors, boot_ends);
    for (const auto& [sectors, why] :
         {std::pair{overwritten, LostWhy::overwritten},
          std::pair{gap.numbers.sectors - overwritten, LostWhy::damaged_or_missing}}) {
      if (sectors == 0) continue;
      out.lost.sectors = sectors;
      out.lost.why = why;
      LogGap* const one = log.gaps.empty() ? nullptr : &log.gaps.back();
      if (one && last && why == LostWhy::overwritten && one->lost.why == why &&
          parted_by_remnant(last->numbers, gap.numbers.first) &&
          log.van_tags[one->boot_behind] == log.van_tags[out.boot_behind]) {
        one->lost.sectors += sectors;
        one->lost.to = out.lost.to;
        one->boot_of_to = out.boot_of_to;
        one->boot_behind = out.boot_behind;
      } else {
        log.gaps.push_back(out);
      }
    }
    last = &gap;
  }
  std::stable_sort(log.gaps.begin(), log.gaps.end(),
                   [](const LogGap& a, const LogGap& b) { return a.boot_behind < b.boot_behind; });
  return Done{};
}

}  // namespace

Result<LogBoots> read_log_boots(const SectorSource& source, std::uint32_t log_id,
                                std::vector<PulledCard> pulled) {
  Gatherer gatherer;
  auto walked = source.for_each_sector(log_id, [&](const SectorHeader& header, const auto& sector) {
    return gatherer.take(header, sector_payload(sector, header));
  });
  if (!walked) return walked.error();
  gatherer.finish();

  LogBoots log;
  log.log_id = log_id;
  log.settings_van = gatherer.settings.van;
  log.prepared_unix_ms = gatherer.settings.prepared_unix_ms;
  log.prepared_first_unix_ms = gatherer.prepared_first_unix_ms;
  log.pulled = std::move(pulled);
  log.conflict = gatherer.conflict;
  std::sort(gatherer.boots.begin(), gatherer.boots.end(), [](const auto& a, const auto& b) {
    return a->facts.first_sequence != b->facts.first_sequence
               ? a->facts.first_sequence < b->facts.first_sequence
               : a->facts.boot_id < b->facts.boot_id;
  });
  std::vector<std::reference_wrapper<const BootFacts>> facts;
  for (const auto& gathered : gatherer.boots) facts.push_back(gathered->facts);
  const CardClocks clocks = fit_card_clocks(facts, gatherer.settings.prepared_unix_ms);
  log.clock_before_prepared = clocks.before_prepared;
  bool samples = false;
  bool clock = false;
  for (std::size_t i = 0; i < gatherer.boots.size(); ++i) {
    Gathered& gathered = *gatherer.boots[i];
    log.malformed = log.malformed || gathered.facts.malformed_records != 0;
    log.van_tags.push_back(gathered.facts.van_tag);
    log.boots.push_back(boot_from(gathered, gatherer.settings, clocks.of_boot[i]));
    samples = samples || log.boots.back().has_samples;
    clock = clock || clocks.of_boot[i].known();
  }
  log.no_clock = samples && !clock;

  repair_clocks({&log, 1}, {});
  if (auto added = add_gaps(log, source, gatherer); !added) return added.error();
  return log;
}

}  // namespace packmile
