#include "cli/workbook.hpp"

#include <fmt/format.h>
#include <xlsxwriter.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "cli/render.hpp"
#include "cli/say.hpp"
#include "cli/table.hpp"
#include "notes/currency.hpp"

namespace packmile::cli {
namespace {

// A cell holds 32,767 characters (ECMA-376); fewer, so that the dots fit.
constexpr std::size_t kMostTextBytes = 32'000;
// In characters of the usual font; wider ones would push the rest off the screen.
constexpr double kLeastWidth = 9;
constexpr double kMostWidth = 60;
constexpr double kDateWidth = 19;
constexpr double kNumberWidth = 12;
// Above it a spreadsheet's number is no longer the whole number meant.
constexpr std::int64_t kMostExact = std::int64_t{1} << 53;

bool on_sheet(ColumnKind kind) {
  switch (kind) {
    case ColumnKind::text:
    case ColumnKind::day:
    case ColumnKind::time:
    case ColumnKind::real:
    case ColumnKind::count:
    case ColumnKind::figure:
    case ColumnKind::words:
      return true;
    case ColumnKind::swings:
    case ColumnKind::powers:
    case ColumnKind::differences:
    case ColumnKind::lost:
    case ColumnKind::questions:
    case ColumnKind::verdicts:
      return false;
  }
  return false;
}

bool has_part(std::string_view name, std::string_view part) {
  for (std::size_t at = name.find(part); at != std::string_view::npos;
       at = name.find(part, at + 1)) {
    const std::size_t past = at + part.size();
    if ((at == 0 || name[at - 1] == '_') && (past == name.size() || name[past] == '_')) return true;
  }
  return false;
}

bool is_money(std::string_view name) { return has_part(name, "cost") || has_part(name, "price"); }

std::string sheet_text(std::string_view text) {
  std::string clean = clean_text(text);
  if (clean.size() <= kMostTextBytes) return clean;
  std::size_t end = kMostTextBytes;
  while (end > 0 && (static_cast<unsigned char>(clean[end]) & 0xC0U) == 0x80U) --end;
  return clean.substr(0, end) + "...";
}

std::string words_text(const std::vector<std::string>& words) {
  return sheet_text(fmt::format("{}", fmt::join(words, " ")));
}

// The whole number at a place of the text; -1: none.
int number_in(std::string_view text, std::size_t from, std::size_t length) {
  int value = -1;
  if (text.size() >= from + length)
    std::from_chars(text.data() + from, text.data() + from + length, value);
  return value;
}

// Days since the spreadsheets' day 0 of 2026-03-01, with or without what stands behind
// it; absent before their calendar is the real one, and where it is no day.
std::optional<double> serial_of_date(std::string_view text) {
  using namespace std::chrono;
  const year_month_day date{year{number_in(text, 0, 4)},
                            month{static_cast<unsigned>(number_in(text, 5, 2))},
                            day{static_cast<unsigned>(number_in(text, 8, 2))}};
  constexpr sys_days kDay0 = year{1899} / 12 / 30;
  if (text.size() < 10 || text[4] != '-' || text[7] != '-' || !date.ok() ||
      date.year() < year{1901})
    return std::nullopt;
  return static_cast<double>((sys_days{date} - kDay0).count());
}

// Of 2026-03-01T18:30, as the clock on the wall has it.
bool is_time(std::string_view text) { return text.size() > 10 && text[10] == 'T'; }

double share_of_day(std::string_view text) {
  const auto part = [&](std::size_t from, std::size_t length) {
    return std::max(0, number_in(text, from, length));
  };
  return (((part(11, 2) * 60 + part(14, 2)) * 60 + part(17, 2)) * 1000 + part(20, 3)) / 86.4e6;
}

// The same of a moment, in the local time that `zone` shows.
std::optional<double> serial_of(UtcTime at, const Zone& zone) {
  const std::string iso = zone.iso(at);  // 2026-03-01T06:00:00.000+00:00
  const auto day = serial_of_date(iso);
  return day ? std::optional{*day + share_of_day(iso)} : std::nullopt;
}

bool any_time(const Rows& rows, std::size_t k) {
  return std::ranges::any_of(rows.rows, [&](const Row& row) {
    const auto* text = std::get_if<std::string>(&row[k].value);
    return text != nullptr && is_time(*text);
  });
}

// Enough places for four digits of the greatest number; the cell holds all.
std::string number_format(double greatest) {
  int places = 0;
  for (double limit = 1000; places < 6 && greatest < limit; limit /= 10) ++places;
  return places == 0 ? "0" : "0." + std::string(static_cast<std::size_t>(places), '0');
}

bool is_code(std::string_view currency) {
  return currency.size() == 3 && currency != "XXX" &&
         std::ranges::all_of(currency, [](char c) { return c >= 'A' && c <= 'Z'; });
}

// In the depot's currency; money by the mile needs parts of a penny.
std::string money_format(std::string_view name, const std::string& currency) {
  const int digits = minor_digits(currency) + (has_part(name, "per") ? 2 : 0);
  const std::string places =
      digits == 0 ? "#,##0" : "#,##0." + std::string(static_cast<std::size_t>(digits), '0');
  return is_code(currency) ? "[$" + currency + "] " + places : places;
}

double greatest_in(const Rows& rows, std::size_t k) {
  double greatest = 0;
  const auto see = [&](double value) {
    if (std::isfinite(value)) greatest = std::max(greatest, std::fabs(value));
  };
  for (const Row& row : rows.rows) {
    if (const auto* value = std::get_if<double>(&row[k].value)) see(*value);
    if (const auto* f = std::get_if<Figure>(&row[k].value)) {
      for (const double value : {f->value, f->low, f->high}) see(value);
    }
  }
  return greatest;
}

double text_width(const Rows& rows, std::size_t k) {
  std::size_t width = 0;
  for (const Row& row : rows.rows) {
    if (const auto* text = std::get_if<std::string>(&row[k].value))
      width = std::max(width, width_of(clean_text(*text)));
    if (const auto* words = std::get_if<std::vector<std::string>>(&row[k].value))
      width = std::max(width, width_of(words_text(*words)));
  }
  return static_cast<double>(width);
}

bool any_unknown(const Rows& rows, std::size_t k) {
  return std::ranges::any_of(rows.rows, [&](const Row& row) { return !row[k].known(); });
}

std::string currency_of(const Rows& rows) {
  const std::size_t k = rows.column_of("currency");
  if (k == rows.columns.size()) return {};
  for (const Row& row : rows.rows)
    if (const auto* text = std::get_if<std::string>(&row[k].value)) return *text;
  return {};
}

// What the columns of a sheet look like, known before its first row.
struct SheetLook {
  struct OfColumn {
    double greatest = NAN;  // of its numbers; none: as the spreadsheet shows them
    double text_width = 0;
    bool why = false;   // some cell is unknown
    bool time = false;  // of a column of days: some cell is a moment
  };
  std::vector<OfColumn> columns;
  std::string currency;
};

SheetLook look_of(const Rows& rows) {
  SheetLook out;
  out.currency = currency_of(rows);
  for (std::size_t k = 0; k < rows.columns.size(); ++k)
    out.columns.push_back(
        {greatest_in(rows, k), text_width(rows, k), any_unknown(rows, k), any_time(rows, k)});
  return out;
}

// Of rows that come one by one: whatever may be unknown has its reasons.
SheetLook look_of(const std::vector<Column>& columns) {
  SheetLook out;
  out.columns.resize(columns.size());
  for (SheetLook::OfColumn& column : out.columns) column.why = true;
  return out;
}

class SheetWriter {
 public:
  SheetWriter(lxw_workbook* book, lxw_worksheet* sheet, const std::vector<Column>& columns,
              SheetLook look, const Zone& zone)
      : book_(book), sheet_(sheet), columns_(columns), look_(std::move(look)), zone_(zone) {
    heading_ = workbook_add_format(book);
    format_set_bold(heading_);
    format_set_bottom(heading_, LXW_BORDER_THIN);
    date_ = workbook_add_format(book);
    format_set_num_format(date_, "yyyy-mm-dd hh:mm:ss");
    day_ = workbook_add_format(book);
    format_set_num_format(day_, "yyyy-mm-dd");
  }

