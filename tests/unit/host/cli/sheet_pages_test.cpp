#include "cli/sheet_pages.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <sstream>

#include "cli/table.hpp"
#include "report/safe_text.hpp"

using namespace packmile;
using namespace packmile::cli;

namespace {

SheetVan full(const std::string& name) {
  SheetVan van;
  van.van = name;
  van.odometer = {"124850.5 mi", "2026-03-02", {}};
  van.meter = {"99999999.9 kWh", "2026-03-02", {}};
  for (SheetValue& tread : van.treads) tread = {"12.25 mm", "2026-03-02", {}};
  for (SheetValue& pad : van.pads) pad = {"12.25 mm", "2026-03-02", {}};
  for (int k = 0; k < 5; ++k)
    van.fluids.push_back({"fluid " + std::to_string(k), {"renewed", "2024-03-02", {}}});
  return van;
}

std::size_t count(const std::string& text, const std::string& word) {
  std::size_t out = 0;
  for (auto at = text.find(word); at != std::string::npos; at = text.find(word, at + 1)) ++out;
  return out;
}

}  // namespace

TEST_CASE("sheet pages: eight vans with all that can be known fill one page of text") {
  for (const std::size_t vans : {1u, 8u, 9u, 16u, 17u}) {
    CAPTURE(vans);
    const std::string long_name(64, 'w');
    const std::string text = sheet_text(std::vector<SheetVan>(vans, full(long_name)));
    std::istringstream pages{text};
    std::size_t seen = 0;
    for (std::string page; std::getline(pages, page, '\f'); ++seen) {
      CHECK(std::ranges::count(page, '\n') <= static_cast<int>(kSheetLinesAPage));
      CHECK(page.find("Orange") != std::string::npos);
      std::istringstream lines{page};
      for (std::string line; std::getline(lines, line);) {
        CAPTURE(line);
        CHECK(width_of(line) <= kSheetColumns);
      }
    }
    CHECK(seen == (vans + 7) / 8);
    // Nothing that was measured is cut: the days are whole.
    CHECK(count(text, "12.25 mm 2026-03-02") == vans * 6);
    CHECK(count(text, "124850.5 mi 2026-03-02") == vans);
  }
}

TEST_CASE("sheet pages: names in every script are cut between letters") {
  std::string name;
  for (int k = 0; k < 21; ++k) name += "\xE8\xBB\x8A";  // two columns each
  SheetVan van = full(name);
  for (SheetValue& tread : van.treads) tread = {name, "2026-03-02", {}};
  std::istringstream lines{sheet_text(std::vector<SheetVan>{van})};
  for (std::string line; std::getline(lines, line);) {
    CAPTURE(line);
    CHECK(width_of(line) <= kSheetColumns);
    CHECK(line.find('?') == std::string::npos);
  }
}

TEST_CASE("sheet pages: HTML has a page for eight vans, needs nothing from outside, and escapes") {
  SheetVan van = full("<b onload='x()'>&\"\x1b[31m");
  van.fluids = {{"</td><script>", {"renewed", "2024-03-02", {}}}};
  const std::string html = sheet_html(std::vector<SheetVan>(9, van));
  CHECK(count(html, "<section>") == 2);
  CHECK(count(html, "<tr><th>&lt;b onload=&#39;x()&#39;&gt;&amp;&quot;?[31m</th>") == 9);
  CHECK(count(html, "&lt;/td&gt;&lt;script&gt; <span>2024-03-02</span>") == 9);
  for (const char* word : {"<script", "onload='", "\x1b", "http", "src=", "href", "url("}) {
    CAPTURE(word);
    CHECK(html.find(word) == std::string::npos);
  }
  // Black and white: no other colour is named.
  CHECK(count(html, "#") == count(html, "#000") + count(html, "#fff") + count(html, "&#39;"));
  CHECK(count(html, "axle stands") == 2);
  CHECK(html_escaped("a<b>&'\"\n") == "a&lt;b&gt;&amp;&#39;&quot;?");
}
