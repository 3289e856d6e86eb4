#include "pack/capacity.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <tuple>

#include "pack/count_scatter.hpp"
#include "pack/robust.hpp"
#include "pack/scale_move.hpp"
#include "pack/temperature_share.hpp"
#include "pack/trend.hpp"

namespace packmile {
namespace {

constexpr std::size_t kLeastCharges = 5;
constexpr std::int64_t kLatestMs = std::int64_t{91} * 86'400'000;
constexpr double kVoltageGainU = 0.003;  // a judgment
// Drop over the pack's resistance where that is not known: about 0.1 ohm, and
// known to half of it. Common practice, no source.
constexpr double kUnknownOhm = 0.1;
constexpr double kNominalU = 0.05;  // an owner's figure; a judgment

struct Group {
  std::vector<const ChargeCapacity*> known;
  std::vector<const ChargeCapacity*> refused;
};

void count(std::vector<Rejected>& rejected, std::string_view reason, std::size_t n = 1) {
  if (n == 0) return;
  for (Rejected& r : rejected) {
    if (r.reason == reason) {
      r.count += n;
      return;
    }
  }
  rejected.push_back({std::string(reason), n});
}

class Combination {
 public:
  explicit Combination(const CapacityInput& input);
  CapacityFindings run();

 private:
  // What the reading found, or none with its usual width.
  [[nodiscard]] SensorOffset offset_of(std::uint32_t segment) const {
    const auto known = input_.offsets.find(segment);
    return known != input_.offsets.end() ? known->second : SensorOffset{0, rules_.offset_u_a};
  }
  // 1 sd, relative, of the charge.
  [[nodiscard]] double gain_u_of(std::uint32_t segment) const {
    const auto known = input_.gains.find(segment);
    return known != input_.gains.end() ? known->second.u_charge / known->second.charge
                                       : rules_.current_gain_u;
  }
  [[nodiscard]] SystematicU systematic_of(std::uint32_t segment, double scale_u) const {
    return {std::hypot(gain_u_of(segment), scale_u), offset_of(segment).u_a};
  }
  [[nodiscard]] double scale_u_of(const ScaleMove* move) const {
    return move ? move->scale_u(rules_.scale_u) : rules_.scale_u;
  }
  void add_rows_of(const Group& group, CapacityScope scope, UtcTime date);
  void add_single(const ChargeCapacity& charge);
  void add_windows();
  void add_rests();
  void add_refused_latest(const std::vector<const ChargeCapacity*>& charges);
  void add_re_anchors();
  void add_other();
  void add_reported(const ReportedCapacity& reported, CapacityScope scope, UtcTime date);
  void find_months();
  [[nodiscard]] CapacityRow row_of(CapacityMethod method, CapacityScope scope,
                                   std::optional<UtcTime> date, std::uint32_t segment) const;
  void fill_kwh(CapacityRow& row, const std::vector<const ChargeCapacity*>& charges) const;
  [[nodiscard]] std::optional<Figure> resistance_at(std::optional<UtcTime> date, bool latest) const;

