#include "timeline/clock_repair.hpp"

#include <algorithm>
#include <limits>
#include <map>
#include <set>
#include <tuple>

namespace packmile {
namespace {

// A sound clock may be set back by so much between two boots: 20 ppm are 52 s in
// a month. Neighbours that leave too little room by no more contradict nothing.
constexpr std::int64_t kSetBackMs = 60'000;
// Longer than this no boot is: what says so is a forgery, and sums stay small.
constexpr std::int64_t kLongestBootMs = 100LL * 366 * 86'400'000;
// Rounds in which bounds may still move: each carries them along one change from
// card to card.
constexpr int kMostRounds = 64;
// More boots against the order than this on one card: its odometer tells none.
constexpr std::size_t kMostOdd = 64;
// Stretches of other boots that are tried around a place.
constexpr int kMostTries = 1'000;
// How wrong a place may be where nothing bounds it on one side: the age of a card
// that was left in a drawer. Common practice, no source.
constexpr std::int64_t kUnboundedMs = 366LL * 86'400'000;
constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::min();
constexpr std::int64_t kForEver = std::numeric_limits<std::int64_t>::max();

// `placed` follows the places of boots with a clock, `sure` what their clocks
// leave open, too.
struct Bound {
  std::int64_t placed = 0;
  std::int64_t sure = 0;
};

struct Node {
  Boot* boot = nullptr;
  std::size_t log = 0;
  const BootOwner* owner = nullptr;
  std::int64_t length_ms = 0;
  bool open = false;      // no sure clock
  bool conflict = false;  // its place in the order is contradicted
  // Of its start, not before; of its end, not after. Absent: nothing bounds it.
  std::optional<Bound> low, high;

  [[nodiscard]] bool has_odometer() const { return owner && owner->odometer && !conflict; }
  [[nodiscard]] const OdometerSpan& odometer() const { return *owner->odometer; }

  // Not before this it ends, not after this it starts.
  [[nodiscard]] std::optional<Bound> end_low() const {
    if (!low) return std::nullopt;
    return Bound{low->placed + length_ms, low->sure + length_ms - drift_ms(length_ms)};
  }
  [[nodiscard]] std::optional<Bound> start_high() const {
    if (!high) return std::nullopt;
    return Bound{high->placed - length_ms, high->sure - length_ms + drift_ms(length_ms)};
  }
};

// Both return whether the bound moved.
bool not_before(std::optional<Bound>& low, const std::optional<Bound>& other) {
  if (!other) return false;
  if (!low) {
    low = other;
    return true;
  }
  const Bound was = *low;
  *low = {std::max(was.placed, other->placed), std::max(was.sure, other->sure)};
  return low->placed != was.placed || low->sure != was.sure;
}
bool not_after(std::optional<Bound>& high, const std::optional<Bound>& other) {
  if (!other) return false;
  if (!high) {
    high = other;
    return true;
  }
  const Bound was = *high;
  *high = {std::min(was.placed, other->placed), std::min(was.sure, other->sure)};
  return high->placed != was.placed || high->sure != was.sure;
}

// Did `a` come before `b`, by their odometers? Equal readings tell nothing.
bool before_by_odometer(const OdometerSpan& a, const OdometerSpan& b) {
  return a.last <= b.first && a.first < b.last;
}

std::int64_t length_of(const Boot& boot) {
  return static_cast<std::int64_t>(std::min<Tick>(boot.last_tick, kLongestBootMs));
}

std::int64_t first_of(const Boot& boot) {
  return static_cast<std::int64_t>(std::min<Tick>(boot.first_tick, kLongestBootMs));
}

class Repair {
 public:
  Repair(std::span<LogBoots> logs, const std::vector<std::vector<BootOwner>>& owners)
      : logs_(logs) {
    for (std::size_t k = 0; k < logs.size(); ++k) {
      begin_.push_back(nodes_.size());
      for (std::size_t i = 0; i < logs[k].boots.size(); ++i) {
        Node node;
        node.boot = &logs[k].boots[i];
        node.log = k;
        node.owner = owners.empty() ? nullptr : &owners[k][i];
        node.length_ms = length_of(*node.boot);
        node.open = node.boot->clock_guessed;
        nodes_.push_back(node);
      }
    }
    begin_.push_back(nodes_.size());
    for (std::size_t k = 0; k < logs.size(); ++k) ordered_.push_back(ordered_of(k));
    if (!owners.empty())
      for (std::size_t n = 0; n < nodes_.size(); ++n) vans_[nodes_[n].owner->van].push_back(n);
    for (auto it = vans_.begin(); it != vans_.end();)
      it = has_open(it->second) ? std::next(it) : vans_.erase(it);
  }

