// packmile signals: the catalogue, and the owner's signals of cards and depots.
#include <fmt/format.h>

#include "catalogue/catalogue.hpp"
#include "cli/card_list.hpp"
#include "cli/commands.hpp"
#include "cli/depot_choice.hpp"
#include "cli/output.hpp"
#include "cli/progress.hpp"
#include "cli/render.hpp"
#include "cli/table.hpp"
#include "ledger/row.hpp"
#include "calendar/zone.hpp"

namespace packmile::cli {
namespace {

// Identifiers F400 to F4FF of service 22 are the PIDs of service 01.
constexpr std::uint32_t kFirstPidDid = 0xF400;
constexpr char kOwnersConfidence[] = "owner's definition";

// One owner's signal and where it is defined.
struct OwnersLine {
  std::optional<SignalId> id;  // absent: given when a card is prepared
  OwnersDefinition definition;
  std::vector<std::string> vans;  // empty: every van of the depot, or that of the card
  std::string source;
  std::string where;
};

struct OwnersList {
  std::string title;  // the card or the file
  std::vector<OwnersLine> lines;
};

std::string coding_of(const OwnersDefinition& d) {
  return d.is_signed ? "twos_complement" : "unsigned";
}

std::string coding_of(const SignalEntry& entry) {
  return entry.id == signal::pack_a ? "by_evidence" : "unsigned";
}

std::string order_of(bool little_endian) { return little_endian ? "little" : "big"; }

std::string did_of(const SignalEntry& entry) { return hex_text(kFirstPidDid + entry.pid, 4); }

Rows empty_rows() {
  using enum ColumnKind;
  return {{{"signal", text, false},      {"number", count, true},     {"pid", text, false},
           {"first_byte", count, false}, {"bytes", count, false},     {"scale", real, false},
           {"offset", real, false},      {"unit", text, false},       {"confidence", text, false},
           {"source", text, false},      {"did", text, false},        {"ecu", text, false},
           {"role", text, false},        {"first_bit", count, false}, {"bits", count, false},
           {"byte_order", text, false},  {"coding", text, false},     {"period_ms", count, true},
           {"vans", words, false},       {"where", text, false}},
          {}};
}

constexpr char kOwnPeriod[] = "the logger's own schedule";

void add_catalogue(Rows& rows) {
  for (const SignalEntry& entry : signal_catalogue()) {
    rows.rows.push_back({{std::string{entry.name}, {}},
                         {std::int64_t{entry.id}, {}},
                         {hex_text(entry.pid, 2), {}},
                         {std::int64_t{entry.first_byte}, {}},
                         {std::int64_t{entry.bytes}, {}},
                         {entry.scale, {}},
                         {entry.offset, {}},
                         {std::string{entry.unit}, {}},
                         {std::string{name_of(entry.confidence)}, {}},
                         {std::string{entry.source}, {}},
                         {did_of(entry), {}},
                         {std::string{}, {}},
                         {std::string{}, {}},
                         {std::int64_t{0}, {}},
                         {std::int64_t{entry.bytes} * 8, {}},
                         {order_of(false), {}},
                         {coding_of(entry), {}},
                         Cell::unknown(kOwnPeriod),
                         {std::vector<std::string>{}, {}},
                         {std::string{"catalogue"}, {}}});
  }
}

void add_owners(Rows& rows, const OwnersList& list) {
  for (const OwnersLine& line : list.lines) {
    const OwnersDefinition& d = line.definition;
    rows.rows.push_back(
        {{clean_text(d.name), {}},
         line.id ? Cell{std::int64_t{*line.id}, {}}
                 : Cell::unknown("given by the list of each card, from 1000"),
         {std::string{}, {}},
         {std::int64_t{d.first_byte}, {}},
         {std::int64_t{d.bytes}, {}},
         {d.scale, {}},
         {d.offset, {}},
         {clean_text(d.unit), {}},
         {std::string{kOwnersConfidence}, {}},
         {line.source, {}},
         {hex_text(d.did, 4), {}},
         {hex_text(d.request_id), {}},
         {std::string{name_of(d.role)}, {}},
         {std::int64_t{d.first_bit}, {}},
         {std::int64_t{d.bits}, {}},
         {order_of(d.little_endian), {}},
         {coding_of(d), {}},
         d.period_ms != 0 ? Cell{std::int64_t{d.period_ms}, {}} : Cell::unknown(kOwnPeriod),
         {line.vans, {}},
         {line.where, {}}});
  }
}

std::string catalogue_table() {
  std::vector<std::vector<std::string>> lines;
  for (const SignalEntry& entry : signal_catalogue())
    lines.push_back({std::string{entry.name}, hex_text(entry.pid, 2), did_of(entry),
                     fmt::format("{}", entry.first_byte), fmt::format("{}", entry.bytes),
                     fmt::format("{:.6g}", entry.scale), fmt::format("{:g}", entry.offset),
                     std::string{entry.unit}, std::string{name_of(entry.confidence)},
                     std::string{entry.source}});
  return render_table({{"signal", false},
                       {"PID", false},
                       {"DID", false},
                       {"first byte", true},
                       {"bytes", true},
                       {"scale", true},
                       {"offset", true},
                       {"unit", false},
                       {"confidence", false},
                       {"source", false}},
                      lines) +
         "\nPIDs of service 01 and data identifiers of service 22, hexadecimal. value = raw * "
         "scale + offset;\nthe coding and sign of pack_a are decided from evidence (packmile "
         "check).\n";
}

std::string bits_text(const OwnersDefinition& d) {
  if (d.first_bit == 0 && d.bits == d.bytes * 8) return "all";
  return d.bits == 1 ? fmt::format("{}", d.first_bit)
                     : fmt::format("{}..{}", d.first_bit, d.first_bit + d.bits - 1);
}

std::string owners_table(const OwnersList& list) {
  if (list.lines.empty()) return fmt::format("\n{}: no owner's signals\n", list.title);
  std::vector<std::vector<std::string>> lines;
  for (const OwnersLine& line : list.lines) {
    const OwnersDefinition& d = line.definition;
    std::string vans = fmt::format("{}", fmt::join(line.vans, ", "));
    lines.push_back({clean_text(d.name), std::string{name_of(d.role)}, hex_text(d.request_id),
                     hex_text(d.did, 4), bytes_text(d), bits_text(d), order_of(d.little_endian),
                     d.is_signed ? "two's complement" : "unsigned", fmt::format("{:.6g}", d.scale),
                     fmt::format("{:.6g}", d.offset), clean_text(d.unit),
                     d.period_ms == 0 ? "own" : fmt::format("{} ms", d.period_ms),
                     vans.empty() ? "every" : vans, kOwnersConfidence, line.where});
  }
  return fmt::format("\n{}:\n{}", list.title,
                     render_table({{"signal", false},
                                   {"role", false},
                                   {"ECU", false},
                                   {"DID", false},
                                   {"bytes", true},
                                   {"bits", true},
                                   {"order", false},
                                   {"coding", false},
                                   {"scale", true},
                                   {"offset", true},
                                   {"unit", false},
                                   {"period", true},
                                   {"vans", false},
                                   {"confidence", false},
                                   {"where", false}},
                                  lines));
}

std::string words_of_place(const CardOwnersSignal& signal) {
  if (signal.in_settings && signal.in_sessions) return "settings and session records";
  return signal.in_settings ? "settings" : "session records";
}

OwnersList list_of(const CardSurvey& survey) {
  OwnersList list{"owner's signals on " + clean_text(survey.card), {}};
  std::vector<std::string> vans;
  if (!survey.van.empty()) vans.push_back(clean_text(survey.van));
  for (const CardOwnersSignal& signal : survey.owners_signals)
    list.lines.push_back({signal.id, signal.definition, vans, "card",
                          clean_text(survey.card) + ": " + words_of_place(signal)});
  return list;
}

OwnersList list_of(const Depot& depot) {
  const std::string file = clean_text((depot.root / kFleetFileName).string());
  OwnersList list{"owner's signals of " + file, {}};
  for (const FleetSignal& signal : depot.fleet.signals) {
    std::vector<std::string> vans;
    for (const std::string& van : signal.vans) vans.push_back(clean_text(van));
    list.lines.push_back({std::nullopt, signal.definition, std::move(vans), kFleetFileName,
                          clean_text(signal.where)});
  }
  return list;
}

// Absent: it is no depot, or its fleet.toml has mistakes; said.
std::optional<OwnersList> list_of_depot(const std::string& option) {
  const auto folder = choose_depot(option);
  if (!folder) {
    say(folder.error());
    return std::nullopt;
  }
  const DepotRead read = read_depot(*folder);
  for (const Error& error : read.errors) say(error);
  if (!read.errors.empty()) return std::nullopt;
  return list_of(read.depot);
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
  std::vector<OwnersList> lists;
  if (options.depot) {
    auto list = list_of_depot(*options.depot);
    if (!list) return ExitCode::failed;
    lists.push_back(std::move(*list));
  }
  CardList cards;
  for (const std::string& name : options.cards) {
    const auto card = CardFile::open(name);
    if (!card) {
      say(card.error());
      cards.add(CardVerdict::no_log);
      continue;
    }
    Progress progress{name, "sectors"};
    const CardSurvey survey = survey_card(
        *card, {}, [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
    cards.add(survey.verdict);
    if (!survey.message.empty()) say(Error{survey.message, name, survey.hint});
    if (survey.verdict != CardVerdict::no_log) lists.push_back(list_of(survey));
  }
  Rows rows = empty_rows();
  add_catalogue(rows);
  for (const OwnersList& list : lists) add_owners(rows, list);
  switch (options.format) {
    case Format::table: {
      out->write(catalogue_table());
      for (const OwnersList& list : lists) out->write(owners_table(list));
      if (!lists.empty())
        out->write(
            "\nOf an owner's signal the program knows what the owner wrote, and nothing more: "
            "check each against\nthe dashboard (hardware-notes/signals.md).\n");
      break;
    }
    case Format::csv:
      write_csv(*out, rows, *zone);
      break;
    case Format::json:
      write_json(*out, "signals", rows, *zone);
      break;
    case Format::xlsx:
      if (const auto written = write_xlsx(*out, "signals", rows, *zone); !written) {
        say(written.error());
        return ExitCode::failed;
      }
      break;
  }
  if (const auto done = out->commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return cards.code();
}

}  // namespace packmile::cli
