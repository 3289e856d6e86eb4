#include "benchvan/serve.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/prctl.h>
#include <sys/signalfd.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <memory>
#include <utility>

#include "benchvan/bench.hpp"
#include "benchvan/bench_error.hpp"
#include "benchvan/card_file.hpp"
#include "benchvan/fields_to_answer.hpp"
#include "benchvan/lines_file.hpp"
#include "benchvan/planned_scene.hpp"
#include "benchvan/replay.hpp"
#include "benchvan/replay_scene.hpp"
#include "benchvan/report.hpp"
#include "benchvan/round_plan.hpp"
#include "benchvan/run_identity.hpp"

namespace packmile::benchvan {
namespace {

namespace fs = std::filesystem;

class FileDescriptor {
 public:
  explicit FileDescriptor(int number) : number_(number) {}
  FileDescriptor(const FileDescriptor&) = delete;
  FileDescriptor& operator=(const FileDescriptor&) = delete;
  ~FileDescriptor() {
    if (number_ >= 0) ::close(number_);
  }
  [[nodiscard]] int get() const { return number_; }
  [[nodiscard]] bool valid() const { return number_ >= 0; }

 private:
  int number_;
};

[[noreturn]] void fail(const std::string& what) {
  throw BenchError(fmt::format("{}: {}", what, std::strerror(errno)));
}

// The near end of a raw pseudo-terminal, and the link to its far end.
class Terminal {
 public:
  explicit Terminal(const std::string& link)
      : near_(::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC)),
        far_(open_far(near_)),
        link_(link) {
    termios settings{};
    if (::tcgetattr(far_.get(), &settings) != 0) fail("pseudo-terminal");
    ::cfmakeraw(&settings);
    if (::tcsetattr(far_.get(), TCSANOW, &settings) != 0) fail("pseudo-terminal");
    const auto type = fs::symlink_status(link).type();
    if (type == fs::file_type::symlink) {
      fs::remove(link);
    } else if (type != fs::file_type::not_found) {
      throw BenchError(fmt::format("{}: exists and is not a symbolic link", link));
    }
    std::error_code trouble;
    fs::create_symlink(far_name(near_), link, trouble);
    if (trouble) throw BenchError(fmt::format("{}: {}", link, trouble.message()));
  }
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;
  ~Terminal() {
    std::error_code ignored;  // someone else may have taken the link away
    fs::remove(link_, ignored);
  }
  [[nodiscard]] int near() const { return near_.get(); }

