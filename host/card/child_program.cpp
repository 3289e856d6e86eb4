#include "card/child_program.hpp"

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <string_view>
#include <system_error>

extern char** environ;

namespace packmile {
namespace {

constexpr std::size_t kMostOutputBytes = 4096;

std::string find_program(const std::string& name) {
  const char* path = std::getenv("PATH");
  std::string folders = path ? path : "";
  folders += ":/usr/sbin:/sbin";
  std::string_view left = folders;
  while (!left.empty()) {
    const std::size_t end = std::min(left.find(':'), left.size());
    // An empty part means the current folder, where nothing is looked for.
    if (end != 0) {
      std::string file = std::string(left.substr(0, end)) + "/" + name;
      if (::access(file.c_str(), X_OK) == 0) return file;
    }
    left.remove_prefix(std::min(end + 1, left.size()));
  }
  return {};
}

}  // namespace

Result<ProgramRun> run_program(const std::string& name, const std::vector<std::string>& arguments) {
  const std::string file = find_program(name);
  if (file.empty())
    return Error{"the program " + name + " is not installed",
                 {},
                 "it is in the package dosfstools: apt-get install dosfstools"};
  int ends[2];
  if (::pipe2(ends, O_CLOEXEC) != 0)
    return Error{"cannot start: " + std::generic_category().message(errno), file, {}};
  std::vector<std::string> words{name};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> argv;
  for (std::string& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);

  posix_spawn_file_actions_t actions;
  ::posix_spawn_file_actions_init(&actions);
  ::posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  ::posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
  ::posix_spawn_file_actions_adddup2(&actions, ends[1], STDERR_FILENO);
  pid_t child = 0;
  const int error = ::posix_spawn(&child, file.c_str(), &actions, nullptr, argv.data(), environ);
  ::posix_spawn_file_actions_destroy(&actions);
  ::close(ends[1]);
  if (error != 0) {
    ::close(ends[0]);
    return Error{"cannot start: " + std::generic_category().message(error), file, {}};
  }

  ProgramRun run;
  char part[1024];
  for (;;) {
    const ssize_t n = ::read(ends[0], part, sizeof part);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) break;
    const std::size_t room = kMostOutputBytes - run.output.size();
    run.output.append(part, std::min(room, static_cast<std::size_t>(n)));
  }
  ::close(ends[0]);
  while (!run.output.empty() && run.output.back() == '\n') run.output.pop_back();
  int status = 0;
  while (::waitpid(child, &status, 0) < 0 && errno == EINTR) {
  }
  run.exit_status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return run;
}

}  // namespace packmile
