// What each kind of note about wear, work and price answers, doubts and refuses.
#include <doctest/doctest.h>

#include "unit/host/ledger/note_depot.hpp"

using namespace packmile;
using Notes = test::NoteDepot;

namespace {

constexpr char kBought[] = "purchase = { day = 2024-06-01, sum = 20000, odometer_miles = 10000 }\n";

}  // namespace

// By hand: two readings of +-0.25 mm (1 sd) each: 1.96 * sqrt(2) * 0.25 = 0.69 mm.
TEST_CASE("note entry: a tread says how much is gone at that wheel, and a gauge's error") {
  Notes notes;
  CHECK(notes.add("Linden", "2025-11-03", "tread", {"fl", "6.0"}) ==
        "1: Linden, tread fl 6.0 mm on 2025-11-03: the first measurement front left");
  CHECK(notes.add("Linden", "2025-11-03", "tread", {"fr", "5.8"}).starts_with("2: "));
  CHECK(notes.add("Linden", "2026-03-02", "tread", {"fl", "5.1"}) ==
        "3: Linden, tread fl 5.1 mm on 2026-03-02: front left 0.9 mm (+-0.7, the gauge's error) "
        "less than 6.0 mm on 2025-11-03 (note 1), 119 days before");
  CHECK(notes.doubt() == "");
  // Another gauge: 1.96 * hypot(0.25, 0.5) = 1.10.
  CHECK(notes.add("Linden", "2026-03-02", "tread", {"fr", "5.8", "0.5"})
            .find("front right the same (+-1.1, the gauge's error) as 5.8 mm") !=
        std::string::npos);
  CHECK(notes.add("Linden", "2026-03-02", "tread", {"fl", "5.2"}) ==
        "note: Linden has tread fl 5.1 mm on 2026-03-02 already (note 3) / to correct it: "
        "--replaces 3; if both are right, give each its time of day (2026-03-01T18:30)");
  CHECK(notes.add("Linden", "2026-03-02", "tread", {"fl", "5.1"}).starts_with("known 3: "));
  CHECK(notes.add("Linden", "2026-03-02", "tread", {"fl", "5.2"}, "3").find("0.8 mm") !=
        std::string::npos);
}

TEST_CASE("note entry: a tread that grows is doubted, unless a note tells of another tyre") {
  Notes notes;
  notes.add("Linden", "2026-01-05", "tread", {"fl", "4.0"});
  // Half a millimetre is within what gauges err by.
  notes.add("Linden", "2026-02-02", "tread", {"fl", "4.5"});
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-03-02", "tread", {"fl", "5.1"});
  CHECK(notes.doubt().find("front left the tread is deeper than 4.5 mm on 2026-02-02 (note 2), "
                           "and no note tells of another tyre") == 0);
  notes.add("Linden", "2026-04-01", "job", {"tyres", "460"});
  CHECK(notes.add("Linden", "2026-04-06", "tread", {"fl", "8.2"})
            .find("front left work on tyres since 5.1 mm on 2026-03-02 (note 3)") !=
        std::string::npos);
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-04-06", "tread", {"rl", "7.0"});
  notes.add("Linden", "2026-04-07", "tyre_moved", {"rl", "fl"});
  CHECK(notes.add("Linden", "2026-05-04", "tread", {"rl", "8.0"})
            .find("rear left tyres were moved since 7.0 mm") != std::string::npos);
  CHECK(notes.doubt() == "");
  // Work on something else explains nothing, nor does it at another place.
  notes.add("Linden", "2026-05-05", "job", {"wiper", "12"});
  notes.add("Linden", "2026-05-05", "job", {"tyre front", "120"});
  notes.add("Linden", "2026-05-06", "tread", {"rl", "9.0"});
  CHECK(notes.doubt().find("deeper than 8.0 mm") != std::string::npos);
  notes.add("Linden", "2026-05-06", "tread", {"rr", "12.5"});
  CHECK(notes.doubt().find("deeper than the tread of a new tyre") != std::string::npos);
}

TEST_CASE("note entry: pads get thinner, or new ones were fitted") {
  Notes notes;
  CHECK(notes.add("Linden", "2025-11-03", "pad", {"front", "9"}) ==
        "1: Linden, pad front 9 mm on 2025-11-03: the first measurement of the front axle");
  CHECK(notes.add("Linden", "2026-03-02", "pad", {"front", "8.4"}) ==
        "2: Linden, pad front 8.4 mm on 2026-03-02: front 0.6 mm less than 9 mm on 2025-11-03 "
        "(note 1), 119 days before");
  CHECK(notes.add("Linden", "2026-03-02", "pad", {"rear", "21"}).starts_with("3: "));
  CHECK(notes.doubt().find("thicker than a new pad") != std::string::npos);
  // What a gauge errs by is no new pad.
  notes.add("Linden", "2026-04-01", "pad", {"front", "8.5"});
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-03-30", "pad", {"front", "9.0"});
  CHECK(notes.doubt().find("front the pads are thicker than 8.4 mm on 2026-03-02 (note 2), and no "
                           "note tells of new ones") == 0);
  notes.add("Linden", "2026-04-20", "job", {"brake pads", "96", "1.5"});
  notes.add("Linden", "2026-04-21", "pad", {"front", "12"});
  CHECK(notes.doubt() == "");
  CHECK(notes.add("Linden", "2026-04-21", "pad", {"middle", "12"}) ==
        "v1: pad: AXLE 'middle' is not known / one of: front, rear");
}

