// packmile_soak: days of a van's life with faults that come and go at random
// moments, and an account of every sample that was answered.
//
// Input   --card FILE (must not exist), --days, --seed, --lines FILE for the judge
//         of what was sent
// Output  the account; exit 1 when a sample is unexplained or made up, a counter
//         does not cover what was lost, or the van was asked what it must not be
// Method  the real core in virtual time; boots that end by a stop or without power
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <ctime>
#include <memory>

#include "benchvan/bench.hpp"
#include "benchvan/bench_error.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/clockwork.hpp"
#include "benchvan/month_plan.hpp"
#include "benchvan/report.hpp"
#include "benchvan/vin.hpp"
#include "soak/account.hpp"
#include "soak/fault_plan.hpp"
#include "soak/soak_scene.hpp"

namespace {

using namespace packmile;
using namespace packmile::benchvan;
using packmile::soak::Account;
using packmile::soak::Fate;
using packmile::soak::FaultPlan;
using packmile::soak::SoakScene;

constexpr std::uint64_t kDefaultSeed = 20'261'125;
// 2026-01-05T00:00:00Z, a Monday: fixed, never the machine's clock.
constexpr std::int64_t kOriginUnixMs = 1767571200000;
constexpr std::uint64_t kCardBytes = 512u << 20;
constexpr Nanos kDayNs = 86400 * kNanosPerSecond;

struct Options {
  std::string card;
  std::string lines;
  std::uint64_t seed = kDefaultSeed;
  unsigned days = 30;
};

// How one boot begins and ends.
struct Boot {
  BootCause cause = BootCause::power_on;
  Nanos for_ns = 0;
  Nanos off_ns = 0;  // until the next
  bool power_cut = false;
};

// Days, or three resets within minutes: a logger that crashes must leave the van
// alone.
class BootPlan {
 public:
  explicit BootPlan(std::uint64_t seed) : generator_(seed) {}
  Boot next() {
    if (crashes_left_ == 0 && generator_.share() < 0.1) crashes_left_ = 3;
    Boot boot{.off_ns = nanos_of_seconds(generator_.between(2, 60)),
              .power_cut = generator_.share() < 0.5};
    if (crashes_left_ > 0) {
      --crashes_left_;
      boot.cause = BootCause::watchdog;
      boot.power_cut = true;
      boot.for_ns = nanos_of_seconds(generator_.between(20, 200));
      boot.off_ns = nanos_of_seconds(2);
    } else {
      // Ten minutes to three days, even in the logarithm.
      boot.for_ns = nanos_of_seconds(600 * std::pow(3 * 144.0, generator_.share()));
    }
    return boot;
  }

 private:
  Generator generator_;
  unsigned crashes_left_ = 0;
};

// What still happens while no logger is there to listen.
void pass_without_logger(Bench& bench, Nanos from_ns, Nanos until_ns) {
  std::array<std::uint8_t, 256> unread{};
  for (Nanos now_ns = from_ns; now_ns < until_ns;) {
    now_ns = std::clamp(bench.next_event_ns(), now_ns, until_ns);
    bench.advance(now_ns);
    while (bench.take_host_bytes(now_ns, unread) > 0) {
    }
    if (bench.next_event_ns() <= now_ns) now_ns += kNanosPerMs;
  }
}

double cpu_seconds() {
  timespec spent{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &spent);
  return static_cast<double>(spent.tv_sec) + 1e-9 * static_cast<double>(spent.tv_nsec);
}

void print(const Options& options, const soak::Totals& totals, const FaultPlan& plan) {
  fmt::print("{:<18}{:>6}{:>9}\n", "fault", "times", "hours");
  for (const FaultPlan::Count& one : plan.counts())
    if (one.times > 0) fmt::print("{:<18}{:>6}{:>9.1f}\n", one.name, one.times, one.hours);
  fmt::print("\n{:<50}{:>12}{:>10}\n", "what was answered", "samples", "answers");
  for (std::size_t i = 0; i < soak::kFates; ++i)
    fmt::print("{:<50}{:>12}{:>10}\n", soak::name_of(static_cast<Fate>(i)), totals.samples[i],
               totals.answers[i]);
  fmt::print("{:<50}{:>12}\n{:<50}{:>12}\n", "all", totals.answered_samples,
             "on the card and never answered", totals.invented);
  fmt::print(
      "\n{} days, {} boots, {} of them without a stop, {} sectors; {} spoiled lines, {} "
      "counted; from bus to port at most {:.0f} ms\n",
      options.days, totals.boots, totals.cuts, totals.sectors, totals.spoiled_lines,
      totals.discarded_lines, 1000 * seconds_of(totals.longest_way_ns));
  fmt::print("the core: {} bytes, {} times memory asked for\n", sizeof(Logger), totals.allocations);
  fmt::print("seed {}, {:.1f} s of one core\n", options.seed, cpu_seconds());
}

int soak_van(const Options& options) {
  fmt::print("seed {}\n", options.seed);
  std::fflush(stdout);
  Generator seeds(options.seed);
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> lines(
      options.lines.empty() ? nullptr : std::fopen(options.lines.c_str(), "w"), std::fclose);
  if (!options.lines.empty() && !lines)
    throw BenchError(fmt::format("{}: {}", options.lines, std::strerror(errno)));

  const MonthVan van{
      .name = "soak", .vin = invented_vin(7), .odometer_km = 41'000, .seed = seeds.next()};
  MonthPlan days(van, options.days, kOriginUnixMs);
  PlannedScene planned(days, van.odometer_km - 1200);
  SoakScene scene(planned);
  FaultPlan plan(seeds.next());
  BootPlan boots(seeds.next());
  QuantitySet quantities;
  for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a,
                                  Quantity::soc_pct, Quantity::ambient_c, Quantity::odometer_km})
    quantities.add(quantity);
  CardFile card =
      CardFile::prepare(options.card, kCardBytes, static_cast<std::uint32_t>(seeds.next() | 1),
                        {.van = van.name, .prepared_unix_ms = kOriginUnixMs});
  Account account(options.card);
  Faults of_make;  // what the van is by its make, drawn once
  of_make.ids_29bit = seeds.share() < 0.3;
  of_make.bus_250k = seeds.share() < 0.3;
  of_make.short_n_bs = seeds.share() < 0.5;
  fmt::print("a van of {}-bit ids at {} kbit/s\n", of_make.ids_29bit ? 29 : 11,
             of_make.bus_250k ? 250 : 500);
  Bench bench({.vin = van.vin,
               .quantities = quantities,
               .faults = of_make,
               .seed = seeds.next(),
               .lines = lines.get(),
               .watch = &account},
              scene);

