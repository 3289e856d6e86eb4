#include "money/meter_stretches.hpp"

#include <algorithm>
#include <cmath>

#include "energy/noted_charges.hpp"

namespace packmile {
namespace {

// Two notes of a counter, and how the second goes on from the first.
struct Counted {
  double kwh = 0;
  bool since_last = false;  // the whole time between them
  bool lost_before = false;
};

Counted counted_of(const MeterNote& note, const MeterNote* last, CounterOf counter) {
  if (last == nullptr) return {note.kwh(), false, false};
  const bool goes_on = last->after_kwh <= note.before_kwh;
  if (goes_on && counter == CounterOf::this_van)
    return {note.after_kwh - last->after_kwh, true, false};
  // The part that both have counts once.
  const bool overlaps = last->before_kwh <= note.before_kwh && note.before_kwh < last->after_kwh;
  if (overlaps)
    return {std::fmax(0, note.after_kwh - last->after_kwh), counter == CounterOf::this_van, false};
  return {note.kwh(), false, !goes_on && counter == CounterOf::this_van};
}

// What known charges take off a stretch, kWh.
struct TakenOff {
  double by_notes = 0;  // of charges that a note of this stretch is about
  double said = 0;      // of the rest, by the time that is said
  double least = 0;     // surely at the counter, surely in the stretch
  double most = 0;      // may be both
  double older = 0;     // before a stretch whose beginning is not known
};

class StretchMaker {
 public:
  StretchMaker(std::span<const KnownCharge> charges, MeterStretch& stretch, const MeterNote* last)
      : charges_(charges), out_(stretch), last_(last) {}

  void take_off(double error_pct) {
    TakenOff off;
    for (std::size_t k = 0; k < charges_.size(); ++k) take(k, off);
    const double rest = out_.counted_kwh - off.by_notes;
    // Two cut readings differ by a step for nothing.
    if (rest <= out_.step_kwh * (1 + 1e-9)) {
      out_.beyond_kwh = Figure{};
      return;
    }
    const Figure counted = metered_kwh(rest, out_.step_kwh, error_pct);
    Figure beyond{counted.value - off.said, counted.low - off.most - off.older,
                  counted.high - off.least, 0};
    // Where a charge may lie on either side of a reading, or elsewhere, what is left
    // may be that charge.
    if (counted.low <= off.most && off.most > off.least) beyond.value = 0;
    beyond.low = std::fmax(0, beyond.low);
    beyond.value = std::fmax(beyond.low, beyond.value);
    beyond.high = std::fmax(beyond.value, beyond.high);
    out_.beyond_kwh = beyond;
  }

  [[nodiscard]] bool any_since(UtcTime from) const {
    return std::ranges::any_of(charges_, [&](const KnownCharge& charge) {
      return (!charge.meter_note || *charge.meter_note == out_.note_id) && charge.latest >= from &&
             charge.earliest <= out_.when.to + kReadByEye;
    });
  }

 private:
  void take(std::size_t k, TakenOff& off) {
    const KnownCharge& charge = charges_[k];
    if (charge.meter_note) {
      if (*charge.meter_note == out_.note_id) off.by_notes += charge.kwh.value_or(0);
      return;
    }
    const UtcTime since = last_ != nullptr ? last_->when.to : out_.priced_from;
    const bool said = charge.end <= out_.when.to && charge.end > since;
    if (!charge.kwh) {
      if (said) out_.counted_too.push_back(k);
      return;
    }
    const bool surely = charge.latest <= out_.when.from && charge.earliest >= since;
    const UtcTime begins = last_ != nullptr ? last_->when.from : out_.priced_from;
    const bool before_end = charge.earliest < out_.when.to;
    if (said) off.said += *charge.kwh;
    if (surely && charge.surely_there) off.least += *charge.kwh;
    if (said || (before_end && charge.latest > begins))
      off.most += *charge.kwh;
    else if (before_end && last_ == nullptr)
      off.older += *charge.kwh;
  }

  std::span<const KnownCharge> charges_;
  MeterStretch& out_;
  const MeterNote* last_;
};

}  // namespace

Figure metered_kwh(double kwh, double step_kwh, double error_pct) {
  // Each end is cut down to its step: triangular.
  return figure_of(kwh, step_kwh / std::sqrt(6.0), kwh * error_pct / 100 / std::sqrt(3.0));
}

std::vector<MeterStretch> meter_stretches(std::span<const MeterNote> notes,
                                          std::span<const KnownCharge> charges, CounterOf counter,
                                          std::optional<double> nominal_kwh, double error_pct) {
  std::vector<MeterStretch> out;
  for (std::size_t k = 0; k < notes.size(); ++k) {
    const MeterNote& note = notes[k];
    const MeterNote* last = k > 0 ? &notes[k - 1] : nullptr;
    const Counted counted = counted_of(note, last, counter);
    MeterStretch stretch;
    stretch.note_id = note.id;
    stretch.when = note.when;
    stretch.counted_kwh = counted.kwh;
    stretch.step_kwh = note.step_kwh;
    stretch.lost_before = counted.lost_before;
    stretch.priced_from = last != nullptr ? last->when.from : note.when.from - kFirstMeterNote;
    if (counted.since_last) stretch.since = last->when.from;
    StretchMaker maker{charges, stretch, last};
    const bool many = nominal_kwh && counted.kwh - note.step_kwh > kMostOfOneCharge * *nominal_kwh;
    const bool one_van = counter == CounterOf::this_van || (many && counter == CounterOf::not_told);
    if (one_van)
      maker.take_off(error_pct);
    else if (many)
      stretch.others_known = maker.any_since(stretch.priced_from);
    else if (maker.any_since(note.when.from - kWrittenDownWithin))
      // It is one charge, and the van was heard to charge at that time.
      stretch.beyond_kwh = Figure{};
    else
      stretch.beyond_kwh = metered_kwh(counted.kwh, note.step_kwh, error_pct);
    out.push_back(std::move(stretch));
  }
  return out;
}

}  // namespace packmile