  void run() {
    find_conflicts();
    if (!settle()) {
      for (const auto& [van, members] : vans_)
        for (const std::size_t n : members) nodes_[n].conflict = nodes_[n].open;
      vans_settled_ = false;
      settle();
    }
    for (Node& node : nodes_)
      if (node.open && node.conflict) widen_by_odometer(node);
    for (Node& node : nodes_)
      if (node.open) keep_bounds(node);
    place_all();
  }

 private:
  [[nodiscard]] bool has_open(const std::vector<std::size_t>& members) const {
    return std::any_of(members.begin(), members.end(),
                       [&](std::size_t n) { return nodes_[n].open; });
  }

  // How many boots of a log, from its front, have an order: up to where boots lie
  // side by side on the same numbers, of a copy that was continued twice.
  [[nodiscard]] std::size_t ordered_of(std::size_t log) const {
    std::size_t widest = begin_[log];
    for (std::size_t n = begin_[log] + 1; n < begin_[log + 1]; ++n) {
      if (nodes_[n].boot->first_sequence <= nodes_[widest].boot->last_sequence) return widest;
      widest = n;
    }
    return begin_[log + 1];
  }

  void find_conflicts() {
    for (const auto& [van, members] : vans_) {
      for (std::size_t begin = 0; begin < members.size();) {
        std::vector<std::size_t> row;
        const std::size_t log = nodes_[members[begin]].log;
        bool open = false;
        for (; begin < members.size() && nodes_[members[begin]].log == log; ++begin) {
          const Node& node = nodes_[members[begin]];
          if (members[begin] >= ordered_[log] || !node.has_odometer()) continue;
          row.push_back(members[begin]);
          open = open || node.open;
        }
        if (open) find_conflicts_in(row);
      }
    }
  }

  // `row`: boots of one van and one log that have an odometer, in order of
  // sequence. Those beside the longest row that agrees with it are odd.
  void find_conflicts_in(const std::vector<std::size_t>& row) {
    constexpr std::size_t kNobody = ~std::size_t{0};
    std::vector<std::size_t> best_last, before(row.size(), kNobody);
    std::vector<std::uint32_t> best_end;
    for (std::size_t i = 0; i < row.size(); ++i) {
      const OdometerSpan& span = nodes_[row[i]].odometer();
      const auto place = std::upper_bound(best_end.begin(), best_end.end(), span.first);
      const auto k = static_cast<std::size_t>(place - best_end.begin());
      if (k > 0) before[i] = best_last[k - 1];
      const std::uint32_t end = std::max(span.first, span.last);
      if (place == best_end.end()) {
        best_end.push_back(end);
        best_last.push_back(i);
      } else if (end < *place) {
        *place = end;
        best_last[k] = i;
      }
    }
    std::vector<bool> kept(row.size(), false);
    for (std::size_t i = best_last.empty() ? kNobody : best_last.back(); i != kNobody;
         i = before[i])
      kept[i] = true;
    std::vector<std::size_t> odd;
    for (std::size_t i = 0; i < row.size(); ++i)
      if (!kept[i]) odd.push_back(i);
    if (odd.size() > kMostOdd) {
      for (const std::size_t n : row) nodes_[n].conflict = true;
      return;
    }
    const auto contradict = [&](std::size_t earlier, std::size_t later) {
      return nodes_[row[later]].odometer().first < nodes_[row[earlier]].odometer().last;
    };
    std::vector<std::size_t> either;  // one against one
    for (const std::size_t o : odd) {
      std::size_t against = kNobody;
      std::size_t count = 0;
      for (std::size_t i = 0; i < row.size(); ++i) {
        if (!kept[i] || !(i < o ? contradict(i, o) : contradict(o, i))) continue;
        against = i;
        ++count;
      }
      if (count == 1) either.push_back(against);
    }
    for (const std::size_t o : odd) nodes_[row[o]].conflict = true;
    for (const std::size_t e : either) nodes_[row[e]].conflict = true;
  }

