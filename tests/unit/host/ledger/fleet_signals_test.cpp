#include <doctest/doctest.h>

#include "ledger/fleet.hpp"

using namespace packmile;

namespace {

// Lines 1 to 8: what comes behind begins with line 9.
constexpr char kSignalsHead[] =
    "zone = \"Europe/London\"\ncurrency = \"GBP\"\n"
    "[[van]]\nname = \"Linden\"\n[[van]]\nname = \"Cedar\"\n[[van]]\nname = \"Rowan\"\n";
// What a block must have: lines 2 to 4 of it.
constexpr char kPlace[] = "ecu = 0x7E4\ndid = 0xF00D\nbytes = 2\n";

FleetRead read_signals(const std::string& blocks) {
  return parse_fleet(std::string{kSignalsHead} + blocks, "fleet.toml");
}

std::string all_errors(const FleetRead& fleet) {
  std::string out;
  for (const Error& e : fleet.errors) out += e.where + ": " + e.what + "\n";
  return out;
}

// The only mistake of one block that has `line` as line 13 behind what it must have.
std::string wrong(const std::string& line, const std::string& role = "role = \"soc\"\n") {
  return all_errors(read_signals("[[signal]]\n" + std::string{kPlace} + line + "\n" + role));
}

std::string block(const std::string& name, const std::string& more) {
  return "[[signal]]\nname = \"" + name + "\"\n" + more + "\n";
}

}  // namespace

TEST_CASE("fleet signals: every key arrives, and what is left out has its value") {
  const auto got = read_signals(R"([[signal]]
role = "pack_a"
name = "battery_a"
vans = ["Linden", "Rowan"]
ecu = 0x18DA10F1
did = 0xF00D
first_byte = 3
bytes = 2
first_bit = 1
bits = 15
byte_order = "little"
signed = true
scale = -0.02
offset = 0.5
unit = "A"
period_ms = 100
[[signal]]
role = "soc"
ecu = 0x7E7
did = 1
bytes = 4
first_bit = 4
[[signal]]
name = "doors"
ecu = 0x7E0
did = 0xFFFF
first_byte = 156
bytes = 1
)");
  REQUIRE(all_errors(got) == "");
  REQUIRE(got.fleet.signals.size() == 3);
  const FleetSignal& all = got.fleet.signals[0];
  CHECK(all.definition == OwnersDefinition{.role = SignalRole::pack_a,
                                           .name = "battery_a",
                                           .request_id = 0x18DA10F1,
                                           .did = 0xF00D,
                                           .first_byte = 3,
                                           .bytes = 2,
                                           .first_bit = 1,
                                           .bits = 15,
                                           .little_endian = true,
                                           .is_signed = true,
                                           .scale = -0.02,
                                           .offset = 0.5,
                                           .unit = "A",
                                           .period_ms = 100});
  CHECK(all.vans == std::vector<std::string>{"Linden", "Rowan"});
  CHECK(all.where == "fleet.toml:9:1");
  CHECK(got.fleet.signals[1].definition == OwnersDefinition{.role = SignalRole::soc,
                                                            .name = "soc",
                                                            .request_id = 0x7E7,
                                                            .did = 1,
                                                            .bytes = 4,
                                                            .first_bit = 4,
                                                            .bits = 28,
                                                            .unit = "%"});
  CHECK(got.fleet.signals[2].definition ==
        OwnersDefinition{.name = "doors", .request_id = 0x7E0, .did = 0xFFFF, .first_byte = 156});
  // Whose card gets which; a van that is not known has those of every van.
  const auto names = [&](const char* van) {
    std::string out;
    for (const FleetSignal* signal : got.fleet.signals_of(van))
      out += signal->definition.name + " ";
    return out;
  };
  CHECK(names("Linden") == "battery_a soc doors ");
  CHECK(names("Cedar") == "soc doors ");
  CHECK(names("Willow") == "soc doors ");
}

