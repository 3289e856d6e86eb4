// The exit code of a list of cards: each is taken by itself.
#pragma once
#include <cstddef>

#include "card/card_survey.hpp"
#include "cli/say.hpp"

namespace packmile::cli {

class CardList {
 public:
  void add(CardVerdict verdict) {
    switch (verdict) {
      case CardVerdict::sound:
        ++sound_;
        break;
      case CardVerdict::no_log:
        ++no_log_;
        break;
      case CardVerdict::needs_attention:
        ++attention_;
        break;
    }
  }
  // No log at all is 1; in a list of which another could be read, 3.
  [[nodiscard]] ExitCode code() const {
    if (attention_ > 0 || (no_log_ > 0 && sound_ > 0)) return ExitCode::attention;
    return no_log_ > 0 ? ExitCode::failed : ExitCode::done;
  }

 private:
  std::size_t sound_ = 0, no_log_ = 0, attention_ = 0;
};

}  // namespace packmile::cli
