#include "energy/noted_charges.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <map>
#include <numeric>
#include <set>

#include "energy/session.hpp"
#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

using std::chrono::milliseconds;

// How far the pack's sensors and the charger model together may be off before a
// charge is taken for another one. The sensors' own gain is what the note is to
// find out: uncompensated ones are 1-2 % off (from memory), and a window of that
// width would only let pass what confirms them.
constexpr double kFitMargin = 0.15;
constexpr std::size_t kMostNamed = 3;
// Of a charge that a counter is compared with: what is missing must not matter.
constexpr double kMeteredCoverage = 0.98;

struct Range {
  double low = 0, high = 0;
};

// What may have gone through the socket; absent: the session does not say.
std::optional<Range> socket_kwh(const ChargeSession& session) {
  std::optional<Range> out;
  if (session.grid_kwh.figure) {
    out = Range{session.grid_kwh.figure->low, session.grid_kwh.figure->high};
  } else if (session.pack_kwh.figure) {
    Figure all = *session.pack_kwh.figure;
    if (session.filled_kwh.figure) all = sum_of(all, *session.filled_kwh.figure);
    const double hours = std::chrono::duration<double, std::ratio<3600>>(
                             session.source == SessionSource::measured ? session.end - session.start
                                                                       : milliseconds{0})
                             .count();
    // Of either kind: a post loses least, a charger on board most.
    out = Range{grid_energy_kwh(ChargeKind::dc, all, hours).figure->low,
                grid_energy_kwh(ChargeKind::ac, all, hours).figure->high};
  }
  // What was not seen and could not be filled may have been as strong as the rest.
  const bool partly = session.source == SessionSource::measured && !session.filled_kwh.figure;
  if (out && partly && session.coverage > 0 && session.coverage < 1) out->high /= session.coverage;
  return out;
}

bool fits(const NotedCharge& note, const Range& socket) {
  return note.kwh + note.step_kwh >= socket.low * (1 - kFitMargin) &&
         note.kwh - note.step_kwh <= socket.high * (1 + kFitMargin);
}

// By how much a session may have begun earlier, or ended later, than is said.
// Where nothing bounds it: a century, and so any note may be about it.
constexpr milliseconds kBoundless = std::chrono::years{100};
milliseconds begun_before(const ChargeSession& session) {
  return session.start_doubt.too_late_ms ? milliseconds{*session.start_doubt.too_late_ms}
                                         : kBoundless;
}
milliseconds ended_after(const ChargeSession& session) {
  return session.end_doubt.too_early_ms ? milliseconds{*session.end_doubt.too_early_ms}
                                        : kBoundless;
}

class Matcher {
 public:
  Matcher(std::span<const ChargeSession> sessions,
          const std::function<std::string(UtcTime)>& time_text)
      : sessions_(sessions), time_text_(time_text) {
    for (const ChargeSession& session : sessions_) {
      longest_ = std::max(longest_, session.end - session.start);
      least_sure_ = std::max({least_sure_, begun_before(session), ended_after(session)});
    }
  }

  void match(std::vector<NotedCharge>& notes) const {
    std::vector<Case> cases;
    for (const NotedCharge& note : notes) cases.push_back(case_of(note));
    tell_apart(cases);
    for (std::size_t k = 0; k < notes.size(); ++k) {
      if (!cases[k].rivals.empty())
        notes[k].why =
            fmt::format("the charge of {} fits the notes {}", start_text(cases[k].fitting.front()),
                        fmt::join(cases[k].rivals, " and "));
      else if (cases[k].is_told())
        notes[k].session = cases[k].fitting.front();
      else
        notes[k].why = why_not(notes[k], cases[k]);
      if (notes[k].session) continue;
      notes[k].candidates = cases[k].fitting;
      notes[k].candidates.insert(notes[k].candidates.end(), cases[k].unknown.begin(),
                                 cases[k].unknown.end());
    }
  }

 private:
  // What a note may be about.
  struct Case {
    std::uint32_t note_id = 0;
    std::vector<std::size_t> near;      // in its time
    std::vector<std::size_t> fitting;   // and with its energy
    std::vector<std::size_t> unknown;   // or with one that is not known
    bool lost_some = false;             // to other notes
    std::vector<std::uint32_t> rivals;  // notes, itself among them, that fit nothing else

