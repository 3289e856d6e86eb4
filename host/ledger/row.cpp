#include "ledger/row.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "ledger/fields.hpp"

namespace packmile {
namespace {

constexpr char kNothingBefore[] = "its boot read no clock, and nothing says what it came after";
constexpr char kNothingBehind[] =
    "its boot read no clock, and nothing says what came after it; say when the card was pulled: "
    "packmile import CARD --pulled-at TIME";
constexpr char kNeverBounded[] =
    "no clock was read on this card, and nothing bounds it; say when it was pulled: packmile "
    "import "
    "CARD --pulled-at TIME";

struct ColumnLister {
  std::vector<Column> columns{{"van", ColumnKind::text, false}, {"vin", ColumnKind::text, true}};

  void add(const char* name, ColumnKind kind, bool may_be_unknown = false) {
    columns.push_back({name, kind, may_be_unknown});
  }
  void moment(const char* name, UtcTime, const TimeDoubt&) { add(name, ColumnKind::time, true); }
  void interval(const char* low, const char* high, UtcTime, const TimeDoubt&) {
    add(low, ColumnKind::time, true);
    add(high, ColumnKind::time, true);
  }
  void figure(const char* name, const MaybeFigure&) { add(name, ColumnKind::figure); }
  void reading(const char* name, const std::optional<double>&, const fields::Step&) {
    add(name, ColumnKind::figure);
  }
  void soc(const char* name, const std::optional<double>&, double) {
    add(name, ColumnKind::figure);
  }
  template <typename E>
  void word(const char* name, E) {
    add(name, ColumnKind::text);
  }
  void real(const char* name, double) { add(name, ColumnKind::real); }
  void findings(const char* name, const std::vector<Finding>&) { add(name, ColumnKind::words); }
  void when(const char* name, const std::optional<UtcTime>&, const char*) {
    add(name, ColumnKind::time, true);
  }
  void window(const char* name, const std::optional<double>&, double) {
    add(name, ColumnKind::figure);
  }
  void number(const char* name, const std::optional<double>&, const char*) {
    add(name, ColumnKind::real, true);
  }
  void whole(const char* name, std::uint64_t) { add(name, ColumnKind::count); }
  void text(const char* name, const std::string&) { add(name, ColumnKind::text); }
  void yes_no(const char* name, bool) { add(name, ColumnKind::text); }
  void rejected(const char* name, const std::vector<Rejected>&) { add(name, ColumnKind::words); }
  void kept_figure(const char*, const MaybeFigure&) {}
  void kept_number(const char*, const std::optional<double>&) {}
  void curve(const char*, const std::vector<CurvePoint>&) {}
  void shown_text(const char* name, const std::string&, const std::string&) {
    add(name, ColumnKind::text, true);
  }
  void shown_figure(const char* name, const MaybeFigure&) { add(name, ColumnKind::figure); }
  void fixed(const char* name, const std::string&) { add(name, ColumnKind::text); }
};

struct CellMaker {
  Row row;

