#include "money/energy_cost.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <map>
#include <numeric>
#include <set>

#include "energy/figure_sum.hpp"
#include "energy/uncertainty.hpp"
#include "money/charge_claims.hpp"

namespace packmile {
namespace {

Figure paid(double sum) { return {sum, sum, sum, 0}; }

// How much of a stretch of the counter lies in a period: of its days on which the van
// was not heard, and of all of them.
struct Share {
  double quiet = 0, all = 0;
};

// Within a stretch cut by a period: the van may have been used from not at all to twice
// as much as in the mean, and a charge may lie on either side (from memory).
Figure part_of(const Figure& whole, const Share& share, double one_charge) {
  if (share.quiet >= 1 && share.all >= 1) return whole;
  const auto cut = [&](double kwh, double part, double sign) {
    const double half = std::min(part, 1 - part) * kwh + std::min(one_charge, kwh);
    return std::clamp(part * kwh + sign * half, 0.0, kwh);
  };
  const double value = share.quiet * whole.value;
  return {value, std::min(value, cut(whole.low, std::min(share.quiet, share.all), -1)),
          std::max(value, cut(whole.high, std::max(share.quiet, share.all), 1)),
          share.quiet * whole.scatter};
}

class EnergyAccount {
 public:
  EnergyAccount(const CostInput& input, const CostSpan& span)
      : in_(input), zone_(input.money->zone), span_(span), claims_(claims_of(*input.priced)) {}

  EnergyCost run() {
    const std::vector<MeterStretch> stretches = stretches_of();
    for (const MeterStretch& stretch : stretches)
      for (const std::size_t k : stretch.counted_too)
        if (known_[k]) counted_by_meter_.insert(*known_[k]);
    heard();
    claimed();
    receipts();
    for (const MeterStretch& stretch : stretches) meter(stretch);
    return result();
  }

 private:
  [[nodiscard]] const ChargeSession& session(std::size_t k) const { return in_.sessions[k]; }
  [[nodiscard]] const SessionCost& cost(std::size_t k) const { return in_.priced->sessions[k]; }
  void leave_out(const char* word, std::string why) {
    const bool said = std::ranges::find(out_.left_out, word, &LeftOut::word) != out_.left_out.end();
    if (!said) out_.left_out.push_back({word, std::move(why)});
  }

  void heard() {
    for (std::size_t k = 0; k < in_.sessions.size(); ++k) {
      const ChargeSession& s = session(k);
      const SessionCost& c = cost(k);
      const bool said = span_.holds(s.start), sure = span_.surely(s.start, s.start_doubt);
      const bool may = span_.maybe(s.start, s.start_doubt);
      if (said != sure || (may && !said)) ++out_.unsure_sessions;
      if (!said) {
        if (may && c.cost.figure) costs_.widen(0, c.cost.figure->high);
        if (may && c.grid_kwh.figure) grid_.widen(0, c.grid_kwh.figure->high);
        continue;
      }
      if (claims_.group_of[k]) continue;  // receipts may be what it cost
      count(k, sure);
    }
  }

  // A charge that is surely paid by itself.
  void count(std::size_t k, bool sure) {
    const SessionCost& c = cost(k);
    ++charges_;
    if (c.grid_kwh.figure) {
      grid_.add(*c.grid_kwh.figure);
      if (!sure) grid_.widen(c.grid_kwh.figure->low, 0);
    } else {
      without_energy(k);
    }
    if (!c.cost.figure) {
      without_cost(k);
      return;
    }
    costs_.add(*c.cost.figure);
    if (!sure) costs_.widen(c.cost.figure->low, 0);
    lost_in_charging(session(k), c);
  }

  // The counter has their energy among what nothing else stands for.
  void without_energy(std::size_t k) {
    if (!counted_by_meter_.contains(k)) ++without_energy_;
  }
  void without_cost(std::size_t k) {
    if (counted_by_meter_.contains(k)) return;
    ++without_cost_;
    if (why_.empty()) why_ = cost(k).cost.why;
  }

