// Discovery: finds the ECUs of a van at the bit rate that is set, what they
// answer, their names and the VIN, with few requests.
//
// Standard  SAE J1979 services 01 and 09 by their bitmaps; the same items by
//           service 22 (ISO 14229-1 F4xx, F190); ISO 15765-4 ids.
// Pure      messages and the time go in, requests come out; knows neither the
//           adapter nor the transmit gate.
// Bounded   kMaxEcus ECUs; a request is made at most twice and waited for at most
//           kLongestReplyMs, whatever the ECUs send.
//
//   step         request                 answered                   silent
//   find_11      01 00 to 7DF            window over: first ECU     find_29
//   find_29      01 00 to 18DB33F1       window over: first ECU     by_id_11
//   bitmaps      01 20, 40 .. of an ECU  next bitmap, last: info    again, then info
//   info         09 00                   next item                  next ECU
//   vin          09 02                   next item                  again, then next item
//   calibration  09 04                   next item                  again, then next item
//   name         09 0A                   next ECU                   again, then next ECU
//   any_vin      09 02 to all            window over: by identifier by identifier
//   by_id_11     22 F400 to 7DF          window over: its bitmaps   by_id_29
//   by_id_29     22 F400 to 18DB33F1     window over: its bitmaps   owners
//   id_bitmaps   22 F420, F440 ..        next bitmap, next ECU      again, then next ECU
//   owners       22 and the first of an  next ECU of the list       again, then next ECU
//                ECU's owner's DIDs
//   id_vin       22 F190 of an ECU       found                      again, then next ECU
//
//   next item      the next of vin (if no VIN is known), calibration, name that
//                  the ECU's 09 00 bitmap has; none left: next ECU
//   next ECU       none left: any_vin if no VIN is known and some ECU was silent
//                  on 09 00, else by identifier
//   by identifier  by_id_11 or by_id_29, as the van was found, unless an ECU has
//                  $9A by service 01; else owners
//   id_vin         of each ECU that was found by an identifier, if no VIN is known
//   found          if there is any ECU; else nothing
//
// As long as no ECU is known, a request to all waits kPatience times as long
// before it counts as silent; an answer that took so long makes the wait that long
// from then on.
//
// A negative response to a physical request ends its item; 11 ends the service
// for that ECU; 21 and 22 are asked again once after a pause; 78 is waited for,
// kMaxPendingInARow times. Only text that is whole and printable is kept.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <span>

#include "core/can_frame.hpp"
#include "core/negative_response.hpp"
#include "core/transmit_gate.hpp"
#include "core/van_map.hpp"
#include "tick.hpp"

namespace packmile {

// P2 of 50 ms (ISO 15765-3), line time and adapter latency; clients of 100 to
// 150 ms are common practice.
inline constexpr Tick kReplyMs = 150;
// What a logger goes up to where answers come late; some gateways take more than
// half a second (from memory).
inline constexpr Tick kSlowestReplyMs = 8 * kReplyMs;
// Where nothing else is to be lost by it, an answer is waited for so many times
// as long: a slow ECU may drop the answer when the next request comes.
inline constexpr Tick kPatience = 4;
// All the pending responses that are believed, and a long message after them.
inline constexpr Tick kLongestReplyMs = Tick{kMaxPendingInARow} * kPendingMs + 5000;

enum class DiscoveryState : std::uint8_t {
  idle,     // start() not yet called
  running,  // a request is to be taken or an answer is due
  found,    // map() has at least one ECU
  nothing,  // nobody answered
};

class Discovery {
 public:
  struct Request {
    CanFrame frame;
    // To all ECUs: several may answer, and the window ends by time.
    bool functional = false;
  };

  // Forgets the map and begins anew, from any state. `owners`: what the owner
  // has listed; must outlive the discovery. `reply_ms`: how long an answer is
  // waited for, kReplyMs to kSlowestReplyMs.
  void start(std::span<const AllowedDid> owners = {}, Tick reply_ms = kReplyMs);
  // The request to send now; each is handed out once, and its time starts to
  // run. None: an answer is still due, or there is nothing more to ask.
  [[nodiscard]] std::optional<Request> take_request(Tick now);
  // A whole message. True: it belongs to the open request. False: unasked, late
  // or from somebody else; nothing changed.
  bool on_message(Tick now, std::uint32_t response_id, bool extended,
                  std::span<const std::uint8_t> message);
  // A frame of a message that is not yet whole: the answer is under way.
  void on_partial(Tick now, std::uint32_t response_id, bool extended);
  void on_time(Tick now);
  // None while a request waits to be taken, and when there is nothing to wait for.
  [[nodiscard]] std::optional<Tick> deadline() const;

  [[nodiscard]] DiscoveryState state() const;
  // Grows while running. In state found an ECU whose pids.next_base() is not none
  // left that bitmap unanswered, twice, or refused it.
  [[nodiscard]] const VanMap& map() const { return map_; }
  // How long an answer is waited for, as the van has turned out to need.
  [[nodiscard]] Tick reply_ms() const { return reply_ms_; }

 private:
  enum class Step : std::uint8_t {
    idle,
    find_11,
    find_29,
    bitmaps,
    info,
    vin,
    calibration,
    name,
    any_vin,
    by_id_11,
    by_id_29,
    id_bitmaps,
    owners,
    id_vin,
    found,
    nothing
  };
  enum class Wait : std::uint8_t { to_be_taken, reply, pause };
  // An ECU whose answer is under way or announced, and until when it is waited for.
  struct Late {
    Tick until = 0;
    std::uint32_t response_id = 0;
    std::uint8_t pending_in_a_row = 0;
  };

  // Called from so many places that a copy at each would be a waste.
  [[gnu::noinline]] void ask(Step step);
  void begin_ecu();
  void next_ecu();
  void next_item();
  void give_up_item();
  void on_silence();
  bool on_negative(Tick now, std::uint32_t response_id, const NegativeResponse& response);
  void begin_by_id();
  void next_id_bitmap();
  void begin_owners();
  void next_owners();
  void next_id_vin();
  bool on_owners();
  VanEcu* add_ecu(std::uint32_t response_id, bool extended);
  bool on_find(std::uint32_t response_id, bool extended, std::span<const std::uint8_t> message);
  bool on_bitmap(std::span<const std::uint8_t> message);
  bool on_information(std::span<const std::uint8_t> message);
  [[nodiscard]] Late* late_of(std::uint32_t response_id);
  void no_longer_late(std::uint32_t response_id);
  [[nodiscard]] CanFrame request() const;
  [[nodiscard]] bool is_functional() const;
  [[nodiscard]] bool asks_information() const;
  [[nodiscard]] bool asks_by_id() const;
  [[nodiscard]] std::uint8_t service_asked() const;
  [[nodiscard]] bool is_expected(std::uint32_t response_id, bool extended) const;

  std::span<const AllowedDid> owners_;
  SupportedPids info_;  // of service 09, the ECU at hand
  Tick reply_ms_ = kReplyMs;
  Tick window_end_ = 0;  // end of the wait, unless somebody is late; or of the pause
  Tick give_up_ = 0;     // end of the wait whoever is late
  std::uint8_t late_count_ = 0;
  std::uint8_t ecu_ = 0;    // index into map_; in step owners: into owners_
  std::uint8_t tries_ = 0;  // of the request at hand
  Step step_ = Step::idle;
  Wait wait_ = Wait::to_be_taken;
  bool information_silent_ = false;  // an ECU said nothing to 09 00
  bool patient_ = false;             // the wait at hand goes on
  std::array<Late, kMaxEcus> late_{};
  VanMap map_;
};

}  // namespace packmile
