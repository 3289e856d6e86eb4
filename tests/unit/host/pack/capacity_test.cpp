// Capacity over charges, months and years, and what is said of it: vans made
// with a known truth.
#include "pack/capacity.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <random>
#include <string>

#include "host/pack/charge_scene.hpp"
#include "pack/assessment.hpp"
#include "pack/temperature_share.hpp"

namespace packmile::testing {
namespace {

constexpr std::int64_t kChargeDayMs = 86'400'000;

// What the controller's count does while the van sleeps.
enum class Rests { none, put_right_by_the_cells, left_alone };

struct MadeVan {
  double new_ah = 150;
  double lost_a_year = 0.02;
  double believed_ah = 0;  // for ever; 0: it knows the truth
  double sensor_a = 0;
  double sd_points = 0.4;  // of the controller's scale from charge to charge
  int months = 24;
  int charges_a_month = 7;
  bool fast_ones = true;  // every third
  double share_per_k = 0;
  double swing_c = 0;  // of the year's temperature about 18 degC
  Rests rests = Rests::none;
};

PackObservations observe(const MadeVan& van, unsigned seed) {
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> uniform;
  std::normal_distribution<double> normal;
  PackObservations found;
  for (int month = 0; month < van.months; ++month) {
    for (int k = 0; k < van.charges_a_month; ++k) {
      ChargeScene scene;
      const double day = month * 30.44 + k * 28.0 / van.charges_a_month;
      scene.start_ms += static_cast<std::int64_t>(day * double(kChargeDayMs));
      scene.ambient_c =
          std::round(18 - van.swing_c * std::cos(day / 365.25 * 6.283185) + normal(random));
      scene.capacity_ah = van.new_ah * (1 - van.lost_a_year * day / 365.25) *
                          (1 + van.share_per_k * (scene.ambient_c - 20));
      scene.believed_ah = (van.believed_ah > 0 ? van.believed_ah : scene.capacity_ah) *
                          (1 + van.sd_points / 100 / 0.5 * normal(random));
      scene.sensor_a = van.sensor_a;
      scene.soc_from = 0.25 + 0.1 * uniform(random);
      scene.soc_to = 0.85 + 0.08 * uniform(random);
      scene.row_s = 30;
      scene.soc_poll_s = 30;
      if (van.fast_ones && k % 3 == 2) {
        scene.kind = ChargeKind::dc;
        scene.charge_a = 110;
        scene.row_s = 5;
        scene.soc_poll_s = 10;
      }
      ChargeTrace trace = make_charge(scene, random);
      trace.odometer_km = 40'000 + 80 * day;
      found.charges.push_back(measure_charge(trace));
      if (van.rests != Rests::none) {
        RestToRest pair;
        pair.start = trace.start;
        pair.end = trace.end;
        PointWithErrors& point = pair.point;
        const double share = scene.soc_to - scene.soc_from;
        point.u_x = 0.0141;
        point.u_y = 0.2;
        point.y = share * scene.capacity_ah;
        point.x = van.rests == Rests::left_alone ? point.y / scene.believed_ah
                                                 : share + point.u_x * normal(random);
        point.t = -point.y / scene.charge_a;
        found.rests.pairs.push_back(pair);
        found.rests.n_risen_at_rest += van.rests == Rests::put_right_by_the_cells && k % 2 == 0;
      }
      if (auto profile = profile_charge(trace).profile) found.profiles.push_back(*profile);
    }
  }
  return found;
}

PackFacts facts_of(double lost_pct_a_year) {
  PackFacts facts;
  facts.usable_ah = 150;
  facts.first_used = UtcTime{std::chrono::milliseconds{1'767'592'800'000 - 400 * kChargeDayMs}};
  facts.expectations = {{FadeAxis::age_years, {{10, 10 * lost_pct_a_year}}}};
  return facts;
}

const CapacityRow* latest(const CapacityFindings& found, CapacityMethod method) {
  for (const CapacityRow& row : found.rows) {
    if (row.method == method && row.scope == CapacityScope::latest) return &row;
  }
  return nullptr;
}

std::size_t rows_of(const CapacityFindings& found, CapacityScope scope) {
  return static_cast<std::size_t>(
      std::count_if(found.rows.begin(), found.rows.end(), [&](const CapacityRow& row) {
        return row.method == CapacityMethod::controller_edges && row.scope == scope;
      }));
}

}  // namespace

TEST_CASE("capacity: charges, months and the latest, with what was left out") {
  MadeVan van;
  van.months = 4;
  PackObservations seen = observe(van, 41);
  seen.charges[3].ah = MaybeFigure::unknown("made so");
  seen.charges[3].refusal = CapacityRefusal::re_anchored;
  seen.charges[5].point.y *= 1.4;  // a wild one of the first month
  CapacityInput input;
  input.charges = seen.charges;
  input.profiles = seen.profiles;
  const CapacityFindings found = combine_capacity(input);
  CHECK(rows_of(found, CapacityScope::charge) == 28);
  CHECK(rows_of(found, CapacityScope::month) == 4);
  REQUIRE(rows_of(found, CapacityScope::latest) == 1);
  const auto month = std::find_if(found.rows.begin(), found.rows.end(), [](const auto& row) {
    return row.scope == CapacityScope::month;
  });
  CHECK(month->n_used == 5);
  CHECK(month->n_rejected == 2);
  REQUIRE(month->rejected.size() == 2);
  const auto wild = std::find_if(found.rows.begin(), found.rows.end(), [&](const CapacityRow& row) {
    return row.scope == CapacityScope::charge && row.date == seen.charges[5].start;
  });
  CHECK(wild->ah.figure->low < 150);  // no surer than it lies apart from its like
  CHECK(month->rejected[0].reason == "re_anchored");
  CHECK(month->rejected[1].reason == "outlier");
  CHECK(month->charge_kind == ChargeKind::unknown);  // of both kinds
  CHECK(month->relative_only);
  const CapacityRow& now = *latest(found, CapacityMethod::controller_edges);
  REQUIRE(now.ah.figure);
  CHECK(now.ah.figure->low < 149.5);
  CHECK(now.ah.figure->high > 149.5);
  CHECK(now.ah.figure->value == doctest::Approx(149.5).epsilon(0.012));
  REQUIRE(now.kwh.figure);
  // About 0.58 of 340..400 V open.
  CHECK(now.kwh.figure->value == doctest::Approx(149.5 * 0.375).epsilon(0.03));
  CHECK(now.n_used >= 18);
  CHECK(now.window_low_pct < 40);
  CHECK(now.window_high_pct > 80);
  CHECK(now.temp_c == doctest::Approx(18).epsilon(0.05));
  CHECK_FALSE(now.offset_a.figure);  // no reading told it
  CHECK_FALSE(now.resistance_mohm.figure);
}

// Five charges in the first evening hours of February in Auckland, when it is still
// January in London: one month or the other by the depot's zone, and dated there.
TEST_CASE("capacity: a month is one of the depot's zone") {
  std::mt19937 random{46};
  std::vector<ChargeCapacity> charges;
  const UtcTime february_there{std::chrono::sys_days{std::chrono::year{2026} / 1 / 31} +
                               std::chrono::hours{11}};
  for (int k = 0; k < 5; ++k) {
    ChargeScene scene;
    scene.start_ms = (february_there + std::chrono::hours{k * 2}).time_since_epoch().count();
    ChargeTrace trace = make_charge(scene, random);
    charges.push_back(measure_charge(trace));
  }
  const auto month_row = [&](const char* zone) {
    CapacityInput input;
    input.charges = charges;
    input.rules.zone = Zone::find(zone).value();
    const CapacityFindings found = combine_capacity(input);
    REQUIRE(rows_of(found, CapacityScope::month) == 1);
    REQUIRE(found.months.size() == 1);
    const auto row = std::find_if(found.rows.begin(), found.rows.end(),
                                  [](const auto& r) { return r.scope == CapacityScope::month; });
    CHECK(row->date == start_of_month(found.months[0].month, input.rules.zone));
    return *row->date;
  };
  CHECK(month_row("Pacific/Auckland") == february_there);
  CHECK(month_row("UTC") == UtcTime{std::chrono::sys_days{std::chrono::year{2026} / 1 / 1}});
}

TEST_CASE("capacity: fewer than five charges make no month") {
  MadeVan van;
  van.months = 2;
  van.charges_a_month = 4;
  const PackObservations seen = observe(van, 42);
  CapacityInput input;
  input.charges = seen.charges;
  const CapacityFindings found = combine_capacity(input);
  CHECK(rows_of(found, CapacityScope::charge) == 8);
  CHECK(rows_of(found, CapacityScope::month) == 0);
  CHECK(found.months.empty());
  const CapacityFindings none = combine_capacity({});
  REQUIRE(none.rows.size() == 1);
  CHECK_FALSE(none.rows[0].ah.figure);
  CHECK(none.rows[0].reason.find("30 points") != std::string::npos);
  // Too few to be one figure, and the row says so.
  van.months = 1;
  const PackObservations one_month = observe(van, 42);
  input.charges = one_month.charges;
  const CapacityFindings too_few = combine_capacity(input);
  const CapacityRow* few = latest(too_few, CapacityMethod::controller_edges);
  REQUIRE(few);
  CHECK_FALSE(few->ah.figure);
  CHECK(few->ah.why.find("five are needed") != std::string::npos);
  CHECK(few->n_rejected == 4);
  CapacityInput nominal;
  nominal.nominal_ah = 150;
  const CapacityFindings nothing = combine_capacity(nominal);
  REQUIRE(nothing.rows.size() == 2);
  CHECK(nothing.rows[1].method == CapacityMethod::soc_nominal);
  CHECK(nothing.rows[1].ah.figure->high > 160);
  CHECK_FALSE(nothing.rows[1].date.has_value());
  const UtcTime january{std::chrono::milliseconds{1'767'592'800'000}};
  const std::vector<ReportedCapacity> said{{january, 148, false, 0},
                                           {january + std::chrono::days{40}, 147.5, false, 0}};
  nominal.reported = said;
  const CapacityFindings reported = combine_capacity(nominal);
  // What the van says is no measurement: the owner's figure still stands beside it.
  REQUIRE(reported.rows.size() == 5);
  CHECK(reported.rows[4].method == CapacityMethod::soc_nominal);
  for (std::size_t i = 1; i < 4; ++i) {
    CHECK(reported.rows[i].method == CapacityMethod::reported);
    CHECK(reported.rows[i].ah.figure->value == (i == 1 ? 148 : 147.5));
    CHECK_FALSE(reported.rows[i].kwh.figure);
    CHECK(reported.rows[i].reason.find("the van's own opinion") != std::string::npos);
  }
  CHECK(reported.rows[3].scope == CapacityScope::latest);
  CHECK(reported.rows[3].against_expectation == LineVerdict::cannot_tell);
  const std::vector<ReportedCapacity> in_kwh{{january, 52, true, 0}};
  nominal.reported = in_kwh;
  CHECK(combine_capacity(nominal).rows[1].kwh.figure->value == 52);
  const std::vector<ReportedCapacity> nonsense{{january, -1, false, 0}};
  nominal.reported = nonsense;
  CHECK_FALSE(combine_capacity(nominal).rows[1].ah.figure);
}

TEST_CASE("capacity: the offset that the reading tells is taken off, and its own width counts") {
  MadeVan van;
  van.months = 3;
  van.sensor_a = 0.5;
  const PackObservations seen = observe(van, 50);
  CapacityInput input;
  input.charges = seen.charges;
  const auto ac = [](const CapacityFindings& found) {
    return *std::find_if(found.rows.begin(), found.rows.end(),
                         [](const CapacityRow& row) { return row.charge_kind == ChargeKind::ac; });
  };
  const CapacityRow with = ac(combine_capacity(input));
  CHECK_FALSE(with.offset_a.figure);
  // 19 A: 0.5 of it read as discharge.
  CHECK(with.ah.figure->value == doctest::Approx(150 * (1 - 0.5 / 19)).epsilon(0.012));
  input.offsets[0] = {0.5, 0.04};
  const CapacityRow without = ac(combine_capacity(input));
  REQUIRE(without.offset_a.figure);
  CHECK(without.offset_a.figure->value == 0.5);
  CHECK(without.ah.figure->value == doctest::Approx(150).epsilon(0.012));
  CHECK(without.ah.figure->high - without.ah.figure->low <
        with.ah.figure->high - with.ah.figure->low);
}

// One software's charges were metered, those of the other were not: only the first
// are known against a meter, and only their interval is the narrower one.
TEST_CASE("capacity: a gain counts in the segment for which it was agreed and in no other") {
  MadeVan van;
  van.months = 4;
  PackObservations seen = observe(van, 43);
  for (std::size_t i = seen.charges.size() / 2; i < seen.charges.size(); ++i)
    seen.charges[i].segment = 1;
  CapacityInput input;
  input.charges = seen.charges;
  const auto widths = [&](const CapacityFindings& found, std::uint32_t segment) {
    std::vector<double> wide;
    for (const CapacityRow& row : found.rows)
      if (row.scope == CapacityScope::month && row.segment == segment)
        wide.push_back(row.ah.figure->high - row.ah.figure->low);
    return wide;
  };
  const CapacityFindings before = combine_capacity(input);
  input.gains[0] = {1, 0.002, 1, 0.001};
  const CapacityFindings after = combine_capacity(input);
  REQUIRE(widths(before, 0).size() == 2);
  REQUIRE(widths(before, 1).size() == 2);
  CHECK(widths(after, 1) == widths(before, 1));
  for (std::size_t i = 0; i < 2; ++i) CHECK(widths(after, 0)[i] < 0.95 * widths(before, 0)[i]);
  for (const CapacityRow& row : after.rows) CHECK(row.relative_only == (row.segment != 0));
  for (const CapacityRow& row : before.rows) CHECK(row.relative_only);
}

TEST_CASE("assessment: what the van says of its capacity moves no verdict and no other figure") {
  const PackFacts facts = facts_of(2);
  for (const bool in_kwh : {false, true}) {
    PackObservations seen = observe({}, 60);
    const PackAssessment plain = assess_pack(seen, facts);
    for (int month = 0; month < 24; ++month)
      seen.reported.push_back(
          {UtcTime{std::chrono::milliseconds{1'767'592'800'000 + month * 30 * kChargeDayMs}},
           100.0 - month, in_kwh, 0});
    const PackAssessment told = assess_pack(seen, facts);
    CHECK(told.witness.verdict == plain.witness.verdict);
    REQUIRE(told.fade.size() == plain.fade.size());
    for (std::size_t i = 0; i < told.fade.size(); ++i) {
      CHECK(told.fade[i].against_expectation == plain.fade[i].against_expectation);
      CHECK(told.fade[i].reason == plain.fade[i].reason);
    }
    std::size_t same = 0;
    for (const CapacityRow& row : told.capacity.rows) {
      if (row.method == CapacityMethod::reported) {
        CHECK(row.against_expectation == LineVerdict::cannot_tell);
        CHECK_FALSE(row.change_pct.figure);
        continue;
      }
      REQUIRE(same < plain.capacity.rows.size());
      const CapacityRow& before = plain.capacity.rows[same++];
      CHECK(row.against_expectation == before.against_expectation);
      CHECK(row.reason == before.reason);
      CHECK(row.ah.figure.has_value() == before.ah.figure.has_value());
      if (row.ah.figure) CHECK(row.ah.figure->value == before.ah.figure->value);
    }
    CHECK(same == plain.capacity.rows.size());
  }
}

// Sensors and controllers drawn anew for each van: gain, offset and scale from the
// widths that the rules state, the count's own scatter from next to none to three
// times what is taken without evidence. The truth must lie inside in 95 % of vans.
TEST_CASE("capacity: coverage over seeded vans") {
  std::mt19937 random{90};  // seed 90
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform;
  constexpr int kVans = 600;
  const CapacityRules rules;
  for (const double count_u : {0.0005, 0.005, 0.015}) {
    int latest_inside = 0, n_single = 0, single_inside = 0;
    double width_pct = 0, single_pct = 0;
    for (int van = 0; van < kVans; ++van) {
      const double u_offset_a = 0.06;
      const double offset_a = 0.3 * normal(random);
      const double scale = 1 + rules.scale_u * normal(random);
      const double gain = 1 + rules.current_gain_u * normal(random);
      std::vector<ChargeCapacity> charges;
      for (int k = 0; k < 24; ++k) {
        ChargeCapacity charge;
        charge.start = UtcTime{std::chrono::milliseconds{1'767'592'800'000 + k * 3 * kChargeDayMs}};
        charge.ambient_c = 18;
        charge.window_high_pct = 90;
        charge.mean_v = 370;
        const double x = 0.35 + 0.4 * uniform(random);
        const double amps = k % 4 == 3 ? 110 : 19;
        PointWithErrors& point = charge.point;
        point.t = 150 * x / amps;
        // The offset counts as discharge.
        point.y = gain * 150 * x - offset_a * point.t + 0.05 * normal(random);
        point.x = x * scale + count_u * normal(random);
        point.u_y = 0.05;
        point.u_x = rules.count_u;
        charge.ah = MaybeFigure::known({});
        charges.push_back(charge);
      }
      CapacityInput input;
      input.charges = charges;
      input.offsets[0] = {offset_a + u_offset_a * normal(random), u_offset_a};
      const CapacityFindings found = combine_capacity(input);
      const CapacityRow* now = latest(found, CapacityMethod::controller_edges);
      REQUIRE(now);
      const Figure& ah = *now->ah.figure;
      latest_inside += ah.low <= 150 && ah.high >= 150;
      width_pct += 100 * (ah.high - ah.low) / 2 / 150 / kVans;
      for (const CapacityRow& row : found.rows) {
        if (row.scope != CapacityScope::charge || !row.ah.figure) continue;
        ++n_single;
        single_pct += 100 * (row.ah.figure->high - row.ah.figure->low) / 2 / 150;
        single_inside += row.ah.figure->low <= 150 && row.ah.figure->high >= 150;
      }
    }
    std::printf(
        "capacity, seed 90, %d vans, count %.2f points: latest %.3f (+-%.2f %%), single charges "
        "%.3f (+-%.2f %%)\n",
        kVans, 100 * count_u, double(latest_inside) / kVans, width_pct,
        double(single_inside) / n_single, single_pct / n_single);
    CAPTURE(count_u);
    CHECK(double(latest_inside) / kVans > 0.93);
    CHECK(double(latest_inside) / kVans < 0.975);
    CHECK(double(single_inside) / n_single > 0.93);
    CHECK(double(single_inside) / n_single < 0.975);
  }
}

TEST_CASE("capacity: segments are not joined") {
  MadeVan van;
  van.months = 4;
  PackObservations seen = observe(van, 43);
  for (std::size_t i = 0; i < seen.charges.size(); ++i) {
    if (i >= seen.charges.size() / 2) {
      seen.charges[i].segment = 1;
      seen.charges[i].point.y *= 1.05;  // the new software counts otherwise
    }
  }
  CapacityInput input;
  input.charges = seen.charges;
  const CapacityFindings found = combine_capacity(input);
  const CapacityRow* now = latest(found, CapacityMethod::controller_edges);
  REQUIRE(now);
  CHECK(now->segment == 1);
  CHECK(now->ah.figure->value == doctest::Approx(149.5 * 1.05).epsilon(0.012));
  for (const MonthCapacity& month : found.months) CHECK(month.segment == 0);
}

TEST_CASE("capacity: the van's own charges tell what cold does, and months are joined by it") {
  MadeVan van;
  van.share_per_k = 0.004;
  van.swing_c = 13;
  van.lost_a_year = 0.03;
  const PackObservations seen = observe(van, 44);
  const auto share = fit_temperature_share(seen.charges);
  REQUIRE(share);
  CHECK(share->low < 0.004);
  CHECK(share->high > 0.004);
  CHECK(share->value == doctest::Approx(0.004).epsilon(0.3));
  CapacityInput input;
  input.charges = seen.charges;
  const CapacityFindings found = combine_capacity(input);
  CHECK(found.months.size() >= 22);
  // At 20 degC: 150 Ah that lose 3 % a year, whatever the season.
  for (const MonthCapacity& month : found.months) {
    const double truth = 150 * (1 - 0.03 * (month.month - 2026 * 12 + 0.5) / 12);
    CHECK(month.ah == doctest::Approx(truth).epsilon(0.03));
  }
  van.swing_c = 0;
  const PackObservations one = observe(van, 45);
  CHECK_FALSE(fit_temperature_share(one.charges));
}

TEST_CASE("assessment: a right controller over two years is told, a wrong one is not") {
  int right = 0;
  constexpr int kVans = 6;
  for (unsigned seed = 60; seed < 60 + kVans; ++seed) {
    const PackAssessment told = assess_pack(observe({}, seed), facts_of(2));
    CAPTURE(told.witness.reason);
    const CapacityRow* now = latest(told.capacity, CapacityMethod::controller_edges);
    REQUIRE(now);
    CHECK(now->ah.figure->low < 144.5);
    CHECK(now->ah.figure->high > 144.5);
    right += now->against_expectation == LineVerdict::on;
    if (told.witness.verdict == WitnessVerdict::agrees_moving) CHECK(now->findings.empty());
    REQUIRE(now->change_pct.figure);
    CHECK(now->change_pct.figure->high < 0);
    std::printf("right controller, seed %u: %s; %s\n", seed,
                std::string(word_of(now->against_expectation)).c_str(),
                std::string(word_of(told.witness.verdict)).c_str());
  }
  CHECK(right >= kVans - 1);

  // It believes 160 Ah; the pack falls from 150 to 140 meanwhile.
  MadeVan wrong;
  wrong.believed_ah = 160;
  wrong.lost_a_year = 0.033;
  PackFacts facts = facts_of(3);
  facts.usable_ah = 160;
  const PackAssessment told = assess_pack(observe(wrong, 61), facts);
  const CapacityRow* now = latest(told.capacity, CapacityMethod::controller_edges);
  REQUIRE(now);
  std::printf("wrong controller: %.1f (%.1f..%.1f) Ah, %s: %s\n", now->ah.figure->value,
              now->ah.figure->low, now->ah.figure->high,
              std::string(word_of(now->against_expectation)).c_str(), told.witness.reason.c_str());
  CHECK(now->against_expectation == LineVerdict::cannot_tell);
  CHECK(told.witness.verdict == WitnessVerdict::contradicts);
  CHECK(now->reason.find("meter") != std::string::npos);
  CHECK(now->findings == std::vector{Finding::scale_contradicted});
  for (const FadeRow& row : told.fade) {
    CHECK(row.against_expectation == LineVerdict::cannot_tell);
  }
  const CapacityRow* window = latest(told.capacity, CapacityMethod::voltage_window);
  REQUIRE(window);
  CHECK(window->reason.find("fell") != std::string::npos);
  CHECK(window->window_high_v > window->window_low_v);
}

TEST_CASE("assessment: a pack that hardly fades, under a controller that is right, is told") {
  constexpr unsigned kVans = 12;
  unsigned told_right = 0;
  for (unsigned seed = 80; seed < 80 + kVans; ++seed) {
    MadeVan van;
    van.lost_a_year = 0.002;
    van.rests = Rests::put_right_by_the_cells;
    // 0.4 % lost in two years, 3.6 expected since the first months.
    const PackAssessment told = assess_pack(observe(van, seed), facts_of(2));
    const CapacityRow* now = latest(told.capacity, CapacityMethod::controller_edges);
    REQUIRE(now);
    CAPTURE(now->reason);
    CHECK(now->against_expectation != LineVerdict::worse);
    CHECK(now->against_expectation != LineVerdict::on);
    told_right += now->against_expectation == LineVerdict::better;
    if (now->against_expectation == LineVerdict::better) CHECK(now->findings.empty());
    // As it is expected: within two points.
    const PackAssessment slow = assess_pack(observe(van, seed), facts_of(0.5));
    const CapacityRow* on = latest(slow.capacity, CapacityMethod::controller_edges);
    CHECK(on->against_expectation == LineVerdict::on);
  }
  std::printf("hardly fading, seeds 80..91: %u of %u better\n", told_right, kVans);
  CHECK(told_right >= kVans - 1);
}

// The cells hold 140 Ah and hardly fade; the controller believes in 160 for ever.
TEST_CASE("assessment: a level that rests contradict or cannot tell is never taken for full") {
  for (unsigned seed = 80; seed < 86; ++seed) {
    MadeVan van;
    van.new_ah = 140;
    van.lost_a_year = 0.002;
    van.believed_ah = 160;
    PackFacts facts = facts_of(2);
    facts.usable_ah = 160;
    for (const Rests rests : {Rests::put_right_by_the_cells, Rests::left_alone, Rests::none}) {
      van.rests = rests;
      const PackAssessment told = assess_pack(observe(van, seed), facts);
      const CapacityRow* now = latest(told.capacity, CapacityMethod::controller_edges);
      REQUIRE(now);
      CAPTURE(int(rests));
      CAPTURE(now->reason);
      CHECK(now->against_expectation == LineVerdict::cannot_tell);
      CHECK(now->findings == std::vector{rests == Rests::put_right_by_the_cells
                                             ? Finding::scale_contradicted
                                             : Finding::scale_not_confirmed});
      CHECK(now->reason.find("read at a meter") != std::string::npos);
      if (rests != Rests::put_right_by_the_cells) continue;
      const CapacityRow* rest = latest(told.capacity, CapacityMethod::rest_to_rest);
      REQUIRE(rest);
      CHECK(rest->ah.figure->low < 140);
      CHECK(rest->ah.figure->high > 139.4);
    }
  }
}

// Nothing moves on either side: the level of 160 Ah is not confirmed by that.
TEST_CASE("assessment: a wrong belief that nothing contradicts is no better pack") {
  MadeVan van;
  van.new_ah = 140;
  van.lost_a_year = 0;
  van.believed_ah = 160;
  PackFacts facts = facts_of(0.5);
  facts.usable_ah = 160;
  const PackAssessment told = assess_pack(observe(van, 62), facts);
  CHECK(told.witness.verdict != WitnessVerdict::agrees_moving);
  const CapacityRow* now = latest(told.capacity, CapacityMethod::controller_edges);
  REQUIRE(now);
  CHECK(now->ah.figure->value == doctest::Approx(160).epsilon(0.02));
  CHECK(now->against_expectation == LineVerdict::cannot_tell);
  CHECK(now->reason.find("read at a meter") != std::string::npos);
  CHECK(now->findings == std::vector{Finding::scale_not_confirmed});
  for (const FadeRow& row : told.fade) {
    CAPTURE(row.reason);
    CHECK(row.against_expectation != LineVerdict::worse);
    if (row.against_expectation == LineVerdict::cannot_tell) continue;
    // Of the change alone, which is what it says.
    CHECK(row.since_first_logged);
    CHECK(row.reason.find("nothing independent confirms") != std::string::npos);
  }
}

TEST_CASE("capacity: a change of the controller's mind is a row and no capacity") {
  const std::vector<ReAnchor> events{
      {UtcTime{}, UtcTime{}, ReAnchorPlace::awake, 60, 52, 0.5, -12}};
  CapacityInput input;
  input.re_anchors = events;
  const CapacityFindings found = combine_capacity(input);
  REQUIRE(found.rows.size() == 2);
  const CapacityRow& row = found.rows[1];
  CHECK(row.scope == CapacityScope::re_anchor);
  CHECK_FALSE(row.ah.figure);
  CHECK(row.window_low_pct == 52);
  CHECK(row.window_high_pct == 60);
  CHECK(row.findings == std::vector{Finding::soc_re_anchored});
  CHECK(row.reason ==
        "awake the controller went from 60.0 to 52.0 % with 0.50 Ah put in, where -12.00 were "
        "needed");
}

TEST_CASE("assessment: of a short time, of nothing") {
  MadeVan van;
  van.months = 5;
  const PackAssessment told = assess_pack(observe(van, 63), facts_of(2));
  REQUIRE_FALSE(told.fade.empty());
  for (const FadeRow& row : told.fade) {
    CHECK_FALSE(row.slope_pct_per_unit.figure);
    CHECK(row.against_expectation == LineVerdict::cannot_tell);
    if (row.n_months > 0) CHECK(row.smallest_detectable_pct_per_year);
  }
  const PackAssessment nothing = assess_pack({}, {});
  CHECK(nothing.capacity.rows.size() == 1);
  REQUIRE(nothing.fade.size() == 3);
  for (const FadeRow& row : nothing.fade) CHECK(row.n_months == 0);
  CHECK(nothing.witness.verdict == WitnessVerdict::too_little);
}

}  // namespace packmile::testing
