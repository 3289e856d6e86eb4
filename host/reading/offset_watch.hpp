// The offset of a van's current sensor, from what must add up to nothing.
//
// Input     a van's episodes in time order, with their running charge; the sign
//           comes at the end.
// Output    the offset with its uncertainty, or why there is none.
// Method    balance: between two rests with next to the same state of charge the
//           current must add up to what little the pack's charge differs by; what
//           is left over, divided by the awake time, is the offset. One span a
//           month, as long as can be; they do not overlap.
//           charges: Ah = capacity * share + offset * hours, by least squares over
//           charges of unlike power.
//           The two together by inverse variance.
// Drift     what is left over grows in a straight line from rest to rest, within
//           what a state of charge at rest is off by; where it does not the offset
//           has wandered, and is told as much less surely. So it is where charges of
//           like power, each of which counts the same Ah for the same rise, leave more
//           over than their edges do: the sensor's offset or the controller's count
//           differs from one to the next, and what is told of any one is less sure.
// Rest      the first minute after half an hour or more without an answer, below
//           5 A, before the load of a drive.
// Refuses   less than 20 h awake, less than 98 % of that seen, a state of charge
//           or an odometer that moved asleep, a voltage at rest that does not come
//           back with the state of charge (then the controller's count has moved),
//           more than 2 A (a fault, no offset), less sure than half of what is
//           taken without any evidence.
// Caution   what is drawn while nothing is asked, less than a code at a time,
//           is taken for nothing.
// Bounded   some 100 bytes an episode, 40 a charge.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "reading/pack_charge.hpp"
#include "reading/verdict.hpp"
#include "timeline/episode.hpp"

namespace packmile {

struct OffsetFound {
  VerdictAnswer answer = VerdictAnswer::too_little;
  // Also beside a contradiction: what one would read.
  std::optional<SensorOffset> offset;
  // 1 sd, A, of what it differs by from charge to charge; 0: nothing shows. An offset
  // that is told has it in its own width.
  double wander_a = 0;
  std::string evidence;
};

// One charge: its rise as a share of the pack, the Ah that it took by the words,
// how long that lasted, and 1 sd of Ah - capacity * share beside the errors of
// the share.
struct ChargeRise {
  double share = 0;
  double ah = 0;
  double hours = 0;
  double u_share = 0;
  double u_ah = 0;
};
struct CapacityAndOffset {
  double ah = 0;        // of the whole pack
  double offset_a = 0;  // into the pack, as ChargeRise::ah is
  double u_ah = 0;
  double u_offset_a = 0;
  double scatter = 0;  // sqrt(chi2 / (n - 2)), 1 where two fit exactly
};
// weighted: by u_ah and u_share, else all alike and the widths from the scatter.
// nullopt: hours per share are too alike (3 to 1 is asked), or fewer than three.
[[nodiscard]] std::optional<CapacityAndOffset> fit_capacity_and_offset(
    std::span<const ChargeRise> charges, bool weighted);

// 1 sd of an offset from a balance. share: 1 sd of one state of charge at rest as
// a share of the pack; missed_ah: flowed unseen.
struct BalanceErrors {
  double capacity_ah = 0;
  double u_share = 0;
  double one_way_ah = 0;
  double missed_ah = 0;
  double awake_h = 0;
};
[[nodiscard]] double u_of_balance_a(const BalanceErrors& errors);

class OffsetWatch {
 public:
  // charge: of this episode under `coding`. In time order.
  void observe(const Episode& episode, CurrentCoding coding, const PackCharge& charge);
  // turn: 1 where a positive word is discharge, -1 where it is charge.
  [[nodiscard]] OffsetFound decide(int turn) const;

 private:
  struct Stretch {
    std::int64_t start_ms = 0;
    std::int64_t awake_ms = 0;  // from the first row to the last
    std::int64_t unseen_ms = 0;
    std::int64_t net = 0;      // in units of PackCharge
    std::int64_t one_way = 0;  // half of both ways together
    std::int64_t gap = 0;
    std::int64_t head = 0;     // net, before the state of charge was first answered,
    std::int64_t tail = 0;     // and after it was last
    float soc_first_pct = -1;  // below 0: not answered near that end
    float soc_last_pct = -1;
    float soc_step_pct = 0;
    float rest_v = 0;         // 0: no rest before it
    bool carries_on = false;  // nothing happened since the stretch before
  };
  struct Rise {
    float share = 0;
    float step_pct = 0;
    std::int64_t charge = 0;
    std::int64_t time_ms = 0;
    std::int64_t start_ms = 0;
  };
  struct Balance {
    double offset_a = 0;
    double u_a = 0;
    double awake_h = 0;
    double ah = 0;  // one way
    std::int64_t from_ms = 0;
    std::int64_t to_ms = 0;
    double drift_a = 0;  // 1 sd of what the offset wandered within it; 0: nothing shows
  };
  // What was left over between the first rest of a span and a later one alike.
  struct LeftOver {
    double awake_h = 0;
    double ah = 0;
    double u_ah = 0;  // 1 sd, of this rest's state of charge
  };
  struct Refusals {
    double longest_h = 0;  // of spans that are good but for their length
    bool unseen = false;
    bool count_moved = false;
    bool drains = false;
  };
  void find_rises(const Episode& episode, const PackCharge& charge);
  // rest_u: 1 sd of one state of charge at rest, share of the pack.
  [[nodiscard]] std::vector<Balance> find_balances(int turn, double capacity_ah, double rest_u,
                                                   Refusals& refusals) const;
  [[nodiscard]] double rest_u() const;
  [[nodiscard]] double capacity_ah(int turn) const;
  [[nodiscard]] static double drift_of(std::span<const LeftOver> rests);
  // 1 sd, A, of what the offset differs by from charge to charge; 0: nothing shows.
  [[nodiscard]] double wander_a(int turn) const;

  std::vector<Stretch> stretches_;
  std::vector<Rise> rises_;
  std::int64_t last_end_ms_ = 0;
  std::optional<std::uint32_t> last_odometer_;
};

// "2026-01-05": a moment's day in UTC, as lines of evidence tell it.
[[nodiscard]] std::string utc_day_text(UtcTime at);

}  // namespace packmile
