// packmile sessions: one row for each charge session.
#include <fmt/format.h>

#include "report/number_text.hpp"
#include "cli/van_rows.hpp"
#include "ledger/charge_sums.hpp"
#include "notes/currency.hpp"

namespace packmile::cli {

namespace {

// "yard (assumed)"; "-" where it is not known.
std::string place_text(const SessionCost& cost) {
  if (cost.place.empty()) return "-";
  return clean_text(cost.place) + (cost.source == PlaceSource::assumed ? " (assumed)" : "");
}

}  // namespace

ExitCode run_sessions(const RowsOptions& options) {
  AskedOr answer = ask(options, true);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const Fleet& fleet = asked.open.depot.fleet;

  Rows rows{session_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  Reasons reasons;
  std::int64_t beside = 0;
  std::int64_t unsure = 0;
  std::int64_t perhaps_none = 0;
  for (const AskedVan& van : asked.vans) {
    auto record = on_record(asked, van);
    if (!record) {
      say(record.error());
      return ExitCode::failed;
    }
    if (van.id) {
      const auto others = asked.open.ledger.sessions_beside(*van.id, asked.period);
      if (!others) {
        say(others.error());
        return ExitCode::failed;
      }
      beside += *others;
    }
    // Priced in the order of the van's life: which charge a note is about, and what
    // was driven before it, do not hang on the period.
    const VanMoney money =
        van_money(van.names, std::move(record->parts), std::move(record->notes), fleet);
    for (auto& [session, cost] : priced_charges(money, fleet)) {
      if (!asked.period.holds(session.start)) continue;
      if (!asked.period.surely_holds(session.start, session.start_doubt)) {
        session.findings.push_back(Finding::period_unsure);
        ++unsure;
      }
      rows.rows.push_back(row_of(van.names, session, cost, fleet.currency));
      if (options.format != Format::table) continue;
      if (!surely_charged(session)) {
        ++perhaps_none;
        continue;
      }
      for (const auto& f : {session.pack_kwh, cost.grid_kwh, session.peak_kw, cost.cost})
        reasons.note(f);
      const auto soc = [](const std::optional<double>& soc_pct) {
        return soc_pct ? fmt::format("{:.0f}", *soc_pct) : std::string{"-"};
      };
      lines.push_back({clean_text(van.names.van),
                       moment_text(asked.zone(), session.start, session.start_doubt),
                       minutes_text(session), std::string{word_of(session.kind)},
                       std::string{word_of(session.source)}, figure_text(session.pack_kwh),
                       figure_text(cost.receipt || cost.meter ? cost.grid_kwh : session.grid_kwh),
                       figure_text(session.peak_kw),
                       soc(session.soc_start_pct) + " to " + soc(session.soc_end_pct),
                       place_text(cost), money_text(cost.cost, fleet.currency),
                       share_text(session.coverage), text_of(session.findings)});
    }
  }
  return write_rows(options, "sessions", rows, asked.zone(), [&]() -> Result<std::string> {
    const auto evidence = evidence_of(asked, true);
    if (!evidence) return evidence.error();
    const std::vector<TableColumn> columns{{"van", false},
                                           {"start", false},
                                           {"min", true},
                                           {"kind", false},
                                           {"source", false},
                                           {"pack kWh", true},
                                           {"grid kWh", true},
                                           {"peak kW", true},
                                           {"SoC %", true},
                                           {"place", false},
                                           {"cost " + fleet.currency, true},
                                           {"seen", true},
                                           {"findings", false}};
    return render_table(columns, lines) + fmt::format("{} sessions\n", lines.size()) +
           foot_of(asked, reasons) + beside_text(beside, unsure, "sessions") +
           (perhaps_none > 0
                ? fmt::format("{} times the state of charge rose in a silence by no more than what "
                              "a controller may put right at rest:\nperhaps no charge, and not in "
                              "the table; --format csv has them (charge_unsure)\n",
                              perhaps_none)
                : std::string{}) +
           *evidence;
  });
}

}  // namespace packmile::cli
