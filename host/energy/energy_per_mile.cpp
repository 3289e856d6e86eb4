#include "energy/energy_per_mile.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <random>

#include "energy/huber_fit.hpp"
#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

// A draw of days need not be fitted finer than its own scatter.
constexpr HuberRules kDrawRules{kHuberLimitScales, 1e-3, 25};
// Of the draws, at least this share must give a fit.
constexpr double kLeastDrawsShare = 0.9;
// Temperature terms need it in nearly all drives of each van: the rest is then
// left out.
constexpr double kLeastAmbientShare = 0.9;

double term_of(const MileDrive& drive, MileTerm term) {
  switch (term) {
    case MileTerm::heating:
      return std::max(0.0, kHeatingBelowC - drive.ambient_c.value_or(kReferenceAmbientC)) /
             drive.moving_mph;
    case MileTerm::cooling:
      return std::max(0.0, drive.ambient_c.value_or(kReferenceAmbientC) - kCoolingAboveC) /
             drive.moving_mph;
    case MileTerm::hotel:
      return 1 / drive.moving_mph;
    case MileTerm::drag:
      return drive.moving_mph * drive.moving_mph;
    case MileTerm::stops:
      return drive.stops / drive.miles;
  }
  return 0;
}

// What the term is at the conditions that vans are compared at.
double reference_of(const MileReference& reference, MileTerm term) {
  switch (term) {
    case MileTerm::heating:
    case MileTerm::cooling:
      return 0;
    case MileTerm::hotel:
      return 1 / reference.moving_mph;
    case MileTerm::drag:
      return reference.moving_mph * reference.moving_mph;
    case MileTerm::stops:
      return reference.stops_per_mile;
  }
  return 0;
}

MilePart part_of(MileTerm term) {
  switch (term) {
    case MileTerm::heating:
    case MileTerm::cooling:
      return MilePart::climate;
    case MileTerm::hotel:
      return MilePart::hotel;
    case MileTerm::drag:
      return MilePart::drag;
    case MileTerm::stops:
      return MilePart::stops;
  }
  return MilePart::unexplained;
}

