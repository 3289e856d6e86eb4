// The turns of class Logger on a Linux machine, over what gives the time.
//
// Machine   what the loop asks of the machine that it runs on; a test has one of its own
//   now()               Tick: milliseconds since power-up
//   unix_ms()           the wall clock
//   boot_cause()        BootCause
//   entropy()           anything that differs between boots
//   Timer               made from a Machine&. at(Tick, handler): calls it once, not
//                       before then; what was asked for before is forgotten.
//                       cancel(): not at all
//   run(loop)           runs the io_context until it has nothing left to do
//
// Slow to compile: for one file of a program.
#pragma once

// Boost 1.74 uses std::exchange without including it.
#include <utility>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/serial_port.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/asio/write.hpp>

#include <algorithm>
#include <array>
#include <csignal>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include <termios.h>

#include "core/logger.hpp"
#include "linux/card_file.hpp"
#include "linux/journal.hpp"
#include "linux/logger_loop.hpp"
#include "linux/port_error.hpp"
#include "linux/settings_file.hpp"

namespace packmile::port {

namespace asio = boost::asio;

// Common practice, no source: a replugged adapter is back within seconds.
inline constexpr Tick kFirstPauseMs = 500;
inline constexpr Tick kLongestPauseMs = 10'000;
inline constexpr Tick kClockEveryMs = 3'600'000;
// A clean stop takes one sector write and one line; after this it is given up.
inline constexpr Tick kStopWithinMs = 5'000;
// Exchanges before the time that one takes is worth telling.
inline constexpr std::uint32_t kSettledResponses = 20;

template <class Machine>
class Loop {
 public:
  // All of them must outlive the loop.
  Loop(const LoopSettings& settings, CardFile& card, Journal& journal, asio::io_context& io,
       Machine& machine)
      : settings_(settings),
        card_(card),
        journal_(journal),
        io_(io),
        machine_(machine),
        logger_({.card_sectors = card.sectors(),
                 .layout = card.layout(),
                 .reset_cause = machine.boot_cause(),
                 .entropy = machine.entropy()}) {}

  std::optional<PortError> run() {
    signals_.add(SIGTERM);
    signals_.add(SIGINT);
    signals_.async_wait([this](const error_code& error, int) {
      if (!error) stop();
    });
    read_clock();
    open_line();
    turn();
    machine_.run(*this);
    card_thread_.join();
    return failure_;
  }

  // Neither the line nor the card has work in hand.
  [[nodiscard]] bool settled() const { return !sending_ && !card_busy_; }
  // Of the serial line; -1: there is none at present.
  [[nodiscard]] int line() { return line_.is_open() ? line_.native_handle() : -1; }

 private:
  using error_code = boost::system::error_code;

  Tick now() const { return machine_.now(); }

  // Steps 2 to 5 of the turn; the inputs have been handed in by the caller.
  void turn() {
    if (finished_) return;
    const Tick at = now();
    if (at >= logger_.deadline()) logger_.on_time(at);
    send();
    use_card();
    tell();
    if (stopping_ && logger_.stopped() && !sending_ && !card_busy_) {
      finish();
      return;
    }
    sleep();
  }

  void sleep() {
    const Tick due = logger_.deadline();
    if (due == kNoDeadline) {
      timer_.cancel();
      return;
    }
    timer_.at(due, [this] { turn(); });
  }

  void send() {
    std::array<std::uint8_t, 96> bytes{};
    while (const std::size_t n = logger_.take_bytes(bytes))
      if (line_.is_open()) outgoing_.insert(outgoing_.end(), bytes.begin(), bytes.begin() + n);
    if (sending_ || outgoing_.empty() || !line_.is_open()) return;
    sending_ = true;
    in_flight_.swap(outgoing_);
    outgoing_.clear();
    asio::async_write(line_, asio::buffer(in_flight_),
                      [this](const error_code& error, std::size_t) {
                        sending_ = false;
                        if (error && error != asio::error::operation_aborted) lose_line(error);
                        turn();
                      });
  }

  void use_card() {
    if (card_busy_) return;
    const std::optional<CardRequest> request = logger_.take_card_request();
    if (!request) return;
    card_busy_ = true;
    asio::post(card_thread_, [this, request = *request] {
      const bool ok =
          request.operation == CardOperation::read
              ? card_.read(request.address, sector_)
              : card_.write(request.address, std::span<const std::uint8_t, kSectorBytes>(
                                                 request.sector, kSectorBytes));
      asio::post(io_, [this, request, ok] { on_card(request, ok); });
    });
  }

