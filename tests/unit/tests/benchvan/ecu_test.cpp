#include "benchvan/ecu.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace packmile::benchvan;

namespace {

struct Asked {
  Ecu ecu;
  Moment moment;

  explicit Asked(Faults faults = {})
      : ecu(
            {.vin = "1M8GDM9AXKP042788", .calibration_id = "CAL", .name = "ABCD-Name"},
            [] {
              PidSet pids;
              for (const unsigned pid : {0x0Du, 0x42u, 0x5Bu, 0xA6u}) pids.set(pid);
              return pids;
            }(),
            {}, faults, 1) {
    moment.set(Quantity::speed_kmh, 50);
    moment.set(Quantity::module_v, 14);
  }

  // The bytes of a whole answer as hex; "" if the ECU stays silent.
  std::string operator()(std::uint32_t id, std::initializer_list<int> request) {
    BusFrame frame{.id = id, .length = 8};
    frame.data[0] = static_cast<std::uint8_t>(request.size());
    std::size_t at = 1;
    for (const int byte : request) frame.data[at++] = static_cast<std::uint8_t>(byte);
    ecu.on_frame(0, frame, &moment);
    std::string text;
    std::size_t length = 0;
    while (ecu.deadline_ns() < kSecond) {
      const Nanos now_ns = ecu.deadline_ns();
      const auto sent = ecu.take_frame(now_ns);
      if (!sent) continue;
      ecu.on_sent(now_ns);
      std::size_t from = 1;
      if ((sent->data[0] & 0xF0) == 0x10) {
        length = sent->data[1];
        from = 2;
        ecu.on_frame(now_ns, {.id = 0x7E0, .length = 8, .data = {0x30}}, &moment);
      } else if ((sent->data[0] & 0xF0) == 0x00) {
        length += sent->data[0];
      }
      for (std::size_t i = from; i < 8; ++i) {
        if (text.size() >= 2 * length) break;
        static constexpr char kDigits[] = "0123456789ABCDEF";
        text += kDigits[sent->data[i] >> 4];
        text += kDigits[sent->data[i] & 15];
      }
    }
    return text;
  }
  // Longer than any answer, shorter than N_Bs: a lost flow control shows.
  static constexpr Nanos kSecond = 900 * kNanosPerMs;
};

}  // namespace

TEST_CASE("ecu: several PIDs in one request, without the one that has no value") {
  Asked ask;
  CHECK(ask(0x7E0, {0x01, 0x0D, 0x42}) == "410D324236B0");
  CHECK(ask(0x7E0, {0x01, 0x5B, 0x0D}) == "410D32");
  CHECK(ask(0x7E0, {0x01, 0x5B}) == "");
  CHECK(ask(0x7DF, {0x01, 0x0D, 0x0D}) == "410D320D32");
}

// Source: VIN 1M8GDM9AXKP042788 passes the check digit of 49 CFR 565; service 09
// layout as read by tshark.
TEST_CASE("ecu: vehicle information in several frames") {
  Asked ask;
  CHECK(ask(0x7DF, {0x09, 0x00}) == "490050400000");
  CHECK(ask(0x7DF, {0x09, 0x02}) == "490201314D3847444D3941584B50303432373838");
  CHECK(ask(0x7E0, {0x09, 0x04}) == "49040143414C" + std::string(26, '0'));
}

// Source: ISO 14229-1 as quoted: silence to functional requests, 11 and 12 to physical ones.
TEST_CASE("ecu: what is not supported is refused physically and passed over functionally") {
  Asked ask;
  CHECK(ask(0x7E0, {0x01, 0x05}) == "7F0112");
  CHECK(ask(0x7DF, {0x01, 0x05}) == "");
  CHECK(ask(0x7E0, {0x22, 0xF1, 0x90}) == "7F2211");
  CHECK(ask(0x7DF, {0x22, 0xF1, 0x90}) == "");
  CHECK(ask(0x7E0, {0x09, 0x06}) == "7F0912");
  CHECK(ask(0x7E0, {0x01}) == "7F0113");
  CHECK(ask(0x7E1, {0x01, 0x0D}) == "");
}

TEST_CASE("ecu: bitmaps lead to every PID and no further") {
  Asked ask;
  CHECK(ask(0x7DF, {0x01, 0x00}) == "410000080001");
  CHECK(ask(0x7E0, {0x01, 0xA0}) == "41A004000000");
  CHECK(ask(0x7E0, {0x01, 0xC0}) == "7F0112");
}

TEST_CASE("ecu: faults change answers as they say") {
  CHECK(Asked({.pids_reversed = true})(0x7E0, {0x01, 0x0D, 0x42}) == "414236B00D32");
  CHECK(Asked({.one_pid_only = true})(0x7E0, {0x01, 0x0D, 0x42}) == "7F0112");
  Asked pending({.response_pending = true});
  for (int i = 1; i < 7; ++i) CHECK(pending(0x7E0, {0x01, 0x0D}) == "410D32");
  CHECK(pending(0x7E0, {0x01, 0x0D}) == "7F0178410D32");
}

// Source: ISO 14229-1 as quoted: silence to functional requests, 11 and 31 to physical ones.
TEST_CASE("ecu: by identifier, services 01 and 09 are not there") {
  Asked ask;
  PidSet pids;
  pids.set(0x0D);
  ask.ecu.answer_by_identifier({.vin = "1M8GDM9AXKP042788", .f4xx = true, .pids = pids});
  CHECK(ask(0x7DF, {0x01, 0x00}) == "");
  CHECK(ask(0x7DF, {0x09, 0x02}) == "");
  CHECK(ask(0x7E0, {0x01, 0x00}) == "7F0111");
  CHECK(ask(0x7E0, {0x09, 0x02}) == "7F0911");
  CHECK(ask(0x7DF, {0x22, 0xF4, 0x00}) == "62F40000080000");
  CHECK(ask(0x7E0, {0x22, 0xF4, 0x0D}) == "62F40D32");
  CHECK(ask(0x7DF, {0x22, 0xF4, 0x5B}) == "");
  CHECK(ask(0x7E0, {0x22, 0xF4, 0x5B}) == "7F2231");
  CHECK(ask(0x7E0, {0x22, 0xF1, 0x90}) == "62F190314D3847444D3941584B50303432373838");
  CHECK(ask(0x7E0, {0x22}) == "7F2213");
}
