// Service 22 of one ECU: the standard's items, the VIN, and this van's own.
//
// Standard  ISO 14229-1: several identifiers in one request, of which those not
//           supported are left out of the answer; F190 the VIN; F400 + PID with
//           data and support bitmaps as of the PID (SAE J1979-DA).
// Silence   as for PIDs: an identifier whose sensor shows nothing at the moment is
//           left out; alone it is not answered.
// Refused   31: none of the identifiers is supported; 13: half an identifier, or
//           more of them than the faults allow; 14: the answer would be too long.
#pragma once
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "benchvan/faults.hpp"
#include "benchvan/moment.hpp"
#include "benchvan/owners_fields.hpp"
#include "benchvan/payload.hpp"
#include "benchvan/pid_words.hpp"

namespace packmile::benchvan {

inline constexpr std::uint16_t kVinDid = 0xF190;
// F400 + PID.
[[nodiscard]] constexpr bool is_pid_did(unsigned did) { return did >> 8 == 0xF4; }
// Of a request for what a sensor shows: neither the VIN nor a support bitmap.
[[nodiscard]] constexpr bool is_sensor_did(unsigned did) {
  return did != kVinDid && !(is_pid_did(did) && is_support_pid(static_cast<std::uint8_t>(did)));
}

// After how many answers the fault did-refused-later shows: 100 s at 5 Hz.
inline constexpr unsigned kAnswersBeforeRefusal = 500;

struct DidSetup {
  std::string vin{};  // empty: not known here
  bool f4xx = false;  // answers F400 + PID
  PidSet pids{};      // with the support PIDs linked
  std::vector<OwnersField> fields{};
  QuantitySet quantities{};  // what the van can ever show
};

class DataIdentifiers {
 public:
  DataIdentifiers(DidSetup setup, const PidCoding& coding, const Faults& faults);

  struct Outcome {
    std::uint8_t refused = 0;  // negative response code; 0: not refused
    unsigned values = 0;       // sensor values in the answer
  };
  // Appends 62 and the data to `reply`, which must be empty; it stays so where
  // nothing is answered. `asked`: the request without 22.
  [[nodiscard]] Outcome answer(std::span<const std::uint8_t> asked, const Moment& moment,
                               Payload& reply);

 private:
  [[nodiscard]] bool supports(std::uint16_t did) const;
  [[nodiscard]] bool has_current(std::uint16_t did) const;
  // False, and nothing appended: no value at this moment.
  [[nodiscard]] bool put(std::uint16_t did, const Moment& moment, Payload& reply, unsigned& values);
  [[nodiscard]] bool put_fields(std::uint16_t did, const Moment& moment, Payload& reply,
                                unsigned& values) const;

  DidSetup setup_;
  PidCoding coding_;
  Faults faults_;
  unsigned current_answers_ = 0;
};

}  // namespace packmile::benchvan
