#include "cli/sheet_pages.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cwchar>

#include "cli/say.hpp"
#include "cli/table.hpp"
#include "report/safe_text.hpp"

namespace packmile::cli {
namespace {

constexpr std::array<std::string_view, 5> kCautions{
    "Van off, key out, parking brake on, level ground. All wheels stay on the ground:",
    "a van that is lifted stands on axle stands, never on a jack alone. Orange",
    "cables are high voltage and kill: touch, unplug or open nothing there; that is",
    "for trained, licensed people. Follow the vehicle maker's instructions and",
    "local codes; law and a competent inspection decide, not this sheet."};
constexpr std::string_view kHow =
    "Tread: the least depth, middle three quarters. Pads: thinnest, without plate.";
constexpr std::size_t kMostFluidsShown = 3;

std::size_t index(Wheel wheel) { return static_cast<std::size_t>(wheel); }
std::size_t index(Axle axle) { return static_cast<std::size_t>(axle); }

// Cut to so many columns, and filled up to them.
std::string fit(std::string_view text, std::size_t columns) {
  std::string out = clean_text(text);
  if (width_of(out) > columns) {
    while (width_of(out) > columns - 1) {
      // Whole letters of UTF-8.
      do out.pop_back();
      while (!out.empty() && (static_cast<unsigned char>(out.back()) & 0xC0) == 0x80);
      if (!out.empty() && (static_cast<unsigned char>(out.back()) & 0xC0) == 0xC0) out.pop_back();
    }
    out += '~';
  }
  return out + std::string(columns - width_of(out), ' ');
}

std::string last_of(const SheetValue& value) {
  if (value.text.empty()) return value.remark.empty() ? "-" : value.remark;
  return value.text + " " + value.day;
}

// "[      ] 5.1 mm 2026-03-02" of so many columns.
std::string box(const SheetValue& value, std::size_t columns) {
  constexpr std::string_view kBox = "[______] ";
  return std::string{kBox} + fit(last_of(value), columns - kBox.size() - 1) + ' ';
}

std::string stripped(std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  return line + '\n';
}

// day_of: how a day is written. What is due comes first, then what was renewed the
// longest ago.
template <typename DayOf>
std::string fluids_text(const SheetVan& van, DayOf day_of) {
  std::vector<std::string> all;
  for (const SheetDue& due : van.due) all.push_back("due " + day_of(due.part, due.day));
  for (const SheetFluid& fluid : van.fluids)
    if (std::ranges::find(van.due, fluid.name, &SheetDue::part) == van.due.end())
      all.push_back(day_of(fluid.name, fluid.renewed.day));
  std::string out;
  for (std::size_t k = 0; k < std::min(all.size(), kMostFluidsShown); ++k)
    out += (k > 0 ? ", " : "") + all[k];
  if (all.size() > kMostFluidsShown)
    out += fmt::format(" and {} more", all.size() - kMostFluidsShown);
  return out.empty() ? "-" : out;
}

// Seven lines.
std::string van_text(const SheetVan& van) {
  constexpr std::size_t kLabel = 10;
  constexpr std::size_t kHalf = (kSheetColumns - kLabel) / 2;
  const auto row = [&](std::string_view label, const std::string& left, const std::string& right) {
    return stripped(fit(label, kLabel) + left + right);
  };
  const auto wheel = [&](Wheel one) {
    return std::string{word_of(one)} + " " + box(van.treads[index(one)], kHalf - 3);
  };
  const auto axle = [&](Axle one) {
    return fit(word_of(one), 6) + box(van.pads[index(one)], kHalf - 6);
  };
  std::string name = clean_text(van.van);
  if (width_of(name) > kSheetColumns - 4) name = fit(name, kSheetColumns - 4);
  std::string out =
      name + " " +
      std::string(kSheetColumns - 1 - std::min(width_of(name), kSheetColumns - 1), '-') + "\n";
  out +=
      row("odometer", "[____________] ", fit(last_of(van.odometer), kSheetColumns - kLabel - 15));
  out += row("meter kWh", "before [__________] after [__________] ",
             fit(last_of(van.meter), kSheetColumns - kLabel - 39));
  out += row("tread mm", wheel(Wheel::front_left), wheel(Wheel::front_right));
  out += row("", wheel(Wheel::rear_left), wheel(Wheel::rear_right));
  out += row("pads mm", axle(Axle::front), axle(Axle::rear));
  const std::string fluids = fluids_text(
      van, [](const std::string& fluid, const std::string& day) { return fluid + " " + day; });
  out += row("fluid", "[____________] ", fit(fluids, kSheetColumns - kLabel - 15));
  return out;
}

std::string day_html(const std::string& day) { return "<span>" + html_escaped(day) + "</span>"; }

std::string cell_html(std::string_view label, const SheetValue& value) {
  const std::string last = value.text.empty()
                               ? html_escaped(last_of(value))
                               : html_escaped(value.text) + " " + day_html(value.day);
  return fmt::format("<td><b>{}</b><i></i><small>{}</small></td>", label, last);
}

std::string van_html(const SheetVan& van) {
  std::string out = fmt::format("<tr><th>{}</th>", html_escaped(van.van));
  out += cell_html("", van.odometer);
  out += "<td><b></b><i></i><small>&nbsp;</small></td>";
  out += cell_html("", van.meter);
  for (const Wheel wheel : kWheels) out += cell_html(word_of(wheel), van.treads[index(wheel)]);
  for (const Axle axle : kAxles) out += cell_html(word_of(axle), van.pads[index(axle)]);
  out += fmt::format("<td><b></b><i></i><small>{}</small></td></tr>\n",
                     fluids_text(van, [](const std::string& name, const std::string& day) {
                       return html_escaped(name) + " " + day_html(day);
                     }));
  return out;
}

constexpr char kHead[] = R"(<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>Walk-round sheet</title>
<style>
@page { size: A4 landscape; margin: 9mm; }
* { box-sizing: border-box; }
body { font: 9pt/1.2 sans-serif; color: #000; background: #fff; margin: 0; }
section { width: 279mm; page-break-inside: avoid; }
section + section { page-break-before: always; }
h1 { font-size: 13pt; margin: 0 0 1mm; }
p { margin: 0 0 1mm; }
span { white-space: nowrap; }
u { display: inline-block; width: 40mm; border-bottom: 0.3mm solid #000; text-decoration: none; }
table { width: 100%; border-collapse: collapse; table-layout: fixed; margin: 1mm 0; }
th, td { border: 0.2mm solid #000; padding: 0.7mm; vertical-align: top; text-align: left;
  overflow-wrap: anywhere; overflow: hidden; }
tbody th { font-size: 9pt; }
thead th { font-size: 8pt; }
b { display: block; font-size: 7pt; min-height: 3mm; }
i { display: block; height: 6.5mm; border: 0.3mm solid #000; }
small { display: block; font-size: 6.5pt; max-height: 7.2mm; overflow: hidden; }
</style>
</head>
<body>
)";
constexpr char kColumnsHtml[] =
    "<table><colgroup><col style=\"width:26mm\"><col style=\"width:26mm\"><col "
    "style=\"width:23mm\" span=\"2\"><col style=\"width:21mm\" "
    "span=\"6\"><col></colgroup>\n<thead><tr><th>van</th>"
    "<th>odometer</th><th>meter before, kWh</th><th>meter after, kWh</th>"
    "<th colspan=\"4\">tread, mm</th><th colspan=\"2\">pads, mm</th><th>fluid renewed</th></tr>"
    "</thead>\n<tbody>\n";

}  // namespace

std::string sheet_text(std::span<const SheetVan> vans) {
  std::string out;
  for (std::size_t k = 0; k < vans.size(); ++k) {
    if (k % kSheetVansAPage == 0) {
      if (k > 0) out += '\f';
      out += "Walk-round of ______________ by ______________ Beside each box: the last value.\n";
      out += std::string{kHow} + '\n';
      for (const std::string_view line : kCautions) out += std::string{line} + '\n';
    }
    out += van_text(vans[k]);
  }
  return out;
}

std::string sheet_html(std::span<const SheetVan> vans) {
  std::string out = kHead;
  for (std::size_t first = 0; first < vans.size(); first += kSheetVansAPage) {
    out +=
        "<section>\n<h1>Walk-round of <u></u> by <u></u></h1>\n<p>Under each box: the last value "
        "and its day. " +
        std::string{kHow} + "</p>\n" + kColumnsHtml;
    for (const SheetVan& van : vans.subspan(first, std::min(kSheetVansAPage, vans.size() - first)))
      out += van_html(van);
    out += "</tbody></table>\n<p>";
    for (const std::string_view line : kCautions) out += html_escaped(line) + " ";
    out += "</p>\n</section>\n";
  }
  return out + "</body>\n</html>\n";
}

}  // namespace packmile::cli
