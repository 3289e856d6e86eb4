// What befell each van of the invented firm: its driver, pack, tyres, errands.
//
// Demo       five vans with one story each, the same for every seed.
// Contrasts  stories drawn by the seed, so that what a report tells apart lies far
//            apart in some firms and near in others. Of money by turns nothing, one
//            dear repair, two that are about equal, a set of tyres; of energy nothing,
//            a van charged at posts, two of them. Besides a van that loses more of its
//            worth, a dragging brake or easy tyres, a driver in a hurry, packs that
//            fade or do not, some of them small, all of some size.
// Source     all of it is invented.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "benchvan/firm.hpp"
#include "benchvan/firm_papers.hpp"
#include "benchvan/pack_model.hpp"

namespace packmile::benchvan {

// At a walk-round a thinner tread is renewed.
inline constexpr double kRenewBelowMm = 3.3;

// What happened besides: noted at noon, so many days before the last month began.
struct Errand {
  int days_ago;
  std::string note;  // kind and values, as in notes.csv
};

// What it would have fetched: of what was paid, the same share lost each year.
struct Worth {
  double paid;
  std::string paid_on;
  double lost_a_year;
};

struct Story {
  std::string_view name;
  double odometer_km;  // when the first card begins
  double briskness = 1;
  double haste = 1;
  double customers = 1;
  double rolling = 1;
  double fade_pct_per_year = 1.5;
  double pack_ah = kNominalAh;  // when the first card begins
  double dc_share = 0;          // of the middays
  double dc_night_share = 0;
  bool silent = false;
  // Of the fronts and rears, worn off per 10,000 km, and what was there at first.
  std::array<double, 2> wear_mm{1.55, 1.0};
  std::array<double, 2> tread_mm{7.6, 7.8};
  std::vector<Errand> errands{};
  std::string expectation{};     // of its pack, a line of fleet.toml
  double resale_factor = 1;      // of what its papers say that it would fetch
  std::optional<Worth> worth{};  // absent: as its valuations say
};

[[nodiscard]] std::array<Story, kFirmVans> stories_of_demo();
// Of the options the seed, the cards before and the days.
[[nodiscard]] std::array<Story, kFirmVans> stories_with_contrasts(const FirmOptions& options);

}  // namespace packmile::benchvan
