#include "fake_van.hpp"

#include <array>
#include <cstdio>

namespace packmile::test {
namespace {

std::string line_of(std::uint32_t id, const Bytes& data) {
  char text[40];
  std::string line;
  std::snprintf(text, sizeof text, id > 0x7FF ? "T%08X8" : "t%03X8", id);
  line = text;
  for (std::size_t i = 0; i < 8; ++i) {
    std::snprintf(text, sizeof text, "%02X", i < data.size() ? data[i] : 0xAA);
    line += text;
  }
  return line + "\r";
}

std::uint32_t request_id(std::uint32_t response_id) {
  if (response_id <= 0x7FF) return response_id - 8;
  return 0x18DA00F1 | (response_id & 0xFF) << 8;
}

}  // namespace

std::function<Bytes(Tick)> constant(Bytes data) {
  return [data](Tick) { return data; };
}

Bytes pack_data(std::uint16_t volts_raw, std::uint16_t amps_raw, std::uint8_t support) {
  return {support,
          0x00,
          static_cast<std::uint8_t>(volts_raw >> 8),
          static_cast<std::uint8_t>(volts_raw),
          static_cast<std::uint8_t>(amps_raw >> 8),
          static_cast<std::uint8_t>(amps_raw)};
}

FakeVan::FakeVan(std::uint32_t log_sectors)
    : card(static_cast<std::size_t>(log_sectors) * kSectorBytes) {
  prepare({.van = "heron"});
}

void FakeVan::prepare(const SettingsFields& settings, std::uint32_t log_id) {
  const Bytes record = encode_settings(settings);
  std::copy(record.begin(), record.end(), card.begin() + kSectorHeaderBytes);
  seal_sector(std::span<std::uint8_t, kSectorBytes>(card.data(), kSectorBytes),
              {.kind = SectorKind::settings,
               .payload_bytes = static_cast<std::uint16_t>(record.size()),
               .log_id = log_id,
               .ring_sectors = ring_sectors_of(card.size() / kSectorBytes)});
}

void FakeVan::power_up(std::uint32_t entropy) {
  storage_.clear();
  storage_.emplace_back(PowerUp{.card_sectors = card.size() / kSectorBytes,
                                .layout = layout,
                                .reset_cause = reset_cause,
                                .entropy = entropy,
                                .fault = fault});
  logger_ = &storage_.front();
  now_ = 0;
  to_logger_.clear();
  held_.clear();
  line_.clear();
  sent.clear();
  heard.clear();
  mode_ = 'C';
  exchange_with_port();
}

void FakeVan::plug_adapter() {
  logger_->on_adapter(now_, AdapterLink::up);
  exchange_with_port();
}

void FakeVan::unplug_adapter() {
  logger_->on_adapter(now_, AdapterLink::lost);
  to_logger_.clear();
  mode_ = 'C';
  exchange_with_port();
}

void FakeVan::say(Tick delay_ms, const std::string& line) {
  to_logger_.emplace(now_ + delay_ms, line);
}

void FakeVan::exchange_with_port() {
  for (int guard = 0; guard < 100'000; ++guard) {
    std::array<std::uint8_t, 16> out{};
    bool busy = false;
    while (const std::size_t n = logger_->take_bytes(out)) {
      busy = true;
      for (std::size_t i = 0; i < n; ++i) {
        if (out[i] != '\r') {
          line_ += static_cast<char>(out[i]);
          continue;
        }
        const std::string line = line_;
        line_.clear();
        on_line(line);
      }
    }
    if (answer_card) {
      if (const auto request = logger_->take_card_request()) {
        busy = true;
        const std::size_t at = static_cast<std::size_t>(request->address) * kSectorBytes;
        const bool inside = at + kSectorBytes <= card.size();
        if (request->operation == CardOperation::write) {
          const bool fails = !inside || fail_writes != 0;
          if (fail_writes > 0) --fail_writes;
          written.push_back(request->address);
          if (!fails)
            std::copy_n(request->sector, kSectorBytes,
                        card.begin() + static_cast<std::ptrdiff_t>(at));
          logger_->on_card(now_, {.ok = !fails});
        } else {
          const bool fails = !inside || fail_reads != 0 || request->address == fail_reads_at ||
                             (fail_ring_reads && request->address >= kHeadSectors);
          if (fail_reads > 0) --fail_reads;
          logger_->on_card(now_, {.ok = !fails, .sector = fails ? nullptr : card.data() + at});
        }
      }
    }
    if (!busy) return;
  }
}

void FakeVan::turn() {
  ++turns;
  while (!to_logger_.empty() && to_logger_.begin()->first <= now_) {
    std::string text;
    do {
      heard.emplace_back(now_, to_logger_.begin()->second);
      text += to_logger_.begin()->second;
      if (to_logger_.begin()->second.starts_with('t')) text += after_frame;
      to_logger_.erase(to_logger_.begin());
    } while (chunk != 0 && !to_logger_.empty() && to_logger_.begin()->first <= now_);
    const std::span<const std::uint8_t> bytes(reinterpret_cast<const std::uint8_t*>(text.data()),
                                              text.size());
    const std::size_t step = chunk == 0 ? bytes.size() : chunk;
    for (std::size_t at = 0; at < bytes.size(); at += step)
      logger_->on_bytes(now_, bytes.subspan(at, std::min(step, bytes.size() - at)));
  }
  if (now_ >= logger_->deadline()) logger_->on_time(now_);
  exchange_with_port();
}

void FakeVan::run_until(Tick end) {
  while (true) {
    Tick next = logger_->deadline();
    if (!to_logger_.empty()) next = std::min(next, to_logger_.begin()->first);
    if (next > end) break;
    now_ = std::max(now_, next);
    turn();
  }
  now_ = end;
}

void FakeVan::stop() {
  logger_->on_stop(now_);
  exchange_with_port();
  for (int i = 0; i < 1000 && !logger_->stopped(); ++i) run_until(now_ + 10);
}

void FakeVan::on_line(const std::string& line) {
  sent.emplace_back(now_, line);
  if (line.empty()) return;
  const char c = line[0];
  if (c == 'C' || c == 'S' || c == 'O' || c == 'L') {
    if (c != 'S') mode_ = c;
    if (confirms) say(confirm_after_ms, "\r");
    return;
  }
  if (c == 'F') {
    if (confirms) say(confirm_after_ms, "F00\r");
    return;
  }
  if (c != 't' && c != 'T') return;
  if (mode_ != 'O') {
    say(confirm_after_ms, "\a");
    return;
  }
  if (confirms && acknowledged) say(confirm_after_ms, c == 't' ? "z\r" : "Z\r");
  if (!awake || !acknowledged) return;
  const std::size_t digits = c == 't' ? 3 : 8;
  const auto id = static_cast<std::uint32_t>(std::stoul(line.substr(1, digits), nullptr, 16));
  Bytes data;
  for (std::size_t i = digits + 2; i + 1 < line.size(); i += 2)
    data.push_back(static_cast<std::uint8_t>(std::stoul(line.substr(i, 2), nullptr, 16)));
  on_frame(id, data, now_ + answer_after_ms);
}

void FakeVan::on_frame(std::uint32_t id, const Bytes& data, Tick at) {
  for (const FakeEcu& ecu : ecus) {
    const bool extended = ecu.response_id > 0x7FF;
    const bool functional = id == (extended ? 0x18DB33F1u : 0x7DFu);
    if (!functional && id != request_id(ecu.response_id)) continue;
    if (data[0] >> 4 == 3) {
      for (const std::string& frame : held_[ecu.response_id]) to_logger_.emplace(at, frame);
      held_[ecu.response_id].clear();
      continue;
    }
    const Bytes request(data.begin() + 1, data.begin() + 1 + (data[0] & 7));
    const Bytes reply = reply_of(ecu, request, functional);
    if (!reply.empty()) answer(ecu, reply, at);
  }
}

void FakeVan::answer(const FakeEcu& ecu, const Bytes& message, Tick at) {
  Bytes frame;
  if (message.size() <= 7) {
    frame.push_back(static_cast<std::uint8_t>(message.size()));
    frame.insert(frame.end(), message.begin(), message.end());
    to_logger_.emplace(at, line_of(ecu.response_id, frame));
    return;
  }
  frame = {static_cast<std::uint8_t>(0x10 | message.size() >> 8),
           static_cast<std::uint8_t>(message.size())};
  frame.insert(frame.end(), message.begin(), message.begin() + 6);
  to_logger_.emplace(at, line_of(ecu.response_id, frame));
  auto& held = held_[ecu.response_id];
  held.clear();
  std::uint8_t sequence = 1;
  for (std::size_t i = 6; i < message.size(); i += 7) {
    frame = {static_cast<std::uint8_t>(0x20 | (sequence++ & 0x0F))};
    for (std::size_t k = i; k < i + 7 && k < message.size(); ++k) frame.push_back(message[k]);
    held.push_back(line_of(ecu.response_id, frame));
  }
}

Bytes FakeVan::reply_of(const FakeEcu& ecu, const Bytes& request, bool functional) const {
  const auto bitmap = [](std::uint8_t base, const auto& has) {
    Bytes bits(4);
    for (unsigned i = 1; i <= 32; ++i) {
      bool set = false;
      if (i < 32) set = has(static_cast<std::uint8_t>(base + i));
      for (unsigned later = base + 32u; i == 32 && later <= 0xFF; ++later)
        if (later > base + 32u && has(static_cast<std::uint8_t>(later))) set = true;
      if (set) bits[(i - 1) / 8] |= static_cast<std::uint8_t>(0x80 >> ((i - 1) % 8));
    }
    return bits;
  };
  Bytes reply;
  if (request[0] == 0x22) {
    reply = {0x62};
    for (std::size_t i = 1; i + 1 < request.size(); i += 2) {
      const auto did = static_cast<std::uint16_t>(request[i] << 8 | request[i + 1]);
      const auto pid = static_cast<std::uint8_t>(did);
      Bytes data;
      if (const auto own = ecu.dids.find(did); own != ecu.dids.end()) {
        data = own->second(now_);
      } else if (ecu.by_id && did == 0xF190) {
        data = Bytes(ecu.vin.begin(), ecu.vin.end());
      } else if (ecu.by_id && did >> 8 == 0xF4 && (pid & 0x1F) == 0) {
        data = bitmap(pid, [&](std::uint8_t p) { return ecu.pids.contains(p); });
      } else if (ecu.by_id && did >> 8 == 0xF4) {
        if (const auto it = ecu.pids.find(pid); it != ecu.pids.end()) data = it->second(now_);
      }
      if (data.empty()) continue;
      reply.insert(reply.end(), {request[i], request[i + 1]});
      reply.insert(reply.end(), data.begin(), data.end());
    }
    if (reply.size() > 1) return reply;
    return functional ? Bytes{} : Bytes{0x7F, 0x22, 0x31};
  }
  if (ecu.by_id || ecu.pids.empty()) return functional ? Bytes{} : Bytes{0x7F, request[0], 0x11};
  if (request[0] == 0x01) {
    reply = {0x41};
    if (!ecu.answers_multiple && request.size() > 2) return {};
    for (std::size_t i = 1; i < request.size(); ++i) {
      const std::uint8_t pid = request[i];
      if (ecu.refuses_pid != 0 && pid == ecu.refuses_pid) return {0x7F, 0x01, 0x12};
      Bytes data;
      if ((pid & 0x1F) == 0) {
        data = bitmap(pid, [&](std::uint8_t p) { return ecu.pids.contains(p); });
      } else if (const auto it = ecu.pids.find(pid); it != ecu.pids.end()) {
        data = it->second(now_);
      }
      if (data.empty()) continue;
      reply.push_back(pid);
      reply.insert(reply.end(), data.begin(), data.end());
    }
    return reply.size() > 1 ? reply : Bytes{};
  }
  if (request[0] != 0x09) return functional ? Bytes{} : Bytes{0x7F, request[0], 0x11};
  const std::map<std::uint8_t, std::pair<std::string, std::size_t>> items{
      {0x02, {ecu.vin, 17}}, {0x04, {ecu.calibration_id, 16}}, {0x0A, {ecu.name, 20}}};
  const std::uint8_t type = request[1];
  if (type == 0) {
    reply = {0x49, 0x00};
    const Bytes bits = bitmap(0, [&](std::uint8_t p) {
      const auto it = items.find(p);
      return it != items.end() && !it->second.first.empty();
    });
    reply.insert(reply.end(), bits.begin(), bits.end());
    return reply;
  }
  const auto it = items.find(type);
  if (it == items.end() || it->second.first.empty())
    return functional ? Bytes{} : Bytes{0x7F, 0x09, 0x12};
  reply = {0x49, type, 0x01};
  for (std::size_t i = 0; i < it->second.second; ++i)
    reply.push_back(i < it->second.first.size() ? static_cast<std::uint8_t>(it->second.first[i])
                                                : std::uint8_t{0});
  return reply;
}

std::size_t FakeVan::count_sent(Tick from, Tick to, const std::string& prefix) const {
  std::size_t n = 0;
  for (const auto& [tick, line] : sent)
    if (tick >= from && tick < to && line.starts_with(prefix)) ++n;
  return n;
}

std::vector<FakeVan::Found> FakeVan::sectors() const {
  std::vector<Found> found;
  for (std::uint32_t a = kHeadSectors; a < card.size() / kSectorBytes; ++a) {
    const std::span<const std::uint8_t, kSectorBytes> sector(
        card.data() + static_cast<std::size_t>(a) * kSectorBytes, kSectorBytes);
    Found one;
    if (read_sector(sector, one.header) != SectorVerdict::good) continue;
    one.address = a;
    one.record = decode_record(sector_payload(sector, one.header));
    found.push_back(std::move(one));
  }
  return found;
}

std::vector<DecodedSample> FakeVan::samples(std::uint32_t signal) const {
  std::vector<DecodedSample> out;
  for (const Found& one : sectors())
    for (const DecodedSample& sample : one.record.samples)
      if (sample.signal == signal) out.push_back(sample);
  return out;
}

std::vector<FakeEcu> plain_van() {
  FakeEcu controller;
  controller.response_id = 0x7E8;
  // Passes the check digit of 49 CFR 565; nobody's van.
  controller.vin = "1M8GDM9AXKP042788";
  controller.name = "VCU-VehicleControl";
  controller.calibration_id = "CAL0001";
  controller.pids[0x0D] = constant({0x32});
  controller.pids[0x5B] = constant({0x80});
  controller.pids[0x42] = constant({0x36, 0xB0});
  controller.pids[0x46] = constant({0x4B});
  controller.pids[0xA6] = constant({0x00, 0x01, 0xE2, 0x40});
  controller.pids[0x9A] = [](Tick t) {
    return pack_data(static_cast<std::uint16_t>(0x5780 + t / 1000), 0x00FA);
  };
  FakeEcu charger;
  charger.response_id = 0x7E9;
  charger.pids[0x42] = constant({0x36, 0xB0});
  return {controller, charger};
}

FakeVan started_van(std::uint32_t log_sectors) {
  FakeVan van(log_sectors);
  van.ecus = plain_van();
  van.power_up();
  return van;
}

}  // namespace packmile::test
