#include "linux/journal.hpp"

#include <spdlog/sinks/rotating_file_sink.h>
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

namespace packmile::port {
namespace {

spdlog::level::level_enum level_of(LogLevel level) {
  switch (level) {
    case LogLevel::debug:
      return spdlog::level::debug;
    case LogLevel::info:
      return spdlog::level::info;
    case LogLevel::warning:
      return spdlog::level::warn;
    case LogLevel::error:
      return spdlog::level::err;
    case LogLevel::off:
      return spdlog::level::off;
  }
  return spdlog::level::warn;
}

}  // namespace

struct Journal::Sink {
  explicit Sink(spdlog::sink_ptr sink) : logger("packmile-logger", std::move(sink)) {}
  spdlog::logger logger;
};

Journal::Journal(std::unique_ptr<Sink> sink) : sink_(std::move(sink)) {}
Journal::Journal(Journal&&) noexcept = default;
Journal& Journal::operator=(Journal&&) noexcept = default;
Journal::~Journal() = default;

std::optional<Journal> Journal::open(const FileSettings& settings, PortError& error) {
  spdlog::sink_ptr sink;
  if (settings.log_file) {
    // The library throws when the file cannot be opened: caught here.
    try {
      sink = std::make_shared<spdlog::sinks::rotating_file_sink_st>(
          *settings.log_file, settings.log_max_bytes, settings.log_files);
    } catch (const spdlog::spdlog_ex& e) {
      error = {std::string("cannot write the log file: ") + e.what(), *settings.log_file, ""};
      return std::nullopt;
    }
  } else {
    sink = std::make_shared<spdlog::sinks::stderr_sink_st>();
  }
  auto made = std::make_unique<Sink>(std::move(sink));
  made->logger.set_level(level_of(settings.log_level));
  made->logger.flush_on(spdlog::level::info);
  // UTC: the logger's clock may be set, and its zone is nobody's.
  made->logger.set_pattern(
      settings.log_file ? "%Y-%m-%dT%H:%M:%S.%eZ %l %v" : "packmile-logger: %v",
      spdlog::pattern_time_type::utc);
  return Journal(std::move(made));
}

void Journal::info(std::string_view text) { sink_->logger.info(text); }
void Journal::warning(std::string_view text) { sink_->logger.warn(text); }
void Journal::error(std::string_view text) { sink_->logger.error(text); }

}  // namespace packmile::port