  // False: the odometers do not come to rest.
  bool settle() {
    for (Node& node : nodes_) set_own_bounds(node);
    for (int round = 0; round < kMostRounds; ++round) {
      bool moved = false;
      for (std::size_t k = 0; k < logs_.size(); ++k) moved = by_sequence(k) || moved;
      if (vans_settled_)
        for (const auto& [van, members] : vans_) moved = by_odometer(members) || moved;
      if (!moved) return true;
    }
    return false;
  }

  void set_own_bounds(Node& node) const {
    const Boot& boot = *node.boot;
    node.low.reset();
    node.high.reset();
    if (!node.open) {
      const TickInterval start = interval_at(boot, 0);
      const TickInterval end = interval_at(boot, boot.last_tick);
      node.low = Bound{boot.clock_offset_ms, *start.low_ms};
      node.high = Bound{boot.clock_offset_ms + node.length_ms, *end.high_ms};
      return;
    }
    const LogBoots& log = logs_[node.log];
    if (log.prepared_first_unix_ms != 0 && log.prepared_first_unix_ms < kLargestTick &&
        !log.clock_before_prepared) {
      const auto at = static_cast<std::int64_t>(log.prepared_first_unix_ms);
      not_before(node.low, Bound{at, at});
    }
    for (const PulledCard& pulled : log.pulled) {
      if (boot.last_sequence > pulled.last_sequence) continue;
      const std::int64_t at = pulled.at.time_since_epoch().count();
      not_after(node.high, Bound{at, at});
    }
    // A clock that was set during the boot still says between what.
    if (!boot.clock_anchors.empty()) {
      const ClockInterval start = interval_at(boot.clock_anchors, 0);
      const ClockInterval end = interval_at(boot.clock_anchors, boot.last_tick);
      not_before(node.low, Bound{start.low_ms, start.low_ms});
      not_after(node.high, Bound{end.high_ms, end.high_ms});
    }
  }

  // Boots whose order is contradicted take bounds and hand none on.
  bool by_sequence(std::size_t log) {
    bool moved = false;
    std::optional<Bound> front;
    for (std::size_t n = begin_[log]; n < begin_[log + 1]; ++n) {
      Node& node = nodes_[n];
      if (node.open) moved = not_before(node.low, front) || moved;
      if (n >= ordered_[log] || (node.open && node.conflict)) continue;
      if (auto end = sure_end_low(node)) {
        // The next sample is a later one.
        ++end->placed;
        not_before(front, end);
      }
    }
    std::optional<Bound> back;
    for (std::size_t n = begin_[log + 1]; n-- > begin_[log];) {
      Node& node = nodes_[n];
      if (node.open && n < ordered_[log]) moved = not_after(node.high, back) || moved;
      if (node.open && node.conflict) continue;
      not_after(back, sure_start_high(node));
    }
    return moved;
  }

  // Of boots with a clock, what the clock says; of others, what bounds them.
  static std::optional<Bound> sure_end_low(const Node& node) {
    if (node.open) return node.end_low();
    const Boot& boot = *node.boot;
    return Bound{boot.clock_offset_ms + node.length_ms, *interval_at(boot, boot.last_tick).low_ms};
  }
  static std::optional<Bound> sure_start_high(const Node& node) {
    if (node.open) return node.start_high();
    const Boot& boot = *node.boot;
    return Bound{boot.clock_offset_ms, *interval_at(boot, 0).high_ms};
  }

