// Visitors of fields.hpp for SQL: the columns of a table, values into an INSERT
// and values out of a SELECT, all three in the same order.
#pragma once
#include <algorithm>
#include <array>
#include <charconv>
#include <sstream>
#include <string>
#include <vector>

#include "ledger/fields.hpp"
#include "ledger/row.hpp"
#include "ledger/sqlite.hpp"

namespace packmile {

// Back from text_of(); words of a newer program are left out.
[[nodiscard]] inline std::vector<Finding> findings_of(const std::string& text) {
  std::vector<Finding> out;
  std::istringstream in{text};
  for (std::string word; in >> word;) {
    const auto found = std::ranges::find(kFindings, word, &FindingEntry::word);
    if (found != kFindings.end()) out.push_back(found->finding);
  }
  return out;
}

// A hundredth of a watt-hour: finer than the curve is true.
inline constexpr int kCurveDecimals = 5;

[[nodiscard]] inline std::string text_of(const std::vector<Rejected>& rejected) {
  std::string out;
  for (const Rejected& r : rejected)
    out += (out.empty() ? "" : " ") + r.reason + "=" + std::to_string(r.count);
  return out;
}
[[nodiscard]] inline std::vector<Rejected> rejected_of(const std::string& text) {
  std::vector<Rejected> out;
  std::istringstream in{text};
  std::string reason;
  for (std::size_t count = 0; std::getline(in >> std::ws, reason, '=') && in >> count;)
    out.push_back({reason, count});
  return out;
}

// "0 0;3600000 6.98;": after how many ms how many kWh.
[[nodiscard]] inline std::string text_of(const std::vector<CurvePoint>& curve) {
  std::string out;
  std::array<char, 64> kwh{};
  for (const CurvePoint& point : curve) {
    const auto end = std::to_chars(kwh.data(), kwh.data() + kwh.size(), point.kwh,
                                   std::chars_format::fixed, kCurveDecimals);
    out += std::to_string(point.after_ms) + ' ';
    out.append(kwh.data(), end.ptr);
    out += ';';
  }
  return out;
}
// Nothing, where it is not such a text.
[[nodiscard]] inline std::vector<CurvePoint> curve_of(std::string_view text) {
  std::vector<CurvePoint> out;
  const char* at = text.data();
  const char* const end = at + text.size();
  while (at != end) {
    CurvePoint point;
    const auto ms = std::from_chars(at, end, point.after_ms);
    if (ms.ec != std::errc{} || ms.ptr == end || *ms.ptr != ' ') return {};
    const auto kwh = std::from_chars(ms.ptr + 1, end, point.kwh);
    if (kwh.ec != std::errc{} || kwh.ptr == end || *kwh.ptr != ';') return {};
    out.push_back(point);
    at = kwh.ptr + 1;
  }
  return out;
}

struct SqlColumns {
  std::vector<std::string> names;

  void add(const char* name, ColumnKind kind) {
    for (auto& key : keys_of({name, kind, false})) names.push_back(std::move(key));
  }
  void moment(const char* name, UtcTime, const TimeDoubt&) { add(name, ColumnKind::time); }
  void interval(const char* low, const char* high, UtcTime, const TimeDoubt&) {
    add(low, ColumnKind::time);
    add(high, ColumnKind::time);
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
    add(name, ColumnKind::time);
  }
  void window(const char* name, const std::optional<double>&, double) {
    add(name, ColumnKind::figure);
  }
  void number(const char* name, const std::optional<double>&, const char*) {
    add(name, ColumnKind::real);
  }
  void whole(const char* name, std::uint64_t) { add(name, ColumnKind::count); }
  void text(const char* name, const std::string&) { add(name, ColumnKind::text); }
  void yes_no(const char* name, bool) { add(name, ColumnKind::text); }
  void rejected(const char* name, const std::vector<Rejected>&) { add(name, ColumnKind::words); }
  void curve(const char* name, const std::vector<CurvePoint>&) { add(name, ColumnKind::text); }
  void kept_figure(const char* name, const MaybeFigure&) { add(name, ColumnKind::figure); }
  void kept_number(const char* name, const std::optional<double>&) { add(name, ColumnKind::real); }
  void shown_text(const char*, const std::string&, const std::string&) {}
  void shown_figure(const char*, const MaybeFigure&) {}
  void fixed(const char*, const std::string&) {}
};

class SqlBinder {
 public:
  // `next`: the first free parameter.
  SqlBinder(Statement& statement, int next) : statement_(statement), next_(next) {}