  // Once, before the first row.
  void begin() { write_headings(); }
  void add(const Row& row) {
    ++row_;
    column_ = 0;
    for (std::size_t k = 0; k < columns_.size(); ++k)
      if (on_sheet(columns_[k].kind)) write_cell(row[k], shown_[k]);
  }
  [[nodiscard]] bool good() const { return error_ == LXW_NO_ERROR; }
  [[nodiscard]] std::size_t rows() const { return row_; }
  lxw_error finish() {
    if (column_count_ > 0) {
      worksheet_freeze_panes(sheet_, 1, 0);
      worksheet_autofilter(sheet_, 0, 0, row_, static_cast<lxw_col_t>(column_count_ - 1));
    }
    return error_;
  }

 private:
  struct Shown {
    lxw_format* format = nullptr;
    bool figure = false;
    bool day = false;
    bool why = false;
  };

  void write_headings() {
    const std::string& currency = look_.currency;
    shown_.resize(columns_.size());
    for (std::size_t k = 0; k < columns_.size(); ++k) {
      const Column& column = columns_[k];
      const SheetLook::OfColumn& look = look_.columns[k];
      if (!on_sheet(column.kind)) continue;
      Shown& shown = shown_[k];
      shown.figure = column.kind == ColumnKind::figure;
      shown.day = column.kind == ColumnKind::day;
      shown.why = (shown.figure || column.may_be_unknown) && look.why;
      if ((shown.figure || column.kind == ColumnKind::real) && !std::isnan(look.greatest)) {
        shown.format = workbook_add_format(book_);
        format_set_num_format(shown.format,
                              (is_money(column.name) ? money_format(column.name, currency)
                                                     : number_format(look.greatest))
                                  .c_str());
      }
      const bool money = shown.format != nullptr && is_money(column.name) && is_code(currency);
      const bool time = column.kind == ColumnKind::time || (shown.day && look.time);
      const std::string unit = time    ? " (" + zone_.name() + ")"
                               : money ? " (" + currency + ")"
                                       : "";
      const double width =
          column.kind == ColumnKind::time || column.kind == ColumnKind::day ? kDateWidth
          : shown.format != nullptr || column.kind == ColumnKind::count     ? kNumberWidth
                                                                            : look.text_width;
      add_heading(column.name + unit, width);
      if (shown.figure)
        for (const char* end : {"_low", "_high", "_scatter"})
          add_heading(column.name + end + unit, kNumberWidth);
      if (shown.why) add_heading(column.name + "_why", kMostWidth);
    }
    column_count_ = column_;
  }

