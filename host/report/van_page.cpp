#include <fmt/format.h>

#include "ledger/van_duty.hpp"
#include "report/due_words.hpp"
#include "report/money_words.hpp"
#include "report/pack_words.hpp"
#include "report/page_parts.hpp"
#include "report/unknown_words.hpp"

namespace packmile::report {
namespace {

void write_list(Html& html, const std::vector<std::string>& sentences) {
  if (sentences.empty()) return;
  html.open("ul");
  for (const std::string& one : sentences) html.leaf("li", one);
  html.close();
}

std::string heard_words(const VanEvidence& van, const DepotEvidence& depot) {
  const Throughput& t = van.through;
  if (!t.measured_from || !t.measured_to) return "Nothing was heard of it in this period.";
  return fmt::format("Heard from {} to {}.",
                     depot.words.day(local_day(depot.zone, *t.measured_from)),
                     depot.words.day(local_day(depot.zone, *t.measured_to)));
}

void write_dues(Html& html, const VanEvidence& van, const Words& words) {
  std::vector<std::string> out;
  for (const DueItem& item : due_items(van.upkeep))
    out.push_back(sentence(due_sentence(item, words)));
  for (const DueItem& item : cover_items(van.upkeep))
    out.push_back(sentence(cover_sentence(item, words)));
  html.leaf("h3", "Due, in order of days");
  if (out.empty()) html.leaf("p", "Of nothing a day is known.");
  write_list(html, out);
}

}  // namespace

void write_van_page(Html& html, const VanEvidence& van, std::size_t number,
                    const DepotEvidence& depot, ChartList& charts) {
  const std::string id = fmt::format("van-{}", number);
  html.open("section", {{"class", "sheet van"}, {"data-van", van.names.van}, {"id", id}});
  html.leaf("h2", van.names.van);
  html.leaf("p",
            (van.names.vin.empty() ? "Its VIN was never read. " : "VIN " + van.names.vin + ". ") +
                heard_words(van, depot),
            {{"class", "what"}});
  const auto show = [&](const Exhibit& exhibit) { write_exhibit(html, exhibit, id, charts); };
  html.leaf("h3", "Cost and worth");
  html.leaf("p", sentence(fmt::format("in the last {} days: {}", kSoonDays.count(),
                                      cost_sentence(van, depot))));
  html.leaf("p", sentence(keep_sentence(van, depot.words)));
  html.leaf("p", winter_sentence(van, depot.words));
  show(energy_by_month(van, depot));
  show(energy_by_temperature(van, depot));
  html.leaf("p", energy_sentence(van, depot.vans.size(), depot.words), {{"class", "finding"}});
  show(charges_by_month(van, depot));
  show(charges_by_hour(van, depot));
  show(charges_by_place(van, depot));
  show(capacity_by_month(van, depot));
  html.leaf("p", sentence(latest_capacity(van).reason));
  show(throughput_of_months(van, depot));
  show(swings(van, depot));
  show(duty_by_month(van, depot));
  show(upkeep_of_parts(van, depot));
  write_dues(html, van, depot.words);
  show(hours_seen(van, depot));
  write_list(html, data_sentences(van, depot));
  html.leaf("h3", "Not known, and how to find out");
  const auto unknown = unknown_sentences(van, depot);
  if (unknown.empty()) html.leaf("p", "Nothing that this page asks for is missing.");
  write_list(html, unknown);
  html.close();
}

}  // namespace packmile::report