TEST_CASE("fleet signals: the unit is that of the role") {
  const std::pair<const char*, const char*> units[] = {
      {"pack_v", "V"},          {"pack_a", "A"},   {"soc", "%"},
      {"odometer", "km"},       {"speed", "km/h"}, {"pack_temp", "degC"},
      {"charger_state", "code"}};
  for (const auto& [role, unit] : units) {
    const std::string line = std::string{"role = \""} + role + "\"\n";
    const auto got = read_signals("[[signal]]\n" + std::string{kPlace} + line);
    REQUIRE(all_errors(got) == "");
    CHECK(got.fleet.signals[0].definition.unit == unit);
    CHECK(got.fleet.signals[0].definition.name == role);
    CHECK(wrong(std::string{"unit = \""} + unit + "\"", line) == "");
    CHECK(wrong("unit = \"x\"", line) == std::string{"fleet.toml:13:8: unit of the role "} + role +
                                             " must be \"" + unit +
                                             "\"; scale and offset turn what the van sends into "
                                             "it\n");
  }
  const std::string capacity = "role = \"reported_capacity\"\n";
  CHECK(wrong("unit = \"Ah\"", capacity) == "");
  CHECK(wrong("unit = \"kWh\"", capacity) == "");
  CHECK(wrong("", capacity) ==
        "fleet.toml:9:1: unit of the role reported_capacity must be \"Ah\" or \"kWh\"\n");
  CHECK(wrong("unit = \"Wh\"", capacity) ==
        "fleet.toml:13:8: unit of the role reported_capacity must be \"Ah\" or \"kWh\"\n");
  CHECK(wrong("unit = \"thirteenchars\"", "name = \"x\"\n") ==
        "fleet.toml:13:8: unit must have at most 12 letters\n");
  for (const char* unit : {"\xC2\xB0"
                           "C",
                           "\\u001b[2J", "a\\tb", "\\u007f"})
    CHECK(wrong(std::string{"unit = \""} + unit + "\"", "name = \"x\"\n") ==
          "fleet.toml:13:8: unit must be printable ASCII, such as V, %, degC or km/h\n");
  CHECK(wrong("unit = \"\"", "name = \"x\"\n") == "");
}

TEST_CASE("fleet signals: a key that is not there, and words that are near") {
  CHECK(wrong("rolle = 1", "name = \"x\"\n") ==
        "fleet.toml:13:1: unknown key 'rolle' in [[signal]]; did you mean 'role'?\n");
  CHECK(wrong("van = 1", "name = \"x\"\n") ==
        "fleet.toml:13:1: unknown key 'van' in [[signal]]; did you mean 'vans'?\n");
  CHECK(wrong("", "role = \"pack_w\"\n") ==
        "fleet.toml:14:8: role must be one of pack_v, pack_a, soc, odometer, speed, pack_temp, "
        "charger_state, reported_capacity, none, not 'pack_w'; did you mean 'pack_v'?\n");
  // Neither slip hides the other.
  CHECK(wrong("name = \"soc_pct\"", "role = \"\"\n").find("fleet.toml:13:8: name 'soc_pct'") == 0);
  CHECK(wrong("", "role = 3\n") == "fleet.toml:14:8: role must be text in quotes\n");
  CHECK(all_errors(read_signals("[[signal]]\nrole = \"soc\"\n")) ==
        "fleet.toml:9:1: [[signal]] lacks the key 'ecu'\n"
        "fleet.toml:9:1: [[signal]] lacks the key 'did'\n"
        "fleet.toml:9:1: [[signal]] lacks the key 'bytes'\n");
  CHECK(all_errors(read_signals("[signal]\nrole = \"soc\"\n")) ==
        "fleet.toml:9:1: signal must be written as [[signal]], once for each\n");
  CHECK(all_errors(read_signals("[[van]]\nname = \"A\"\nsignal = 1\n"))
            .find("unknown key 'signal'") != std::string::npos);
  CHECK(all_errors(parse_fleet("signal = [1]\n" + std::string{kSignalsHead}, "fleet.toml")) ==
        "fleet.toml:1:11: signal must be written as [[signal]], once for each\n");
}

