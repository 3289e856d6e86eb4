// STM32F405 (Cortex-M4, 48 MHz from a crystal of 8 MHz); its line, converter and
// card bus as in qemu's machine netduinoplus2.
//
//   adapter   USART1: PA9 sends, PA10 receives
//   card      SPI1: PA5 clock, PA6 from card, PA7 to card, PA4 selects it
//   supply    ADC1 input 0 (PA0), behind 75 kohm over 10 kohm from pin 16
//   lamp      PB0
//   clock     the part's own calendar, on a crystal of 32768 Hz and a cell at VBAT
//
// Source    reference manual of the part (RM0090), register names there.
#pragma once
#include <cstdint>
#include <optional>

#include "core/port.hpp"
#include "cortex_m/serial_line.hpp"

namespace packmile::cortex_m {

struct Board {
  static constexpr CardLayout kLayout = CardLayout::volume;

  static void start();
  [[nodiscard]] static std::uint32_t cycles_per_ms();
  static void feed_watchdog();
  [[nodiscard]] static SerialLine& line();
  static void begin_sending();
  [[nodiscard]] static std::optional<std::uint16_t> supply_mv();
  static void show(bool lit);
  [[nodiscard]] static BootCause reset_cause();
  [[nodiscard]] static std::uint32_t entropy();
  // Nothing was ever set: source none.
  [[nodiscard]] static WallClockReading wall_clock(Tick now);

  struct Spi {
    void select();
    void deselect();
    std::uint8_t exchange(std::uint8_t byte);
    void set_slow();  // 375 kHz
    void set_fast();  // 12 MHz
  };
};

}  // namespace packmile::cortex_m