  void moment(const char*, UtcTime at, const TimeDoubt&) { time(at); }
  void interval(const char*, const char*, UtcTime at, const TimeDoubt& doubt) {
    for (const auto& bound : {doubt.earliest(at), doubt.latest(at)})
      bound ? time(*bound) : statement_.bind_null(next_++);
  }
  void figure(const char*, const MaybeFigure& f) {
    if (f.figure) {
      for (const double value : {f.figure->value, f.figure->low, f.figure->high, f.figure->scatter})
        statement_.bind(next_++, value);
      statement_.bind_null(next_++);
    } else {
      for (int k = 0; k < 4; ++k) statement_.bind_null(next_++);
      statement_.bind(next_++, std::string_view{f.why});
    }
  }
  void reading(const char* name, const std::optional<double>& value, const fields::Step& step) {
    figure(name, value ? MaybeFigure::known({*value, *value - step.below, *value + step.above,
                                             std::max(step.below, step.above)})
                       : MaybeFigure::unknown(step.why));
  }
  void soc(const char* name, const std::optional<double>& value, double step_pct) {
    reading(name, value, fields::soc_step(step_pct));
  }
  template <typename E>
  void word(const char*, E value) {
    statement_.bind(next_++, word_of(value));
  }
  void real(const char*, double value) {
    // Shares only: rounding of sums must not break the table's CHECK.
    statement_.bind(next_++, value > 0 ? std::min(value, 1.0) : 0.0);
  }
  void findings(const char*, const std::vector<Finding>& found) {
    statement_.bind(next_++, std::string_view{text_of(found)});
  }
  void when(const char*, const std::optional<UtcTime>& at, const char*) {
    if (at)
      statement_.bind(next_++, at->time_since_epoch().count());
    else
      statement_.bind_null(next_++);
  }
  void window(const char* name, const std::optional<double>& value, double step_pct) {
    soc(name, value, step_pct);
  }
  void number(const char*, const std::optional<double>& value, const char*) {
    if (value)
      statement_.bind(next_++, *value);
    else
      statement_.bind_null(next_++);
  }
  void whole(const char*, std::uint64_t value) {
    statement_.bind(next_++, static_cast<std::int64_t>(value));
  }
  void text(const char*, const std::string& value) {
    statement_.bind(next_++, std::string_view{value});
  }
  void yes_no(const char*, bool value) {
    statement_.bind(next_++, std::string_view{value ? "yes" : "no"});
  }
  void rejected(const char*, const std::vector<Rejected>& value) {
    statement_.bind(next_++, std::string_view{text_of(value)});
  }
  void curve(const char*, const std::vector<CurvePoint>& curve) {
    statement_.bind(next_++, std::string_view{text_of(curve)});
  }
  void kept_figure(const char* name, const MaybeFigure& f) { figure(name, f); }
  void kept_number(const char*, const std::optional<double>& value) {
    if (value)
      statement_.bind(next_++, *value);
    else
      statement_.bind_null(next_++);
  }
  void shown_text(const char*, const std::string&, const std::string&) {}
  void shown_figure(const char*, const MaybeFigure&) {}
  void fixed(const char*, const std::string&) {}

 private:
  void time(UtcTime at) { statement_.bind(next_++, std::int64_t{at.time_since_epoch().count()}); }

  Statement& statement_;
  int next_;
};

class SqlReader {
 public:
  explicit SqlReader(const Statement& statement) : statement_(statement) {}

  void moment(const char*, UtcTime& at, TimeDoubt&) {
    at = UtcTime{std::chrono::milliseconds{statement_.integer(next_++)}};
  }
  // Behind the moment that it is of.
  void interval(const char*, const char*, UtcTime at, TimeDoubt& doubt) {
    const std::int64_t said = at.time_since_epoch().count();
    doubt = {std::nullopt, std::nullopt};
    if (!statement_.is_null(next_)) doubt.too_late_ms = said - statement_.integer(next_);
    if (!statement_.is_null(next_ + 1)) doubt.too_early_ms = statement_.integer(next_ + 1) - said;
    next_ += 2;
  }
  void figure(const char*, MaybeFigure& f) {
    if (statement_.is_null(next_)) {
      f = MaybeFigure::unknown(statement_.text(next_ + 4));
    } else {
      f = MaybeFigure::known({statement_.real(next_), statement_.real(next_ + 1),
                              statement_.real(next_ + 2), statement_.real(next_ + 3)});
    }
    next_ += 5;
  }
  void reading(const char*, std::optional<double>& value, const fields::Step&) {
    value = statement_.real_or_none(next_);
    next_ += 5;
  }
  // The interval keeps the step.
  void soc(const char*, std::optional<double>& value, double& step_pct) {
    value = statement_.real_or_none(next_);
    if (value) step_pct = statement_.real(next_ + 2) - *value;
    next_ += 5;
  }
  template <typename E>
  void word(const char*, E& value) {
    const std::string text = statement_.text(next_++);
    for (int k = 0; k < fields::kValuesOf<E>; ++k)
      if (text == word_of(static_cast<E>(k))) value = static_cast<E>(k);
  }
  void real(const char*, double& value) { value = statement_.real(next_++); }
  void findings(const char*, std::vector<Finding>& found) {
    found = findings_of(statement_.text(next_++));
  }
  void when(const char*, std::optional<UtcTime>& at, const char*) {
    at.reset();
    if (!statement_.is_null(next_))
      at = UtcTime{std::chrono::milliseconds{statement_.integer(next_)}};
    ++next_;
  }
  void window(const char* name, std::optional<double>& value, double& step_pct) {
    soc(name, value, step_pct);
  }
  void number(const char*, std::optional<double>& value, const char*) {
    value = statement_.real_or_none(next_++);
  }
  template <typename N>
  void whole(const char*, N& value) {
    value = static_cast<N>(statement_.integer(next_++));
  }
  void text(const char*, std::string& value) { value = statement_.text(next_++); }
  void yes_no(const char*, bool& value) { value = statement_.text(next_++) == "yes"; }
  void rejected(const char*, std::vector<Rejected>& value) {
    value = rejected_of(statement_.text(next_++));
  }
  void curve(const char*, std::vector<CurvePoint>& curve) {
    curve = curve_of(statement_.text(next_++));
  }
  void kept_figure(const char* name, MaybeFigure& f) { figure(name, f); }
  void kept_number(const char*, std::optional<double>& value) {
    value = statement_.real_or_none(next_++);
  }
  void kept_number(const char*, double& value) {
    value = statement_.real_or_none(next_++).value_or(0);
  }
  void shown_text(const char*, const std::string&, const std::string&) {}
  void shown_figure(const char*, const MaybeFigure&) {}
  void fixed(const char*, const std::string&) {}

 private:
  const Statement& statement_;
  int next_ = 0;
};

}  // namespace packmile
