#include "timeline/van_history.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "timeline/boot_order.hpp"
#include "timeline/clock_repair.hpp"
#include "timeline/episode_builder.hpp"
#include "timeline/odometer_span.hpp"
#include "timeline/owners_judge.hpp"
#include "timeline/van_identity.hpp"

namespace packmile {
namespace {

void find(std::vector<Finding>& findings, Finding finding) {
  if (std::find(findings.begin(), findings.end(), finding) == findings.end())
    findings.push_back(finding);
}

std::string log_name(std::uint32_t log_id) {
  constexpr std::string_view digits = "0123456789ABCDEF";
  std::string name = "log-";
  for (int shift = 28; shift >= 0; shift -= 4) name += digits[log_id >> shift & 0xF];
  return name;
}

std::int64_t start_ms(const Boot& boot) {
  return boot.clock_offset_ms + static_cast<std::int64_t>(boot.first_tick);
}

bool in_order_of_time(const Boot& a, const Boot& b) {
  if (start_ms(a) != start_ms(b)) return start_ms(a) < start_ms(b);
  if (a.log_id != b.log_id) return a.log_id < b.log_id;
  if (a.first_sequence != b.first_sequence) return a.first_sequence < b.first_sequence;
  return a.boot_id < b.boot_id;
}

CardUse& card_of(std::vector<CardUse>& cards, std::uint32_t log_id) {
  const auto at =
      std::lower_bound(cards.begin(), cards.end(), log_id,
                       [](const CardUse& card, std::uint32_t id) { return card.log_id < id; });
  if (at != cards.end() && at->log_id == log_id) return *at;
  CardUse card;
  card.log_id = log_id;
  return *cards.insert(at, std::move(card));
}

void widen(CardUse& card, const Boot& boot) {
  card.sectors += boot.sectors;
  card.sectors_missing += boot.sectors_missing;
  card.requests_while_parked += boot.counters.requests_while_parked;
  if (!boot.has_samples) return;
  ++card.boots;
  card.boots_without_clock += boot.clock_guessed;
  const UtcTime from{std::chrono::milliseconds{start_ms(boot)}};
  const UtcTime to{
      std::chrono::milliseconds{boot.clock_offset_ms + static_cast<std::int64_t>(boot.last_tick)}};
  card.from = card.from ? std::min(*card.from, from) : from;
  card.to = card.to ? std::max(*card.to, to) : to;
}

// Boots of two cards that claim the same time; they are in order of their start.
void find_overlaps(const std::vector<Boot>& boots, std::vector<CardUse>& cards) {
  const Boot* longest = nullptr;
  const auto end_ms = [](const Boot& b) {
    return b.clock_offset_ms + static_cast<std::int64_t>(b.last_tick);
  };
  for (const Boot& boot : boots) {
    if (!boot.has_samples) continue;
    if (longest && longest->log_id != boot.log_id && start_ms(boot) <= end_ms(*longest))
      for (const std::uint32_t log_id : {longest->log_id, boot.log_id})
        find(card_of(cards, log_id).findings, Finding::time_overlap);
    if (!longest || end_ms(boot) > end_ms(*longest)) longest = &boot;
  }
}

// Empty where the VIN tells.
std::string name_of(const Boot& boot, VanTold how) {
  if (!boot.vin.empty()) return {};
  return how == VanTold::name ? boot.settings_van : log_name(boot.log_id);
}

// Odometers are looked at for vans that have a boot without a clock, and for so
// many boots; without one a boot is bounded by its card alone.
constexpr std::size_t kMostOdometers = 20'000;

// Now that it is known whose each boot is, also by the other cards of its van.
Result<Done> repair_all(std::vector<LogBoots>& logs, const std::vector<std::vector<VanTold>>& told,
                        const SectorSource& source) {
  std::vector<std::vector<BootOwner>> owners;
  std::set<std::string> guessed;
  for (std::size_t k = 0; k < logs.size(); ++k) {
    auto& of_log = owners.emplace_back();
    for (std::size_t i = 0; i < logs[k].boots.size(); ++i) {
      const Boot& boot = logs[k].boots[i];
      of_log.push_back({boot.vin + "/" + name_of(boot, told[k][i]), std::nullopt});
      if (boot.clock_guessed && boot.has_samples) guessed.insert(of_log.back().van);
    }
  }
  if (guessed.empty()) return Done{};
  std::size_t looked_at = 0;
  for (std::size_t k = 0; k < logs.size(); ++k) {
    for (std::size_t i = 0; i < logs[k].boots.size(); ++i) {
      if (!guessed.contains(owners[k][i].van) || looked_at == kMostOdometers) continue;
      ++looked_at;
      auto odometer = odometer_of(source, logs[k].boots[i]);
      if (!odometer) return odometer.error();
      owners[k][i].odometer = *odometer;
    }
  }
  std::vector<std::vector<std::int64_t>> was_ms;
  for (const LogBoots& log : logs) {
    auto& of_log = was_ms.emplace_back();
    for (const Boot& boot : log.boots) of_log.push_back(boot.clock_offset_ms);
  }
  repair_clocks(logs, owners);
  for (std::size_t k = 0; k < logs.size(); ++k) {
    const auto moved = [&](std::size_t boot) {
      return std::chrono::milliseconds{logs[k].boots[boot].clock_offset_ms - was_ms[k][boot]};
    };
    for (LogGap& gap : logs[k].gaps) {
      if (gap.lost.from && gap.boot_of_from) *gap.lost.from += moved(*gap.boot_of_from);
      if (gap.lost.to && gap.boot_of_to) *gap.lost.to += moved(*gap.boot_of_to);
    }
  }
  return Done{};
}

bool lost_order(const LostStretch& a, const LostStretch& b) {
  const auto key = [](const LostStretch& s) {
    return std::tuple(s.from.value_or(UtcTime::min()), s.to.value_or(UtcTime::max()), s.log_id,
                      s.why, s.sectors);
  };
  return key(a) < key(b);
}

}  // namespace

Result<std::vector<VanHistory>> VanHistory::open(const SectorSource& source,
                                                 std::optional<UtcTime> pulled_at) {
  std::vector<PulledCard> pulled;
  if (pulled_at) pulled.push_back({*pulled_at});
  return open(source, [pulled](std::uint32_t) { return pulled; });
}

Result<std::vector<VanHistory>> VanHistory::open(const SectorSource& source,
                                                 const PulledAt& pulled_at) {
  return open(source, pulled_at, {});
}

Result<std::vector<VanHistory>> VanHistory::open(const SectorSource& source,
                                                 const PulledAt& pulled_at,
                                                 const VinOfName& vin_of_name) {
  std::vector<LogBoots> logs;
  for (const std::uint32_t log_id : source.log_ids()) {
    auto log = read_log_boots(source, log_id, pulled_at(log_id));
    if (!log) return log.error();
    logs.push_back(std::move(*log));
  }
  const NameOwners owners = name_owners(logs, vin_of_name);
  auto told = tell_vans(logs, source, owners);
  if (!told) return told.error();
  if (auto repaired = repair_all(logs, *told, source); !repaired) return repaired.error();
  const auto of_another = [&](const Boot& boot) {
    const auto owner = owners.vin_of_name.find(boot.settings_van);
    return owner != owners.vin_of_name.end() && owner->second != boot.vin;
  };
  // By VIN, or by name where there is none.
  std::map<std::pair<std::string, std::string>, VanHistory> vans;
  for (std::size_t k = 0; k < logs.size(); ++k) {
    LogBoots& log = logs[k];
    std::set<std::string> in_log;
    for (const Boot& boot : log.boots)
      if (!boot.vin.empty()) in_log.insert(boot.vin);
    auto gap = log.gaps.begin();
    for (std::size_t i = 0; i < log.boots.size(); ++i) {
      Boot& boot = log.boots[i];
      const VanTold how = (*told)[k][i];
      const std::string name = name_of(boot, how);
      VanHistory& van = vans[{boot.vin, name}];
      van.key_ = {boot.vin, name};
      van.source_ = &source;
      CardUse& card = card_of(van.cards_, log.log_id);
      widen(card, boot);
      const auto find_of_card = [&](bool found, Finding finding) {
        if (!found) return;
        find(card.findings, finding);
        find(van.findings_, finding);
      };
      find_of_card(how == VanTold::evidence, Finding::van_told_by_evidence);
      find_of_card(how == VanTold::not_told, Finding::van_not_told);
      find_of_card(!boot.vin.empty() && of_another(boot), Finding::van_name_of_another_vin);
      find_of_card(in_log.size() > 1, Finding::van_changed);
      if (log.malformed) find(van.findings_, Finding::record_malformed);
      if (log.conflict) find(van.findings_, Finding::sectors_foreign);
      if (log.no_clock) find(van.findings_, Finding::clock_missing);
      if (boot.has_samples && log.clock_before_prepared)
        find(van.findings_, Finding::clock_before_prepared);
      if (boot.has_samples && boot.clock_guessed && !log.no_clock)
        find(van.findings_, Finding::clock_guessed);
      if (boot.has_samples && boot.order_conflict) find(van.findings_, Finding::order_conflict);
      if (boot.broken_definition) find(van.findings_, Finding::definition_broken);
      if (boot.sectors_missing != 0) find(van.findings_, Finding::sectors_missing);
      if (boot.counters.dropped_samples != 0) find(van.findings_, Finding::samples_dropped);
      for (; gap != log.gaps.end() && gap->boot_behind == i; ++gap) {
        van.lost_.push_back(gap->lost);
        if (gap->lost.why == LostWhy::overwritten) find(van.findings_, Finding::overwritten);
      }
      van.boots_.push_back(std::move(boot));
    }
  }
  std::vector<VanHistory> histories;
  for (auto& [id, van] : vans) {
    std::sort(van.boots_.begin(), van.boots_.end(), in_order_of_time);
    if (!van.key_.vin.empty())
      for (const Boot& boot : van.boots_)
        if (!boot.settings_van.empty() && !of_another(boot)) van.key_.name = boot.settings_van;
    find_overlaps(van.boots_, van.cards_);
    std::sort(van.lost_.begin(), van.lost_.end(), lost_order);
    if (auto judged = van.judge_owners_signals(); !judged) return judged.error();
    std::sort(van.findings_.begin(), van.findings_.end());
    histories.push_back(std::move(van));
  }
  return histories;
}

Result<Done> VanHistory::judge_owners_signals() {
  if (std::none_of(boots_.begin(), boots_.end(),
                   [](const Boot& boot) { return !boot.owners_signals.empty(); }))
    return Done{};
  OwnersJudge judge{boots_};
  auto walked = for_each_record([&](const Boot& boot, std::span<const BlockView> blocks) {
    judge.begin_boot(boot);
    judge.add_record(blocks);
    return true;
  });
  if (!walked) return walked.error();
  owners_signals_ = judge.finish();
  for (const OwnersJudgement& judged : owners_signals_)
    for (const OwnersComplaint& complaint : judged.complaints) find(findings_, complaint.finding);
  for (Boot& boot : boots_) boot.roles = OwnersJudge::roles_of(boot, owners_signals_);
  return Done{};
}

// The records of all boots, each boot in order of sequence.
Result<Done> VanHistory::for_each_record(const RecordVisit& visit) const {
  RecordDecoder decoder;
  bool stopped = false;
  for (std::size_t begin = 0; begin < boots_.size() && !stopped;) {
    // Boots of one card that follow each other are read in one walk.
    std::size_t end = begin + 1;
    while (end < boots_.size() && boots_[end].log_id == boots_[begin].log_id &&
           boots_[end].first_sequence > boots_[end - 1].last_sequence)
      ++end;
    std::size_t at = begin;
    std::optional<std::uint32_t> last_sequence;  // of the boot in hand
    const auto take = [&](const SectorHeader& header,
                          std::span<const std::uint8_t, kSectorBytes> sector) {
      if (header.kind != SectorKind::data) return true;
      while (at < end && header.sequence > boots_[at].last_sequence) {
        ++at;
        last_sequence.reset();
      }
      if (at == end) return false;
      const Boot& boot = boots_[at];
      // Sectors of another boot lie in between when a copy of the card was
      // continued, or a key has two contents.
      if (header.boot_id != boot.boot_id || header.sequence < boot.first_sequence) return true;
      if (last_sequence == header.sequence) return true;
      last_sequence = header.sequence;
      if (!decoder.decode(sector_payload(sector, header))) {
        find(findings_, Finding::record_malformed);
        return true;
      }
      stopped = !visit(boot, decoder.blocks());
      return !stopped;
    };
    auto walked = source_->for_each_sector(
        boots_[begin].log_id,
        SequenceRange{boots_[begin].first_sequence, boots_[end - 1].last_sequence}, take);
    if (!walked) return walked.error();
    begin = end;
  }
  return Done{};
}

Result<Done> VanHistory::for_each_episode(const std::function<bool(const Episode&)>& visit) const {
  EpisodeBuilder builder(visit);
  auto walked = for_each_record([&](const Boot& boot, std::span<const BlockView> blocks) {
    builder.begin_boot(boot);
    builder.add_record(blocks);
    return !builder.stopped();
  });
  if (!walked) return walked.error();
  if (!builder.stopped()) builder.finish();
  if (builder.time_overlapped()) find(findings_, Finding::time_overlap);
  return Done{};
}

}  // namespace packmile
