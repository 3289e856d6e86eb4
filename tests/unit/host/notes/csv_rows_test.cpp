#include "notes/csv_rows.hpp"

#include <doctest/doctest.h>

#include <sstream>

using namespace packmile;

namespace {

// "[a@1:1|b@1:3]" a row, and what was wrong.
std::string rows_of(std::string_view text) {
  std::ostringstream out;
  const auto trouble = read_csv(text, [&](CsvRow&& row) {
    out << '[';
    for (const CsvField& field : row.fields)
      out << (&field == row.fields.data() ? "" : "|") << field.text << '@' << field.at.line << ':'
          << field.at.column;
    out << ']';
    return true;
  });
  if (trouble) out << trouble->at.line << ':' << trouble->at.column << ": " << trouble->what;
  return out.str();
}

}  // namespace

TEST_CASE("csv rows: every field has its line and column, in letters") {
  CHECK(rows_of("a,b\nc,,d\n") == "[a@1:1|b@1:3][c@2:1|@2:3|d@2:4]");
  CHECK(rows_of("a,\n,b") == "[a@1:1|@1:3][@2:1|b@2:2]");
  CHECK(rows_of("\xC3\xA9t\xC3\xA9,b\n") == "[\xC3\xA9t\xC3\xA9@1:1|b@1:5]");
  // A field in quotes begins with its quote; lines inside it count.
  CHECK(rows_of("\"a,b\",c\n") == "[a,b@1:1|c@1:7]");
  CHECK(rows_of("\"a\nb\",c\nd,e\n") == "[a\nb@1:1|c@2:4][d@3:1|e@3:3]");
  CHECK(rows_of("  a , b\n") == "[a@1:3|b@1:7]");
}

TEST_CASE("csv rows: line ends of every kind, empty lines and a byte order mark") {
  CHECK(rows_of("a,b\r\nc,d\r\n") == "[a@1:1|b@1:3][c@2:1|d@2:3]");
  CHECK(rows_of("a\rb\r") == "[a@1:1][b@2:1]");
  CHECK(rows_of("\n\na\n   \n\nb\n") == "[a@3:1][b@6:1]");
  CHECK(rows_of("\xEF\xBB\xBF"
                "a,b\n") == "[a@1:1|b@1:3]");
  CHECK(rows_of("") == "");
}

// Source: RFC 4180, section 2, rules 5 to 7.
TEST_CASE("csv rows: quotes") {
  CHECK(rows_of("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx") ==
        "[aaa@1:1|b\r\nbb@1:7|ccc@2:5][zzz@3:1|yyy@3:5|xxx@3:9]");
  CHECK(rows_of("\"a\"\"b\"\n") == "[a\"b@1:1]");
  CHECK(rows_of("\"\",x\n") == "[@1:1|x@1:4]");
}

TEST_CASE("csv rows: what is no CSV is told with its place, after the rows before it") {
  CHECK(rows_of("a,b\nc,d\"e\n") == "[a@1:1|b@1:3]2:4: a quote stands where none may");
  CHECK(rows_of("a\nb,\"c\nd") == "[a@1:1]2:3: a quote is opened and never closed");
  CHECK(rows_of("a\nb\xFF") == "[a@1:1]2:2: is not UTF-8 from here on");
  // A surrogate, and UTF-16 as some programs save it.
  CHECK(rows_of("\xED\xA0\x80") == "1:1: is not UTF-8 from here on");
  CHECK(rows_of("\xFF\xFE"
                "a") == "1:1: is not UTF-8 from here on");
  CHECK(rows_of(std::string_view{"a\0b", 3}) == "1:2: a control character stands here");
  CHECK(rows_of(std::string(kMostCsvFields, ',')) == "1:65: more than 64 fields in one line");
}

TEST_CASE("csv rows: the bytes of a row are known") {
  const std::string text =
      "\xEF\xBB\xBF"
      "a,b\r\n\n\"c\nd\",e";
  std::string bytes;
  CHECK_FALSE(read_csv(text, [&](CsvRow&& row) {
    bytes += '<' + text.substr(row.begin, row.end - row.begin) + '>';
    return true;
  }));
  CHECK(bytes == "<a,b><\"c\nd\",e>");
}

TEST_CASE("csv rows: a reader that has enough gets no more") {
  int rows = 0;
  CHECK_FALSE(read_csv("a\nb\nc\"d\n", [&](CsvRow&&) { return ++rows < 2; }));
  CHECK(rows == 2);
}

TEST_CASE("csv rows: what is written is read back the same") {
  for (const char* text :
       {"", "a", "a,b", "a\"b", "\"", " a", "a ", "a\nb", "a\r\nb", "\t", "=1"}) {
    CAPTURE(text);
    std::string back = "nothing";
    CHECK_FALSE(read_csv(csv_quoted(text) + ",x\n", [&](CsvRow&& row) {
      back = row.fields.front().text;
      return true;
    }));
    CHECK(back == text);
  }
  CHECK(csv_quoted("plain") == "plain");
}
