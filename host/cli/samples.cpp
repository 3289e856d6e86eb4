// packmile samples: every sample of cards, streamed.
#include "card/sample_walk.hpp"

#include <fmt/format.h>
#include <rapidjson/stringbuffer.h>
#include <rapidjson/writer.h>

#include <cmath>
#include <iterator>

#include "cli/card_list.hpp"
#include "cli/card_question.hpp"
#include "cli/commands.hpp"
#include "cli/output.hpp"
#include "cli/render.hpp"
#include "cli/workbook.hpp"
#include "ledger/nearest.hpp"
#include "calendar/zone.hpp"

namespace packmile::cli {
namespace {

constexpr char kNoTime[] = "this boot read no clock, or one that contradicts the order on the card";

const char* why_no_value(const SampleRow& row) {
  return row.signal == signal::pack_a
             ? "the coding and sign of the pack current are decided from evidence: see check"
             : "neither the catalogue nor the card says what the signal is";
}

// An owner's signal is named by the card, which may hold anything.
std::string name_of(const SampleRow& row) {
  if (row.name.empty()) return signal_text(row.signal);
  return row.signal < kFirstOwnersSignal ? std::string{row.name} : clean_text(row.name);
}
std::string unit_of(const SampleRow& row) {
  return row.signal < kFirstOwnersSignal ? std::string{row.unit} : clean_text(row.unit);
}

// Formatting the time of a sample by the zone library costs more than all the
// rest of its row: the day is kept.
class TimeText {
 public:
  std::string_view of(UtcTime at) {
    constexpr std::int64_t kDayMs = 86'400'000;
    const std::int64_t ms = at.time_since_epoch().count();
    const std::int64_t day = ms >= 0 ? ms / kDayMs : (ms - kDayMs + 1) / kDayMs;
    if (day != day_ || text_.empty()) {
      const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{day}}};
      day_ = day;
      date_ = fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                          static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
    }
    const std::int64_t in_day = ms - day * kDayMs;
    text_.clear();
    fmt::format_to(std::back_inserter(text_), "{}T{:02}:{:02}:{:02}.{:03}+00:00", date_,
                   in_day / 3'600'000, in_day / 60'000 % 60, in_day / 1000 % 60, in_day % 1000);
    return text_;
  }

 private:
  std::int64_t day_ = 0;
  std::string date_, text_;
};

class CsvSamples {
 public:
  static std::string head() {
    return "time,tick_ms,boot,ecu,signal,raw,value,unit,time_why,value_why\n";
  }
  static std::string foot() { return {}; }
  void add(std::string& out, const SampleRow& row) {
    // Names and units of the catalogue need no quotes, and there are many rows.
    const bool plain = !row.name.empty() && row.signal < kFirstOwnersSignal;
    if (!plain) {
      name_ = csv_field(name_of(row));
      unit_ = csv_field(unit_of(row));
    }
    fmt::format_to(std::back_inserter(out), "{},{},{:08X},{:X},{},{},",
                   row.time ? time_.of(*row.time) : std::string_view{}, row.tick_ms, row.boot_id,
                   row.ecu, plain ? row.name : std::string_view{name_}, row.raw);
    if (row.value) fmt::format_to(std::back_inserter(out), "{}", *row.value);
    fmt::format_to(std::back_inserter(out), ",{},{},{}\n",
                   plain ? row.unit : std::string_view{unit_}, row.time ? "" : kNoTime,
                   row.value ? "" : why_no_value(row));
  }

 private:
  TimeText time_;
  std::string name_, unit_;
};

class JsonSamples {
 public:
  static std::string head() {
    return fmt::format("{{\"schema_version\": {}, \"command\": \"samples\", \"rows\": [",
                       kSchemaVersion);
  }
  static std::string foot() { return "\n]}\n"; }
  void add(std::string& out, const SampleRow& row) {
    buffer_.Clear();
    rapidjson::Writer<rapidjson::StringBuffer> writer{buffer_};
    const auto text = [&](std::string_view t) {
      writer.String(t.data(), static_cast<rapidjson::SizeType>(t.size()));
    };
    writer.StartObject();
    writer.Key("time");
    if (row.time) {
      text(time_.of(*row.time));
    } else {
      writer.Null();
      writer.Key("time_why");
      writer.String(kNoTime);
    }
    writer.Key("tick_ms");
    writer.Uint64(row.tick_ms);
    writer.Key("boot");
    text(fmt::format("{:08X}", row.boot_id));
    writer.Key("ecu");
    text(ecu_text(row.ecu));
    writer.Key("signal");
    text(name_of(row));
    writer.Key("raw");
    writer.Uint(row.raw);
    writer.Key("value");
    // RapidJSON writes nothing for NaN.
    if (row.value && std::isfinite(*row.value)) {
      writer.Double(*row.value);
    } else {
      writer.Null();
      writer.Key("value_why");
      writer.String(why_no_value(row));
    }
    writer.Key("unit");
    text(unit_of(row));
    writer.EndObject();
    out += first_ ? "\n" : ",\n";
    first_ = false;
    out.append(buffer_.GetString(), buffer_.GetSize());
  }

