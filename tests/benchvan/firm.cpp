#include "benchvan/firm.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <future>
#include <string_view>
#include <vector>

#include "benchvan/firm_papers.hpp"
#include "benchvan/firm_story.hpp"
#include "benchvan/month.hpp"
#include "benchvan/month_plan.hpp"
#include "benchvan/out_files.hpp"
#include "benchvan/prices.hpp"
#include "benchvan/report.hpp"
#include "benchvan/run_identity.hpp"
#include "benchvan/truth.hpp"
#include "benchvan/van_run.hpp"
#include "benchvan/vin.hpp"

namespace packmile::benchvan {
namespace {

namespace fs = std::filesystem;

constexpr std::int64_t kMsPerDay = 86400000;
// A question a second is enough for what the months before are for.
constexpr std::uint32_t kBeforePollMs = 1000;

constexpr std::array<std::string_view, 4> kWheels{"fl", "fr", "rl", "rr"};
constexpr std::array<std::string_view, 2> kAxles{"front", "rear"};
constexpr double kNewTreadMm = 8.0;
constexpr double kTwoTyres = 238;
constexpr std::array<double, 2> kPadWearMm{0.35, 0.25};  // per 10,000 km

struct TypedNote {
  std::int64_t unix_ms;
  std::string text;  // as a line of notes.csv
};

// What is on one card.
struct CardDays {
  std::int64_t start_unix_ms = 0;
  unsigned days = 0;
  bool last = false;  // of the last month, through the whole core
};

// What the firm's people write down about one van.
class Notebook {
 public:
  Notebook(const Story& story, std::uint64_t seed)
      : story_(story), generator_(seed ^ 0x6E6F746573u), tread_mm_(story.tread_mm) {}

  void odometer(std::int64_t unix_ms, double km) {
    add(unix_ms, fmt::format("odometer,{:.0f},,,", std::floor(km)));
  }

  // The walk-round: a gauge of tenths of a millimetre, good to a quarter of one.
  void walk_round(std::int64_t unix_ms, double km) {
    odometer(unix_ms, km);
    wear_to(km);
    // Whoever wears tyres out in a year does not wait for the law's depth.
    for (std::size_t axle = 0; axle < tread_mm_.size(); ++axle) {
      if (tread_mm_[axle] > kRenewBelowMm) continue;
      add(unix_ms - kMsPerDay / 2,
          fmt::format("job,tyre {},{:.2f},{},", kAxles[axle], kTwoTyres, 1.4));
      tread_mm_[axle] = kNewTreadMm;
    }
    for (std::size_t i = 0; i < kWheels.size(); ++i) {
      const double shown = tread_mm_[i / 2] + generator_.between(-0.2, 0.2);
      add(unix_ms, fmt::format("tread,{},{:.1f},,", kWheels[i], std::round(shown * 10) / 10));
    }
    if (walks_++ % 3 == 0) {
      for (std::size_t axle = 0; axle < kAxles.size(); ++axle) {
        const double shown = pad_mm_[axle] + generator_.between(-0.1, 0.1);
        add(unix_ms, fmt::format("pad,{},{:.1f},,", kAxles[axle], std::round(shown * 10) / 10));
      }
    }
    // hazel's bay has a counter of its own.
    if (story_.silent && meter_kwh_ > metered_kwh_) {
      add(unix_ms, fmt::format("meter,{:.1f},{:.1f},,", metered_kwh_, meter_kwh_));
      metered_kwh_ = std::round(meter_kwh_ * 10) / 10;
    }
  }

  // Every session of the truth is paid for away from the depot or goes through the
  // bay's own counter.
  void charges(const nlohmann::ordered_json& sessions) {
    for (const nlohmann::ordered_json& session : sessions) {
      const double kwh = session["grid_kwh"].get<double>();
      if (session["place"] != kPost) {
        meter_kwh_ += kwh;
        continue;
      }
      const Receipt receipt = receipt_of(kwh);
      lines_.push_back(
          {0, fmt::format("{},{},receipt,{:.2f},{:.2f},{},", story_.name,
                          session["end"].get<std::string>(), receipt.kwh, receipt.sum, kPost)});
    }
  }

  void add(std::int64_t unix_ms, const std::string& rest) {
    lines_.push_back({unix_ms, fmt::format("{},{},{}", story_.name, iso_time(unix_ms), rest)});
  }

  [[nodiscard]] const std::vector<TypedNote>& lines() const { return lines_; }

  // What is there at the last walk-round, and how fast it goes.
  [[nodiscard]] nlohmann::ordered_json wear() const {
    return {{"tread_mm", tread_mm_},
            {"tread_mm_per_10000_km", story_.wear_mm},
            {"pad_mm", pad_mm_},
            {"pad_mm_per_10000_km", kPadWearMm}};
  }

