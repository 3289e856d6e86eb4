// The numbers in wire.hpp and in the catalogue against the descriptor that
// protoc makes from packmile.proto, which is what everybody else reads.
#include "wire.hpp"

#include <map>
#include <string>
#include <utility>

#include <google/protobuf/descriptor.h>

#include "catalogue/catalogue.hpp"
#include "columns/record_encoder.hpp"
#include "owners_signal.hpp"
#include "packmile.pb.h"

#include <doctest/doctest.h>

using namespace packmile;
using google::protobuf::Descriptor;
using google::protobuf::FieldDescriptor;

namespace {

using Type = FieldDescriptor::Type;
using Fields = std::map<std::string, std::pair<std::uint32_t, Type>>;

Fields fields_of(const Descriptor* message) {
  Fields fields;
  for (int i = 0; i < message->field_count(); ++i) {
    const FieldDescriptor* field = message->field(i);
    fields[field->name()] = {static_cast<std::uint32_t>(field->number()), field->type()};
  }
  return fields;
}

}  // namespace

TEST_CASE("descriptor: every field of every message has the number of wire.hpp") {
  using F = FieldDescriptor;
  namespace w = wire;
  CHECK(fields_of(Record::descriptor()) ==
        Fields{{"base_ms", {w::record::base_ms, F::TYPE_UINT64}},
               {"block", {w::record::block, F::TYPE_MESSAGE}},
               {"session", {w::record::session, F::TYPE_MESSAGE}},
               {"settings", {w::record::settings, F::TYPE_MESSAGE}},
               {"dropped_samples", {w::record::dropped_samples, F::TYPE_UINT32}}});
  Fields block{{"ecu", {w::block::ecu, F::TYPE_UINT32}},
               {"signal", {w::block::signal, F::TYPE_ENUM}},
               {"period_ms", {w::block::period_ms, F::TYPE_UINT32}},
               {"time", {w::block::time, F::TYPE_SINT32}}};
  for (std::uint32_t k = 0; k < kMaxBlockSignals; ++k) {
    block["c" + std::to_string(k)] = {w::block::first_delta + k, F::TYPE_SINT32};
    block["r" + std::to_string(k)] = {w::block::first_run + k, F::TYPE_SINT32};
    block["n" + std::to_string(k)] = {w::block::first_run_length + k, F::TYPE_UINT32};
  }
  CHECK(fields_of(Block::descriptor()) == block);
  CHECK(fields_of(packmile::ClockReading::descriptor()) ==
        Fields{{"source", {w::clock_reading::source, F::TYPE_ENUM}},
               {"unix_ms", {w::clock_reading::unix_ms, F::TYPE_UINT64}},
               {"tick_ms", {w::clock_reading::tick_ms, F::TYPE_UINT64}},
               {"resolution_ms", {w::clock_reading::resolution_ms, F::TYPE_UINT32}}});
  CHECK(fields_of(Session::descriptor()) ==
        Fields{{"tick_ms", {w::session::tick_ms, F::TYPE_UINT64}},
               {"logger_version", {w::session::logger_version, F::TYPE_STRING}},
               {"van", {w::session::van, F::TYPE_STRING}},
               {"vin", {w::session::vin, F::TYPE_STRING}},
               {"reset_cause", {w::session::reset_cause, F::TYPE_ENUM}},
               {"clock", {w::session::clock, F::TYPE_MESSAGE}},
               {"bus", {w::session::bus, F::TYPE_MESSAGE}},
               {"ecu", {w::session::ecu, F::TYPE_MESSAGE}},
               {"poll", {w::session::poll, F::TYPE_MESSAGE}},
               {"counters", {w::session::counters, F::TYPE_MESSAGE}},
               {"clean_stop", {w::session::clean_stop, F::TYPE_BOOL}},
               {"listen_only_s", {w::session::listen_only_s, F::TYPE_UINT32}},
               {"not_found_in_row", {w::session::not_found_in_row, F::TYPE_UINT32}},
               {"owners_signal", {w::session::owners_signal, F::TYPE_MESSAGE}},
               {"fault", {w::session::fault, F::TYPE_MESSAGE}},
               {"supply_min_mv", {w::session::supply_min_mv, F::TYPE_UINT32}}});
  CHECK(fields_of(Fault::descriptor()) ==
        Fields{{"exception", {w::fault::exception, F::TYPE_UINT32}},
               {"program_counter", {w::fault::program_counter, F::TYPE_UINT32}},
               {"link_register", {w::fault::link_register, F::TYPE_UINT32}},
               {"status", {w::fault::status, F::TYPE_UINT32}}});
  CHECK(fields_of(Bus::descriptor()) ==
        Fields{{"kbit_per_s", {w::bus::kbit_per_s, F::TYPE_UINT32}},
               {"extended_ids", {w::bus::extended_ids, F::TYPE_BOOL}}});
  CHECK(fields_of(Ecu::descriptor()) ==
        Fields{{"response_id", {w::ecu::response_id, F::TYPE_UINT32}},
               {"name", {w::ecu::name, F::TYPE_STRING}},
               {"calibration_id", {w::ecu::calibration_id, F::TYPE_STRING}},
               {"supported_pids", {w::ecu::supported_pids, F::TYPE_BYTES}},
               {"supported_dids", {w::ecu::supported_dids, F::TYPE_BYTES}}});
  CHECK(fields_of(Poll::descriptor()) ==
        Fields{{"ecu", {w::poll::ecu, F::TYPE_UINT32}},
               {"pid", {w::poll::pid, F::TYPE_BYTES}},
               {"period_ms", {w::poll::period_ms, F::TYPE_UINT32}},
               {"by_did", {w::poll::by_did, F::TYPE_BOOL}},
               {"owners_did", {w::poll::owners_did, F::TYPE_UINT32}}});
  CHECK(fields_of(Counters::descriptor()) ==
        Fields{{"requests", {w::counters::requests, F::TYPE_UINT32}},
               {"responses", {w::counters::responses, F::TYPE_UINT32}},
               {"timeouts", {w::counters::timeouts, F::TYPE_UINT32}},
               {"negative_responses", {w::counters::negative_responses, F::TYPE_UINT32}},
               {"pending_responses", {w::counters::pending_responses, F::TYPE_UINT32}},
               {"isotp_dropped", {w::counters::isotp_dropped, F::TYPE_UINT32}},
               {"lines_discarded", {w::counters::lines_discarded, F::TYPE_UINT32}},
               {"adapter_reopened", {w::counters::adapter_reopened, F::TYPE_UINT32}},
               {"refused_transmits", {w::counters::refused_transmits, F::TYPE_UINT32}},
               {"requests_while_parked", {w::counters::requests_while_parked, F::TYPE_UINT32}},
               {"foreign_tester_events", {w::counters::foreign_tester_events, F::TYPE_UINT32}},
               {"card_write_failures", {w::counters::card_write_failures, F::TYPE_UINT32}},
               {"other_frames_per_s", {w::counters::other_frames_per_s, F::TYPE_UINT32}},
               {"echoed_frames", {w::counters::echoed_frames, F::TYPE_UINT32}},
               {"late_answers", {w::counters::late_answers, F::TYPE_UINT32}},
               {"reply_wait_ms", {w::counters::reply_wait_ms, F::TYPE_UINT32}},
               {"dropped_samples", {w::counters::dropped_samples, F::TYPE_UINT32}}});
  CHECK(fields_of(Settings::descriptor()) ==
        Fields{{"van", {w::settings::van, F::TYPE_STRING}},
               {"prepared_unix_ms", {w::settings::prepared_unix_ms, F::TYPE_UINT64}},
               {"driving_period_ms", {w::settings::driving_period_ms, F::TYPE_UINT32}},
               {"charging_period_ms", {w::settings::charging_period_ms, F::TYPE_UINT32}},
               {"driving_deadline_ms", {w::settings::driving_deadline_ms, F::TYPE_UINT32}},
               {"charging_deadline_ms", {w::settings::charging_deadline_ms, F::TYPE_UINT32}},
               {"battery", {w::settings::battery, F::TYPE_ENUM}},
               {"owners_signal", {w::settings::owners_signal, F::TYPE_MESSAGE}}});
  CHECK(fields_of(OwnersSignal::descriptor()) ==
        Fields{{"id", {w::owners_signal::id, F::TYPE_UINT32}},
               {"request_id", {w::owners_signal::request_id, F::TYPE_UINT32}},
               {"did", {w::owners_signal::did, F::TYPE_UINT32}},
               {"first_byte", {w::owners_signal::first_byte, F::TYPE_UINT32}},
               {"bytes", {w::owners_signal::bytes, F::TYPE_UINT32}},
               {"first_bit", {w::owners_signal::first_bit, F::TYPE_UINT32}},
               {"bits", {w::owners_signal::bits, F::TYPE_UINT32}},
               {"little_endian", {w::owners_signal::little_endian, F::TYPE_BOOL}},
               {"is_signed", {w::owners_signal::is_signed, F::TYPE_BOOL}},
               {"period_ms", {w::owners_signal::period_ms, F::TYPE_UINT32}},
               {"role", {w::owners_signal::role, F::TYPE_ENUM}},
               {"scale", {w::owners_signal::scale, F::TYPE_DOUBLE}},
               {"offset", {w::owners_signal::offset, F::TYPE_DOUBLE}},
               {"name", {w::owners_signal::name, F::TYPE_STRING}},
               {"unit", {w::owners_signal::unit, F::TYPE_STRING}},
               {"code_scale_q16", {w::owners_signal::code_scale_q16, F::TYPE_SINT32}},
               {"code_offset", {w::owners_signal::code_offset, F::TYPE_SINT32}}});
}

