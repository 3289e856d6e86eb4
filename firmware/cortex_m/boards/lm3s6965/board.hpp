// LM3S6965 (Cortex-M3, 50 MHz from a crystal of 8 MHz), as on its maker's evaluation
// board and in qemu's machine lm3s6965evb.
//
//   adapter   UART1: PD2 receives, PD3 sends
//   card      SSI0: PA2 clock, PA4 from card, PA5 to card, PD0 selects it
//   supply    ADC0, behind 75 kohm over 10 kohm from pin 16
//   lamp      PF0
//
// Source    data sheet of the part, register names there; the emulator's model
//           where the two were compared.
#pragma once
#include <cstdint>
#include <optional>

#include "core/port.hpp"
#include "cortex_m/serial_line.hpp"

namespace packmile::cortex_m {

struct Board {
  static constexpr CardLayout kLayout = CardLayout::volume;

  static void start();
  [[nodiscard]] static std::uint32_t cycles_per_ms() { return 50'000; }
  static void feed_watchdog();
  [[nodiscard]] static SerialLine& line();
  static void begin_sending();
  [[nodiscard]] static std::optional<std::uint16_t> supply_mv();
  static void show(bool lit);
  [[nodiscard]] static BootCause reset_cause();
  [[nodiscard]] static std::uint32_t entropy();

  struct Spi {
    void select();
    void deselect();
    std::uint8_t exchange(std::uint8_t byte);
    void set_slow();  // 390 kHz
    void set_fast();  // 12.5 MHz
  };
};

}  // namespace packmile::cortex_m