  const CapacityInput& input_;
  CapacityRules rules_;
  // The offset is taken off and their widths are the van's own.
  std::vector<ChargeCapacity> charges_;
  std::vector<ScaleMove> moves_;
  CapacityFindings found_;
};

Combination::Combination(const CapacityInput& input)
    : input_(input), rules_(input.rules), charges_(input.charges.begin(), input.charges.end()) {
  for (ChargeCapacity& charge : charges_) {
    // The offset counts as discharge: what it hides was put in.
    charge.point.y += offset_of(charge.segment).a * charge.point.t;
    found_.last_segment = std::max(found_.last_segment, charge.segment);
  }
  learn_count_scatter(charges_, rules_);
  moves_ = find_scale_moves(charges_, input_.offsets, rules_.offset_u_a);
}

std::optional<Figure> Combination::resistance_at(std::optional<UtcTime> date, bool latest) const {
  if (!date) return std::nullopt;
  const MonthlyResistance* best = nullptr;
  for (const MonthlyResistance& m : input_.resistances) {
    if (m.month > month_of(*date, rules_.zone) || m.rows.empty() || !m.rows.front().mohm.figure)
      continue;
    if (!latest && m.month != month_of(*date, rules_.zone)) continue;
    if (best == nullptr || m.month > best->month) best = &m;
  }
  if (best == nullptr) return std::nullopt;
  return best->rows.front().mohm.figure;
}

CapacityRow Combination::row_of(CapacityMethod method, CapacityScope scope,
                                std::optional<UtcTime> date, std::uint32_t segment) const {
  CapacityRow row;
  row.date = date;
  row.method = method;
  row.scope = scope;
  row.segment = segment;
  row.relative_only = !input_.gains.contains(segment);
  const SensorOffset offset = offset_of(segment);
  row.offset_a = offset.u_a < rules_.offset_u_a
                     ? MaybeFigure::known(figure_of(offset.a, offset.u_a, 0))
                     : MaybeFigure::unknown(
                           "charges of one power do not tell it; fast and slow ones would, or long "
                           "rests at one "
                           "state of charge");
  const auto resistance = resistance_at(date, scope == CapacityScope::latest);
  row.resistance_mohm = resistance
                            ? MaybeFigure::known(*resistance)
                            : MaybeFigure::unknown("too few steps of current of 20 A or more");
  row.kwh = MaybeFigure::unknown("kWh are made from charges that tell a capacity");
  row.change_pct = MaybeFigure::unknown("only the latest row is put against the first months");
  return row;
}

// Ah times the mean open-circuit voltage.
void Combination::fill_kwh(CapacityRow& row,
                           const std::vector<const ChargeCapacity*>& charges) const {
  if (!row.ah.figure) return;
  std::vector<double> open_v, drops_v;
  for (const ChargeCapacity* charge : charges) {
    if (!(charge->point.t > 0) || !(charge->mean_v > 0)) continue;
    const double mean_a = charge->point.y / charge->point.t;
    const double ohm =
        row.resistance_mohm.figure ? row.resistance_mohm.figure->value / 1000 : kUnknownOhm;
    drops_v.push_back(mean_a * ohm);
    open_v.push_back(charge->mean_v - mean_a * ohm);
  }
  if (open_v.empty()) return;
  const double volt = median_of(std::move(open_v));
  const double u_v = std::hypot(kVoltageGainU * volt, median_of(std::move(drops_v)) / 2);
  const Figure& ah = *row.ah.figure;
  const double u_random = ah.scatter / kZ95;
  const double all = (ah.high - ah.low) / 2 / kZ95;
  const double u_systematic = std::sqrt(std::max(0.0, all * all - u_random * u_random));
  row.kwh = MaybeFigure::known(figure_of(ah.value * volt / 1000, u_random * volt / 1000,
                                         std::hypot(u_systematic * volt, ah.value * u_v) / 1000));
}

void Combination::add_single(const ChargeCapacity& charge) {
  CapacityRow row =
      row_of(CapacityMethod::controller_edges, CapacityScope::charge, charge.start, charge.segment);
  row.stratum = stratum_of(charge.ambient_c);
  row.temp_c = charge.ambient_c;
  row.charge_kind = charge.kind;
  if (charge.ah.figure) {
    const PointWithErrors& point = charge.point;
    const double ah = point.y / point.x;
    const ScaleMove* move = largest_move(moves_, charge.segment, charge.start);
    // One that lies apart from its like is no surer than that.
    const double u_x = std::max(point.u_x, charge.apart_x);
    row.ah = MaybeFigure::known(capacity_figure(ah, std::hypot(point.u_y, ah * u_x) / point.x,
                                                point.t / point.x,
                                                systematic_of(charge.segment, scale_u_of(move))));
    row.window_low_pct = charge.window_low_pct;
    row.window_high_pct = charge.window_high_pct;
    row.soc_step_pct = charge.soc_step_pct;
    row.n_used = 1;
    row.reason = "one charge by the controller's own scale";
    if (charge.bends) {
      row.reason += ", which it corrected meanwhile";
      row.findings.push_back(Finding::soc_corrected_while_charging);
    }
    if (move) row.reason += "; " + text_of(*move);
    fill_kwh(row, {&charge});
  } else {
    row.ah = charge.ah;
    row.n_rejected = 1;
    count(row.rejected, word_of(charge.refusal));
    row.reason = charge.ah.why;
    if (charge.refusal == CapacityRefusal::re_anchored) {
      row.findings.push_back(Finding::soc_re_anchored);
    }
  }
  found_.rows.push_back(std::move(row));
}

void Combination::add_rows_of(const Group& group, CapacityScope scope, UtcTime date) {
  if (group.known.size() < kLeastCharges) return;
  const ChargeCapacity& first = *group.known.front();
  std::vector<PointWithErrors> points;
  for (const ChargeCapacity* charge : group.known) points.push_back(charge->point);
  const auto fit = fit_proportion(points, Outliers::rejected);
  if (!fit) return;
  CapacityRow row = row_of(CapacityMethod::controller_edges, scope, date, first.segment);
  row.stratum = stratum_of(first.ambient_c);
  row.n_used = fit->n_used;
  row.n_rejected = group.refused.size() + group.known.size() - fit->n_used;
  for (const ChargeCapacity* charge : group.refused) count(row.rejected, word_of(charge->refusal));
  count(row.rejected, "outlier", group.known.size() - fit->n_used);
  double hours_per_share = 0, temp_sum = 0;
  std::size_t n_temp = 0;
  bool one_kind = true, bends = false;
  row.window_low_pct = 100;
  row.window_high_pct = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (!fit->used[i]) continue;
    const ChargeCapacity& charge = *group.known[i];
    hours_per_share += points[i].t / points[i].x / static_cast<double>(fit->n_used);
    if (charge.ambient_c) {
      temp_sum += *charge.ambient_c;
      ++n_temp;
    }
    one_kind = one_kind && charge.kind == first.kind;
    row.soc_step_pct = std::max(row.soc_step_pct, charge.soc_step_pct);
    bends = bends || charge.bends;
    row.window_low_pct = std::min(*row.window_low_pct, charge.window_low_pct);
    row.window_high_pct = std::max(*row.window_high_pct, charge.window_high_pct);
  }
  if (n_temp > 0) row.temp_c = temp_sum / static_cast<double>(n_temp);
  if (one_kind) row.charge_kind = first.kind;
  if (bends) row.findings.push_back(Finding::soc_corrected_while_charging);
  const ScaleMove* move = largest_move(moves_, first.segment, first.start);
  const Figure ah =
      capacity_figure(fit->slope, fit->u_slope * fit->factor_95() / kZ95, hours_per_share,
                      systematic_of(first.segment, scale_u_of(move)));
  row.ah = MaybeFigure::known(ah);
  row.reason =
      "charge per 100 points of the controller's own scale: the usable window that it believes "
      "in, not what the cells hold";
  if (move) row.reason += "; " + text_of(*move);
  fill_kwh(row, group.known);
  if (scope == CapacityScope::latest) {
    if (found_.edges_ah) return;  // of the fullest stratum
    found_.edges_ah = ah;
  }
  found_.rows.push_back(std::move(row));
}

// Why the last months tell no capacity, and what would.
void Combination::add_refused_latest(const std::vector<const ChargeCapacity*>& charges) {
  std::optional<UtcTime> date;
  std::map<TemperatureStratum, std::size_t> known;
  std::size_t most = 0;
  CapacityRow row =
      row_of(CapacityMethod::controller_edges, CapacityScope::latest, date, found_.last_segment);
  for (const ChargeCapacity* charge : charges) {
    date = std::max(date.value_or(charge->start), charge->start);
    if (charge->ah.figure) {
      most = std::max(most, ++known[stratum_of(charge->ambient_c)]);
      count(row.rejected, "too_few");
    } else {
      count(row.rejected, word_of(charge->refusal));
    }
  }
  row.date = date;
  row.n_rejected = charges.size();
  row.reason =
      charges.empty()
          ? "no charge is on record; charges that the logger sees from beginning to end, 30 points "
            "or longer, would tell it"
          : "of " + std::to_string(charges.size()) + " charges in the last 91 days " +
                std::to_string(most) +
                " of like temperature tell a capacity and five are needed; charges of 30 points or "
                "more count, seen from beginning to end: log on, and plug in at a lower state of "
                "charge";
  row.ah = MaybeFigure::unknown(row.reason);
  found_.rows.push_back(std::move(row));
}

void Combination::add_re_anchors() {
  for (const ReAnchor& event : input_.re_anchors) {
    CapacityRow row = row_of(CapacityMethod::controller_edges, CapacityScope::re_anchor,
                             event.start, found_.last_segment);
    row.window_low_pct = std::min(event.soc_before_pct, event.soc_after_pct);
    row.window_high_pct = std::max(event.soc_before_pct, event.soc_after_pct);
    char text[160];
    std::snprintf(text, sizeof text,
                  "%s the controller went from %.1f to %.1f %% with %.2f Ah put in",
                  event.place == ReAnchorPlace::asleep     ? "asleep"
                  : event.place == ReAnchorPlace::charging ? "charging"
                                                           : "awake",
                  event.soc_before_pct, event.soc_after_pct, event.ah);
    row.reason = text;
    if (event.expected_ah != 0) {
      std::snprintf(text, sizeof text, ", where %.2f were needed", event.expected_ah);
      row.reason += text;
    }
    row.ah = MaybeFigure::unknown("a change of mind is no capacity");
    row.findings.push_back(Finding::soc_re_anchored);
    found_.rows.push_back(std::move(row));
  }
}

void Combination::add_windows() {
  found_.windows = build_window_series(input_.profiles);
  for (const WindowSeries& series : found_.windows) {
    if (series.points.empty()) continue;
    const UtcTime last = series.points.back().at;
    CapacityRow row =
        row_of(CapacityMethod::voltage_window, CapacityScope::latest, last, series.segment);
    row.stratum = series.stratum;
    row.charge_kind = series.kind;
    row.window_low_v = series.low_v;
    row.window_high_v = series.high_v;
    row.n_rejected = series.n_not_spanning;
    count(row.rejected, "window_not_spanned", series.n_not_spanning);
    std::vector<double> latest;
    for (const WindowPoint& p : series.points) {
      if (unix_ms_of(last) - unix_ms_of(p.at) <= kLatestMs) latest.push_back(p.ah);
    }
    row.n_used = latest.size();
    const double ah = median_of(latest);
    // sqrt(pi/2): sd of a median.
    const double u = kMedianFactor * std::max(robust_sd(latest), 0.002 * ah) /
                     std::sqrt(static_cast<double>(latest.size()));
    const double plateau_a = series.plateau_kw * 2000 / (series.low_v + series.high_v);
    const double hours = plateau_a > 0 ? ah / plateau_a : 0;
    row.ah = MaybeFigure::known(figure_of(
        ah, u, std::hypot(gain_u_of(series.segment) * ah, offset_of(series.segment).u_a * hours)));
    row.kwh = MaybeFigure::unknown("Ah between two voltages are no capacity");
    row.reason = "Ah between two voltages: it follows capacity, but not in proportion";
    row.change_pct = series.change ? MaybeFigure::known(series.change->change_pct)
                                   : MaybeFigure::unknown(series.why);
    if (series.change) {
      row.reason +=
          "; since the first three months it " + std::string(word_of(series.change->direction));
    } else if (!series.why.empty()) {
      row.reason += "; " + series.why;
    }
    found_.rows.push_back(std::move(row));
  }
}

void Combination::add_rests() {
  if (input_.rests == nullptr) return;
  std::vector<const RestToRest*> pairs;
  for (const RestToRest& pair : input_.rests->pairs) {
    if (pair.segment == found_.last_segment) pairs.push_back(&pair);
  }
  if (pairs.empty()) return;
  const SensorOffset offset = offset_of(found_.last_segment);
  const UtcTime last = pairs.back()->end;
  CapacityRow row =
      row_of(CapacityMethod::rest_to_rest, CapacityScope::latest, last, found_.last_segment);
  std::erase_if(pairs, [&](const auto* pair) {
    return unix_ms_of(last) - unix_ms_of(pair->end) > kLatestMs;
  });
  std::vector<PointWithErrors> points;
  double hours_per_share = 0;
  row.window_low_pct = 100;
  row.window_high_pct = 0;
  for (const RestToRest* pair : pairs) {
    PointWithErrors point = pair->point;
    // t is negative where the pack was filled: the offset hides charge there.
    point.y -= offset.a * point.t;
    hours_per_share += point.t / point.x;
    points.push_back(point);
    row.window_low_pct = std::min(*row.window_low_pct, pair->soc_low_pct);
    row.window_high_pct = std::max(*row.window_high_pct, pair->soc_high_pct);
    row.temp_c = pair->ambient_c;
    row.soc_step_pct = std::max(row.soc_step_pct, pair->soc_step_pct);
  }
  hours_per_share = std::abs(hours_per_share) / static_cast<double>(points.size());
  learn_rest_scatter(points);
  const auto fit = fit_proportion(points, Outliers::rejected);
  if (!fit) return;
  row.stratum = stratum_of(row.temp_c);
  row.n_used = fit->n_used;
  row.n_rejected = points.size() - fit->n_used + input_.rests->n_refused;
  count(row.rejected, "outlier", points.size() - fit->n_used);
  count(row.rejected, "not_seen_through", input_.rests->n_refused);
  const double u_ah = fit->u_slope * fit->factor_95() / kZ95 * shared_rests_widening(pairs);
  // Between rests, too, the count goes by that scale.
  const ScaleMove* move = largest_move(moves_, found_.last_segment, last);
  row.ah = MaybeFigure::known(
      capacity_figure(fit->slope, u_ah, hours_per_share,
                      systematic_of(found_.last_segment, move ? move->scale_u(0) : 0)));
  row.reason =
      "charge between long rests per 100 points: free of what the controller does while "
      "charging";
  if (move) row.reason += "; " + text_of(*move);
  found_.rest_ah = *row.ah.figure;
  found_.rows.push_back(std::move(row));
}

void Combination::add_reported(const ReportedCapacity& reported, CapacityScope scope,
                               UtcTime date) {
  CapacityRow row = row_of(CapacityMethod::reported, scope, date, reported.segment);
  row.offset_a = row.resistance_mohm = MaybeFigure::unknown("as the van says, nothing measured");
  row.n_used = 1;
  MaybeFigure& told = reported.in_kwh ? row.kwh : row.ah;
  MaybeFigure& other = reported.in_kwh ? row.ah : row.kwh;
  other =
      MaybeFigure::unknown(reported.in_kwh ? "the van says it in kWh" : "the van says it in Ah");
  // A number without an interval is worth no more than an owner's entry.
  told = std::isfinite(reported.value) && reported.value > 0
             ? MaybeFigure::known(figure_of(reported.value, 0, kNominalU * reported.value))
             : MaybeFigure::unknown("what the van sends there is no capacity");
  row.reason = "the van's own opinion, as it sends it: nothing was measured";
  found_.rows.push_back(std::move(row));
}

void Combination::add_other() {
  for (const ReportedCapacity& reported : input_.reported)
    add_reported(reported, CapacityScope::month,
                 start_of_month(month_of(reported.at, rules_.zone), rules_.zone));
  if (!input_.reported.empty())
    add_reported(input_.reported.back(), CapacityScope::latest, input_.reported.back().at);
  const bool measured = std::any_of(found_.rows.begin(), found_.rows.end(), [](const auto& row) {
    return row.ah.figure && (row.method == CapacityMethod::controller_edges ||
                             row.method == CapacityMethod::rest_to_rest);
  });
  if (measured || !input_.nominal_ah || !(*input_.nominal_ah > 0)) return;
  std::optional<UtcTime> date;
  if (!charges_.empty()) date = charges_.back().start;
  CapacityRow row =
      row_of(CapacityMethod::soc_nominal, CapacityScope::latest, date, found_.last_segment);
  row.ah = MaybeFigure::known(figure_of(*input_.nominal_ah, 0, kNominalU * *input_.nominal_ah));
  row.reason = "the owner's figure; nothing was measured";
  found_.rows.push_back(std::move(row));
}

void Combination::find_months() {
  // Per segment and month: all strata where temperature can be taken off, else
  // the stratum that has most months.
  std::map<std::uint32_t, std::size_t> known_of;
  for (const ChargeCapacity& c : charges_) known_of[c.segment] += c.ah.figure.has_value();
  std::vector<MonthCapacity> best;
  for (const auto& [segment, n] : known_of) {
    if (n < kLeastCharges) continue;
    std::vector<ChargeCapacity> of_segment;
    for (const ChargeCapacity& c : charges_) {
      if (c.segment == segment && c.ah.figure) of_segment.push_back(c);
    }
    const auto share = fit_temperature_share(of_segment);
    const double k = share ? share->value : 0;
    const double u_k = share ? share->scatter / kZ95 : 0;
    std::map<TemperatureStratum, std::map<int, std::vector<const ChargeCapacity*>>> strata;
    for (const ChargeCapacity& c : of_segment) {
      const TemperatureStratum stratum = stratum_of(c.ambient_c);
      if (share && stratum == TemperatureStratum::unknown) continue;
      strata[share ? TemperatureStratum::from_15 : stratum][month_of(c.start, rules_.zone)]
          .push_back(&c);
    }
    for (const auto& [stratum, months] : strata) {
      std::vector<MonthCapacity> values;
      for (const auto& [month, charges] : months) {
        if (charges.size() < kLeastCharges) continue;
        std::vector<PointWithErrors> points;
        double away_k = 0, hours_per_share = 0, km = 0;
        std::size_t n_km = 0;
        for (const ChargeCapacity* c : charges) {
          PointWithErrors point = c->point;
          const double kelvin = share ? *c->ambient_c - kReferenceC : 0;
          point.y /= 1 + k * kelvin;
          away_k += kelvin / static_cast<double>(charges.size());
          hours_per_share += point.t / point.x / static_cast<double>(charges.size());
          points.push_back(point);
          if (c->odometer_km) {
            km += *c->odometer_km;
            ++n_km;
          }
        }
        const auto fit = fit_proportion(points, Outliers::rejected);
        if (!fit) continue;
        MonthCapacity value;
        value.month = month;
        value.segment = segment;
        value.ah = fit->slope;
        value.u_random_ah =
            std::hypot(fit->u_slope * fit->factor_95() / kZ95, u_k * away_k * fit->slope);
        value.u_gain_ah = systematic_of(segment, rules_.scale_u).factor * fit->slope;
        value.u_offset_ah = offset_of(segment).u_a * hours_per_share;
        if (n_km > 0) value.odometer_km = km / static_cast<double>(n_km);
        value.n_charges = fit->n_used;
        values.push_back(value);
      }
      if (values.size() > best.size()) {
        best = std::move(values);
        found_.temperature_share_per_k = share;
      }
    }
  }
  found_.months = std::move(best);
}

CapacityFindings Combination::run() {
  std::map<std::tuple<std::uint32_t, int, TemperatureStratum>, Group> months;
  std::map<TemperatureStratum, Group> latest;
  std::int64_t last_ms = 0;
  for (const ChargeCapacity& c : charges_) {
    if (c.segment == found_.last_segment) last_ms = std::max(last_ms, unix_ms_of(c.start));
  }
  for (const ChargeCapacity& c : charges_) {
    const TemperatureStratum stratum = stratum_of(c.ambient_c);
    const auto put = [&](Group& group) {
      (c.ah.figure ? group.known : group.refused).push_back(&c);
    };
    put(months[{c.segment, month_of(c.start, rules_.zone), stratum}]);
    if (c.segment == found_.last_segment && last_ms - unix_ms_of(c.start) <= kLatestMs) {
      put(latest[stratum]);
    }
    add_single(c);
  }
  for (const auto& [key, group] : months) {
    add_rows_of(group, CapacityScope::month, start_of_month(std::get<1>(key), rules_.zone));
  }
  const auto fullest = std::max_element(latest.begin(), latest.end(), [](auto& a, auto& b) {
    return a.second.known.size() < b.second.known.size();
  });
  if (fullest != latest.end() && !fullest->second.known.empty()) {
    add_rows_of(fullest->second, CapacityScope::latest, fullest->second.known.back()->start);
  }
  if (!found_.edges_ah) {
    std::vector<const ChargeCapacity*> last;
    for (const auto& [stratum, group] : latest) {
      last.insert(last.end(), group.known.begin(), group.known.end());
      last.insert(last.end(), group.refused.begin(), group.refused.end());
    }
    add_refused_latest(last);
  }
  add_windows();
  add_rests();
  add_re_anchors();
  add_other();
  find_months();
  std::stable_sort(found_.rows.begin(), found_.rows.end(), [](const auto& a, const auto& b) {
    return std::tuple(a.method, a.scope, a.date) < std::tuple(b.method, b.scope, b.date);
  });
  return std::move(found_);
}

}  // namespace

