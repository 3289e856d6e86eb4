// packmile card prepare: a card that a logger can use, on a mounted folder, an
// image or a device; never at the cost of sectors that no archive has.
#include <fcntl.h>
#include <fmt/format.h>
#include <linux/fs.h>
#include <linux/magic.h>
#include <strings.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <system_error>

#include "archive/log_index.hpp"
#include "card/prepared_log.hpp"
#include "cli/card_contents.hpp"
#include "cli/card_device.hpp"
#include "cli/commands.hpp"
#include "cli/progress.hpp"

namespace packmile::cli {
namespace {

namespace fs = std::filesystem;

// Name of a log that is not complete yet; one that was left behind is replaced.
// Short, as a FAT file system has it.
constexpr char kUnfinishedLogName[] = "PACKMILE.NEW";
// Left free where the log takes what there is: systems that mount the card put
// small files of their own on it.
constexpr std::uint32_t kSpareMb = 4;
constexpr char kUnfinishedImageSuffix[] = ".preparing";

enum class TargetKind : std::uint8_t { folder, new_image, image, device };

struct Target {
  TargetKind kind = TargetKind::new_image;
  std::string name;    // as given
  fs::path path;       // links followed
  fs::path old_log;    // in a folder; empty: none
  bool empty = false;  // an image of 0 bytes
  std::uint64_t sectors = 0;
  std::uint32_t size_mb = 0;
  // Held while the target is written, so that no logger and no second prepare
  // does the same.
  FileCloser lock;
  FileCloser folder_lock;