  void add_heading(const std::string& text, double width) {
    // Two more for the button of the filter.
    const double fits =
        std::clamp(std::max(width, static_cast<double>(text.size()) + 2), kLeastWidth, kMostWidth);
    keep(worksheet_set_column(sheet_, column_, column_, fits, nullptr));
    keep(worksheet_write_string(sheet_, 0, column_++, text.c_str(), heading_));
  }

  void write_cell(const Cell& cell, const Shown& shown) {
    std::visit([&](const auto& value) { write_value(value, shown); }, cell.value);
    ++column_;
    if (shown.figure) {
      const auto* f = std::get_if<Figure>(&cell.value);
      for (const double value : {f ? f->low : NAN, f ? f->high : NAN, f ? f->scatter : NAN}) {
        write_number(value, shown.format);
        ++column_;
      }
    }
    if (!shown.why) return;
    if (!cell.known()) write_text(sheet_text(cell.why));
    ++column_;
  }

  void write_value(double value, const Shown& shown) { write_number(value, shown.format); }
  void write_value(const Figure& f, const Shown& shown) { write_number(f.value, shown.format); }
  void write_value(std::int64_t value, const Shown&) {
    if (value > kMostExact || value < -kMostExact)
      write_text(fmt::format("{}", value));
    else
      write_number(static_cast<double>(value), nullptr);
  }
  void write_value(const std::string& text, const Shown& shown) {
    const auto day = shown.day ? serial_of_date(text) : std::nullopt;
    if (day && is_time(text))
      write_number(*day + share_of_day(text), date_);
    else if (day && text.size() == 10)
      write_number(*day, day_);
    else
      write_text(sheet_text(text));
  }
  void write_value(const std::vector<std::string>& words, const Shown&) {
    write_text(words_text(words));
  }
  void write_value(UtcTime at, const Shown&) {
    if (const auto serial = serial_of(at, zone_))
      write_number(*serial, date_);
    else
      write_text(zone_.iso(at));
  }
  // Nothing, and lists that only JSON shows.
  template <typename T>
  void write_value(const T&, const Shown&) {}

