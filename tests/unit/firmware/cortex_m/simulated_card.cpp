#include "simulated_card.hpp"

#include <algorithm>

namespace packmile::testing {
namespace {

// Bit by bit through a shift register, as the specification draws it (4.5).
std::uint32_t shift_register(const std::uint8_t* bytes, std::size_t count, int width,
                             std::uint32_t polynomial) {
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < count * 8; ++i) {
    const std::uint32_t in = (bytes[i / 8] >> (7 - i % 8)) & 1u;
    const std::uint32_t out = (value >> (width - 1)) & 1u;
    value = (value << 1) & ((1u << width) - 1);
    if (in != out) value ^= polynomial;
  }
  return value;
}

// Bits as the specification numbers them: 127 is the first on the line.
void set_bits(CardRegister& bits, int high, int low, std::uint32_t value) {
  for (int bit = low; bit <= high; ++bit) {
    const auto mask = static_cast<std::uint8_t>(1u << (bit % 8));
    std::uint8_t& byte = bits[static_cast<std::size_t>(15 - bit / 8)];
    const bool set = ((value >> (bit - low)) & 1u) != 0;
    byte = static_cast<std::uint8_t>(set ? byte | mask : byte & ~mask);
  }
}

void seal(CardRegister& bits) {
  bits[15] = static_cast<std::uint8_t>(shift_register(bits.data(), 15, 7, 0x09) << 1 | 1);
}

constexpr std::uint8_t kR1Idle = 0x01;
constexpr std::uint8_t kR1Illegal = 0x04;
constexpr std::uint8_t kR1Crc = 0x08;
constexpr std::uint8_t kR1Address = 0x20;
constexpr std::uint8_t kR1Parameter = 0x40;

}  // namespace

CardRegister csd_1(unsigned c_size, unsigned c_size_mult, unsigned read_bl_len) {
  CardRegister csd{};
  set_bits(csd, 127, 126, 0);
  set_bits(csd, 103, 96, 0x32);  // 25 MHz
  set_bits(csd, 83, 80, read_bl_len);
  set_bits(csd, 73, 62, c_size);
  set_bits(csd, 49, 47, c_size_mult);
  set_bits(csd, 25, 22, read_bl_len);
  seal(csd);
  return csd;
}

CardRegister csd_2(unsigned c_size) {
  CardRegister csd{};
  set_bits(csd, 127, 126, 1);
  set_bits(csd, 103, 96, 0x32);
  set_bits(csd, 83, 80, 9);
  set_bits(csd, 69, 48, c_size);
  set_bits(csd, 25, 22, 9);
  seal(csd);
  return csd;
}

CardRegister cid_of(std::uint32_t serial) {
  CardRegister cid{0x7E, 'P', 'M', 'B', 'E', 'N', 'C', 'H', 0x10};
  set_bits(cid, 55, 24, serial);
  set_bits(cid, 19, 8, 0x19A);
  seal(cid);
  return cid;
}

SimulatedCard::SimulatedCard(SimulatedKind kind, const CardRegister& csd, const CardRegister& cid,
                             std::uint64_t sectors)
    : kind_(kind), csd_(csd), cid_(cid), sectors_(sectors) {
  power_on();
}

void SimulatedCard::power_on() {
  selected_ = false;
  released_ = true;
  spi_mode_ = false;
  idle_ = true;
  crc_on_ = false;
  application_ = false;
  told_voltage_ = false;
  clocks_ = 0;
  // Of a card of 2 GB this is 1024 until CMD16 says otherwise.
  block_length_ = high_capacity() ? 512 : 1u << (csd_[5] & 0x0F);
  powered_up_at_.reset();
  program_at_.reset();
  status_ = 0;
  taking_ = Taking::command;
  in_.clear();
  out_.clear();
  data_.clear();
  data_at_.reset();
}

