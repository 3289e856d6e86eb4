#include "benchvan/van_run.hpp"

#include "benchvan/card_file.hpp"
#include "benchvan/clockwork.hpp"
#include "benchvan/direct_logger.hpp"
#include "benchvan/lines_file.hpp"
#include "benchvan/planned_scene.hpp"

namespace packmile::benchvan {
namespace {

constexpr Nanos kRunSilentEndNs = 45 * kNanosPerSecond;
constexpr double kKmSinceCodesCleared = 1200;

}  // namespace

VanRunCounts run_van(const MonthVan& van, MonthPlan& plan, const RunIdentity& identity,
                     const VanRunSetup& setup) {
  PlannedScene scene(plan, van.odometer_km - kKmSinceCodesCleared);
  QuantitySet quantities;
  for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a,
                                  Quantity::soc_pct, Quantity::ambient_c, Quantity::odometer_km}) {
    quantities.add(quantity);
  }
  LinesFile lines(setup.lines);
  Bench bench({.vin = van.vin,
               .quantities = quantities,
               .coding = {.speed_cut = setup.speed_cut},
               .faults = setup.faults,
               .answers = setup.answers,
               .seed = identity.number("answer times"),
               .lines = lines.file()},
              scene);
  CardFile card =
      CardFile::prepare(setup.card, setup.card_bytes, identity.number("log id"),
                        {.van = van.name,
                         .prepared_unix_ms = static_cast<std::uint64_t>(setup.start_unix_ms),
                         .poll_period_ms = setup.poll_period_ms});
  std::optional<std::int64_t> origin_unix_ms;
  if (setup.clock) origin_unix_ms = setup.start_unix_ms;
  if (setup.direct) {
    DirectLogger logger(bench, scene, card,
                        {.log_id = identity.number("log id"),
                         .entropy = identity.number("boot"),
                         .van = van.name,
                         .origin_unix_ms = origin_unix_ms,
                         .poll_period_ms = setup.poll_period_ms});
    logger.run(kRunSilentEndNs);
  } else {
    Clockwork clockwork(bench, scene, card,
                        {.entropy = identity.number("boot"), .origin_unix_ms = origin_unix_ms});
    clockwork.run(kNever, [&] { return scene.finished(); });
    clockwork.run(clockwork.now_ns() + kRunSilentEndNs);
    clockwork.stop();
  }
  lines.close();
  return {.bench = bench.counts(), .sectors = card.written()};
}

}  // namespace packmile::benchvan
