#include "benchvan/data_identifiers.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "benchvan/diagnostic_codes.hpp"

namespace packmile::benchvan {
namespace {

constexpr std::size_t kVinBytes = 17;
constexpr std::size_t kMaxDids = 3;
constexpr std::uint16_t kPackDid = 0xF49A;

}  // namespace

DataIdentifiers::DataIdentifiers(DidSetup setup, const PidCoding& coding, const Faults& faults)
    : setup_(std::move(setup)), coding_(coding), faults_(faults) {}

bool DataIdentifiers::supports(std::uint16_t did) const {
  if (did == kVinDid) return !setup_.vin.empty();
  if (is_pid_did(did)) {
    const auto pid = static_cast<std::uint8_t>(did);
    return setup_.f4xx && (pid == 0 || setup_.pids[pid]);
  }
  // An identifier with sensors of which the van has none is not there at all.
  bool listed = false, any_sensor = false, any_known = false;
  for (const OwnersField& field : setup_.fields) {
    if (field.did != did) continue;
    listed = true;
    const std::optional<Quantity> quantity = quantity_of(field);
    if (!quantity) continue;
    any_sensor = true;
    any_known = any_known || setup_.quantities.has(*quantity);
  }
  return listed && (!any_sensor || any_known);
}

bool DataIdentifiers::has_current(std::uint16_t did) const {
  return did == kPackDid ||
         std::any_of(setup_.fields.begin(), setup_.fields.end(), [did](const OwnersField& field) {
           return field.did == did && field.role == FieldRole::pack_a;
         });
}

DataIdentifiers::Outcome DataIdentifiers::answer(std::span<const std::uint8_t> asked,
                                                 const Moment& moment, Payload& reply) {
  if (asked.empty() || asked.size() % 2 != 0 || asked.size() / 2 > kMaxDids)
    return {.refused = kWrongLength};
  std::array<std::uint16_t, kMaxDids> dids{};
  std::size_t count = asked.size() / 2;
  for (std::size_t i = 0; i < count; ++i)
    dids[i] = static_cast<std::uint16_t>(asked[2 * i] << 8 | asked[2 * i + 1]);
  if (faults_.dids_refused && count > 1) return {.refused = kWrongLength};
  if (faults_.dids_first_only) count = 1;
  if (faults_.pids_reversed) std::reverse(dids.begin(), dids.begin() + count);

  Outcome outcome;
  bool any_supported = false;
  reply.put(kReadDataByIdentifier | kPositive);
  for (std::size_t i = 0; i < count; ++i) {
    if (!supports(dids[i])) continue;
    if (faults_.did_refused_later && has_current(dids[i]) &&
        ++current_answers_ > kAnswersBeforeRefusal)
      continue;
    any_supported = true;
    if (!put(dids[i], moment, reply, outcome.values)) continue;
    if (reply.size() == Payload::kMaxBytes && count > 1) {
      reply.clear();
      return {.refused = kResponseTooLong};
    }
  }
  if (reply.size() > 1) return outcome;
  reply.clear();
  return {.refused = any_supported ? std::uint8_t{0} : kRequestOutOfRange};
}

bool DataIdentifiers::put(std::uint16_t did, const Moment& moment, Payload& reply,
                          unsigned& values) {
  Payload data;  // as of a PID: its number goes before it
  if (did == kVinDid) {
    data.put(static_cast<std::uint8_t>(did));
    for (std::size_t i = setup_.vin.size(); i < kVinBytes; ++i) data.put(0);
    data.put_text(setup_.vin, setup_.vin.size());
  } else if (is_pid_did(did)) {
    const auto pid = static_cast<std::uint8_t>(did);
    if (is_support_pid(pid)) {
      put_support_bitmap(pid, setup_.pids, data);
    } else if (put_pid(pid, moment, coding_, data)) {
      values += values_of_pid(pid);
    } else {
      return false;
    }
  } else {
    data.put(static_cast<std::uint8_t>(did));
    if (!put_fields(did, moment, data, values)) return false;
  }
  std::span<const std::uint8_t> bytes = data.bytes();
  if (faults_.did_short && is_sensor_did(did) && bytes.size() > 2)
    bytes = bytes.first(bytes.size() - 1);
  reply.put(static_cast<std::uint8_t>(did >> 8));
  for (const std::uint8_t byte : bytes) reply.put(byte);
  return true;
}

bool DataIdentifiers::put_fields(std::uint16_t did, const Moment& moment, Payload& reply,
                                 unsigned& values) const {
  std::array<std::uint8_t, Payload::kMaxBytes> data{};
  std::size_t length = 0;
  for (const OwnersField& field : setup_.fields) {
    if (field.did != did) continue;
    length = std::max<std::size_t>(length, field.first_byte + field.bytes);
    std::optional<double> value = value_of(field, moment, coding_.discharge_negative);
    // The van has no such sensor at all: beside others its bits are zero.
    const std::optional<Quantity> quantity = quantity_of(field);
    if (!value && quantity && !setup_.quantities.has(*quantity)) continue;
    if (!value) return false;
    put_field(field, word_of(field, *value), data);
    ++values;
  }
  for (std::size_t i = 0; i < length; ++i) reply.put(data[i]);
  return true;
}

}  // namespace packmile::benchvan
