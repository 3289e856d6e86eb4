#include "cli/card_device.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string_view>
#include <vector>

namespace packmile::cli {
namespace {

namespace fs = std::filesystem;

// What a system is mounted from; a neighbour of these is no card.
constexpr std::array<std::string_view, 5> kSystemPlaces{"/", "/boot", "/boot/efi", "/usr",
                                                        "/boot/firmware"};

// Folder of a device below /sys/devices; that of a partition is inside that of
// its disk. Empty: not known.
fs::path sys_folder(dev_t device) {
  std::error_code failed;
  const auto link = fmt::format("/sys/dev/block/{}:{}", major(device), minor(device));
  const fs::path folder = fs::canonical(link, failed);
  return failed ? fs::path{} : folder;
}

fs::path disk_of(const fs::path& folder) {
  std::error_code failed;
  return fs::exists(folder / "partition", failed) ? folder.parent_path() : folder;
}

bool is_on(const fs::path& inner, const fs::path& outer) {
  const auto [a, b] = std::mismatch(outer.begin(), outer.end(), inner.begin(), inner.end());
  return !outer.empty() && a == outer.end();
}

struct Use {
  dev_t device = 0;
  std::string place;  // mount point, or "swap"
};

// Blanks stand as \040 in these tables.
std::string unescape(std::string_view text) {
  std::string out;
  for (std::size_t k = 0; k < text.size(); ++k) {
    const auto digit = [&](std::size_t at) {
      return at < text.size() && text[at] >= '0' && text[at] <= '7';
    };
    if (text[k] == '\\' && digit(k + 1) && digit(k + 2) && digit(k + 3)) {
      out +=
          static_cast<char>((text[k + 1] - '0') * 64 + (text[k + 2] - '0') * 8 + text[k + 3] - '0');
      k += 3;
    } else {
      out += text[k];
    }
  }
  return out;
}

std::vector<Use> uses_of_devices() {
  std::vector<Use> uses;
  const auto add = [&](const std::string& source, const std::string& place) {
    struct stat info {};
    if (source.starts_with('/') && ::stat(unescape(source).c_str(), &info) == 0 &&
        S_ISBLK(info.st_mode))
      uses.push_back({info.st_rdev, unescape(place)});
  };
  std::string line, source, place;
  for (std::ifstream mounts("/proc/self/mounts"); std::getline(mounts, line);)
    if (std::istringstream words(line); words >> source >> place) add(source, place);
  for (std::ifstream swaps("/proc/swaps"); std::getline(swaps, line);)
    if (std::istringstream words(line); words >> source) add(source, "swap");
  return uses;
}

}  // namespace

std::optional<Error> reason_to_leave_alone(const std::string& device) {
  struct stat info {};
  if (::stat(device.c_str(), &info) != 0 || !S_ISBLK(info.st_mode)) return std::nullopt;
  const fs::path folder = sys_folder(info.st_rdev);
  for (const Use& use : uses_of_devices()) {
    const fs::path used = sys_folder(use.device);
    const bool system =
        use.place == "swap" || std::ranges::find(kSystemPlaces, use.place) != kSystemPlaces.end();
    if (use.device == info.st_rdev || is_on(used, folder))
      return Error{use.place == "swap" ? "is in use as swap" : "is mounted at " + use.place, device,
                   system ? "this is a disk of the system: name the card's own device"
                          : "unmount it first: umount " + use.place +
                                "; or name that folder to add the log alone"};
    if (system && !folder.empty() && is_on(used, disk_of(folder)))
      return Error{"is on the disk that this system runs from (" + use.place + ")", device,
                   "name the card's own device"};
  }
  // Claimed by something else: a volume manager, a RAID, another program.
  const int fd = ::open(device.c_str(), O_RDONLY | O_EXCL | O_CLOEXEC);
  if (fd >= 0) {
    ::close(fd);
    return std::nullopt;
  }
  if (errno == EBUSY) return Error{"is in use", device, "end what uses it, then try again"};
  return std::nullopt;
}

}  // namespace packmile::cli