// Source: ISO 15765-4, the ids of requests to one ECU.
TEST_CASE("fleet signals: the ECU is a physical request id") {
  const std::string must =
      "ecu must be the request id of one ECU, 0x7E0 to 0x7E7 or 0x18DAxxF1 (hexadecimal with 0x)";
  const auto ecu = [](const std::string& value) {
    return all_errors(
        read_signals("[[signal]]\nrole = \"soc\"\ndid = 1\nbytes = 1\necu = " + value + "\n"));
  };
  for (const char* value : {"0x7E0", "0x7E7", "0x18DA00F1", "0x18DAFFF1", "2020"})
    CHECK(ecu(value) == "");
  for (const char* value :
       {"0", "-1", "0x7DE", "0x7F0", "0x800", "0x18DAF1F1", "0x18DB10F1", "0x19DA10F1",
        "0x18DA10F2", "0x118DA10F1", "7e4", "\"7E4\"", "true", "9223372036854775807", "[0x7E4]"})
    CHECK(ecu(value) == "fleet.toml:13:7: " + must + "\n");
  CHECK(ecu("0x7EC") ==
        "fleet.toml:13:7: " + must + "; 0x7EC is where the answers to 0x7E4 come from\n");
  CHECK(ecu("0x18DAF110") ==
        "fleet.toml:13:7: " + must + "; 0x18DAF110 is where the answers to 0x18DA10F1 come from\n");
  CHECK(ecu("0x7DF") == "fleet.toml:13:7: " + must + "; 0x7DF goes to all of them\n");
  CHECK(ecu("0x18DB33F1") == "fleet.toml:13:7: " + must + "; 0x18DB33F1 goes to all of them\n");
}

// Source: design of the transmit gate: no word of a file can make it send another
// service.
TEST_CASE("fleet signals: only service 22 is ever sent") {
  const auto did = [](const std::string& value) {
    return all_errors(
        read_signals("[[signal]]\nrole = \"soc\"\necu = 0x7E0\nbytes = 1\ndid = " + value + "\n"));
  };
  CHECK(did("1") == "");
  CHECK(did("0xFFFF") == "");
  for (const char* value : {"0", "-1", "0x10000", "0x2EF190", "0x22F190", "\"2E F190\"", "\"F190\"",
                            "2e3", "true", "[0x2E, 0xF190]"})
    CHECK(did(value) ==
          "fleet.toml:13:7: did must be the data identifier alone, 1 to 0xFFFF (hexadecimal with "
          "0x); only service 22, which reads, is ever sent, so no service stands in front of it\n");
  for (const char* value : {"0x2E", "0x22", "\"31\""})
    CHECK(wrong(std::string{"service = "} + value) ==
          "fleet.toml:13:11: service cannot be chosen: only service 22, which reads, is ever "
          "sent\n");
}

TEST_CASE("fleet signals: the word lies within what a logger takes") {
  const auto place = [](const std::string& lines) {
    return all_errors(read_signals("[[signal]]\nrole = \"soc\"\necu = 0x7E0\ndid = 1\n" + lines));
  };
  CHECK(place("bytes = 4\nfirst_byte = 153\n") == "");
  CHECK(place("bytes = 4\nfirst_byte = 154\n") ==
        "fleet.toml:14:14: first_byte 154 and bytes 4 reach beyond byte 156, the last that a "
        "logger takes\n");
  CHECK(place("bytes = 1\nfirst_byte = 157\n") ==
        "fleet.toml:14:14: first_byte must be a whole number from 0 to 156\n");
  for (const char* bytes : {"0", "5", "1.0", "-1"})
    CHECK(place(std::string{"bytes = "} + bytes + "\n") ==
          "fleet.toml:13:9: bytes must be a whole number from 1 to 4\n");
  CHECK(place("bytes = 2\nfirst_bit = 15\nbits = 1\n") == "");
  CHECK(place("bytes = 2\nfirst_bit = 15\nbits = 2\n") ==
        "fleet.toml:15:8: first_bit 15 and bits 2 reach beyond the 16 bits of the word\n");
  CHECK(place("bytes = 2\nfirst_bit = 16\n") ==
        "fleet.toml:14:13: first_bit 16 and bits 1 reach beyond the 16 bits of the word\n");
  CHECK(place("bytes = 2\nbits = 17\n") ==
        "fleet.toml:14:8: first_bit 0 and bits 17 reach beyond the 16 bits of the word\n");
  CHECK(place("bytes = 4\nbits = 33\n") ==
        "fleet.toml:14:8: bits must be a whole number from 1 to 32\n");
  CHECK(place("bytes = 4\nbits = 0\n") ==
        "fleet.toml:14:8: bits must be a whole number from 1 to 32\n");
  CHECK(wrong("byte_order = \"middle\"") ==
        "fleet.toml:13:14: byte_order must be \"big\" (most significant byte first) or "
        "\"little\"\n");
  CHECK(wrong("signed = \"yes\"") ==
        "fleet.toml:13:10: signed must be true (two's complement) or false\n");
  for (const char* period : {"99", "60001", "0", "1e3"})
    CHECK(wrong(std::string{"period_ms = "} + period) ==
          "fleet.toml:13:13: period_ms must be a whole number from 100 to 60000\n");
  CHECK(wrong("period_ms = 60000") == "");
}

