#include "core/owners_signals.hpp"

#include <algorithm>

#include "core/utf8.hpp"
#include "obd_address.hpp"
#include "wire.hpp"

namespace packmile {
namespace {

constexpr std::uint32_t kBitsInAWord = 32;

std::int32_t unzigzag(std::uint64_t value) {
  const auto low = static_cast<std::uint32_t>(value);
  return static_cast<std::int32_t>(low >> 1 ^ (0 - (low & 1)));
}

wire::Type type_of(std::uint32_t field) {
  switch (field) {
    case wire::owners_signal::scale:
    case wire::owners_signal::offset:
      return wire::kFixed64;
    case wire::owners_signal::name:
    case wire::owners_signal::unit:
      return wire::kBytes;
    default:
      return wire::kVarint;
  }
}

bool is_text(std::span<const std::uint8_t> text, std::size_t most) {
  return text.size() <= most && is_utf8(text);
}

}  // namespace

bool OwnersSignals::add(std::span<const std::uint8_t> message) {
  const std::size_t begin = count_ == 0 ? 0 : end_[count_ - 1u];
  if (count_ == kMaxOwnersSignals || message.size() > kMaxOwnersMessageBytes ||
      message.size() > bytes_.size() - begin)
    return false;
  // Numbers by field; none of those that count is larger than 32 bits.
  std::array<std::uint32_t, wire::owners_signal::code_offset + 1> n{};
  wire::Reader reader(message);
  wire::Field field;
  while (reader.next(field)) {
    if (field.number >= n.size() || field.type != type_of(field.number)) return false;
    if (field.number == wire::owners_signal::name && !is_text(field.bytes, kMaxOwnersNameBytes))
      return false;
    if (field.number == wire::owners_signal::unit && !is_text(field.bytes, kMaxOwnersUnitBytes))
      return false;
    if (field.type != wire::kVarint) continue;
    if (field.value > 0xFFFFFFFFu) return false;
    n[field.number] = static_cast<std::uint32_t>(field.value);
  }
  namespace f = wire::owners_signal;
  const std::uint32_t word_bits = 8 * n[f::bytes];
  if (!reader.ok() || n[f::id] != static_cast<std::uint32_t>(kFirstOwnersSignal + count_) ||
      !ecu_of_request_id(n[f::request_id], is_extended_id(n[f::request_id])) || n[f::did] == 0 ||
      n[f::did] > 0xFFFF || word_bits == 0 || word_bits > kBitsInAWord ||
      n[f::first_byte] > kMaxOwnersDataBytes - n[f::bytes] || n[f::first_bit] >= word_bits ||
      n[f::bits] > word_bits - n[f::first_bit] || n[f::little_endian] > 1 || n[f::is_signed] > 1 ||
      (n[f::period_ms] != 0 &&
       (n[f::period_ms] < kMinOwnersPeriodMs || n[f::period_ms] > kMaxOwnersPeriodMs)) ||
      n[f::role] > static_cast<std::uint32_t>(kLastRole))
    return false;

  did_[count_] = {n[f::request_id], static_cast<std::uint16_t>(n[f::did])};
  const std::uint32_t bits = n[f::bits] == 0 ? word_bits - n[f::first_bit] : n[f::bits];
  place_[count_] = {.period_ms = n[f::period_ms],
                    .code_scale_q16 = unzigzag(n[f::code_scale_q16]),
                    .code_offset = unzigzag(n[f::code_offset]),
                    .first_byte = static_cast<std::uint8_t>(n[f::first_byte]),
                    .bytes = static_cast<std::uint8_t>(n[f::bytes]),
                    .first_bit = static_cast<std::uint8_t>(n[f::first_bit]),
                    .bits = static_cast<std::uint8_t>(bits),
                    .little_endian = n[f::little_endian] != 0,
                    .is_signed = n[f::is_signed] != 0,
                    .role = static_cast<SignalRole>(n[f::role])};
  for (std::size_t i = 0; i < message.size(); ++i) bytes_[begin + i] = message[i];
  end_[count_++] = static_cast<std::uint16_t>(begin + message.size());
  return true;
}

std::span<const std::uint8_t> OwnersSignals::message(std::size_t index) const {
  const std::size_t begin = index == 0 ? 0 : end_[index - 1];
  return std::span<const std::uint8_t>(bytes_).subspan(begin, end_[index] - begin);
}

bool OwnersSignals::is_first_of_its_did(std::size_t index) const {
  for (std::size_t i = 0; i < index; ++i)
    if (did_[i] == did_[index]) return false;
  return true;
}

std::optional<std::uint32_t> OwnersSignals::word(std::size_t index,
                                                 std::span<const std::uint8_t> data) const {
  const OwnersSignalPlace& place = place_[index];
  if (data.size() < std::size_t{place.first_byte} + place.bytes) return std::nullopt;
  std::uint32_t word = 0;
  for (std::size_t i = 0; i < place.bytes; ++i) {
    const std::size_t at = place.little_endian ? place.bytes - 1u - i : i;
    word = word << 8 | data[place.first_byte + at];
  }
  word >>= place.first_bit;
  return place.bits == kBitsInAWord ? word : word & ((1u << place.bits) - 1);
}

std::optional<RawWord> OwnersSignals::standard_word(std::size_t index, std::uint32_t word) const {
  const OwnersSignalPlace& place = place_[index];
  const SignalId id = standard_signal_of(place.role);
  if (id == signal::none || id == signal::pack_v) return std::nullopt;
  std::int64_t value = word;
  if (place.is_signed && (word >> (place.bits - 1u) & 1) != 0)
    value -= std::int64_t{1} << place.bits;
  // At most 2^32 times 2^31, and so within 64 bits.
  const std::int64_t half = std::int64_t{1} << 15;
  std::int64_t code = ((value * place.code_scale_q16 + half) >> 16) + place.code_offset;
  if (id == signal::pack_a) {
    constexpr std::int64_t kLargest = 0x7FFF;
    code = std::clamp(code, -kLargest, kLargest);
    return RawWord{id, static_cast<std::uint32_t>(code) & 0xFFFF};
  }
  constexpr std::int64_t kLargest = 0xFFFFFFFF;
  return RawWord{id, static_cast<std::uint32_t>(std::clamp<std::int64_t>(code, 0, kLargest))};
}

}  // namespace packmile