std::string_view word_of(CapacityMethod method) {
  switch (method) {
    case CapacityMethod::controller_edges:
      return "controller_edges";
    case CapacityMethod::voltage_window:
      return "voltage_window";
    case CapacityMethod::rest_to_rest:
      return "rest_to_rest";
    case CapacityMethod::reported:
      return "reported";
    case CapacityMethod::soc_nominal:
      return "soc_nominal";
  }
  return "";
}

std::string_view word_of(CapacityScope scope) {
  switch (scope) {
    case CapacityScope::charge:
      return "charge";
    case CapacityScope::month:
      return "month";
    case CapacityScope::latest:
      return "latest";
    case CapacityScope::re_anchor:
      return "re_anchor";
  }
  return "";
}

std::string_view word_of(TemperatureStratum stratum) {
  switch (stratum) {
    case TemperatureStratum::unknown:
      return "unknown";
    case TemperatureStratum::below_5:
      return "below_5_c";
    case TemperatureStratum::from_5:
      return "5_to_15_c";
    case TemperatureStratum::from_15:
      return "15_to_25_c";
    case TemperatureStratum::above_25:
      return "above_25_c";
  }
  return "";
}

CapacityFindings combine_capacity(const CapacityInput& input) { return Combination{input}.run(); }

}  // namespace packmile
