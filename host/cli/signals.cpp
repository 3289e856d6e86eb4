// packmile signals: the catalogue.
#include <fmt/format.h>

#include "catalogue/catalogue.hpp"
#include "cli/commands.hpp"
#include "cli/output.hpp"
#include "cli/render.hpp"
#include "cli/table.hpp"
#include "ledger/row.hpp"
#include "ledger/zone.hpp"

namespace packmile::cli {
namespace {

Rows catalogue_rows() {
  using enum ColumnKind;
  Rows rows{{{"signal", text, false},
             {"number", count, false},
             {"pid", text, false},
             {"first_byte", count, false},
             {"bytes", count, false},
             {"scale", real, false},
             {"offset", real, false},
             {"unit", text, false},
             {"confidence", text, false},
             {"source", text, false}},
            {}};
  for (const SignalEntry& entry : signal_catalogue()) {
    rows.rows.push_back({{std::string{entry.name}, {}},
                         {std::int64_t{entry.id}, {}},
                         {fmt::format("{:02X}", entry.pid), {}},
                         {std::int64_t{entry.first_byte}, {}},
                         {std::int64_t{entry.bytes}, {}},
                         {entry.scale, {}},
                         {entry.offset, {}},
                         {std::string{entry.unit}, {}},
                         {std::string{name_of(entry.confidence)}, {}},
                         {std::string{entry.source}, {}}});
  }
  return rows;
}

std::string catalogue_table() {
  std::vector<std::vector<std::string>> lines;
  for (const SignalEntry& entry : signal_catalogue())
    lines.push_back({std::string{entry.name}, fmt::format("{:02X}", entry.pid),
                     fmt::format("{}", entry.first_byte), fmt::format("{}", entry.bytes),
                     fmt::format("{:.6g}", entry.scale), fmt::format("{:g}", entry.offset),
                     std::string{entry.unit}, std::string{name_of(entry.confidence)},
                     std::string{entry.source}});
  return render_table({{"signal", false},
                       {"PID", false},
                       {"first byte", true},
                       {"bytes", true},
                       {"scale", true},
                       {"offset", true},
                       {"unit", false},
                       {"confidence", false},
                       {"source", false}},
                      lines) +
         "\nPIDs of service 01, hexadecimal. value = raw * scale + offset; the coding and sign of "
         "pack_a are decided from evidence (packmile check).\n";
}

}  // namespace

ExitCode run_signals(const SignalsOptions& options) {
  auto out = Output::open(options.output);
  if (!out) {
    say(out.error());
    return ExitCode::failed;
  }
  const auto zone = Zone::find("UTC");
  if (!zone) {
    say(zone.error());
    return ExitCode::failed;
  }
  switch (options.format) {
    case Format::table:
      out->write(catalogue_table());
      break;
    case Format::csv:
      write_csv(*out, catalogue_rows(), *zone);
      break;
    case Format::json:
      write_json(*out, "signals", catalogue_rows(), *zone);
      break;
  }
  if (const auto done = out->commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return ExitCode::done;
}

}  // namespace packmile::cli
