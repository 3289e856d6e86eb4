// packmile sectors: one sector of a log, for a closer look or for protoc.
#include <fmt/format.h>

#include "card/sample_walk.hpp"
#include "cli/commands.hpp"
#include "cli/output.hpp"

namespace packmile::cli {
namespace {

const char* word_of(SectorKind kind) {
  switch (kind) {
    case SectorKind::data:
      return "data";
    case SectorKind::session:
      return "session";
    case SectorKind::settings:
      return "settings";
  }
  return "unknown";
}

std::string header_text(std::uint64_t address, const SectorHeader& header) {
  return fmt::format(
      "address        {}\n"
      "version        {}\n"
      "kind           {}\n"
      "payload_bytes  {}\n"
      "log_id         {:08X}\n"
      "boot_id        {:08X}\n"
      "sequence       {}\n"
      "ring_sectors   {}\n"
      "van_tag        {:08X}\n",
      address, header.version, word_of(header.kind), header.payload_bytes, header.log_id,
      header.boot_id, header.sequence, header.ring_sectors, header.van_tag);
}

}  // namespace

ExitCode run_sectors(const SectorsOptions& options) {
  auto out = Output::open({});
  if (!out) {
    say(out.error());
    return ExitCode::failed;
  }
  if (options.raw && out->is_terminal())
    return wrong_usage("--raw writes bytes, and standard output is a terminal",
                       "pipe it: packmile sectors CARD --address N --raw | protoc --decode "
                       "packmile.Record proto/packmile.proto");
  const auto card = CardFile::open(options.cards.front());
  if (!card) {
    say(card.error());
    return ExitCode::failed;
  }
  const auto sector = read_log_sector(*card, *options.address);
  if (!sector) {
    say(sector.error());
    return ExitCode::failed;
  }
  if (options.raw)
    out->write({reinterpret_cast<const char*>(sector->payload.data()), sector->payload.size()});
  else
    out->write(header_text(*options.address, sector->header));
  if (const auto done = out->commit(); !done) {
    say(done.error());
    return ExitCode::failed;
  }
  return ExitCode::done;
}

}  // namespace packmile::cli