double median_of(std::vector<double> values) {
  std::ranges::sort(values);
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

double sd_of(std::span<const double> values) {
  const auto n = static_cast<double>(values.size());
  const double mean = std::accumulate(values.begin(), values.end(), 0.0) / n;
  double squares = 0;
  for (const double value : values) squares += (value - mean) * (value - mean);
  return std::sqrt(squares / (n - 1));
}

// z at which a normal distribution has this much beyond +-z.
double two_sided_z(double beyond) {
  double low = 0, high = 40;
  for (int i = 0; i < 200; ++i) {
    const double middle = (low + high) / 2;
    (std::erfc(middle / std::sqrt(2.0)) > beyond ? low : high) = middle;
  }
  return high;
}

bool usable(const MileDrive& drive) {
  return std::isfinite(drive.kwh_per_mile.value) && drive.miles > 0 && drive.moving_mph > 0 &&
         std::isfinite(drive.moving_mph) && std::isfinite(drive.stops) &&
         (!drive.ambient_c || std::isfinite(*drive.ambient_c));
}

// The drives of one type that the fit uses, by van and day.
class TypeFit {
 public:
  TypeFit(std::vector<const MileDrive*> drives, std::vector<std::uint32_t> vans,
          const MileRules& rules)
      : drives_(std::move(drives)), vans_(std::move(vans)), rules_(rules) {
    why_.fill("");
    choose_by_data();
  }

  // Leaves out what must be, and fits; false: nothing can be fitted.
  bool fit() {
    drop_collinear();
    for (;;) {
      build();
      auto found = fit_huber(rows_, all_);
      if (!found) return false;
      fit_ = std::move(*found);
      if (!drop_negative()) return true;
    }
  }

  void draw(std::uint64_t seed) {
    std::mt19937_64 random{seed};
    std::vector<std::vector<std::vector<std::size_t>>> days(vans_.size());
    std::map<std::pair<std::uint32_t, std::int64_t>, std::size_t> place;
    for (std::size_t row = 0; row < drives_.size(); ++row) {
      const std::uint32_t group = rows_.group[row];
      const auto [at, is_new] = place.try_emplace({group, drives_[row]->day}, days[group].size());
      if (is_new) days[group].emplace_back();
      days[group][at->second].push_back(row);
    }
    std::vector<std::size_t> picked;
    for (std::size_t k = 0; k < rules_.draws; ++k) {
      picked.clear();
      for (const auto& of_van : days)
        for (std::size_t d = 0; d < of_van.size(); ++d) {
          const auto& day = of_van[random() % of_van.size()];
          picked.insert(picked.end(), day.begin(), day.end());
        }
      if (auto found = fit_huber(rows_, picked, kDrawRules, &fit_)) draws_.push_back(*found);
    }
  }

  [[nodiscard]] bool drawn() const {
    return draws_.size() >= 2 && static_cast<double>(draws_.size()) >=
                                     kLeastDrawsShare * static_cast<double>(rules_.draws);
  }
  [[nodiscard]] const std::vector<const MileDrive*>& drives() const { return drives_; }

  [[nodiscard]] MileType type() const {
    MileType out;
    out.vans = vans_;
    out.residual_scale = fit_.scale;
    out.by_temperature = by_temperature_;
    for (std::size_t k = 0; k < kMileTerms; ++k) {
      const auto slot = slot_of(static_cast<MileTerm>(k));
      if (!slot) {
        out.terms[k] = MaybeFigure::unknown(why_[k]);
        continue;
      }
      const double factor = static_cast<MileTerm>(k) == MileTerm::drag ? kDragMph * kDragMph : 1;
      out.terms[k] = MaybeFigure::known(
          drawn_figure([&](const GroupedFit& fit) { return factor * fit.slopes[*slot]; }, 0));
    }
    return out;
  }

  void fill(std::size_t group, const MileReference& reference, MileVan& van) const {
    const auto at_reference = [&](const GroupedFit& fit) {
      double value = fit.levels[group];
      for (std::size_t t = 0; t < used_.size(); ++t)
        value += fit.slopes[t] * reference_of(reference, used_[t]);
      return value;
    };
    // Means over the van's miles: of the energy, of what its sensors leave open,
    // and of each term.
    double miles = 0, mean = 0, u_random = 0, u_systematic = 0;
    std::vector<double> term_means(used_.size(), 0);
    for (std::size_t row = 0; row < drives_.size(); ++row) {
      if (rows_.group[row] != group) continue;
      const MileDrive& drive = *drives_[row];
      const Uncertainty u = uncertainty_of(drive.kwh_per_mile);
      miles += drive.miles;
      mean += drive.miles * drive.kwh_per_mile.value;
      u_random += std::pow(drive.miles * u.random, 2);
      u_systematic += drive.miles * u.systematic;
      for (std::size_t t = 0; t < used_.size(); ++t)
        term_means[t] += drive.miles * term_of(drive, used_[t]);
    }
    mean /= miles;
    u_systematic /= miles;
    for (double& value : term_means) value /= miles;
    van.mean = MaybeFigure::known(figure_of(mean, std::sqrt(u_random) / miles, u_systematic));
    van.u_systematic = u_systematic;
    van.at_reference = MaybeFigure::known(drawn_figure(at_reference, u_systematic));
    for (const GroupedFit& fit : draws_) van.draws.push_back(at_reference(fit));

    const double relative = mean > 0 ? u_systematic / mean : 0;
    const auto part = [&](const GroupedFit& fit, MilePart which) {
      double explained = fit.levels[group], sum = 0;
      for (std::size_t t = 0; t < used_.size(); ++t) {
        explained += fit.slopes[t] * term_means[t];
        if (part_of(used_[t]) == which) sum += fit.slopes[t] * term_means[t];
      }
      if (which == MilePart::base) return fit.levels[group];
      return which == MilePart::unexplained ? mean - explained : sum;
    };
    for (std::size_t k = 0; k < kMileParts; ++k) {
      const auto which = static_cast<MilePart>(k);
      if (const std::string why = why_no_part(which); !why.empty()) {
        van.parts[k] = MaybeFigure::unknown(why);
        continue;
      }
      van.parts[k] =
          MaybeFigure::known(drawn_figure([&](const GroupedFit& fit) { return part(fit, which); },
                                          relative * std::abs(part(fit_, which))));
    }
  }

 private:
  [[nodiscard]] std::optional<std::size_t> slot_of(MileTerm term) const {
    const auto found = std::ranges::find(used_, term);
    if (found == used_.end()) return std::nullopt;
    return static_cast<std::size_t>(found - used_.begin());
  }

  [[nodiscard]] std::string why_no_part(MilePart part) const {
    if (part == MilePart::base || part == MilePart::unexplained) return {};
    std::string why;
    for (std::size_t k = 0; k < kMileTerms; ++k) {
      if (part_of(static_cast<MileTerm>(k)) != part) continue;
      if (slot_of(static_cast<MileTerm>(k))) return {};
      if (why.empty()) why = why_[k];
    }
    return why;
  }

  template <typename Value>
  [[nodiscard]] Figure drawn_figure(const Value& value, double u_systematic) const {
    std::vector<double> values;
    values.reserve(draws_.size());
    for (const GroupedFit& fit : draws_) values.push_back(value(fit));
    return figure_of(value(fit_), rules_.widening * sd_of(values), u_systematic);
  }

  void leave_out(MileTerm term, std::string why) {
    std::erase(used_, term);
    why_[static_cast<std::size_t>(term)] = std::move(why);
  }

  void choose_by_data() {
    for (std::size_t k = 0; k < kMileTerms; ++k) used_.push_back(static_cast<MileTerm>(k));
    std::map<std::uint32_t, std::pair<std::size_t, std::size_t>> ambient_of;  // with it, all
    double low_c = INFINITY, high_c = -INFINITY;
    for (const MileDrive* drive : drives_) {
      auto& [with_it, all] = ambient_of[drive->van];
      ++all;
      if (!drive->ambient_c) continue;
      ++with_it;
      low_c = std::min(low_c, *drive->ambient_c);
      high_c = std::max(high_c, *drive->ambient_c);
    }
    std::string why;
    const bool answered = std::ranges::all_of(ambient_of, [](const auto& of_van) {
      const auto& [with_it, all] = of_van.second;
      return static_cast<double>(with_it) >= kLeastAmbientShare * static_cast<double>(all);
    });
    if (!answered)
      why = "the ambient temperature was not answered in a tenth of a van's drives or more";
    else if (high_c - low_c < rules_.least_span_k)
      why = "the drives span less than 8 K of ambient temperature";
    by_temperature_ = why.empty();
    if (!by_temperature_) {
      leave_out(MileTerm::heating, why);
      leave_out(MileTerm::cooling, why);
    } else {
      std::erase_if(drives_, [](const MileDrive* drive) { return !drive->ambient_c; });
    }
    for (const MileTerm term : std::vector<MileTerm>{used_}) {
      const auto there = static_cast<std::size_t>(std::ranges::count_if(
          drives_, [&](const MileDrive* drive) { return term_of(*drive, term) > 0; }));
      if (there >= rules_.least_drives_of_term) continue;
      leave_out(term, term == MileTerm::heating   ? "fewer than ten drives below 15 degC"
                      : term == MileTerm::cooling ? "fewer than ten drives above 22 degC"
                                                  : "fewer than ten drives with a stop");
    }
  }

  void build() {
    rows_ = {};
    rows_.terms = used_.size();
    rows_.groups = static_cast<std::uint32_t>(vans_.size());
    for (const MileDrive* drive : drives_) {
      rows_.y.push_back(drive->kwh_per_mile.value);
      rows_.group.push_back(
          static_cast<std::uint32_t>(std::ranges::find(vans_, drive->van) - vans_.begin()));
      for (const MileTerm term : used_) rows_.x.push_back(term_of(*drive, term));
    }
    all_.resize(drives_.size());
    std::iota(all_.begin(), all_.end(), std::size_t{0});
  }

  void drop_collinear() {
    // A term that never varies would hide how the others stand to each other.
    for (const MileTerm term : std::vector<MileTerm>{used_}) {
      GroupedRows one;
      build();
      one = rows_;
      one.terms = 1;
      one.x.clear();
      for (const MileDrive* drive : drives_) one.x.push_back(term_of(*drive, term));
      if (!collinearity_of(one)) leave_out(term, "it is the same in every drive");
    }
    while (used_.size() > 1) {
      build();
      const auto found = collinearity_of(rows_);
      if (!found || found->condition <= rules_.most_condition) return;
      leave_out(used_[found->worst_term],
                "in these drives it goes with the other terms: its share cannot be told apart");
    }
  }

  // No load, drag or stop gives energy. Of those that came out below 0 the one
  // that moves the figures most goes. True: one was left out.
  bool drop_negative() {
    std::optional<MileTerm> worst;
    double most = 0;
    for (std::size_t t = 0; t < used_.size(); ++t) {
      if (fit_.slopes[t] >= 0) continue;
      std::vector<double> values;
      for (const MileDrive* drive : drives_) values.push_back(term_of(*drive, used_[t]));
      const double moves = -fit_.slopes[t] * sd_of(values);
      if (worst && moves <= most) continue;
      worst = used_[t];
      most = moves;
    }
    if (worst)
      leave_out(*worst,
                "it came out below 0, which cannot be: in these drives other things hide it");
    return worst.has_value();
  }

  std::vector<const MileDrive*> drives_;
  std::vector<std::uint32_t> vans_;
  const MileRules& rules_;
  std::vector<MileTerm> used_;
  std::array<std::string, kMileTerms> why_;
  bool by_temperature_ = false;
  GroupedRows rows_;
  std::vector<std::size_t> all_;
  GroupedFit fit_;
  std::vector<GroupedFit> draws_;
};

std::size_t days_of(const std::vector<const MileDrive*>& drives) {
  std::vector<std::int64_t> days;
  for (const MileDrive* drive : drives) days.push_back(drive->day);
  std::ranges::sort(days);
  return static_cast<std::size_t>(std::ranges::unique(days).begin() - days.begin());
}

}  // namespace