  explicit CellMaker(const VanNames& van) : row(row_begin(van)) {}
  void moment(const char*, UtcTime at, const TimeDoubt& doubt) {
    row.push_back(doubt.boundless() ? Cell::unknown(kNeverBounded) : Cell{at, {}});
  }
  void interval(const char*, const char*, UtcTime at, const TimeDoubt& doubt) {
    const auto cell = [&](const std::optional<UtcTime>& bound, const char* why) {
      row.push_back(bound ? Cell{*bound, {}} : Cell::unknown(why));
    };
    cell(doubt.earliest(at), kNothingBefore);
    cell(doubt.latest(at), kNothingBehind);
  }
  void figure(const char*, const MaybeFigure& f) { row.push_back(Cell::of(f)); }
  void reading(const char*, const std::optional<double>& value, const fields::Step& step) {
    if (!value)
      row.push_back(Cell::unknown(step.why));
    else
      row.push_back({Figure{*value, *value - step.below, *value + step.above,
                            std::max(step.below, step.above)},
                     {}});
  }
  void soc(const char* name, const std::optional<double>& value, double step_pct) {
    reading(name, value, fields::soc_step(step_pct));
  }
  template <typename E>
  void word(const char*, E value) {
    row.push_back({std::string{word_of(value)}, {}});
  }
  void real(const char*, double value) { row.push_back({value, {}}); }
  void findings(const char*, const std::vector<Finding>& found) {
    std::vector<std::string> words;
    for (const Finding finding : found) words.emplace_back(entry_of(finding).word);
    row.push_back({std::move(words), {}});
  }
  void when(const char*, const std::optional<UtcTime>& at, const char* why) {
    row.push_back(at ? Cell{*at, {}} : Cell::unknown(why));
  }
  void window(const char* name, const std::optional<double>& value, double step_pct) {
    reading(name, value, {step_pct / 2, step_pct, fields::kNoWindow});
  }
  void number(const char*, const std::optional<double>& value, const char* why) {
    row.push_back(value ? Cell{*value, {}} : Cell::unknown(why));
  }
  void whole(const char*, std::uint64_t value) {
    row.push_back({static_cast<std::int64_t>(value), {}});
  }
  void text(const char*, const std::string& value) { row.push_back({value, {}}); }
  void yes_no(const char*, bool value) { row.push_back({std::string{value ? "yes" : "no"}, {}}); }
  void rejected(const char*, const std::vector<Rejected>& rejected) {
    std::vector<std::string> words;
    for (const Rejected& r : rejected) words.push_back(r.reason + "=" + std::to_string(r.count));
    row.push_back({std::move(words), {}});
  }
  void kept_figure(const char*, const MaybeFigure&) {}
  void kept_number(const char*, const std::optional<double>&) {}
  void curve(const char*, const std::vector<CurvePoint>&) {}
  void shown_text(const char*, const std::string& text, const std::string& why) {
    row.push_back(text.empty() ? Cell::unknown(why) : Cell{text, {}});
  }
  void shown_figure(const char*, const MaybeFigure& f) { row.push_back(Cell::of(f)); }
  void fixed(const char*, const std::string& value) { row.push_back({value, {}}); }
};

}  // namespace

std::string text_of(const std::vector<Finding>& findings) {
  std::string out;
  for (const Finding finding : findings) {
    if (!out.empty()) out += ' ';
    out += entry_of(finding).word;
  }
  return out;
}

std::vector<Column> trip_columns() {
  ColumnLister lister;
  const Trip trip;
  fields::of_trip(lister, trip);
  return std::move(lister.columns);
}

Row row_of(const VanNames& van, const Trip& trip) {
  CellMaker maker{van};
  fields::of_trip(maker, trip);
  return std::move(maker.row);
}

std::vector<Column> session_columns() {
  ColumnLister lister;
  const ChargeSession session;
  fields::of_session(lister, session, {}, {});
  return std::move(lister.columns);
}

Row row_of(const VanNames& van, const ChargeSession& session, const SessionCost& money,
           const std::string& currency) {
  CellMaker maker{van};
  ChargeSession shown = session;
  if (money.receipt || money.meter) shown.grid_kwh = money.grid_kwh;
  fields::of_session(maker, shown, money, currency);
  return std::move(maker.row);
}

Row row_begin(const VanNames& van) {
  return {{van.van, {}},
          van.vin.empty() ? Cell::unknown("the van never answered its VIN") : Cell{van.vin, {}}};
}

std::vector<Column> verdict_columns() {
  using enum ColumnKind;
  return {{"ecu", text, true},       {"calibration_id", text, true}, {"segment", count, false},
          {"question", text, false}, {"verdict", text, false},       {"value", figure, true},
          {"evidence", text, false}, {"decided_on", time, false}};
}

Row row_of(const Verdict& verdict) {
  Cell value = Cell::unknown(verdict.evidence);
  if (verdict.answer == VerdictAnswer::agreed) {
    if (verdict.number)
      value = {*verdict.number, {}};
    else if (!verdict.word.empty())
      value = {verdict.word, {}};
  }
  return {verdict.ecu == 0 ? Cell::unknown("no ECU answers it")
                           : Cell{fmt::format("{:X}", verdict.ecu), {}},
          verdict.calibration_id.empty() ? Cell::unknown("the ECU told no calibration id")
                                         : Cell{verdict.calibration_id, {}},
          {std::int64_t{verdict.segment}, {}},
          {std::string{word_of(verdict.question)}, {}},
          {std::string{word_of(verdict.answer)}, {}},
          std::move(value),
          {verdict.evidence, {}},
          {verdict.decided_on, {}}};
}

std::vector<Column> capacity_columns() {
  ColumnLister lister;
  const CapacityRow capacity;
  fields::of_capacity(lister, capacity);
  return std::move(lister.columns);
}

Row row_of(const VanNames& van, const CapacityRow& capacity) {
  CellMaker maker{van};
  fields::of_capacity(maker, capacity);
  return std::move(maker.row);
}

}  // namespace packmile
