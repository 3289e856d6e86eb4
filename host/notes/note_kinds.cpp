#include "notes/note_kinds.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "notes/positions.hpp"

namespace packmile {
namespace {

// Above what a van reaches in its life: catches a digit too many (common
// practice, no source).
constexpr double kMostOdometerKm = 2'000'000;
// The largest pack of a road vehicle that fleet.toml takes; one receipt is one or
// a few charges.
constexpr double kMostReceiptKwh = 2'000;
constexpr double kMostSum = 1'000'000;
// Some currencies write a van in hundreds of millions (from memory).
constexpr double kMostPrice = 1'000'000'000;
// A counter of eight places before the point.
constexpr double kMostMeterKwh = 99'999'999;
constexpr double kMostPlaceBytes = 64;
// A new tyre of a van has 8 to 11 mm, a new pad 10 to 20 (common practice, no
// source): further out the unit is wrong.
constexpr double kMostTreadMm = 25;
constexpr double kMostGaugeErrorMm = 5;
constexpr double kMostPadMm = 40;
constexpr double kMostHours = 1'000;
constexpr double kMostOffRoadDays = 1'000;
constexpr double kMostPartBytes = 64;
// A double has 15 to 17 decimal digits.
constexpr std::size_t kMostDigits = 15;

constexpr std::array kOdometerValues{NoteValueRule{"READING", NoteUnit::km, 0, kMostOdometerKm}};
constexpr std::array kReceiptValues{
    NoteValueRule{"KWH", NoteUnit::kwh, 0, kMostReceiptKwh, true},
    NoteValueRule{"SUM_PAID", NoteUnit::money, 0, kMostSum},
    NoteValueRule{"PLACE", NoteUnit::text, 1, kMostPlaceBytes},
};
constexpr std::array kMeterValues{
    NoteValueRule{"BEFORE", NoteUnit::kwh, 0, kMostMeterKwh},
    NoteValueRule{"AFTER", NoteUnit::kwh, 0, kMostMeterKwh},
};

constexpr std::array kTreadValues{
    NoteValueRule{"WHEEL", NoteUnit::text, 1, 2, false, false, kWheelWords},
    NoteValueRule{"MM", NoteUnit::mm, 0, kMostTreadMm},
    NoteValueRule{"GAUGE_MM", NoteUnit::mm, 0, kMostGaugeErrorMm, true, true},
};
constexpr std::array kPadValues{
    NoteValueRule{"AXLE", NoteUnit::text, 1, 5, false, false, kAxleWords},
    NoteValueRule{"MM", NoteUnit::mm, 0, kMostPadMm},
};
constexpr std::array kJobValues{
    NoteValueRule{"PART", NoteUnit::text, 1, kMostPartBytes},
    NoteValueRule{"SUM", NoteUnit::money, 0, kMostPrice},
    NoteValueRule{"HOURS", NoteUnit::hours, 0, kMostHours, false, true},
};
constexpr std::array kFluidValues{NoteValueRule{"NAME", NoteUnit::text, 1, kMostPartBytes}};
constexpr std::array kMovedValues{
    NoteValueRule{"FROM", NoteUnit::text, 1, 2, false, false, kWheelWords},
    NoteValueRule{"TO", NoteUnit::text, 1, 2, false, false, kWheelWords},
};
constexpr std::array kOffRoadValues{
    NoteValueRule{"DAYS", NoteUnit::days, 0, kMostOffRoadDays, true},
    NoteValueRule{"SUM", NoteUnit::money, 0, kMostPrice, false, true},
};
constexpr std::array kPriceValues{NoteValueRule{"SUM", NoteUnit::money, 0, kMostPrice}};

// Charging in public twice a day, and at the depot's meter more often than that,
// is ordinary, and so are several jobs at one visit and several offers for a van;
// two odometer readings at one time are not.
constexpr std::array kKinds{
    NoteKindRule{NoteKind::odometer, "odometer", kOdometerValues, false, false, judge_odometer},
    NoteKindRule{NoteKind::receipt, "receipt", kReceiptValues, true, false, judge_receipt},
    NoteKindRule{NoteKind::meter, "meter", kMeterValues, true, false, judge_meter},
    NoteKindRule{NoteKind::tread, "tread", kTreadValues, false, false, judge_tread, true},
    NoteKindRule{NoteKind::pad, "pad", kPadValues, false, false, judge_pad, true},
    NoteKindRule{NoteKind::job, "job", kJobValues, true, false, judge_job},
    NoteKindRule{NoteKind::fluid, "fluid", kFluidValues, true, false, judge_fluid},
    NoteKindRule{NoteKind::tyre_moved, "tyre_moved", kMovedValues, false, false, judge_tyre_moved,
                 true},
    NoteKindRule{NoteKind::off_road, "off_road", kOffRoadValues, false, false, judge_off_road},
    NoteKindRule{NoteKind::valuation, "valuation", kPriceValues, true, false, judge_valuation},
    NoteKindRule{NoteKind::sold, "sold", kPriceValues, false, false, judge_sold},
    NoteKindRule{NoteKind::withdrawn, "withdrawn", {}, false, true, judge_withdrawn},
};

struct Suffix {
  std::string_view word;
  double factor;
};

std::vector<Suffix> suffixes_of(NoteUnit unit) {
  switch (unit) {
    case NoteUnit::km:
      return {{"km", 1}, {"mi", kKmPerMile}};
    case NoteUnit::kwh:
      return {{"kwh", 1}};
    case NoteUnit::mm:
      return {{"mm", 1}};
    case NoteUnit::hours:
      return {{"h", 1}, {"hours", 1}};
    case NoteUnit::days:
      return {{"day", 1}, {"days", 1}};
    case NoteUnit::money:
    case NoteUnit::text:
      break;
  }
  return {};
}

// What stands behind a number that has no suffix.
std::string_view unit_word(NoteUnit unit, std::string_view currency) {
  switch (unit) {
    case NoteUnit::km:
      return "km";
    case NoteUnit::kwh:
      return "kWh";
    case NoteUnit::mm:
      return "mm";
    case NoteUnit::hours:
      return "h";
    case NoteUnit::days:
      return "days";
    case NoteUnit::money:
      return currency == "XXX" ? std::string_view{} : currency;
    case NoteUnit::text:
      break;
  }
  return {};
}

std::string lower(std::string_view text) {
  std::string out{text};
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// The number and what is behind it: "24850 mi" is 24850 and "mi".
struct Split {
  std::string_view digits;
  std::string_view behind;
  std::size_t decimals = 0;
};
std::optional<Split> split_number(std::string_view text) {
  std::size_t whole = 0;
  while (whole < text.size() && is_digit(text[whole])) ++whole;
  if (whole == 0) return std::nullopt;
  std::size_t end = whole;
  std::size_t decimals = 0;
  if (end + 1 < text.size() && text[end] == '.' && is_digit(text[end + 1])) {
    ++end;
    while (end < text.size() && is_digit(text[end])) ++end;
    decimals = end - whole - 1;
  }
  Split out{text.substr(0, end), text.substr(end), decimals};
  while (out.behind.starts_with(' ')) out.behind.remove_prefix(1);
  return out;
}

std::string allowed_text(const NoteValueRule& rule) {
  std::string out = fmt::format("a number {} {} to {}", rule.more_than_least ? "above" : "from",
                                rule.least, rule.most);
  switch (rule.unit) {
    case NoteUnit::km:
      return out + " km, or miles with mi behind it (24850mi)";
    case NoteUnit::kwh:
      return out + " kWh";
    case NoteUnit::mm:
      return out + " mm";
    case NoteUnit::hours:
      return out + " hours";
    case NoteUnit::days:
      return out + " days";
    case NoteUnit::money:
      return out + ", in the depot's currency and without its sign";
    case NoteUnit::text:
      break;
  }
  return out;
}

std::variant<NoteValue, NoteMistake> read_text(const NoteValueRule& rule, std::string_view text) {
  const auto size = static_cast<double>(text.size());
  if (!rule.words.empty() && std::ranges::find(rule.words, text) == rule.words.end())
    return NoteMistake{fmt::format("{} '{}' is not known", rule.name, text),
                       fmt::format("one of: {}", fmt::join(rule.words, ", ")),
                       {}};
  if (size < rule.least)
    return NoteMistake{fmt::format("{} is missing", rule.name),
                       fmt::format("a word or a few, at most {} bytes", rule.most),
                       {}};
  if (size > rule.most)
    return NoteMistake{fmt::format("{} is longer than {} bytes", rule.name, rule.most),
                       "what is worth more words belongs into the remark",
                       {}};
  return NoteValue{std::string{text}, 0, 0};
}

}  // namespace

std::span<const NoteKindRule> note_kinds() { return kKinds; }

const NoteKindRule& rule_of(NoteKind kind) { return kKinds[static_cast<std::size_t>(kind)]; }

const NoteKindRule* note_kind_named(std::string_view word) {
  const auto found = std::ranges::find(kKinds, word, &NoteKindRule::word);
  return found == kKinds.end() ? nullptr : &*found;
}

std::string usage_of(const NoteKindRule& rule) {
  std::string out{rule.word};
  for (const NoteValueRule& value : rule.values)
    out += value.optional ? fmt::format(" [{}]", value.name) : fmt::format(" {}", value.name);
  if (rule.needs_replaces) out += " --replaces ID";
  return out;
}

std::string note_kind_words() {
  std::string out;
  for (const NoteKindRule& rule : kKinds) out += (out.empty() ? "" : ", ") + std::string{rule.word};
  return out;
}

std::variant<NoteValue, NoteMistake> read_note_value(const NoteValueRule& rule,
                                                     std::string_view text) {
  if (rule.unit == NoteUnit::text) return read_text(rule, text);
  if (text.empty())
    return NoteMistake{fmt::format("{} is missing", rule.name), allowed_text(rule), {}};
  const auto split = split_number(text);
  double factor = 1;
  bool known = split.has_value();
  if (known && !split->behind.empty()) {
    const auto suffixes = suffixes_of(rule.unit);
    const auto suffix = std::ranges::find(suffixes, lower(split->behind), &Suffix::word);
    known = suffix != suffixes.end();
    if (known) factor = suffix->factor;
  }
  if (!known) {
    std::string hint = allowed_text(rule);
    if (text.find(',') != text.npos)
      hint += "; decimals stand behind a point, and nothing stands between thousands";
    return NoteMistake{fmt::format("{} '{}' cannot be read", rule.name, text), std::move(hint), {}};
  }
  if (split->digits.size() > kMostDigits + 1)
    return NoteMistake{
        fmt::format("{} '{}' has too many digits", rule.name, text), allowed_text(rule), {}};
  double typed = 0;
  std::from_chars(split->digits.data(), split->digits.data() + split->digits.size(), typed);
  const double number = typed * factor;
  if (number < rule.least || number > rule.most || (rule.more_than_least && number == rule.least))
    return NoteMistake{
        fmt::format("{} {} is out of range", rule.name, text), allowed_text(rule), {}};
  return NoteValue{std::string{split->digits} + (factor == 1 ? "" : "mi"), number,
                   factor * std::pow(10.0, -static_cast<double>(split->decimals))};
}

std::string value_text(const NoteValueRule& rule, const NoteValue& value,
                       std::string_view currency) {
  if (value.text.empty() || rule.unit == NoteUnit::text) return value.text;
  if (value.text.ends_with("mi")) return value.text.substr(0, value.text.size() - 2) + " mi";
  const std::string_view unit = unit_word(rule.unit, currency);
  return unit.empty() ? value.text : fmt::format("{} {}", value.text, unit);
}

std::string note_text(const Note& note, std::string_view currency) {
  const NoteKindRule& rule = rule_of(note.kind);
  std::string out{rule.word};
  for (std::size_t k = 0; k < rule.values.size(); ++k) {
    if (note.values[k].text.empty()) continue;
    const std::string text = value_text(rule.values[k], note.values[k], currency);
    out += rule.values[k].unit == NoteUnit::text && rule.values[k].words.empty()
               ? fmt::format(" '{}'", text)
               : " " + text;
  }
  return out;
}

bool says_the_same(const Note& a, const Note& b) {
  if (a.kind != b.kind || a.when != b.when || a.van != b.van) return false;
  const NoteKindRule& rule = rule_of(a.kind);
  for (std::size_t k = 0; k < rule.values.size(); ++k) {
    const NoteValue &x = a.values[k], &y = b.values[k];
    if (x.text.empty() != y.text.empty()) return false;
    if (rule.values[k].unit == NoteUnit::text
            ? x.text != y.text
            // Miles and back: the last bits differ.
            : std::abs(x.number - y.number) > 1e-9 * std::max(x.number, y.number))
      return false;
  }
  return true;
}

}  // namespace packmile