void SimulatedCard::power_off() {
  if (program_at_) {
    CardBlock torn = block(program_sector_);
    std::copy_n(program_block_.begin(), 256, torn.begin());
    blocks_[program_sector_] = torn;
  }
  power_on();
}

void SimulatedCard::select(bool selected) {
  if (selected && !selected_ && !released_) complain("selected again without a clock between");
  if (!selected && selected_) released_ = false;
  selected_ = selected;
}

CardBlock SimulatedCard::block(std::uint64_t sector) const {
  const auto found = blocks_.find(sector);
  return found == blocks_.end() ? CardBlock{} : found->second;
}

std::uint8_t SimulatedCard::exchange(Tick now, std::uint8_t in, bool fast) {
  fast_ = fast;
  if (!selected_) {
    released_ = true;
    clocks_ += 8;
    return 0xFF;
  }
  const std::uint8_t out = next_out(now);
  take(now, in);
  return out;
}

std::uint8_t SimulatedCard::next_out(Tick now) {
  if (out_.empty() && data_at_ && now >= *data_at_ && !faults.no_token) {
    for (int i = 0; i < faults.token_after_bytes; ++i) out_.push_back(0xFF);
    if (faults.error_tokens > 0) {
      --faults.error_tokens;
      out_.push_back(0x04);  // card ECC failed
    } else if (faults.garbage_tokens > 0) {
      --faults.garbage_tokens;
      out_.push_back(0x7E);
    } else {
      std::uint32_t crc = shift_register(data_.data(), data_.size(), 16, 0x1021);
      if (data_.size() == 512 && faults.wrong_read_crcs > 0) {
        --faults.wrong_read_crcs;
        crc ^= 1;
      }
      out_.push_back(0xFE);
      out_.insert(out_.end(), data_.begin(), data_.end());
      out_.push_back(static_cast<std::uint8_t>(crc >> 8));
      out_.push_back(static_cast<std::uint8_t>(crc));
    }
    data_at_.reset();
  }
  if (!out_.empty()) {
    const std::uint8_t byte = out_.front();
    out_.pop_front();
    return byte;
  }
  if (!program_at_) return 0xFF;
  if (now < *program_at_ || program_bytes_-- > 0) return 0x00;
  program_at_.reset();
  if (faults.blocks_lost > 0) {
    --faults.blocks_lost;
  } else {
    if (faults.blocks_damaged > 0) {
      --faults.blocks_damaged;
      program_block_[511] ^= 0x10;
    }
    blocks_[program_sector_] = program_block_;
  }
  if (faults.status_errors > 0) {
    --faults.status_errors;
    status_ = 0x04;  // general error
  }
  return 0xFF;
}

void SimulatedCard::take(Tick now, std::uint8_t in) {
  switch (taking_) {
    case Taking::command:
      if (in_.empty() && in == 0xFF) return;
      if (in_.empty() && (in & 0xC0) != 0x40) {
        complain("a byte that begins no command");
        return;
      }
      if (in_.empty() && (!out_.empty() || data_at_ || program_at_)) {
        complain("a command while the card is busy");
        return;
      }
      in_.push_back(in);
      if (in_.size() == 6) execute(now);
      return;
    case Taking::token:
      if (in == 0xFE) {
        taking_ = Taking::data;
        in_.clear();
        data_bytes_taken = 0;
      } else if (in != 0xFF) {
        complain("no token before a block");
      }
      return;
    case Taking::data:
      in_.push_back(in);
      data_bytes_taken = in_.size();
      if (in_.size() == 514) on_block(now);
      return;
  }
}