  void lost_in_charging(const ChargeSession& s, const SessionCost& c) {
    if (!c.grid_kwh.figure || !s.pack_kwh.figure || !(c.grid_kwh.figure->value > 0)) return;
    Figure pack = *s.pack_kwh.figure;
    if (s.filled_kwh.figure) pack = sum_of(pack, *s.filled_kwh.figure);
    const Figure& socket = *c.grid_kwh.figure;
    const Figure& sum = *c.cost.figure;
    // Worked out from the pack the two are off together; a counter stands by itself.
    const bool noted = c.receipt || c.meter;
    const Figure lost =
        noted
            ? figure_from(
                  socket.value - pack.value,
                  {std::hypot(parts_of(socket).random, parts_of(pack).random),
                   std::hypot(parts_of(socket).systematic_below, parts_of(pack).systematic_above),
                   std::hypot(parts_of(socket).systematic_above, parts_of(pack).systematic_below)})
            : Figure{socket.value - pack.value, socket.low - pack.value, socket.high - pack.value,
                     0};
    const double low = sum.low / socket.value, price = sum.value / socket.value,
                 high = sum.high / socket.value;
    // The interval of a cost holds that of the energy, where that is not noted.
    const double least = noted ? low : price, most = noted ? high : price;
    loss_.add({lost.value * price, lost.low * (lost.low < 0 ? most : least),
               lost.high * (lost.high < 0 ? least : most), lost.scatter * price});
    packs_.add(pack);
    pack_costs_.add(sum);
  }

  // Of charges that receipts may be about, so many are paid by them: any of them.
  void claimed() {
    for (const ClaimGroup& group : claims_.groups) {
      group_sum(group, &SessionCost::cost, costs_);
      group_sum(group, &SessionCost::grid_kwh, grid_);
      const std::size_t left = group.sessions.size() - group.paid;
      if (left == 0) continue;
      for (const std::size_t k : group.sessions) {
        if (!span_.holds(session(k).start)) continue;
        ++charges_;
        if (!cost(k).grid_kwh.figure) without_energy(k);
        if (!cost(k).cost.figure) without_cost(k);
      }
    }
  }

  void group_sum(const ClaimGroup& group, MaybeFigure SessionCost::*member, FigureSum& sum) const {
    const std::size_t all = group.sessions.size(), left = all - group.paid;
    std::vector<double> lows, highs;
    double values = 0;
    for (const std::size_t k : group.sessions) {
      const MaybeFigure& figure = cost(k).*member;
      if (!span_.holds(session(k).start) || !figure.figure) continue;
      const bool sure = span_.surely(session(k).start, session(k).start_doubt);
      lows.push_back(sure ? std::fmax(0, figure.figure->low) : 0);
      highs.push_back(figure.figure->high);
      values += figure.figure->value;
    }
    if (left == 0 || lows.empty()) return;
    const double value = values * static_cast<double>(left) / static_cast<double>(all);
    // Those that are paid by receipts may all be these, or all be others.
    const std::size_t here = lows.size(), elsewhere = all - here;
    const auto least = static_cast<std::ptrdiff_t>(left > elsewhere ? left - elsewhere : 0);
    const auto most = static_cast<std::ptrdiff_t>(std::min(left, here));
    std::ranges::sort(lows);
    std::ranges::sort(highs, std::ranges::greater{});
    sum.add(Figure{value, std::min(value, std::accumulate(lows.begin(), lows.begin() + least, 0.0)),
                   std::max(value, std::accumulate(highs.begin(), highs.begin() + most, 0.0)), 0});
  }

  // Receipts of charges that nobody heard were paid all the same.
  void receipts() {
    for (const NotedCharge& noted : in_.priced->noted) {
      if (noted.session || noted.kind != NoteKind::receipt || !span_.holds(noted.when.from))
        continue;
      const auto receipt = std::ranges::find(in_.notes->receipts, noted.note_id, &ReceiptNote::id);
      costs_.add(paid(receipt->sum_paid));
      grid_.add(metered_kwh(noted.kwh, noted.step_kwh, DepotMeter{}.error_pct));
    }
  }

