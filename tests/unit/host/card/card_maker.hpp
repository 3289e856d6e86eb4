// Makes a card in memory, sector by sector, for tests and benchmarks. Samples
// go through the logger's encoder; session and settings records are written by
// libprotobuf, so that they check the hand-written ones.
#pragma once
#include <cstdint>
#include <filesystem>
#include <initializer_list>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "card/boot_clock.hpp"
#include "card/owners_definition.hpp"
#include "columns/record_encoder.hpp"
#include "sector/sector.hpp"
#include "tick.hpp"

namespace packmile::test {

inline constexpr char kVin[] = "1M8GDM9AXKP042788";  // check digit right: 49 CFR 565

struct SessionText {
  std::string vin;
  std::optional<ClockSample> clock;
  std::uint32_t supply_min_mv = 0;
  std::uint32_t requests_while_parked = 0;
  std::uint32_t dropped_samples = 0;
  std::uint32_t ecu = 0x7E8;
  std::string calibration_id;
  std::string supported_pids;  // bitmaps
  std::string supported_dids;
  std::vector<OwnersDefinition> owners_signals{};  // ids from 1000 on
  std::vector<std::uint8_t> polled_pids{};         // of `ecu`, in one request
  bool by_did = false;
};

class CardMaker {
 public:
  explicit CardMaker(std::uint32_t log_id, std::uint32_t ring_sectors = 128);

  void settings(const std::string& van, std::uint64_t prepared_unix_ms,
                const std::vector<OwnersDefinition>& owners_signals = {});
  // The next sector is the first of this boot, on the next multiple of 32.
  void boot(std::uint32_t boot_id);
  void van_tag(std::uint32_t tag) { van_tag_ = tag; }
  void session(Tick tick, const SessionText& text);
  // Seals sectors as the logger does: when full, or 10 s old.
  void response(Tick tick, const BlockKey& key, std::initializer_list<std::uint32_t> words);
  void close();
  // A sealed sector with any payload at the next place.
  void sector(SectorKind kind, std::span<const std::uint8_t> payload);

  [[nodiscard]] std::vector<std::uint8_t>& bytes() { return bytes_; }
  [[nodiscard]] std::uint32_t next_sequence() const { return sequence_; }
  [[nodiscard]] std::uint64_t samples() const { return samples_; }
  [[nodiscard]] std::uint64_t payload_bytes() const { return payload_bytes_; }
  // Where the sector of a sequence number lies in bytes().
  [[nodiscard]] std::size_t offset_of(std::uint32_t sequence) const;
  void fill_sector(std::size_t address, std::uint8_t value);

 private:
  void put(SectorKind kind, std::span<const std::uint8_t> payload, std::size_t address,
           std::uint32_t sequence, std::uint32_t boot_id);

  std::vector<std::uint8_t> bytes_;
  std::uint32_t log_id_;
  std::uint32_t ring_sectors_;
  std::uint32_t boot_id_ = 0;
  std::uint32_t sequence_ = 0;
  std::uint32_t van_tag_ = 0;
  RecordEncoder encoder_;
  std::uint64_t samples_ = 0;
  std::uint64_t payload_bytes_ = 0;
};

// A folder that vanishes with the object.
class TempFolder {
 public:
  TempFolder();
  TempFolder(const TempFolder&) = delete;
  TempFolder& operator=(const TempFolder&) = delete;
  ~TempFolder();
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  std::filesystem::path write(const std::string& name, std::span<const std::uint8_t> bytes) const;

 private:
  std::filesystem::path path_;
};

BlockKey pack_key(std::uint32_t period_ms, std::uint32_t ecu = 0x7E8);  // 9A and 0D
// One signal alone.
BlockKey key_of(SignalId signal, std::uint32_t period_ms, std::uint32_t ecu = 0x7E8);
BlockKey soc_key(std::uint32_t period_ms, std::uint32_t ecu = 0x7E8);  // 5B and 42

}  // namespace packmile::test
