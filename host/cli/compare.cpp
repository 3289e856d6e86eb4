// packmile compare: one row a van, its energy per mile at the conditions of the
// fleet, whether that tells it from the others, and whether it is worth keeping.
#include "ledger/compare.hpp"

#include <fmt/format.h>

#include "cli/as_of.hpp"
#include "report/number_text.hpp"
#include "cli/van_evidence.hpp"

namespace packmile::cli {
namespace {

// Of one type: what the terms came out as, and which were left out and why.
std::string effects_text(const MileType& type, const std::string& vans, bool miles) {
  std::string out = fmt::format("Effects, common to {}:\n", vans);
  for (std::size_t k = 0; k < kMileTerms; ++k) {
    const auto term = static_cast<MileTerm>(k);
    const MaybeFigure& f = type.terms[k];
    if (!f.figure) {
      out += fmt::format("  {}: left out, {}\n", word_of(term), f.why);
      continue;
    }
    const double per = term == MileTerm::drag && !miles ? 1 / kKmPerMile : 1;
    std::string unit;
    switch (term) {
      case MileTerm::heating:
        unit = fmt::format("kW for each K below {:.0f} degC", kHeatingBelowC);
        break;
      case MileTerm::cooling:
        unit = fmt::format("kW for each K above {:.0f} degC", kCoolingAboveC);
        break;
      case MileTerm::hotel:
        unit = "kW all the time";
        break;
      case MileTerm::drag:
        unit = miles ? fmt::format("kWh/mile at {:.0f} mph", kDragMph)
                     : fmt::format("kWh/km at {:.0f} km/h", kDragMph * kKmPerMile);
        break;
      case MileTerm::stops:
        unit = "kWh for each stop";
        break;
    }
    out += fmt::format("  {}: {} {}\n", word_of(term), figure_text(f, per), unit);
  }
  return out + fmt::format("  a drive strays by {:.3f} {} (1 sd) from what they say\n",
                           type.residual_scale * (miles ? 1 : 1 / kKmPerMile),
                           miles ? "kWh/mile" : "kWh/km");
}

}  // namespace

ExitCode run_compare(const RowsOptions& options) {
  AskedOr answer = ask(options, true);
  if (!answer.asked) return answer.code;
  Asked& asked = *answer.asked;
  const bool miles = options.units == Units::miles;
  const double per = miles ? 1 : 1 / kKmPerMile;

  const AsOfOr as_of = find_as_of(asked, options.as_of);
  if (!as_of.as_of) return as_of.code;
  const auto gathered = gather_vans(asked, *as_of.as_of);
  if (!gathered) {
    say(gathered.error());
    return ExitCode::failed;
  }
  const auto compared = compare_gathered(asked, *as_of.as_of, *gathered);
  if (!compared) {
    say(compared.error());
    return ExitCode::failed;
  }
  const Comparison& comparison = *compared;

  Rows rows{compare_columns(), {}};
  std::vector<std::vector<std::string>> lines, part_lines, keep_lines;
  std::vector<std::string> vans_of_type(comparison.study.types.size());
  std::string told, keeping;
  Reasons reasons;
  for (std::size_t k = 0; k < comparison.vans.size(); ++k) {
    const ComparedVan& van = comparison.vans[k];
    const MileVan& studied = comparison.study.vans[k];
    const std::string name = clean_text(van.names.van);
    if (studied.at_reference.figure) {
      std::string& names = vans_of_type[studied.type];
      names += (names.empty() ? "" : ", ") + name;
    }
    if (options.van && van.names.van != *options.van && van.names.vin != *options.van) continue;
    rows.rows.push_back(row_of(comparison, k));
    if (options.format != Format::table) continue;
    reasons.note(van.kwh_per_mile);
    lines.push_back({name, fmt::format("{}", studied.drives), fmt::format("{}", studied.days),
                     figure_text(van.kwh_per_mile, per), figure_text(studied.at_reference, per),
                     figure_text(van.difference_kwh_per_mile, per),
                     van.energy_decided ? "yes" : "no"});
    std::vector<std::string> parts{name};
    for (const MaybeFigure& part : studied.parts) parts.push_back(figure_text(part, per));
    if (studied.at_reference.figure) part_lines.push_back(std::move(parts));
    told += fmt::format("{}: {}\n", name, clean_text(van.energy_reason));
    const KeepOrSell* kept = van.keep.told ? &*van.keep.told : nullptr;
    const auto whole = [](const Figure& f) {
      return fmt::format("{:.0f} ({:.0f} to {:.0f})", f.value, f.low, f.high);
    };
    keep_lines.push_back({name, figure_text(van.cost_per_mile, per, 4),
                          van.cost_rank.rank ? fmt::format("{}", *van.cost_rank.rank) : "-",
                          kept ? whole(kept->break_even_price) : "-",
                          kept ? std::string{word_of(kept->verdict)} : "-",
                          kept ? fmt::format("{:.0f}", kept->selling_is_cheaper * 100) : "-",
                          van.equivalent_years.figure
                              ? fmt::format("{:.1f}", van.equivalent_years.figure->value)
                              : "-"});
    keeping += fmt::format("{}: {}\n", name, clean_text(van.keep.reason));
    if (!van.keep.inputs.empty())
      keeping += fmt::format("{}, what moves its break-even price most: {}\n", name,
                             clean_text(van.keep.inputs));
    keeping += fmt::format("{}: {}\n", name, clean_text(van.keep.winter.text));
    if (van.cost_per_mile.figure && !van.cost_rank.rank)
      keeping += fmt::format("{}, cost: {}\n", name, clean_text(van.cost_rank.why));
  }
  return write_rows(options, "compare", rows, asked.zone(), [&]() -> Result<std::string> {
    const std::string unit = miles ? "kWh/mile" : "kWh/km";
    const std::vector<TableColumn> columns{{"van", false},
                                           {"drives", true},
                                           {"days", true},
                                           {unit, true},
                                           {unit + " at reference", true},
                                           {"against the others", true},
                                           {"decided", false}};
    std::string text = render_table(columns, lines);
    if (!part_lines.empty()) {
      std::vector<TableColumn> part_columns{{"van", false}};
      for (std::size_t k = 0; k < kMileParts; ++k)
        part_columns.push_back({std::string{word_of(static_cast<MilePart>(k))}, true});
      text += fmt::format("\nWhere it goes, {}:\n", unit) + render_table(part_columns, part_lines);
    }
    text += foot_of(asked, reasons);
    if (const auto& reference = comparison.study.reference)
      text += fmt::format(
          "At reference: {:.0f} degC, {:.1f} {} while moving, {:.2f} stops a {}; speed and stops "
          "are the\nmedians of these drives. Payload, wind and hills are not known and stay in "
          "what strays.\n",
          kReferenceAmbientC, reference->moving_mph * (miles ? 1 : kKmPerMile),
          miles ? "mph" : "km/h", reference->stops_per_mile * per, miles ? "mile" : "km");
    for (std::size_t k = 0; k < comparison.study.types.size(); ++k)
      text += effects_text(comparison.study.types[k], vans_of_type[k], miles);
    const std::vector<TableColumn> keep_columns{
        {"van", false},
        {fmt::format("{} a {}", clean_text(asked.open.depot.fleet.currency), miles ? "mile" : "km"),
         true},
        {"rank", true},
        {"keep below", true},
        {"keep or sell", false},
        {"sell %", true},
        {"years of average use", true}};
    return text + told + "\nKeep or sell, today " + as_of.as_of->text + ":\n" +
           render_table(keep_columns, keep_lines) + keeping + kAverageMilesSource + ".\n";
  });
}

}  // namespace packmile::cli