    [[nodiscard]] bool is_told() const { return fitting.size() == 1 && unknown.empty(); }
  };

  [[nodiscard]] Case case_of(const NotedCharge& note) const {
    Case out;
    out.note_id = note.note_id;
    if (note.kwh <= 0) return out;
    out.near = sessions_of(note.when);
    for (const std::size_t k : out.near) {
      const auto socket = socket_kwh(sessions_[k]);
      if (!socket)
        out.unknown.push_back(k);
      else if (fits(note, *socket))
        out.fitting.push_back(k);
    }
    return out;
  }

  // A charge that one note is about is no other's: of two nights that both fit a
  // note, the one may be the only one that another note fits.
  static void tell_apart(std::vector<Case>& cases) {
    std::map<std::size_t, std::vector<std::size_t>> cases_of;  // by session
    for (std::size_t k = 0; k < cases.size(); ++k)
      for (const std::size_t session : cases[k].fitting) cases_of[session].push_back(k);
    std::map<std::size_t, std::vector<std::size_t>> claims;  // by session
    std::vector<bool> told(cases.size(), false);
    std::vector<std::size_t> looked_at(cases.size());
    std::iota(looked_at.begin(), looked_at.end(), std::size_t{0});
    while (!looked_at.empty()) {
      // All that can be told by now, before any of it counts against others: what
      // two notes claim is nobody's.
      std::set<std::size_t> claimed;
      for (const std::size_t k : looked_at) {
        if (told[k] || !cases[k].is_told()) continue;
        told[k] = true;
        claims[cases[k].fitting.front()].push_back(k);
        claimed.insert(cases[k].fitting.front());
      }
      looked_at.clear();
      for (const std::size_t session : claimed) {
        const auto& claimants = claims[session];
        if (claimants.size() > 1) {
          std::vector<std::uint32_t> ids;
          for (const std::size_t k : claimants) ids.push_back(cases[k].note_id);
          std::ranges::sort(ids);
          for (const std::size_t k : claimants) cases[k].rivals = ids;
          continue;
        }
        for (const std::size_t k : cases_of[session]) {
          if (told[k]) continue;
          std::erase(cases[k].fitting, session);
          cases[k].lost_some = true;
          looked_at.push_back(k);
        }
      }
    }
  }

  [[nodiscard]] std::string why_not(const NotedCharge& note, const Case& found) const {
    if (note.kwh <= 0) return "the counter did not move";
    if (found.near.empty())
      return note.when.is_day()
                 ? "no charge session lies in that day or ended in the 12 hours before it"
                 : "no charge session runs at that time or ended in the 12 hours before it";
    if (found.fitting.empty() && found.unknown.empty() && found.lost_some)
      return "every charge of that time that fits it is another note's";
    if (found.fitting.empty() && found.unknown.empty()) return none_fits(note, found.near);
    if (found.fitting.empty() && found.unknown.size() == 1)
      return fmt::format("the energy of the charge of {} is not known: {}",
                         start_text(found.unknown.front()),
                         sessions_[found.unknown.front()].pack_kwh.why);
    std::vector<std::size_t> all = found.fitting;
    all.insert(all.end(), found.unknown.begin(), found.unknown.end());
    std::ranges::sort(all);
    return fmt::format("it may be the charge of {}: {}", list_text(all, " or that of "),
                       note.when.is_day()
                           ? fmt::format("enter it again with the time at which the charge ended "
                                         "and --replaces {}",
                                         note.note_id)
                           : "nothing in the note tells them apart");
  }