  // Charges that may have gone through the counter.
  std::vector<MeterStretch> stretches_of() {
    std::vector<KnownCharge> charges;
    const Place* there = in_.money->metered_place();
    const auto elsewhere = [&](const std::string& place) {
      if (place.empty()) return false;
      if (there != nullptr) return place != there->name;
      const Place* known = in_.money->place_named(place);
      return known == nullptr || known->kind != PlaceKind::depot;
    };
    const auto take = [&](KnownCharge charge, std::optional<std::size_t> k) {
      charges.push_back(std::move(charge));
      known_.push_back(k);
    };
    for (std::size_t k = 0; k < in_.sessions.size(); ++k) {
      const ChargeSession& s = session(k);
      const SessionCost& c = cost(k);
      if (!c.meter && c.source != PlaceSource::unknown && elsewhere(c.place)) continue;
      KnownCharge charge;
      charge.earliest = s.start_doubt.earliest(s.start).value_or(UtcTime::min());
      charge.latest = s.end_doubt.latest(s.end).value_or(UtcTime::max());
      charge.end = s.end;
      if (c.grid_kwh.figure) charge.kwh = c.grid_kwh.figure->value;
      charge.surely_there = c.meter || (there != nullptr && c.place == there->name);
      charge.meter_note = c.meter;
      take(std::move(charge), k);
    }
    for (const NotedCharge& noted : in_.priced->noted) {
      if (noted.session || noted.kind != NoteKind::receipt || !noted.candidates.empty()) continue;
      const auto receipt = std::ranges::find(in_.notes->receipts, noted.note_id, &ReceiptNote::id);
      if (elsewhere(receipt->place)) continue;
      take({noted.when.from, noted.when.to, noted.when.from, noted.kwh,
            there != nullptr && receipt->place == there->name, std::nullopt},
           std::nullopt);
    }
    return meter_stretches(in_.notes->meter, charges, counter_of(in_), in_.nominal_kwh,
                           in_.money->meter.value_or(DepotMeter{}).error_pct);
  }

  // Days since 1970 on which the van was heard.
  [[nodiscard]] const std::set<std::int64_t>& heard_days() {
    if (!heard_days_.empty()) return heard_days_;
    const auto take = [&](const auto& rows) {
      for (const auto& row : rows) {
        if (!(row.coverage > 0) || row.start_doubt.boundless()) continue;
        const auto last = static_cast<std::int64_t>(zone_.days_at(row.end));
        for (auto day = static_cast<std::int64_t>(zone_.days_at(row.start)); day <= last; ++day)
          heard_days_.insert(day);
      }
    };
    take(in_.trips);
    take(in_.sessions);
    return heard_days_;
  }

  static Share all_or_none(bool all) { return all ? Share{1, 1} : Share{}; }

  [[nodiscard]] Share share_of(UtcTime since, UtcTime until) {
    if (!(since < until)) return all_or_none(span_.holds(until));
    if (span_.from <= since && until <= span_.to) return all_or_none(true);
    if (span_.to <= since || until <= span_.from) return {};
    const double begin = zone_.days_at(since), end = zone_.days_at(until);
    const double from = std::max(begin, zone_.days_at(span_.from)),
                 to = std::min(end, zone_.days_at(span_.to));
    double quiet = 0, quiet_here = 0;
    const std::set<std::int64_t>& heard = heard_days();
    for (auto day = std::floor(begin); day < end; ++day) {
      if (heard.contains(static_cast<std::int64_t>(day))) continue;
      quiet += std::min(end, day + 1) - std::max(begin, day);
      quiet_here += std::fmax(0, std::min(to, day + 1) - std::max(from, day));
    }
    const double all = (to - from) / (end - begin);
    return {quiet > 0 ? quiet_here / quiet : all, all};
  }

  void meter(const MeterStretch& stretch) {
    const UtcTime noted = stretch.when.from;
    const Share share =
        stretch.since ? share_of(*stretch.since, noted) : all_or_none(span_.holds(noted));
    if (stretch.lost_before && span_.holds(noted))
      leave_out("meter_renewed",
                fmt::format("the counter of note {} stands lower than before: what it counted "
                            "between the two notes is not known; note the last reading of the old "
                            "one and the first of the new one",
                            stretch.note_id));
    if (!(share.all > 0)) return;
    if (!stretch.beyond_kwh) {
      const std::string why = fmt::format(
          "{:.1f} kWh of note {} are more than one charge of this van, of a counter that others "
          "use, too: what of it is this van's is not known; see the vans of the counter together, "
          "or note before and after each charge",
          stretch.counted_kwh, stretch.note_id);
      // A van that is heard has its charges without the counter.
      if (!stretch.others_known) shared_why_ = why;
      leave_out("meter_shared", why);
      return;
    }
    if (!(stretch.beyond_kwh->high > 0)) return;
    const Figure energy =
        part_of(*stretch.beyond_kwh, share,
                in_.nominal_kwh ? kMostOfOneCharge * *in_.nominal_kwh : stretch.beyond_kwh->high);
    if (!(energy.high > 0)) return;
    grid_.add(energy);
    if (const auto price = meter_price(stretch.priced_from, std::max(stretch.when.to, noted))) {
      costs_.add({energy.value * price->mean, energy.low * price->low, energy.high * price->high,
                  energy.scatter * price->mean});
    } else {
      without_price_kwh_ += energy.value;
    }
  }

