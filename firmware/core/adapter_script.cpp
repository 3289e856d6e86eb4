#include "core/adapter_script.hpp"

namespace packmile {

void AdapterScript::start(std::span<const AdapterCommand> commands) {
  count_ = 0;
  at_ = 0;
  in_flight_ = false;
  answered_ = false;
  for (const AdapterCommand command : commands)
    if (count_ < kMaxScriptCommands) command_[count_++] = command;
}

std::optional<AdapterCommand> AdapterScript::take_command(Tick now) {
  if (!running() || in_flight_) return std::nullopt;
  in_flight_ = true;
  deadline_ = now + kAdapterReplyMs;
  return command_[at_];
}

void AdapterScript::next() {
  in_flight_ = false;
  ++at_;
}

void AdapterScript::on_reply() {
  if (!running() || !in_flight_) return;
  answered_ = true;
  next();
}

void AdapterScript::on_time(Tick now) {
  if (running() && in_flight_ && now >= deadline_) next();
}

std::optional<Tick> AdapterScript::deadline() const {
  if (!running() || !in_flight_) return std::nullopt;
  return deadline_;
}

}  // namespace packmile
