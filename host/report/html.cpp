#include "report/html.hpp"

#include "report/safe_text.hpp"

namespace packmile::report {
namespace {

std::string begin_of(std::string_view tag, const Attributes& attributes) {
  std::string out = "<" + std::string{tag};
  for (const auto& [name, value] : attributes) {
    out += " " + std::string{name};
    if (!value.empty()) out += "=\"" + html_escaped(value) + "\"";
  }
  return out + ">";
}

bool is_block(std::string_view tag) {
  for (const std::string_view one : {"section", "figure", "table", "tr", "thead", "tbody", "main",
                                     "div", "details", "form", "ul", "header", "footer", "head"})
    if (tag == one) return true;
  return false;
}

}  // namespace

Html& Html::open(std::string_view tag, const Attributes& attributes) {
  out_ += begin_of(tag, attributes);
  if (is_block(tag)) out_ += '\n';
  open_.emplace_back(tag);
  return *this;
}

Html& Html::close() {
  out_ += "</" + open_.back() + ">";
  if (is_block(open_.back())) out_ += '\n';
  open_.pop_back();
  return *this;
}

Html& Html::text(std::string_view text) {
  out_ += html_escaped(text);
  return *this;
}

Html& Html::raw(std::string_view html) {
  out_ += html;
  return *this;
}

Html& Html::leaf(std::string_view tag, std::string_view text, const Attributes& attributes) {
  out_ += begin_of(tag, attributes) + html_escaped(text) + "</" + std::string{tag} + ">\n";
  return *this;
}

Html& Html::lone(std::string_view tag, const Attributes& attributes) {
  out_ += begin_of(tag, attributes) + "\n";
  return *this;
}

std::string Html::finish() {
  while (!open_.empty()) close();
  return std::move(out_);
}

void write_table(Html& html, const DataTable& table) {
  html.open("table");
  html.leaf("caption", table.caption);
  html.open("thead").open("tr");
  const auto numbers = [&](std::size_t k) {
    return k < table.head.size() && table.head[k].number ? Attributes{{"class", "number"}}
                                                         : Attributes{};
  };
  for (std::size_t k = 0; k < table.head.size(); ++k) {
    Attributes attributes = numbers(k);
    attributes.insert(attributes.begin(), {"scope", "col"});
    html.leaf("th", table.head[k].title, attributes);
  }
  html.close().close().open("tbody");
  for (const TableLine& line : table.lines) {
    Attributes of_line;
    if (!line.at.empty()) of_line.emplace_back("data-at", line.at);
    if (!line.van.empty()) of_line.emplace_back("data-van", line.van);
    html.open("tr", of_line);
    for (std::size_t k = 0; k < line.cells.size(); ++k) {
      Attributes attributes = numbers(k);
      if (k == 0) attributes.insert(attributes.begin(), {"scope", "row"});
      html.leaf(k == 0 ? "th" : "td", line.cells[k], attributes);
    }
    html.close();
  }
  html.close().close();
}

}  // namespace packmile::report