TEST_CASE("fleet signals: scale and offset can be reckoned with") {
  CHECK(wrong("scale = 0") ==
        "fleet.toml:13:9: scale must not be 0: every word would be the same value\n");
  for (const char* scale : {"nan", "inf", "-inf", "1e300", "\"0.1\"", "true"})
    CHECK(wrong(std::string{"scale = "} + scale) ==
          "fleet.toml:13:9: scale must be a number from -1000000000 to 1000000000\n");
  CHECK(wrong("scale = 1e-10", "role = \"pack_v\"\n") ==
        "fleet.toml:13:9: scale must be at least 1e-09, or at most -1e-09\n");
  CHECK(wrong("offset = nan") ==
        "fleet.toml:13:10: offset must be a number from -1000000000 to 1000000000\n");
  // A step of the standard signal's code is 0.1 km; 10 / 65536 of it is the
  // smallest scale, 32768 the largest.
  const std::string km = "role = \"odometer\"\n";
  CHECK(wrong("scale = 0.0000152", km).find("fleet.toml:13:9: ") == std::string::npos);
  CHECK(wrong("scale = 0.0000140", km) ==
        "fleet.toml:13:9: scale is too small for the role odometer: a logger counts it in 65536ths "
        "of 0.1 km, 10 to 2147483647 of them\n");
  CHECK(wrong("scale = 3276.7", km) == "");
  CHECK(wrong("scale = -3276.9", km) ==
        "fleet.toml:13:9: scale is too large for the role odometer: a logger counts it in 65536ths "
        "of 0.1 km, 10 to 2147483647 of them\n");
  CHECK(wrong("offset = 214748364", km) == "");
  CHECK(wrong("offset = -214748365", km) ==
        "fleet.toml:13:10: offset is too large for the role odometer: a logger counts in steps of "
        "0.1 km, at most 2147483647 of them\n");
  CHECK(wrong("scale = 1e9\n", "role = \"pack_v\"\n") == "");
}

TEST_CASE("fleet signals: names that can stand in a table") {
  const auto name = [](const std::string& text) { return wrong("name = \"" + text + "\""); };
  const std::string letters =
      "fleet.toml:13:8: name must be small letters, digits and _, with a letter first, such as "
      "cell_v_min\n";
  for (const char* text : {"", "Soc", "1soc", "_soc", "so c", "so-c", "s\\u001b[2J", "s\\u0000",
                           "\xC3\xA4", "soc\\n", "{}"})
    CHECK(name(text) == letters);
  CHECK(name("a23456789_123456789_1234") == "");
  CHECK(name("a23456789_123456789_12345") ==
        "fleet.toml:13:8: name must have at most 24 letters\n");
  CHECK(name("soc_pct") ==
        "fleet.toml:13:8: name 'soc_pct' is that of a standard signal (packmile signals lists "
        "them); take another\n");
  // A role's word is the name where none is given, though it be a standard one.
  CHECK(wrong("name = \"pack_v\"", "role = \"pack_v\"\n") == "");
  CHECK(wrong("name = \"pack_a\"", "role = \"pack_v\"\n").find("standard signal") !=
        std::string::npos);
  CHECK(wrong("name = \"pack_v\"", "").find("standard signal") != std::string::npos);
  for (const char* role : {"", "role = \"none\"\n"})
    CHECK(wrong("", role) ==
          "fleet.toml:9:1: [[signal]] lacks the key 'name', which a signal without a role must "
          "have\n");
}

