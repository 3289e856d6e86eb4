#include <fmt/format.h>

#include <algorithm>

#include "report/due_words.hpp"
#include "report/money_words.hpp"
#include "report/pack_words.hpp"
#include "report/page_parts.hpp"
#include "report/unknown_words.hpp"

namespace packmile::report {
namespace {

// As many as fit beside eight vans on one A4.
constexpr std::size_t kMostDueLines = 10;

struct SoonList {
  std::vector<DueItem> soon;
  std::vector<DueItem> next;  // of vans of which nothing is soon
  std::vector<std::string> not_known;
};

SoonList soon_of(const DepotEvidence& depot) {
  SoonList out;
  for (const VanEvidence& van : depot.vans) {
    std::vector<DueItem> items = due_items(van.upkeep);
    if (items.empty()) {
      out.not_known.push_back(van.names.van);
      continue;
    }
    bool any = false;
    for (const DueItem& item : items) {
      if (!is_soon(item, van.upkeep.today, van.km_per_day)) continue;
      out.soon.push_back(item);
      any = true;
    }
    if (!any) out.next.push_back(items.front());
  }
  const auto by_day = [](const DueItem& item) {
    return std::pair{item.due.earliest, item.due.likely};
  };
  std::ranges::stable_sort(out.soon, {}, by_day);
  std::ranges::stable_sort(out.next, {}, by_day);
  return out;
}

void write_due(Html& html, const DepotEvidence& depot) {
  const Words& words = depot.words;
  const SoonList list = soon_of(depot);
  html.leaf("h2", fmt::format("May be due within {} {} or {} days", words.miles ? "1,000" : "1,600",
                              words.distance_unit(), kSoonDays.count()));
  if (list.soon.empty()) html.leaf("p", "Nothing that is known of.");
  if (!list.soon.empty()) {
    html.open("ul", {{"class", "due"}});
    const std::size_t shown = std::min(list.soon.size(), kMostDueLines);
    for (std::size_t k = 0; k < shown; ++k)
      html.leaf("li", sentence(due_sentence(list.soon[k], words)),
                {{"data-van", list.soon[k].van}});
    if (shown < list.soon.size())
      html.leaf("li", fmt::format("And {} more: see the vans' pages.", list.soon.size() - shown));
    html.close();
  }
  if (!list.next.empty()) {
    std::vector<std::string> items;
    for (const DueItem& item : list.next) items.push_back(due_sentence(item, words));
    html.leaf("p", fmt::format("Later, the next of each other van: {}.", fmt::join(items, "; ")));
  }
  if (!list.not_known.empty())
    html.leaf("p", fmt::format("When anything is due is not known of {}: its page says what to "
                               "enter.",
                               listed(list.not_known)));
}

std::string covers_text(const VanEvidence& van, const Words& words) {
  // The others end later, and are on the van's page.
  const auto items = cover_items(van.upkeep);
  for (const DueItem& item : items)
    if (!item.due.latest || *item.due.latest > words.today)
      return sentence(cover_sentence(item, words));
  return items.empty() ? "None is entered, or it is not known when it ends."
                       : "All that is entered has ended.";
}

// Where a value lies on the scale that all rows share, from 0 to `end`.
std::string percent_text(double value, double end) {
  return fmt::format("{:.2f}%", std::clamp(value / end, 0.0, 1.0) * 100);
}

// A dot and a bar of the cost, dashed the fleet; the words beside it say the same.
void write_strip(Html& html, const MaybeFigure& cost, const MaybeFigure& fleet, double end) {
  if (!cost.figure || !(end > 0)) return;
  const auto mark = [&](std::string_view name, const std::string& style) {
    html.leaf("i", "", {{"class", std::string{name}}, {"style", style}});
  };
  const Figure& f = *cost.figure;
  html.open("div", {{"class", "strip"}, {"aria-hidden", "true"}});
  if (fleet.figure) mark("level", "left:" + percent_text(fleet.figure->value, end));
  mark("range",
       fmt::format("left:{};right:{}", percent_text(f.low, end), percent_text(end - f.high, end)));
  mark("dot", "left:" + percent_text(f.value, end));
  html.close();
}

std::string not_known_text(const VanEvidence& van, const DepotEvidence& depot) {
  const auto unknown = unknown_sentences(van, depot);
  if (unknown.empty()) return "Nothing that this page asks for is missing.";
  std::string out = unknown.front();
  if (unknown.size() > 1) out += fmt::format(" {} more on its page.", unknown.size() - 1);
  return out;
}

// Each cell says its subject, as its row may be set as lines of text.
void write_vans(Html& html, const DepotEvidence& depot) {
  const std::string cost = fmt::format("cost, last {} days", kSoonDays.count());
  double end = 0;
  for (const VanEvidence& van : depot.vans)
    if (van.cost.cost_per_mile.figure && van.cost.short_distance.empty() && !van.cost_of_longer)
      end = std::max(end, van.cost.cost_per_mile.figure->high);
  html.open("div", {{"class", "scroll"}});
  html.open("table", {{"class", "vans"}, {"role", "table"}});
  html.leaf("caption", end > 0
                           ? "Van by van: the dot and its bar are the cost from 0 with its range; "
                             "dashed: all vans together"
                           : "Van by van");
  html.open("thead", {{"role", "rowgroup"}}).open("tr", {{"role", "row"}});
  for (const std::string& title :
       {std::string{"van"}, cost, std::string{"pack"}, std::string{"cover"},
        std::string{"keep or sell"}, std::string{"not known"}})
    html.leaf("th", title, {{"scope", "col"}, {"role", "columnheader"}});
  html.close().close().open("tbody", {{"role", "rowgroup"}});
  for (std::size_t k = 0; k < depot.vans.size(); ++k) {
    const VanEvidence& van = depot.vans[k];
    html.open("tr", {{"role", "row"}, {"data-van", van.names.van}});
    html.open("th", {{"scope", "row"}, {"role", "rowheader"}});
    html.leaf("a", van.names.van, {{"href", fmt::format("#van-{}", k + 1)}});
    if (van.cost.short_distance.empty() && !van.cost_of_longer)
      write_strip(html, van.cost.cost_per_mile, depot.fleet_cost_per_mile, end);
    html.close();
    const auto cell = [&](const std::string& subject, const std::string& text) {
      html.leaf("td", text, {{"role", "cell"}, {"data-label", subject}});
    };
    cell(cost, sentence(cost_sentence(van, depot)));
    cell("pack", sentence(pack_sentence(van, depot.zone, depot.words)));
    cell("cover", covers_text(van, depot.words));
    cell("keep or sell", sentence(keep_sentence(van, depot.words)));
    cell("not known", not_known_text(van, depot));
    html.close();
  }
  html.close().close().close();
}

}  // namespace

void write_page_one(Html& html, const DepotEvidence& depot, ChartList& charts) {
  html.open("section", {{"id", "page-one"}, {"class", "sheet"}});
  html.open("header");
  html.leaf("h1",
            fmt::format("{} on {} {}", counted(depot.vans.size(), "van", "vans"),
                        depot.words.day(depot.words.today),
                        static_cast<int>(std::chrono::year_month_day{depot.words.today}.year())));
  html.leaf("p",
            fmt::format("Today is {}. Days are of {}. In brackets: 95 % intervals.",
                        depot.as_of_text, depot.zone.name()),
            {{"class", "what"}});
  html.close();
  write_due(html, depot);
  write_exhibit(html, fleet_cost(depot), "page", charts);
  write_vans(html, depot);
  html.leaf("p",
            "It informs: the maker's schedule, the law where you are and a competent inspection "
            "decide. Orange cables are high voltage: trained, licensed people only. Wheels off the "
            "ground on axle stands only.",
            {{"class", "caution"}});
  html.close();
}

}  // namespace packmile::report
