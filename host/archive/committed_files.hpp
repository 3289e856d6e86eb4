// Which bytes of the archive's files count, whatever moment a program was killed
// at: the old ones, or all of them.
//
// Input     the archive's folder: files that only grow, and the undo file.
// Rule      before an import writes its first byte it puts the sizes of all
//           files into the undo file, synced and renamed into place. While that
//           stands, bytes beyond those sizes and files that are not in it do not
//           count. Taking it away, after all that was written is synced, is the
//           one step in which everything that was imported begins to count.
// Readers   need no lock: they see the state before that step or behind it.
#pragma once
#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>

#include "result.hpp"

namespace packmile {

// By path below the archive's folder ("log-0000002A/van-00C0FFEE.sectors").
using CommittedSizes = std::map<std::string, std::uint64_t>;

inline constexpr char kUndoFileName[] = "import.undo";

// The bytes of each file that count. Error: the folder cannot be read, or the
// undo file is none of ours.
[[nodiscard]] Result<CommittedSizes> read_committed(const std::filesystem::path& directory);
// The sizes in the undo file. Absent: no import was interrupted.
[[nodiscard]] Result<std::optional<CommittedSizes>> read_undo(
    const std::filesystem::path& directory);

// For the one import that holds the lock. Each leaves the archive in a state
// that the next call, also of another program, can go on from.
[[nodiscard]] Result<Done> write_undo(const std::filesystem::path& directory,
                                      const CommittedSizes& sizes);
// Cuts files back and takes new ones away. The undo file stays.
[[nodiscard]] Result<Done> cut_back(const std::filesystem::path& directory,
                                    const CommittedSizes& sizes);
[[nodiscard]] Result<Done> remove_undo(const std::filesystem::path& directory);

// New and removed names in a folder are only safe when the folder is.
[[nodiscard]] Result<Done> sync_folder(const std::filesystem::path& folder);

// Is it the name of a sector file, or of a folder or text file of the archive?
[[nodiscard]] bool is_log_folder(std::string_view name);
[[nodiscard]] bool is_van_file(std::string_view name);
[[nodiscard]] bool is_text_file(std::string_view name);
// Eight hexadecimal digits, as we write them, and nothing else.
[[nodiscard]] std::optional<std::uint32_t> read_hex_id(std::string_view text);
[[nodiscard]] std::string hex_id(std::uint32_t id);

inline constexpr std::string_view kLogPrefix = "log-";
inline constexpr std::string_view kVanPrefix = "van-";
inline constexpr std::string_view kVanSuffix = ".sectors";

}  // namespace packmile