TEST_CASE("fleet signals: vans that there are") {
  CHECK(wrong("vans = [\"Linden\", \"Ceder\"]") ==
        "fleet.toml:13:19: vans: there is no van 'Ceder' in this file; did you mean 'Cedar'?\n");
  CHECK(wrong("vans = [\"Linden\", \"Cedar\", \"Linden\"]") ==
        "fleet.toml:13:28: vans: 'Linden' stands twice\n");
  CHECK(wrong("vans = [1]") == "fleet.toml:13:9: vans must be a list of names in quotes\n");
  for (const char* vans : {"[]", "\"Linden\""})
    CHECK(wrong(std::string{"vans = "} + vans) ==
          "fleet.toml:13:8: vans must be a list of names, such as [\"Linden\"]; left out, the "
          "signal is that of every van\n");
}

TEST_CASE("fleet signals: what two of one van may not share") {
  const std::string a = "ecu = 0x7E4\ndid = 0xF00D\nbytes = 2\nfirst_byte = 1\n";
  // Bytes 1 and 2, and 2 and 3.
  CHECK(all_errors(read_signals(block("a", a) + block("b",
                                                      "ecu = 0x7E4\ndid = 0xF00D\nbytes = 2\n"
                                                      "first_byte = 2"))) ==
        "fleet.toml:16:1: shares bit 0 of byte 2 of identifier F00D of ECU 7E4 with the signal at "
        "fleet.toml:9:1\n");
  for (const char* apart : {"ecu = 0x7E5\ndid = 0xF00D\nbytes = 2\nfirst_byte = 1",
                            "ecu = 0x7E4\ndid = 0xF00E\nbytes = 2\nfirst_byte = 1",
                            "ecu = 0x7E4\ndid = 0xF00D\nbytes = 2\nfirst_byte = 3"})
    CHECK(all_errors(read_signals(block("a", a) + block("b", apart))) == "");
  // Bits of one byte: the word of two bytes ends with byte 2 in one order and with
  // byte 1 in the other.
  const std::string low = "ecu = 0x7E4\ndid = 0xF00D\nbytes = 2\nfirst_byte = 1\nbits = 4\n";
  const std::string byte_2 = "ecu = 0x7E4\ndid = 0xF00D\nbytes = 1\nfirst_byte = 2\n";
  CHECK(all_errors(read_signals(block("a", low) + block("b", byte_2 + "first_bit = 4"))) == "");
  CHECK(all_errors(read_signals(block("a", low) + block("b", byte_2 + "first_bit = 3"))) ==
        "fleet.toml:17:1: shares bit 3 of byte 2 of identifier F00D of ECU 7E4 with the signal at "
        "fleet.toml:9:1\n");
  CHECK(all_errors(read_signals(block("a", low + "byte_order = \"little\"") +
                                block("b", byte_2 + "first_bit = 3"))) == "");

  const std::string b = "ecu = 0x7E4\ndid = 0xF00E\nbytes = 2\n";
  CHECK(all_errors(read_signals(block("a", a) + block("a", b))) ==
        "fleet.toml:16:1: name 'a' stands twice for every van, also at fleet.toml:9:1\n");
  CHECK(all_errors(
            read_signals(block("a", a + "role = \"soc\"") + block("b", b + "role = \"soc\""))) ==
        "fleet.toml:16:1: role soc stands twice for every van, also at fleet.toml:9:1\n");
  CHECK(all_errors(read_signals(block("a", a + "role = \"none\"") +
                                block("b", b + "role = \"none\""))) == "");
}

TEST_CASE("fleet signals: vans of other kinds may have the same, and one is told once") {
  const auto of = [](const std::string& vans) {
    return block("a", std::string{kPlace} + "role = \"soc\"\n" + vans);
  };
  CHECK(all_errors(read_signals(of("vans = [\"Linden\"]") + of("vans = [\"Cedar\", \"Rowan\"]"))) ==
        "");
  const std::string told =
      "fleet.toml:16:1: name 'a' stands twice for van 'Linden', also at fleet.toml:9:1\n"
      "fleet.toml:16:1: role soc stands twice for van 'Linden', also at fleet.toml:9:1\n"
      "fleet.toml:16:1: shares bit 0 of byte 1 of identifier F00D of ECU 7E4 with the signal at "
      "fleet.toml:9:1\n";
  CHECK(all_errors(read_signals(of("vans = [\"Linden\", \"Rowan\"]") +
                                of("vans = [\"Rowan\", \"Linden\"]"))) == told);
  // The block of every van stands behind the own one; the later one is told.
  CHECK(all_errors(read_signals(of("vans = [\"Linden\"]") + of(""))) == told);
}

