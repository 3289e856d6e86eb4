// The step by which a van's state of charge really moves. The standard's code is
// 100/255 %, but many controllers count in whole or half per cent inside.
//
// Input     codes of the state of charge, episode by episode.
// Output    for each ECU and calibration id the step in per cent.
// Method    a controller that counts in steps of q per cent only ever answers the
//           codes of n * q, cut down or rounded. The coarsest q that explains every
//           code seen, among 5, 2.5, 2, 1 and 0.5 %, is taken where as many codes
//           would fit by chance once in ten thousand times; where two codes or more
//           fit none of them the code itself is the step.
// Bounded   16,384 codes for each ECU and calibration id.
#pragma once
#include <cstdint>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "reading/verdict.hpp"
#include "timeline/episode.hpp"

namespace packmile {

class SocStepVotes {
 public:
  void observe(const Episode& episode);
  // One verdict for each (ECU, calibration id) that answered.
  [[nodiscard]] std::vector<Verdict> decide() const;

 private:
  struct Seen {
    std::vector<bool> codes;
    std::int64_t first_ms = 0;
    std::int64_t last_ms = 0;
  };
  // ECU, calibration id, step of the answers, %.
  std::map<std::tuple<std::uint32_t, std::string, double>, Seen> seen_;
};

}  // namespace packmile