void SimulatedCard::on_block(Tick now) {
  taking_ = Taking::command;
  std::vector<std::uint8_t> block;
  block.swap(in_);
  const std::uint32_t crc = shift_register(block.data(), 512, 16, 0x1021);
  const std::uint32_t stated = static_cast<std::uint32_t>(block[512]) << 8 | block[513];
  if (faults.blocks_without_response > 0) {
    --faults.blocks_without_response;
    return;
  }
  if (faults.blocks_refused_as_write > 0) {
    --faults.blocks_refused_as_write;
    out_.push_back(0xED);
    return;
  }
  if (crc != stated || faults.blocks_refused_as_crc > 0) {
    if (crc == stated)
      --faults.blocks_refused_as_crc;
    else
      complain("wrong CRC16");
    out_.push_back(0xEB);
    return;
  }
  out_.push_back(0xE5);
  program_sector_ = write_sector_;
  std::copy_n(block.begin(), 512, program_block_.begin());
  programmed.push_back(program_sector_);
  program_at_ = now + faults.busy_ms;
  program_bytes_ = faults.busy_bytes;
}

void SimulatedCard::answer(std::initializer_list<std::uint8_t> bytes) {
  for (int i = 0; i < faults.answer_after_bytes; ++i) out_.push_back(0xFF);
  out_.insert(out_.end(), bytes);
}

void SimulatedCard::send_data(Tick now, std::vector<std::uint8_t> content) {
  answer({0x00});
  data_ = std::move(content);
  data_at_ = now + faults.token_after_ms;
}

std::optional<std::uint64_t> SimulatedCard::sector_of(std::uint32_t argument) {
  if (!high_capacity() && argument % 512 != 0) {
    complain("an address inside a block");
    answer({kR1Address});
    return std::nullopt;
  }
  const std::uint64_t sector = high_capacity() ? argument : argument / 512;
  if (sector < sectors_) return sector;
  complain("an address beyond the end");
  answer({kR1Parameter});
  return std::nullopt;
}

void SimulatedCard::execute(Tick now) {
  std::vector<std::uint8_t> frame;
  frame.swap(in_);
  const int index = frame[0] & 0x3F;
  const std::uint32_t argument = static_cast<std::uint32_t>(frame[1]) << 24 |
                                 static_cast<std::uint32_t>(frame[2]) << 16 |
                                 static_cast<std::uint32_t>(frame[3]) << 8 | frame[4];
  const bool good = frame[5] == (shift_register(frame.data(), 5, 7, 0x09) << 1 | 1);
  const std::uint8_t idle = idle_ ? kR1Idle : 0;
  if (!spi_mode_ && (index != 0 || !good)) return;  // in SD mode nothing comes on this line
  if ((crc_on_ || index == 0 || index == 8) && !good) {
    complain("wrong CRC7");
    answer({static_cast<std::uint8_t>(idle | kR1Crc)});
    return;
  }
  if (idle_ && fast_) complain("a fast clock before the card is ready");
  const bool application = application_;
  application_ = false;
  commands.push_back(application ? index + 100 : index);
  if (index == 0) {
    if (clocks_ < 74) {
      complain("CMD0 before 74 clocks");
      return;
    }
    const int clocks = clocks_;
    const bool selected = selected_;
    power_on();
    clocks_ = clocks;
    selected_ = selected;
    spi_mode_ = true;
    answer({kR1Idle});
    return;
  }
  if (application && index == 41) {
    if (faults.refuses_acmd41) {
      answer({static_cast<std::uint8_t>(idle | kR1Illegal)});
      return;
    }
    if (!crc_on_) complain("ACMD41 before CMD59");
    if (!powered_up_at_) powered_up_at_ = now + faults.power_up_ms;
    // Without CMD8 and HCS a card of block addresses is never ready.
    const bool host_fits = !high_capacity() || (told_voltage_ && (argument & 0x40000000) != 0);
    if (kind_ == SimulatedKind::sdsc_v1 && argument != 0) complain("HCS to a card of version 1");
    idle_ = !(host_fits && now >= *powered_up_at_);
    answer({static_cast<std::uint8_t>(idle_ ? kR1Idle : 0)});
    return;
  }
  switch (index) {
    case 8:
      if (kind_ == SimulatedKind::sdsc_v1) break;
      told_voltage_ = true;
      answer({idle, 0, 0, static_cast<std::uint8_t>(faults.wrong_voltage ? 0 : argument >> 8 & 0xF),
              static_cast<std::uint8_t>(faults.wrong_echo ? ~argument : argument)});
      return;
    case 55:
      application_ = true;
      answer({idle});
      return;
    case 58: {
      const bool powered_up = !idle_ && !faults.never_powered_up;
      answer({faults.idle_in_ocr_answer ? kR1Idle : idle,
              static_cast<std::uint8_t>((powered_up ? 0x80 : 0) | (high_capacity() ? 0x40 : 0)),
              static_cast<std::uint8_t>(faults.only_low_voltage ? 0x00 : 0xFF), 0x80, 0x00});
      return;
    }
    case 59:
      if (faults.refuses_crc) break;
      crc_on_ = (argument & 1) != 0;
      answer({idle});
      return;
    default:
      if (idle_) break;
      execute_ready(now, index, argument);
      return;
  }
  answer({static_cast<std::uint8_t>(idle | kR1Illegal)});
}

