#include "reading/pack_reading.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "reading/coding_votes.hpp"
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
  std::int64_t last_ms = 0;
};

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

  int reached_positive = 0;
  int reached_negative = 0;
  for (const SignKind kind : kKinds) {
    reached_positive += sign.kind(kind).reached_positive();
    reached_negative += sign.kind(kind).reached_negative();
  }
  if (reached_positive > 0 && reached_negative > 0) {
    return {CurrentVerdict::contradictory, CurrentSign::unknown,
            "the kinds of evidence disagree about the sign, or it changed: " + all_tallies(sign)};
  }
  const CurrentSign leaning = reached_positive > 0   ? CurrentSign::discharge_positive
                              : reached_negative > 0 ? CurrentSign::discharge_negative
                                                     : CurrentSign::unknown;
  const std::int64_t soc_votes =
      sign.kind(SignKind::soc_drive).positive() + sign.kind(SignKind::soc_drive).negative() +
      sign.kind(SignKind::soc_charge).positive() + sign.kind(SignKind::soc_charge).negative();
  if (sign.stuck(leaning) * kMovesPerStuck > soc_votes) {
    return {CurrentVerdict::contradictory, CurrentSign::unknown,
            "the state of charge is answered and does not move while 3 Ah or more flow one way (" +
                all_tallies(sign) + ")"};
  }
  if (leaning != CurrentSign::unknown) {
    for (const SignKind kind : kKinds) {
      if (sign.kind(kind).speaks_against(leaning)) {
        return {CurrentVerdict::contradictory, CurrentSign::unknown,
                std::string(story_of(kind)) + " speaks against the rest: " + all_tallies(sign)};
      }
    }
    const double ohm = sign.resistance_ohm();
    if (ohm >= 0 && (ohm < kLeastOhm || ohm > kMostOhm)) {
      return {CurrentVerdict::contradictory, CurrentSign::unknown,
              "the scale is doubtful: voltage over current makes a pack of " + std::to_string(ohm) +
                  " ohm, outside 0.01 to 1"};
    }
    const VoteWalk& charging = sign.kind(SignKind::soc_charge);
    if (reached_positive + reached_negative >= 2 || charging.reached_positive() ||
        charging.reached_negative()) {
      return {CurrentVerdict::agreed, leaning,
              std::string(leaning == CurrentSign::discharge_positive ? "positive" : "negative") +
                  " is discharge (votes for positive : negative): " + all_tallies(sign)};
    }
  }
  std::string missing = leaning == CurrentSign::unknown
                            ? "too few votes yet (" + all_tallies(sign) + "): "
                            : "only one kind of evidence has decided (" + all_tallies(sign) + "): ";
  return {CurrentVerdict::too_little, CurrentSign::unknown,
          missing + "drive for ten minutes with speed answered, or charge by 8 % at rest"};
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
  votes.sign.observe(episode, coding);
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
    reading.decided_on = UtcTime{std::chrono::milliseconds{votes.last_ms}};
    readings.push_back(std::move(reading));
  }
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
