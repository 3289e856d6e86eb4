#include <nlohmann/json.hpp>

#include "cli/render.hpp"

namespace packmile::cli {
namespace {

using Json = nlohmann::ordered_json;

Json object_of(const std::vector<Column>& columns, const Row& row, const Zone& zone);

struct Writer {
  const Zone& zone;

  Json operator()(std::monostate) const { return nullptr; }
  Json operator()(const std::string& text) const { return text; }
  Json operator()(UtcTime at) const { return zone.iso(at); }
  Json operator()(double value) const { return value; }
  Json operator()(std::int64_t value) const { return value; }
  Json operator()(const Figure& f) const { return f.value; }
  Json operator()(const std::vector<std::string>& words) const { return words; }
  Json operator()(const std::vector<SwingCount>& swings) const {
    Json out = Json::array();
    for (const SwingCount& swing : swings)
      out.push_back({{"depth_pct", swing.depth_pct}, {"count", swing.count}});
    return out;
  }
  Json operator()(const std::vector<ChargePower>& powers) const {
    Json out = Json::array();
    for (const ChargePower& power : powers) {
      Json one = {{"kind", power.kind}, {"from_kw", power.from_kw}};
      one["to_kw"] = power.to_kw ? Json(*power.to_kw) : Json(nullptr);
      if (!power.to_kw) one["to_kw_why"] = "the last band has no end";
      one["hours"] = power.hours;
      out.push_back(std::move(one));
    }
    return out;
  }
  Json operator()(const std::vector<VanDifference>& differences) const {
    Json out = Json::array();
    for (const VanDifference& difference : differences) {
      const Figure& f = difference.kwh_per_mile;
      Json one = {
          {"other", difference.other},         {"kwh_per_mile", f.value},
          {"kwh_per_mile_low", f.low},         {"kwh_per_mile_high", f.high},
          {"kwh_per_mile_scatter", f.scatter}, {"decided", difference.decided ? "yes" : "no"}};
      one["more_days"] = difference.more_days ? Json(*difference.more_days) : Json(nullptr);
      if (!difference.more_days) one["more_days_why"] = difference.more_days_why;
      out.push_back(std::move(one));
    }
    return out;
  }
  Json operator()(const std::vector<LostStretch>& stretches) const {
    Json out = Json::array();
    for (const LostStretch& lost : stretches) {
      Json one = Json::object();
      one["from"] = lost.from ? Json(zone.iso(*lost.from)) : Json(nullptr);
      if (!lost.from) one["from_why"] = "nothing before it was read";
      one["to"] = lost.to ? Json(zone.iso(*lost.to)) : Json(nullptr);
      if (!lost.to) one["to_why"] = "no sample behind it was read";
      one["sectors"] = lost.sectors;
      one["why"] = word_of(lost.why);
      out.push_back(std::move(one));
    }
    return out;
  }
  Json operator()(const std::vector<Verdict>& verdicts) const {
    Json out = Json::array();
    for (const Verdict& verdict : verdicts)
      out.push_back(object_of(verdict_columns(), row_of(verdict), zone));
    return out;
  }
  Json operator()(const std::vector<OwnersQuestion>& questions) const {
    constexpr char kNotAnswered[] = "the van answers nothing towards it";
    Json out = Json::array();
    for (const OwnersQuestion& q : questions) {
      Json one = Json::object();
      one["question"] = q.question;
      one["answered"] = q.answered;
      one["family"] = q.family.empty() ? Json(nullptr) : Json(q.family);
      if (q.family.empty()) one["family_why"] = kNotAnswered;
      one["signals"] = q.signals;
      const char* const why = q.family.empty() ? kNotAnswered : "it was answered less than twice";
      one["period_ms"] = q.period_ms ? Json(*q.period_ms) : Json(nullptr);
      if (!q.period_ms) one["period_ms_why"] = why;
      one["share"] = q.share ? Json(*q.share) : Json(nullptr);
      if (!q.share) one["share_why"] = why;
      one["missing"] = q.missing;
      one["how"] = q.how;
      out.push_back(std::move(one));
    }
    return out;
  }
};

// Text from cards need not be UTF-8, and must not throw.
std::string dumped(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Json object_of(const std::vector<Column>& columns, const Row& row, const Zone& zone) {
  Json out = Json::object();
  for (std::size_t k = 0; k < columns.size(); ++k) {
    const Column& column = columns[k];
    const Cell& cell = row[k];
    out[column.name] = std::visit(Writer{zone}, cell.value);
    if (column.kind == ColumnKind::figure) {
      const auto* f = std::get_if<Figure>(&cell.value);
      out[column.name + "_low"] = f ? Json(f->low) : Json(nullptr);
      out[column.name + "_high"] = f ? Json(f->high) : Json(nullptr);
      out[column.name + "_scatter"] = f ? Json(f->scatter) : Json(nullptr);
    }
    if (!cell.known()) out[column.name + "_why"] = cell.why;
  }
  return out;
}

}  // namespace

void write_json(Output& out, std::string_view command, const Rows& rows, const Zone& zone) {
  // Row by row, so that a fleet's year is not held twice.
  out.write("{\"schema_version\": " + std::to_string(kSchemaVersion) +
            ", \"command\": " + dumped(std::string{command}) + ", \"rows\": [");
  bool first = true;
  for (const Row& row : rows.rows) {
    out.write(first ? "\n" : ",\n");
    first = false;
    out.write(dumped(object_of(rows.columns, row, zone)));
    if (!out.good()) return;
  }
  out.write(first ? "]}\n" : "\n]}\n");
}

}  // namespace packmile::cli
