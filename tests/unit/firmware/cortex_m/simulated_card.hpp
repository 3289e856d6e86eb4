// An SD card on SPI as strict as the specification lets it be, and the slot it
// sits in. Test equipment: its own checksums and its own layout of registers, so
// that an error of the driver cannot cancel itself out. It must not include what
// it tests.
//
// Standard  SD Physical Layer Simplified Specification, SPI mode; from memory but
//           for 4.5 (checksums), 7.2.2 (CRC on) and 7.2.3 (block length).
// Worst     what real cards forgive is not forgiven: a command to a busy card, an
//           answer not read, a fast clock too early, a wrong order. Each is a
//           complaint.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "tick.hpp"

namespace packmile::testing {

using CardBlock = std::array<std::uint8_t, 512>;
using CardRegister = std::array<std::uint8_t, 16>;

enum class SimulatedKind : std::uint8_t { sdsc_v1, sdsc_v2, sdhc, sdxc };

// Capacity registers by the fields that the specification names.
CardRegister csd_1(unsigned c_size, unsigned c_size_mult, unsigned read_bl_len);
CardRegister csd_2(unsigned c_size);
// Invented; `serial` makes the difference between two cards of one make.
CardRegister cid_of(std::uint32_t serial);

// What may be wrong with a card; counters are used up.
struct CardFaults {
  int answer_after_bytes = 1;
  Tick power_up_ms = 20;
  int token_after_bytes = 2;
  Tick token_after_ms = 0;
  Tick busy_ms = 0;
  int busy_bytes = 3;
  int blocks_refused_as_crc = 0;
  int blocks_refused_as_write = 0;
  int blocks_without_response = 0;
  int blocks_lost = 0;     // said to be written, and not
  int blocks_damaged = 0;  // one bit is another one afterwards
  int status_errors = 0;
  int error_tokens = 0;
  int garbage_tokens = 0;
  int wrong_read_crcs = 0;
  int reads_refused = 0;  // R1: parameter error
  bool no_token = false;
  bool idle_in_ocr_answer = false;
  bool never_powered_up = false;  // by its OCR
  bool only_low_voltage = false;  // by its OCR
  bool refuses_crc = false;
  bool refuses_acmd41 = false;
  bool wrong_echo = false;
  bool wrong_voltage = false;
};

class SimulatedCard {
 public:
  SimulatedCard(SimulatedKind kind, const CardRegister& csd, const CardRegister& cid,
                std::uint64_t sectors);

  void power_on();
  // What is being programmed is torn: half of it is there.
  void power_off();
  void select(bool selected);
  // One byte in, one byte out.
  std::uint8_t exchange(Tick now, std::uint8_t in, bool fast);

  [[nodiscard]] CardBlock block(std::uint64_t sector) const;
  void set_block(std::uint64_t sector, const CardBlock& content) { blocks_[sector] = content; }
  [[nodiscard]] bool is_programming() const { return program_at_.has_value(); }

  CardFaults faults;
  std::vector<std::string> complaints;
  std::vector<int> commands;              // index; application commands + 100
  std::vector<std::uint64_t> programmed;  // sectors, in order
  std::size_t data_bytes_taken = 0;       // of the block that comes in

 private:
  enum class Taking : std::uint8_t { command, token, data };

  void complain(const std::string& what) { complaints.push_back(what); }
  std::uint8_t next_out(Tick now);
  void take(Tick now, std::uint8_t in);
  void execute(Tick now);
  void execute_ready(Tick now, int index, std::uint32_t argument);
  void on_block(Tick now);
  void answer(std::initializer_list<std::uint8_t> bytes);
  void send_data(Tick now, std::vector<std::uint8_t> content);
  std::optional<std::uint64_t> sector_of(std::uint32_t argument);
  [[nodiscard]] bool high_capacity() const {
    return kind_ == SimulatedKind::sdhc || kind_ == SimulatedKind::sdxc;
  }

  SimulatedKind kind_;
  CardRegister csd_;
  CardRegister cid_;
  std::uint64_t sectors_;
  std::map<std::uint64_t, CardBlock> blocks_;

  bool selected_ = false;
  bool released_ = true;  // a clock has passed since the select went
  bool fast_ = false;
  bool spi_mode_ = false;
  bool idle_ = true;
  bool crc_on_ = false;
  bool application_ = false;
  bool told_voltage_ = false;
  int clocks_ = 0;
  std::uint32_t block_length_ = 512;
  std::optional<Tick> powered_up_at_;
  std::optional<Tick> program_at_;
  int program_bytes_ = 0;
  std::uint64_t program_sector_ = 0;
  CardBlock program_block_{};
  std::uint8_t status_ = 0;
  Taking taking_ = Taking::command;
  std::vector<std::uint8_t> in_;
  std::uint64_t write_sector_ = 0;
  std::deque<std::uint8_t> out_;
  std::vector<std::uint8_t> data_;
  std::optional<Tick> data_at_;
};

// The slot, as the driver's Spi. Nobody in it: the line reads 0xFF.
class SimulatedSlot {
 public:
  explicit SimulatedSlot(const Tick& now) : now_(now) {}
  void insert(SimulatedCard& card);
  void remove();

  void select();
  void deselect();
  std::uint8_t exchange(std::uint8_t byte);
  void set_slow() { fast_ = false; }
  void set_fast() { fast_ = true; }

  std::size_t exchanges = 0;
  // One bit of so many bytes is another, in both directions; 0: none.
  std::uint32_t noise_one_in = 0;
  // Takes the card out before so many more bytes.
  std::optional<std::size_t> remove_after;
  std::function<void()> before_exchange;
  // What is heard instead of what the card said.
  std::function<std::uint8_t(std::uint8_t)> heard;
  // A short circuit: this byte whatever anybody says.
  std::optional<std::uint8_t> stuck;
  // Nonsense from whatever is in the slot, which does not hear us either: any
  // bytes, or such as mean something.
  enum class Nonsense : std::uint8_t { none, any, plausible };
  Nonsense nonsense = Nonsense::none;
  std::mt19937 random{1};

 private:
  std::uint8_t noisy(std::uint8_t byte);

  const Tick& now_;
  SimulatedCard* card_ = nullptr;
  bool selected_ = false;
  bool fast_ = false;
};

}  // namespace packmile::testing
