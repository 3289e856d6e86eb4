#include "ledger/fleet_parts.hpp"

#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <set>

#include "duty/wear.hpp"
#include "notes/positions.hpp"

namespace packmile {
namespace {

constexpr std::size_t kMostPartBlocks = 1'000;
constexpr std::size_t kLongestPartNameBytes = 64;
// Beyond these a slip of the pen is likelier (common practice, no source).
constexpr double kMostPartKm = 2'000'000;
constexpr double kMostPartMonths = 600;
constexpr double kMostPartCount = 10'000'000;
constexpr double kMostPartMm = 40;
constexpr int kMonthsAYear = 12;
constexpr std::chrono::year kEarliestFitting{1990}, kLatestFitting{2200};

struct WrittenPart {
  FleetPart part;
  std::optional<double> limit_miles, limit_years, limit_months, fitted_miles;
};

auto part_number(auto place, std::string_view unit, double most, bool zero_is_right = false) {
  return [=](WrittenPart& out, const toml::node& node) -> std::string {
    const double value = node.is_number() ? node.value<double>().value_or(-1) : -1;
    if (!(value <= most && (zero_is_right ? value >= 0 : value > 0)))
      return fmt::format("must be a number {} 0 and at most {} {}",
                         zero_is_right ? "from" : "above", most, unit);
    place(out) = value;
    return {};
  };
}

std::string read_part_name(WrittenPart& out, const toml::node& node) {
  std::string& name = out.part.name;
  if (auto wrong = read_text(node, name); !wrong.empty()) return wrong;
  if (name.empty() || name.size() > kLongestPartNameBytes)
    return fmt::format("must have 1 to {} bytes", kLongestPartNameBytes);
  if (std::ranges::any_of(name, [](unsigned char c) { return c < 0x20 || c == 0x7F; }))
    return "must not hold control characters";
  return {};
}

std::string read_positions(WrittenPart& out, const toml::node& node) {
  static const std::vector<std::string> known = [] {
    std::vector<std::string> words(kWheelWords.begin(), kWheelWords.end());
    words.insert(words.end(), kAxleWords.begin(), kAxleWords.end());
    return words;
  }();
  const auto* list = node.as_array();
  const std::string form = fmt::format("must be a list of {}", fmt::join(known, ", "));
  if (list == nullptr || list->empty()) return form;
  for (auto&& element : *list) {
    std::string word;
    if (!read_text(element, word).empty()) return form;
    if (std::ranges::find(known, word) == known.end())
      return fmt::format("{}, not '{}'{}", form, word, did_you_mean(word, known));
    if (std::ranges::find(out.part.positions, word) != out.part.positions.end())
      return fmt::format("names '{}' twice", word);
    out.part.positions.push_back(std::move(word));
  }
  return {};
}

template <typename E>
auto part_word(E FleetPart::*member, std::vector<std::pair<const char*, E>> words) {
  return
      [member, words = std::move(words)](WrittenPart& out, const toml::node& node) -> std::string {
        std::vector<std::string> known;
        for (const auto& [word, value] : words) known.emplace_back(word);
        std::string text;
        if (auto wrong = read_text(node, text); !wrong.empty()) return wrong;
        for (const auto& [word, value] : words) {
          if (text != word) continue;
          out.part.*member = value;
          return {};
        }
        return fmt::format("must be one of {}, not '{}'{}", fmt::join(known, ", "), text,
                           did_you_mean(text, known));
      };
}

std::string read_fitted(WrittenPart& out, const toml::node& node) {
  const auto* date = node.as_date();
  if (date == nullptr) return "must be a day such as 2024-02-29, without quotes";
  const std::chrono::year_month_day day{std::chrono::year{date->get().year},
                                        std::chrono::month{date->get().month},
                                        std::chrono::day{date->get().day}};
  if (!day.ok() || day.year() < kEarliestFitting || day.year() > kLatestFitting)
    return fmt::format("must be a day from {} to {}", int{kEarliestFitting}, int{kLatestFitting});
  out.part.fitted = std::chrono::local_days{day};
  return {};
}

const std::vector<Key<WrittenPart>>& part_keys() {
  const auto of_part = [](std::optional<double> FleetPart::*member) {
    return [member](WrittenPart& out) -> std::optional<double>& { return out.part.*member; };
  };
  const auto written = [](std::optional<double> WrittenPart::*member) {
    return [member](WrittenPart& out) -> std::optional<double>& { return out.*member; };
  };
  static const double kMostMiles = std::floor(kMostPartKm / kKmPerMile);
  static const std::vector<Key<WrittenPart>> keys{
      {"name", true, read_part_name},
      {"positions", false, read_positions},
      {"limit_km", false, part_number(of_part(&FleetPart::limit_km), "km", kMostPartKm)},
      {"limit_miles", false, part_number(written(&WrittenPart::limit_miles), "miles", kMostMiles)},
      {"limit_months", false,
       part_number(written(&WrittenPart::limit_months), "months", kMostPartMonths)},
      {"limit_years", false,
       part_number(written(&WrittenPart::limit_years), "years", kMostPartMonths / kMonthsAYear)},
      {"limit_hours", false,
       part_number(of_part(&FleetPart::limit_hours), "hours", kMostPartCount)},
      {"limit_starts", false,
       part_number(of_part(&FleetPart::limit_starts), "starts", kMostPartCount)},
      {"limit_kwh", false, part_number(of_part(&FleetPart::limit_kwh), "kWh", kMostPartCount)},
      {"gauge", false,
       part_word(&FleetPart::gauge, {{"tread", PartGauge::tread}, {"pad", PartGauge::pad}})},
      {"least_mm", false, part_number(of_part(&FleetPart::least_mm), "mm", kMostPartMm)},
      {"counts", false,
       part_word(&FleetPart::counts, {{"motor", PartCounter::motor},
                                      {"charger", PartCounter::charger},
                                      {"pack", PartCounter::pack}})},
      {"fitted", false, read_fitted},
      {"fitted_km", false, part_number(of_part(&FleetPart::fitted_km), "km", kMostPartKm, true)},
      {"fitted_miles", false,
       part_number(written(&WrittenPart::fitted_miles), "miles", kMostMiles, true)},
  };
  return keys;
}

constexpr char kPartTitle[] = "[[part]]";

// What two keys of one block may not say both, and what one needs beside it.
void check_part(const toml::table& table, WrittenPart& written, Complaints& complaints) {
  FleetPart& part = written.part;
  const auto at = [&](const char* key) { return table.get(key)->source(); };
  const auto not_both = [&](const char* one, const char* other) {
    if (table.contains(one) && table.contains(other))
      complaints.error(at(other), fmt::format("{} has {} or {}, not both", kPartTitle, one, other));
  };
  not_both("limit_km", "limit_miles");
  not_both("limit_months", "limit_years");
  not_both("fitted_km", "fitted_miles");
  if (written.limit_miles) part.limit_km = *written.limit_miles * kKmPerMile;
  if (written.fitted_miles) part.fitted_km = *written.fitted_miles * kKmPerMile;
  const std::optional<double> months = written.limit_years
                                           ? std::optional{*written.limit_years * kMonthsAYear}
                                           : written.limit_months;
  if (months) {
    part.limit_months = static_cast<int>(std::lround(*months));
    if (*part.limit_months < 1 || std::abs(*months - *part.limit_months) > 1e-6)
      complaints.error(at(written.limit_years ? "limit_years" : "limit_months"),
                       "the age of a part is counted in whole months");
  }
  if (table.contains("least_mm") && !table.contains("gauge"))
    complaints.error(at("least_mm"),
                     "least_mm needs gauge = \"tread\" or \"pad\": which measurement it is of");
  if (part.fitted_km && !table.contains("fitted"))
    complaints.error(at(written.fitted_miles ? "fitted_miles" : "fitted_km"),
                     "the odometer at the fitting needs the day: fitted");
  for (const std::string& position : part.positions) {
    const bool wheel = wheel_named(position).has_value();
    if ((part.gauge == PartGauge::tread && !wheel) || (part.gauge == PartGauge::pad && wheel))
      complaints.error(at("positions"), part.gauge == PartGauge::tread
                                            ? "treads are measured by wheel: fl, fr, rl, rr"
                                            : "pads are measured by axle: front, rear");
  }
  const bool has_limit = part.limit_km || part.limit_months || part.limit_hours ||
                         part.limit_starts || part.limit_kwh || part.gauge != PartGauge::none;
  const bool tried = table.contains("limit_km") || table.contains("limit_miles") ||
                     table.contains("limit_months") || table.contains("limit_years") ||
                     table.contains("limit_hours") || table.contains("limit_starts") ||
                     table.contains("limit_kwh") || table.contains("gauge");
  if (!has_limit && !tried)
    complaints.error(table.source(), fmt::format("{} has no limit", kPartTitle),
                     "one or more of limit_km, limit_miles, limit_months, limit_years, "
                     "limit_hours, limit_starts, limit_kwh, or gauge");
}

}  // namespace

void read_vans_of(const toml::node& node, const Fleet& fleet, std::vector<std::string>& vans,
                  Complaints& complaints) {
  const auto* list = node.as_array();
  if (list == nullptr || list->empty()) {
    complaints.error(node.source(),
                     "vans must be a list of names such as [\"Linden\"]; leave it out for all");
    return;
  }
  std::vector<std::string> known;
  for (const FleetVan& van : fleet.vans) known.push_back(van.name);
  for (auto&& element : *list) {
    std::string name;
    if (auto wrong = read_text(element, name); !wrong.empty()) {
      complaints.error(element.source(), "vans " + wrong);
    } else if (fleet.van_of_name(name) == nullptr) {
      complaints.error(element.source(), fmt::format("vans names '{}', which no [[van]] has{}",
                                                     name, did_you_mean(name, known)));
    } else if (std::ranges::find(vans, name) != vans.end()) {
      complaints.error(element.source(), fmt::format("vans names '{}' twice", name));
    } else {
      vans.push_back(std::move(name));
    }
  }
}

void read_parts(const toml::node& node, Fleet& fleet, Complaints& complaints) {
  const auto* parts = node.as_array();
  constexpr char kForm[] = "part must be written as [[part]], once for each part";
  if (parts == nullptr) return complaints.error(node.source(), kForm);
  if (parts->size() > kMostPartBlocks)
    return complaints.error(node.source(),
                            fmt::format("more than {} parts: not a fleet.toml", kMostPartBlocks));
  // (van, part, position) once each, or two rows would say two things of one part.
  std::map<std::string, std::string> seen;
  for (auto&& element : *parts) {
    const auto* table = element.as_table();
    if (table == nullptr) {
      complaints.error(element.source(), kForm);
      continue;
    }
    static const std::array<std::string, 1> kOthers{"vans"};
    WrittenPart written;
    read_table(*table, part_keys(), kOthers, kPartTitle, written, complaints);
    if (const auto* vans = table->get("vans"))
      read_vans_of(*vans, fleet, written.part.vans, complaints);
    check_part(*table, written, complaints);
    FleetPart& part = written.part;
    if (part.fitted && part.vans.size() != 1 && fleet.vans.size() > 1)
      complaints.error(table->get("fitted")->source(),
                       "a fitting belongs to one van: vans must name it, and no other");
    std::vector<std::string> vans = part.vans;
    if (!table->contains("vans"))
      for (const FleetVan& van : fleet.vans) vans.push_back(van.name);
    std::vector<std::string> positions = part.positions;
    if (positions.empty()) positions.emplace_back();
    bool twice = false;
    for (const std::string& van : vans)
      for (const std::string& position : positions) {
        const auto [before, added] = seen.emplace(
            fmt::format("{}\n{}\n{}", van, part.name, position), complaints.where(table->source()));
        if (added || twice) continue;
        twice = true;
        complaints.error(table->source(),
                         fmt::format("part '{}'{}{} of {} stands twice, first at {}", part.name,
                                     position.empty() ? "" : " ", position, van, before->second));
      }
    fleet.parts.push_back(std::move(part));
  }
}

std::vector<const FleetPart*> Fleet::parts_of(std::string_view van) const {
  std::vector<const FleetPart*> out;
  for (const FleetPart& part : parts)
    if (part.vans.empty() || std::ranges::find(part.vans, van) != part.vans.end())
      out.push_back(&part);
  return out;
}

std::string parts_template() {
  return fmt::format(
      R"(
# One block for each part that wears out; `packmile upkeep` says when it is due. Several
# limits: whichever comes first. These are INVENTED; take yours from the maker's schedule.
# A job or fluid note with the same name is its renewal: the part begins anew.
#[[part]]
#name = "brake fluid"           # as in tables, and in job and fluid notes
#vans = ["Linden"]              # all vans where it is left out
#limit_miles = 20000            # or limit_km, by the odometer
#limit_years = 2                # or limit_months, by the calendar
#limit_hours = 5000             # of what counts says
#limit_starts = 20000           # drives and charges begun
#limit_kwh = 30000              # through what counts says
#counts = "motor"               # hours and kWh: motor, charger (on board) or pack
#fitted = 2025-03-01            # before the first note of its renewal
#fitted_miles = 12000           # or fitted_km: the odometer on that day
#[[part]]
#name = "tyres"
#positions = ["fl", "fr"]       # of fl fr rl rr front rear; one for the van where left out
#gauge = "tread"                # or "pad": measured by hand, from tread or pad notes
#least_mm = {:.1f}                # of that measurement, where you want it renewed; {:.1f}
                                # where left out. The law's least tread is told beside it.
)",
      kPlanTreadMm, kPlanTreadMm);
}

}  // namespace packmile
