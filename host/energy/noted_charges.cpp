#include "energy/noted_charges.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <map>

#include "energy/session.hpp"
#include "energy/uncertainty.hpp"

namespace packmile {
namespace {

using namespace std::chrono_literals;
using std::chrono::milliseconds;

// From the end of an evening's charge to the morning (common practice, no source).
constexpr milliseconds kWrittenDownWithin = 12h;
// A clock read by eye, and a walk from the post to the pen (common practice, no
// source).
constexpr milliseconds kReadByEye = 30min;
// How far the pack's sensors and the charger model together may be off before a
// charge is taken for another one. The sensors' own gain is what the note is to
// find out: uncompensated ones are 1-2 % off (from memory), and a window of that
// width would only let pass what confirms them.
constexpr double kFitMargin = 0.15;
constexpr std::size_t kMostNamed = 3;

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

class Matcher {
 public:
  Matcher(std::span<const ChargeSession> sessions,
          const std::function<std::string(UtcTime)>& time_text)
      : sessions_(sessions), time_text_(time_text) {
    for (const ChargeSession& session : sessions_) {
      longest_ = std::max(longest_, session.end - session.start);
      least_sure_ = std::max(least_sure_, milliseconds{session.clock_uncertainty_ms});
    }
  }

  void match(NotedCharge& note) const {
    if (note.kwh <= 0) {
      note.why = "the counter did not move";
      return;
    }
    const auto near = sessions_of(note.when);
    if (near.empty()) {
      note.why = note.when.is_day()
                     ? "no charge session lies in that day or ended in the 12 hours before it"
                     : "no charge session runs at that time or ended in the 12 hours before it";
      return;
    }
    std::vector<std::size_t> fitting, unknown;
    for (const std::size_t k : near) {
      const auto socket = socket_kwh(sessions_[k]);
      if (!socket)
        unknown.push_back(k);
      else if (fits(note, *socket))
        fitting.push_back(k);
    }
    if (fitting.size() == 1 && unknown.empty()) {
      note.session = fitting.front();
      return;
    }
    if (fitting.empty() && unknown.empty()) {
      note.why = none_fits(note, near);
    } else if (fitting.empty() && unknown.size() == 1) {
      note.why = fmt::format("the energy of the charge of {} is not known: {}",
                             start_text(unknown.front()), sessions_[unknown.front()].pack_kwh.why);
    } else {
      fitting.insert(fitting.end(), unknown.begin(), unknown.end());
      std::ranges::sort(fitting);
      note.why = fmt::format(
          "it may be the charge of {}: {}", list_text(fitting, " or that of "),
          note.when.is_day()
              ? fmt::format("enter it again with the time at which the charge ended and "
                            "--replaces {}",
                            note.note_id)
              : "nothing in the note tells them apart");
    }
  }

  // Notes that all fit one session say nothing of it.
  void part(std::vector<NotedCharge>& notes) const {
    std::map<std::size_t, std::vector<std::size_t>> claims;
    for (std::size_t k = 0; k < notes.size(); ++k)
      if (notes[k].session) claims[*notes[k].session].push_back(k);
    for (const auto& [session, those] : claims) {
      if (those.size() < 2) continue;
      std::vector<std::uint32_t> ids;
      for (const std::size_t k : those) ids.push_back(notes[k].note_id);
      std::ranges::sort(ids);
      for (const std::size_t k : those) {
        notes[k].session.reset();
        notes[k].why = fmt::format("the charge of {} fits the notes {}", start_text(session),
                                   fmt::join(ids, " and "));
      }
    }
  }

 private:
  [[nodiscard]] std::vector<std::size_t> sessions_of(const NoteTime& when) const {
    std::vector<std::size_t> running, before;
    const milliseconds slack = when.is_day() ? milliseconds{0} : kReadByEye;
    const auto first = std::ranges::partition_point(sessions_, [&](const ChargeSession& session) {
      return session.start + longest_ + least_sure_ + kWrittenDownWithin + slack < when.from;
    });
    for (auto at = first; at != sessions_.end(); ++at) {
      if (at->start > when.to + least_sure_ + slack) break;
      if (at->source == SessionSource::noted) continue;
      const milliseconds unsure{at->clock_uncertainty_ms};
      const bool begun =
          when.is_day() ? at->start - unsure < when.to : at->start - unsure - slack <= when.to;
      if (!begun) continue;
      const UtcTime end = at->end + unsure;
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
    out.push_back({note.id, NoteKind::meter, note.when, note.kwh(), note.step_kwh, {}, {}});
  for (const ReceiptNote& note : notes.receipts)
    out.push_back({note.id, NoteKind::receipt, note.when, note.kwh, note.step_kwh, {}, {}});
  const Matcher matcher{sessions, time_text};
  for (NotedCharge& note : out) matcher.match(note);
  matcher.part(out);
  return out;
}

}  // namespace packmile
