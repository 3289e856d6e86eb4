#include "pack/scale_move.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "pack/trend.hpp"
#include "reading/offset_watch.hpp"

namespace packmile {
namespace {

// Of a scale that moved: made-up controllers that keep theirs stay within 1.6 % from
// some charges to the next. Judgments.
constexpr double kMoved = 0.025;
constexpr double kMovedSds = 4;
constexpr std::size_t kMovedLeast = 2;
constexpr std::size_t kMovedMost = 5;
constexpr std::int64_t kMovedMs = std::int64_t{31} * 86'400'000;
// 1 sd of one charge: 30 published drives of one van stray by 0.07 points; a charge that
// the controller corrected bends by a hundredth or more.
constexpr double kMovedCountU = 0.001;
constexpr double kMovedBendU = 0.01;

constexpr std::int64_t kMoveCountsMs = std::int64_t{91} * 86'400'000;

struct MoveCharge {
  UtcTime start;
  double ah = 0;     // per share
  double hours = 0;  // per share
  double u = 0;      // 1 sd, relative, but for the offset
};

struct MoveCamp {
  double ah = 0;
  double hours = 0;
  double u = 0;
};

// Weighted mean; no surer than the charges agree with each other.
MoveCamp camp_of(std::span<const MoveCharge> charges) {
  double weights = 0;
  MoveCamp camp;
  for (const MoveCharge& c : charges) {
    weights += 1 / (c.u * c.u);
    camp.ah += c.ah / (c.u * c.u);
    camp.hours += c.hours / (c.u * c.u);
  }
  camp.ah /= weights;
  camp.hours /= weights;
  double chi2 = 0;
  for (const MoveCharge& c : charges) chi2 += std::pow((c.ah / camp.ah - 1) / c.u, 2);
  const double degrees = static_cast<double>(charges.size()) - 1;
  camp.u = std::sqrt(std::max(1.0, chi2 / degrees) / weights);
  return camp;
}

}  // namespace

double ScaleMove::scale_u(double known_u) const {
  return std::hypot(known_u, share / std::sqrt(2.0));
}

std::vector<ScaleMove> find_scale_moves(std::span<const ChargeCapacity> charges,
                                        const std::map<std::uint32_t, SensorOffset>& offsets,
                                        double untold_u_a) {
  std::map<std::uint32_t, std::vector<const ChargeCapacity*>> segments;
  for (const ChargeCapacity& c : charges) {
    if (c.ah.figure && c.point.x > 0 && c.point.y > 0 && c.point.t > 0)
      segments[c.segment].push_back(&c);
  }
  std::vector<ScaleMove> moves;
  for (auto& [segment, all] : segments) {
    std::sort(all.begin(), all.end(), [](auto* a, auto* b) { return a->start < b->start; });
    std::vector<MoveCharge> line;
    for (const ChargeCapacity* c : all) {
      const PointWithErrors& p = c->point;
      const double u = std::hypot(std::hypot(c->edges_u_x, kMovedCountU) / p.x, p.u_y / p.y,
                                  c->bends ? kMovedBendU : 0.0);
      line.push_back({c->start, p.y / p.x, p.t / p.x, u});
    }
    const auto offset = offsets.find(segment);
    const double offset_u_a = offset != offsets.end() ? offset->second.u_a : untold_u_a;
    for (std::size_t at = kMovedLeast; at + kMovedLeast <= line.size(); ++at) {
      std::size_t from = at - 1;
      while (from > 0 && at - from < kMovedMost &&
             unix_ms_of(line[at].start) - unix_ms_of(line[from - 1].start) <= kMovedMs)
        --from;
      std::size_t past = at + 1;
      while (past < line.size() && past - at < kMovedMost &&
             unix_ms_of(line[past].start) - unix_ms_of(line[at - 1].start) <= kMovedMs)
        ++past;
      if (at - from < kMovedLeast || past - at < kMovedLeast) continue;
      const std::span<const MoveCharge> both{line};
      const MoveCamp before = camp_of(both.subspan(from, at - from));
      const MoveCamp after = camp_of(both.subspan(at, past - at));
      const double share = after.ah / before.ah - 1;
      // What the offset hides goes by the hours: fast charges against slow ones.
      const double hidden = offset_u_a * (after.hours - before.hours) / before.ah;
      const double u = std::hypot(before.u, after.u, hidden);
      if (std::abs(share) < kMoved || std::abs(share) < kMovedSds * u) continue;
      moves.push_back({segment, line[at - 1].start, line[at].start, share});
    }
  }
  return moves;
}

const ScaleMove* largest_move(std::span<const ScaleMove> moves, std::uint32_t segment,
                              UtcTime date) {
  const ScaleMove* most = nullptr;
  for (const ScaleMove& move : moves) {
    if (move.segment != segment ||
        std::abs(unix_ms_of(move.after) - unix_ms_of(date)) > kMoveCountsMs)
      continue;
    if (most == nullptr || std::abs(move.share) > std::abs(most->share)) most = &move;
  }
  return most;
}

std::string text_of(const ScaleMove& move) {
  char text[64];
  std::snprintf(text, sizeof text, "the controller took up another scale, %+.1f %%",
                100 * move.share);
  return "between the charges of " + utc_day_text(move.before) + " and " +
         utc_day_text(move.after) + " " + text + ", and nothing here tells which is right";
}

}  // namespace packmile
