// Every command of the program as one function with a plain struct of options.
//
// Output    results on stdout or into --output; all else on stderr.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "cli/say.hpp"

namespace packmile::cli {

inline constexpr char kProgramVersion[] = "0.1.0";

enum class Format : std::uint8_t { table, csv, json, xlsx };
enum class Units : std::uint8_t { miles, km };

struct NewOptions {
  std::string folder;
  std::string zone = "UTC";
  std::string currency = "XXX";
};

struct CheckOptions {
  std::vector<std::string> cards;
  Format format = Format::table;
  std::string output;
};

struct CardPrepareOptions {
  std::string target;
  std::string van;
  std::optional<std::uint32_t> size_mb;  // absent: the usual size, or what there is room for
  bool lithium_battery = false;
  bool yes = false;
  std::optional<std::string> depot;
};

struct CardReleaseOptions {
  std::string target;
  std::optional<std::string> depot;
};

struct ImportOptions {
  std::optional<std::string> depot;
  std::vector<std::string> cards;
  std::optional<std::string> pulled_at;
};

struct RebuildOptions {
  std::optional<std::string> depot;
};

// One of three: words, files, or the list.
struct NoteOptions {
  std::optional<std::string> depot;
  std::optional<std::string> van;  // name or VIN; with list: whose
  std::optional<std::string> date, remark, replaces;
  std::vector<std::string> words;  // KIND VALUE...
  std::vector<std::string> files;  // of --from; "-" is standard input
  bool list = false;
  Format format = Format::table;
  std::string output;
};

enum class SheetFormat : std::uint8_t { text, html, csv };

struct SheetOptions {
  std::optional<std::string> depot;
  std::optional<std::string> van;  // name or VIN; absent: all that were not sold
  SheetFormat format = SheetFormat::text;
  std::string output;
};

struct RowsOptions {
  std::optional<std::string> depot;
  std::optional<std::string> van;  // name or VIN
  std::optional<std::string> from, to;
  Units units = Units::miles;
  Format format = Format::table;
  std::string output;
  std::optional<std::string> as_of;  // of commands that have a today
  std::optional<std::string> by;     // of cost alone: month
};

enum class ReportFormat : std::uint8_t { html, xlsx };

struct ReportOptions {
  std::optional<std::string> depot;
  std::string output;  // never standard output
  ReportFormat format = ReportFormat::html;
  bool for_buyer = false;
  std::optional<std::string> van;  // name or VIN; with for_buyer alone
  std::optional<std::string> as_of;
  Units units = Units::miles;
};

struct SamplesOptions {
  std::vector<std::string> cards;
  std::vector<std::string> signals;  // empty: all
  Format format = Format::csv;
  std::string output;
};

struct SectorsOptions {
  std::vector<std::string> cards;  // one
  std::optional<std::uint64_t> address;
  bool raw = false;
};

struct SignalsOptions {
  std::vector<std::string> cards;
  std::optional<std::string> depot;  // absent: none is looked at
  Format format = Format::table;
  std::string output;
};

[[nodiscard]] ExitCode run_new(const NewOptions& options);
[[nodiscard]] ExitCode run_card_prepare(const CardPrepareOptions& options);
[[nodiscard]] ExitCode run_card_release(const CardReleaseOptions& options);
[[nodiscard]] ExitCode run_check(const CheckOptions& options);
[[nodiscard]] ExitCode run_import(const ImportOptions& options);
[[nodiscard]] ExitCode run_note(const NoteOptions& options);
[[nodiscard]] ExitCode run_sheet(const SheetOptions& options);
[[nodiscard]] ExitCode run_rebuild(const RebuildOptions& options);
[[nodiscard]] ExitCode run_trips(const RowsOptions& options);
[[nodiscard]] ExitCode run_sessions(const RowsOptions& options);
[[nodiscard]] ExitCode run_throughput(const RowsOptions& options);
[[nodiscard]] ExitCode run_verdicts(const RowsOptions& options);
[[nodiscard]] ExitCode run_cost(const RowsOptions& options);
[[nodiscard]] ExitCode run_compare(const RowsOptions& options);
[[nodiscard]] ExitCode run_capacity(const RowsOptions& options);
[[nodiscard]] ExitCode run_upkeep(const RowsOptions& options);
[[nodiscard]] ExitCode run_fade(const RowsOptions& options);
[[nodiscard]] ExitCode run_report(const ReportOptions& options);
[[nodiscard]] ExitCode run_samples(const SamplesOptions& options);
[[nodiscard]] ExitCode run_sectors(const SectorsOptions& options);
[[nodiscard]] ExitCode run_signals(const SignalsOptions& options);

}  // namespace packmile::cli