  void on_card(const CardRequest& request, bool ok) {
    card_busy_ = false;
    if (!ok && card_was_ok_)
      journal_.error(
          card_.path() + ": sector " + std::to_string(request.address) +
          (request.operation == CardOperation::read ? " was not read: " : " was not written: ") +
          card_.last_error());
    card_was_ok_ = ok;
    logger_.on_card(now(), {.ok = ok, .sector = sector_.data()});
    turn();
  }

  void open_line() {
    error_code error;
    line_.open(settings_.adapter, error);
    if (error) {
      wait_for_line(error);
      return;
    }
    using asio::serial_port_base;
    line_.set_option(serial_port_base::baud_rate(settings_.baud), error);
    if (error) {
      failure_ = PortError{"the line cannot be set to " + std::to_string(settings_.baud) +
                               " baud: " + error.message(),
                           settings_.adapter, "use one of " + known_bauds_text()};
      finish();
      return;
    }
    line_.set_option(serial_port_base::character_size(8), error);
    line_.set_option(serial_port_base::parity(serial_port_base::parity::none), error);
    line_.set_option(serial_port_base::stop_bits(serial_port_base::stop_bits::one), error);
    line_.set_option(serial_port_base::flow_control(serial_port_base::flow_control::none), error);
    ::tcflush(line_.native_handle(), TCIOFLUSH);
    journal_.info(settings_.adapter + ": open at " + std::to_string(settings_.baud) + " baud");
    line_missing_ = false;
    pause_ms_ = kFirstPauseMs;
    logger_.on_adapter(now(), AdapterLink::up);
    receive();
  }

  void receive() {
    line_.async_read_some(asio::buffer(incoming_), [this](const error_code& error, std::size_t n) {
      if (error == asio::error::operation_aborted) return;
      if (error) {
        lose_line(error);
        turn();
        return;
      }
      logger_.on_bytes(now(), std::span(incoming_).first(n));
      turn();
      if (line_.is_open()) receive();
    });
  }

  // Unplugging shows as end of file, as an input/output error or otherwise.
  void lose_line(const error_code& error) {
    if (!line_.is_open()) return;
    error_code ignored;
    line_.close(ignored);
    outgoing_.clear();
    logger_.on_adapter(now(), AdapterLink::lost);
    wait_for_line(error);
  }

  void wait_for_line(const error_code& error) {
    if (!line_missing_)
      journal_.warning(settings_.adapter + ": " + error.message() +
                       "; waiting for the adapter to come back");
    line_missing_ = true;
    if (stopping_) return;
    line_timer_.at(now() + pause_ms_, [this] {
      open_line();
      turn();
    });
    pause_ms_ = std::min(pause_ms_ * 2, kLongestPauseMs);
  }

  void read_clock() {
    const Tick at = now();
    logger_.on_clock(at, {.source = WallClockSource::system,
                          .unix_ms = machine_.unix_ms(),
                          .tick = at,
                          .resolution_ms = 1});
    clock_timer_.at(at + kClockEveryMs, [this] {
      read_clock();
      turn();
    });
  }

  // What the person who installs it wants to know, once each.
  void tell() {
    const ExtentOutcome extent = logger_.extent_outcome();
    if (!extent_told_ && extent != ExtentOutcome::searching && extent != ExtentOutcome::found) {
      extent_told_ = true;
      journal_.error(card_.path() + ": " + words_of(extent));
    }
    const SettingsOutcome outcome = logger_.settings_outcome();
    if (!settings_told_ && outcome != SettingsOutcome::not_read) {
      settings_told_ = true;
      if (outcome != SettingsOutcome::taken)
        journal_.warning(card_.path() + ": " + words_of(outcome) +
                         "; the logger's own schedule is in force");
    }
    if (!stopping_ && logger_.light() != light_) {
      light_ = logger_.light();
      if (light_ == Light::card_trouble) {
        journal_.error(card_.path() + ": the card does not take sectors; samples are being lost");
      } else {
        journal_.info(words_of(light_));
      }
    }
    if (!time_told_ && logger_.counters().responses >= kSettledResponses &&
        logger_.round_trip_ms() != 0) {
      time_told_ = true;
      journal_.info("an exchange takes " + std::to_string(logger_.round_trip_ms()) +
                    " ms (a USB bridge adds up to 16 ms unless its latency_timer is 1)");
    }
  }

