#include "report/html.hpp"

#include <doctest/doctest.h>

#include "report/chart.hpp"
#include "report/safe_text.hpp"

using namespace packmile;
using namespace packmile::report;

// Source: HTML5, the letters that mean something in text and in quoted attributes.
TEST_CASE("report html: text and attributes are escaped") {
  Html html;
  html.open("p", {{"data-van", "\"><script>"}}).text("<script>alert('&')</script>").close();
  CHECK(html.finish() ==
        "<p data-van=\"&quot;&gt;&lt;script&gt;\">&lt;script&gt;alert(&#39;&amp;&#39;)"
        "&lt;/script&gt;</p>");
}

// No source: whatever is open is closed, the innermost first.
TEST_CASE("report html: what is open is closed") {
  Html html;
  html.open("b").open("i").text("x");
  CHECK(html.finish() == "<b><i>x</i></b>");
}

// No source: first cells head their lines, numbers stand right.
TEST_CASE("report html: a table has a caption, scopes and its period") {
  Html html;
  write_table(html, {"sums", {{"month"}, {"kWh", true}}, {{"2026-03", "a<b", {"March", "1.5"}}}});
  const std::string text = html.finish();
  CHECK(text.find("<caption>sums</caption>") != text.npos);
  CHECK(text.find("<th scope=\"col\" class=\"number\">kWh</th>") != text.npos);
  CHECK(text.find("<tr data-at=\"2026-03\" data-van=\"a&lt;b\">") != text.npos);
  CHECK(text.find("<th scope=\"row\">March</th>") != text.npos);
  CHECK(text.find("<td class=\"number\">1.5</td>") != text.npos);
}

// Source: RFC 8259 (quotes and backslashes), HTML5 8.1.3 (nothing in a script element
// may begin "</script"); U+2028 is a line end to JavaScript.
TEST_CASE("report chart: no text ends the script that holds it") {
  CHECK(json_text("a\"b\\c") == "\"a\\\"b\\\\c\"");
  CHECK(json_text("</script><b>") == "\"\\u003c/script>\\u003cb>\"");
  CHECK(json_text("a\xE2\x80\xA8"
                  "b\n") == "\"a?b?\"");
}

// No source.
TEST_CASE("report chart: points, lines and axes become one object") {
  Chart chart;
  chart.van = "Rowan";
  chart.says = "It fell.";
  chart.x_label = "month";
  chart.y_label = "Ah";
  chart.points.push_back(point_of(std::string{"2026-03"}, {150, 147, 153, 1}));
  chart.points.back().note = "5 charges";
  chart.lines.push_back({"expected", {{std::string{"2026-03"}, 151.5}}});
  CHECK(chart_json({{"k", chart}}) ==
        "{\"k\":{\"kind\":\"ranges\",\"van\":\"Rowan\",\"says\":\"It fell.\",\"x\":{\"label\":"
        "\"month\",\"type\":\"time\"},\"y\":{\"label\":\"Ah\",\"from_zero\":false},\"points\":[{"
        "\"x\":\"2026-03\",\"y\":150,\"low\":147,\"high\":153,\"scatter_low\":149,"
        "\"scatter_high\":151,\"note\":\"5 charges\"}],\"lines\":[{\"name\":\"expected\",\"at\":["
        "[\"2026-03\",151.5]]}]}}");
}
