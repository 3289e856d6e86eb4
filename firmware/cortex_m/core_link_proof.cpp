// Proof that the logger core links for a Cortex-M3 without heap, exceptions or
// system calls, within the flash and RAM of a small controller.
//
// Not a port: the registers below are placeholders in RAM and nothing drives
// them. Every entry point of class Logger is called, so that nothing of it is
// dropped by the linker.
#include <array>
#include <cstddef>
#include <cstdint>

#include "core/logger.hpp"

extern "C" {
extern std::uint32_t __stack_top[];
extern std::uint32_t __data_begin[];
extern std::uint32_t __data_end[];
extern std::uint32_t __data_load[];
extern std::uint32_t __bss_begin[];
extern std::uint32_t __bss_end[];
// What g++ asks of a program without a C++ runtime's start-up.
void* __dso_handle = nullptr;
int __aeabi_atexit(void*, void (*)(void*), void*) { return 0; }
[[noreturn]] void reset();
}

namespace {

// Stand for the machine: a port replaces them by its clock, line and card.
struct Placeholders {
  volatile std::uint32_t milliseconds;
  volatile std::uint32_t supply_mv;
  volatile std::uint32_t received;
  volatile std::uint32_t sent;
  volatile std::uint32_t lamp;
  volatile std::uint32_t card;
  volatile std::uint32_t events;
};
Placeholders machine;

enum Event : std::uint32_t { link_up = 1, link_lost = 2, clock = 4, stop = 8 };

void do_card(packmile::Logger& logger, packmile::Tick now) {
  const auto request = logger.take_card_request();
  if (!request) return;
  std::array<std::uint8_t, packmile::kSectorBytes> sector{};
  machine.card = request->address;
  if (request->operation == packmile::CardOperation::write)
    for (std::size_t i = 0; i < sector.size(); ++i) machine.card = request->sector[i];
  else
    for (std::uint8_t& byte : sector) byte = static_cast<std::uint8_t>(machine.card);
  logger.on_card(now, {.ok = machine.card != 0, .sector = sector.data()});
}

[[noreturn]] void turn_for_ever() {
  // Static storage would want a constructor before main; the stack would hide
  // its size from the linker: room in .bss, built in place.
  alignas(packmile::Logger) static std::byte room[sizeof(packmile::Logger)];
  packmile::Logger& logger =
      *new (room) packmile::Logger({.card_sectors = machine.card,
                                    .layout = packmile::CardLayout::volume,
                                    .reset_cause = packmile::BootCause::power_on,
                                    .entropy = machine.milliseconds});
  packmile::Tick now = 0;
  std::uint32_t last = machine.milliseconds;
  for (;;) {
    const std::uint32_t ms = machine.milliseconds;
    now += ms - last;
    last = ms;
    const std::array byte{static_cast<std::uint8_t>(machine.received)};
    logger.on_bytes(now, byte);
    do_card(logger, now);
    logger.on_supply(now, static_cast<std::uint16_t>(machine.supply_mv));
    const std::uint32_t events = machine.events;
    if ((events & Event::clock) != 0)
      logger.on_clock(now, {.source = packmile::WallClockSource::rtc, .unix_ms = ms, .tick = now});
    if ((events & Event::link_up) != 0) logger.on_adapter(now, packmile::AdapterLink::up);
    if ((events & Event::link_lost) != 0) logger.on_adapter(now, packmile::AdapterLink::lost);
    if ((events & Event::stop) != 0) logger.on_stop(now);
    if (now >= logger.deadline()) logger.on_time(now);
    std::array<std::uint8_t, 32> out{};
    while (const std::size_t n = logger.take_bytes(out))
      for (std::size_t i = 0; i < n; ++i) machine.sent = out[i];
    machine.lamp = static_cast<std::uint32_t>(logger.light());
    if (logger.stopped()) machine.lamp = 0xFF;
  }
}

struct VectorTable {
  std::uint32_t* stack;
  void (*handlers[15])();
};

}  // namespace

[[gnu::section(".vectors"), gnu::used]] static const VectorTable kVectors = {
    __stack_top,
    {reset, reset, reset, reset, reset, reset, nullptr, nullptr, nullptr, nullptr, reset, reset,
     nullptr, reset, reset}};

void reset() {
  const std::uint32_t* from = __data_load;
  for (std::uint32_t* to = __data_begin; to != __data_end;) *to++ = *from++;
  for (std::uint32_t* to = __bss_begin; to != __bss_end;) *to++ = 0;
  turn_for_ever();
}
