// One ECU of the bench van: answers services 01 and 09, or 22, sends by ISO-TP.
//
// Standard  SAE J1979 / ISO 15031-5 on CAN (ISO 15765-4), ISO 15765-2.
// Silence   a functional request for something not supported is not answered; a
//           physical one gets a negative response (11, 12, 13, 31). A supported PID
//           without a value at the moment is left out of the reply; alone it is
//           not answered.
// Time      an answer begins a few ms after its request, spread by a generator, or
//           always as long after it as was wanted.
#pragma once
#include <cstdint>
#include <optional>
#include <string>

#include "benchvan/data_identifiers.hpp"
#include "benchvan/faults.hpp"
#include "benchvan/generator.hpp"
#include "benchvan/isotp_sender.hpp"
#include "benchvan/pid_words.hpp"
#include "benchvan/scene.hpp"

namespace packmile::benchvan {

// From the end of a request to the start of its answer: fixed part and spread.
// Well inside P2 (50 ms). Common practice, no source.
inline constexpr Nanos kAnswerFixedNs = 4 * kNanosPerMs;
inline constexpr Nanos kAnswerSpreadNs = 3 * kNanosPerMs;
// How late the fault response-pending makes an answer: longer than P2.
inline constexpr Nanos kPendingNs = 120 * kNanosPerMs;

struct EcuIdentity {
  std::uint32_t request_id = 0x7E0;
  std::uint32_t response_id = 0x7E8;
  bool extended = false;
  std::string vin;              // empty: this ECU does not know it; at most 17
  std::string calibration_id;   // at most 16 characters
  std::string name;             // 4 of acronym, '-', 15 of text: at most 20
  double module_v_drop = 0;     // its terminals see less than the supply, V
  double speed_offset_kmh = 0;  // of the fault ecus-differ
};

// By which of a van's three ways an ECU answers.
enum class Answers : std::uint8_t {
  service01,  // services 01 and 09
  f4xx,       // service 22: F400 + PID and F190
  owner,      // service 22: its own identifiers and F190
  none        // not at all
};

class Ecu {
 public:
  Ecu(EcuIdentity identity, const PidSet& supported, const PidCoding& coding, const Faults& faults,
      std::uint64_t seed, std::optional<Nanos> answer_ns = std::nullopt);
  // From now on services 01 and 09 are unknown to it, and 22 is answered.
  void answer_by_identifier(DidSetup setup);
  // From now on these faults of ECUs, those of service 22 apart; what is under way
  // keeps its time.
  void set_faults(const Faults& faults);

  // A frame from the tester whose end was seen at `now_ns`. `moment` is what the
  // sensors show, null: the ECU is silent.
  void on_frame(Nanos now_ns, const BusFrame& frame, const Moment* moment);
  // Whether on_frame() would do anything.
  [[nodiscard]] bool is_asked(const BusFrame& frame) const;
  // The answer to the last request, instead of its frames; counted as left. False:
  // there is none.
  [[nodiscard]] bool take_whole(Nanos& due_ns, std::span<const std::uint8_t>& message);
  // As IsotpSender: a frame that wants to go on the bus, and when it has left.
  [[nodiscard]] std::optional<BusFrame> take_frame(Nanos now_ns);
  void on_sent(Nanos at_ns);
  [[nodiscard]] Nanos deadline_ns() const;

  [[nodiscard]] const EcuIdentity& identity() const { return identity_; }
  // Positive answers that have left whole, and the values in them.
  [[nodiscard]] std::uint64_t answers() const { return answers_; }
  [[nodiscard]] std::uint64_t values() const { return values_; }
  // The message that it sends, or sent last, and whether a fault broke it.
  [[nodiscard]] const Payload& message() const { return sender_.message(); }
  [[nodiscard]] bool broken() const { return sender_.broken(); }
  // Multi-frame answers that the tester did not fetch.
  [[nodiscard]] unsigned aborted() const { return sender_.aborted(); }

 private:
  void on_request(Nanos now_ns, std::span<const std::uint8_t> request, bool functional,
                  const Moment& moment);
  void answer_current_data(std::span<const std::uint8_t> pids, bool functional,
                           const Moment& moment);
  void answer_vehicle_information(std::uint8_t info_type, bool functional);
  void answer_identifiers(std::span<const std::uint8_t> request, bool functional,
                          const Moment& moment);
  // What this ECU's own sensors show: valid until the next request.
  [[nodiscard]] const Moment& own_moment(const Moment& moment);
  void refuse(std::uint8_t service, std::uint8_t reason);

  std::optional<DataIdentifiers> identifiers_;  // absent: services 01 and 09
  EcuIdentity identity_;
  PidSet supported_;
  PidCoding coding_;
  Faults faults_;
  std::optional<Nanos> answer_ns_;  // absent: as the faults say
  Generator generator_;
  IsotpSender sender_;
  Moment own_;     // where it differs from what the others see
  Payload reply_;  // waits for reply_due_ns_ unless empty
  Nanos reply_due_ns_ = kNever;
  unsigned reply_values_ = 0;
  bool reply_positive_ = false;
  bool sending_positive_ = false;
  unsigned sending_values_ = 0;
  std::optional<Payload> announced_;  // the answer behind a response pending
  unsigned pending_left_ = 0;         // response pending still to come before it
  std::uint64_t requests_ = 0;
  std::uint64_t answers_ = 0;
  std::uint64_t values_ = 0;
};

}  // namespace packmile::benchvan
