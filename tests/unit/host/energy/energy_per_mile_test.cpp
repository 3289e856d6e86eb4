#include "energy/energy_per_mile.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <random>

using namespace packmile;
using doctest::Approx;

namespace {

// Drives as of a van of 2.9 t: base, drag, stops and loads of a plain size, the
// payload and the rest as noise, one drive in 25 wild.
class Rounds {
 public:
  explicit Rounds(std::uint64_t seed) : random_{seed} {}

  double uniform(double low, double high) {
    return low + (high - low) * static_cast<double>(random_() >> 11) * 0x1p-53;
  }
  double normal(double sd) {  // Box and Muller 1958
    return sd * std::sqrt(-2 * std::log(uniform(1e-12, 1))) * std::cos(uniform(0, 2 * M_PI));
  }

  double noise = 0.017;  // kWh/mile
  double wild_share = 0.04;
  double low_c = -3, high_c = 30;
  bool ambient = true;
  Figure sensors{};  // half-widths around the value

  // Two drives a day.
  std::vector<MileDrive> van(std::uint32_t index, int drives, double base, double low_kmh,
                             double high_kmh, bool in_town) {
    std::vector<MileDrive> out;
    for (int i = 0; i < drives; ++i) {
      MileDrive drive;
      drive.van = index;
      drive.day = i / 2;
      drive.miles = uniform(5, 30);
      drive.moving_mph = uniform(low_kmh, high_kmh) / kKmPerMile;
      drive.stops = drive.miles * (in_town ? uniform(0.3, 3) : uniform(0.1, 0.8));
      const double t = uniform(low_c, high_c);
      if (ambient) drive.ambient_c = t;
      double e =
          base + 2.4e-5 * drive.moving_mph * drive.moving_mph + 0.022 * drive.stops / drive.miles +
          (0.35 + 0.13 * std::max(0.0, 15 - t) + 0.09 * std::max(0.0, t - 22)) / drive.moving_mph +
          normal(noise);
      if (uniform(0, 1) < wild_share) e *= uniform(1.2, 1.6);
      drive.kwh_per_mile = {e, e - sensors.low, e + sensors.high, 0};
      out.push_back(drive);
    }
    return out;
  }

