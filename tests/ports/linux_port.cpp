// The Linux port's own loop, serial line, card file and card thread, with time given
// by a script:
//
//   packmile_port_linux CARD TTY     steps on stdin, see steps.hpp
#include "linux/logger_turns.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <functional>
#include <variant>
#include <vector>

#include <poll.h>
#include <sys/ioctl.h>

#include "ports/steps.hpp"

namespace {

using namespace packmile;
namespace asio = boost::asio;

// Time stands still between two steps, and everything that is under way comes to its
// end before the next.
class ScriptedMachine {
 public:
  ScriptedMachine(asio::io_context& io, const ports::Boot& boot) : io_(io), boot_(boot) {}

  Tick now() const { return now_; }
  std::uint64_t unix_ms() const { return boot_.unix_ms + (now_ - boot_.tick); }
  BootCause boot_cause() const { return BootCause::power_on; }
  std::uint32_t entropy() const { return boot_.entropy; }

  class Timer {
   public:
    explicit Timer(ScriptedMachine& machine) { machine.timers_.push_back(this); }
    Timer(const Timer&) = delete;
    Timer& operator=(const Timer&) = delete;

    template <class Handler>
    void at(Tick tick, Handler handler) {
      due_ = tick;
      handler_ = handler;
    }
    void cancel() { due_ = kNoDeadline; }
    Tick due() const { return due_; }
    void fire() {
      due_ = kNoDeadline;
      handler_();
    }

   private:
    Tick due_ = kNoDeadline;
    std::function<void()> handler_;
  };

  template <class Loop>
  void run(Loop& loop) {
    settle(loop);
    ports::answer_step(next()->due());
    while (const auto step = ports::read_step()) {
      now_ = std::max(now_, step->tick);
      if (step->event == ports::StepEvent::stop) std::raise(SIGTERM);
      while (step->event == ports::StepEvent::lost && loop.line() >= 0) io_.run_one();
      while (unread(loop.line()) < step->bytes) wait_for_input(loop.line());
      settle(loop);
      while (!io_.stopped() && next()->due() <= now_) {
        next()->fire();
        settle(loop);
      }
      ports::answer_step(next()->due());
    }
  }

 private:
  static std::size_t unread(int line) {
    int bytes = 0;
    if (line < 0 || ::ioctl(line, FIONREAD, &bytes) != 0) return 0;
    return static_cast<std::size_t>(bytes);
  }

  // A terminal hands its bytes on a moment after they were written.
  static void wait_for_input(int line) {
    pollfd wanted{.fd = line, .events = POLLIN, .revents = 0};
    (void)::poll(&wanted, 1, 1);
  }

  template <class Loop>
  void settle(Loop& loop) {
    for (;;) {
      io_.poll();
      if (io_.stopped() || (loop.settled() && unread(loop.line()) == 0)) return;
      io_.run_one();
    }
  }

  Timer* next() const {
    return *std::min_element(timers_.begin(), timers_.end(),
                             [](const Timer* a, const Timer* b) { return a->due() < b->due(); });
  }

  asio::io_context& io_;
  ports::Boot boot_;
  Tick now_ = boot_.tick;
  std::vector<Timer*> timers_;
};

}  // namespace

int main(int argc, char** argv) {
  const auto boot = ports::read_boot();
  if (argc != 3 || !boot) {
    std::fputs("packmile_port_linux CARD TTY, and a boot on stdin\n", stderr);
    return 2;
  }
  auto opened = port::CardFile::open(argv[1]);
  port::PortError error;
  port::FileSettings quiet;
  quiet.log_level = port::LogLevel::error;
  auto journal = port::Journal::open(quiet, error);
  if (std::holds_alternative<port::PortError>(opened) || !journal) {
    std::fprintf(stderr, "%s: not opened\n", argv[1]);
    return 1;
  }
  asio::io_context io{1};
  ScriptedMachine machine(io, *boot);
  const port::LoopSettings settings{.adapter = argv[2]};
  const auto failed =
      port::Loop<ScriptedMachine>(settings, std::get<port::CardFile>(opened), *journal, io, machine)
          .run();
  if (failed) std::fprintf(stderr, "%s: %s\n", failed->where.c_str(), failed->what.c_str());
  return failed ? 1 : 0;
}
