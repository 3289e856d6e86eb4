#include "money/tariff.hpp"

#include <doctest/doctest.h>

#include <random>

#include "unit/host/money/night_tariff.hpp"

using namespace packmile;
using namespace std::chrono;
using doctest::Approx;

namespace {

UtcTime tariff_at(const char* text) { return london().read_local(text).value(); }

// Pence of steady power between two moments, by the walk over pieces.
double pence(const Tariff& tariff, double kw, UtcTime from, UtcTime to) {
  const auto curve = steady(kw, from, to);
  return 100 * mean_price(tariff, london(), curve, from).value() * curve.back().kwh;
}

}  // namespace

// Worked with Python's zoneinfo, minute by minute: 8.4 p from 00:30 to 05:30, else
// 30 p, Europe/London, steady power.
TEST_CASE("a night of charging costs what the local clock says") {
  const Tariff tariff = night_tariff();
  CHECK(pence(tariff, 7, tariff_at("2026-02-10T22:00:00"), tariff_at("2026-02-11T07:00:00")) ==
        Approx(1134.00).epsilon(1e-6));
  // The spring night is 8 h long, the autumn night 10 h.
  CHECK(pence(tariff, 7, tariff_at("2026-03-28T22:00:00"), tariff_at("2026-03-29T07:00:00")) ==
        Approx(1075.20).epsilon(1e-6));
  CHECK(pence(tariff, 7, tariff_at("2026-10-24T22:00:00"), tariff_at("2026-10-25T07:00:00")) ==
        Approx(1192.80).epsilon(1e-6));
}

TEST_CASE("days of 23, 24 and 25 hours") {
  const Tariff tariff = night_tariff();
  const auto day = [&](const char* from, const char* to) {
    return pence(tariff, 1, tariff_at(from), tariff_at(to));
  };
  CHECK(day("2026-03-29T00:00:00", "2026-03-30T00:00:00") == Approx(603.6).epsilon(1e-6));
  CHECK(day("2026-06-01T00:00:00", "2026-06-02T00:00:00") == Approx(612.0).epsilon(1e-6));
  CHECK(day("2026-10-25T00:00:00", "2026-10-26T00:00:00") == Approx(620.4).epsilon(1e-6));
}

TEST_CASE("a band inside the hour that is skipped or repeated") {
  const Tariff tariff{"t", false, {night_list(75, 105, 1, 0)}};  // 01:15 to 01:45
  const auto minutes = [&](const char* from, const char* to) {
    double sum = 0;
    for (const PricePiece& piece : price_pieces(tariff, london(), tariff_at(from), tariff_at(to)))
      if (piece.per_kwh == 1.0)
        sum += duration<double, std::ratio<60>>(piece.to - piece.from).count();
    return sum;
  };
  CHECK(minutes("2026-03-29T00:00:00", "2026-03-30T00:00:00") == 0);
  CHECK(minutes("2026-06-01T00:00:00", "2026-06-02T00:00:00") == 30);
  CHECK(minutes("2026-10-25T00:00:00", "2026-10-26T00:00:00") == 60);
}

TEST_CASE("a tariff whose clock is UTC is not moved by the clocks") {
  Tariff tariff = night_tariff();
  tariff.utc_clock = true;
  // 00:30 to 05:30 UTC is 01:30 to 06:30 in June: 5 h of the night, 9 h in all.
  CHECK(pence(tariff, 1, tariff_at("2026-06-01T22:00:00"), tariff_at("2026-06-02T07:00:00")) ==
        Approx(5 * 8.4 + 4 * 30).epsilon(1e-6));
  CHECK(pence(tariff, 1, tariff_at("2026-06-01T22:00:00"), tariff_at("2026-06-02T06:00:00")) ==
        Approx(4.5 * 8.4 + 3.5 * 30).epsilon(1e-6));
}

