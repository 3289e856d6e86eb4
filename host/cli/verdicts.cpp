// packmile verdicts: what each van's words mean, and from which evidence.
#include <fmt/format.h>

#include "cli/card_question.hpp"
#include "cli/van_rows.hpp"

namespace packmile::cli {

ExitCode run_verdicts(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;

  Rows rows{{{"van", ColumnKind::text, false}, {"vin", ColumnKind::text, true}}, {}};
  for (Column& column : verdict_columns()) rows.columns.push_back(std::move(column));
  std::vector<std::vector<std::string>> lines;
  std::string evidence;
  for (const AskedVan& van : asked.vans) {
    if (!van.id) continue;
    const auto list = asked.open.ledger.verdicts(*van.id);
    if (!list) {
      say(list.error());
      return ExitCode::failed;
    }
    for (const Verdict& verdict : *list) {
      if (!asked.period.holds(verdict.decided_on)) continue;
      Row row = row_begin(van.names);
      for (Cell& cell : row_of(verdict)) row.push_back(std::move(cell));
      rows.rows.push_back(std::move(row));
      if (options.format != Format::table) continue;
      const std::string name = clean_text(van.names.van);
      const std::string ecu = verdict.ecu == 0 ? "-" : ecu_text(verdict.ecu);
      lines.push_back({name, ecu, clean_text(verdict.calibration_id),
                       fmt::format("{}", verdict.segment), std::string{word_of(verdict.question)},
                       std::string{word_of(verdict.answer)}, value_text(verdict),
                       asked.zone().day(verdict.decided_on)});
      evidence += fmt::format(
          "{}, {}{}: {}\n", name, word_of(verdict.question),
          verdict.segment > 1 ? fmt::format(" (segment {})", verdict.segment) : std::string{},
          clean_text(verdict.evidence));
    }
  }
  return write_rows(options, "verdicts", rows, asked.zone(), [&]() -> Result<std::string> {
    const std::vector<TableColumn> columns{
        {"van", false},      {"ECU", false},     {"calibration", false}, {"segment", true},
        {"question", false}, {"verdict", false}, {"value", true},        {"decided on", false}};
    return render_table(columns, lines) + foot_of(asked, {}) + prose(options, evidence);
  });
}

}  // namespace packmile::cli