  bool by_odometer(const std::vector<std::size_t>& members) {
    std::vector<std::size_t> by_first;
    for (const std::size_t n : members)
      if (nodes_[n].has_odometer() && nodes_[n].odometer().first <= nodes_[n].odometer().last)
        by_first.push_back(n);
    std::sort(by_first.begin(), by_first.end(), [&](std::size_t a, std::size_t b) {
      const OdometerSpan& x = nodes_[a].odometer();
      const OdometerSpan& y = nodes_[b].odometer();
      return std::tie(x.first, x.last, a) < std::tie(y.first, y.last, b);
    });
    std::vector<std::size_t> by_last = by_first;
    std::sort(by_last.begin(), by_last.end(), [&](std::size_t a, std::size_t b) {
      const OdometerSpan& x = nodes_[a].odometer();
      const OdometerSpan& y = nodes_[b].odometer();
      return std::tie(x.last, x.first, a) < std::tie(y.last, y.first, b);
    });
    bool moved = false;
    {  // Forward: `front` of all that ended at a lower reading; `level` of those
       // that reached this one, `stood` of those that stood at it throughout.
      std::optional<Bound> front, level, stood;
      std::size_t next = 0;
      std::uint32_t at = 0;
      for (const std::size_t n : by_first) {
        Node& node = nodes_[n];
        const OdometerSpan& span = node.odometer();
        if (span.first != at) {
          not_before(front, level);
          not_before(front, stood);
          level.reset();
          stood.reset();
          at = span.first;
        }
        for (; next < by_last.size(); ++next) {
          const OdometerSpan& done = nodes_[by_last[next]].odometer();
          // A stand at this reading comes before whoever drives on from it, and
          // is itself only known once it has had its turn.
          if (done.last > at || (done.last == at && done.first == at)) break;
          not_before(done.last < at ? front : level, sure_end_low(nodes_[by_last[next]]));
        }
        if (node.open) {
          moved = not_before(node.low, front) || moved;
          moved = not_before(node.low, level) || moved;
          if (span.last > span.first) moved = not_before(node.low, stood) || moved;
        }
        if (span.last == span.first) {
          not_before(stood, sure_end_low(node));
          if (next < by_last.size() && by_last[next] == n) ++next;
        }
      }
    }
    {  // Backward, the same from above.
      std::optional<Bound> back, level, stood;
      std::size_t next = by_first.size();
      std::uint32_t at = std::numeric_limits<std::uint32_t>::max();
      for (std::size_t k = by_last.size(); k-- > 0;) {
        const std::size_t n = by_last[k];
        Node& node = nodes_[n];
        const OdometerSpan& span = node.odometer();
        if (span.last != at) {
          not_after(back, level);
          not_after(back, stood);
          level.reset();
          stood.reset();
          at = span.last;
        }
        for (; next > 0; --next) {
          const OdometerSpan& later = nodes_[by_first[next - 1]].odometer();
          if (later.first < at || (later.first == at && later.last == at)) break;
          not_after(later.first > at ? back : level, sure_start_high(nodes_[by_first[next - 1]]));
        }
        if (node.open) {
          moved = not_after(node.high, back) || moved;
          moved = not_after(node.high, level) || moved;
          if (span.last > span.first) moved = not_after(node.high, stood) || moved;
        }
        if (span.last == span.first) {
          not_after(stood, sure_start_high(node));
          if (next > 0 && by_first[next - 1] == n) --next;
        }
      }
    }
    return moved;
  }

