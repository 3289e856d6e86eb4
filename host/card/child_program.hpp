// Runs another program and waits for it.
//
// Found     in PATH, then in /usr/sbin and /sbin, which ordinary accounts do not
//           have in theirs.
// Output    both of its streams, in one text of at most 4 KiB; no shell.
#pragma once
#include <string>
#include <vector>

#include "result.hpp"

namespace packmile {

struct ProgramRun {
  int exit_status = 0;  // 128 and more: ended by a signal
  std::string output;   // without the line end at its end
};

// An error: there is no such program, or it cannot be started.
[[nodiscard]] Result<ProgramRun> run_program(const std::string& name,
                                             const std::vector<std::string>& arguments);

}  // namespace packmile
