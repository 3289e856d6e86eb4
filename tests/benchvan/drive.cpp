#include "benchvan/drive.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>

#include "benchvan/bench.hpp"
#include "benchvan/bench_error.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/clockwork.hpp"
#include "benchvan/fields_to_answer.hpp"
#include "benchvan/lines_file.hpp"
#include "benchvan/replay.hpp"
#include "benchvan/replay_scene.hpp"
#include "benchvan/report.hpp"
#include "benchvan/run_identity.hpp"

namespace packmile::benchvan {
namespace {

// After the last row: longer than the longest sector deadline (30 s), so that
// the core closes its sectors by its own rule.
constexpr Nanos kSilentEndNs = 45 * kNanosPerSecond;

// What the run is called, and so its ids and its answer times. Coding, sign and
// the serial line are left out: they change how the same drive is told.
RunIdentity identity_of(const DriveOptions& options) {
  RunIdentity identity;
  identity.add("command", "drive");
  for (const std::string& replay : options.replays) identity.add("replay", replay);
  identity.add("gap_minutes", fmt::format("{}", options.gap_minutes));
  identity.add("start", fmt::format("{}", options.start_unix_ms));
  identity.add("odometer_km", fmt::format("{}", options.odometer_km));
  identity.add("vin", options.vin);
  identity.add("poll_hz", fmt::format("{}", options.poll_hz));
  if (options.parked_hours > 0)
    identity.add("parked_hours", fmt::format("{}", options.parked_hours));
  identity.add("answers_service01", options.answers == Answers::service01 ? "1" : "0");
  if (options.answers == Answers::f4xx) identity.add("answers", "f4xx");
  if (options.answers == Answers::owner) identity.add("answers", "owner");
  for (const std::string& fault : options.fault_names) identity.add("fault", fault);
  return identity;
}

CardFile open_card(const DriveOptions& options, const RunIdentity& identity,
                   std::uint32_t poll_period_ms) {
  // A dangling link is not "no file": making it would write somewhere else.
  const auto status = std::filesystem::symlink_status(options.card);
  if (status.type() != std::filesystem::file_type::not_found) {
    return CardFile::continue_log(options.card, poll_period_ms);
  }
  std::vector<OwnersField> fields;
  if (options.answers == Answers::owner)
    fields = benchs_own_fields(options.faults.v_and_a_apart, options.faults.ids_29bit);
  return CardFile::prepare(options.card, kDriveCardBytes, identity.number("log id"),
                           {.van = kDriveVan,
                            .prepared_unix_ms = static_cast<std::uint64_t>(options.start_unix_ms),
                            .poll_period_ms = poll_period_ms,
                            .fields = std::move(fields)});
}

}  // namespace

int run_drive(const DriveOptions& options) {
  std::vector<Track> tracks;
  QuantitySet quantities;
  for (const std::string& path : options.replays) {
    ReplayFile file = read_replay(path);
    report_replay(path, file);
    quantities.merge(file.track.quantities());
    tracks.push_back(std::move(file.track));
  }
  const RunIdentity identity = identity_of(options);
  const std::uint32_t poll_period_ms =
      options.poll_hz > 0 ? static_cast<std::uint32_t>(std::lround(1000.0 / options.poll_hz)) : 0;
  CardFile card = open_card(options, identity, poll_period_ms);
  std::unique_ptr<Candump> candump;
  if (!options.candump.empty()) candump = std::make_unique<Candump>(options.candump);

  LinesFile lines(options.lines);

  ReplayScene scene(std::move(tracks), {.gap_ns = nanos_of_seconds(options.gap_minutes * 60.0),
                                        .odometer_km = options.odometer_km,
                                        .soc_frozen = options.faults.soc_frozen,
                                        .stays_awake = options.faults.stays_awake,
                                        .top_ups = options.faults.top_ups,
                                        .supply_low = options.faults.supply_low});
  Bench bench(
      {.line = options.line,
       .vin = options.vin,
       .quantities = quantities,
       .coding = options.coding,
       .faults = options.faults,
       .ecu_ms = options.ecu_ms,
       .answers = options.answers,
       .fields = fields_to_answer(options.card, card.fields(), options.answers, options.faults),
       .seed = identity.number("answer times"),
       .candump = candump.get(),
       .lines = lines.file()},
      scene);
  Clockwork clockwork(
      bench, scene, card,
      {.entropy = identity.number("boot"), .supply_measured = !options.faults.no_supply});
  clockwork.run(kNever, [&] { return scene.first_row_ns().has_value(); });
  const Nanos first_row_ns = *scene.first_row_ns();
  if (!options.faults.no_clock) clockwork.give_clock(first_row_ns, options.start_unix_ms);
  if (candump) candump->set_origin(options.start_unix_ms * 1000 - first_row_ns / 1000);
  clockwork.run(kNever, [&] { return scene.finished(); });
  clockwork.run(clockwork.now_ns() + kSilentEndNs + nanos_of_seconds(options.parked_hours * 3600));
  clockwork.stop();
  if (candump) candump->close();
  lines.close();

  const BenchCounts& counts = bench.counts();
  if (options.faults.stays_awake || options.faults.top_ups)
    fmt::print(stderr, "12 V battery: {:.2f} Ah beyond its own rest draw, topped up {} times\n",
               scene.battery().beyond_rest_ah(), scene.battery().top_ups());
  fmt::print(stderr, "{}: {:.0f} s in virtual time, {} exchanges, {} values, {} sectors\n",
             options.card, seconds_of(clockwork.now_ns()), counts.exchanges, counts.values,
             card.written());
  return report_bench(counts);
}

}  // namespace packmile::benchvan