 private:
  TimeText time_;
  rapidjson::StringBuffer buffer_;
  bool first_ = true;
};

// The ids of the names asked for: the catalogue's, and the owner's signals of a
// card. `missing` gets the first name that is neither.
std::vector<SignalId> ids_of(const std::vector<std::string>& names, const CardSurvey& survey,
                             std::string& missing) {
  std::vector<SignalId> ids;
  for (const std::string& name : names) {
    const std::size_t before = ids.size();
    if (const SignalEntry* entry = find_signal(name)) ids.push_back(entry->id);
    for (const CardOwnersSignal& signal : survey.owners_signals)
      if (signal.definition.name == name) ids.push_back(signal.id);
    if (ids.size() == before && missing.empty()) missing = name;
  }
  return ids;
}

// Hands over every sample of the cards until `emit` is false. Not absent: wrong usage,
// which has been said.
template <typename Emit>
std::optional<ExitCode> walk_cards(const SamplesOptions& options, CardList& list,
                                   const Emit& emit) {
  for (const std::string& name : options.cards) {
    const auto card = CardFile::open(name);
    if (!card) {
      say(card.error());
      list.add(CardVerdict::no_log);
      continue;
    }
    const CardSurvey survey = survey_card(*card);
    list.add(survey.verdict);
    if (!survey.message.empty()) say(Error{survey.message, name, survey.hint});
    std::string missing;
    const std::vector<SignalId> only = ids_of(options.signals, survey, missing);
    if (!missing.empty() && survey.log_id) {
      std::vector<std::string> known;
      for (const SignalEntry& e : signal_catalogue()) known.emplace_back(e.name);
      for (const CardOwnersSignal& s : survey.owners_signals) known.push_back(s.definition.name);
      return wrong_usage("--signal: neither the catalogue nor " + name + " has '" + missing + "'" +
                             did_you_mean(missing, known),
                         "packmile signals lists them, with --card " + name + " its own too");
    }
    const auto walked = for_each_sample(*card, survey, only, emit);
    if (!walked) {
      say(walked.error());
      list.add(CardVerdict::needs_attention);
    }
  }
  return std::nullopt;
}

ExitCode committed(Output& out, const CardList& list) {
  if (const auto done = out.commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return list.code();
}

template <typename Writer>
ExitCode stream(const SamplesOptions& options, Output& out) {
  constexpr std::size_t kPieceBytes = 1 << 20;
  CardList list;
  Writer writer;
  std::string piece = Writer::head();
  const auto wrong = walk_cards(options, list, [&](const SampleRow& row) {
    writer.add(piece, row);
    if (piece.size() >= kPieceBytes) {
      out.write(piece);
      piece.clear();
    }
    return out.good();
  });
  if (wrong) return *wrong;
  out.write(piece + Writer::foot());
  return committed(out, list);
}

std::vector<Column> sample_columns() {
  using enum ColumnKind;
  return {{"time", time, true},  {"tick_ms", count, false}, {"boot", text, false},
          {"ecu", text, false},  {"signal", text, false},   {"raw", count, false},
          {"value", real, true}, {"unit", text, false}};
}

Row sample_cells(const SampleRow& row) {
  return {row.time ? Cell{*row.time, {}} : Cell::unknown(kNoTime),
          {static_cast<std::int64_t>(row.tick_ms), {}},
          {fmt::format("{:08X}", row.boot_id), {}},
          {std::string{ecu_text(row.ecu)}, {}},
          {name_of(row), {}},
          {std::int64_t{row.raw}, {}},
          row.value && std::isfinite(*row.value) ? Cell{*row.value, {}}
                                                 : Cell::unknown(why_no_value(row)),
          {unit_of(row), {}}};
}

ExitCode stream_sheet(const SamplesOptions& options, Output& out) {
  auto book = Workbook::begin(out);
  const auto utc = Zone::find("UTC");
  if (!book || !utc) {
    say(book ? utc.error() : book.error());
    return ExitCode::failed;
  }
  CardList list;
  std::optional<ExitCode> wrong;
  auto done = book->stream_sheet("samples", sample_columns(), *utc, [&](const auto& add) {
    wrong = walk_cards(options, list, [&](const SampleRow& row) { return add(sample_cells(row)); });
  });
  if (wrong) return *wrong;
  if (done) done = book->finish();
  if (!done) {
    say(done.error());
    return ExitCode::failed;
  }
  return committed(out, list);
}

}  // namespace

ExitCode run_samples(const SamplesOptions& options) {
  auto out = Output::open(options.output);
  if (!out) {
    say(out.error());
    return ExitCode::failed;
  }
  if (options.format == Format::xlsx) return stream_sheet(options, *out);
  return options.format == Format::json ? stream<JsonSamples>(options, *out)
                                        : stream<CsvSamples>(options, *out);
}

}  // namespace packmile::cli