TEST_CASE("prices change on the day from which a list is valid") {
  Tariff tariff = flat_tariff("t", 0.2);
  tariff.lists.push_back(flat_tariff("t", 0.3).lists.front());
  tariff.lists.back().valid_from = tariff_at("2026-04-01T00:00:00");
  CHECK(pence(tariff, 1, tariff_at("2026-03-31T22:00:00"), tariff_at("2026-04-01T01:00:00")) ==
        Approx(2 * 20 + 30).epsilon(1e-6));
  tariff.lists.front().valid_from = tariff_at("2026-03-31T23:00:00");
  CHECK_FALSE(
      mean_price(tariff, london(),
                 steady(1, tariff_at("2026-03-31T22:00:00"), tariff_at("2026-04-01T01:00:00")),
                 tariff_at("2026-03-31T22:00:00")));
  CHECK(price_pieces(tariff, london(), tariff_at("2026-03-31T22:00:00"),
                     tariff_at("2026-04-01T01:00:00"))
            .front()
            .per_kwh == std::nullopt);
}

TEST_CASE("where the time is not sure the price is the range over all of it") {
  const Tariff tariff = night_tariff();
  const UtcTime start = tariff_at("2026-02-10T23:00:00");
  const auto curve = steady(7, start, start + 1h);
  const auto within = [&](hours early, hours late) {
    return mean_price_within(tariff, london(), curve, start, start - early, start + late).value();
  };
  CHECK(within(0h, 0h).low == Approx(0.30));
  CHECK(within(0h, 0h).high == Approx(0.30));
  // Half of it at night: the start may be an hour later.
  CHECK(within(0h, 1h).low == Approx((0.30 + 0.084) / 2));
  CHECK(within(1h, 2h).low == Approx(0.084));
  CHECK(within(1h, 2h).high == Approx(0.30));
  CHECK(within(1h, 2h).mean == Approx(0.30));
}

TEST_CASE("the range over shifts is what trying every second finds") {
  const unsigned seed = 20260301;
  MESSAGE("seed ", seed);
  std::mt19937 random{seed};
  std::uniform_int_distribution<int> minutes{0, 400}, shift{1, 300};
  std::uniform_real_distribution<double> kwh{0, 3};
  const Tariff tariff = night_tariff();
  for (int round = 0; round < 20; ++round) {
    // Around the spring night.
    const UtcTime start = tariff_at("2026-03-28T21:00:00") + std::chrono::minutes{minutes(random)};
    std::vector<CurvePoint> curve{{0, 0}};
    for (int k = 0; k < 6; ++k)
      curve.push_back({curve.back().after_ms + 60'000 * (1 + minutes(random) / 5),
                       curve.back().kwh + kwh(random)});
    const UtcTime low = start - std::chrono::minutes{shift(random)};
    const UtcTime high = start + std::chrono::minutes{shift(random)};
    const PriceRange range = mean_price_within(tariff, london(), curve, start, low, high).value();
    double least = 1e9, most = 0;
    for (UtcTime t = low; t <= high; t += 20s) {
      const double price = mean_price(tariff, london(), curve, t).value();
      least = std::min(least, price);
      most = std::max(most, price);
    }
    CHECK(range.low == Approx(least).epsilon(1e-3));
    CHECK(range.high == Approx(most).epsilon(1e-3));
    CHECK(range.low <= least + 1e-12);
    CHECK(range.high >= most - 1e-12);
  }
}

TEST_CASE("pieces have no gap and no overlap, in any zone") {
  Tariff tariff = night_tariff();
  for (const char* name : {"Europe/London", "Asia/Kathmandu", "Australia/Lord_Howe", "UTC"}) {
    const Zone zone = Zone::find(name).value();
    const UtcTime from = sys_days{year{2026} / 1 / 1}, to = sys_days{year{2027} / 1 / 1};
    UtcTime now = from;
    for (const PricePiece& piece : price_pieces(tariff, zone, from, to)) {
      CHECK(piece.from == now);
      CHECK(piece.to > piece.from);
      now = piece.to;
    }
    CHECK(now == to);
  }
}

TEST_CASE("the range of prices over more than a week") {
  const auto range = price_range(night_tariff(), london(), tariff_at("2026-02-01T00:00:00"),
                                 tariff_at("2026-02-20T00:00:00"));
  CHECK(range->low == Approx(0.084));
  CHECK(range->high == Approx(0.30));
  CHECK(range->mean == Approx((5 * 0.084 + 19 * 0.30) / 24));
}
