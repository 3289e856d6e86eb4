#include "timeline/van_history.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "timeline/boot_order.hpp"
#include "timeline/episode_builder.hpp"

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

// What VINs are known to go with, over all logs.
struct KnownVins {
  std::map<std::uint32_t, std::string> by_tag;
  std::map<std::string, std::set<std::string>> by_name;
};

KnownVins known_vins(const std::vector<LogBoots>& logs) {
  KnownVins known;
  for (const LogBoots& log : logs) {
    for (const Boot& boot : log.boots) {
      if (boot.vin.empty()) continue;
      known.by_tag[van_tag_of(boot.vin)] = boot.vin;
      if (!boot.settings_van.empty()) known.by_name[boot.settings_van].insert(boot.vin);
    }
  }
  return known;
}

// Gives a VIN to the boots in which it was not read: by the van tag of their
// sectors; else, when no tag contradicts, by the one VIN of the same card; else
// by the one VIN that goes with their name.
void spread_vins(LogBoots& log, const KnownVins& known) {
  std::set<std::string> in_log;
  for (const Boot& boot : log.boots)
    if (!boot.vin.empty()) in_log.insert(boot.vin);
  for (std::size_t i = 0; i < log.boots.size(); ++i) {
    Boot& boot = log.boots[i];
    if (!boot.vin.empty()) continue;
    if (log.van_tags[i] != 0) {
      const auto tagged = known.by_tag.find(log.van_tags[i]);
      if (tagged != known.by_tag.end()) boot.vin = tagged->second;
      continue;
    }
    const auto named = known.by_name.find(boot.settings_van);
    if (in_log.size() == 1)
      boot.vin = *in_log.begin();
    else if (in_log.empty() && named != known.by_name.end() && named->second.size() == 1)
      boot.vin = *named->second.begin();
  }
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
  return open(source, [pulled_at](std::uint32_t) { return pulled_at; });
}

Result<std::vector<VanHistory>> VanHistory::open(const SectorSource& source,
                                                 const PulledAt& pulled_at) {
  std::vector<LogBoots> logs;
  for (const std::uint32_t log_id : source.log_ids()) {
    auto log = read_log_boots(source, log_id, pulled_at(log_id));
    if (!log) return log.error();
    logs.push_back(std::move(*log));
  }
  const KnownVins known = known_vins(logs);
  // By VIN, or by name where there is none.
  std::map<std::pair<std::string, std::string>, VanHistory> vans;
  for (LogBoots& log : logs) {
    spread_vins(log, known);
    auto gap = log.gaps.begin();
    for (std::size_t i = 0; i < log.boots.size(); ++i) {
      Boot& boot = log.boots[i];
      std::string name;
      if (boot.vin.empty())
        name = boot.settings_van.empty() ? log_name(log.log_id) : boot.settings_van;
      VanHistory& van = vans[{boot.vin, name}];
      van.key_ = {boot.vin, name};
      van.source_ = &source;
      if (log.malformed) find(van.findings_, Finding::record_malformed);
      if (log.conflict) find(van.findings_, Finding::sectors_foreign);
      if (log.no_clock) find(van.findings_, Finding::clock_missing);
      if (boot.has_samples && boot.clock_guessed && !log.no_clock)
        find(van.findings_, Finding::clock_guessed);
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
    // The name that the van went by last.
    if (!van.key_.vin.empty())
      for (const Boot& boot : van.boots_)
        if (!boot.settings_van.empty()) van.key_.name = boot.settings_van;
    std::sort(van.lost_.begin(), van.lost_.end(), lost_order);
    std::sort(van.findings_.begin(), van.findings_.end());
    histories.push_back(std::move(van));
  }
  return histories;
}

Result<Done> VanHistory::for_each_episode(const std::function<bool(const Episode&)>& visit) const {
  EpisodeBuilder builder(visit);
  RecordDecoder decoder;
  for (std::size_t begin = 0; begin < boots_.size() && !builder.stopped();) {
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
      builder.begin_boot(boot);
      builder.add_record(decoder.blocks());
      return !builder.stopped();
    };
    auto walked = source_->for_each_sector(
        boots_[begin].log_id,
        SequenceRange{boots_[begin].first_sequence, boots_[end - 1].last_sequence}, take);
    if (!walked) return walked.error();
    begin = end;
  }
  if (!builder.stopped()) builder.finish();
  if (builder.time_overlapped()) find(findings_, Finding::time_overlap);
  return Done{};
}

}  // namespace packmile
