// Which charge session a note with kWh in it, of a meter or a receipt, is about.
//
// Input     the notes of one van, and its sessions in order of start.
// Output    one answer a note: the session, or why none can be told.
// Method    1. the sessions of the note's time. Of an instant: those that run then,
//           or else those that ended in the 12 h before it. Of a day: those that
//           lie in it, wholly or in part, and those that ended in the 12 h before
//           it, because people write down the evening's charge in the morning.
//           2. of these, those whose energy at the socket the note's kWh fits.
//           3. of these, those that are not told to be another note's.
// Rule      exactly one has to be left, for this note alone. Never the nearest of
//           several: a gain from the wrong charge is worse than none.
// Bounded   by the sessions around the time of each note.
#pragma once
#include <chrono>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "energy/van_account.hpp"
#include "notes/van_notes.hpp"

namespace packmile {

// From the end of an evening's charge to the morning (common practice, no source).
inline constexpr std::chrono::milliseconds kWrittenDownWithin = std::chrono::hours{12};
// A clock read by eye, and a walk from the post to the pen (common practice, no
// source).
inline constexpr std::chrono::milliseconds kReadByEye = std::chrono::minutes{30};

struct NotedCharge {
  std::uint32_t note_id = 0;
  NoteKind kind = NoteKind::meter;  // or receipt
  NoteTime when;
  double kwh = 0;       // at the socket or the post
  double step_kwh = 0;  // what one more in the last digit typed is worth
  // Its place in the list of sessions. Whether it is good enough for a figure is
  // another question: its coverage and source say.
  std::optional<std::size_t> session;
  std::string why;  // not empty where there is no session
  // It is one of these, or may be; empty where the session is told, and where none
  // is known that it could be.
  std::vector<std::size_t> candidates;
};

// Meters first, then receipts, each in order of time. time_text: how a session's
// start is called in `why`.
[[nodiscard]] std::vector<NotedCharge> match_noted_charges(
    const VanNotes& notes, std::span<const ChargeSession> sessions,
    const std::function<std::string(UtcTime)>& time_text);

// 1 sd of the note's kWh: a counter is cut down to its step, a meter is read twice.
[[nodiscard]] double noted_u_kwh(const NotedCharge& note);
// What went into the pack, gaps filled; absent: too much of it was not seen to be held
// against a counter.
[[nodiscard]] std::optional<Figure> metered_pack_kwh(const ChargeSession& session);
// Per cent of the note's kWh that the van's sensors did not see arrive: what is lost on
// the way, and what the sensors are off by, which the interval holds. Unknown with why.
[[nodiscard]] MaybeFigure not_arrived_pct(const NotedCharge& note, const ChargeSession& session);

}  // namespace packmile