 private:
  void wear_to(double km) {
    if (worn_to_km_ > 0) {
      for (std::size_t axle = 0; axle < tread_mm_.size(); ++axle)
        tread_mm_[axle] -= story_.wear_mm[axle] * (km - worn_to_km_) / 10000;
      for (std::size_t axle = 0; axle < pad_mm_.size(); ++axle)
        pad_mm_[axle] -= kPadWearMm[axle] * (km - worn_to_km_) / 10000;
    }
    worn_to_km_ = km;
  }

  const Story& story_;
  Generator generator_;
  std::array<double, 2> tread_mm_;
  double worn_to_km_ = 0;
  std::array<double, 2> pad_mm_{9.6, 9.1};
  unsigned walks_ = 0;
  double meter_kwh_ = 12480.0;
  double metered_kwh_ = 12480.0;  // as the last note has it
  std::vector<TypedNote> lines_;
};

VanTraits traits_of(const Story& story, std::uint64_t seed) {
  Mechanisms mechanisms;
  mechanisms.charger = mechanisms.weather = mechanisms.polarisation = mechanisms.offset = true;
  VanTraits traits = draw_traits(mechanisms, seed);
  traits.offset_a /= 3;  // a better sensor than most
  traits.pack.capacity_ah = traits.believed_ah = story.pack_ah;
  traits.fade_pct_per_year = story.fade_pct_per_year;
  traits.briskness = story.briskness;
  traits.haste = story.haste;
  traits.customers = story.customers;
  traits.dc_share = story.dc_share;
  traits.dc_night_share = story.dc_night_share;
  traits.dc_night_at_post = true;
  traits.rolling = story.rolling;
  return traits;
}

// What each van would take on one and the same round, whoever drives it.
double same_round_kwh_per_mile(const VanTraits& traits) {
  constexpr std::uint64_t kOneRound = 11;
  constexpr int kRounds = 8;
  constexpr double kAmbientC = 8;
  Generator generator(kOneRound);
  double kwh = 0, km = 0;
  for (int k = 0; k < kRounds; ++k) {
    RoundShape shape;
    shape.briskness = traits.briskness;
    PackModel pack(traits.pack, 80);
    const TrackTruth truth = measure(
        drive_round(make_round(generator, shape), body_of(traits), pack, kAmbientC, 0, 60, 90));
    kwh += truth.net_kwh();
    km += truth.distance_km;
  }
  return kwh / km * kKmPerMile;
}

fs::path card_path(const fs::path& out, std::string_view van, const CardDays& card) {
  return out / (card.last ? fmt::format("{}.log", van)
                          : fmt::format("{}-{:.10}.log", van, iso_time(card.start_unix_ms)));
}

struct VanYear {
  FirmVan papers{};
  nlohmann::ordered_json truth{};
  std::vector<TypedNote> notes{};
  std::string told{};  // one line
  int exit_code = 0;
};

// Nobody leaves a logger in a van that answers nothing for longer than it takes to
// see that.
constexpr unsigned kSilentDays = 2;

VanYear live_through(unsigned number, const Story& story, const FirmOptions& options,
                     const std::vector<CardDays>& cards) {
  Generator life(options.seed * 1000003 + 31 * number);
  MonthVan van{.name = std::string(story.name),
               .vin = invented_vin(300 + number),
               .odometer_km = story.odometer_km,
               .seed = life.next()};
  van.traits = traits_of(story, van.seed);
  VanYear out{.papers = {.name = van.name,
                         .vin = van.vin,
                         .expectation = story.expectation,
                         .resale_factor = story.resale_factor}};
  Notebook notebook(story, van.seed);
  nlohmann::ordered_json parts = nlohmann::ordered_json::array();
  std::uint64_t values = 0, sectors = 0;
  std::size_t trips = 0, sessions = 0, written = 0;
  for (const CardDays& card : cards) {
    const fs::path path = card_path(options.out, story.name, card);
    RunIdentity identity;
    identity.add("command", "firm");
    identity.add("card", path.filename().string());
    identity.add("days", fmt::format("{}", card.days));
    identity.add("seed", fmt::format("{}", options.seed));
    const auto log = [&](MonthPlan& plan) {
      const VanRunCounts counts =
          run_van(van, plan, identity,
                  {.card = path.string(),
                   .card_bytes = kMonthCardBytes,
                   .start_unix_ms = card.start_unix_ms,
                   .direct = !card.last,
                   .answers = story.silent ? Answers::none : Answers::service01,
                   .poll_period_ms = card.last ? std::nullopt : std::optional(kBeforePollMs)});
      if (report_bench(counts.bench) != 0) out.exit_code = 1;
      values += counts.bench.values;
      sectors += counts.sectors;
      ++written;
    };
    MonthPlan plan(van, card.days, card.start_unix_ms);
    if (!story.silent) {
      log(plan);
    } else {
      MonthPlan first_days(van, std::min(card.days, kSilentDays), card.start_unix_ms);
      if (card.last) log(first_days);
      while (plan.next()) {
      }
    }
    nlohmann::ordered_json truth = plan.truth();
    for (const OdometerNote& note : plan.notes())
      notebook.walk_round(note.unix_ms, note.odometer_km);
    notebook.charges(truth["sessions"]);
    van.odometer_km = truth["throughput"]["odometer_km"].get<double>();
    van.traits.pack.capacity_ah = truth["pack"]["capacity_ah_end"].get<double>();
    van.soc_pct = truth["pack"]["soc_pct_end"].get<double>();
    van.seed = life.next();
    if (card.last) notebook.walk_round(plan.end_unix_ms(), van.odometer_km);
    trips += truth["trips"].size();
    sessions += truth["sessions"].size();
    parts.push_back(std::move(truth));
  }
  for (const Errand& errand : story.errands)
    notebook.add(kMonthStartUnixMs - errand.days_ago * kMsPerDay + kMsPerDay / 2, errand.note);
  out.told = fmt::format("{}: {} cards, {} trips, {} charges, {} values, {} sectors", van.name,
                         written, trips, sessions, values, sectors);
  out.truth = {{"van", van.name}, {"vin", van.vin}, {"parts", std::move(parts)}};
  out.truth["wear"] = notebook.wear();
  out.truth["same_round_kwh_per_mile"] = same_round_kwh_per_mile(van.traits);
  out.truth["haste"] = story.haste;
  if (story.worth) {
    out.truth["worth"] = {{"paid", story.worth->paid},
                          {"paid_on", story.worth->paid_on},
                          {"lost_a_year", story.worth->lost_a_year}};
  }
  out.notes = notebook.lines();
  return out;
}

}  // namespace

int run_firm(const FirmOptions& options) {
  const fs::path out(options.out);
  make_folder(out);
  const std::array<Story, kFirmVans> stories =
      options.contrasts ? stories_with_contrasts(options) : stories_of_demo();
  const fs::path truth_path = out / "truth.json", notes_path = out / "notes.csv",
                 fleet_path = out / "fleet.toml";
  std::vector<CardDays> cards;
  for (unsigned left = options.cards_before; left > 0; --left)
    cards.push_back({.start_unix_ms = kMonthStartUnixMs - left * kFirmCardDays * kMsPerDay,
                     .days = kFirmCardDays});
  cards.push_back({.start_unix_ms = kMonthStartUnixMs, .days = options.days, .last = true});
  for (const fs::path& path : {truth_path, notes_path, fleet_path}) refuse_existing(path);
  for (const Story& story : stories)
    for (const CardDays& card : cards) refuse_existing(card_path(out, story.name, card));

  std::vector<TypedNote> notes;
  nlohmann::ordered_json vans = nlohmann::ordered_json::array();
  std::array<FirmVan, kFirmVans> papers;
  int exit_code = 0;
  // The vans know nothing of each other.
  std::array<std::future<VanYear>, kFirmVans> years;
  for (unsigned i = 0; i < kFirmVans; ++i) {
    years[i] = std::async(std::launch::async, [i, &stories, &options, &cards] {
      return live_through(i, stories[i], options, cards);
    });
  }
  for (unsigned i = 0; i < kFirmVans; ++i) {
    VanYear year = years[i].get();
    fmt::print("{}\n", year.told);
    std::fflush(stdout);
    papers[i] = year.papers;
    vans.push_back(std::move(year.truth));
    notes.insert(notes.end(), year.notes.begin(), year.notes.end());
    exit_code = std::max(exit_code, year.exit_code);
  }

  std::ofstream fleet = make_file(fleet_path);
  fleet << firm_fleet_toml(papers);
  close_file(fleet, fleet_path);
  std::ofstream notes_file = make_file(notes_path);
  notes_file << "van,date,kind,v1,v2,v3,remark\n";
  for (const TypedNote& note : notes) notes_file << note.text << '\n';
  close_file(notes_file, notes_path);
  std::ofstream truth = make_file(truth_path);
  truth << nlohmann::ordered_json{{"vans", vans}}.dump(1) << '\n';
  close_file(truth, truth_path);
  return exit_code;
}

}  // namespace packmile::benchvan