TEST_CASE("fleet signals: no more than a card takes") {
  const auto blocks = [](int first, int last, const std::string& vans) {
    std::string text;
    for (int k = first; k <= last; ++k)
      text += block("s" + std::to_string(k),
                    "ecu = 0x7E4\ndid = " + std::to_string(k) + "\nbytes = 1\n" + vans);
    return text;
  };
  CHECK(all_errors(read_signals(blocks(1, 16, ""))) == "");
  CHECK(all_errors(read_signals(blocks(1, 17, ""))) ==
        "fleet.toml:105:1: every van has more than 16 signals: a card does not take them\n");
  // Those of every van count first, wherever they stand. 200 too many are told of
  // once, and each other mistake among them as well.
  CHECK(all_errors(
            read_signals(blocks(1, 200, "vans = [\"Linden\", \"Cedar\"]") + blocks(9, 9, ""))) ==
        "fleet.toml:99:1: van 'Linden' has more than 16 signals: a card does not take them\n"
        "fleet.toml:1209:1: name 's9' stands twice for van 'Linden', also at fleet.toml:57:1\n"
        "fleet.toml:1209:1: shares bit 0 of byte 0 of identifier 0009 of ECU 7E4 with the signal "
        "at fleet.toml:57:1\n");
  CHECK(all_errors(read_signals(blocks(1, 10, "vans = [\"Cedar\"]") + blocks(11, 16, ""))) == "");
  CHECK(all_errors(read_signals(blocks(1, 10, "vans = [\"Cedar\"]") + blocks(11, 17, ""))) ==
        "fleet.toml:63:1: van 'Cedar' has more than 16 signals: a card does not take them\n");
  std::string many;
  for (int k = 0; k < 20'001; ++k) many += "[[signal]]\n";
  const auto errors = read_signals(many).errors;
  REQUIRE(!errors.empty());
  CHECK(errors.back().where == "fleet.toml:20009:1");
  CHECK(errors.back().what == "more than 20000 signals: not a fleet.toml");
}

TEST_CASE("fleet signals: every mistake of the file at once, in order of lines") {
  CHECK(all_errors(parse_fleet(R"(zone = "UTC"
currency = "GBP"
[[signal]]
role = "soc"
ecu = 0x7EC
did = 0
bytes = 2
scale = 0
vans = ["Nobody"]
[[van]]
name = "Linden"
nominal_kwh = -1
[[signal]]
name = "soc"
ecu = 0x7E4
did = 0xF00D
bytes = 9
)",
                               "fleet.toml")) ==
        "fleet.toml:5:7: ecu must be the request id of one ECU, 0x7E0 to 0x7E7 or 0x18DAxxF1 "
        "(hexadecimal with 0x); 0x7EC is where the answers to 0x7E4 come from\n"
        "fleet.toml:6:7: did must be the data identifier alone, 1 to 0xFFFF (hexadecimal with 0x); "
        "only service 22, which reads, is ever sent, so no service stands in front of it\n"
        "fleet.toml:8:9: scale must not be 0: every word would be the same value\n"
        "fleet.toml:9:9: vans: there is no van 'Nobody' in this file\n"
        "fleet.toml:12:15: nominal_kwh must be more than 0 and at most 2000 kWh\n"
        "fleet.toml:17:9: bytes must be a whole number from 1 to 4\n");
}

// A name of a van goes into sentences; no letter of it may be taken for more.
TEST_CASE("fleet signals: vans with braces in their names") {
  const std::string van = "[[van]]\nname = \"{0} {}{\"\n";
  const std::string own = "ecu = 0x7E4\ndid = 5\nbytes = 1\nvans = [\"{0} {}{\"]";
  CHECK(all_errors(read_signals(van + block("a", own) + block("a", own)))
            .find("fleet.toml:17:1: name 'a' stands twice for van '{0} {}{', also at "
                  "fleet.toml:11:1\n") != std::string::npos);
}