  [[nodiscard]] std::optional<PriceRange> meter_price(UtcTime from, UtcTime to) const {
    if (const Place* place = in_.money->metered_place())
      if (const Tariff* tariff = in_.money->tariff_named(place->tariff))
        return price_range(*tariff, *place, zone_, from,
                           std::max(to, from + std::chrono::minutes{1}));
    std::optional<PriceRange> out;
    double least = 0, most = 0;
    for (const Tariff& tariff : in_.money->tariffs) {
      const auto one = price_range(tariff, zone_, from, to);
      if (!one) return std::nullopt;
      if (!out) {
        out = one;
        least = most = one->mean;
      }
      out->low = std::min(out->low, one->low);
      out->high = std::max(out->high, one->high);
      least = std::min(least, one->mean);
      most = std::max(most, one->mean);
    }
    if (out) out->mean = (least + most) / 2;
    return out;
  }

  EnergyCost result() {
    const std::string none = !why_.empty()          ? why_
                             : !shared_why_.empty() ? shared_why_
                                                    : no_energy_why();
    out_.energy_cost = costs_.maybe(none);
    out_.grid_kwh = grid_.maybe(none);
    out_.charger_loss_cost = loss_.maybe(
        "no charge of this period has its energy at the pack, at the socket and its cost");
    standing();
    const auto many = [&](std::size_t without) {
      return static_cast<double>(without) > kMostWithoutCost * static_cast<double>(charges_);
    };
    if (without_cost_ > 0 && out_.energy_cost.figure)
      leave_out("charges_without_cost",
                fmt::format("charges of this period whose cost is not known: {} of {}: {}",
                            without_cost_, charges_, why_));
    if (!shared_why_.empty()) {
      out_.too_little = shared_why_;
      out_.grid_kwh = MaybeFigure::unknown(shared_why_);
    } else if (without_energy_ > 0 && many(without_energy_)) {
      out_.grid_kwh = MaybeFigure::unknown(fmt::format(
          "the energy of {} of {} charges of this period is not known", without_energy_, charges_));
    }
    if (without_cost_ > 0 && many(without_cost_))
      out_.too_little = fmt::format("the cost of {} of {} charges of this period is not known: {}",
                                    without_cost_, charges_, why_);
    if (without_price_kwh_ > 0) {
      const std::string why = fmt::format(
          "{:.1f} kWh of the meter: no tariff in fleet.toml says their price", without_price_kwh_);
      leave_out("meter_without_price", why);
      if (out_.too_little.empty()) out_.too_little = why;
    }
    if (!out_.energy_cost.figure) leave_out("energy", none);
    return std::move(out_);
  }

  void standing() {
    FigureSum energy;
    for (const Stand& stand : in_.stands)
      if (span_.holds(stand.start)) energy.add(stand.discharge_kwh);
    if (energy.known() && packs_.known() && packs_.figure().value > 0)
      out_.standing_cost = MaybeFigure::known(
          product(energy.figure(), quotient(pack_costs_.figure(), packs_.figure())));
    else
      out_.standing_cost =
          MaybeFigure::unknown("the energy of no stand, or the price of no charge, is known");
  }

  [[nodiscard]] std::string no_energy_why() const {
    return in_.sessions.empty() && in_.notes->receipts.empty() && in_.notes->meter.empty()
               ? "no charge was measured or noted for this van: note its receipts and the meter"
               : "no charge of this period was measured or noted";
  }

  const CostInput& in_;
  const Zone& zone_;
  CostSpan span_;
  Claims claims_;
  EnergyCost out_;
  FigureSum costs_, grid_, loss_;
  FigureSum packs_, pack_costs_;                   // of charges with both
  std::vector<std::optional<std::size_t>> known_;  // session of a known charge
  std::set<std::size_t> counted_by_meter_;         // sessions
  std::set<std::int64_t> heard_days_;
  std::size_t charges_ = 0, without_cost_ = 0, without_energy_ = 0;
  double without_price_kwh_ = 0;
  std::string why_, shared_why_;
};

}  // namespace

CounterOf counter_of(const CostInput& input) {
  const auto& meter = input.money->meter;
  if (!meter || meter->vans.empty() ||
      std::ranges::find(meter->vans, input.van) == meter->vans.end())
    return CounterOf::not_told;
  return meter->vans.size() == 1 ? CounterOf::this_van : CounterOf::several;
}

EnergyCost energy_cost_of(const CostInput& input, const CostSpan& span) {
  return EnergyAccount{input, span}.run();
}

}  // namespace packmile
