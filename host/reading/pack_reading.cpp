#include "reading/pack_reading.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "reading/coding_votes.hpp"
#include "reading/offset_watch.hpp"
#include "reading/pack_charge.hpp"
#include "reading/sign_votes.hpp"

namespace packmile {
namespace {

// Outside these the words are not the volts and amperes they are taken for.
// Common practice, no source.
constexpr double kLeastOhm = 0.01;
constexpr double kMostOhm = 1.0;
constexpr std::int64_t kBalancedVotes = 200;
// One stuck stretch among many that moved condemns the stretch (the trip does
// that), not the van. Common practice, no source.
constexpr std::int64_t kMovesPerStuck = 3;

constexpr std::array kKinds{SignKind::sag, SignKind::kinetic, SignKind::soc_drive,
                            SignKind::soc_charge};

std::string_view word_of(SignKind kind) {
  switch (kind) {
    case SignKind::sag:
      return "sag";
    case SignKind::kinetic:
      return "kinetic";
    case SignKind::soc_drive:
      return "soc_drive";
    case SignKind::soc_charge:
      return "soc_charge";
  }
  return "";
}

std::string_view story_of(SignKind kind) {
  switch (kind) {
    case SignKind::sag:
      return "voltage sag";
    case SignKind::kinetic:
      return "acceleration";
    case SignKind::soc_drive:
      return "charge falling while driving";
    case SignKind::soc_charge:
      return "charge rising at rest";
  }
  return "";
}

std::string tally_text(const VoteWalk& walk) {
  return std::to_string(walk.positive()) + ":" + std::to_string(walk.negative());
}

void number_segments(std::vector<PackReading>& readings) {
  std::vector<Verdict> all;
  for (const PackReading& reading : readings)
    all.insert(all.end(), reading.verdicts.begin(), reading.verdicts.end());
  open_segments(all);
  for (PackReading& reading : readings)
    for (const Verdict& verdict : all)
      if (verdict.ecu == reading.ecu && verdict.calibration_id == reading.calibration_id)
        reading.segment = verdict.segment;
}

// "voltage sag 312:0, acceleration 41:1", kinds with votes only.
std::string all_tallies(const SignVotes& sign) {
  std::string text;
  for (const SignKind kind : kKinds) {
    const VoteWalk& walk = sign.kind(kind);
    if (walk.positive() + walk.negative() == 0) continue;
    if (!text.empty()) text += ", ";
    text += std::string(story_of(kind)) + " " + tally_text(walk);
  }
  return text.empty() ? "no votes" : text;
}

struct VanVotes {
  CodingVotes coding;
  SignVotes sign;
  OffsetWatch offset;
  std::uint64_t episodes = 0;
  std::int64_t first_ms = 0;
  std::int64_t last_ms = 0;
};

// The sign by its votes alone; the verdict needs more.
struct SignFound {
  VerdictAnswer answer = VerdictAnswer::too_little;
  // Of the walks that ended; unknown: none did, or they disagree.
  CurrentSign leaning = CurrentSign::unknown;
  std::optional<SignKind> against;  // a kind that speaks against it
};

SignFound sign_of(const SignVotes& sign) {
  int positive = 0;
  int negative = 0;
  for (const SignKind kind : kKinds) {
    positive += sign.kind(kind).reached_positive();
    negative += sign.kind(kind).reached_negative();
  }
  SignFound found;
  if (positive > 0 && negative > 0) {
    found.answer = VerdictAnswer::contradictory;
    return found;
  }
  if (positive + negative == 0) return found;
  found.leaning = positive > 0 ? CurrentSign::discharge_positive : CurrentSign::discharge_negative;
  for (const SignKind kind : kKinds) {
    if (!sign.kind(kind).speaks_against(found.leaning)) continue;
    found.answer = VerdictAnswer::contradictory;
    found.against = kind;
    return found;
  }
  const VoteWalk& charging = sign.kind(SignKind::soc_charge);
  if (positive + negative >= 2 || charging.reached_positive() || charging.reached_negative())
    found.answer = VerdictAnswer::agreed;
  return found;
}

struct Outcome {
  CurrentVerdict verdict;
  CurrentSign sign = CurrentSign::unknown;
  std::string evidence;
};

Outcome judge(const CodingVotes& coding_votes, CurrentCoding coding, const SignVotes& sign) {
  if (coding_votes.contradictory()) {
    return {CurrentVerdict::contradictory, CurrentSign::unknown,
            "some days read only as two's complement, others only as offset binary: the pack "
            "controller or its software changed"};
  }
  if (sign.unseen_rises() > sign.seen_rises()) {
    return {CurrentVerdict::not_pack_current, CurrentSign::unknown,
            "the state of charge rose at rest while this current stayed below 0.3 A: it does not "
            "see what charges the pack"};
  }
  // A current that has nothing to do with the voltage walks to both ends in
  // time; what flips in another kind is a sign that changed.
  const auto flipped = [&](SignKind kind) {
    return sign.kind(kind).reached_positive() && sign.kind(kind).reached_negative();
  };
  const bool sign_changed =
      flipped(SignKind::kinetic) || flipped(SignKind::soc_drive) || flipped(SignKind::soc_charge);
  const VoteWalk& sag = sign.kind(SignKind::sag);
  const std::int64_t sag_votes = sag.positive() + sag.negative();
  // Votes by chance stay within two standard deviations of a tie.
  const double by_chance =
      std::max<double>(kWalkEnd, 2 * std::sqrt(static_cast<double>(sag_votes)));
  if (!sign_changed && sign.soc_fell() && sag_votes >= kBalancedVotes &&
      static_cast<double>(std::abs(sag.positive() - sag.negative())) < by_chance) {
    return {CurrentVerdict::not_pack_current, CurrentSign::unknown,
            "the voltage does not follow this current (" + tally_text(sag) +
                ") although the state of charge falls"};
  }
  if (coding == CurrentCoding::unknown) {
    return {CurrentVerdict::too_little, CurrentSign::unknown,
            coding_votes.tally().enough()
                ? "more than 1 % of the current words are impossible under either coding"
                : "the current word is constant or was seen for less than a minute: drive for ten "
                  "minutes, or charge"};
  }

  const SignFound found = sign_of(sign);
  if (found.answer == VerdictAnswer::contradictory && !found.against) {
    return {CurrentVerdict::contradictory, CurrentSign::unknown,
            "the kinds of evidence disagree about the sign, or it changed: " + all_tallies(sign)};
  }
  const CurrentSign leaning = found.leaning;
  const std::int64_t soc_votes =
      sign.kind(SignKind::soc_drive).positive() + sign.kind(SignKind::soc_drive).negative() +
      sign.kind(SignKind::soc_charge).positive() + sign.kind(SignKind::soc_charge).negative();
  if (sign.stuck(leaning) * kMovesPerStuck > soc_votes) {
    return {CurrentVerdict::contradictory, CurrentSign::unknown,
            "the state of charge is answered and does not move while 3 Ah or more flow one way (" +
                all_tallies(sign) + ")"};
  }
  if (found.against) {
    return {
        CurrentVerdict::contradictory, CurrentSign::unknown,
        std::string(story_of(*found.against)) + " speaks against the rest: " + all_tallies(sign)};
  }
  if (leaning != CurrentSign::unknown) {
    const double ohm = sign.resistance_ohm();
    if (ohm >= 0 && (ohm < kLeastOhm || ohm > kMostOhm)) {
      return {CurrentVerdict::contradictory, CurrentSign::unknown,
              "the scale is doubtful: voltage over current makes a pack of " + std::to_string(ohm) +
                  " ohm, outside 0.01 to 1"};
    }
  }
  if (found.answer == VerdictAnswer::agreed) {
    return {CurrentVerdict::agreed, leaning,
            std::string(leaning == CurrentSign::discharge_positive ? "positive" : "negative") +
                " is discharge (votes for positive : negative): " + all_tallies(sign)};
  }
  std::string missing = leaning == CurrentSign::unknown
                            ? "too few votes yet (" + all_tallies(sign) + "): "
                            : "only one kind of evidence has decided (" + all_tallies(sign) + "): ";
  return {CurrentVerdict::too_little, CurrentSign::unknown,
          missing + "drive for ten minutes with speed answered, or charge by 8 % at rest"};
}

std::string coding_text(const CodingVotes& coding) {
  const CodingTally& tally = coding.tally();
  return fmt::format(
      "{} words are possible as two's complement, {} as offset binary, {} under neither, over "
      "{:.0f} min",
      tally.twos, tally.offset, tally.junk,
      static_cast<double>(tally.last_ms - tally.first_ms) / 60e3);
}

// The verdict of the current, taken apart into its questions.
std::vector<Verdict> questions_of(const VanVotes& votes, const PackReading& reading,
                                  const std::optional<OffsetFound>& offset) {
  const auto row = [&](VerdictQuestion question) {
    Verdict verdict;
    verdict.question = question;
    verdict.ecu = reading.ecu;
    verdict.calibration_id = reading.calibration_id;
    verdict.seen_from = reading.seen_from;
    verdict.decided_on = reading.decided_on;
    return verdict;
  };
  Verdict coding = row(VerdictQuestion::coding);
  coding.evidence = coding_text(votes.coding);
  if (votes.coding.contradictory()) {
    coding.answer = VerdictAnswer::contradictory;
    coding.evidence += "; some days decide for the one, others for the other";
  } else if (reading.coding != CurrentCoding::unknown) {
    coding.answer = VerdictAnswer::agreed;
    coding.word = word_of(reading.coding);
  } else if (votes.coding.tally().enough()) {
    coding.evidence += "; more than 1 % speak against either";
  } else {
    coding.evidence +=
        "; 60 words over a minute, three of them distinct, are needed: drive for ten minutes";
  }

  const bool foreign = reading.verdict == CurrentVerdict::not_pack_current;
  Verdict sign = row(VerdictQuestion::sign);
  const SignFound found = sign_of(votes.sign);
  sign.answer = foreign ? VerdictAnswer::not_applicable : found.answer;
  sign.evidence = "votes for positive : negative is discharge: " + all_tallies(votes.sign);
  if (foreign) {
    sign.evidence = "it is not the pack's current";
  } else if (found.answer == VerdictAnswer::agreed) {
    sign.word = word_of(found.leaning);
  } else if (found.answer == VerdictAnswer::contradictory) {
    sign.evidence += "; the kinds disagree, or it changed";
  } else {
    sign.evidence +=
        "; two kinds must decide, or a charge at rest: drive for ten minutes with speed answered, "
        "or charge by 8 %";
  }

  Verdict pack = row(VerdictQuestion::pack_current);
  pack.evidence = reading.evidence;
  switch (reading.verdict) {
    case CurrentVerdict::agreed:
      pack.answer = VerdictAnswer::agreed;
      pack.word = "yes";
      break;
    case CurrentVerdict::not_pack_current:
      pack.answer = VerdictAnswer::agreed;
      pack.word = "no";
      break;
    case CurrentVerdict::contradictory:
      pack.answer = VerdictAnswer::contradictory;
      break;
    case CurrentVerdict::too_little:
      pack.answer = VerdictAnswer::too_little;
      break;
  }

  Verdict by_offset = row(VerdictQuestion::offset_a);
  if (offset) {
    by_offset.answer = offset->answer;
    by_offset.evidence = offset->evidence;
    // The errors of a balance are the same every time it is drawn: systematic.
    if (offset->offset && offset->answer == VerdictAnswer::agreed)
      by_offset.number = figure_of(offset->offset->a, 0, offset->offset->u_a);
  } else if (foreign) {
    by_offset.answer = VerdictAnswer::not_applicable;
    by_offset.evidence = "it is not the pack's current";
  } else {
    by_offset.evidence = "what the current means is not agreed yet: see pack_current";
  }
  return {std::move(coding), std::move(sign), std::move(pack), std::move(by_offset)};
}

}  // namespace

std::string_view word_of(CurrentVerdict verdict) {
  switch (verdict) {
    case CurrentVerdict::agreed:
      return "agreed";
    case CurrentVerdict::contradictory:
      return "contradictory";
    case CurrentVerdict::too_little:
      return "too_little";
    case CurrentVerdict::not_pack_current:
      return "not_pack_current";
  }
  return "";
}

std::string_view word_of(CurrentCoding coding) {
  switch (coding) {
    case CurrentCoding::unknown:
      return "unknown";
    case CurrentCoding::twos_complement:
      return "twos";
    case CurrentCoding::offset_binary:
      return "offset";
  }
  return "";
}

std::string_view word_of(CurrentSign sign) {
  switch (sign) {
    case CurrentSign::unknown:
      return "unknown";
    case CurrentSign::discharge_positive:
      return "discharge_positive";
    case CurrentSign::discharge_negative:
      return "discharge_negative";
  }
  return "";
}

double PackReading::pack_a(std::uint16_t raw) const { return pack_tenths_a(raw) / 10.0; }

struct PackEvidence::State {
  std::map<std::pair<std::uint32_t, std::string>, VanVotes> vans;
  PackCharge charge;  // scratch
};

PackEvidence::PackEvidence() : state_(std::make_unique<State>()) {}
PackEvidence::~PackEvidence() = default;
PackEvidence::PackEvidence(PackEvidence&&) noexcept = default;
PackEvidence& PackEvidence::operator=(PackEvidence&&) noexcept = default;

void PackEvidence::observe(const Episode& episode) {
  const PackSeries& pack = episode.pack;
  if (pack.time_ms.empty()) return;
  VanVotes& votes = state_->vans[{pack.ecu, pack.calibration_id}];
  CodingTally tally;
  tally.observe(pack.time_ms, pack.a_raw);
  votes.coding.observe(tally);
  // An episode without a voting word is constant: 0 A under one of the codings.
  CurrentCoding coding = tally.leaning();
  if (coding == CurrentCoding::unknown && possible_tenths_a(twos_tenths_a(pack.a_raw.front()))) {
    coding = CurrentCoding::twos_complement;
  } else if (coding == CurrentCoding::unknown) {
    coding = CurrentCoding::offset_binary;
  }
  state_->charge.fill(pack, coding);
  votes.sign.observe(episode, coding, state_->charge);
  votes.offset.observe(episode, coding, state_->charge);
  const std::int64_t first_ms = pack.time_ms.front();
  votes.first_ms = votes.episodes == 0 ? first_ms : std::min(votes.first_ms, first_ms);
  ++votes.episodes;
  votes.last_ms = std::max(votes.last_ms, pack.time_ms.back());
}

std::vector<PackReading> PackEvidence::decide() const {
  std::vector<PackReading> readings;
  for (const auto& [key, votes] : state_->vans) {
    PackReading reading;
    reading.ecu = key.first;
    reading.calibration_id = key.second;
    reading.coding = votes.coding.decide();
    Outcome outcome = judge(votes.coding, reading.coding, votes.sign);
    reading.verdict = outcome.verdict;
    reading.sign = outcome.sign;
    reading.evidence = std::move(outcome.evidence);
    if (reading.coding != CurrentCoding::unknown) {
      reading.evidence += reading.coding == CurrentCoding::twos_complement
                              ? "; words are two's complement"
                              : "; words are offset binary";
    }
    for (const SignKind kind : kKinds) {
      const VoteWalk& walk = votes.sign.kind(kind);
      reading.tallies.push_back({std::string(word_of(kind)), walk.positive(), walk.negative()});
    }
    reading.seen_from = UtcTime{std::chrono::milliseconds{votes.first_ms}};
    reading.decided_on = UtcTime{std::chrono::milliseconds{votes.last_ms}};
    std::optional<OffsetFound> offset;
    if (reading.verdict == CurrentVerdict::agreed) {
      offset = votes.offset.decide(reading.sign == CurrentSign::discharge_positive ? 1 : -1);
      if (offset->answer == VerdictAnswer::agreed)
        reading.offset = offset->offset;
      else
        reading.offset_wander_a = offset->wander_a;
    }
    reading.verdicts = questions_of(votes, reading, offset);
    readings.push_back(std::move(reading));
  }
  number_segments(readings);
  return readings;
}

const PackReading* reading_of(const std::vector<PackReading>& readings, const Episode& episode) {
  if (episode.pack.time_ms.empty()) return nullptr;
  for (const PackReading& reading : readings) {
    if (reading.ecu == episode.pack.ecu && reading.calibration_id == episode.pack.calibration_id) {
      return &reading;
    }
  }
  return nullptr;
}

}  // namespace packmile