 private:
  std::mt19937_64 random_;
};

std::vector<MileDrive> together(std::vector<MileDrive> a, const std::vector<MileDrive>& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

constexpr std::uint32_t kOneType[] = {0, 0};
constexpr std::uint32_t kOther[] = {0};

double value_of(const MileStudy& study, MileTerm term) {
  return study.types.at(0).terms[static_cast<std::size_t>(term)].figure->value;
}

}  // namespace

TEST_CASE("energy per mile: without noise every effect comes out as it went in") {
  Rounds rounds{1};
  rounds.noise = 0;
  rounds.wild_share = 0;
  const auto drives =
      together(rounds.van(0, 300, 0.19, 20, 90, true), rounds.van(1, 300, 0.21, 20, 90, true));
  const MileStudy study = study_energy_per_mile(drives, kOneType);
  REQUIRE(study.types.size() == 1);
  CHECK(value_of(study, MileTerm::heating) == Approx(0.13).epsilon(1e-6));
  CHECK(value_of(study, MileTerm::cooling) == Approx(0.09).epsilon(1e-6));
  CHECK(value_of(study, MileTerm::hotel) == Approx(0.35).epsilon(1e-6));
  CHECK(value_of(study, MileTerm::stops) == Approx(0.022).epsilon(1e-6));
  CHECK(value_of(study, MileTerm::drag) == Approx(2.4e-5 * 2500).epsilon(1e-6));
  REQUIRE(study.reference);
  const double v = study.reference->moving_mph;
  const double at_reference =
      0.19 + 0.35 / v + 2.4e-5 * v * v + 0.022 * study.reference->stops_per_mile;
  CHECK(study.vans[0].at_reference.figure->value == Approx(at_reference).epsilon(1e-6));
  CHECK(study.vans[1].at_reference.figure->value == Approx(at_reference + 0.02).epsilon(1e-6));
  // The parts are the whole, and the mean is over miles, not over drives.
  double sum = 0;
  for (const MaybeFigure& part : study.vans[0].parts) sum += part.figure->value;
  CHECK(sum == Approx(study.vans[0].mean.figure->value).epsilon(1e-9));
  double kwh = 0, miles = 0;
  for (const MileDrive& drive : drives) {
    if (drive.van != 0) continue;
    kwh += drive.miles * drive.kwh_per_mile.value;
    miles += drive.miles;
  }
  CHECK(study.vans[0].mean.figure->value == Approx(kwh / miles).epsilon(1e-12));
}

// R3. Two vans, one takes 0.0114 kWh/mile more and drives out of town, where the
// plain means say the opposite. The truth is to be in 93 to 97 % of the intervals
// (PACKMILE_ROUNDS=1000 shows it); with fewer rounds the border is three standard
// deviations wider.
TEST_CASE("energy per mile: the difference of two vans on unlike rounds") {
  constexpr unsigned kSeed = 5;
  const char* asked = std::getenv("PACKMILE_ROUNDS");
  const int rounds_wanted = asked ? std::max(1, std::atoi(asked)) : 60;
  CAPTURE(kSeed);
  Rounds rounds{kSeed};
  int inside = 0;
  double naive = 0, adjusted = 0, width = 0;
  for (int k = 0; k < rounds_wanted; ++k) {
    const auto drives = together(rounds.van(0, 60, 0.19, 20, 45, true),
                                 rounds.van(1, 60, 0.19 * 1.06, 45, 85, false));
    const MileStudy study = study_energy_per_mile(drives, kOneType);
    REQUIRE(study.vans[1].at_reference.figure);
    const MileDifference d = difference_of(study, 1, kOther, 1);
    inside += d.kwh_per_mile.low <= 0.0114 && 0.0114 <= d.kwh_per_mile.high;
    adjusted += d.kwh_per_mile.value / rounds_wanted;
    width += (d.kwh_per_mile.high - d.kwh_per_mile.low) / 2 / rounds_wanted;
    naive += (study.vans[1].mean.figure->value - study.vans[0].mean.figure->value) / rounds_wanted;
  }
  MESSAGE("inside " << inside << " of " << rounds_wanted << ", plain " << naive << ", adjusted "
                    << adjusted << ", half-width " << width);
  CHECK(naive < 0);
  CHECK(std::abs(adjusted - 0.0114) < 0.004);
  CHECK(width < 0.03);
  CHECK(inside >= rounds_wanted * (0.95 - 3 * std::sqrt(0.95 * 0.05 / rounds_wanted)));
}

TEST_CASE("energy per mile: few drives or few days are refused, with the numbers") {
  Rounds rounds{2};
  auto drives =
      together(rounds.van(0, 39, 0.19, 20, 60, true), rounds.van(1, 80, 0.19, 20, 60, true));
  const MileStudy study = study_energy_per_mile(drives, kOneType);
  CHECK_FALSE(study.vans[0].at_reference.figure);
  CHECK(study.vans[0].at_reference.why.find("40 drives on 10 days and has 39 on 20") !=
        std::string::npos);
  CHECK(study.vans[1].at_reference.figure);
  for (MileDrive& drive : drives) drive.day = drive.day % 9;
  const MileStudy few_days = study_energy_per_mile(drives, kOneType);
  CHECK_FALSE(few_days.vans[1].at_reference.figure);
  CHECK_FALSE(few_days.reference);
  CHECK_FALSE(study_energy_per_mile({}, kOneType).reference);
}

TEST_CASE("energy per mile: temperature terms are refused where the weather does not vary") {
  Rounds rounds{3};
  rounds.low_c = 8;
  rounds.high_c = 15.5;
  const MileStudy mild = study_energy_per_mile(rounds.van(0, 80, 0.19, 20, 60, true), kOther);
  REQUIRE(mild.types.size() == 1);
  CHECK_FALSE(mild.types[0].by_temperature);
  CHECK(mild.types[0].terms[0].why.find("8 K") != std::string::npos);
  CHECK_FALSE(mild.vans[0].parts[static_cast<std::size_t>(MilePart::climate)].figure);
  CHECK(mild.vans[0].at_reference.figure);
  // Winter alone has heating and no cooling.
  rounds.low_c = -5;
  const MileStudy winter = study_energy_per_mile(rounds.van(0, 80, 0.19, 20, 60, true), kOther);
  CHECK(winter.types.at(0).by_temperature);
  CHECK(winter.types[0].terms[0].figure);
  CHECK_FALSE(winter.types[0].terms[1].figure);
  rounds.ambient = false;
  const MileStudy none = study_energy_per_mile(rounds.van(0, 80, 0.19, 20, 60, true), kOther);
  CHECK_FALSE(none.types.at(0).by_temperature);
  CHECK(none.types[0].terms[0].why.find("not answered") != std::string::npos);
}

TEST_CASE("energy per mile: terms that go together or do not vary are left out and said") {
  Rounds rounds{4};
  auto drives = rounds.van(0, 80, 0.19, 38, 42, true);  // one speed: 1/v and v^2 are one
  const MileStudy narrow = study_energy_per_mile(drives, kOther);
  REQUIRE(narrow.types.size() == 1);
  const auto known = [&](MileTerm term) {
    return narrow.types[0].terms[static_cast<std::size_t>(term)].figure.has_value();
  };
  CHECK_FALSE((known(MileTerm::hotel) && known(MileTerm::drag)));
  CHECK(known(MileTerm::stops));
  for (MileDrive& drive : drives) drive.moving_mph = 25;
  const MileStudy same = study_energy_per_mile(drives, kOther);
  REQUIRE(same.types.size() == 1);
  CHECK(same.types[0].terms[static_cast<std::size_t>(MileTerm::drag)].why.find("same in every") !=
        std::string::npos);
}

TEST_CASE("energy per mile: drag below 0 is left out and said") {
  Rounds rounds{6};
  auto drives = rounds.van(0, 120, 0.19, 20, 90, true);
  for (MileDrive& drive : drives)
    drive.kwh_per_mile.value -= 6e-5 * drive.moving_mph * drive.moving_mph;
  const MileStudy study = study_energy_per_mile(drives, kOther);
  REQUIRE(study.types.size() == 1);
  const MaybeFigure& drag = study.types[0].terms[static_cast<std::size_t>(MileTerm::drag)];
  CHECK_FALSE(drag.figure);
  CHECK(drag.why.find("below 0") != std::string::npos);
}

TEST_CASE("energy per mile: what the sensors leave open stays, whatever the days") {
  Rounds rounds{7};
  rounds.sensors = {0, 0.01, 0.01, 0};
  const auto drives =
      together(rounds.van(0, 2000, 0.19, 20, 60, true), rounds.van(1, 2000, 0.195, 20, 60, true));
  const MileStudy study = study_energy_per_mile(drives, kOneType);
  const MileDifference d = difference_of(study, 1, kOther, 1);
  // Two vans' sensors err apart: 0.01 * sqrt(2).
  CHECK((d.kwh_per_mile.high - d.kwh_per_mile.low) / 2 >= 0.0141);
  CHECK_FALSE(d.decided);
  CHECK_FALSE(d.more_days);
}

TEST_CASE("energy per mile: how many more days would do, and many vans need more") {
  Rounds rounds{8};
  const auto month =
      together(rounds.van(0, 60, 0.19, 20, 60, true), rounds.van(1, 60, 0.192, 20, 60, true));
  const MileStudy study = study_energy_per_mile(month, kOneType);
  const MileDifference d = difference_of(study, 1, kOther, 1);
  CHECK_FALSE(d.decided);
  REQUIRE(d.more_days);
  const double half = (d.kwh_per_mile.high - d.kwh_per_mile.low) / 2;
  CHECK(*d.more_days ==
        Approx(std::ceil(30 * (std::pow(half / d.kwh_per_mile.value, 2) - 1))).epsilon(0.01));
  // 0.05 / 10 two-sided: z = 2.807 (normal table).
  const MileDifference of_ten = difference_of(study, 1, kOther, 10);
  CHECK((*of_ten.more_days + 30) / (*d.more_days + 30) ==
        Approx(std::pow(2.807 / 1.96, 2)).epsilon(0.02));
  const auto far =
      together(rounds.van(0, 60, 0.19, 20, 60, true), rounds.van(1, 60, 0.25, 20, 60, true));
  const MileDifference clear = difference_of(study_energy_per_mile(far, kOneType), 1, kOther, 1);
  CHECK(clear.decided);
  CHECK_FALSE(clear.more_days);
}

TEST_CASE("energy per mile: vans of other types have terms of their own") {
  Rounds rounds{9};
  auto drives =
      together(rounds.van(0, 120, 0.19, 20, 90, true), rounds.van(1, 120, 0.19, 20, 90, true));
  for (MileDrive& drive : drives)
    if (drive.van == 1) drive.kwh_per_mile.value += 0.05 * drive.stops / drive.miles;
  constexpr std::uint32_t kTwoTypes[] = {4, 8};
  const MileStudy study = study_energy_per_mile(drives, kTwoTypes);
  REQUIRE(study.types.size() == 2);
  const auto stops = static_cast<std::size_t>(MileTerm::stops);
  CHECK(study.types[0].terms[stops].figure->value == Approx(0.022).epsilon(0.3));
  CHECK(study.types[1].terms[stops].figure->value == Approx(0.072).epsilon(0.15));
  CHECK(study.vans[1].type == 1);
  CHECK(difference_of(study, 1, kOther, 1).kwh_per_mile.value > 0);
}

TEST_CASE("energy per mile: any drives are survived") {
  constexpr unsigned kSeed = 10;
  CAPTURE(kSeed);
  Rounds rounds{kSeed};
  for (int k = 0; k < 20; ++k) {
    auto drives = rounds.van(0, 45, 0.2, 1, 200, true);
    for (MileDrive& drive : drives) {
      const double x = rounds.uniform(0, 1);
      if (x < 0.1) drive.moving_mph = rounds.uniform(-1, 1e-300);
      if (x > 0.9) drive.kwh_per_mile.value = rounds.uniform(-1e9, 1e9);
      if (x > 0.95) drive.stops = 1e12;
      if (x > 0.98) drive.ambient_c = std::nan("");
      if (x > 0.99) drive.miles = 0;
    }
    MileRules rules;
    rules.least_drives = 20;
    rules.draws = 20;
    const MileStudy study = study_energy_per_mile(drives, kOther, rules);
    CHECK((study.vans[0].at_reference.figure || !study.vans[0].at_reference.why.empty()));
    if (study.vans[0].at_reference.figure)
      CHECK(std::isfinite(study.vans[0].at_reference.figure->value));
  }
}