std::string_view word_of(MileTerm term) {
  switch (term) {
    case MileTerm::heating:
      return "heating";
    case MileTerm::cooling:
      return "cooling";
    case MileTerm::hotel:
      return "hotel";
    case MileTerm::drag:
      return "drag";
    case MileTerm::stops:
      return "stops";
  }
  return "";
}

std::string_view word_of(MilePart part) {
  switch (part) {
    case MilePart::base:
      return "base";
    case MilePart::drag:
      return "drag";
    case MilePart::stops:
      return "stops";
    case MilePart::climate:
      return "climate";
    case MilePart::hotel:
      return "hotel";
    case MilePart::unexplained:
      return "unexplained";
  }
  return "";
}

MileStudy study_energy_per_mile(std::span<const MileDrive> drives,
                                std::span<const std::uint32_t> type_of_van,
                                const MileRules& rules) {
  MileStudy study;
  study.vans.resize(type_of_van.size());
  std::vector<std::vector<const MileDrive*>> of_van(type_of_van.size());
  for (const MileDrive& drive : drives)
    if (drive.van < of_van.size() && usable(drive)) of_van[drive.van].push_back(&drive);

  std::map<std::uint32_t, std::vector<std::uint32_t>> vans_of_type;
  std::vector<double> speeds_mph, stops_per_mile;
  for (std::uint32_t van = 0; van < of_van.size(); ++van) {
    MileVan& out = study.vans[van];
    out.drives = of_van[van].size();
    out.days = days_of(of_van[van]);
    const bool enough = out.drives >= rules.least_drives && out.days >= rules.least_days;
    const std::string why =
        enough ? "its drives do not let the effects of speed and stops be worked out"
               : "needs " + std::to_string(rules.least_drives) + " drives on " +
                     std::to_string(rules.least_days) + " days and has " +
                     std::to_string(out.drives) + " on " + std::to_string(out.days) +
                     "; only drives of 3 km and more count whose energy, speed and nine tenths "
                     "of the time were seen";
    out.mean = out.at_reference = MaybeFigure::unknown(why);
    for (MaybeFigure& part : out.parts) part = MaybeFigure::unknown(why);
    if (!enough) continue;
    vans_of_type[type_of_van[van]].push_back(van);
    for (const MileDrive* drive : of_van[van]) {
      speeds_mph.push_back(drive->moving_mph);
      stops_per_mile.push_back(drive->stops / drive->miles);
    }
  }
  if (vans_of_type.empty()) return study;
  study.reference = {median_of(speeds_mph), median_of(stops_per_mile)};

  for (const auto& [type, vans] : vans_of_type) {
    std::vector<const MileDrive*> of_type;
    for (const std::uint32_t van : vans)
      of_type.insert(of_type.end(), of_van[van].begin(), of_van[van].end());
    TypeFit fit{std::move(of_type), vans, rules};
    if (!fit.fit()) continue;
    // Types are different vans: their draws must not go together.
    fit.draw(rules.seed + study.types.size());
    if (!fit.drawn()) continue;
    study.types.push_back(fit.type());
    for (std::size_t group = 0; group < vans.size(); ++group) {
      MileVan& van = study.vans[vans[group]];
      van.type = study.types.size() - 1;
      fit.fill(group, *study.reference, van);
    }
  }
  return study;
}

