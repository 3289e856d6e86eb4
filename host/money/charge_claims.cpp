#include "money/charge_claims.hpp"

#include <algorithm>
#include <map>
#include <numeric>

namespace packmile {
namespace {

using Candidates = std::vector<std::size_t>;

class Matching {
 public:
  Matching(const std::vector<Candidates>& receipts, std::size_t sessions)
      : receipts_(receipts), paid_by_(sessions) {
    for (std::size_t k = 0; k < receipts.size(); ++k) {
      tried_.assign(sessions, false);
      (void)give(k);
    }
  }
  [[nodiscard]] bool paid(std::size_t session) const { return paid_by_[session].has_value(); }

 private:
  // Along a path on which each receipt before can have another charge.
  bool give(std::size_t receipt) {
    for (const std::size_t session : receipts_[receipt]) {
      if (tried_[session]) continue;
      tried_[session] = true;
      if (paid_by_[session] && !give(*paid_by_[session])) continue;
      paid_by_[session] = receipt;
      return true;
    }
    return false;
  }

  const std::vector<Candidates>& receipts_;
  std::vector<std::optional<std::size_t>> paid_by_;
  std::vector<bool> tried_;
};

}  // namespace

Claims claims_of(const PricedCharges& priced) {
  const std::size_t sessions = priced.sessions.size();
  std::vector<Candidates> receipts;
  for (const NotedCharge& noted : priced.noted)
    if (!noted.session && noted.kind == NoteKind::receipt && !noted.candidates.empty())
      receipts.push_back(noted.candidates);
  Claims out;
  out.group_of.resize(sessions);
  if (receipts.empty()) return out;

  std::vector<std::size_t> root(sessions);
  std::iota(root.begin(), root.end(), std::size_t{0});
  const auto root_of = [&](std::size_t k) {
    while (root[k] != k) k = root[k] = root[root[k]];
    return k;
  };
  std::vector<bool> claimed(sessions, false);
  for (const Candidates& candidates : receipts)
    for (const std::size_t session : candidates) {
      claimed[session] = true;
      root[root_of(session)] = root_of(candidates.front());
    }
  const Matching matching{receipts, sessions};
  std::map<std::size_t, std::size_t> group_at;
  for (std::size_t k = 0; k < sessions; ++k) {
    if (!claimed[k]) continue;
    const auto [at, fresh] = group_at.emplace(root_of(k), out.groups.size());
    if (fresh) out.groups.emplace_back();
    out.group_of[k] = at->second;
    ClaimGroup& group = out.groups[at->second];
    group.sessions.push_back(k);
    if (matching.paid(k)) ++group.paid;
  }
  return out;
}

}  // namespace packmile
