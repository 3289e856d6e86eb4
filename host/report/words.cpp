#include "report/words.hpp"

#include <fmt/format.h>

#include <array>
#include <cctype>
#include <charconv>
#include <cmath>

#include "report/number_text.hpp"

namespace packmile::report {
namespace {

constexpr std::array<std::string_view, 12> kMonths{"January",   "February", "March",    "April",
                                                   "May",       "June",     "July",     "August",
                                                   "September", "October",  "November", "December"};

// Signs that belong to one currency alone (from memory).
std::string sign_of(std::string_view currency) {
  if (currency == "GBP") return "£";
  if (currency == "EUR") return "€";
  return currency == "XXX" ? "" : std::string{currency} + " ";
}

std::string day_and_month(LocalDay day) {
  const std::chrono::year_month_day date{day};
  return fmt::format("{} {}", static_cast<unsigned>(date.day()),
                     kMonths[static_cast<unsigned>(date.month()) - 1]);
}

// Behind the first point of a text; 0: there is none.
int decimals_in(std::string_view text) {
  const std::size_t point = text.find('.');
  if (point == text.npos) return 0;
  std::size_t end = point + 1;
  while (end < text.size() && std::isdigit(static_cast<unsigned char>(text[end])) != 0) ++end;
  return static_cast<int>(end - point - 1);
}

}  // namespace

std::string grouped(std::string number) {
  std::size_t end = number.find('.');
  if (end == number.npos) end = number.size();
  const std::size_t begin = !number.empty() && number.front() == '-' ? 1 : 0;
  if (end - begin < 4) return number;
  for (std::size_t at = end; at > begin + 3; at -= 3) number.insert(at - 3, 1, ',');
  return number;
}

std::string range_words(const Figure& figure, double factor, int most_decimals) {
  // No reader needs more digits of it than of its like that has no interval.
  const auto rounded = [&](double value) { return number_text(value * factor, most_decimals); };
  std::string plain = figure_text(figure, factor, most_decimals);
  const std::string coarse = fmt::format("{} ({} to {})", rounded(figure.value),
                                         rounded(figure.low), rounded(figure.high));
  if (rounded(figure.low) == rounded(figure.high))
    plain = rounded(figure.value);
  else if (decimals_in(plain) > most_decimals)
    plain = coarse;
  std::string out, number;
  for (const char c : plain + ' ') {
    const bool digit = std::isdigit(static_cast<unsigned char>(c)) != 0 || c == '.' || c == '-';
    if (digit) {
      number += c;
      continue;
    }
    out += grouped(number) + c;
    number.clear();
  }
  out.pop_back();
  return out;
}

std::string listed(const std::vector<std::string>& items) {
  std::string out;
  for (std::size_t k = 0; k < items.size(); ++k)
    out += (k == 0 ? "" : k + 1 == items.size() ? " and " : ", ") + items[k];
  return out;
}

std::string sentence(std::string text) {
  if (text.empty()) return text;
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  if (text.back() != '.' && text.back() != '?') text += '.';
  return text;
}

std::string counted(std::size_t count, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", grouped(std::to_string(count)), count == 1 ? one : many);
}

std::string month_words(std::string_view month) {
  std::size_t number = 0;
  if (month.size() < 7) return std::string{month};
  std::from_chars(month.data() + 5, month.data() + 7, number);
  if (number < 1 || number > 12) return std::string{month};
  return fmt::format("{} {}", kMonths[number - 1], month.substr(0, 4));
}

std::string Words::currency_name() const { return currency == "XXX" ? "" : currency; }

std::string Words::cost_per_distance(const Figure& cost_per_mile) const {
  return sign_of(currency) + range_words(cost_per_mile, per_mile(), 3);
}

std::string Words::whole_money(const Figure& sum) const {
  return sign_of(currency) + range_words(sum, 1, 0);
}

std::string Words::price(const Figure& per_kwh) const {
  return sign_of(currency) + range_words(per_kwh, 1, 3);
}

std::string Words::energy_per_distance(const Figure& kwh_per_mile) const {
  return fmt::format("{} kWh a {}", range_words(kwh_per_mile, per_mile(), 3), each_distance());
}

std::string Words::distance(const Figure& km) const {
  return fmt::format("{} {}", range_words(km, of_km(), 0), distance_unit());
}

std::string Words::day(LocalDay day) const {
  const std::chrono::year_month_day date{day}, now{today};
  std::string out = day_and_month(day);
  if (date.year() != now.year()) out += fmt::format(" {}", static_cast<int>(date.year()));
  return out;
}

std::string Words::when(const DueDates& due) const {
  if (due.latest && *due.latest <= today) {
    if (due.likely < today) return "since " + day(due.likely);
    return "now";
  }
  if (due.latest && *due.latest == due.earliest) return "on " + day(due.likely);
  const std::string from = due.earliest <= today ? "now" : day(due.earliest);
  if (!due.latest) return "from " + from + " on";
  // One year for both of two days of it; else each has its own.
  const auto year_of = [](LocalDay at) { return std::chrono::year_month_day{at}.year(); };
  const auto first = year_of(due.earliest), last = year_of(*due.latest);
  if (due.earliest <= today || last == year_of(today))
    return fmt::format("between {} and {}", from, day(*due.latest));
  const std::string bare = day_and_month(due.earliest);
  if (first == last) return fmt::format("between {} and {}", bare, day(*due.latest));
  return fmt::format("between {} {} and {}", bare, static_cast<int>(first), day(*due.latest));
}

}  // namespace packmile::report
