#include "cli/owner_questions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <span>
#include <string_view>

#include "cli/card_question.hpp"
#include "cli/say.hpp"
#include "cli/table.hpp"

namespace packmile::cli {
namespace {

constexpr std::size_t kIndent = 18;
constexpr std::size_t kWidth = 98;

constexpr char kByService01[] = "service 01";
constexpr char kByF4xx[] = "F4xx";
constexpr char kByOwner[] = "owner's signals";

constexpr char kListSignals[] =
    "list owner's signals in fleet.toml if you lawfully have their definitions "
    "(hardware-notes/signals.md)";
constexpr char kNoteOdometer[] = "keep odometer readings as notes";
constexpr char kNoteReceipts[] = "keep receipts and meter readings as notes";

// What a figure is made of, and how the van tells it.
struct Source {
  HeardSeries series;
  std::string_view name;
  std::string_view title;  // of its line
  std::vector<SignalRole> roles;
  std::vector<SignalId> standard;
};

const Source& source_of(HeardSeries series) {
  static const std::array<Source, kHeardSeries> sources{
      Source{HeardSeries::pack,
             "pack voltage and current",
             "pack V and A",
             {SignalRole::pack_v, SignalRole::pack_a},
             {signal::pack_v, signal::pack_a}},
      Source{HeardSeries::soc, "state of charge", "charge", {SignalRole::soc}, {signal::soc_pct}},
      Source{HeardSeries::odometer,
             "odometer",
             "odometer",
             {SignalRole::odometer},
             {signal::odometer_km}},
      Source{HeardSeries::speed, "speed", "speed", {SignalRole::speed}, {signal::speed_kmh}},
      Source{HeardSeries::ambient, "outside temperature", "outside", {}, {signal::ambient_c}}};
  return sources[static_cast<std::size_t>(series)];
}

bool asked_by_did(const CardSurvey& survey, SignalId id) {
  const SignalEntry* entry = find_signal(id);
  for (const BootFacts& boot : survey.boots)
    for (const PolledPid& polled : boot.polled)
      if (polled.by_did && entry != nullptr && polled.pid == entry->pid) return true;
  return false;
}

std::vector<std::string> families_of(const CardSurvey& survey, const VanHeard& heard,
                                     const Source& source) {
  std::vector<std::string> families;
  const auto add = [&](const char* family) {
    if (std::ranges::find(families, family) == families.end()) families.emplace_back(family);
  };
  for (std::size_t k = 0; k < source.standard.size(); ++k) {
    if (k < source.roles.size() && heard.owners(source.roles[k]))
      add(kByOwner);
    else
      add(asked_by_did(survey, source.standard[k]) ? kByF4xx : kByService01);
  }
  return families;
}

std::string joined(const std::vector<std::string>& parts, std::string_view between = ", ") {
  return fmt::format("{}", fmt::join(parts, between));
}

std::string period_text(double period_ms) {
  if (period_ms < 1'000) return fmt::format("every {:.0f} ms", period_ms);
  return fmt::format("every {:.3g} s", period_ms / 1e3);
}

// "service 01, every 200 ms (99 % of the driving)"
std::string rate_text(const CardSurvey& survey, const VanHeard& heard, const Source& source) {
  std::string out = joined(families_of(survey, heard, source), " and ");
  const SeriesRate& rate = heard.rate(source.series);
  if (rate.period_ms > 0)
    out += fmt::format(", {} ({:.0f} % of the {})", period_text(rate.period_ms), 100 * rate.share,
                       heard.while_moving ? "driving" : "time awake");
  return out;
}

class Answers {
 public:
  Answers(const CardSurvey& survey, const VanHeard& heard) : survey_(survey), heard_(heard) {
    pack_ = heard.has(HeardSeries::pack);
    agreed_ = pack_ && heard.current_agreed();
    soc_ = heard.has(HeardSeries::soc);
    odometer_ = heard.has(HeardSeries::odometer);
    speed_ = heard.has(HeardSeries::speed);
    for (const OwnersJudgement& judged : heard.owners_signals)
      reported_ = reported_ || (judged.definition.role == SignalRole::reported_capacity &&
                                judged.used && judged.rows > 0);
  }

  std::vector<OwnersQuestion> all() {
    return {energy_per_mile(), charging_cost(), throughput(), capacity(), distance(), upkeep()};
  }

 private:
  using enum HeardSeries;

  // A question with those of `wanted` that the van answers.
  OwnersQuestion question(const char* name, std::initializer_list<HeardSeries> wanted) const {
    OwnersQuestion q;
    q.question = name;
    std::vector<std::string> families, told;
    for (const HeardSeries series : wanted) {
      if (!heard_.has(series)) continue;
      const Source& source = source_of(series);
      for (const SignalId id : source.standard) q.signals.push_back(signal_text(id));
      for (std::string& family : families_of(survey_, heard_, source))
        if (std::ranges::find(families, family) == families.end())
          families.push_back(std::move(family));
      told.emplace_back(source.name);
      // That of the first, which is what the figure hangs on.
      const SeriesRate& rate = heard_.rate(series);
      if (!q.period_ms && rate.period_ms > 0) {
        q.period_ms = rate.period_ms;
        q.share = rate.share;
      }
    }
    q.family = joined(families);
    q.told = joined(told);
    return q;
  }
  static void say(OwnersQuestion& q, const char* answered, std::string missing, std::string how) {
    q.answered = answered;
    q.missing = std::move(missing);
    q.how = std::move(how);
  }
  static std::string prove() {
    return "drive for ten minutes with speed answered and brake hard now and then, or charge by "
           "8 % at rest (see pack current below)";
  }

  // What the energy from the pack itself lacks, the same in every question.
  void energy(OwnersQuestion& q, const std::string& yes_how, const std::string& silent_how) const {
    if (agreed_)
      say(q, "yes", "", yes_how);
    else if (pack_)
      say(q, "no", "not yet: which sign of the pack current is discharge is not proven", prove());
    else if (soc_)
      say(q, "partly", "pack voltage and current: by state of charge alone the intervals are wide",
          fmt::format("write nominal_kwh into fleet.toml; {}", kListSignals));
    else
      say(q, "no", "pack voltage and current, and the state of charge",
          fmt::format("{}; {}", silent_how, kListSignals));
  }

  OwnersQuestion energy_per_mile() const {
    OwnersQuestion q = question("energy_per_mile", {pack, soc, odometer, speed, ambient});
    energy(q, "",
           fmt::format("{}, and {}: kWh per mile over a month", kNoteReceipts, kNoteOdometer));
    if (!odometer_ && !speed_ && q.answered != "no") {
      q.answered = "partly";
      add(q.missing, "the distance");
      add(q.how, fmt::format("{}; {}", kNoteOdometer, kListSignals));
    }
    if (!heard_.has(ambient) && q.answered == "yes")
      add(q.missing, "the outside temperature: seasons cannot be compared");
    return q;
  }
  OwnersQuestion charging_cost() const {
    OwnersQuestion q = question("charging_cost", {pack, soc});
    energy(q, "the price comes from tariffs in fleet.toml, or from receipts as notes",
           fmt::format("{}: they alone give the cost", kNoteReceipts));
    if (q.answered == "yes") q.missing = "what was lost between meter and pack: one meter reading";
    return q;
  }
  OwnersQuestion throughput() const {
    OwnersQuestion q = question("throughput", {pack, soc});
    energy(q, "", fmt::format("{}: what was charged is nearly what the pack took", kNoteReceipts));
    return q;
  }
  OwnersQuestion capacity() const {
    OwnersQuestion q = question("capacity", {pack, soc});
    if (agreed_ && soc_) {
      say(q, "yes", "", "log charges over 30 % and more; it takes months to tell a trend");
    } else if (agreed_) {
      say(q, "partly", "the state of charge: only charges between the same two voltages compare",
          kListSignals);
    } else if (pack_) {
      say(q, "no", "not yet: which sign of the pack current is discharge is not proven", prove());
    } else {
      say(q, "no", "pack voltage and current",
          fmt::format("{}; notes alone cannot tell it", kListSignals));
    }
    if (reported_ && q.answered == "no") {
      q.answered = "partly";
      add(q.missing, "the van's own reported capacity is all there is");
    }
    return q;
  }
  OwnersQuestion distance() const {
    OwnersQuestion q = question("distance", {odometer, speed});
    if (odometer_)
      say(q, "yes", "", "");
    else if (speed_)
      say(q, "partly", "the odometer: adding up the speed is good to about 3 % (1 sd)",
          fmt::format("{}; {}", kNoteOdometer, kListSignals));
    else
      say(q, "no", "odometer and speed", fmt::format("{}; {}", kNoteOdometer, kListSignals));
    return q;
  }

  // What is due: age needs nothing, treads and pads a gauge, the rest the van.
  OwnersQuestion upkeep() const {
    OwnersQuestion q = question("upkeep", {odometer, speed, pack});
    const bool any_distance = odometer_ || speed_;
    if (!any_distance && !agreed_) {
      say(q, "no", "odometer, speed, pack voltage and current",
          fmt::format("{}: dates by distance, age and gauge come from notes alone; {}",
                      kNoteOdometer, kListSignals));
      return q;
    }
    const bool whole = any_distance && agreed_;
    say(q, whole ? "yes" : "partly", "",
        "parts and their limits go into fleet.toml, what a gauge says into notes");
    if (!any_distance) add(q.missing, "the distance: keep odometer readings as notes");
    if (!speed_) add(q.missing, "the speed: hours of the motor are not counted");
    if (!agreed_)
      add(q.missing, "a proven pack current: kWh through motor and charger are not counted");
    return q;
  }

  static void add(std::string& text, std::string_view more) {
    if (!text.empty()) text += "; ";
    text += more;
  }

  const CardSurvey& survey_;
  const VanHeard& heard_;
  bool pack_ = false, agreed_ = false, soc_ = false, odometer_ = false, speed_ = false;
  bool reported_ = false;
};

std::string title_of(std::string question) {
  std::ranges::replace(question, '_', ' ');
  return question;
}

bool answered_nothing(const CardSurvey& survey) { return survey.answers.empty(); }

std::string tried_text(const CardSurvey& survey) {
  std::vector<std::string> listed;
  for (const CardOwnersSignal& signal : survey.owners_signals)
    listed.push_back(hex_text(signal.definition.request_id) + " " +
                     hex_text(signal.definition.did, 4));
  std::ranges::sort(listed);
  listed.erase(std::ranges::unique(listed).begin(), listed.end());
  std::string out =
      "This van answered nothing. Tried, in this order: service 01 and 09 to all ECUs; "
      "the same items as identifiers F4xx by service 22; ";
  out += listed.empty()
             ? "owner's signals: none is listed on this card."
             : fmt::format("the owner's signals listed on this card ({}).", joined(listed));
  if (survey.counters.other_frames_per_s == 0)
    out +=
        " No frame of the van's own was seen either: was it switched on, is the socket's fuse "
        "whole, are the wires and the bus rate right?";
  return out +
         " The logger only listens now, and asks again after ever longer pauses, in the end once a "
         "day.";
}

}  // namespace

std::vector<OwnersQuestion> questions_of(const CardSurvey& survey, const VanHeard& heard) {
  return Answers{survey, heard}.all();
}

std::string questions_text(const CardSurvey& survey, const VanHeard& heard) {
  std::string out;
  const auto line = [&](std::string_view title, std::string_view text) {
    out += fmt::format("  {:<{}}{}\n", title, kIndent - 2, wrapped_words(text, kIndent, kWidth));
  };
  std::vector<std::pair<std::string_view, std::string>> rates;
  for (std::size_t k = 0; k < kHeardSeries; ++k) {
    const auto series = static_cast<HeardSeries>(k);
    const Source& source = source_of(series);
    if (heard.has(series)) rates.emplace_back(source.title, rate_text(survey, heard, source));
  }
  if (!rates.empty()) out += "what this van answers\n";
  for (const auto& [title, rate] : rates) line(title, rate);
  out += "what can be known\n";
  if (answered_nothing(survey)) {
    out += "  " + wrapped_words(tried_text(survey), 2, kWidth) + "\n";
    out += "  What can still be known comes from notes:\n";
  }
  const OwnersQuestion* before = nullptr;
  const std::vector<OwnersQuestion> questions = questions_of(survey, heard);
  for (const OwnersQuestion& q : questions) {
    line(title_of(q.question), q.told.empty() ? q.answered : q.answered + ", by " + q.told);
    const bool same = before != nullptr && !q.missing.empty() && q.missing == before->missing &&
                      q.how == before->how;
    if (same) {
      line("", "missing: the same");
    } else {
      if (!q.missing.empty()) line("", "missing: " + q.missing);
      if (!q.how.empty()) line("", (q.missing.empty() ? "" : "how: ") + q.how);
    }
    before = &q;
  }
  return out;
}

}  // namespace packmile::cli