  // What the odometer says against the boots with a clock, beside what the
  // sequence says.
  void widen_by_odometer(Node& node) const {
    if (!node.owner || !node.owner->odometer) return;
    Node alone = node;
    set_own_bounds(alone);
    const auto members = vans_.find(node.owner->van);
    if (members == vans_.end()) return;
    for (const std::size_t n : members->second) {
      const Node& other = nodes_[n];
      if (other.open || !other.has_odometer()) continue;
      if (before_by_odometer(other.odometer(), node.odometer()))
        not_before(alone.low, sure_end_low(other));
      else if (before_by_odometer(node.odometer(), other.odometer()))
        not_after(alone.high, sure_start_high(other));
    }
    if (!alone.low || !node.low)
      node.low.reset();
    else
      *node.low = {std::min(node.low->placed, alone.low->placed),
                   std::min(node.low->sure, alone.low->sure)};
    if (!alone.high || !node.high)
      node.high.reset();
    else
      *node.high = {std::max(node.high->placed, alone.high->placed),
                    std::max(node.high->sure, alone.high->sure)};
  }

  static void keep_bounds(Node& node) {
    Boot& boot = *node.boot;
    if (node.low && node.high) {
      // No room between what is before and what is behind: one of their clocks
      // is wrong, and it was somewhere between the two.
      const std::int64_t latest = node.start_high()->sure;
      if (node.low->sure > latest) {
        node.conflict = node.conflict || node.low->sure - latest > kSetBackMs;
        const Bound low = *node.low;
        *node.low = {std::min(low.placed, node.start_high()->placed), latest};
        *node.high = {std::max(node.high->placed, low.placed + node.length_ms),
                      std::max(node.high->sure, low.sure + node.length_ms)};
      }
    }
    boot.order_conflict = node.conflict;
    boot.earliest_start_ms.reset();
    boot.latest_end_ms.reset();
    if (node.low) boot.earliest_start_ms = node.low->sure;
    if (node.high) boot.latest_end_ms = node.high->sure;
  }

  // The time that boots of one van are known or said to have covered.
  class Covered {
   public:
    void add(std::int64_t from_ms, std::int64_t to_ms) {
      if (to_ms >= from_ms) taken_.emplace(from_ms, to_ms);
    }
    // The first place from `at_ms` on where [at, at + length] touches nothing.
    [[nodiscard]] std::optional<std::int64_t> free_from(std::int64_t at_ms,
                                                        std::int64_t length_ms) const {
      auto next = taken_.upper_bound({at_ms, kForEver});
      // What began earlier and is still there; they do not overlap each other
      // but by little.
      if (next != taken_.begin() && std::prev(next)->second >= at_ms)
        at_ms = std::prev(next)->second + 1;
      int tries = 0;
      for (; next != taken_.end() && next->first <= at_ms + length_ms; ++next) {
        if (++tries > kMostTries) return std::nullopt;
        at_ms = std::max(at_ms, next->second + 1);
      }
      return at_ms;
    }
    // The last place up to `at_ms`.
    [[nodiscard]] std::optional<std::int64_t> free_up_to(std::int64_t at_ms,
                                                         std::int64_t length_ms) const {
      auto next = taken_.upper_bound({at_ms + length_ms, kForEver});
      int tries = 0;
      while (next != taken_.begin()) {
        --next;
        if (next->second < at_ms) break;
        if (++tries > kMostTries) return std::nullopt;
        at_ms = std::min(at_ms, next->first - 1 - length_ms);
      }
      return at_ms;
    }

   private:
    std::set<std::pair<std::int64_t, std::int64_t>> taken_;
  };

