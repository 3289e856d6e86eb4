// What charging costs the made-up firm: its own arithmetic, with its own rule for
// summer time, so that an error in the decoder's cannot cancel itself out.
//
// Source  British summer time: from 01:00 UTC on the last Sunday of March to 01:00
//         UTC on the last Sunday of October (Summer Time Order 2002, SI 2002/262).
#pragma once
#include <cstdint>
#include <string>
#include <string_view>

#include "benchvan/track.hpp"

namespace packmile::benchvan {

// All of it is invented. Pounds by the kWh at the socket.
inline constexpr double kNightPrice = 0.092;  // 00:30 to 04:30 by the clock on the wall
inline constexpr double kDayPrice = 0.275;
inline constexpr double kPostPrice = 0.69;
inline constexpr std::string_view kYard = "Yard";
inline constexpr std::string_view kPost = "Market Row";

// Hours that London's clocks are ahead of UTC.
[[nodiscard]] int london_ahead_h(std::int64_t unix_ms);
// Of a kWh at the yard at this moment.
[[nodiscard]] double yard_price(std::int64_t unix_ms);

// Mean price of what the track puts into the pack, from its first row on at
// `start_unix_ms`; 0 when it puts nothing in.
[[nodiscard]] double mean_yard_price(const Track& track, std::int64_t start_unix_ms);

// What a post's receipt says: kWh in hundredths, pounds in pence.
struct Receipt {
  double kwh = 0;
  double sum = 0;
};
[[nodiscard]] Receipt receipt_of(double grid_kwh);

// Tariffs and places for fleet.toml.
[[nodiscard]] std::string price_blocks();

}  // namespace packmile::benchvan