TEST_CASE("note entry: a job says when the last one of its part was") {
  Notes notes;
  CHECK(notes.add("Linden", "2026-01-05", "job", {"cabin filter", "14.50"}) ==
        "1: Linden, job 'cabin filter' 14.50 GBP on 2026-01-05: the first job of 'cabin filter' "
        "that is noted");
  CHECK(notes.add("Linden", "2026-05-05", "job", {"cabin filter", "15.00", "0.25h"}) ==
        "2: Linden, job 'cabin filter' 15.00 GBP 0.25 h on 2026-05-05: the last one was 14.50 GBP "
        "on 2026-01-05 (note 1), 120 days before");
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-05-20", "job", {"cabin filter", "15.00"});
  CHECK(notes.doubt() ==
        "'cabin filter' has a job 2026-05-05 (note 2) already: is it another one?");
  notes.add("Linden", "2026-05-20", "job", {"cabin filter", "16.00"});
  CHECK(notes.doubt().find("'cabin filter' has a job at that time already, 15.00 GBP on "
                           "2026-05-20 (note 3): both count") != std::string::npos);
  notes.add("Linden", "2026-05-21", "job", {"wiper", "0"});
  CHECK(notes.doubt().find("the sum is 0") == 0);
  notes.add("Linden", "2026-05-22", "job", {"door", "3", "250"});
  CHECK(notes.doubt().find("250 hours for one job") == 0);
}

TEST_CASE("note entry: a fluid says when it was renewed before") {
  Notes notes;
  CHECK(notes.add("Linden", "2024-05-06", "fluid", {"brake fluid"}) ==
        "1: Linden, fluid 'brake fluid' on 2024-05-06: the first time that 'brake fluid' was "
        "renewed and noted");
  CHECK(notes.add("Linden", "2026-05-06", "fluid", {"brake fluid"}) ==
        "2: Linden, fluid 'brake fluid' on 2026-05-06: renewed after 730 days, the last time on "
        "2024-05-06 (note 1)");
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-05-07", "fluid", {"brake fluid"});
  CHECK(notes.doubt().find("renewed on 2026-05-06 (note 2) already") != std::string::npos);
  CHECK(notes.add("Linden", "2026-05-07", "fluid", {}).find("fluid: NAME is missing") !=
        std::string::npos);
}

TEST_CASE("note entry: a fluid renewed by a job, and the other way round") {
  Notes notes;
  notes.add("Linden", "2024-05-06", "job", {"brake fluid", "60"});
  CHECK(notes.add("Linden", "2026-05-06", "fluid", {"brake fluid"})
            .find("renewed after 730 days, the last time on 2024-05-06 (note 1)") !=
        std::string::npos);
  CHECK(notes.add("Linden", "2026-07-05", "job", {"brake fluid", "60"})
            .find("renewed as a fluid on 2026-05-06 (note 2), 60 days before") !=
        std::string::npos);
}

TEST_CASE("note entry: tyres move from wheel to wheel, one to a wheel") {
  Notes notes;
  CHECK(notes.add("Linden", "2026-03-02", "tyre_moved", {"fl", "rl"}) ==
        "1: Linden, tyre_moved fl rl on 2026-03-02: what was measured front left goes with the "
        "tyre to rear left; the one that was rear left leaves the van, unless a note of that day "
        "says where it went");
  CHECK(notes.add("Linden", "2026-03-02", "tyre_moved", {"rl", "fl"}) ==
        "2: Linden, tyre_moved rl fl on 2026-03-02: what was measured rear left goes with the "
        "tyre to front left");
  CHECK(notes.add("Linden", "2026-03-02", "tyre_moved", {"fr", "fr"}) ==
        "v2: the tyre cannot move from fr to fr / two different ones of: fl, fr, rl, rr");
  CHECK(notes.add("Linden", "2026-03-02", "tyre_moved", {"fr", "rl"}) ==
        "v2: note 1 has the tyre from fl go to rl on that day / one wheel takes one tyre; to "
        "correct that note: --replaces 1");
  CHECK(notes.add("Linden", "2026-03-02", "tyre_moved", {"fl", "rr"})
            .starts_with("note: Linden has tyre_moved fl rl on 2026-03-02 already (note 1)"));
  // A day's moves are one, whatever their hours.
  CHECK(notes.add("Linden", "2026-03-02T18:00", "tyre_moved", {"fl", "rr"}) ==
        "v1: note 1 has the tyre from fl go to rl on that day / one wheel gives one tyre; to "
        "correct that note: --replaces 1");
  CHECK(notes.add("Linden", "2026-03-02T18:00", "tyre_moved", {"rr", "fl"})
            .starts_with("v2: note 2"));
  CHECK(notes.add("Linden", "2026-03-02T18:00", "tyre_moved", {"rr", "fr"}).starts_with("3: "));
  CHECK(notes.add("Linden", "2026-03-03T18:00", "tyre_moved", {"fl", "rr"}).starts_with("4: "));
  CHECK(notes.add("Linden", "2026-03-02", "tyre_moved", {"fl", "spare"}) ==
        "v2: tyre_moved: TO 'spare' is not known / one of: fl, fr, rl, rr");
}

