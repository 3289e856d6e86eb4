// packmile check: what is on a card. Writes nothing to it.
#include "cli/card_list.hpp"
#include "cli/card_question.hpp"
#include "cli/commands.hpp"
#include "cli/output.hpp"
#include "cli/progress.hpp"
#include "cli/render.hpp"
#include "calendar/zone.hpp"

namespace packmile::cli {

ExitCode run_check(const CheckOptions& options) {
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
  CardList list;
  Rows rows{check_columns(), {}};
  std::string text;
  for (const std::string& name : options.cards) {
    const auto card = CardFile::open(name);
    if (!card) {
      say(card.error());
      list.add(CardVerdict::no_log);
      continue;
    }
    CardSurvey survey;
    {
      Progress progress{name, "sectors"};
      survey = survey_card(
          *card, {}, [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
    }
    list.add(survey.verdict);
    if (!survey.message.empty()) say(Error{survey.message, name, survey.hint});
    if (survey.verdict == CardVerdict::no_log) continue;
    const auto heard = hear_van(*card, survey);
    if (!heard) {
      say(heard.error());
      list.add(CardVerdict::needs_attention);
      continue;
    }
    rows.rows.push_back(row_of(survey, *heard));
    if (!text.empty()) text += "\n";
    text += check_text(survey, *heard);
  }
  switch (options.format) {
    case Format::table:
      out->write(text);
      break;
    case Format::csv:
      write_csv(*out, rows, *zone);
      break;
    case Format::json:
      write_json(*out, "check", rows, *zone);
      break;
    case Format::xlsx:
      if (const auto written = write_xlsx(*out, "check", rows, *zone); !written) {
        say(written.error());
        return ExitCode::failed;
      }
      break;
  }
  if (const auto done = out->commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return list.code();
}

}  // namespace packmile::cli
