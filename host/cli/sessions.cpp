// packmile sessions: one row for each charge session.
#include <fmt/format.h>

#include <algorithm>

#include "cli/number_text.hpp"
#include "cli/van_rows.hpp"

namespace packmile::cli {

ExitCode run_sessions(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;

  Rows rows{session_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  Reasons reasons;
  std::int64_t beside = 0;
  std::int64_t unsure = 0;
  for (const AskedVan& van : asked.vans) {
    if (!van.id) continue;
    const auto list = asked.open.ledger.sessions(*van.id, asked.period);
    if (!list) {
      say(list.error());
      return ExitCode::failed;
    }
    const auto others = asked.open.ledger.sessions_beside(*van.id, asked.period);
    if (!others) {
      say(others.error());
      return ExitCode::failed;
    }
    beside += *others;
    for (const ChargeSession& session : *list) {
      unsure += std::ranges::count(session.findings, Finding::period_unsure);
      rows.rows.push_back(row_of(van.names, session, asked.open.depot.fleet.currency));
      if (options.format != Format::table) continue;
      for (const MaybeFigure* f : {&session.pack_kwh, &session.grid_kwh, &session.peak_kw})
        reasons.note(*f);
      const auto soc = [](const std::optional<double>& soc_pct) {
        return soc_pct ? fmt::format("{:.0f}", *soc_pct) : std::string{"-"};
      };
      lines.push_back({clean_text(van.names.van),
                       moment_text(asked.zone(), session.start, session.start_doubt),
                       minutes_text(session), std::string{word_of(session.kind)},
                       std::string{word_of(session.source)}, figure_text(session.pack_kwh),
                       figure_text(session.grid_kwh), figure_text(session.peak_kw),
                       soc(session.soc_start_pct) + " to " + soc(session.soc_end_pct),
                       share_text(session.coverage), text_of(session.findings)});
    }
  }
  return write_rows(options, "sessions", rows, asked.zone(), [&]() -> Result<std::string> {
    const auto evidence = evidence_of(asked, true);
    if (!evidence) return evidence.error();
    const std::vector<TableColumn> columns{
        {"van", false},    {"start", false},   {"min", true},      {"kind", false},
        {"source", false}, {"pack kWh", true}, {"grid kWh", true}, {"peak kW", true},
        {"SoC %", true},   {"seen", true},     {"findings", false}};
    return render_table(columns, lines) + fmt::format("{} sessions\n", lines.size()) +
           foot_of(asked, reasons) + beside_text(beside, unsure, "sessions") + *evidence;
  });
}

}  // namespace packmile::cli