TEST_CASE("descriptor: the roles of owner's signals are those of packmile.proto") {
  const auto* roles = Role_descriptor();
  CHECK(roles->value_count() == static_cast<int>(kLastRole) + 1);
  CHECK(static_cast<int>(SignalRole::pack_a) == ROLE_PACK_A);
  CHECK(static_cast<int>(SignalRole::soc) == ROLE_SOC);
  CHECK(static_cast<int>(SignalRole::odometer) == ROLE_ODOMETER);
  CHECK(static_cast<int>(SignalRole::speed) == ROLE_SPEED);
  CHECK(static_cast<int>(SignalRole::pack_temp) == ROLE_PACK_TEMP);
  CHECK(static_cast<int>(SignalRole::charger_state) == ROLE_CHARGER_STATE);
  CHECK(static_cast<int>(SignalRole::reported_capacity) == ROLE_REPORTED_CAPACITY);
}

TEST_CASE("descriptor: packed where the encoder packs") {
  const Descriptor* block = Block::descriptor();
  for (int i = 0; i < block->field_count(); ++i) {
    const FieldDescriptor* field = block->field(i);
    CAPTURE(field->name());
    CHECK(field->is_packed() == field->is_repeated());
  }
}

TEST_CASE("descriptor: the catalogue and the enum Signal are one list") {
  const auto* list = Signal_descriptor();
  CHECK(list->value_count() == static_cast<int>(signal_catalogue().size()) + 1);
  for (const SignalEntry& entry : signal_catalogue()) {
    const auto* value = list->FindValueByNumber(entry.id);
    REQUIRE(value != nullptr);
    std::string name;
    for (const char c : entry.name)
      name += c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
    CHECK(value->name() == name);
  }
}