  // Something is there that will be gone.
  [[nodiscard]] bool replaces() const {
    return kind == TargetKind::device || (kind == TargetKind::image && !empty) || !old_log.empty();
  }
};

Error system_error_at(const std::string& what, const fs::path& where, int error) {
  std::string hint;
  if (error == EACCES || error == EPERM)
    hint = "run it with an account that may write there";
  else if (error == ENOSPC || error == EDQUOT)
    hint = "make room there, or take a smaller --size-mb";
  else if (error == EROFS)
    hint = "is the card's write-protect switch on?";
  return {what + ": " + std::generic_category().message(error), where.string(), hint};
}

Result<Done> lock_target(Target& target, const fs::path& file) {
  target.lock = FileCloser(::open(file.c_str(), O_RDWR | O_CLOEXEC));
  if (!target.lock.is_open()) return system_error_at("cannot be written", file, errno);
  if (::flock(target.lock.fd(), LOCK_EX | LOCK_NB) != 0)
    return Error{"a logger or another program writes this card", file.string(), "stop it first"};
  return Done{};
}

Result<Target> look_at_target(const std::string& name) {
  Target target;
  target.name = name;
  target.path = name;
  struct stat info {};
  if (::stat(name.c_str(), &info) != 0) {
    if (errno != ENOENT) return system_error_at("cannot be looked at", name, errno);
    std::error_code failed;
    const fs::path folder = target.path.has_parent_path() ? target.path.parent_path() : ".";
    if (target.path.filename().empty() || fs::is_symlink(target.path, failed) ||
        !fs::is_directory(folder, failed))
      return Error{"no such folder", name, "where is the card mounted?"};
    if (fs::absolute(target.path, failed).lexically_normal().string().starts_with("/dev/"))
      return Error{"no such device", name, "is the card in the reader? lsblk lists devices"};
    return target;
  }
  std::error_code failed;
  if (const fs::path whole = fs::canonical(target.path, failed); !failed) target.path = whole;
  if (S_ISDIR(info.st_mode)) {
    target.kind = TargetKind::folder;
    target.folder_lock =
        FileCloser(::open(target.path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (!target.folder_lock.is_open()) return system_error_at("cannot be read", name, errno);
    if (::flock(target.folder_lock.fd(), LOCK_EX | LOCK_NB) != 0)
      return Error{"another program prepares this card", name, "wait until it is done"};
    fs::directory_iterator at(target.path, failed);
    for (const fs::directory_iterator end; !failed && at != end; at.increment(failed))
      // A FAT driver may show the name in small letters.
      if (strcasecmp(at->path().filename().c_str(), kLogFileName) == 0) target.old_log = at->path();
    if (failed) return system_error_at("cannot be read", name, failed.value());
    if (target.old_log.empty()) return target;
    if (!fs::is_regular_file(target.old_log, failed))
      return Error{"is not a file", target.old_log.string(), "rename it, then try again"};
    target.sectors = fs::file_size(target.old_log, failed) / kSectorBytes;
    if (auto locked = lock_target(target, target.old_log); !locked) return locked.error();
  } else if (S_ISREG(info.st_mode)) {
    target.kind = TargetKind::image;
    target.empty = info.st_size == 0;
    target.sectors = static_cast<std::uint64_t>(info.st_size) / kSectorBytes;
    if (auto locked = lock_target(target, target.path); !locked) return locked.error();
  } else if (S_ISBLK(info.st_mode)) {
    target.kind = TargetKind::device;
    if (auto reason = reason_to_leave_alone(target.path.string())) return *reason;
    if (auto locked = lock_target(target, target.path); !locked) return locked.error();
    std::uint64_t bytes = 0;
    if (::ioctl(target.lock.fd(), BLKGETSIZE64, &bytes) != 0 || bytes == 0)
      return Error{"has no size", name, "is there a card in the reader?"};
    target.sectors = bytes / kSectorBytes;
  } else {
    return Error{"neither a folder nor a file nor a block device", name,
                 "pass the folder where the card is mounted, an image file or the card's device"};
  }
  return target;
}

bool is_fat(const fs::path& folder) {
  struct statfs info {};
  return ::statfs(folder.c_str(), &info) == 0 && info.f_type == MSDOS_SUPER_MAGIC;
}

std::uint64_t free_bytes(const fs::path& folder) {
  std::error_code failed;
  const fs::space_info space = fs::space(folder, failed);
  return failed ? 0 : space.available;
}

// What there is room for, where no size was asked for; the size is judged.
Result<Done> choose_size(Target& target, const std::optional<std::uint32_t>& asked_mb) {
  target.size_mb = asked_mb.value_or(kUsualLogMib);
  const auto fit = [&](std::uint64_t longest_mb) {
    if (asked_mb || longest_mb >= target.size_mb + kSpareMb) return;
    if (longest_mb >= kSpareMb + kMinLogMib)
      target.size_mb = static_cast<std::uint32_t>(longest_mb - kSpareMb);
  };
  switch (target.kind) {
    case TargetKind::new_image:
    case TargetKind::image:
      target.sectors = std::max(target.sectors, image_sectors_for(target.size_mb * kSectorsPerMib));
      break;
    case TargetKind::device:
      fit(longest_log_mib(target.sectors));
      break;
    case TargetKind::folder: {
      std::error_code failed;
      std::uint64_t room = free_bytes(target.path) + target.sectors * kSectorBytes;
      if (const auto left = fs::file_size(target.path / kUnfinishedLogName, failed); !failed)
        room += left;
      fit(room >> 20);
      if (std::uint64_t{target.size_mb} << 20 > room)
        return Error{
            fmt::format("no room for a log of {} MB: {} MB are free", target.size_mb, room >> 20),
            target.name, "take a smaller --size-mb, or delete other files"};
      return Done{};
    }
  }
  const auto layout = plan_card(target.sectors, target.size_mb * kSectorsPerMib);
  if (!layout) return Error{layout.error().what, target.name, layout.error().hint};
  return Done{};
}

// What a first sector says of a card that is not ours.
std::string words_of_system(int fd, std::uint64_t sectors) {
  switch (search_log_extent(fd, sectors).outcome()) {
    case ExtentOutcome::found:
    case ExtentOutcome::fragmented:
    case ExtentOutcome::too_small:
      return "it holds a FAT32 file system with a log, and maybe other files";
    case ExtentOutcome::no_log_file:
      return "it holds a FAT32 file system";
    case ExtentOutcome::other_file_system:
      return "it holds another file system than FAT32";
    case ExtentOutcome::bad_file_system:
    case ExtentOutcome::beyond_card:
      return "it holds a file system that is damaged";
    case ExtentOutcome::searching:
    case ExtentOutcome::unreadable:
    case ExtentOutcome::no_file_system:
      return "it holds no file system that is known here";
  }
  return {};
}

void say_plan(const Target& target, const std::string& van) {
  const std::string name = clean_text(target.name);
  std::string text;
  switch (target.kind) {
    case TargetKind::folder:
      text = target.old_log.empty()
                 ? fmt::format("{}: adds {} of {} MB; other files stay", name, kLogFileName,
                               target.size_mb)
                 : fmt::format("{}: replaces {} by an empty one of {} MB; other files stay", name,
                               kLogFileName, target.size_mb);
      break;
    case TargetKind::new_image:
      text = fmt::format("{}: makes a new image of a FAT32 card with a log of {} MB", name,
                         target.size_mb);
      break;
    case TargetKind::image:
    case TargetKind::device:
      text = fmt::format("{}: makes the card anew ({} MB, FAT32, a log of {} MB)", name,
                         target.sectors / kSectorsPerMib, target.size_mb);
      if (target.replaces())
        text += fmt::format("; {}; all of it will be gone",
                            words_of_system(target.lock.fd(), target.sectors));
      break;
  }
  fmt::print(stderr, "packmile: {}; for van {}\n", text, clean_text(van));
}

enum class Consent : std::uint8_t { given, refused, nobody_to_ask };

Consent ask() {
  if (isatty(STDIN_FILENO) != 1 || isatty(STDERR_FILENO) != 1) return Consent::nobody_to_ask;
  fmt::print(stderr, "Go on? Type yes: ");
  std::fflush(stderr);
  char answer[16] = {};
  if (!std::fgets(answer, sizeof answer, stdin)) return Consent::refused;
  return strcasecmp(answer, "yes\n") == 0 || strcasecmp(answer, "y\n") == 0 ? Consent::given
                                                                            : Consent::refused;
}

Result<Done> sync_names(const fs::path& folder) {
  const FileCloser file(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  // Some FAT drivers do not sync folders: the system as a whole does.
  if (!file.is_open() || ::fsync(file.fd()) != 0) ::sync();
  return Done{};
}

// A file under its working name: gone again unless it was kept.
class Unfinished {
 public:
  explicit Unfinished(fs::path path) : path_(std::move(path)) {}
  Unfinished(const Unfinished&) = delete;
  Unfinished& operator=(const Unfinished&) = delete;
  ~Unfinished() {
    if (!kept_) (void)::unlink(path_.c_str());
  }
  [[nodiscard]] const fs::path& path() const { return path_; }
  [[nodiscard]] Result<Done> keep_as(const fs::path& name) {
    if (::rename(path_.c_str(), name.c_str()) != 0)
      return system_error_at("cannot be renamed", path_, errno);
    kept_ = true;
    return sync_names(name.parent_path().empty() ? fs::path(".") : name.parent_path());
  }

 private:
  fs::path path_;
  bool kept_ = false;
};

Result<Done> verify(const fs::path& path, const std::string& name, const LogIdentity& identity) {
  Progress progress{"reading back " + name, "sectors"};
  return verify_prepared(
      path, identity, [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
}

Result<Done> blank(int fd, std::uint64_t first_sector, std::uint64_t sectors,
                   const std::string& name) {
  Progress progress{"writing " + name, "sectors"};
  return blank_sectors(fd, first_sector, sectors, name,
                       [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); });
}

Result<Done> prepare_folder(Target& target, const LogIdentity& identity) {
  const std::uint64_t sectors = target.size_mb * kSectorsPerMib;
  const auto settings = make_settings_sector(identity, sectors);
  if (!settings) return settings.error();
  Unfinished log(target.path / kUnfinishedLogName);
  (void)::unlink(log.path().c_str());
  // No room for both: the old one, all of which is archived, goes first.
  if (!target.old_log.empty() && free_bytes(target.path) < sectors * kSectorBytes) {
    if (::unlink(target.old_log.c_str()) != 0)
      return system_error_at("cannot be replaced", target.old_log, errno);
    target.lock = FileCloser();
    target.old_log.clear();
    ::sync();
  }
  const bool on_fat = is_fat(target.path);
  {
    const FileCloser file(::open(log.path().c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666));
    if (!file.is_open()) return system_error_at("cannot be written", log.path(), errno);
    // A wish: room in one piece. A system that does not know it writes as well.
    (void)::fallocate(file.fd(), FALLOC_FL_KEEP_SIZE, 0,
                      static_cast<off_t>(sectors * kSectorBytes));
    if (auto done = blank(file.fd(), 0, sectors, target.name); !done) return done;
    if (::fsync(file.fd()) != 0) return system_error_at("cannot be written", log.path(), errno);
    if (on_fat) switch (look_at_pieces(file.fd(), sectors * kSectorBytes)) {
        case PieceVerdict::one:
          break;
        case PieceVerdict::several:
          return Error{
              "there is no room for the log in one piece", target.name,
              "delete or move other files, or make the card anew: packmile card prepare DEVICE"};
        case PieceVerdict::not_seen:
          fmt::print(
              stderr,
              "packmile: {}: whether the log is in one piece cannot be seen by this account: "
              "not checked here, the logger checks it\n",
              clean_text(target.name));
          break;
      }
    else
      fmt::print(stderr,
                 "packmile: {}: not a FAT file system: a logger on Linux can write here, a board "
                 "that reads the raw card cannot\n",
                 clean_text(target.name));
    if (auto done = write_settings(file.fd(), 0, *settings, log.path().string()); !done)
      return done;
  }
  if (auto done = verify(log.path(), target.name, identity); !done) return done;
  const fs::path name = target.path / kLogFileName;
  if (auto done = log.keep_as(name); !done) return done;
  // The old one under small letters, where these are another name.
  std::error_code failed;
  if (!target.old_log.empty() && target.old_log != name &&
      !fs::equivalent(target.old_log, name, failed) && !failed)
    (void)::unlink(target.old_log.c_str());
  return sync_names(target.path);
}

// File system, log and settings on a file or device that may be overwritten.
Result<Done> make_card(const fs::path& path, const Target& target, const LogIdentity& identity) {
  const std::uint64_t log_sectors = target.size_mb * kSectorsPerMib;
  const auto layout = plan_card(target.sectors, log_sectors);
  if (!layout) return layout.error();
  const auto settings = make_settings_sector(identity, log_sectors);
  if (!settings) return settings.error();
  const auto volume = make_file_system(path, *layout);
  if (!volume) return volume.error();
  {
    const bool device = target.kind == TargetKind::device;
    const FileCloser file(::open(path.c_str(), O_RDWR | O_CLOEXEC | (device ? O_EXCL : 0)));
    if (!file.is_open()) return system_error_at("cannot be written", path, errno);
    if (auto done = add_log_file(file.fd(), *volume, layout->log_first_sector, log_sectors,
                                 identity.prepared);
        !done)
      return Error{done.error().where + " " + done.error().what, path.string(), done.error().hint};
    // In a new image the log is a hole: blank, and without a byte on the disk.
    if (device)
      if (auto done = blank(file.fd(), layout->log_first_sector, log_sectors, target.name); !done)
        return done;
    if (auto done = write_settings(file.fd(), layout->log_first_sector, *settings, path.string());
        !done)
      return done;
  }
  return verify(path, target.name, identity);
}

Result<Done> prepare_image(Target& target, const LogIdentity& identity) {
  const fs::path working = target.path.string() + kUnfinishedImageSuffix;
  const FileCloser file(::open(working.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666));
  if (!file.is_open()) return system_error_at("cannot be written", working, errno);
  struct stat opened {};
  struct stat named {};
  // The second look: another prepare may have finished, and renamed the file
  // that was opened here, before the lock was had.
  if (::flock(file.fd(), LOCK_EX | LOCK_NB) != 0 || ::fstat(file.fd(), &opened) != 0 ||
      ::stat(working.c_str(), &named) != 0 || opened.st_ino != named.st_ino)
    return Error{"another program prepares this card", target.name, "wait until it is done"};
  Unfinished image(working);
  struct stat old {};
  if (target.lock.is_open() && ::fstat(target.lock.fd(), &old) == 0)
    // Rights are a matter of taste here: one that cannot be kept is no failure.
    (void)!::fchmod(file.fd(), old.st_mode & 07777);
  if (::ftruncate(file.fd(), 0) != 0 ||
      ::ftruncate(file.fd(), static_cast<off_t>(target.sectors * kSectorBytes)) != 0)
    return system_error_at("cannot be written", image.path(), errno);
  if (auto done = make_card(image.path(), target, identity); !done) return done;
  return image.keep_as(target.path);
}

Result<Done> prepare(Target& target, const LogIdentity& identity) {
  switch (target.kind) {
    case TargetKind::folder:
      return prepare_folder(target, identity);
    case TargetKind::new_image:
    case TargetKind::image:
      return prepare_image(target, identity);
    case TargetKind::device:
      return make_card(target.path, target, identity);
  }
  return Done{};
}

std::vector<const FleetSignal*> signals_for(const Keeper& keeper, const std::string& van) {
  if (!keeper.depot) return {};
  return keeper.depot->fleet.signals_of(van);
}

// What the logger will read beside the standards' own.
void print_signals(const Keeper& keeper, const std::string& van) {
  if (!keeper.depot || keeper.depot->fleet.signals.empty()) return;
  const auto signals = signals_for(keeper, van);
  if (signals.empty()) {
    fmt::print("owner's signals: none of {} is for van {}\n",
               clean_text((keeper.depot->root / kFleetFileName).string()), van);
    return;
  }
  fmt::print("owner's signals, read by service 22 alone:\n");
  for (const FleetSignal* signal : signals) {
    const OwnersDefinition& d = signal->definition;
    fmt::print("  {}: identifier {:04X} of ECU {:X}, data {} {}; {}\n", d.name, d.did, d.request_id,
               d.bytes == 1 ? "byte" : "bytes", bytes_text(d), clean_text(signal->where));
  }
}

}  // namespace

ExitCode run_card_prepare(const CardPrepareOptions& options) {
  if (options.van.empty() || options.van.size() > kMaxVanNameBytes)
    return wrong_usage(fmt::format("--van: a name has 1 to {} bytes, this one has {}",
                                   kMaxVanNameBytes, options.van.size()),
                       "see packmile card prepare --help");
  if (clean_text(options.van) != options.van)
    return wrong_usage("--van: the name is no UTF-8 text, or has control characters in it",
                       "see packmile card prepare --help");
  const auto keeper = find_keeper(options.depot);
  if (!keeper) return ExitCode::failed;
  LogIdentity identity;
  identity.log_id = draw_log_id();
  identity.lithium_battery = options.lithium_battery;
  identity.van = options.van;
  identity.prepared =
      std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
  for (const FleetSignal* signal : signals_for(*keeper, options.van))
    identity.owners_signals.push_back(signal->definition);
  // Whether they fit does not depend on the log: known before a card is touched.
  if (const auto settings = make_settings_sector(identity, kMinLogMib * kSectorsPerMib);
      !settings) {
    say(Error{settings.error().what,
              keeper->depot ? (keeper->depot->root / kFleetFileName).string() : std::string{},
              settings.error().hint});
    return ExitCode::failed;
  }
  auto target = look_at_target(options.target);
  if (!target) {
    say(target.error());
    return ExitCode::failed;
  }

  const bool replaces = target->replaces();
  if (replaces && target->sectors != 0) {
    const auto contents = look_through(options.target, *keeper);
    if (!contents) {
      say(contents.error());
      return ExitCode::failed;
    }
    if (const auto reason = reason_to_keep(*contents, *keeper)) {
      say(Error{"not prepared: " + reason->what, reason->where, reason->hint});
      return ExitCode::attention;
    }
  }
  if (const auto size = choose_size(*target, options.size_mb); !size) {
    say(size.error());
    return ExitCode::failed;
  }

  say_plan(*target, options.van);
  if (replaces && !options.yes) switch (ask()) {
      case Consent::given:
        break;
      case Consent::refused:
        say(std::string_view{"nothing was changed"});
        return ExitCode::failed;
      case Consent::nobody_to_ask:
        return wrong_usage("nothing was changed: there is no terminal to ask at",
                           "pass --yes to go on without the question");
    }

  if (const auto done = prepare(*target, identity); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  fmt::print("{}: prepared for van {}: card {:08X}, a log of {} MB\n", clean_text(options.target),
             options.van, identity.log_id, target->size_mb);
  print_signals(*keeper, options.van);
  fmt::print("next: put the card into the logger, drive, then packmile check {}\n",
             clean_text(options.target));
  if (keeper->depot && keeper->depot->fleet.van_of_name(options.van) == nullptr)
    fmt::print(stderr, "{} does not know van {}; paste and complete:\n{}",
               clean_text((keeper->depot->root / kFleetFileName).string()), options.van,
               van_lines(options.van, {}));
  return ExitCode::done;
}

}  // namespace packmile::cli
