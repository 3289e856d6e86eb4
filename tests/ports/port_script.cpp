// packmile_port_script record CARD SCRIPT WHICH     makes a script, and what it leaves
//                                                  on the card
// packmile_port_script settings CARD                puts kPeriodMs into the card's settings
// packmile_port_script play CARD LINE BREACH        a port in this process: the adapter's
//                                                  line is descriptor LINE, steps on stdin
//   WHICH    day      wake, discovery, a drive, standing until it is taken for parked,
//                     sleep, power cut, a second boot and a charge
//            owner    a van that answers what the card's settings define, for two boots
//            pulled   the adapter unplugged in a drive and back, then a clean stop
//   BREACH   none, or a word of kBreaches
#include <fmt/format.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <unistd.h>

#include "benchvan/bench.hpp"
#include "benchvan/bench_error.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/planned_scene.hpp"
#include "benchvan/replay.hpp"
#include "ports/recorder.hpp"
#include "ports/steps.hpp"
#include "ports/virtual_port.hpp"

namespace {

using namespace packmile;
using namespace packmile::benchvan;
using packmile::ports::Breach;

constexpr std::array<std::pair<std::string_view, Breach>, 6> kBreaches{{
    {"none", Breach::none},
    {"time-first", Breach::time_first},
    {"late", Breach::late},
    {"time-forgotten", Breach::time_forgotten},
    {"one-take", Breach::one_take},
    {"tick-behind", Breach::tick_behind},
}};
constexpr std::string_view kVin = "0PMLVAN19T0000042";
constexpr double kClearedAtKm = 38'000;
// How long a Linux port leaves an adapter that has gone.
constexpr Tick kAwayMs = 500;

// The pack is asked for less often than by the logger's own schedule: a van that stands
// for 5 minutes before it is taken for parked makes most of the turns.
constexpr std::uint32_t kPeriodMs = 1000;

CardFile open_card(const std::string& path) { return CardFile::continue_log(path, kPeriodMs); }

class Acts : public ActSource {
 public:
  void add(double wake_s, const std::string& rows) {
    ReplayFile file = parse_replay(
        "time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c,odometer_km\n" + rows, "script");
    acts_.push_back({.wake_ns = nanos_of_seconds(wake_s), .track = std::move(file.track)});
  }
  [[nodiscard]] std::optional<Act> next() override {
    if (taken_ == acts_.size()) return std::nullopt;
    return std::move(acts_[taken_++]);
  }

 private:
  std::vector<Act> acts_;
  std::size_t taken_ = 0;
};

// Invented: speed in saw teeth, a pack that follows it.
std::string drive(double from_s, double to_s) {
  std::string rows;
  for (double s = from_s; s < to_s; s += 1) {
    const double in_tooth = static_cast<double>(static_cast<int>(s) % 40);
    const double kmh = in_tooth < 30 ? in_tooth * 2 : (40 - in_tooth) * 6;
    rows += fmt::format("{},{},{},{},{},8,{}\n", s, kmh, 372 - kmh / 20,
                        in_tooth < 30 ? 20 + kmh : -35.5, 71 - s / 200, 40'000 + s * 0.01);
  }
  return rows;
}

std::string stand(double from_s, double to_s, double pack_a, double soc_pct_per_s) {
  std::string rows;
  for (double s = from_s; s < to_s; s += 5)
    rows += fmt::format("{},0,{},{},{},8,40002\n", s, 372 - pack_a / 50, pack_a,
                        70 + (s - from_s) * soc_pct_per_s);
  return rows;
}

int record(const std::string& card_path, const std::string& script_path, std::string_view which) {
  const bool owner = which == "owner";
  Acts acts;
  if (which == "day") {
    acts.add(5, drive(0, 60) + stand(60, 390, 0.8, 0));
    acts.add(430, stand(0, 50, -16, 0.05));
  } else if (owner) {
    acts.add(2, drive(0, 45));
    acts.add(65, drive(0, 25));
  } else if (which == "pulled") {
    acts.add(1, drive(0, 70));
  } else {
    throw BenchError("no such script");
  }
  PlannedScene scene(acts, kClearedAtKm);
  QuantitySet quantities;
  for (const Quantity quantity : {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a,
                                  Quantity::soc_pct, Quantity::ambient_c, Quantity::odometer_km})
    quantities.add(quantity);
  CardFile card = open_card(card_path);
  Faults faults;
  faults.response_pending = which == "day";
  Bench bench({.vin = std::string(kVin),
               .quantities = quantities,
               .faults = faults,
               .answers = owner ? Answers::owner : Answers::service01,
               .fields = card.fields(),
               .seed = 20'261'126},
              scene);
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> script(std::fopen(script_path.c_str(), "w"),
                                                               &std::fclose);
  if (!script) throw BenchError(script_path + ": cannot be written");

  ports::Recorder recorder(bench, scene, card, script.get());
  recorder.boot(0xA1DE0001);
  if (which == "pulled") {
    recorder.run_until(nanos_of_seconds(30));
    recorder.pull_adapter(kAwayMs);
    recorder.run_until(nanos_of_seconds(60));
    recorder.stop();
  } else {
    recorder.run_until(nanos_of_seconds(owner ? 55 : 410));
    recorder.cut();
    recorder.boot(0xA1DE0002);
    recorder.run_until(nanos_of_seconds(owner ? 110 : 520));
  }
  recorder.cut();
  const BenchCounts& counts = bench.counts();
  fmt::print("{} turns, {} of them bytes at a deadline; {} exchanges, {} forbidden, {} sectors\n",
             recorder.turns(), recorder.coincidences(), counts.exchanges, counts.forbidden,
             card.written());
  return 0;
}

// Everything that has been asked for, or an error.
void read_whole(int descriptor, std::span<std::uint8_t> out) {
  while (!out.empty()) {
    const ssize_t count = ::read(descriptor, out.data(), out.size());
    if (count <= 0) throw BenchError("the adapter's line has ended");
    out = out.subspan(static_cast<std::size_t>(count));
  }
}

void write_whole(int descriptor, std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const ssize_t count = ::write(descriptor, bytes.data(), bytes.size());
    if (count <= 0) throw BenchError("the adapter's line has ended");
    bytes = bytes.subspan(static_cast<std::size_t>(count));
  }
}

int play(const std::string& card_path, int line, Breach breach) {
  CardFile card = open_card(card_path);
  const auto boot = ports::read_boot();
  if (!boot) return 2;
  std::vector<std::uint8_t> sent;
  ports::VirtualPort port(card, *boot, sent, breach);
  write_whole(line, sent);
  ports::answer_step(port.due());
  while (const auto step = ports::read_step()) {
    std::vector<std::uint8_t> bytes(step->bytes);
    read_whole(line, bytes);
    sent.clear();
    port.turn(step->tick, bytes, sent);
    write_whole(line, sent);
    ports::answer_step(port.due());
  }
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc == 5 && std::string_view(argv[1]) == "record")
      return record(argv[2], argv[3], argv[4]);
    if (argc == 3 && std::string_view(argv[1]) == "settings") {
      (void)open_card(argv[2]);
      return 0;
    }
    if (argc == 5 && std::string_view(argv[1]) == "play")
      for (const auto& [word, breach] : kBreaches)
        if (word == argv[4]) return play(argv[2], std::atoi(argv[3]), breach);
    std::fputs("see the head of port_script.cpp\n", stderr);
    return 2;
  } catch (const BenchError& error) {
    std::fprintf(stderr, "packmile_port_script: %s\n", error.what());
    return 1;
  }
}
