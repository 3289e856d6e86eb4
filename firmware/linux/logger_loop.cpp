#include "linux/logger_loop.hpp"

#include "linux/logger_turns.hpp"

#include <boost/asio/steady_timer.hpp>

#include <chrono>
#include <random>

#include <time.h>

namespace packmile::port {
namespace {

using std::chrono::duration_cast;
using std::chrono::milliseconds;
using std::chrono::steady_clock;

// Common practice, no source.
constexpr std::time_t kJustBootedS = 180;

class RealMachine {
 public:
  explicit RealMachine(asio::io_context& io) : io_(io), started_(steady_clock::now()) {}

  Tick now() const {
    return static_cast<Tick>(duration_cast<milliseconds>(steady_clock::now() - started_).count());
  }

  std::uint64_t unix_ms() const {
    const auto unix_now = std::chrono::system_clock::now().time_since_epoch();
    return static_cast<std::uint64_t>(duration_cast<milliseconds>(unix_now).count());
  }

  // A program that starts long after its machine was asked for by somebody.
  BootCause boot_cause() const {
    timespec up{};
    ::clock_gettime(CLOCK_BOOTTIME, &up);
    return up.tv_sec < kJustBootedS ? BootCause::power_on : BootCause::requested;
  }

  std::uint32_t entropy() const { return std::random_device{}(); }

  class Timer {
   public:
    explicit Timer(RealMachine& machine) : started_(machine.started_), timer_(machine.io_) {}

    template <class Handler>
    void at(Tick tick, Handler handler) {
      timer_.expires_at(started_ + milliseconds(tick));
      timer_.async_wait([handler](const boost::system::error_code& error) {
        if (!error) handler();
      });
    }
    void cancel() { timer_.cancel(); }

   private:
    steady_clock::time_point started_;
    asio::steady_timer timer_;
  };

  template <class Loop>
  void run(Loop&) {
    io_.run();
  }

 private:
  asio::io_context& io_;
  steady_clock::time_point started_;
};

}  // namespace

std::optional<PortError> run_logger(const LoopSettings& settings, CardFile& card,
                                    Journal& journal) {
  asio::io_context io{1};
  RealMachine machine(io);
  return Loop<RealMachine>(settings, card, journal, io, machine).run();
}

}  // namespace packmile::port
