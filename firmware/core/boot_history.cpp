#include "core/boot_history.hpp"

#include "wire.hpp"

namespace packmile {
namespace {

// More than a boot of kResetWindowMs can have written at a sector each 10 s,
// and the session records beside them.
constexpr std::uint32_t kMostBases = 4;

}  // namespace

BootHistory::BootHistory(std::uint32_t log_id, std::uint32_t ring_sectors,
                         std::optional<std::uint32_t> newest_sequence)
    : log_id_(log_id), ring_(ring_sectors) {
  if (!newest_sequence || ring_ == 0) return;
  at_ = *newest_sequence;
  state_ = State::newest;
}

std::optional<std::uint32_t> BootHistory::wanted() const {
  if (state_ == State::done) return std::nullopt;
  return at_ % ring_;
}

std::optional<BootHistory::Seen> BootHistory::read(
    std::span<const std::uint8_t, kSectorBytes> sector) const {
  SectorHeader header;
  if (read_sector(sector, header) != SectorVerdict::good || header.log_id != log_id_ ||
      header.sequence != at_ || header.kind == SectorKind::settings)
    return std::nullopt;
  Seen seen{.boot_id = header.boot_id};
  wire::Reader record(sector_payload(sector, header));
  wire::Field field;
  while (record.next(field)) {
    if (field.number == wire::record::base_ms && field.type == wire::kVarint)
      seen.lasted_ms = field.value;
    if (field.number != wire::record::session || field.type != wire::kBytes) continue;
    wire::Reader session(field.bytes);
    wire::Field inner;
    while (session.next(inner)) {
      if (inner.type != wire::kVarint) continue;
      if (inner.number == wire::session::tick_ms) seen.lasted_ms = inner.value;
      if (inner.number == wire::session::clean_stop) seen.clean_stop = inner.value != 0;
      if (inner.number == wire::session::not_found_in_row)
        seen.not_found_in_row = static_cast<std::uint32_t>(inner.value);
    }
  }
  return seen;
}

void BootHistory::on_sector(std::span<const std::uint8_t, kSectorBytes> sector) {
  if (state_ != State::done) on_seen(read(sector));
}

void BootHistory::on_unreadable() {
  if (state_ != State::done) on_seen(std::nullopt);
}

// To the sector before sequence `below`, if there is one.
void BootHistory::go_back(std::uint32_t below) {
  if (below == 0) {
    state_ = State::done;
    return;
  }
  state_ = State::back;
  steps_ = 0;
  at_ = below - 1;
}

void BootHistory::on_seen(const std::optional<Seen>& seen) {
  switch (state_) {
    case State::newest:
      if (seen) not_found_in_row_ = seen->not_found_in_row;
      if (!seen || seen->clean_stop || seen->lasted_ms >= kResetWindowMs) {
        state_ = State::done;
        return;
      }
      boot_id_ = seen->boot_id;
      lasted_ms_ = seen->lasted_ms;
      state_ = State::base;
      steps_ = 0;
      at_ = at_ / kBootAlignSectors * kBootAlignSectors;
      return;
    case State::base:
      if (!seen || seen->boot_id != boot_id_) {
        // Beyond the first sector of the boot.
        go_back(at_ + kBootAlignSectors);
      } else if (at_ < kBootAlignSectors || ++steps_ == kMostBases) {
        state_ = State::done;
      } else {
        at_ -= kBootAlignSectors;
      }
      return;
    case State::back:
      if (seen && seen->boot_id != boot_id_) {
        too_often_ = !seen->clean_stop && seen->lasted_ms < kResetWindowMs &&
                     lasted_ms_ + seen->lasted_ms < kResetWindowMs;
        state_ = State::done;
      } else if (at_ == 0 || ++steps_ == kBootAlignSectors) {
        state_ = State::done;
      } else {
        --at_;
      }
      return;
    case State::done:
      return;
  }
}

}  // namespace packmile
