#include "powercut/experiment.hpp"

#include <fmt/format.h>

#include <atomic>
#include <cstdio>
#include <exception>
#include <mutex>
#include <thread>

namespace packmile::powercut {

Tally run_cases(const Settings& settings, std::uint64_t cases, const RunCase& run) {
  constexpr std::uint64_t kChunk = 64;
  std::atomic<std::uint64_t> next = 0;
  std::mutex mutex;
  Tally all;
  std::exception_ptr error;
  const auto work = [&] {
    try {
      Reader reader;
      Tally tally;
      for (std::uint64_t from = next.fetch_add(kChunk); from * settings.share < cases;
           from = next.fetch_add(kChunk))
        for (std::uint64_t i = from; i < from + kChunk; ++i) {
          // Not a multiple of the share: that would always meet the same byte.
          const std::uint64_t number = i * settings.share + (i * 7 % settings.share);
          if (number >= cases) continue;
          ++tally.cases;
          run(number, reader, tally);
        }
      const std::lock_guard lock(mutex);
      all += tally;
    } catch (...) {
      const std::lock_guard lock(mutex);
      error = std::current_exception();
    }
  };
  std::vector<std::thread> threads;
  for (unsigned t = 1; t < settings.threads; ++t) threads.emplace_back(work);
  work();
  for (std::thread& thread : threads) thread.join();
  if (error) std::rethrow_exception(error);
  return all;
}

bool print_table(const Settings& settings, const std::vector<Row>& rows) {
  fmt::print("seed {}, every {}. case\n\n", settings.seed, settings.share);
  fmt::print("{:<46} {:>9} {:>13} {:>11} {:>12} {:>7} {:>9} {:>7} {:>7} {:>6}\n", "experiment",
             "cases", "samples", "sectors", "lost with", "lost", "invented", "newer", "did not",
             "wrong");
  fmt::print("{:<46} {:>9} {:>13} {:>11} {:>12} {:>7} {:>9} {:>7} {:>7} {:>6}\n", "", "tried",
             "at stake", "damaged", "them", "beyond", "", "lost", "go on", "name");
  bool sound = true;
  Tally all;
  const auto line = [](const std::string& name, const Tally& t) {
    fmt::print("{:<46} {:>9} {:>13} {:>11} {:>12} {:>7} {:>9} {:>7} {:>7} {:>6}\n", name, t.cases,
               t.samples_at_stake, t.sectors_damaged, t.samples_lost_with_them,
               t.samples_lost_beyond, t.samples_invented, t.newer_overwritten, t.not_continued,
               t.named_wrong);
  };
  for (const Row& row : rows) {
    const bool every = row.exhaustive && settings.share == 1;
    line(row.experiment + (every ? ", all" : ", sampled"), row.tally);
    all += row.tally;
    if (row.tally.failed() || row.tally.cases == 0) sound = false;
  }
  line("together", all);
  for (const Row& row : rows) {
    if (row.tally.cases == 0) fmt::print("\nFAILED: {}: not one case\n", row.experiment);
    if (row.tally.failed())
      fmt::print("\nFAILED: {}: first {}\n", row.experiment, row.tally.first_failure);
  }
  std::fflush(stdout);
  return sound;
}

}  // namespace packmile::powercut
