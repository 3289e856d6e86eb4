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
#include "ledger/nearest.hpp"
#include "ledger/zone.hpp"

namespace packmile::cli {
namespace {

constexpr char kNoTime[] = "this boot read no clock, or one that contradicts the order on the card";

const char* why_no_value(const SampleRow& row) {
  return row.signal == signal::pack_a
             ? "the coding and sign of the pack current are decided from evidence: see check"
             : "the signal is not in the catalogue";
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
    fmt::format_to(std::back_inserter(out), "{},{},{:08X},{:X},{},{},",
                   row.time ? time_.of(*row.time) : std::string_view{}, row.tick_ms, row.boot_id,
                   row.ecu, row.name.empty() ? signal_text(row.signal) : row.name, row.raw);
    if (row.value) fmt::format_to(std::back_inserter(out), "{}", *row.value);
    fmt::format_to(std::back_inserter(out), ",{},{},{}\n", row.unit, row.time ? "" : kNoTime,
                   row.value ? "" : why_no_value(row));
  }

 private:
  TimeText time_;
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
    text(row.name.empty() ? signal_text(row.signal) : std::string{row.name});
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
    text(row.unit);
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

template <typename Writer>
ExitCode stream(const SamplesOptions& options, const std::vector<SignalId>& only, Output& out) {
  constexpr std::size_t kPieceBytes = 1 << 20;
  CardList list;
  Writer writer;
  std::string piece = Writer::head();
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
    const auto walked = for_each_sample(*card, survey, only, [&](const SampleRow& row) {
      writer.add(piece, row);
      if (piece.size() >= kPieceBytes) {
        out.write(piece);
        piece.clear();
      }
      return out.good();
    });
    if (!walked) {
      say(walked.error());
      list.add(CardVerdict::needs_attention);
    }
  }
  out.write(piece + Writer::foot());
  if (const auto done = out.commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return list.code();
}

}  // namespace

ExitCode run_samples(const SamplesOptions& options) {
  std::vector<SignalId> only;
  for (const std::string& name : options.signals) {
    const SignalEntry* entry = find_signal(name);
    if (entry == nullptr) {
      std::vector<std::string> known;
      for (const SignalEntry& e : signal_catalogue()) known.emplace_back(e.name);
      return wrong_usage(
          "--signal: the catalogue has no '" + name + "'" + did_you_mean(name, known),
          "packmile signals lists them");
    }
    only.push_back(entry->id);
  }
  auto out = Output::open(options.output);
  if (!out) {
    say(out.error());
    return ExitCode::failed;
  }
  return options.format == Format::json ? stream<JsonSamples>(options, only, *out)
                                        : stream<CsvSamples>(options, only, *out);
}

}  // namespace packmile::cli