 private:
  static std::string far_name(const FileDescriptor& near) {
    std::array<char, 128> name{};
    if (::ptsname_r(near.get(), name.data(), name.size()) != 0) fail("pseudo-terminal");
    return name.data();
  }
  // Kept open by us: the near end then sees no hang-up between two users.
  static int open_far(const FileDescriptor& near) {
    if (!near.valid() || ::grantpt(near.get()) != 0 || ::unlockpt(near.get()) != 0) {
      fail("pseudo-terminal");
    }
    const int far = ::open(far_name(near).c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (far < 0) fail("pseudo-terminal");
    return far;
  }

  FileDescriptor near_;
  FileDescriptor far_;
  std::string link_;
};

Nanos clock_ns(clockid_t clock) {
  timespec now{};
  ::clock_gettime(clock, &now);
  return static_cast<Nanos>(now.tv_sec) * kNanosPerSecond + now.tv_nsec;
}

// The signals that end the run, as a file to wait for.
int stop_signals() {
  sigset_t signals;
  sigemptyset(&signals);
  sigaddset(&signals, SIGINT);
  sigaddset(&signals, SIGTERM);
  if (::sigprocmask(SIG_BLOCK, &signals, nullptr) != 0) fail("signals");
  const int file = ::signalfd(-1, &signals, SFD_NONBLOCK | SFD_CLOEXEC);
  if (file < 0) fail("signals");
  return file;
}

// One van to serve: the scene and what it needs to live.
struct Stage {
  std::unique_ptr<RoundPlan> plan;
  std::unique_ptr<Scene> scene;
  QuantitySet quantities;
};

Stage make_stage(const ServeOptions& options) {
  Stage stage;
  if (options.round) {
    stage.plan = std::make_unique<RoundPlan>(*options.round, options.odometer_km);
    stage.scene = std::make_unique<PlannedScene>(*stage.plan, options.odometer_km);
    for (const Quantity quantity :
         {Quantity::speed_kmh, Quantity::pack_v, Quantity::pack_a, Quantity::soc_pct,
          Quantity::ambient_c, Quantity::odometer_km}) {
      stage.quantities.add(quantity);
    }
    return stage;
  }
  ReplayFile file = read_replay(options.replay);
  report_replay(options.replay, file);
  stage.quantities = file.track.quantities();
  std::vector<Track> tracks;
  tracks.push_back(std::move(file.track));
  stage.scene = std::make_unique<ReplayScene>(
      std::move(tracks), ReplayScene::Setup{.odometer_km = options.odometer_km,
                                            .soc_frozen = options.faults.soc_frozen});
  return stage;
}

}  // namespace

int run_serve(const ServeOptions& options) {
  const FileDescriptor signals(stop_signals());
  const Stage stage = make_stage(options);
  RunIdentity identity;
  identity.add("command", "serve");
  identity.add("replay", options.replay);
  identity.add("round", options.round ? fmt::format("{}", *options.round) : "");
  std::vector<OwnersField> on_card;
  if (!options.card.empty()) on_card = CardFile::read_fields(options.card);
  std::unique_ptr<Candump> candump;
  if (!options.candump.empty()) candump = std::make_unique<Candump>(options.candump);
  LinesFile lines(options.lines);
  Bench bench({.line = options.line,
               .vin = options.vin,
               .quantities = stage.quantities,
               .coding = options.coding,
               .faults = options.faults,
               .ecu_ms = options.ecu_ms,
               .answers = options.answers,
               .fields = fields_to_answer(options.card, on_card, options.answers, options.faults),
               .seed = identity.number("answer times"),
               .candump = candump.get(),
               .lines = lines.file()},
              *stage.scene);
  const Terminal terminal(options.link);
  // Timers of the kernel may be 50 us late by default: a tenth of a line.
  ::prctl(PR_SET_TIMERSLACK, 1);

  const Nanos zero_ns = clock_ns(CLOCK_MONOTONIC);
  const auto now = [&] { return clock_ns(CLOCK_MONOTONIC) - zero_ns; };
  if (candump) candump->set_origin(clock_ns(CLOCK_REALTIME) / 1000);
  std::uint64_t unread_bytes = 0;
  std::array<std::uint8_t, 4096> bytes;
  for (;;) {
    const Nanos wait_ns = std::clamp<Nanos>(
        std::min(bench.next_event_ns(), now() + kNanosPerSecond) - now(), 0, kNanosPerSecond);
    std::array<pollfd, 2> files{{{terminal.near(), POLLIN, 0}, {signals.get(), POLLIN, 0}}};
    const timespec wait{.tv_sec = wait_ns / kNanosPerSecond, .tv_nsec = wait_ns % kNanosPerSecond};
    if (::ppoll(files.data(), files.size(), &wait, nullptr) < 0 && errno != EINTR) {
      fail("waiting for the terminal");
    }
    if ((files[1].revents & POLLIN) != 0) break;
    if ((files[0].revents & POLLIN) != 0) {
      const ssize_t count = ::read(terminal.near(), bytes.data(), bytes.size());
      if (count > 0) {
        bench.on_host_bytes(now(), std::span(bytes).first(static_cast<std::size_t>(count)));
      } else if (count < 0 && errno != EAGAIN && errno != EINTR) {
        fail("reading the terminal");
      }
    }
    const Nanos now_ns = now();
    bench.advance(now_ns);
    for (std::size_t count; (count = bench.take_host_bytes(now_ns, bytes)) > 0;) {
      // A serial line does not wait for its reader: what does not fit is gone.
      const ssize_t written = ::write(terminal.near(), bytes.data(), count);
      if (written < static_cast<ssize_t>(count)) {
        unread_bytes += count - static_cast<std::size_t>(std::max<ssize_t>(written, 0));
      }
    }
  }

  const BenchCounts& counts = bench.counts();
  fmt::print("exchanges {}\nframes {}\nseconds {:.3f}\n", counts.exchanges,
             counts.tester_frames + counts.ecu_frames + counts.other_frames, seconds_of(now()));
  if (counts.first_poll_ns && counts.last_answer_ns) {
    // From the first request of the poll schedule to the last answer: for rates.
    fmt::print("polled_exchanges {}\npolled_seconds {:.3f}\n", counts.polled_exchanges,
               seconds_of(*counts.last_answer_ns - *counts.first_poll_ns));
  }
  if (unread_bytes > 0) {
    fmt::print(stderr, "packmile-benchvan: {} bytes were not read by anyone\n", unread_bytes);
  }
  if (candump) candump->close();
  lines.close();
  return report_bench(counts);
}

}  // namespace packmile::benchvan
