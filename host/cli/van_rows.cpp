#include "cli/van_rows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "cli/output.hpp"
#include "cli/render.hpp"
#include "ledger/nearest.hpp"

namespace packmile::cli {
namespace {

// More distinct reasons than this hide what matters; JSON has them all.
constexpr std::size_t kMostReasons = 8;
constexpr std::size_t kMostLostLines = 10;
// A clock that is read hourly and at worst 100 ppm off stays well inside.
constexpr std::int64_t kSureMs = 600'000;

bool sure(const TimeDoubt& doubt) {
  return doubt.too_late_ms && doubt.too_early_ms &&
         *doubt.too_late_ms + *doubt.too_early_ms <= kSureMs;
}

}  // namespace

AskedOr ask(const RowsOptions& options, bool with_noted) {
  auto open = open_depot(options.depot);
  if (!open) return {std::nullopt, ExitCode::failed};
  const Zone& zone = open->depot.fleet.zone;

  Period period;
  for (const auto& [text, border, name] : {std::tuple{&options.from, &period.from, "--from"},
                                           std::tuple{&options.to, &period.to, "--to"}}) {
    if (!*text) continue;
    const auto at = zone.read(**text);
    if (!at)
      return {std::nullopt,
              wrong_usage(std::string{name} + ": " + at.error().what, at.error().hint)};
    *border = *at;
  }
  if (period.from && period.to && *period.from >= *period.to)
    return {std::nullopt, wrong_usage("--from is not before --to",
                                      "--to is not included in the period: March "
                                      "is --from 2026-03-01 --to 2026-04-01")};

  if (!refresh(*open)) return {std::nullopt, ExitCode::failed};
  if (const auto held = open->ledger.hold_for_reading(); !held) {
    say(held.error());
    return {std::nullopt, ExitCode::failed};
  }
  const auto known = open->ledger.vans();
  if (!known) {
    say(known.error());
    return {std::nullopt, ExitCode::failed};
  }

  std::vector<AskedVan> vans;
  for (const LedgerVan& van : *known) vans.push_back({van.names, van.id});
  for (const FleetVan& van : open->depot.fleet.vans) {
    const bool has_data =
        std::ranges::any_of(vans, [&](const AskedVan& v) { return v.names.van == van.name; });
    if (!has_data) vans.push_back({{van.name, van.vin}, std::nullopt});
  }
  if (with_noted) {
    const auto noted = open->ledger.noted_vans();
    if (!noted) {
      say(noted.error());
      return {std::nullopt, ExitCode::failed};
    }
    for (const std::string& name : *noted)
      if (std::ranges::none_of(vans, [&](const AskedVan& v) { return v.names.van == name; }))
        vans.push_back({{name, {}}, std::nullopt});
  }
  std::ranges::stable_sort(vans, {}, [](const AskedVan& v) {
    return std::pair{v.names.van, v.names.vin};
  });
  std::vector<AskedVan> all = vans;
  if (options.van) {
    std::vector<std::string> names;
    for (const AskedVan& van : vans) {
      names.push_back(van.names.van);
      if (!van.names.vin.empty()) names.push_back(van.names.vin);
    }
    std::erase_if(vans, [&](const AskedVan& v) {
      return v.names.van != *options.van && v.names.vin != *options.van;
    });
    if (vans.empty()) {
      std::string hint = "this depot knows no van yet";
      if (!names.empty()) hint = fmt::format("known names and VINs: {}", fmt::join(names, ", "));
      return {std::nullopt, wrong_usage("--van: neither fleet.toml nor the archive knows '" +
                                            *options.van + "'" + did_you_mean(*options.van, names),
                                        hint)};
    }
  }

  std::string period_text = "everything on record";
  if (period.from && period.to)
    period_text = fmt::format("{} to {} (not included)", *options.from, *options.to);
  else if (period.from)
    period_text = "from " + *options.from + " on";
  else if (period.to)
    period_text = "until " + *options.to + " (not included)";
  return {Asked{std::move(*open), period, std::move(vans), std::move(all), std::move(period_text)},
          ExitCode::done};
}

Result<VanParts> parts_of_van(OpenDepot& open, const AskedVan& van) {
  VanParts parts{facts_of(open.depot.fleet, van.names), {}, {}, {}, {}, {}, {}};
  if (!van.id) return parts;
  // The whole life: what lies before and beyond the period is needed too.
  auto trips = open.ledger.trips(*van.id, {});
  if (!trips) return trips.error();
  auto sessions = open.ledger.sessions(*van.id, {});
  if (!sessions) return sessions.error();
  auto stands = open.ledger.stands(*van.id, {});
  if (!stands) return stands.error();
  auto trace = open.ledger.trace(*van.id);
  if (!trace) return trace.error();
  auto lost = open.ledger.lost(*van.id);
  if (!lost) return lost.error();
  auto cards = open.ledger.cards(*van.id);
  if (!cards) return cards.error();
  parts.cards = std::move(*cards);
  parts.lost = std::move(*lost);
  parts.trips = std::move(*trips);
  parts.sessions = std::move(*sessions);
  parts.stands = std::move(*stands);
  parts.trace = std::move(*trace);
  return parts;
}

Result<VanOnRecord> on_record(Asked& asked, const AskedVan& van) {
  auto parts = parts_of_van(asked, van);
  if (!parts) return parts.error();
  auto notes = van_notes(asked.open.ledger, van.names.van);
  if (!notes) return notes.error();
  return VanOnRecord{std::move(*parts), std::move(*notes)};
}

void Reasons::note(const Cell& cell) {
  if (!cell.known() && std::ranges::find(seen_, cell.why) == seen_.end()) seen_.push_back(cell.why);
}

void Reasons::note(const MaybeFigure& figure) { note(Cell::of(figure)); }

std::string Reasons::text() const {
  if (seen_.empty()) return {};
  std::string out = "- is not known:\n";
  for (std::size_t k = 0; k < std::min(seen_.size(), kMostReasons); ++k)
    out += "  " + clean_text(seen_[k]) + "\n";
  if (seen_.size() > kMostReasons)
    out += fmt::format("  and {} more reasons: see --format json\n", seen_.size() - kMostReasons);
  return out;
}

std::string foot_of(const Asked& asked, const Reasons& reasons) {
  return fmt::format("\nDepot {}, zone {}; period: {}. In brackets: 95 % interval.\n{}",
                     clean_text(asked.open.depot.root.string()), asked.zone().name(),
                     clean_text(asked.period_text), reasons.text());
}

std::string moment_text(const Zone& zone, UtcTime at, const TimeDoubt& doubt) {
  if (sure(doubt)) return zone.minute(at);
  const auto low = doubt.earliest(at), high = doubt.latest(at);
  // The minute in which it ends is cut down, too: the next one is not too early.
  const auto up = [&] { return zone.minute(*high + std::chrono::milliseconds{59'999}); };
  if (low && high) return "between " + zone.minute(*low) + " and " + up();
  if (low) return "after " + zone.minute(*low);
  return high ? "before " + up() : "not known";
}

std::string minutes_text(UtcTime start, UtcTime end, bool heard, const TimeDoubt& of_start,
                         const TimeDoubt& of_end) {
  if (!heard && !(sure(of_start) && sure(of_end))) return "-";
  return fmt::format("{:.0f}", std::chrono::duration<double, std::ratio<60>>(end - start).count());
}

std::string beside_text(std::int64_t beside, std::int64_t unsure, const char* what) {
  std::string out;
  if (unsure > 0)
    out += fmt::format(
        "{} counted here by the middle of their interval that may belong to another period: {} "
        "(period_unsure)\n",
        what, unsure);
  if (beside > 0)
    out += fmt::format(
        "{} beside this period that may belong to it: {} (listed without --from and --to)\n", what,
        beside);
  return out;
}

Result<std::string> evidence_of(Asked& asked, bool undecided_only) {
  std::string out;
  for (const AskedVan& van : asked.vans) {
    if (!van.id) continue;
    const auto verdicts = asked.open.ledger.verdicts(*van.id);
    if (!verdicts) return verdicts.error();
    for (const Verdict& verdict : *verdicts) {
      if (verdict.question != VerdictQuestion::pack_current || verdict.ecu == 0) continue;
      const bool proven = verdict.answer == VerdictAnswer::agreed && verdict.word == "yes";
      if (undecided_only && proven) continue;
      const std::string calibration =
          verdict.calibration_id.empty() ? "" : " (" + clean_text(verdict.calibration_id) + ")";
      out += fmt::format("{}, pack current of ECU {:X}{}: {}. {}\n", clean_text(van.names.van),
                         verdict.ecu, calibration,
                         verdict.word == "no" ? word_of(CurrentVerdict::not_pack_current)
                                              : word_of(verdict.answer),
                         clean_text(verdict.evidence));
    }
  }
  return out;
}

std::string prose(const RowsOptions& options, std::string_view lines) {
  return wrapped_lines(lines, terminal_columns(options.output));
}

std::string lost_text(const std::string& van, const std::vector<LostStretch>& lost,
                      const Zone& zone) {
  const std::size_t first = lost.size() - std::min(lost.size(), kMostLostLines);
  std::string out;
  if (first > 0)
    out += fmt::format("lost: {}, {} earlier stretches; throughput --format json has them\n",
                       clean_text(van), first);
  for (std::size_t k = first; k < lost.size(); ++k) {
    const LostStretch& one = lost[k];
    const bool overwritten = one.why == LostWhy::overwritten;
    std::string time = "at a time that is not known";
    if (one.from && one.to)
      time = zone.minute(*one.from) + " to " + zone.minute(*one.to);
    else if (one.from)
      time = "from " + zone.minute(*one.from) + " on";
    else if (one.to)
      time = "up to " + zone.minute(*one.to);
    out += fmt::format("{}: {}, {}, {} {} {}\n", overwritten ? "lost before it was read" : "lost",
                       clean_text(van), time, one.sectors, one.sectors == 1 ? "sector" : "sectors",
                       overwritten ? "overwritten" : "damaged or missing");
  }
  return out;
}

ExitCode write_rows(const RowsOptions& options, std::string_view command, const Rows& rows,
                    const Zone& zone, const std::function<Result<std::string>()>& table) {
  auto out = Output::open(options.output);
  if (!out) {
    say(out.error());
    return ExitCode::failed;
  }
  switch (options.format) {
    case Format::csv:
      write_csv(*out, rows, zone);
      break;
    case Format::json:
      write_json(*out, command, rows, zone);
      break;
    case Format::xlsx:
      if (const auto written = write_xlsx(*out, command, rows, zone); !written) {
        say(written.error());
        return ExitCode::failed;
      }
      break;
    case Format::table: {
      const auto text = table();
      if (!text) {
        say(text.error());
        return ExitCode::failed;
      }
      out->write(*text);
      break;
    }
  }
  if (const auto done = out->commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return ExitCode::done;
}

}  // namespace packmile::cli
