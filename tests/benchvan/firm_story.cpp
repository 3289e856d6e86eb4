#include "benchvan/firm_story.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <utility>

#include "benchvan/bench_error.hpp"
#include "benchvan/firm_papers.hpp"
#include "benchvan/generator.hpp"
#include "benchvan/month.hpp"

namespace packmile::benchvan {
namespace {

constexpr double kDaysOfYear = 365.25;
// What a van of the firm drives on one card, about.
constexpr double kKmOfCard = 2650;

// Days from the purchase to the last month's begin.
int days_owned(const FirmPurchase& purchase) {
  using namespace std::chrono;
  int y = 0;
  unsigned m = 0, d = 0;
  if (std::sscanf(std::string(purchase.day).c_str(), "%d-%u-%u", &y, &m, &d) != 3)
    throw BenchError(fmt::format("'{}' is not a day", purchase.day));
  const sys_days bought = year{y} / month{m} / day{d};
  return static_cast<int>(
      (floor<days>(sys_time<milliseconds>{milliseconds{kMonthStartUnixMs}}) - bought).count());
}

// Days of notes: whole, from least to most.
int some_days(Generator& generator, int least, int most) {
  return least + static_cast<int>(generator.below(static_cast<std::uint64_t>(most - least + 1)));
}

// By turns, so that some firms have none of either.
enum class EnergyContrast : std::uint8_t { none, posts, two_at_posts };
enum class MoneyContrast : std::uint8_t { none, repair, two_repairs, tyres };

// What the office of any firm writes down, sooner or later.
void office_notes(Story& story, Generator& generator) {
  const int owned = days_owned(firm_purchase(story.name));
  auto& errands = story.errands;
  const auto often = [&] { return generator.share() < 0.9; };
  errands.push_back({some_days(generator, 300, std::min(725, owned)), "fluid,brake fluid,,,"});
  errands.push_back({some_days(generator, 60, 360), "job,cabin filter,17.40,0.3,"});
  errands.push_back({some_days(generator, 300, owned), "fluid,gear oil,,,"});
  errands.push_back({some_days(generator, 45, 300), "job,inspection,168,1.5,"});
  const int valve = some_days(generator, 100, 300), idle = some_days(generator, 100, 300);
  if (often()) errands.push_back({valve, "job,tyre valve,14.00,0.3,"});
  if (often()) errands.push_back({idle, "off_road,1,78,,"});
}

// Opinions of its worth: each off by up to a tenth, which is what `packmile` takes an
// opinion for.
void opinions(Story& story, Generator& generator) {
  const int owned = days_owned(firm_purchase(story.name));
  const std::array<int, 3> days_ago{1, some_days(generator, 200, 340),
                                    some_days(generator, 400, 560)};
  const std::size_t count = 1 + generator.below(days_ago.size());
  for (std::size_t k = 0; k < count; ++k) {
    const double years = (owned - days_ago[k]) / kDaysOfYear;
    const double worth = story.worth->paid * std::pow(1 - story.worth->lost_a_year, years);
    story.errands.push_back(
        {days_ago[k], fmt::format("valuation,{:.0f},,,",
                                  std::round(worth * generator.between(0.9, 1.1) / 10) * 10)});
  }
}

// Its owner's line: that much is lost every 100,000 km, as far as that can go on.
std::string expectation_text(double lost_pct) {
  const double first = std::min(lost_pct, 60.0);
  return fmt::format(
      "expectation = [ {{ at_km = 100000, percent = {:.1f} }}, {{ at_km = 250000, percent = "
      "{:.1f} }} ]\n",
      100 - first, 100 - std::min(2.5 * first, 90.0));
}

Errand repair(int days_ago, double sum, Generator& generator) {
  return {days_ago, fmt::format("job,drive unit,{:.2f},{:.1f},", sum, generator.between(1, 5))};
}

}  // namespace

std::array<Story, kFirmVans> stories_of_demo() {
  return {{
      {.name = "alder",
       .odometer_km = 21300,
       .briskness = 1.8,
       .haste = 1.22,
       .customers = 0.8,
       .wear_mm = {1.9, 1.1},
       .errands = {{600, "fluid,brake fluid,,,"},
                   {330, "job,cabin filter,17.40,0.3,"},
                   {600, "fluid,gear oil,,,"},
                   {336, "valuation,20300,,,"},
                   {150, "job,inspection,168,1.5,"},
                   {40, "job,cabin filter,17.40,0.3,"},
                   {1, "valuation,17200,,,"}}},
      {.name = "aspen",
       .odometer_km = 61400,
       .wear_mm = {1.2, 0.85},
       .tread_mm = {8.0, 7.4},
       .errands = {{700, "fluid,brake fluid,,,"},
                   {250, "job,cabin filter,17.40,0.3,"},
                   {400, "fluid,gear oil,,,"},
                   {336, "valuation,15100,,,"},
                   {190, "job,inspection,168,1.5,"},
                   {60, "job,cabin filter,17.40,0.3,"},
                   {1, "valuation,11800,,,"}}},
      {.name = "hazel",
       .odometer_km = 44120,
       .dc_share = 0.05,
       .silent = true,
       .errands = {{500, "fluid,brake fluid,,,"},
                   {300, "job,cabin filter,17.40,0.3,"},
                   {700, "fluid,gear oil,,,"},
                   {336, "valuation,15600,,,"},
                   {120, "job,inspection,168,1.5,"},
                   {1, "valuation,12900,,,"}}},
      {.name = "rowan",
       .odometer_km = 70250,
       .fade_pct_per_year = 8.0,
       .pack_ah = 149,
       .errands = {{420, "fluid,brake fluid,,,"},
                   {320, "job,cabin filter,17.40,0.3,"},
                   {500, "fluid,gear oil,,,"},
                   {336, "valuation,12400,,,"},
                   {210, "off_road,3,234,,contactor would not close"},
                   {207, "job,contactor,612,4,"},
                   {90, "job,inspection,168,1.5,"},
                   {1, "valuation,8600,,,"}},
       .expectation =
           "expectation = [ { at_km = 50000, percent = 96 }, { at_km = 100000, percent = 93 }, "
           "{ at_km = 250000, percent = 85 } ]\n"},
      {.name = "willow",
       .odometer_km = 30480,
       .dc_share = 0.5,
       .dc_night_share = 0.3,
       .errands = {{680, "fluid,brake fluid,,,"},
                   {310, "job,cabin filter,17.40,0.3,"},
                   {680, "fluid,gear oil,,,"},
                   {336, "valuation,19500,,,"},
                   {170, "job,inspection,168,1.5,"},
                   {30, "fluid,brake fluid,,,"},
                   {1, "valuation,16400,,,"}}},
  }};
}

std::array<Story, kFirmVans> stories_with_contrasts(const FirmOptions& options) {
  constexpr std::array<double, 6> kFadesPctPerYear{0, 1.5, 3, 6, 12, 20};
  // Of what it really loses; kFadeOf100000Km as many points as in a year.
  constexpr std::array<double, 3> kExpectedShares{0.3, 1, 2.5};
  constexpr double kFadeOf100000Km = 3;
  constexpr std::array<std::size_t, 4> kHeard{0, 1, 3, 4};
  const auto energy = static_cast<EnergyContrast>(options.seed % 3);
  const auto money = static_cast<MoneyContrast>(options.seed % 4);
  Generator generator(options.seed * 7349 + 5);
  const auto one_heard = [&] { return kHeard[generator.below(kHeard.size())]; };
  const std::size_t dear = one_heard(), losing = one_heard(), dragging = one_heard(),
                    hurried = one_heard();
  std::size_t second = one_heard();
  while (second == dear) second = one_heard();
  const double posts = generator.between(0.2, 1), posts_at_night = generator.between(0, 0.8);
  // From half a month's energy to what two vans cost in a month.
  const double bill = 300 * std::exp(generator.between(0, 2.3));
  const int recent = some_days(generator, 2, 20) + 2 - static_cast<int>(options.days);

  const bool small_pack = generator.share() < 0.6;

  std::array<Story, kFirmVans> stories = stories_of_demo();
  for (std::size_t k = 0; k < stories.size(); ++k) {
    Story story{.name = stories[k].name,
                .odometer_km = stories[k].odometer_km,
                .silent = stories[k].silent};
    story.customers = generator.between(0.75, 1.05);
    story.briskness = k == hurried ? generator.between(1.2, 1.8) : 1;
    story.haste = k == hurried ? generator.between(1, 1.22) : 1;
    story.rolling = k != dragging             ? generator.between(0.99, 1.01)
                    : generator.share() < 0.5 ? generator.between(1.05, 1.8)
                                              : generator.between(0.6, 0.95);
    // Nobody drives a pack below empty, and such a van takes more.
    if (k == hurried || k == dragging) story.customers *= 0.75;
    story.fade_pct_per_year = kFadesPctPerYear[generator.below(kFadesPctPerYear.size())];
    story.pack_ah = generator.between(142, 160);
    for (std::size_t axle = 0; axle < story.wear_mm.size(); ++axle) {
      story.wear_mm[axle] *= generator.between(0.7, 1.6);
      story.tread_mm[axle] = generator.between(5.5, 8.0);
    }
    story.expectation = expectation_text(kFadeOf100000Km * std::max(story.fade_pct_per_year, 1.0) *
                                         kExpectedShares[generator.below(kExpectedShares.size())] *
                                         generator.between(0.9, 1.1));
    story.resale_factor = generator.between(0.7, 1.2);
    const FirmPurchase& purchase = firm_purchase(story.name);
    story.worth = Worth{purchase.sum, std::string(purchase.day), generator.between(0.13, 0.28)};
    if (k == losing) story.worth->lost_a_year = generator.between(0.25, 0.5);
    office_notes(story, generator);
    opinions(story, generator);
    if (money == MoneyContrast::repair && k == dear)
      story.errands.push_back(repair(recent, bill, generator));
    if (money == MoneyContrast::two_repairs && (k == dear || k == second))
      story.errands.push_back(
          repair(recent, (500 + bill) * generator.between(0.97, 1.03), generator));
    // Down to the limit at the walk-round with which the last month begins.
    for (std::size_t axle = 0; axle < story.tread_mm.size(); ++axle)
      if (money == MoneyContrast::tyres && k == dear)
        story.tread_mm[axle] =
            kRenewBelowMm + story.wear_mm[axle] * (options.cards_before - 0.5) * kKmOfCard / 10000;
    if ((energy == EnergyContrast::posts && k == dear) ||
        (energy == EnergyContrast::two_at_posts && (k == dear || k == second))) {
      story.dc_share = posts;
      story.dc_night_share = posts_at_night;
      // Not enough for a day, enough for a round: with a charge at noon it goes on.
      if (k == dear && small_pack) {
        story.pack_ah = generator.between(98, 118);
        story.dc_share = 1;
        story.customers = 0.9;
      }
    }
    stories[k] = std::move(story);
  }
  return stories;
}

}  // namespace packmile::benchvan
