// What a card holds and a depot's archive does not: before a card is prepared
// again, and for `card release`.
#pragma once
#include <memory>
#include <optional>
#include <string>

#include "archive/unarchived.hpp"
#include "card/card_survey.hpp"
#include "ledger/depot.hpp"

namespace packmile::cli {

// The depot whose archive is looked into; all absent: none was named and none
// is here.
struct Keeper {
  std::optional<Depot> depot;
  std::optional<Archive> archive;
};
// Absent: a depot was named, and is none; said.
[[nodiscard]] std::optional<Keeper> find_keeper(const std::optional<std::string>& option);

struct CardContents {
  std::string target;
  CardSurvey survey;
  Unarchived unarchived;
};
// Every sector of the target: of a folder or a log file, the log; of an image or
// a device, all of it.
[[nodiscard]] Result<CardContents> look_through(const std::string& target, const Keeper& keeper);

// Why a card must not be prepared again, for people; absent: nothing would be
// lost.
[[nodiscard]] std::optional<Error> reason_to_keep(const CardContents& contents,
                                                  const Keeper& keeper);

}  // namespace packmile::cli