  [[nodiscard]] std::vector<std::size_t> sessions_of(const NoteTime& when) const {
    std::vector<std::size_t> running, before;
    const milliseconds slack = when.is_day() ? milliseconds{0} : kReadByEye;
    const auto first = std::ranges::partition_point(sessions_, [&](const ChargeSession& session) {
      return session.start + longest_ + least_sure_ + kWrittenDownWithin + slack < when.from;
    });
    for (auto at = first; at != sessions_.end(); ++at) {
      if (at->start > when.to + least_sure_ + slack) break;
      if (at->source == SessionSource::noted) continue;
      const UtcTime start = at->start - begun_before(*at);
      if (when.is_day() ? start >= when.to : start - slack > when.to) continue;
      const UtcTime end = at->end + ended_after(*at);
      const auto k = static_cast<std::size_t>(at - sessions_.begin());
      if (end + slack >= when.from)
        running.push_back(k);
      else if (end + kWrittenDownWithin >= when.from)
        before.push_back(k);
    }
    if (!when.is_day()) return running.empty() ? before : running;
    before.insert(before.end(), running.begin(), running.end());
    return before;
  }

  [[nodiscard]] std::string none_fits(const NotedCharge& note,
                                      const std::vector<std::size_t>& near) const {
    Range all;
    std::string text;
    for (std::size_t k = 0; k < near.size(); ++k) {
      const Range socket = *socket_kwh(sessions_[near[k]]);
      all.low += socket.low;
      all.high += socket.high;
      if (k < kMostNamed)
        text += fmt::format("{}that of {} took {:.1f} to {:.1f} kWh at the socket",
                            k == 0 ? "" : ", ", start_text(near[k]), socket.low, socket.high);
    }
    if (near.size() > kMostNamed) text += fmt::format(", and {} more", near.size() - kMostNamed);
    std::string out = fmt::format("no charge of that time fits {:.4g} kWh: {}", note.kwh, text);
    if (near.size() > 1 && fits(note, all))
      out += "; together they fit it: a note for each charge would tell";
    return out;
  }

  [[nodiscard]] std::string start_text(std::size_t session) const {
    return time_text_(sessions_[session].start);
  }
  [[nodiscard]] std::string list_text(const std::vector<std::size_t>& which,
                                      const char* between) const {
    std::string out;
    for (std::size_t k = 0; k < std::min(which.size(), kMostNamed); ++k)
      out += (k == 0 ? "" : between) + start_text(which[k]);
    if (which.size() > kMostNamed) out += fmt::format(" or {} more", which.size() - kMostNamed);
    return out;
  }

  std::span<const ChargeSession> sessions_;
  const std::function<std::string(UtcTime)>& time_text_;
  milliseconds longest_{0};
  milliseconds least_sure_{0};
};

}  // namespace

std::vector<NotedCharge> match_noted_charges(const VanNotes& notes,
                                             std::span<const ChargeSession> sessions,
                                             const std::function<std::string(UtcTime)>& time_text) {
  std::vector<NotedCharge> out;
  for (const MeterNote& note : notes.meter)
    out.push_back({note.id, NoteKind::meter, note.when, note.kwh(), note.step_kwh, {}, {}, {}});
  for (const ReceiptNote& note : notes.receipts)
    out.push_back({note.id, NoteKind::receipt, note.when, note.kwh, note.step_kwh, {}, {}, {}});
  const Matcher matcher{sessions, time_text};
  matcher.match(out);
  return out;
}

double noted_u_kwh(const NotedCharge& note) {
  return note.step_kwh * std::sqrt((note.kind == NoteKind::meter ? 2 : 1) / 12.0);
}

std::optional<Figure> metered_pack_kwh(const ChargeSession& session) {
  if (session.source != SessionSource::measured || session.coverage < kMeteredCoverage ||
      !session.pack_kwh.figure)
    return std::nullopt;
  if (!session.filled_kwh.figure) return *session.pack_kwh.figure;
  return sum_of(*session.pack_kwh.figure, *session.filled_kwh.figure);
}

MaybeFigure not_arrived_pct(const NotedCharge& note, const ChargeSession& session) {
  const auto pack = metered_pack_kwh(session);
  if (!pack) return MaybeFigure::unknown("too little of the charge was seen");
  if (!(note.kwh > 0)) return MaybeFigure::unknown("the note has no kWh");
  const Figure share = ratio_of(*pack, figure_of(note.kwh, noted_u_kwh(note), 0));
  return MaybeFigure::known({100 * (1 - share.value), 100 * (1 - share.high), 100 * (1 - share.low),
                             100 * share.scatter});
}

}  // namespace packmile
