#include "timeline/owners_judge.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "timeline/episode.hpp"

namespace packmile {
namespace {

constexpr std::size_t kMostWitnesses = 256;
constexpr std::size_t kNoWitness = kMostWitnesses;
// Controllers say something odd now and then, mostly while they start. Common
// practice, no source.
constexpr std::uint64_t kFewestImpossible = 3;
constexpr std::uint64_t kImpossibleShare = 100;  // one in so many
// A drive's worth of samples: the shortest trip that says anything. Common
// practice, no source.
constexpr std::int64_t kDriveMs = 5 * 60'000;
constexpr std::uint64_t kDriveRows = 100;
constexpr double kSocMovedPct = 3;
// A steady charge has a steady current: at rest only one near nothing is wrong.
// Common practice, no source.
constexpr double kNearNothingA = 1;
constexpr double kConstantA = 0.3;
// A signal was being answered when something else of this age was. A record
// holds 30 s at most.
constexpr Tick kAliveMs = 60'000;
constexpr Tick kSpeedHoldsMs = 10'000;
// ECUs round differently, and a reading may be a moment old.
constexpr double kFellKm = 1;
constexpr std::int64_t kFewestAwakeMs = 2 * 60'000;
constexpr std::int64_t kPeriodsAwake = 3;
constexpr double kLargestA = kLargestTenthsA * kPackAStep;

bool near(const std::optional<Tick>& then, Tick now) {
  return then && (*then > now ? *then - now : now - *then) <= kAliveMs;
}

std::string number_text(double value) {
  char text[32];
  std::snprintf(text, sizeof text, std::abs(value) < 1000 ? "%.4g" : "%.0f", value);
  return text;
}

std::string minutes_text(std::int64_t ms) { return std::to_string(ms / 60'000) + " min"; }

std::string signal_text(const OwnersJudgement& judged) {
  const OwnersDefinition& d = judged.definition;
  return "'" + d.name + "' (request id " + hex_text(d.request_id) + ", DID " + hex_text(d.did, 4) +
         ", " + (d.bytes == 1 ? "byte " : "bytes ") + bytes_text(d) + ")";
}

bool is_speed(const Boot& boot, const BlockView& block, SignalId id) {
  return id == signal::speed_kmh && block.ecu == boot.series_ecu.speed;
}
bool is_soc(const Boot& boot, const BlockView& block, SignalId id) {
  return id == signal::soc_pct && block.ecu == boot.series_ecu.soc;
}

std::optional<Finding> impossible_of(SignalRole role) {
  switch (role) {
    case SignalRole::pack_v:
      return Finding::definition_voltage_impossible;
    case SignalRole::soc:
      return Finding::definition_soc_impossible;
    case SignalRole::speed:
      return Finding::definition_speed_impossible;
    case SignalRole::pack_temp:
      return Finding::definition_temperature_impossible;
    case SignalRole::none:
    case SignalRole::pack_a:
    case SignalRole::odometer:
    case SignalRole::charger_state:
    case SignalRole::reported_capacity:
      return std::nullopt;
  }
  return std::nullopt;
}

}  // namespace

OwnersJudge::OwnersJudge(const std::vector<Boot>& boots) {
  for (const Boot& boot : boots) {
    for (const BootOwnersSignal& signal : boot.owners_signals) {
      const std::uint32_t ecu = response_id_of(signal.definition);
      auto at = std::find_if(witnesses_.begin(), witnesses_.end(), [&](const Witness& w) {
        return mean_the_same(w.judgement.definition, signal.definition);
      });
      if (at == witnesses_.end()) {
        if (witnesses_.size() == kMostWitnesses) continue;
        Witness witness;
        witness.judgement.id = signal.id;
        witness.judgement.ecu = ecu;
        witness.judgement.definition = signal.definition;
        at = witnesses_.insert(at, std::move(witness));
      }
      if (boot.has_samples)
        at->asked_for_ms += static_cast<std::int64_t>(boot.last_tick - boot.first_tick);
    }
  }
}

void OwnersJudge::close_boot() {
  for (Witness& witness : witnesses_) {
    if (witness.soc_pct)
      witness.soc_moved_pct =
          std::max(witness.soc_moved_pct, witness.soc_pct->high - witness.soc_pct->low);
    witness.soc_pct.reset();
    witness.last_tick.reset();
  }
  speed_tick_.reset();
  was_moving_ = false;
}

void OwnersJudge::begin_boot(const Boot& boot) {
  if (boot_ == &boot) return;
  close_boot();
  // Which of two boots came first is only known when both have a clock.
  if (boot.clock_guessed || (boot_ && boot_->clock_guessed)) {
    for (Witness& witness : witnesses_) {
      witness.odometer_km.reset();
      witness.falling = false;
    }
  }
  boot_ = &boot;
  witness_of_id_.fill(kNoWitness);
  for (const BootOwnersSignal& signal : boot.owners_signals)
    for (std::size_t k = 0; k < witnesses_.size(); ++k)
      if (mean_the_same(witnesses_[k].judgement.definition, signal.definition))
        witness_of_id_[signal.id - kFirstOwnersSignal] = k;
}

OwnersJudge::Witness* OwnersJudge::witness_of(SignalId id, std::uint32_t ecu) {
  if (id < kFirstOwnersSignal || id >= kFirstOwnersSignal + kMaxOwnersSignals) return nullptr;
  const std::size_t k = witness_of_id_[id - kFirstOwnersSignal];
  if (k >= witnesses_.size() || witnesses_[k].judgement.ecu != ecu) return nullptr;
  return &witnesses_[k];
}

void OwnersJudge::add_record(std::span<const BlockView> blocks) {
  for (const BlockView& block : blocks)
    for (std::size_t column = 0; column < block.signals; ++column)
      if (Witness* witness = witness_of(block.signal[column], block.ecu))
        observe(*witness, block, column);
  // Whoever was answered in this record is known now: what moves, moves them.
  for (const BlockView& block : blocks) {
    for (std::size_t column = 0; column < block.signals; ++column) {
      const SignalId id = block.signal[column];
      const Witness* own = witness_of(id, block.ecu);
      const SignalRole role = own ? own->judgement.definition.role : SignalRole::none;
      if (is_speed(*boot_, block, id))
        observe_speed(block, column, nullptr);
      else if (role == SignalRole::speed && boot_->series_ecu.speed == 0)
        observe_speed(block, column, &own->judgement.definition);
      if (is_soc(*boot_, block, id))
        observe_soc(block, column, nullptr);
      else if (role == SignalRole::soc && boot_->series_ecu.soc == 0)
        observe_soc(block, column, &own->judgement.definition);
    }
  }
}

void OwnersJudge::observe(Witness& witness, const BlockView& block, std::size_t column) {
  OwnersJudgement& judged = witness.judgement;
  const OwnersDefinition& definition = judged.definition;
  const PlausibleRange range = plausible_range(definition.role);
  for (std::size_t i = 0; i < block.rows; ++i) {
    const std::uint32_t word = block.raw[column][i];
    const double value = value_of(definition, word);
    const std::int64_t steps = steps_of(definition, word);
    witness.low_steps = judged.rows == 0 ? steps : std::min(witness.low_steps, steps);
    witness.high_steps = judged.rows == 0 ? steps : std::max(witness.high_steps, steps);
    ++judged.rows;
    if (!range.holds(value)) {
      ++witness.impossible;
      witness.impossible_value = value;
      continue;
    }
    if (definition.role == SignalRole::pack_a && std::abs(value) > kLargestA) {
      ++witness.too_large;
      witness.too_large_value = value;
    }
    if (definition.role != SignalRole::odometer) continue;
    // One reading alone may be a controller that starts.
    const bool lower = witness.odometer_km && value < *witness.odometer_km - kFellKm;
    if (lower && !witness.falling) {
      witness.falling = true;
      continue;
    }
    if (lower && !witness.fell) witness.fell = {*witness.odometer_km, value};
    witness.falling = false;
    witness.odometer_km = value;
  }
  witness.last_tick = block.tick_ms[block.rows - 1];
}

void OwnersJudge::observe_speed(const BlockView& block, std::size_t column,
                                const OwnersDefinition* own) {
  for (std::size_t i = 0; i < block.rows; ++i) {
    const Tick now = block.tick_ms[i];
    const std::uint32_t word = block.raw[column][i];
    const double kmh = own ? value_of(*own, word) : word;
    if (speed_tick_ && was_moving_ && now > *speed_tick_ && now - *speed_tick_ <= kSpeedHoldsMs)
      for (Witness& witness : witnesses_)
        if (witness.judgement.definition.role == SignalRole::pack_a && near(witness.last_tick, now))
          witness.moved_ms += static_cast<std::int64_t>(now - *speed_tick_);
    speed_tick_ = now;
    was_moving_ = kmh >= 1 && kmh <= plausible_range(SignalRole::speed).high;
  }
}

void OwnersJudge::observe_soc(const BlockView& block, std::size_t column,
                              const OwnersDefinition* own) {
  const double step = find_signal(signal::soc_pct)->scale;
  for (std::size_t i = 0; i < block.rows; ++i) {
    const std::uint32_t word = block.raw[column][i];
    const double pct = own ? value_of(*own, word) : word * step;
    if (!plausible_range(SignalRole::soc).holds(pct)) continue;
    for (Witness& witness : witnesses_) {
      if (witness.judgement.definition.role != SignalRole::pack_a ||
          !near(witness.last_tick, block.tick_ms[i]))
        continue;
      if (!witness.soc_pct) witness.soc_pct = {pct, pct};
      witness.soc_pct->low = std::min(witness.soc_pct->low, pct);
      witness.soc_pct->high = std::max(witness.soc_pct->high, pct);
    }
  }
}

void OwnersJudge::condemn(Witness& witness) const {
  OwnersJudgement& judged = witness.judgement;
  const OwnersDefinition& d = judged.definition;
  const std::string_view unit = unit_of(d.role);
  const auto complain = [&](Finding finding, const std::string& seen, const char* check) {
    judged.complaints.push_back({finding, signal_text(judged) + " " + seen +
                                              ": in its [[signal]] of fleet.toml check " + check});
  };
  constexpr char kPlaceAndScale[] =
      "first_byte, bytes, first_bit, bits, byte_order, signed, scale and offset";
  if (judged.rows == 0) {
    const std::int64_t needed_ms =
        std::max(kFewestAwakeMs, kPeriodsAwake * static_cast<std::int64_t>(d.period_ms));
    if (witness.asked_for_ms < needed_ms) return;
    judged.used = false;
    const bool sibling = std::any_of(witnesses_.begin(), witnesses_.end(), [&](const Witness& w) {
      return w.judgement.rows != 0 && w.judgement.definition.did == d.did &&
             w.judgement.definition.request_id == d.request_id;
    });
    if (sibling)
      complain(Finding::definition_too_short, "lies beyond the end of the van's answer",
               "first_byte and bytes");
    else
      complain(Finding::definition_refused,
               "was never answered in " + minutes_text(witness.asked_for_ms) +
                   " awake: refused, silent, or an answer that ends before it",
               "ecu, did, first_byte and bytes");
    return;
  }
  if (const auto finding = impossible_of(d.role);
      finding && witness.impossible >= kFewestImpossible &&
      witness.impossible * kImpossibleShare >= judged.rows) {
    const PlausibleRange range = plausible_range(d.role);
    judged.used = false;
    complain(*finding,
             "gave " + number_text(witness.impossible_value) + " " + std::string{unit} + " (" +
                 std::to_string(witness.impossible) + " of " + std::to_string(judged.rows) +
                 " samples outside " + number_text(std::trunc(range.low) + 0.0) + " to " +
                 number_text(std::trunc(range.high)) + ")",
             kPlaceAndScale);
  }
  if (witness.fell) {
    judged.used = false;
    complain(Finding::definition_odometer_fell,
             "fell from " + number_text(witness.fell->first) + " to " +
                 number_text(witness.fell->second) + " km",
             "that it is no trip meter, and first_byte, bytes, byte_order and scale");
  }
  if (d.role != SignalRole::pack_a) return;
  if (witness.too_large != 0)
    complain(Finding::definition_current_too_large,
             "gave " + number_text(witness.too_large_value) + " A (" +
                 std::to_string(witness.too_large) + " of " + std::to_string(judged.rows) +
                 " samples beyond 3,276.7 A)",
             kPlaceAndScale);
  const double scale = std::abs(d.scale);
  const double spread = static_cast<double>(witness.high_steps - witness.low_steps) * scale;
  const double level = static_cast<double>(witness.low_steps) * d.scale + d.offset;
  if (spread > std::max(scale, kConstantA) || judged.rows < kDriveRows) return;
  const bool drove = witness.moved_ms >= kDriveMs;
  const bool unseen = witness.soc_moved_pct >= kSocMovedPct && std::abs(level) <= kNearNothingA;
  if (!drove && !unseen) return;
  judged.used = false;
  complain(Finding::definition_current_constant,
           "stayed at " + number_text(level) + " A " +
               (drove ? "through " + minutes_text(witness.moved_ms) + " of driving"
                      : "while the state of charge moved by " +
                            number_text(std::round(witness.soc_moved_pct)) + " %"),
           "did, first_byte, bytes, first_bit and bits");
}

std::vector<OwnersJudgement> OwnersJudge::finish() {
  close_boot();
  boot_ = nullptr;
  for (Witness& witness : witnesses_) condemn(witness);
  std::vector<OwnersJudgement> judged;
  for (Witness& witness : witnesses_) judged.push_back(std::move(witness.judgement));
  std::stable_sort(judged.begin(), judged.end(),
                   [](const auto& a, const auto& b) { return a.id < b.id; });
  return judged;
}

OwnersRoles OwnersJudge::roles_of(const Boot& boot, std::span<const OwnersJudgement> judged) {
  OwnersRoles roles;
  for (const BootOwnersSignal& signal : boot.owners_signals) {
    const SignalRole role = signal.definition.role;
    if (role == SignalRole::none || roles.of(role) != nullptr) continue;
    const auto found = std::find_if(judged.begin(), judged.end(), [&](const OwnersJudgement& j) {
      return mean_the_same(j.definition, signal.definition);
    });
    if (found == judged.end() || !found->used || found->rows == 0) continue;
    roles.set(role, {signal.id, found->ecu, signal.definition});
  }
  return roles;
}

}  // namespace packmile
