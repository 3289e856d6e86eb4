// How a logger failed, as `check` says it.
#include "cli/failure_words.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "cli/card_question.hpp"
#include "packmile.pb.h"
#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using namespace packmile::cli;

namespace {

BootFacts failed_boot(LoggerFailure failure) {
  BootFacts boot;
  boot.failure = failure;
  boot.logger_version = "0.1.0";
  return boot;
}

void add_boot(test::CardMaker& maker, std::uint32_t boot_id, ResetCause cause,
              std::uint32_t exception) {
  Record record;
  Session& session = *record.mutable_session();
  session.set_logger_version("0.1.0");
  session.set_reset_cause(cause);
  if (exception != 0) session.mutable_fault()->set_exception(exception);
  const std::string text = record.SerializeAsString();
  maker.boot(boot_id);
  maker.sector(SectorKind::session, std::vector<std::uint8_t>(text.begin(), text.end()));
}

}  // namespace

TEST_CASE("failure: the registers, what they mean, and the logger's version") {
  CHECK(failure_text(BootFacts{}).empty());
  BootFacts boot = failed_boot(LoggerFailure::fault);
  CHECK(failure_text(boot) ==
        "the logger stopped at a fault, and started anew; where in its program was not written "
        "down; logger 0.1.0");
  // Bit 9 of the status: a data bus error whose address is known precisely; bit 15:
  // that address is in a register of its own. Armv7-M Architecture Reference Manual,
  // BusFault Status Register (from memory).
  boot.fault = {5, 0x1234, 0x0000'0ABD, 0x8200};
  CHECK(failure_text(boot) ==
        "the logger stopped at a fault, and started anew: bus fault at address 0x00001234, called "
        "from 0x00000ABD, status 0x00008200 (data at an address that is not there); logger 0.1.0");
  boot.fault = {6, 0x1234, 0x0000'0ABD, 0x0200'0000};
  CHECK(failure_text(boot).find("usage fault") != std::string::npos);
  CHECK(failure_text(boot).find("(division by zero)") != std::string::npos);
  boot.failure = LoggerFailure::watchdog;
  boot.fault = {34, 0x1234, 0x0000'0ABD, 0};
  CHECK(failure_text(boot) ==
        "the logger hung, and its watchdog started it anew: interrupt 18 at address 0x00001234, "
        "called from 0x00000ABD, status 0x00000000; logger 0.1.0");
}

TEST_CASE("failure: a card's row, its text and its finding") {
  test::CardMaker maker{0x2A, 32 * 20};
  maker.settings("Linden", 1'772'000'000'000);
  add_boot(maker, 1, RESET_POWER_ON, 0);
  {
    const test::TempFolder folder;
    const auto card = CardFile::open(folder.write("card.log", maker.bytes())).value();
    const CardSurvey survey = survey_card(card);
    CHECK(failures_of(survey).empty());
    CHECK(std::ranges::find(survey.findings, Finding::logger_failed) == survey.findings.end());
    CHECK(check_text(survey, {}).find("failed") == std::string::npos);
  }
  add_boot(maker, 0xB0071E, RESET_FAULT, 3);
  for (std::uint32_t k = 0; k < 11; ++k) add_boot(maker, 100 + k, RESET_WATCHDOG, 0);
  const test::TempFolder folder;
  const auto card = CardFile::open(folder.write("card.log", maker.bytes())).value();
  const CardSurvey survey = survey_card(card);
  CHECK(std::ranges::count(survey.findings, Finding::logger_failed) == 1);
  const auto failures = failures_of(survey);
  REQUIRE(failures.size() == 11);
  CHECK(
      failures.front().starts_with("at a time that is not known, boot 0000006E: the logger hung"));
  CHECK(failures.back() == "and 2 earlier ones");
  const Rows rows{check_columns(), {}};
  const Row row = row_of(survey, {});
  CHECK(row.size() == rows.columns.size());
  CHECK(std::get<std::vector<std::string>>(row[rows.column_of("logger_failures")].value) ==
        failures);
  const std::string text = check_text(survey, {});
  CHECK(text.find("\n  failed      at a time that is not known, boot 0000006E") !=
        std::string::npos);
  CHECK(text.find("logger_failed: the logger itself failed") != std::string::npos);
}
