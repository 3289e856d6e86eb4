#include "benchvan/month.hpp"

#include <fmt/format.h>
#include <malloc.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <optional>
#include <string_view>

#include "benchvan/bench_error.hpp"
#include "benchvan/direct_logger.hpp"
#include "benchvan/month_plan.hpp"
#include "benchvan/out_files.hpp"
#include "benchvan/prices.hpp"
#include "benchvan/report.hpp"
#include "benchvan/run_identity.hpp"
#include "benchvan/truth.hpp"
#include "benchvan/van_run.hpp"
#include "benchvan/van_traits.hpp"
#include "benchvan/vin.hpp"

namespace packmile::benchvan {
namespace {

namespace fs = std::filesystem;

constexpr std::array<std::string_view, 12> kVanNames{"willow", "alder",  "rowan", "hazel",
                                                     "aspen",  "linden", "tamar", "severn",
                                                     "tweed",  "medway", "avon",  "trent"};

std::string van_name(unsigned number) {
  const std::string_view name = kVanNames[number % kVanNames.size()];
  const unsigned lap = number / static_cast<unsigned>(kVanNames.size());
  return lap == 0 ? std::string(name) : fmt::format("{}-{}", name, lap + 1);
}

}  // namespace

int run_month(const MonthOptions& options) {
  if (const std::string fault = fault_of_the_line(options.fault_names);
      options.direct && !fault.empty()) {
    throw BenchError(
        fmt::format("--fault {} is played on the serial line, which --direct leaves out\n"
                    "  leave out --direct",
                    fault));
  }
  if (options.direct && options.lines)
    throw BenchError("--lines: with --direct there are none\n  leave out one of the two");
  const fs::path out(options.out);
  make_folder(out);
  const fs::path fleet_path = out / "fleet.toml";
  const fs::path notes_path = out / "notes.csv";
  const fs::path truth_path = out / "truth.json";
  for (const fs::path& path : {fleet_path, notes_path, truth_path}) refuse_existing(path);
  for (unsigned i = 0; i < options.vans; ++i) {
    refuse_existing(out / (van_name(i) + ".log"));
    if (options.lines) refuse_existing(out / (van_name(i) + ".lines"));
  }

  // The columns of an act are made anew for each one: kept by the process, their
  // pages are not fetched from the kernel every time.
  constexpr int kKeptBytes = 64 << 20;
  mallopt(M_MMAP_THRESHOLD, kKeptBytes);
  mallopt(M_TRIM_THRESHOLD, kKeptBytes);

  std::ofstream fleet = make_file(fleet_path);
  fleet << "zone = \"Europe/London\"\ncurrency = \"GBP\"\n";
  std::ofstream notes = make_file(notes_path);
  notes << "van,date,kind,v1,v2,v3,remark\n";
  nlohmann::ordered_json vans = nlohmann::ordered_json::array();
  int exit_code = 0;

  for (unsigned i = 0; i < options.vans; ++i) {
    RunIdentity identity;
    identity.add("command", "month");
    identity.add("van", fmt::format("{}", i));
    identity.add("days", fmt::format("{}", options.days));
    identity.add("seed", fmt::format("{}", options.seed));
    for (const std::string& fault : options.fault_names) identity.add("fault", fault);
    for (const std::string& mechanism : options.mechanism_names)
      identity.add("mechanism", mechanism);
    if (options.start_unix_ms != kMonthStartUnixMs)
      identity.add("start", iso_time(options.start_unix_ms));

    // The life of a van hangs on seed and van alone: a longer month begins like
    // a shorter one.
    Generator life(options.seed * 1000003 + i);
    MonthVan van{.name = van_name(i),
                 .vin = invented_vin(100 + i),
                 .odometer_km = std::round(life.between(12000, 78000)),
                 .seed = life.next()};
    van.traits = draw_traits(options.mechanisms, van.seed);
    const double cpu_from_s = cpu_seconds();
    MonthPlan plan(van, options.days, options.start_unix_ms);
    const VanRunCounts counts =
        run_van(van, plan, identity,
                {.card = (out / (van.name + ".log")).string(),
                 .card_bytes = kMonthCardBytes,
                 .lines = options.lines ? (out / (van.name + ".lines")).string() : "",
                 .start_unix_ms = options.start_unix_ms,
                 .clock = !options.faults.no_clock,
                 .speed_cut = options.faults.speed_cut || options.mechanisms.speed_cut,
                 .direct = options.direct,
                 .faults = options.faults});

    const nlohmann::ordered_json truth = plan.truth();
    vans.push_back(truth);
    fleet << fmt::format(
        "\n[[van]]\nname = \"{}\"\nvin = \"{}\"\nnominal_kwh = {:.1f}\nnominal_ah = {:.1f}\n"
        "onboard_charger_kw = {:.1f}\n",
        van.name, van.vin, kNominalKwh, kNominalAh, kOnboardChargerKw);
    std::vector<OdometerNote> readings = plan.notes();
    readings.push_back({plan.end_unix_ms(), truth["throughput"]["odometer_km"].get<double>()});
    for (const OdometerNote& note : readings) {
      // A dashboard shows whole kilometres.
      notes << fmt::format("{},{},odometer,{:.0f},,,\n", van.name, iso_time(note.unix_ms),
                           std::floor(note.odometer_km));
    }
    for (const nlohmann::ordered_json& session : truth["sessions"]) {
      if (session["place"] != kPost) continue;
      const Receipt receipt = receipt_of(session["grid_kwh"].get<double>());
      notes << fmt::format("{},{},receipt,{:.2f},{:.2f},{},\n", van.name,
                           session["end"].get<std::string>(), receipt.kwh, receipt.sum, kPost);
    }
    fmt::print("{}: {} days, {} trips, {} charges, {} values, {} sectors, {:.1f} s of one core\n",
               van.name, options.days, truth["trips"].size(), truth["sessions"].size(),
               counts.bench.values, counts.sectors, cpu_seconds() - cpu_from_s);
    std::fflush(stdout);
    if (report_bench(counts.bench) != 0) exit_code = 1;
  }
  std::ofstream truth = make_file(truth_path);
  truth << nlohmann::ordered_json{{"vans", vans}}.dump(1) << '\n';
  close_file(truth, truth_path);
  fleet << price_blocks();
  close_file(fleet, fleet_path);
  close_file(notes, notes_path);
  return exit_code;
}

}  // namespace packmile::benchvan
