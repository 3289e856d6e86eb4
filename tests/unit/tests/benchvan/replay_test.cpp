#include "benchvan/replay.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

#include "benchvan/bench_error.hpp"

using namespace packmile::benchvan;

namespace {

std::string trouble(const std::string& text) {
  try {
    (void)parse_replay(text, "x.csv");
  } catch (const BenchError& error) {
    return error.what();
  }
  return "";
}

constexpr char kHeader[] = "time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n";

}  // namespace

TEST_CASE("replay: rows, empty fields and columns by name") {
  const ReplayFile file =
      parse_replay("pack_a,time_s,barometric_kpa\r\n1.5,0,101\r\n,0.5,\r\n\"-2\",1,99", "x.csv");
  CHECK(file.track.time_s == std::vector<double>{0, 0.5, 1});
  const auto& pack_a = file.track.column(Quantity::pack_a);
  CHECK(pack_a[0] == 1.5);
  CHECK(std::isnan(pack_a[1]));
  CHECK(pack_a[2] == -2);
  CHECK(file.track.quantities().has(Quantity::barometric_kpa));
  CHECK_FALSE(file.track.quantities().has(Quantity::speed_kmh));
}

TEST_CASE("replay: a column without any value is not a quantity of the van") {
  const ReplayFile file = parse_replay(std::string(kHeader) + "0,,350,1,,\n1,,350,1,,\n", "x.csv");
  CHECK(file.track.quantities().has(Quantity::pack_v));
  CHECK_FALSE(file.track.quantities().has(Quantity::speed_kmh));
  CHECK_FALSE(file.track.quantities().has(Quantity::soc_pct));
}

TEST_CASE("replay: stamps that repeat or run back are skipped and counted") {
  const ReplayFile file = parse_replay("time_s,pack_v\n0,1\n1,2\n1,3\n0.5,4\n2,5\n2,6\n", "x.csv");
  CHECK(file.track.time_s == std::vector<double>{0, 1, 2});
  CHECK(file.track.column(Quantity::pack_v) == std::vector<double>{1, 2, 5});
  CHECK(file.repeated_stamps == 2);
  CHECK(file.backward_stamps == 1);
}

TEST_CASE("replay: errors name file, line and column") {
  CHECK(trouble("time_s,colour\n0,1\n") == "x.csv:1:2: unknown column 'colour'");
  CHECK(trouble("time_s,pack_v\n0,1\n1,2,3\n").substr(0, 10) == "x.csv:3:3:");
  CHECK(trouble("time_s,pack_v\n0,1\n1\n").substr(0, 10) == "x.csv:3:2:");
  CHECK(trouble("time_s,pack_v\n0,1\n1,1.2.3\n") == "x.csv:3:2: '1.2.3' is not a number");
  CHECK(trouble("time_s,pack_v\n0,nan\n").substr(0, 10) == "x.csv:2:2:");
  CHECK(trouble("time_s,pack_v\n,1\n") == "x.csv:2:1: a row without time_s");
  CHECK(trouble("speed_kmh\n1\n") == "x.csv:1:1: no column time_s in the header");
  CHECK(trouble("time_s,time_s\n1,1\n").substr(0, 10) == "x.csv:1:2:");
  CHECK(trouble("").substr(0, 10) == "x.csv:1:1:");
  CHECK(trouble("time_s\n").find("no rows") != std::string::npos);
  CHECK(trouble("time_s\n\"0").substr(0, 6) == "x.csv:");
}

TEST_CASE("replay: any cut of a file is read or refused, never worse") {
  const std::string text = std::string(kHeader) + "0,1,2,3,4,5\n\"1\",2,,4,5,6\r\n2,3,4,5,6,7\n";
  for (std::size_t cut = 0; cut <= text.size(); ++cut) {
    try {
      const ReplayFile file = parse_replay(text.substr(0, cut), "x.csv");
      CHECK(file.track.time_s.size() == file.track.column(Quantity::ambient_c).size());
    } catch (const BenchError& error) {
      CHECK(std::string(error.what()).substr(0, 6) == "x.csv:");
    }
  }
}

TEST_CASE("track: straight lines for speed, voltage, current, the rest holds") {
  const ReplayFile file =
      parse_replay(std::string(kHeader) + "100,0,400,10,50,20\n102,36,390,-10,49,22\n", "x.csv");
  TrackCursor cursor(file.track);
  Moment moment;
  REQUIRE(cursor.show(0.5, moment));
  CHECK(*moment.get(Quantity::speed_kmh) == doctest::Approx(9));
  CHECK(*moment.get(Quantity::pack_v) == doctest::Approx(397.5));
  CHECK(*moment.get(Quantity::pack_a) == doctest::Approx(5));
  CHECK(*moment.get(Quantity::soc_pct) == 50);
  CHECK(*moment.get(Quantity::ambient_c) == 20);
  // 0.5 s at a mean of 4.5 km/h.
  CHECK(*cursor.driven_km() == doctest::Approx(4.5 * 0.5 / 3600));
  REQUIRE(cursor.show(2, moment));
  CHECK(*moment.get(Quantity::soc_pct) == 49);
  CHECK(*cursor.driven_km() == doctest::Approx(18 * 2.0 / 3600));
  CHECK_FALSE(cursor.show(2.001, moment));
}

TEST_CASE("track: silence over a step of more than 10 s, not over one of 10 s") {
  const ReplayFile file = parse_replay("time_s,pack_v\n0,1\n10,2\n20.1,3\n21,4\n", "x.csv");
  TrackCursor cursor(file.track);
  Moment moment;
  CHECK(cursor.show(9.9, moment));
  CHECK(cursor.show(10, moment));
  CHECK_FALSE(cursor.show(10.1, moment));
  CHECK_FALSE(cursor.show(20, moment));
  CHECK(cursor.show(20.1, moment));
  CHECK(cursor.show(20.5, moment));
}

TEST_CASE("track: a straight line needs both ends, a held value its row") {
  const ReplayFile file = parse_replay("time_s,pack_v,soc_pct\n0,1,9\n1,,\n2,3,7\n3,4,\n", "x.csv");
  TrackCursor cursor(file.track);
  Moment moment;
  REQUIRE(cursor.show(0, moment));
  CHECK(moment.has(Quantity::pack_v));
  REQUIRE(cursor.show(0.5, moment));
  CHECK_FALSE(moment.has(Quantity::pack_v));
  CHECK(moment.has(Quantity::soc_pct));
  REQUIRE(cursor.show(1.5, moment));
  CHECK_FALSE(moment.has(Quantity::pack_v));
  CHECK_FALSE(moment.has(Quantity::soc_pct));
  REQUIRE(cursor.show(2.5, moment));
  CHECK(*moment.get(Quantity::pack_v) == doctest::Approx(3.5));
  CHECK(*moment.get(Quantity::soc_pct) == 7);
}
