// The Linux port's own settings file: refused with its places, or within bounds.
#include "fuzz/fuzz_input.hpp"
#include "fuzz/memory_file.hpp"
#include "fuzz/targets.hpp"
#include "linux/settings_file.hpp"

namespace packmile::fuzz {

void try_port_settings(Input input) {
  const MemoryFile file(input);
  const auto read = port::read_settings_file(file.path());
  if (const auto* errors = std::get_if<1>(&read)) {
    must(!errors->empty(), "a file is refused for a reason");
    for (const port::PortError& error : *errors) {
      must(!error.what.empty(), "an error says what is wrong");
      must(error.where.starts_with(file.path()), "an error names the file");
    }
    return;
  }
  const port::FileSettings& settings = std::get<0>(read);
  if (settings.baud) must(port::is_known_baud(*settings.baud), "a rate that the line can have");
  must(settings.log_files <= 100 && settings.log_max_bytes >= 4096, "the log stays bounded");
}

}  // namespace packmile::fuzz
