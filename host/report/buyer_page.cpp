#include "report/buyer_page.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "report/number_text.hpp"
#include "report/pack_words.hpp"
#include "report/page_parts.hpp"

namespace packmile::report {
namespace {

constexpr char kWhatItIs[] =
    "Measured by the seller's own logger; not a certified value. What follows are sums by month: "
    "no clock times and no places are in it.";

std::string number_or_unknown(const MaybeFigure& figure, double factor = 1, int decimals = 1) {
  return figure.figure ? range_words(*figure.figure, factor, decimals) : "not known";
}

// As a shell takes it for one word, whatever is in it.
std::string shell_word(std::string_view text) {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? std::string{"'\\''"} : std::string{c};
  return out + "'";
}

void write_sentences(Html& html, const std::vector<std::string>& sentences) {
  html.open("ul");
  for (const std::string& one : sentences) html.leaf("li", one);
  html.close();
}

void write_sums(Html& html, const DataTable& table) {
  html.open(
      "div",
      {{"class", "scroll"}, {"tabindex", "0"}, {"role", "region"}, {"aria-label", table.caption}});
  write_table(html, table);
  html.close();
}

// Empty: not for this page.
std::string question_words(VerdictQuestion question) {
  switch (question) {
    case VerdictQuestion::pack_current:
      return "the meaning of the pack current";
    case VerdictQuestion::offset_a:
      return "the offset of its sensor, taken out";
    case VerdictQuestion::gain:
      return "the gain of its sensor, taken out";
    case VerdictQuestion::distance_scale:
      return "kilometres of the odometer for each of the speed";
    case VerdictQuestion::coding:
    case VerdictQuestion::sign:
    case VerdictQuestion::soc_step_pct:
    case VerdictQuestion::speed_rounding:
      return {};
  }
  return {};
}

DataTable months_table(const BuyerEvidence& buyer, const Words& words) {
  DataTable table{"Sums by month",
                  {{"month"},
                   {fmt::format("trips, {}", words.distance_unit()), true},
                   {"out of the pack, kWh", true},
                   {"into it, kWh", true},
                   {"full cycles", true},
                   {"share of DC, %", true},
                   {"charges", true},
                   {"heard, h", true}},
                  {}};
  for (const MonthThroughput& month : buyer.van.months) {
    std::size_t charges = 0;
    for (const ChargeSum& sum : buyer.van.by_month)
      if (sum.month == month.month) charges += sum.charges;
    double heard = 0;
    for (const SeenDay& day : buyer.van.days)
      if (day.day.starts_with(month.month)) heard += day.seen_hours;
    const Throughput& t = month.through;
    table.lines.push_back(
        {month.month,
         {},
         {month_words(month.month), number_or_unknown(month.distance, words.of_km(), 0),
          number_or_unknown(t.discharge_kwh, 1, 0), number_or_unknown(t.charge_kwh, 1, 0),
          number_or_unknown(t.full_cycles), number_or_unknown(t.dc_share, 100, 0),
          std::to_string(charges), grouped(number_text(heard, 0))}});
  }
  return table;
}

DataTable odometer_table(const BuyerEvidence& buyer, const Words& words) {
  const std::string unit{words.distance_unit()};
  DataTable table{"The odometer by month",
                  {{"month"},
                   {fmt::format("at its end, {}", unit), true},
                   {fmt::format("gained, {}", unit), true},
                   {fmt::format("of that in trips heard, {}", unit), true}},
                  {}};
  for (const MonthThroughput& month : buyer.van.months) {
    const MaybeFigure& end = month.through.odometer_km;
    table.lines.push_back(
        {month.month,
         {},
         {month_words(month.month),
          end.figure ? grouped(number_text(end.figure->value * words.of_km(), 0)) : "not known",
          month.odometer_gain.figure
              ? grouped(number_text(month.odometer_gain.figure->value * words.of_km(), 0))
              : "not known",
          number_or_unknown(month.distance, words.of_km(), 0)}});
  }
  return table;
}

std::string odometer_sentence(const BuyerEvidence& buyer) {
  if (buyer.odometer_readings == 0) return "The van answered no odometer in this period.";
  const std::string readings = counted(buyer.odometer_readings, "reading", "readings");
  return buyer.odometer_falls == 0 ? fmt::format("In {} it never ran backwards.", readings)
                                   : fmt::format("In {} it ran backwards {}.", readings,
                                                 counted(buyer.odometer_falls, "time", "times"));
}

std::vector<std::string> gap_sentences(const BuyerEvidence& buyer, const Words& words) {
  std::vector<std::string> out;
  for (const SilentDays& silent : buyer.silent) {
    std::string text = fmt::format("No record from {} to {}, {}", silent.first, silent.last,
                                   counted(silent.days, "day", "days"));
    text += silent.km.figure
                ? fmt::format("; between the readings around it the odometer gained {} {}",
                              grouped(number_text(silent.km.figure->value * words.of_km(), 0)),
                              words.distance_unit())
                : "; " + silent.km.why;
    out.push_back(sentence(std::move(text)));
  }
  if (out.empty())
    out.push_back(buyer.van.days.empty()
                      ? std::string{"There is no record in this period."}
                      : fmt::format("No silence of {} days or longer.", kLeastSilentDays));
  std::uint64_t overwritten = 0, damaged = 0;
  for (const LostStretch& lost : buyer.van.through.lost)
    (lost.why == LostWhy::overwritten ? overwritten : damaged) += lost.sectors;
  out.push_back(overwritten + damaged == 0
                    ? std::string{"No sector is missing between those that were read."}
                    : fmt::format("{} are missing: {} overwritten before they were read, {} "
                                  "damaged or gone.",
                                  counted(overwritten + damaged, "sector", "sectors"), overwritten,
                                  damaged));
  return out;
}

std::vector<std::string> measured_sentences(const BuyerEvidence& buyer) {
  std::vector<std::string> out{
      "Energy and ampere-hours are pack voltage times pack current, as the van's own controller "
      "answers them several times a second, added up over time.",
      "Distance is the van's odometer, or its speed over time where a drive is short."};
  // What was not agreed is among what was assumed.
  for (const Verdict& verdict : buyer.van.verdicts) {
    const std::string name = question_words(verdict.question);
    if (!name.empty() && verdict.answer == VerdictAnswer::agreed)
      out.push_back(sentence(fmt::format("{}, agreed: {}", name, verdict.evidence)));
  }
  return out;
}

std::vector<std::string> assumed_sentences(const BuyerEvidence& buyer) {
  std::vector<std::string> out;
  const VanFacts& facts = buyer.facts;
  if (facts.nominal_kwh)
    out.push_back(fmt::format("Nominal energy {} kWh: entered by the seller.",
                              number_text(*facts.nominal_kwh, 1)));
  if (facts.nominal_ah)
    out.push_back(
        fmt::format("Nominal charge {} Ah, which full cycles are counted of: entered by "
                    "the seller.",
                    number_text(*facts.nominal_ah, 1)));
  if (facts.first_used)
    out.push_back(fmt::format("First used on {}: entered by the seller.",
                              text_of(LocalDay{facts.first_used->time_since_epoch()})));
  out.emplace_back(
      "Where no meter or balance of charge tells otherwise a current sensor is taken to be 0.3 A "
      "and 0.7 % off (1 sd); the intervals hold that.");
  out.emplace_back("The state of charge is the pack controller's opinion, and so is its scale.");
  const Throughput& t = buyer.van.through;
  if (t.before_logging_kwh.figure)
    out.push_back(
        fmt::format("What went through the pack before the first record is not measured: "
                    "at the use since, {} kWh. It is in no other figure.",
                    range_words(*t.before_logging_kwh.figure, 1, 0)));
  return out;
}

void write_archive(Html& html, const BuyerEvidence& buyer) {
  html.leaf("h2", "The raw record, and every figure made anew");
  if (buyer.files.empty()) {
    html.leaf("p", "The archive has no sector of this van.");
    return;
  }
  html.leaf("p",
            "Each line is the SHA-256 of one file of raw sectors as the logger wrote them. Whoever "
            "has a copy of archive/, notes.csv and fleet.toml makes every figure of this page anew "
            "with the two last commands; the first one shows whether the raw files are these.");
  DataTable table{"Raw files", {{"file"}, {"bytes", true}, {"SHA-256"}}, {}};
  for (const FileDigest& file : buyer.files)
    table.lines.push_back({{}, {}, {file.file, std::to_string(file.bytes), file.sha256}});
  write_sums(html, table);
  html.leaf("p", fmt::format("SHA-256 of these lines as sha256sum writes them, in this order: {}",
                             buyer.digest_of_all));
  std::string commands = "(cd archive && sha256sum";
  for (const FileDigest& file : buyer.files) commands += " " + file.file;
  html.open("pre").text(commands + ")").raw("\n");
  html.text("packmile rebuild --depot .").raw("\n");
  html.text("packmile throughput --depot . --van " + shell_word(buyer.van.names.van)).close();
}

}  // namespace

std::string buyer_page(const DepotEvidence& depot, const BuyerEvidence& buyer) {
  const Words& words = depot.words;
  const VanEvidence& van = buyer.van;
  Html html;
  ChartList charts;
  begin_page(html, fmt::format("Record of {}", van.names.van));
  html.open("section", {{"id", "page-one"}, {"class", "sheet buyer"}});
  html.open("header");
  html.leaf("h1", fmt::format("Record of {}", van.names.van));
  html.leaf("p", kWhatItIs, {{"class", "what"}});
  html.leaf("p",
            fmt::format("{} Made on {} by {}. Months are of {}. In brackets: 95 % intervals.",
                        van.names.vin.empty() ? "Its VIN was never read."
                                              : "VIN " + van.names.vin + ", as the van answers it.",
                        depot.as_of_text, depot.program, depot.zone.name()),
            {{"class", "what"}});
  html.close();
  html.leaf("h2", "Month by month");
  html.leaf("p", throughput_of_months(van, depot).finding, {{"class", "finding"}});
  if (!van.months.empty()) write_sums(html, months_table(buyer, words));
  html.leaf("h2", "The odometer");
  html.leaf("p", odometer_sentence(buyer));
  if (!van.months.empty()) write_sums(html, odometer_table(buyer, words));
  html.leaf("h2", "The pack");
  write_exhibit(html, capacity_by_month(van, depot), "buyer", charts);
  html.leaf("p", sentence(latest_capacity(van).reason));

  html.leaf("h2", "Gaps");
  write_sentences(html, gap_sentences(buyer, words));
  html.leaf("h2", "What was measured");
  write_sentences(html, measured_sentences(buyer));
  html.leaf("h2", "What was assumed");
  write_sentences(html, assumed_sentences(buyer));
  write_archive(html, buyer);
  html.leaf("p",
            "Have the van looked at by somebody who is trained for it before you buy. The pack is "
            "high voltage: open and touch nothing of it.",
            {{"class", "caution"}});
  html.close();
  end_page(html, charts);
  return html.finish();
}

}  // namespace packmile::report