MileDifference difference_of(const MileStudy& study, std::uint32_t van,
                             std::span<const std::uint32_t> others, std::size_t comparisons,
                             const MileRules& rules) {
  MileDifference out;
  const auto share = 1 / static_cast<double>(others.size());
  const MileVan& one = study.vans[van];
  double value = one.at_reference.figure->value;
  double squares = 0, days = static_cast<double>(one.days);
  std::size_t draws = one.draws.size();
  for (const std::uint32_t other : others) {
    const MileVan& against = study.vans[other];
    value -= share * against.at_reference.figure->value;
    squares += std::pow(share * against.u_systematic, 2);
    days = std::min(days, static_cast<double>(against.days));
    draws = std::min(draws, against.draws.size());
  }
  std::vector<double> drawn(draws);
  for (std::size_t k = 0; k < draws; ++k) {
    drawn[k] = one.draws[k];
    for (const std::uint32_t other : others) drawn[k] -= share * study.vans[other].draws[k];
  }
  const double u_random = rules.widening * sd_of(drawn);
  const double u_systematic = std::hypot(one.u_systematic, std::sqrt(squares));
  out.kwh_per_mile = figure_of(value, u_random, u_systematic);
  const double z = two_sided_z(0.05 / static_cast<double>(std::max<std::size_t>(comparisons, 1)));
  out.decided = std::abs(value) > z * std::hypot(u_random, u_systematic);
  if (out.decided) return out;
  // The random part falls with the root of the days, the systematic one not at all.
  const double room = std::pow(value / z, 2) - u_systematic * u_systematic;
  if (room > 0) out.more_days = std::ceil(days * (u_random * u_random / room - 1));
  return out;
}

}  // namespace packmile