  void write_number(double value, lxw_format* format) {
    if (std::isfinite(value)) keep(worksheet_write_number(sheet_, row_, column_, value, format));
  }
  void write_text(const std::string& text) {
    if (!text.empty()) keep(worksheet_write_string(sheet_, row_, column_, text.c_str(), nullptr));
  }
  void keep(lxw_error error) {
    if (error_ == LXW_NO_ERROR) error_ = error;
  }

  lxw_workbook* book_;
  lxw_worksheet* sheet_;
  const std::vector<Column>& columns_;
  SheetLook look_;
  const Zone& zone_;
  lxw_format* heading_ = nullptr;
  lxw_format* date_ = nullptr;
  lxw_format* day_ = nullptr;
  std::vector<Shown> shown_;  // by column
  lxw_row_t row_ = 0;
  lxw_col_t column_ = 0;
  lxw_col_t column_count_ = 0;
  lxw_error error_ = LXW_NO_ERROR;
};

}  // namespace

Result<Workbook> Workbook::begin(Output& out) {
  if (out.temporary().empty())
    return Error{"a spreadsheet goes into a file only", out.file(), "name one with -o FILE"};
  lxw_workbook_options options{};
  options.constant_memory = LXW_TRUE;
  lxw_workbook* book = workbook_new_opt(out.temporary().c_str(), &options);
  if (book == nullptr) return Error{"no memory for a spreadsheet", out.file(), {}};
  return Workbook{book, out.file()};
}

Workbook::Workbook(Workbook&& other) noexcept
    : book_(std::exchange(other.book_, nullptr)), file_(std::move(other.file_)) {}

Workbook::~Workbook() {
  // The library has no way to give up but to write: beside the file, where Output
  // removes it.
  if (book_ != nullptr) (void)workbook_close(book_);
}

Result<Done> Workbook::add_sheet(std::string_view name, const Rows& rows, const Zone& zone) {
  if (rows.rows.size() > kMostSheetRows)
    return Error{
        fmt::format("{} rows are more than a sheet holds ({})", rows.rows.size(), kMostSheetRows),
        file_, "ask for fewer (--van, --from, --to), or for --format csv"};
  auto sheet = new_sheet(name);
  if (!sheet) return sheet.error();
  SheetWriter writer{book_, *sheet, rows.columns, look_of(rows), zone};
  writer.begin();
  for (const Row& row : rows.rows) {
    if (!writer.good()) break;
    writer.add(row);
  }
  return written(writer.finish());
}

Result<Done> Workbook::stream_sheet(
    std::string_view name, const std::vector<Column>& columns, const Zone& zone,
    const std::function<void(const std::function<bool(const Row&)>&)>& fill) {
  auto sheet = new_sheet(name);
  if (!sheet) return sheet.error();
  SheetWriter writer{book_, *sheet, columns, look_of(columns), zone};
  writer.begin();
  bool full = false;
  fill([&](const Row& row) {
    full = writer.rows() == kMostSheetRows;
    if (full || !writer.good()) return false;
    writer.add(row);
    return true;
  });
  if (full)
    return Error{fmt::format("there are more rows than a sheet holds ({})", kMostSheetRows), file_,
                 "ask for fewer, or for --format csv"};
  return written(writer.finish());
}

Result<lxw_worksheet*> Workbook::new_sheet(std::string_view name) {
  lxw_worksheet* sheet = workbook_add_worksheet(book_, std::string{name}.c_str());
  if (sheet == nullptr)
    return Error{"the sheet " + std::string{name} + " cannot be added", file_,
                 "is there room for temporary files in /tmp?"};
  return sheet;
}

Result<Done> Workbook::written(int error) const {
  if (error == LXW_NO_ERROR) return Done{};
  return Error{std::string{"cannot be written: "} + lxw_strerror(static_cast<lxw_error>(error)),
               file_, "is the disk full, or /tmp?"};
}

Result<Done> Workbook::finish() { return written(workbook_close(std::exchange(book_, nullptr))); }

Result<Done> write_xlsx(Output& out, std::string_view sheet, const Rows& rows, const Zone& zone) {
  auto book = Workbook::begin(out);
  if (!book) return book.error();
  if (auto added = book->add_sheet(sheet, rows, zone); !added) return added;
  return book->finish();
}

}  // namespace packmile::cli
