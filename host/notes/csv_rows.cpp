#include "notes/csv_rows.hpp"

#include <csv.h>

#include <utility>

#include "utf8.hpp"

namespace packmile {
namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

// libcsv does not say where it is: it gets one byte at a time, and this keeps the
// place of each field's first one.
class RowReader {
 public:
  RowReader(std::string_view text, const std::function<bool(CsvRow&&)>& take)
      : text_(text), take_(take) {}

  std::optional<CsvTrouble> read() {
    csv_parser parser;
    if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI) != 0)
      return CsvTrouble{"no memory for the CSV reader", {}, {}};
    if (text_.starts_with(kByteOrderMark)) at_ = kByteOrderMark.size();
    std::size_t whole = at_;  // up to here the text is known to be UTF-8
    while (at_ < text_.size() && !trouble_ && !enough_) {
      if (at_ == whole) {
        const std::size_t bytes = look_at_letter();
        if (bytes == 0) break;
        whole += bytes;
      }
      feed(parser);
    }
    if (!trouble_ && !enough_ && csv_fini(&parser, on_field, on_row, this) != 0)
      trouble_ = {"a quote is opened and never closed", kQuoteHint, field_at_};
    csv_free(&parser);
    return std::move(trouble_);
  }

 private:
  static constexpr const char* kQuoteHint =
      "put the whole field into quotes, and write each quote inside it twice";

  // Bytes of the letter here; 0 when it is none that a text may hold.
  std::size_t look_at_letter() {
    const CodePoint letter = decode_utf8(text_.substr(at_));
    if (letter.bytes == 0) {
      trouble_ = {"is not UTF-8 from here on", "save the file as CSV in UTF-8", place_};
      return 0;
    }
    const bool control = letter.value < 0x20 || letter.value == 0x7F;
    if (control && letter.value != '\t' && letter.value != '\n' && letter.value != '\r') {
      trouble_ = {"a control character stands here", "save the file as CSV in UTF-8", place_};
      return 0;
    }
    return letter.bytes;
  }

  void feed(csv_parser& parser) {
    const char c = text_[at_];
    const bool line_end = c == '\n' || c == '\r';
    if (!row_open_ && !line_end) {
      row_open_ = true;
      row_.at = place_;
      row_.begin = at_;
    }
    if (!field_open_ && c != ' ' && c != '\t' && !line_end) {
      // A comma here closes a field that has nothing in it.
      field_open_ = c != ',';
      field_at_ = place_;
    }
    if (csv_parse(&parser, &c, 1, on_field, on_row, this) != 1 && !trouble_)
      trouble_ = {"a quote stands where none may", kQuoteHint, place_};
    // Nothing but spaces: no row.
    if (line_end && row_.fields.empty() && !field_open_) row_open_ = false;
    step(c);
  }

  void step(char c) {
    if (c == '\r' || (c == '\n' && before_ != '\r')) {
      ++place_.line;
      place_.column = 1;
    } else if (c != '\n' && (static_cast<unsigned char>(c) & 0xC0) != 0x80) {
      ++place_.column;
    }
    before_ = c;
    ++at_;
  }

  static void on_field(void* text, std::size_t length, void* reader) {
    static_cast<RowReader*>(reader)->take_field({static_cast<const char*>(text), length});
  }
  static void on_row(int, void* reader) { static_cast<RowReader*>(reader)->take_row(); }

  // Called through C: nothing may be thrown but for want of memory, which ends
  // the program anyway.
  void take_field(std::string_view text) {
    if (trouble_) return;
    const CsvPlace at = field_open_ ? field_at_ : place_;
    field_open_ = false;
    if (row_.fields.size() == kMostCsvFields) {
      trouble_ = {"more than " + std::to_string(kMostCsvFields) + " fields in one line",
                  "fields are separated by commas, lines by line ends", at};
      return;
    }
    row_.fields.push_back({std::string{text}, at});
  }

  void take_row() {
    CsvRow row = std::exchange(row_, {});
    row.end = at_;
    row_open_ = false;
    field_open_ = false;
    if (!trouble_ && !enough_ && !row.fields.empty()) enough_ = !take_(std::move(row));
  }

  std::string_view text_;
  const std::function<bool(CsvRow&&)>& take_;
  std::optional<CsvTrouble> trouble_;
  bool enough_ = false;
  CsvRow row_;
  bool row_open_ = false;
  bool field_open_ = false;
  CsvPlace place_;
  CsvPlace field_at_;
  char before_ = 0;
  std::size_t at_ = 0;
};

}  // namespace

std::optional<CsvTrouble> read_csv(std::string_view text,
                                   const std::function<bool(CsvRow&&)>& take) {
  return RowReader{text, take}.read();
}

std::string csv_quoted(std::string_view text) {
  const bool spaces = !text.empty() && (text.front() == ' ' || text.front() == '\t' ||
                                        text.back() == ' ' || text.back() == '\t');
  if (!spaces && text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string{text};
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + '"';
}

}  // namespace packmile