  soak::Troubles troubles;
  const Nanos end_ns = static_cast<Nanos>(options.days) * kDayNs;
  for (Nanos now_ns = 0; now_ns < end_ns;) {
    const Boot boot = boots.next();
    const Nanos boot_end_ns = std::min(end_ns, now_ns + boot.for_ns);
    account.begin_boot(now_ns);
    bench.logger_starts();
    Clockwork clockwork(bench, scene, card,
                        {.entropy = static_cast<std::uint32_t>(seeds.next()),
                         .origin_unix_ms = kOriginUnixMs,
                         .supply_measured = !troubles.supply_unknown,
                         .reset_cause = boot.cause,
                         .power_up_ns = now_ns,
                         .watch = &account});
    const auto put_in_force = [&] {
      bench.switch_faults(clockwork.now_ns(), troubles.faults);
      scene.switch_faults(troubles.faults);
      clockwork.set_card_trouble(troubles.card);
      clockwork.set_supply_measured(!troubles.supply_unknown);
      account.card_in_trouble(troubles.card.busy_ns > 0 || troubles.card.refuses_writes);
    };
    put_in_force();
    while (clockwork.now_ns() < boot_end_ns) {
      clockwork.run(std::min(boot_end_ns, plan.next_change_ns()));
      if (clockwork.now_ns() < plan.next_change_ns()) continue;
      troubles = plan.at(clockwork.now_ns());
      troubles.faults.ids_29bit = of_make.ids_29bit;
      troubles.faults.bus_250k = of_make.bus_250k;
      troubles.faults.short_n_bs = of_make.short_n_bs;
      put_in_force();
    }
    const bool power_cut = boot.power_cut && clockwork.now_ns() < end_ns;
    if (!power_cut) {
      // A card that refuses every write would keep it from ever ending.
      clockwork.set_card_trouble({});
      account.stopping();
      clockwork.stop();
    }
    account.end_boot({.counters = clockwork.logger().counters(),
                      .power_cut = power_cut,
                      .at_ns = clockwork.now_ns()});
    now_ns = clockwork.now_ns() + boot.off_ns;
    pass_without_logger(bench, clockwork.now_ns(), now_ns);
  }

  const soak::Totals& totals = account.close();
  print(options, totals, plan);
  for (const std::string& words : totals.wrong) fmt::print("FAILED {}\n", words);
  const int forbidden = report_bench(bench.counts());
  return totals.wrong.empty() && forbidden == 0 ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app{"Days of a van's life with random faults, every answered sample accounted for.",
               "packmile_soak"};
  app.add_option("--card", options.card, "log file to make")->required();
  app.add_option("--days", options.days, "how many days")
      ->capture_default_str()
      ->check(CLI::Range(1u, 60u));
  app.add_option("--seed", options.seed, "of everything drawn")->capture_default_str();
  app.add_option("--lines", options.lines, "record every line of the logger, with its second");
  CLI11_PARSE(app, argc, argv);
  try {
    return soak_van(options);
  } catch (const std::exception& error) {
    fmt::print(stderr, "packmile_soak: {}\n", error.what());
  }
  return 1;
}
