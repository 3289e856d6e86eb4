// packmile fade: how fast each pack loses capacity, and whether that was expected.
#include <fmt/format.h>

#include "report/number_text.hpp"
#include "cli/van_evidence.hpp"

namespace packmile::cli {
namespace {

// What a slope is told per, so that the number is one that people know.
struct Unit {
  std::string text;
  double factor = 1;  // of a slope per km, year or cycle
};

Unit unit_of(FadeAxis axis, bool miles) {
  switch (axis) {
    case FadeAxis::odometer_km:
      return miles ? Unit{"10,000 miles", 10'000 * kKmPerMile} : Unit{"10,000 km", 10'000};
    case FadeAxis::age_years:
      return {"year", 1};
    case FadeAxis::full_cycles:
      return {"100 full cycles", 100};
  }
  return {};
}

std::string number_or_dash(const std::optional<double>& value) {
  return value ? fmt::format("{:.1f}", *value) : "-";
}

// From what the loss counts.
std::string since_text(const FadeRow& row) {
  if (!row.measured_pct.figure) return "-";
  return row.since_first_logged ? "first logged" : "new";
}

}  // namespace

ExitCode run_fade(const RowsOptions& options) {
  AskedOr answer = ask(options);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const bool miles = options.units == Units::miles;

  Rows rows{fade_columns(), {}};
  std::vector<std::vector<std::string>> lines;
  std::string means;
  for (const AskedVan& van : asked.vans) {
    const auto told = fade_of_van(asked, van);
    if (!told) {
      say(told.error());
      return ExitCode::failed;
    }
    for (const FadeRow& row : told->rows) {
      rows.rows.push_back(row_of(van.names, row, asked.zone()));
      if (options.format != Format::table) continue;
      const Unit unit = unit_of(row.against, miles);
      lines.push_back({clean_text(van.names.van), std::string{word_of(row.against)},
                       fmt::format("{}", row.n_months),
                       figure_text(row.slope_pct_per_unit, unit.factor), "% per " + unit.text,
                       number_or_dash(row.smallest_detectable_pct_per_year),
                       figure_text(row.measured_pct), number_or_dash(row.expected_pct),
                       since_text(row), std::string{word_of(row.against_expectation)}});
      std::string said = row.reason;
      if (!row.smallest_detectable_pct_per_year && row.smallest_detectable_why != row.reason)
        said += "; " + row.smallest_detectable_why;
      means += fmt::format("{}, {}: {}\n", clean_text(van.names.van), word_of(row.against),
                           clean_text(said));
    }
  }
  return write_rows(options, "fade", rows, asked.zone(), [&]() -> Result<std::string> {
    const auto evidence = evidence_of(asked, true);
    if (!evidence) return evidence.error();
    const std::vector<TableColumn> columns{
        {"van", false},   {"against", false},          {"months", true}, {"lost", true},
        {"unit", false},  {"least seen %/year", true}, {"lost %", true}, {"expected %", true},
        {"since", false}, {"expectation", false}};
    return render_table(columns, lines) + foot_of(asked, {}) +
           prose(options,
                 "least seen: a slower fade could not be told from none with these months.\n" +
                     std::string{kLineCaution} + "\n" + means + *evidence);
  });
}

}  // namespace packmile::cli