TEST_CASE("note entry: days off the road, what they cost, and what speaks against them") {
  Notes notes;
  CHECK(notes.add("Linden", "2026-03-02", "off_road", {"3", "180"}) ==
        "1: Linden, off_road 3 days 180 GBP on 2026-03-02: 60.00 GBP a day");
  CHECK(notes.add("Linden", "2026-04-06", "off_road", {"1.5"}) ==
        "2: Linden, off_road 1.5 days on 2026-04-06: what its stand-in cost is not noted; 4.5 days "
        "in a year with these");
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-04-07", "off_road", {"2"});
  CHECK(notes.doubt() ==
        "these days overlap those of 1.5 days on 2026-04-06 (note 2): days of both count once, "
        "sums of both count");
  notes.odometer("2026-05-04", "40000");
  notes.odometer("2026-05-06", "40500");
  notes.add("Linden", "2026-05-04", "off_road", {"5"});
  CHECK(notes.doubt() ==
        "the odometer went on by 500 km in these days, to 40500 km on 2026-05-06 (note 5)");
  CHECK(notes.add("Linden", "2026-05-20", "off_road", {"0"}) ==
        "v1: off_road: DAYS 0 is out of range / a number above 0 to 1000 days");
}

TEST_CASE("note entry: a valuation and a sale, against what was paid") {
  Notes notes{kBought};
  CHECK(notes.add("Linden", "2025-06-01", "valuation", {"14000"}) ==
        "1: Linden, valuation 14000 GBP on 2025-06-01: the first valuation of this van; 70 % of "
        "what was paid");
  CHECK(notes.add("Linden", "2026-03-01", "valuation", {"12000"}) ==
        "2: Linden, valuation 12000 GBP on 2026-03-01: 2000 GBP less than 14000 GBP on 2025-06-01 "
        "(note 1), 273 days before; 60 % of what was paid");
  CHECK(notes.doubt() == "");
  notes.add("Linden", "2026-03-02", "valuation", {"21000"});
  CHECK(notes.doubt() == "it is more than was paid for the van, 20000 GBP");
  notes.add("Linden", "2024-05-31", "valuation", {"19000"});
  CHECK(notes.doubt() == "fleet.toml has it bought later, on 2024-06-01");
  CHECK(notes.add("Linden", "2026-02-28", "sold", {"11000"}) ==
        "5: Linden, sold 11000 GBP on 2026-02-28: 9000 GBP less than was paid, 637 days after "
        "2024-06-01");
  CHECK(notes.doubt() == "there is a later note: valuation 21000 GBP on 2026-03-02 (note 3)");
  notes.odometer("2026-03-03", "60000");
  CHECK(notes.doubt() == "the van was sold before, for 11000 GBP on 2026-02-28 (note 5)");
  notes.add("Linden", "2026-03-04", "sold", {"10000"});
  CHECK(notes.doubt() == "it was sold for 11000 GBP on 2026-02-28 (note 5) as well");
  CHECK(notes.add("Cedar", "2026-03-04", "sold", {"9000"}).find("not in fleet.toml: purchase") !=
        std::string::npos);
}

// 10,000 miles are 16,093 km.
TEST_CASE("note entry: an odometer below that of the purchase is doubted") {
  Notes notes{kBought};
  notes.odometer("2024-05-01", "9000mi");
  CHECK(notes.doubt() == "");
  notes.odometer("2024-06-02", "9998mi");
  CHECK(notes.doubt().find("9998 mi on 2024-06-02 is lower than the odometer that fleet.toml has "
                           "for the day it was bought, 10000 miles") == 0);
  // A display cuts down: up to 10,000 miles may have been driven.
  notes.odometer("2024-06-03", "9999mi");
  CHECK(notes.doubt() == "");
}
