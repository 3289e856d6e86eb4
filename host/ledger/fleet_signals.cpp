#include "ledger/fleet_signals.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <set>
#include <tuple>
#include <unordered_map>

#include "obd_address.hpp"

namespace packmile {
namespace {

// Beyond these a slip of the pen is likelier than a signal (common practice, no
// source): a raw word has at most ten digits.
constexpr double kSmallestScale = 1e-9;
constexpr double kLargestNumber = 1e9;
constexpr std::uint32_t kLargestDid = 0xFFFF;
// Names that are looked through for the one that was meant, again and again.
constexpr std::size_t kMostGuesses = 100;
constexpr char kBlock[] = "[[signal]]";

// A block as far as it could be read; absent: not there, or wrong and told.
struct SignalBlock {
  std::optional<SignalRole> role;
  std::optional<std::string> name, unit;
  std::optional<std::uint32_t> ecu, did, first_byte, bytes, first_bit, bits, period_ms;
  std::optional<bool> little_endian, is_signed;
  std::optional<double> scale, offset;
};

std::string read_whole(const toml::node& node, std::uint32_t low, std::uint32_t high,
                       std::optional<std::uint32_t>& out) {
  const auto* number = node.as_integer();
  if (number == nullptr || number->get() < std::int64_t{low} || number->get() > std::int64_t{high})
    return fmt::format("must be a whole number from {} to {}", low, high);
  out = static_cast<std::uint32_t>(number->get());
  return {};
}

auto whole_key(std::optional<std::uint32_t> SignalBlock::*member, std::uint32_t low,
               std::uint32_t high) {
  return [member, low, high](SignalBlock& block, const toml::node& node) {
    return read_whole(node, low, high, block.*member);
  };
}

std::string read_role(SignalBlock& block, const toml::node& node) {
  std::string word;
  if (auto wrong = read_text(node, word); !wrong.empty()) return wrong;
  block.role = find_role(word);
  if (block.role) return {};
  std::vector<std::string> known;
  for (int k = 0; k <= static_cast<int>(kLastRole); ++k)
    known.emplace_back(name_of(static_cast<SignalRole>(k)));
  return fmt::format("must be one of {}, not '{}'{}", role_words(), word,
                     did_you_mean(word, known));
}

bool is_small_letter(char c) { return c >= 'a' && c <= 'z'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string read_signal_name(SignalBlock& block, const toml::node& node) {
  std::string name;
  if (auto wrong = read_text(node, name); !wrong.empty()) return wrong;
  if (name.size() > kMaxOwnersNameBytes)
    return fmt::format("must have at most {} letters", kMaxOwnersNameBytes);
  if (name.empty() || !is_small_letter(name.front()) || !std::ranges::all_of(name, [](char c) {
        return is_small_letter(c) || is_digit(c) || c == '_';
      }))
    return "must be small letters, digits and _, with a letter first, such as cell_v_min";
  block.name = std::move(name);
  return {};
}

std::string read_unit(SignalBlock& block, const toml::node& node) {
  std::string unit;
  if (auto wrong = read_text(node, unit); !wrong.empty()) return wrong;
  if (unit.size() > kMaxOwnersUnitBytes)
    return fmt::format("must have at most {} letters", kMaxOwnersUnitBytes);
  if (!std::ranges::all_of(unit, [](char c) { return c >= 0x20 && c < 0x7F; }))
    return "must be printable ASCII, such as V, %, degC or km/h";
  block.unit = std::move(unit);
  return {};
}

std::string read_ecu(SignalBlock& block, const toml::node& node) {
  constexpr char kWhich[] =
      "must be the request id of one ECU, 0x7E0 to 0x7E7 or 0x18DAxxF1 (hexadecimal with 0x)";
  const auto* number = node.as_integer();
  if (number == nullptr) return kWhich;
  const std::int64_t id = number->get();
  if (id < 0 || id > std::numeric_limits<std::uint32_t>::max()) return kWhich;
  const auto request_id = static_cast<std::uint32_t>(id);
  const bool extended = is_extended_id(request_id);
  if (ecu_of_request_id(request_id, extended)) {
    block.ecu = request_id;
    return {};
  }
  if (const auto asked = request_id_of(request_id, extended))
    return fmt::format("{}; 0x{:X} is where the answers to 0x{:X} come from", kWhich, request_id,
                       *asked);
  if (request_id == functional_id(extended))
    return fmt::format("{}; 0x{:X} goes to all of them", kWhich, request_id);
  return kWhich;
}

std::string read_did(SignalBlock& block, const toml::node& node) {
  if (read_whole(node, 1, kLargestDid, block.did).empty()) return {};
  return "must be the data identifier alone, 1 to 0xFFFF (hexadecimal with 0x); only service 22, "
         "which reads, is ever sent, so no service stands in front of it";
}

std::string read_service(SignalBlock&, const toml::node&) {
  return "cannot be chosen: only service 22, which reads, is ever sent";
}

std::string read_byte_order(SignalBlock& block, const toml::node& node) {
  const auto* word = node.as_string();
  if (word == nullptr || (word->get() != "big" && word->get() != "little"))
    return "must be \"big\" (most significant byte first) or \"little\"";
  block.little_endian = word->get() == "little";
  return {};
}

std::string read_signed(SignalBlock& block, const toml::node& node) {
  const auto* flag = node.as_boolean();
  if (flag == nullptr) return "must be true (two's complement) or false";
  block.is_signed = flag->get();
  return {};
}

std::string read_number(const toml::node& node, std::optional<double>& out) {
  const double value = node.value<double>().value_or(std::numeric_limits<double>::quiet_NaN());
  // Written so that what is not a number fails, too.
  if (!node.is_number() || !(std::abs(value) <= kLargestNumber))
    return fmt::format("must be a number from {} to {}", -kLargestNumber, kLargestNumber);
  out = value;
  return {};
}

std::string read_scale(SignalBlock& block, const toml::node& node) {
  std::optional<double> scale;
  if (auto wrong = read_number(node, scale); !wrong.empty()) return wrong;
  if (*scale == 0) return "must not be 0: every word would be the same value";
  if (std::abs(*scale) < kSmallestScale)
    return fmt::format("must be at least {0}, or at most -{0}", kSmallestScale);
  block.scale = scale;
  return {};
}

std::string read_offset(SignalBlock& block, const toml::node& node) {
  return read_number(node, block.offset);
}

const std::vector<Key<SignalBlock>>& block_keys() {
  constexpr std::uint32_t kMostBytes = 4;
  constexpr std::uint32_t kMostBits = 32;
  static const std::vector<Key<SignalBlock>> keys{
      {"role", false, read_role},
      {"name", false, read_signal_name},
      {"ecu", true, read_ecu},
      {"did", true, read_did},
      {"first_byte", false, whole_key(&SignalBlock::first_byte, 0, kMaxOwnersDataBytes - 1)},
      {"bytes", true, whole_key(&SignalBlock::bytes, 1, kMostBytes)},
      {"first_bit", false, whole_key(&SignalBlock::first_bit, 0, kMostBits - 1)},
      {"bits", false, whole_key(&SignalBlock::bits, 1, kMostBits)},
      {"byte_order", false, read_byte_order},
      {"signed", false, read_signed},
      {"scale", false, read_scale},
      {"offset", false, read_offset},
      {"unit", false, read_unit},
      {"period_ms", false,
       whole_key(&SignalBlock::period_ms, kMinOwnersPeriodMs, kMaxOwnersPeriodMs)},
      {"service", false, read_service},
  };
  return keys;
}

// Where one place of a van's signals is taken, by index of the signal.
struct Taken {
  std::unordered_map<std::uint64_t, std::size_t> bits;
  std::unordered_map<std::string, std::size_t> names;
  std::array<std::optional<std::size_t>, static_cast<std::size_t>(kLastRole) + 1> roles{};
  std::size_t count = 0;
};

class SignalReader {
 public:
  SignalReader(Fleet& fleet, Complaints& complaints) : fleet_(fleet), complaints_(complaints) {
    for (const FleetVan& van : fleet.vans)
      if (!van.name.empty() && van_index_.emplace(van.name, van_names_.size()).second)
        van_names_.push_back(van.name);
    of_van_.resize(van_names_.size());
  }

  void read(const toml::array& blocks) {
    for (auto&& element : blocks) {
      const auto* table = element.as_table();
      if (table == nullptr) {
        complaints_.error(element.source(), "signal must be written as [[signal]], once for each");
        continue;
      }
      if (read_.size() == kMostSignalBlocks) {
        complaints_.error(table->source(),
                          fmt::format("more than {} signals: not a fleet.toml", kMostSignalBlocks));
        break;
      }
      read_block(*table);
    }
    check_vans();
    for (ReadSignal& read : read_) fleet_.signals.push_back(std::move(read.signal));
  }

 private:
  struct ReadSignal {
    FleetSignal signal;
    toml::source_region at;
    bool placed = false;  // its bits are known
    bool named = false;
  };

  // The place of a key, or of the block where the key is left out.
  static const toml::source_region& place_of(const toml::table& table, const char* key) {
    const auto* node = table.get(key);
    return node == nullptr ? table.source() : node->source();
  }

  void read_block(const toml::table& table) {
    static const std::array<std::string, 1> kOthers{"vans"};
    SignalBlock block;
    read_table(table, block_keys(), kOthers, kBlock, block, complaints_);
    ReadSignal read;
    read.at = table.source();
    read.signal.where = complaints_.where(read.at);
    OwnersDefinition& out = read.signal.definition;
    out.role = block.role.value_or(SignalRole::none);
    out.little_endian = block.little_endian.value_or(false);
    out.is_signed = block.is_signed.value_or(false);
    out.scale = block.scale.value_or(1);
    out.offset = block.offset.value_or(0);
    out.period_ms = block.period_ms.value_or(0);
    const bool role_known = block.role || !table.contains("role");
    take_name(table, block, role_known, out);
    if (role_known) {
      take_unit(table, block, out);
      check_codes(table, block, out);
    }
    read.named = !out.name.empty();
    read.placed = take_place(table, block, out);
    const std::size_t index = read_.size();
    if (!table.contains("vans"))
      of_every_van_.push_back(index);
    else
      take_vans(*table.get("vans"), index, read.signal);
    read_.push_back(std::move(read));
  }

  void take_name(const toml::table& table, const SignalBlock& block, bool role_known,
                 OwnersDefinition& out) {
    if (block.name) {
      // A role's own word may be that of the standard signal whose place it takes.
      const bool own_word =
          role_known ? *block.name == name_of(out.role) : find_role(*block.name).has_value();
      if (find_signal(*block.name) != nullptr && !own_word)
        complaints_.error(place_of(table, "name"),
                          fmt::format("name '{}' is that of a standard signal (packmile signals "
                                      "lists them); take another",
                                      *block.name));
      else
        out.name = *block.name;
    } else if (!table.contains("name") && role_known) {
      if (out.role == SignalRole::none)
        complaints_.error(table.source(),
                          fmt::format("{} lacks the key 'name', which a signal without a role "
                                      "must have",
                                      kBlock));
      else
        out.name = name_of(out.role);
    }
  }

  void take_unit(const toml::table& table, const SignalBlock& block, OwnersDefinition& out) {
    const bool wrong = table.contains("unit") && !block.unit;
    const std::string_view wanted = unit_of(out.role);
    out.unit = block.unit.value_or(std::string{wanted});
    if (wrong || out.role == SignalRole::none) return;
    if (out.role == SignalRole::reported_capacity) {
      if (out.unit != "Ah" && out.unit != "kWh")
        complaints_.error(place_of(table, "unit"),
                          "unit of the role reported_capacity must be \"Ah\" or \"kWh\"");
    } else if (out.unit != wanted) {
      complaints_.error(place_of(table, "unit"),
                        fmt::format("unit of the role {} must be \"{}\"; scale and offset turn "
                                    "what the van sends into it",
                                    name_of(out.role), wanted));
    }
  }

  void check_codes(const toml::table& table, const SignalBlock& block,
                   const OwnersDefinition& out) {
    if (table.contains("scale") && !block.scale) return;
    if (standard_codes_of(out.role, out.scale, 0)) {
      if (!standard_codes_of(out.role, out.scale, out.offset))
        complaints_.error(
            place_of(table, "offset"),
            fmt::format("offset is too large for the role {}: a logger counts in "
                        "steps of {:.3g} {}, at most 2147483647 of them",
                        name_of(out.role), code_step_of(out.role), unit_of(out.role)));
      return;
    }
    complaints_.error(
        place_of(table, "scale"),
        fmt::format("scale is too {} for the role {}: a logger counts it in 65536ths of {:.3g} {}, "
                    "10 to 2147483647 of them",
                    std::abs(out.scale) < 1 ? "small" : "large", name_of(out.role),
                    code_step_of(out.role), unit_of(out.role)),
        std::abs(out.scale) < 1 ? "leave out low bits of the word: first_bit, and the scale twice "
                                  "as large for each"
                                : "");
  }

  // False: where its bits lie is not known.
  bool take_place(const toml::table& table, const SignalBlock& block, OwnersDefinition& out) {
    const auto left_out_or_read = [&](const char* key, const auto& value) {
      return value.has_value() || !table.contains(key);
    };
    if (!block.bytes || !left_out_or_read("first_byte", block.first_byte) ||
        !left_out_or_read("first_bit", block.first_bit) || !left_out_or_read("bits", block.bits) ||
        !left_out_or_read("byte_order", block.little_endian))
      return false;
    const std::uint32_t first_byte = block.first_byte.value_or(0);
    const std::uint32_t first_bit = block.first_bit.value_or(0);
    const std::uint32_t word_bits = *block.bytes * 8;
    if (first_byte + *block.bytes > kMaxOwnersDataBytes) {
      complaints_.error(place_of(table, "first_byte"),
                        fmt::format("first_byte {} and bytes {} reach beyond byte {}, the last "
                                    "that a logger takes",
                                    first_byte, *block.bytes, kMaxOwnersDataBytes - 1));
      return false;
    }
    if (first_bit >= word_bits || first_bit + block.bits.value_or(1) > word_bits) {
      complaints_.error(place_of(table, block.bits ? "bits" : "first_bit"),
                        fmt::format("first_bit {} and bits {} reach beyond the {} bits of the word",
                                    first_bit, block.bits.value_or(1), word_bits));
      return false;
    }
    out.first_byte = static_cast<std::uint8_t>(first_byte);
    out.bytes = static_cast<std::uint8_t>(*block.bytes);
    out.first_bit = static_cast<std::uint8_t>(first_bit);
    out.bits = static_cast<std::uint8_t>(block.bits.value_or(word_bits - first_bit));
    if (!block.ecu || !block.did) return false;
    out.request_id = *block.ecu;
    out.did = static_cast<std::uint16_t>(*block.did);
    return true;
  }

  void take_vans(const toml::node& node, std::size_t index, FleetSignal& signal) {
    const auto* names = node.as_array();
    if (names == nullptr || names->empty()) {
      complaints_.error(node.source(),
                        "vans must be a list of names, such as [\"Linden\"]; left out, the signal "
                        "is that of every van");
      return;
    }
    for (auto&& element : *names) {
      const auto* name = element.as_string();
      if (name == nullptr) {
        complaints_.error(element.source(), "vans must be a list of names in quotes");
        continue;
      }
      const auto van = van_index_.find(name->get());
      if (van == van_index_.end()) {
        complaints_.error(
            element.source(),
            fmt::format("vans: there is no van '{}' in this file{}", name->get(),
                        guesses_++ < kMostGuesses ? did_you_mean(name->get(), van_names_) : ""));
        continue;
      }
      auto& list = of_van_[van->second];
      // Read block by block: the same van twice is next to itself.
      if (!list.empty() && list.back() == index) {
        complaints_.error(element.source(), fmt::format("vans: '{}' stands twice", name->get()));
        continue;
      }
      list.push_back(index);
      signal.vans.push_back(name->get());
    }
  }

  // What two signals of one van may not share. Those of every van are compared
  // once, and each van's own with them and with each other.
  void check_vans() {
    Taken every;
    for (const std::size_t index : of_every_van_) take(index, nullptr, every, "every van");
    for (std::size_t van = 0; van < of_van_.size(); ++van) {
      Taken own;
      const std::string title = fmt::format("van '{}'", van_names_[van]);
      for (const std::size_t index : of_van_[van]) take(index, &every, own, title);
    }
  }

  void take(std::size_t index, const Taken* every, Taken& own, const std::string& van) {
    const ReadSignal& read = read_[index];
    const std::size_t before = every == nullptr ? 0 : every->count;
    if (before <= kMaxOwnersSignals && before + ++own.count == kMaxOwnersSignals + 1)
      told_once("count", index, index,
                fmt::format("{} has more than {} signals: a card does not take them", van,
                            kMaxOwnersSignals));
    // The signal that took the place before, from the own ones or those of all.
    const auto holder = [&](auto Taken::*places, const auto& key) -> std::optional<std::size_t> {
      if (every != nullptr)
        if (const auto at = (every->*places).find(key); at != (every->*places).end())
          return at->second;
      const auto [at, added] = (own.*places).emplace(key, index);
      return added ? std::nullopt : std::optional(at->second);
    };
    const OwnersDefinition& d = read.signal.definition;
    if (read.named)
      if (const auto other = holder(&Taken::names, d.name))
        told_once("name", index, *other,
                  fmt::format("name '{}' stands twice for {}, also at ", d.name, van));
    if (d.role != SignalRole::none) {
      const auto role = static_cast<std::size_t>(d.role);
      const auto other =
          every != nullptr && every->roles[role] ? every->roles[role] : own.roles[role];
      if (other)
        told_once("role", index, *other,
                  fmt::format("role {} stands twice for {}, also at ", name_of(d.role), van));
      else
        own.roles[role] = index;
    }
    if (!read.placed) return;
    for (std::uint32_t bit = d.first_bit; bit < std::uint32_t{d.first_bit} + d.bits; ++bit) {
      const std::uint32_t place = data_bit_of(d, bit);
      const auto key = std::uint64_t{d.request_id} << 32 | std::uint64_t{d.did} << 16 | place;
      if (const auto other = holder(&Taken::bits, key))
        told_once("bits", index, *other,
                  fmt::format("shares bit {} of byte {} of identifier {:04X} of ECU {:X} with the "
                              "signal at ",
                              place % 8, place / 8, d.did, d.request_id));
    }
  }

  // At the later of two blocks, with the place of the other behind the text; once for each pair,
  // whatever vans they share.
  void told_once(std::string_view what, std::size_t a, std::size_t b, const std::string& text) {
    const std::size_t later = std::max(a, b);
    const std::size_t earlier = std::min(a, b);
    if (!told_.emplace(what, earlier, later).second) return;
    complaints_.error(read_[later].at, a == b ? text : text + read_[earlier].signal.where);
  }

  Fleet& fleet_;
  Complaints& complaints_;
  std::vector<std::string> van_names_;
  std::unordered_map<std::string, std::size_t> van_index_;
  std::vector<ReadSignal> read_;
  std::vector<std::size_t> of_every_van_;
  std::vector<std::vector<std::size_t>> of_van_;  // by place in van_names_
  std::set<std::tuple<std::string_view, std::size_t, std::size_t>> told_;
  std::size_t guesses_ = 0;
};

}  // namespace

std::string role_words() {
  std::string out;
  for (int k = 1; k <= static_cast<int>(kLastRole); ++k) {
    out += name_of(static_cast<SignalRole>(k));
    out += ", ";
  }
  return out + std::string{name_of(SignalRole::none)};
}

void read_signals(const toml::node& node, Fleet& fleet, Complaints& complaints) {
  const auto* blocks = node.as_array();
  if (blocks == nullptr) {
    complaints.error(node.source(), "signal must be written as [[signal]], once for each");
    return;
  }
  SignalReader(fleet, complaints).read(*blocks);
}

}  // namespace packmile
