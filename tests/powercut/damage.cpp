// A small card that was hurt, cut off, copied about or mixed with another, in
// every way there is: the survey must call each by its name, and the samples of
// untouched sectors must be the same as before.
//
// Method    what the survey should count is worked out again, slowly, from the
//           bytes alone; see expected().
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <memory>
#include <stdexcept>
#include <tuple>

#include "powercut/experiment.hpp"
#include "powercut/small_boot.hpp"

namespace packmile::powercut {
namespace {

constexpr std::uint32_t kDamagedRing = 32;
constexpr std::uint32_t kDamagedLogSectors = kHeadSectors + kDamagedRing;
constexpr std::uint32_t kOtherLogId = 0x0DDB1175;

using Image = std::vector<std::uint8_t>;

struct SmallCard {
  Image image;
  Recorded recorded;
  // The places of the ring that still hold sectors of one boot, for each boot.
  std::map<std::uint32_t, std::vector<std::uint32_t>> boots;
};

std::span<std::uint8_t, kSectorBytes> at(Image& image, std::size_t address) {
  return std::span(image).subspan(address * kSectorBytes).first<kSectorBytes>();
}
std::span<const std::uint8_t, kSectorBytes> at(const Image& image, std::size_t address) {
  return std::span(image).subspan(address * kSectorBytes).first<kSectorBytes>();
}
void put(Image& to, std::size_t address, std::span<const std::uint8_t, kSectorBytes> bytes) {
  std::copy(bytes.begin(), bytes.end(), at(to, address).begin());
}

// More than two laps of boots of different lengths. `boot_id` of 0 for `step`:
// every boot draws the same id.
std::unique_ptr<SmallCard> make_card(std::uint32_t log_id, std::uint32_t boot_id,
                                     std::uint32_t step, std::uint64_t seed,
                                     std::initializer_list<std::uint32_t> boot_sectors) {
  auto made = std::make_unique<SmallCard>();
  LyingCard card(kDamagedLogSectors, seed);
  prepare(card, kDamagedRing, log_id);
  Tally tally;
  Tick tick = 4'000;
  for (const std::uint32_t sectors : boot_sectors) {
    card.power_up({});
    SmallBoot boot(card, kDamagedRing, log_id, boot_id, seed + tick, made->recorded, tally, "card",
                   tick);
    if (!boot.find_end() || !boot.write_sectors(sectors)) throw std::logic_error("no small card");
    card.cut();
    boot_id += step;
    tick += 10'000'000;
  }
  made->image = card.image();
  for (std::uint32_t place = 0; place < kDamagedRing; ++place) {
    SectorHeader header;
    if (read_sector(at(made->image, kHeadSectors + place), header) == SectorVerdict::good)
      made->boots[header.boot_id].push_back(place);
  }
  return made;
}

struct Expected {
  std::uint64_t good = 0, damaged = 0, misplaced = 0, copied = 0, conflict = 0, other_log = 0;
  bool operator==(const Expected&) const = default;
};

// By the definition: a copy is the same sector again, kept once; a sector is
// misplaced when no instance of it lies where it belongs; a conflict is another
// content under the same key.
Expected expected(const Image& image, std::uint32_t log_id) {
  Expected e;
  std::map<std::vector<std::uint8_t>, bool> seen;  // bytes: lies where it belongs
  std::map<std::tuple<std::uint32_t, std::uint32_t, std::uint32_t, bool>, std::uint64_t> keys;
  std::map<std::vector<std::uint8_t>, std::uint32_t> log_of;
  for (std::size_t address = 0; (address + 1) * kSectorBytes <= image.size(); ++address) {
    SectorHeader header;
    const auto sector = at(image, address);
    const SectorVerdict verdict = read_sector(sector, header);
    if (verdict == SectorVerdict::damaged) ++e.damaged;
    if (verdict != SectorVerdict::good) continue;
    const bool settings = header.kind == SectorKind::settings;
    const bool home =
        address == (settings ? 0 : kHeadSectors + header.sequence % header.ring_sectors);
    const std::vector<std::uint8_t> bytes(sector.begin(), sector.end());
    const auto [it, is_new] = seen.try_emplace(bytes, home);
    if (!is_new) {
      ++e.copied;
      it->second = it->second || home;
      continue;
    }
    log_of[bytes] = header.log_id;
    header.log_id == log_id ? ++e.good : ++e.other_log;
    if (++keys[{header.log_id, header.boot_id, header.sequence, settings}] > 1) ++e.conflict;
  }
  for (const auto& [bytes, home] : seen)
    if (!home && log_of[bytes] == log_id) ++e.misplaced;
  return e;
}

Expected found(const CardSurvey& s) {
  return {s.sectors_good,   s.sectors_damaged,  s.sectors_misplaced,
          s.sectors_copied, s.sectors_conflict, s.sectors_older_log};
}

std::string words(const Expected& e) {
  return fmt::format("good {} damaged {} misplaced {} copied {} conflict {} other log {}", e.good,
                     e.damaged, e.misplaced, e.copied, e.conflict, e.other_log);
}

bool has(const CardSurvey& survey, Finding finding) {
  return std::find(survey.findings.begin(), survey.findings.end(), finding) !=
         survey.findings.end();
}

// The counts, the findings that go with them, and the verdict.
void check_names(const CardSurvey& survey, const Expected& e, const std::string& name,
                 Tally& tally) {
  const auto wrong = [&](const std::string& what) {
    tally.fail(tally.named_wrong, name + ": " + what);
  };
  if (!(found(survey) == e)) return wrong("is " + words(e) + "; survey " + words(found(survey)));
  if (has(survey, Finding::sectors_damaged) != (e.damaged != 0)) return wrong("finding damaged");
  if (has(survey, Finding::sectors_misplaced) != (e.misplaced + e.copied != 0))
    return wrong("finding misplaced");
  if (has(survey, Finding::older_log) != (e.other_log != 0)) return wrong("finding older log");
  if (has(survey, Finding::sectors_foreign) != (e.conflict != 0)) return wrong("finding conflict");
  const bool trouble = e.damaged + e.misplaced + e.copied + e.conflict != 0;
  if ((survey.verdict == CardVerdict::needs_attention) != trouble) return wrong("verdict");
  if (survey.message.empty() == trouble || survey.hint.empty() == trouble) return wrong("message");
}

void judge_named(Reader& reader, const Image& image, const Recorded& recorded, std::uint32_t log_id,
                 const std::string& name, Tally& tally) {
  const CardSurvey survey = reader.judge(image, recorded, name, tally);
  check_names(survey, expected(image, log_id), name, tally);
}

void flips(const Settings& settings, const SmallCard& card, std::vector<Row>& rows) {
  Reader whole_reader;
  const CardSurvey whole = whole_reader.survey(card.image);
  const std::uint32_t newest = card.recorded.sector(card.recorded.sectors() - 1).header.sequence;
  rows.push_back(
      {"every bit of the card flipped", true,
       run_cases(
           settings, card.image.size() * 8, [&](std::uint64_t n, Reader& reader, Tally& tally) {
             thread_local Image image;
             image = card.image;
             const std::size_t address = n / 8 / kSectorBytes;
             SectorHeader header;
             const bool good = read_sector(at(image, address), header) == SectorVerdict::good;
             image[n / 8] ^= static_cast<std::uint8_t>(1u << n % 8);
             const std::string name = "bit " + std::to_string(n);
             const CardSurvey survey = reader.judge(image, card.recorded, name, tally);
             // No list of the whole card here: only one sector is another.
             Expected e = found(whole);
             e.damaged += 1;
             e.good -= good;
             check_names(survey, e, name, tally);
             if (has(survey, Finding::head_destroyed) != (address == 0))
               tally.fail(tally.named_wrong, name + ": finding head");
             const bool inside =
                 good && address > kHeadSectors && address + 1 < kDamagedLogSectors && [&] {
                   SectorHeader a, b;
                   return read_sector(at(card.image, address - 1), a) == SectorVerdict::good &&
                          read_sector(at(card.image, address + 1), b) == SectorVerdict::good &&
                          a.boot_id == b.boot_id && a.sequence + 2 == b.sequence &&
                          a.sequence + kDamagedRing > newest;
                 }();
             if (inside && survey.sectors_missing != whole.sectors_missing + 1)
               tally.fail(tally.named_wrong, name + ": not counted as missing");
           })});
}

void truncations(const Settings& settings, const SmallCard& card, std::vector<Row>& rows) {
  // Byte lengths 1 .. all but one.
  rows.push_back(
      {"every length of a copy that was cut off", true,
       run_cases(settings, card.image.size() - 1,
                 [&](std::uint64_t n, Reader& reader, Tally& tally) {
                   const std::size_t bytes = n + 1;
                   const Image image(card.image.begin(),
                                     card.image.begin() + static_cast<std::ptrdiff_t>(bytes));
                   const std::string name = std::to_string(bytes) + " bytes";
                   const CardSurvey survey = reader.judge(image, card.recorded, name, tally);
                   const std::uint64_t whole = bytes / kSectorBytes;
                   const auto wrong = [&](const char* what) {
                     tally.fail(tally.named_wrong, name + ": " + what);
                   };
                   if (survey.sectors != whole) return wrong("not all whole sectors read");
                   if (whole == 0) {
                     if (survey.verdict == CardVerdict::sound) wrong("called sound");
                     return;
                   }
                   if (!(found(survey) == expected(image, kSmallLogId))) wrong("counts");
                   if (survey.sectors_cut_off != kDamagedLogSectors - whole)
                     wrong("sectors cut off");
                   if (!has(survey, Finding::truncated)) wrong("not called truncated");
                 })});
}

void places(const Settings& settings, const SmallCard& card, const SmallCard& other,
            std::vector<Row>& rows) {
  constexpr std::uint64_t kPairs = std::uint64_t{kDamagedLogSectors} * kDamagedLogSectors;
  rows.push_back(
      {"every pair of sectors swapped", true,
       run_cases(settings, std::uint64_t{kDamagedLogSectors} * (kDamagedLogSectors - 1) / 2,
                 [&](std::uint64_t n, Reader& reader, Tally& tally) {
                   std::size_t i = 1;
                   while (n >= i) n -= i++;
                   const auto j = static_cast<std::size_t>(n);
                   Image image = card.image;
                   put(image, i, at(card.image, j));
                   put(image, j, at(card.image, i));
                   judge_named(reader, image, card.recorded, kSmallLogId,
                               fmt::format("{} and {} swapped", i, j), tally);
                 })});
  rows.push_back({"every sector copied to every place", true,
                  run_cases(settings, kPairs, [&](std::uint64_t n, Reader& reader, Tally& tally) {
                    const std::size_t from = n / kDamagedLogSectors;
                    const std::size_t to = n % kDamagedLogSectors;
                    Image image = card.image;
                    put(image, to, at(card.image, from));
                    judge_named(reader, image, card.recorded, kSmallLogId,
                                fmt::format("{} copied to {}", from, to), tally);
                  })});
  rows.push_back({"every sector of another card at every place", true,
                  run_cases(settings, kPairs, [&](std::uint64_t n, Reader& reader, Tally& tally) {
                    const std::size_t from = n / kDamagedLogSectors;
                    const std::size_t to = n % kDamagedLogSectors;
                    Image image = card.image;
                    put(image, to, at(other.image, from));
                    // The settings say whose life is the present one.
                    const bool taken_over = from == 0 && to == 0;
                    judge_named(reader, image, taken_over ? other.recorded : card.recorded,
                                taken_over ? kOtherLogId : kSmallLogId,
                                fmt::format("{} of another card at {}", from, to), tally);
                  })});
  rows.push_back(
      {"another card up to every sector", true,
       run_cases(settings, kDamagedLogSectors, [&](std::uint64_t n, Reader& reader, Tally& tally) {
         Image image = card.image;
         for (std::size_t i = 0; i <= n; ++i) put(image, i, at(other.image, i));
         judge_named(reader, image, other.recorded, kOtherLogId,
                     fmt::format("another card up to {}", n), tally);
         // And the other way: our settings, the other's end.
         image = card.image;
         for (std::size_t i = n + 1; i < kDamagedLogSectors; ++i) put(image, i, at(other.image, i));
         judge_named(reader, image, card.recorded, kSmallLogId,
                     fmt::format("another card from {}", n + 1), tally);
       })});
}

void boots(const Settings& settings, const SmallCard& card, std::vector<Row>& rows) {
  rows.push_back(
      {"every boot copied to every other place", true,
       run_cases(settings, card.boots.size() * (kDamagedRing - 1),
                 [&](std::uint64_t n, Reader& reader, Tally& tally) {
                   const auto boot = std::next(card.boots.begin(),
                                               static_cast<std::ptrdiff_t>(n / (kDamagedRing - 1)));
                   const auto by = static_cast<std::uint32_t>(n % (kDamagedRing - 1)) + 1;
                   Image image = card.image;
                   for (const std::uint32_t place : boot->second)
                     put(image, kHeadSectors + (place + by) % kDamagedRing,
                         at(card.image, kHeadSectors + place));
                   judge_named(reader, image, card.recorded, kSmallLogId,
                               fmt::format("boot {} copied {} on", boot->first, by), tally);
                 })});

  // A card was copied, and both went on: two boots under the same sequences.
  Recorded both(card.recorded, card.recorded.sectors());
  Tally making;
  std::array<Image, 2> went_on;
  for (std::uint32_t which = 0; which < 2; ++which) {
    LyingCard copy(kDamagedLogSectors, settings.seed + which);
    copy.image() = card.image;
    copy.power_up({});
    SmallBoot boot(copy, kDamagedRing, kSmallLogId, 700 + which, settings.seed + 700 + which, both,
                   making, "went on");
    if (!boot.find_end() || !boot.write_sectors(10))
      making.fail(making.not_continued, "a copied card did not go on");
    went_on[which] = copy.image();
  }
  const std::uint32_t began = both.sector(card.recorded.sectors()).address - kHeadSectors;
  rows.push_back(
      {"two copies that went on, mixed at every place", true,
       run_cases(settings, kDamagedRing - 1, [&](std::uint64_t n, Reader& reader, Tally& tally) {
         const auto by = static_cast<std::uint32_t>(n) + 1;
         Image image = went_on[0];
         for (std::uint32_t i = 0; i < 10; ++i)
           put(image, kHeadSectors + (began + i + by) % kDamagedRing,
               at(went_on[1], kHeadSectors + (began + i) % kDamagedRing));
         judge_named(reader, image, both, kSmallLogId, fmt::format("mixed {} on", by), tally);
       })});
  const std::uint64_t cases = rows.back().tally.cases;
  rows.back().tally += making;
  rows.back().tally.cases = cases;

  rows.push_back({"every sector with another content elsewhere", true,
                  run_cases(settings, std::uint64_t{kDamagedRing} * kDamagedRing,
                            [&](std::uint64_t n, Reader& reader, Tally& tally) {
                              const std::size_t from = kHeadSectors + n / kDamagedRing;
                              const std::size_t to = kHeadSectors + n % kDamagedRing;
                              Image image = card.image;
                              Sector forged;
                              std::copy_n(at(image, from).begin(), kSectorBytes, forged.begin());
                              SectorHeader header;
                              if (from == to || read_sector(forged, header) != SectorVerdict::good)
                                return;
                              forged[kSectorHeaderBytes + header.payload_bytes / 2u] ^= 1;
                              seal_sector(forged, header);
                              put(image, to, forged);
                              // What is sealed right is believed, so no samples are held
                              // against what was recorded: only its name.
                              check_names(reader.survey(image), expected(image, kSmallLogId),
                                          fmt::format("{} forged at {}", from, to), tally);
                            })});
}

}  // namespace

void damage_experiments(const Settings& settings, std::vector<Row>& rows) {
  const auto card = make_card(kSmallLogId, 300, 1, settings.seed, {20, 30, 12, 7});
  const auto other = make_card(kOtherLogId, 500, 1, settings.seed + 1, {25, 3, 38, 31});
  flips(settings, *card, rows);
  truncations(settings, *card, rows);
  places(settings, *card, *other, rows);
  boots(settings, *card, rows);

  // Boot ids are 32 random bits: the same one may be drawn twice.
  const auto twice = make_card(kSmallLogId, 300, 0, settings.seed + 2, {12, 20, 9});
  Settings all = settings;
  all.share = 1;
  rows.push_back({"three boots that drew the same id", true,
                  run_cases(all, 1, [&](std::uint64_t, Reader& reader, Tally& tally) {
                    judge_named(reader, twice->image, twice->recorded, kSmallLogId, "same id",
                                tally);
                  })});
}

}  // namespace packmile::powercut