  void place_all() {
    std::map<std::string, Covered> covered;
    const auto van_of = [](const Node& node) {
      return node.owner ? node.owner->van : std::string{};
    };
    const auto cover = [&](const Node& node) {
      const Boot& boot = *node.boot;
      if (boot.has_samples)
        covered[van_of(node)].add(boot.clock_offset_ms + first_of(boot),
                                  boot.clock_offset_ms + node.length_ms);
    };
    std::vector<std::size_t> open;
    for (std::size_t n = 0; n < nodes_.size(); ++n) {
      if (nodes_[n].open)
        open.push_back(n);
      else
        cover(nodes_[n]);
    }
    // Along a card both bounds only grow.
    std::stable_sort(open.begin(), open.end(), [&](std::size_t a, std::size_t b) {
      const auto key = [](const Node& node) {
        return std::pair{node.low ? node.low->placed : kNever,
                         node.high ? node.high->placed : kForEver};
      };
      return key(nodes_[a]) < key(nodes_[b]);
    });
    std::vector<std::int64_t> floor(logs_.size(), kNever);
    for (const std::size_t n : open) {
      Node& node = nodes_[n];
      Boot& boot = *node.boot;
      const std::int64_t lowest = node.low ? node.low->placed : kNever;
      const std::int64_t highest = node.high ? node.high->placed - node.length_ms : kForEver;
      std::int64_t at = 0;
      if (!boot.clock_anchors.empty())
        at = boot.clock_offset_ms;
      else if (node.low && node.high)
        at = lowest + (highest - lowest) / 2;
      else if (node.low || node.high)
        at = node.low ? lowest : highest;
      at = std::max({std::min(at, highest), lowest, floor[node.log]});
      const std::int64_t first = first_of(boot);
      const std::int64_t length = std::max<std::int64_t>(0, node.length_ms - first);
      if (boot.has_samples) {
        const Covered& taken = covered[van_of(node)];
        auto up = taken.free_from(at + first, length);
        auto down = taken.free_up_to(at + first, length);
        if (up && *up - first > highest) up.reset();
        if (down && *down - first < std::max(lowest, floor[node.log])) down.reset();
        if (up && (!down || *up - first - at <= at - (*down - first)))
          at = *up - first;
        else if (down)
          at = *down - first;
      }
      boot.clock_offset_ms = at;
      boot.clock_uncertainty_ms =
          node.low && node.high
              ? std::max({std::int64_t{0}, at - node.low->sure, node.start_high()->sure - at})
              : kUnboundedMs;
      floor[node.log] = at + node.length_ms + 1;
      cover(node);
    }
  }

  std::span<LogBoots> logs_;
  std::vector<Node> nodes_;
  std::vector<std::size_t> begin_;    // of each log in nodes_, and the end
  std::vector<std::size_t> ordered_;  // of each log, up to where it has an order
  // Those that have boots without a clock; members in order of log and sequence.
  std::map<std::string, std::vector<std::size_t>> vans_;
  bool vans_settled_ = true;
};

}  // namespace

TickInterval interval_at(const Boot& boot, Tick tick_ms) {
  const auto tick = static_cast<std::int64_t>(tick_ms);
  const std::int64_t placed_ms = boot.clock_offset_ms + tick;
  TickInterval out;
  if (!boot.clock_guessed) {
    out = {placed_ms, placed_ms};
    if (!boot.clock_anchors.empty()) {
      const ClockInterval said = interval_at(boot.clock_anchors, tick_ms);
      out = {said.low_ms, said.high_ms};
    }
  } else {
    const std::int64_t to_end = static_cast<std::int64_t>(boot.last_tick) - tick;
    if (boot.earliest_start_ms) out.low_ms = *boot.earliest_start_ms + tick - drift_ms(tick);
    if (boot.latest_end_ms) out.high_ms = *boot.latest_end_ms - to_end + drift_ms(to_end);
  }
  if (out.low_ms) out.low_ms = std::min(*out.low_ms, placed_ms);
  if (out.high_ms) out.high_ms = std::max(*out.high_ms, placed_ms);
  return out;
}

void repair_clocks(std::span<LogBoots> logs, const std::vector<std::vector<BootOwner>>& owners) {
  const bool any = std::any_of(logs.begin(), logs.end(), [](const LogBoots& log) {
    return std::any_of(log.boots.begin(), log.boots.end(),
                       [](const Boot& boot) { return boot.clock_guessed; });
  });
  if (any) Repair(logs, owners).run();
}

}  // namespace packmile