void SimulatedCard::execute_ready(Tick now, int index, std::uint32_t argument) {
  switch (index) {
    case 9:
      send_data(now, {csd_.begin(), csd_.end()});
      return;
    case 10:
      send_data(now, {cid_.begin(), cid_.end()});
      return;
    case 13:
      answer({0x00, status_});
      status_ = 0;
      return;
    case 16:
      if (!high_capacity()) block_length_ = argument;
      answer({0x00});
      return;
    case 17:
      if (faults.reads_refused > 0) {
        --faults.reads_refused;
        answer({kR1Parameter});
      } else if (const auto sector = sector_of(argument)) {
        const CardBlock content = block(*sector);
        std::vector<std::uint8_t> bytes(content.begin(), content.end());
        bytes.resize(block_length_);
        send_data(now, bytes);
      }
      return;
    case 24:
      if (const auto sector = sector_of(argument)) {
        if (block_length_ != 512) complain("a write before CMD16");
        write_sector_ = *sector;
        taking_ = Taking::token;
        answer({0x00});
      }
      return;
    default:
      complain("CMD" + std::to_string(index));
      answer({kR1Illegal});
  }
}

void SimulatedSlot::insert(SimulatedCard& card) {
  card_ = &card;
  card.power_on();
  card.select(selected_);
}

void SimulatedSlot::remove() {
  if (card_) card_->power_off();
  card_ = nullptr;
}

void SimulatedSlot::select() {
  selected_ = true;
  if (card_) card_->select(true);
}

void SimulatedSlot::deselect() {
  selected_ = false;
  if (card_) card_->select(false);
}

std::uint8_t SimulatedSlot::noisy(std::uint8_t byte) {
  if (noise_one_in == 0 || random() % noise_one_in != 0) return byte;
  return static_cast<std::uint8_t>(byte ^ (1u << (random() % 8)));
}

std::uint8_t SimulatedSlot::exchange(std::uint8_t byte) {
  ++exchanges;
  if (before_exchange) before_exchange();
  if (remove_after && (*remove_after)-- == 0) {
    remove_after.reset();
    remove();
  }
  if (nonsense == Nonsense::any) return static_cast<std::uint8_t>(random());
  if (nonsense == Nonsense::plausible) {
    // Mostly silence, and the answers and tokens that the driver waits for.
    constexpr std::uint8_t kWords[] = {0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x00, 0x00,
                                       0x01, 0x01, 0x05, 0xFE, 0xE5, 0xAA, 0xC0, 0x40};
    return kWords[random() % 16];
  }
  if (stuck) return *stuck;
  if (!card_) return 0xFF;
  const std::uint8_t said = noisy(card_->exchange(now_, noisy(byte), fast_));
  return heard ? heard(said) : said;
}

}  // namespace packmile::testing