  static std::string words_of(ExtentOutcome outcome) {
    switch (outcome) {
      case ExtentOutcome::searching:
      case ExtentOutcome::found:
        return "the log is found";
      case ExtentOutcome::unreadable:
        return "the card does not give its first sectors, directory or FAT; trying again";
      case ExtentOutcome::no_file_system:
        return "no log: neither a file system nor a settings sector; prepare the card";
      case ExtentOutcome::other_file_system:
        return "no log: the file system is not FAT32; prepare the card";
      case ExtentOutcome::bad_file_system:
        return "no log: the FAT32 file system is damaged; import what can be read, then prepare "
               "the card";
      case ExtentOutcome::no_log_file:
        return "no PACKMILE.LOG in the root directory; prepare the card";
      case ExtentOutcome::too_small:
        return "PACKMILE.LOG is too small for a log; prepare the card";
      case ExtentOutcome::fragmented:
        return "PACKMILE.LOG is not in one piece; import it, then prepare the card";
      case ExtentOutcome::beyond_card:
        return "PACKMILE.LOG reaches beyond the end of the card; prepare the card";
    }
    return "";
  }

  static std::string words_of(SettingsOutcome outcome) {
    switch (outcome) {
      case SettingsOutcome::not_read:
        return "settings not read yet";
      case SettingsOutcome::taken:
        return "settings taken";
      case SettingsOutcome::no_settings:
        return "no settings in sector 0";
      case SettingsOutcome::malformed:
        return "settings refused: malformed";
      case SettingsOutcome::unknown_field:
        return "settings refused: a field that this version does not know";
      case SettingsOutcome::wrong_type:
        return "settings refused: a field of the wrong type";
      case SettingsOutcome::name_too_long:
        return "settings refused: the van's name is longer than 40 bytes";
      case SettingsOutcome::out_of_range:
        return "settings refused: a period or deadline out of range";
      case SettingsOutcome::bad_owners_signal:
        return "settings refused: the definition of an owner's signal breaks a rule";
    }
    return "";
  }

  static std::string words_of(Light light) {
    switch (light) {
      case Light::starting:
        return "looking for the van";
      case Light::waiting:
        return "the van is left alone; listening";
      case Light::recording:
        return "recording";
      case Light::card_trouble:
        return "card trouble";
      case Light::adapter_trouble:
        return "the adapter is gone or does not answer";
    }
    return "";
  }

  void stop() {
    if (stopping_) return;
    stopping_ = true;
    clock_timer_.cancel();
    line_timer_.cancel();
    logger_.on_stop(now());
    stop_timer_.at(now() + kStopWithinMs, [this] {
      journal_.warning("gave up waiting for the adapter and the card");
      finish();
    });
    turn();
  }

  void finish() {
    finished_ = true;
    error_code ignored;
    line_.close(ignored);
    signals_.cancel(ignored);
    timer_.cancel();
    line_timer_.cancel();
    clock_timer_.cancel();
    stop_timer_.cancel();
  }

  const LoopSettings& settings_;
  CardFile& card_;
  Journal& journal_;
  asio::io_context& io_;
  Machine& machine_;
  Logger logger_;
  asio::thread_pool card_thread_{1};
  asio::serial_port line_{io_};
  asio::signal_set signals_{io_};
  typename Machine::Timer timer_{machine_};
  typename Machine::Timer line_timer_{machine_};
  typename Machine::Timer clock_timer_{machine_};
  typename Machine::Timer stop_timer_{machine_};
  std::array<std::uint8_t, 512> incoming_{};
  std::array<std::uint8_t, kSectorBytes> sector_{};
  std::vector<std::uint8_t> outgoing_, in_flight_;
  Tick pause_ms_ = kFirstPauseMs;
  std::optional<PortError> failure_;
  Light light_ = Light::starting;
  bool sending_ = false;
  bool card_busy_ = false;
  bool card_was_ok_ = true;
  bool line_missing_ = false;
  bool stopping_ = false;
  bool finished_ = false;
  bool extent_told_ = false;
  bool settings_told_ = false;
  bool time_told_ = false;
};

}  // namespace packmile::port
