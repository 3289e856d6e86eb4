#!/usr/bin/python3
"""The report's sentences against what really happened (truth.json of the bench).

  report_truth.py BIN_DIR [--seeds 20] [--first 1] [--cards-before 2] [--days 10] [--keep DIR]

For each seed a firm of five vans is made up and imported, and the page is read as a
person reads it. What each sentence claims (which month took more, which place is
dearer, what is due first, which rule ends a cover, whether a pack fades ..) is held
against the truth by this script's own arithmetic. A claim is right or wrong; a sentence
that says it is open is refused. A refusal counts only where the truth differs by more
than twice the widest interval that the sentence states. Wrong must be 0, refused at
most 1 in 5.
"""
import argparse
import collections
import csv
import datetime
import html.parser
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zoneinfo

ZONE = zoneinfo.ZoneInfo("Europe/London")
MILE = 1.609344
MOST_REFUSED = 0.2
MONTHS = {name: k + 1 for k, name in enumerate(
    "January February March April May June July August September October November December".split())}

# Of the bench's firm (tests/benchvan/firm.cpp): what wears, mm by 10,000 km, and the
# tread that was there at the first walk-round; the office's own limits are read from
# fleet.toml.
WEAR = {"alder": (1.9, 1.1), "aspen": (1.2, 0.85), "hazel": (1.55, 1.0), "rowan": (1.55, 1.0), "willow": (1.55, 1.0)}
TREAD = {"alder": (7.6, 7.8), "aspen": (8.0, 7.4), "hazel": (7.6, 7.8), "rowan": (7.6, 7.8), "willow": (7.6, 7.8)}
NEW_TREAD, PADS, PAD_WEAR = 8.0, (9.6, 9.1), (0.35, 0.25)


class Reader(html.parser.HTMLParser):
    """Sections by van, each with its findings by heading, and page one's rows."""

    def __init__(self, text):
        super().__init__()
        self.vans, self.van, self.heading, self.tag, self.text = {}, None, "", None, ""
        self.fleet, self.costs = "", {}
        self.row = None
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag == "section":
            self.van = attributes.get("data-van")
            if self.van:
                self.vans[self.van] = collections.defaultdict(list)
        if tag == "tr":
            self.row = attributes.get("data-van")
        if tag in ("h2", "h3", "p", "li", "figcaption") or attributes.get("data-label", "").startswith("cost"):
            self.tag, self.text = tag, ""

    def handle_endtag(self, tag):
        if tag != self.tag:
            return
        text, self.tag = " ".join(self.text.split()), None
        if tag in ("h2", "h3"):
            self.heading = text
        elif self.van:
            self.vans[self.van][self.heading].append(text)
        elif tag == "figcaption":
            self.fleet = text
        elif tag == "td":
            self.costs[self.row] = text

    def handle_data(self, data):
        if self.tag:
            self.text += data


class Score:
    def __init__(self):
        self.counts = collections.defaultdict(collections.Counter)
        self.wrongs = []
        self.inside = self.intervals = 0

    # 95 % intervals miss now and then, and are no claim of words: counted beside.
    def interval(self, holds):
        self.inside += holds
        self.intervals += 1

    def right(self, what):
        self.counts[what]["right"] += 1

    def claim(self, what, good, text, truth):
        if good:
            return self.right(what)
        self.counts[what]["wrong"] += 1
        self.wrongs.append(f"{what}: {text}\n    truth: {truth}")

    # difference: of the truth; width: the widest interval that the sentence states.
    def refused(self, what, difference, width):
        self.counts[what]["refused" if difference > 2 * width else "close"] += 1

    def show(self):
        total = collections.Counter()
        print(f"{'sentence':28} right wrong refused  too close to call")
        for what, counts in self.counts.items():
            print(f"{what:28} {counts['right']:5} {counts['wrong']:5} {counts['refused']:7} {counts['close']:7}")
            total.update(counts)
        for text in self.wrongs:
            print("WRONG " + text)
        print(f"kWh out of the pack: the truth is in {self.inside} of {self.intervals} 95 % intervals")
        clear = total["right"] + total["wrong"] + total["refused"]
        print(f"in all: {total['right']} right, {total['wrong']} wrong, {total['refused']} refused of {clear} whose "
              f"truth is clear, {total['close']} too close to call")
        return total["wrong"] == 0 and clear > 0 and total["refused"] <= MOST_REFUSED * clear


def moment(text):
    return datetime.datetime.fromisoformat(text)


def month_of(row):
    return moment(row["start"]).astimezone(ZONE).strftime("%Y-%m")


def number(text):
    return float(text.replace(",", "").replace("£", ""))


def ranges_in(text):
    """Every "1.23 (1.20 to 1.26)" of a text."""
    return [(number(a), number(b), number(c)) for a, b, c in
            re.findall(r"£?(-?[\d,.]*\d) \((-?[\d,.]*\d) to (-?[\d,.]*\d)\)", text)]


def width_of(text):
    return max((high - low for _, low, high in ranges_in(text)), default=0)


def month_key(text):
    name, year = text.split()
    return f"{year}-{MONTHS[name]:02}"


def ratio(trips):
    miles = sum(t["distance_km"] for t in trips) / MILE
    return sum(t["net_kwh"] for t in trips) / miles if miles else None


def months_of_energy(score, text, trips):
    by_month = collections.defaultdict(list)
    for trip in trips:
        by_month[month_of(trip)].append(trip)
    truth = {month: ratio(list_) for month, list_ in by_month.items()}
    told = re.match(r"It took more in (\w+ \d{4}), .* kWh a mile, than in (\w+ \d{4}),", text)
    if told:
        more, less = (month_key(told[k]) for k in (1, 2))
        return score.claim("energy by month", truth[more] > truth[less], text, truth)
    if text.startswith("No month is told apart"):
        return score.refused("energy by month", max(truth.values()) - min(truth.values()), width_of(text))
    assert text.startswith("It took ") and len(truth) == 1, text


def bands_of_energy(score, text, trips):
    bands = collections.defaultdict(list)
    for trip in trips:
        bands[int(trip["ambient_mean_c"] // 5 * 5)].append(trip)
    told = re.match(r"It took more at (-?\d+) to -?\d+ degC, .* kWh a mile, than at (-?\d+) to", text)
    if told:
        more, less = (ratio(bands[int(told[k])]) for k in (1, 2))
        # A trip at the border may be in the next band: nothing is claimed of such.
        if more is None or less is None:
            return score.refused("energy by temperature", 0, 1)
        return score.claim("energy by temperature", more > less, text, (more, less))
    truth = [ratio(list_) for list_ in bands.values() if len(list_) >= 5]
    if text.startswith("The temperature does not show"):
        score.refused("energy by temperature", max(truth) - min(truth), width_of(text))


def prices(score, text, sessions):
    truth = {}
    for place in {s["place"] for s in sessions}:
        of = [s for s in sessions if s["place"] == place]
        truth[place] = sum(s["cost"] for s in of) / sum(s["grid_kwh"] for s in of)
    told = re.match(r"A kWh cost more at (.+?), £[\d.]+.*, than at (.+?), £", text)
    if told:
        return score.claim("price by place", truth[told[1]] > truth[told[2]], text, truth)
    if text.startswith("Prices are not told apart"):
        score.refused("price by place", max(truth.values()) - min(truth.values()), width_of(text))


def places(score, text, sessions):
    truth = collections.Counter(s["place"] for s in sessions)
    told = dict((place.lower(), int(number(count))) for place, count in
                re.findall(r"(?:^|; )([^;]+?), ([\d,]+) charges?:", text))
    if "place not known" in told:
        return score.refused("charges by place", 1, 0)
    score.claim("charges by place", told == {k.lower(): v for k, v in truth.items()}, text, truth)


def hours(score, text, sessions):
    truth = collections.Counter(moment(s["start"]).astimezone(ZONE).hour for s in sessions)
    told = re.match(r"Most charges begin between (\d\d):00", text)
    if told:
        score.claim("hour of charges", truth[int(told[1])] >= max(truth.values()) - 1, text, truth)


def through(score, text, parts):
    out = sum(p["throughput"]["discharge_kwh"] for p in parts)
    told = ranges_in(text)
    if told:
        score.interval(told[0][1] <= out <= told[0][2])


def fade(score, text, parts):
    years = (moment(parts[-1]["trips"][-1]["end"]) - moment(parts[0]["trips"][0]["start"])).days / 365.25
    new, now = parts[0]["pack"]["capacity_ah_start"], parts[-1]["pack"]["capacity_ah_end"]
    points_a_year = (new - now) / new / years * 100
    if "it loses" in text:
        # The page tells no loss whose interval holds 0.
        return score.claim("a pack fades", points_a_year > 0, text, points_a_year)
    if "it gains" in text:
        return score.claim("a pack fades", False, text, points_a_year)
    shown = re.search(r"above ([\d.]+) points a year it would show", text)
    if shown:
        score.refused("a pack fades", points_a_year, float(shown[1]) / 2)


def expectation(score, text, parts, fleet_van, odometer_km):
    points = [(0, 100)] + [(p["at_km"], p["percent"]) for p in fleet_van.get("expectation", [])]
    if len(points) == 1:
        return
    expected = next(100 - (a[1] + (b[1] - a[1]) * (odometer_km - a[0]) / (b[0] - a[0]))
                    for a, b in zip(points, points[1:]) if a[0] <= odometer_km <= b[0])
    lost = 100 - parts[-1]["pack"]["capacity_ah_end"] / fleet_van["nominal_ah"] * 100
    told = re.search(r"(as|better than|worse than) you expected", text)
    if told:
        truth = "worse than" if lost > expected else "better than"
        # Two points beside the line are still on it.
        good = abs(lost - expected) <= 3 if told[1] == "as" else told[1] == truth
        score.claim("pack and expectation", good, text, (lost, expected))


def round_in_winter(score, text, trips, parts):
    if "it reaches" not in text:
        return
    by_month, by_day = collections.defaultdict(list), collections.Counter()
    for trip in trips:
        by_month[month_of(trip)].append(trip)
        by_day[moment(trip["start"]).astimezone(ZONE).date()] += trip["distance_km"] / MILE
    month = month_key(re.search(r"at the energy of (\w+ \d{4})", text)[1])
    pack_kwh = parts[-1]["capacity"][-1]["kwh"]
    reach = pack_kwh / ratio(by_month[month])
    days = sorted(by_day.values())
    round_miles = days[int(0.95 * (len(days) - 1))]
    if "it does its round" in text:
        score.claim("round in winter", reach >= round_miles, text, (reach, round_miles))
    elif "it needs a charge" in text:
        score.claim("round in winter", reach <= round_miles, text, (reach, round_miles))
    else:
        score.refused("round in winter", abs(reach - round_miles), width_of(text))


def heard(score, text, trips, sessions, today):
    told = re.match(r"It was heard on ([\d,]+) of ([\d,]+) days", text)
    if not told:
        return
    days = set()
    for row in trips + sessions:
        day, end = (moment(row[k]).astimezone(ZONE).date() for k in ("start", "end"))
        while day <= end:
            days.add(day)
            day += datetime.timedelta(days=1)
    said = int(number(told[1]))
    # A logger may be awake for some minutes on a day without a trip or a charge.
    score.claim("days heard", len(days) <= said <= len(days) + 3 and int(number(told[2])) >= said, text, len(days))


def add_months(day, months):
    month = day.month - 1 + int(months)
    year, month = day.year + month // 12, month % 12 + 1
    last = (datetime.date(year + month // 12, month % 12 + 1, 1) - datetime.timedelta(days=1)).day
    return datetime.date(year, month, min(day.day, last))


def true_dues(van, fleet, notes, end_km, km_per_day, today, fleet_van):
    """By part as the page calls it: the day at which the first of its rules ends it."""
    def at_km(left_km):
        return today + datetime.timedelta(days=max(0, left_km) / km_per_day)

    def odometer_near(day):
        near = min((n for n in notes if n["kind"] == "odometer"), key=lambda n: abs((n["day"] - day).days))
        return float(near["v1"]) + km_per_day * (day - near["day"]).days

    new = fleet_van["first_used"]
    bought_new = fleet_van.get("purchase", {}).get("odometer_km", 1e9) < 100
    out = {}
    for part in fleet["part"]:
        if van not in part.get("vans", [van]):
            continue
        name = part["name"]
        renewals = [n for n in notes if n["kind"] in ("job", "fluid") and n["v1"].lower() == name]
        fitted = max((n["day"] for n in renewals), default=new if bought_new else None)
        days = []
        if name == "tyre":
            walks = [n for n in notes if n["kind"] == "odometer"]
            for axle, side in enumerate(("front", "rear")):
                renewed = [n["day"] for n in notes if n["kind"] == "job" and n["v1"] == f"tyre {side}"]
                begin = max(renewed, default=walks[0]["day"])
                begin_km = min((float(n["v1"]) for n in walks if abs((n["day"] - begin).days) <= 1),
                               default=float(walks[0]["v1"]))
                mm = (NEW_TREAD if renewed else TREAD[van][axle]) - WEAR[van][axle] * (end_km - begin_km) / 10000
                days = [at_km((mm - part["least_mm"]) / WEAR[van][axle] * 10000)]
                fitted = max(renewed, default=new if bought_new else None)
                if fitted:
                    days.append(add_months(fitted, part["limit_years"] * 12))
                out[f"{side} tyres"] = min(days)
            continue
        if name == "brake pads":
            first_km = float(next(n["v1"] for n in notes if n["kind"] == "odometer"))
            for axle, side in enumerate(("front", "rear")):
                mm = PADS[axle] - PAD_WEAR[axle] * (end_km - first_km) / 10000
                out[f"{side} brake pads"] = at_km((mm - part["least_mm"]) / PAD_WEAR[axle] * 10000)
            continue
        if fitted is None:
            continue
        if "limit_years" in part:
            days.append(add_months(fitted, part["limit_years"] * 12))
        if "limit_months" in part:
            days.append(add_months(fitted, part["limit_months"]))
        if "limit_miles" in part:
            days.append(at_km(part["limit_miles"] * MILE - (end_km - odometer_near(fitted))))
        if days:
            out[name] = min(days)
    return out


def named(text, truth):
    """The part of the truth that a piece of a sentence names; a single wheel is its axle."""
    text = text.lower()
    for name in truth:
        if name in text:
            return name
    for side in ("front", "rear"):
        if re.search(rf"{side} (left|right) tyre", text):
            return f"{side} tyres"
    return None


def day_in(text, today):
    told = re.fullmatch(r"(\d+) (\w+)(?: (\d+))?", text)
    return datetime.date(int(told[3] or today.year), MONTHS[told[2]], int(told[1])) if told else today


def days_open(text, today):
    """The widest range of days that a sentence states; one without an end is a year."""
    widest = 0
    for first, last in re.findall(r"between (.+?) and (\d+ \w+(?: \d+)?)", text):
        end = day_in(last, today)
        year = re.search(r"\d{4}", last)
        begin = day_in(first + (f" {year[0]}" if year and first != "now" and not re.search(r"\d{4}", first) else ""), today)
        widest = max(widest, (end - begin).days)
    return max(widest, 365 if re.search(r"from .+ on\b", text) else 0)


def due_first(score, text, truth, today):
    first = min(truth, key=truth.get)
    told = re.match(r"Due first: (.+)", text)
    if told:
        return score.claim("due first", named(told[1], truth) == first, text, truth)
    told = re.match(r"What is due first is open: (.+)", text)
    if told:
        names = [named(piece, truth) for piece in told[1].split(", or ")]
        if first not in names:
            return score.claim("due first", False, text, truth)
        order = sorted(truth.values())
        score.refused("due first", (order[1] - order[0]).days if len(order) > 1 else 0, days_open(text, today))


def covers(score, texts, fleet_van, end_km, km_per_day, today):
    for warranty in fleet_van.get("warranty", []):
        by_age = add_months(warranty["from"], warranty["years"] * 12)
        by_km = today + datetime.timedelta(days=(warranty["miles"] * MILE - end_km) / km_per_day)
        told = [t for t in texts if t.lower().startswith(f"{warranty['name']} cover")]
        if not told:
            score.refused("end of cover", 1, 0)
            continue
        rule = "by age" if by_age < by_km else "by distance"
        # Within a month of each other either may come first.
        score.claim("end of cover", told[0].rstrip(".").endswith(rule) or abs((by_age - by_km).days) < 60, told[0],
                    (by_age, by_km))


def dearest(score, text, costs, told_costs):
    order = sorted(costs, key=costs.get)
    told = re.match(r"(\w+) was dearest", text, re.I)
    if told:
        return score.claim("dearest van", told[1].lower() == order[-1], text, costs)
    score.refused("dearest van", costs[order[-1]] - costs[order[-2]], max(width_of(t) for t in told_costs.values()))


def dearest_by_energy(score, text, truth, today):
    told = re.search(r"By energy alone (\w+) was dearest( of the \d+)?", text)
    begin = datetime.datetime.combine(today - datetime.timedelta(days=29), datetime.time(), ZONE)
    costs = {}
    for van, parts in truth.items():
        miles = sum(t["distance_km"] for p in parts for t in p["trips"] if moment(t["start"]) >= begin) / MILE
        money = sum(s["cost"] for p in parts for s in p["sessions"] if moment(s["start"]) >= begin)
        # Hazel answers nothing: its notes may or may not tell its energy in these days.
        if miles and (van != "hazel" or (told and not told[2])):
            costs[van] = money / miles
    order = sorted(costs, key=costs.get)
    if told:
        return score.claim("dearest by energy", told[1].lower() == order[-1], text, costs)
    score.refused("dearest by energy", costs[order[-1]] - costs[order[-2]], 0.1 * costs[order[-1]])


def against_others(score, text, van):
    told = re.search(r"kWh a mile (more|less) than", text)
    if told:
        # The bench gives all vans one body; only alder's driver is another.
        score.claim("energy against others", (told[1] == "more") == (van == "alder"), text, "alder's driver is in a hurry")


def true_costs(truth, fleet, notes, today):
    """A mile of the last 30 days by each van's own papers and the true energy."""
    out = {}
    begin = datetime.datetime.combine(today - datetime.timedelta(days=29), datetime.time(), ZONE)
    for van, parts in truth.items():
        trips = [t for p in parts for t in p["trips"] if moment(t["start"]) >= begin]
        sessions = [s for p in parts for s in p["sessions"] if moment(s["start"]) >= begin]
        miles = sum(t["distance_km"] for t in trips) / MILE
        cost = sum(s["cost"] for s in sessions) + 1120 * 30 / 365.25
        mine = [n for n in notes if n["van"] == van]
        for note in mine:
            if note["kind"] == "job" and note["day"] >= begin.date():
                cost += float(note["v2"]) + fleet["labour_rate"] * float(note["v3"] or 0)
        worth = sorted((n["day"], float(n["v1"])) for n in mine if n["kind"] == "valuation")
        if len(worth) > 1:
            cost += (worth[-2][1] - worth[-1][1]) / (worth[-1][0] - worth[-2][0]).days * 30
        if miles:
            out[van] = cost / miles
    return out


def one_firm(programs, seed, options, score, folder):
    cards, depot, page = folder / "cards", folder / "depot", folder / "report.html"

    def run(*command):
        done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
        assert done.returncode == 0, (command, done.stderr[-2000:])
        return done
    run(programs / "packmile-benchvan", "firm", "--out", cards, "--cards-before", options.cards_before, "--days",
        options.days, "--seed", seed)
    packmile = programs / "packmile"
    run(packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
    shutil.copy(cards / "fleet.toml", depot / "fleet.toml")
    run(packmile, "import", *sorted(cards.glob("*.log")), "--depot", depot)
    run(packmile, "note", "--from", cards / "notes.csv", "--depot", depot)
    run(packmile, "report", "--depot", depot, "-o", page)
    read_one(page.read_text(), cards, score)


def read_one(text, cards, score):
    page = Reader(text)
    truth = {v["van"]: v["parts"] for v in json.loads((cards / "truth.json").read_text())["vans"]}
    fleet = tomllib.loads((cards / "fleet.toml").read_text())
    notes = []
    for note in csv.DictReader(open(cards / "notes.csv")):
        note["day"] = moment(note["date"].replace("Z", "+00:00")).astimezone(ZONE).date()
        notes.append(note)
    notes.sort(key=lambda n: n["date"])
    today = max(n["day"] for n in notes)
    assert set(page.vans) == set(truth)
    dearest(score, page.fleet, true_costs(truth, fleet, notes, today), page.costs)
    dearest_by_energy(score, page.fleet, truth, today)
    for van, parts in truth.items():
        says = page.vans[van]
        fleet_van = next(v for v in fleet["van"] if v["name"] == van)
        mine = [n for n in notes if n["van"] == van]
        trips = [t for p in parts for t in p["trips"]]
        sessions = [s for p in parts for s in p["sessions"]]
        end_km = parts[-1]["throughput"]["odometer_km"]
        span = (moment(trips[-1]["end"]) - moment(trips[0]["start"])).total_seconds() / 86400
        km_per_day = sum(t["distance_km"] for t in trips) / span
        dues = true_dues(van, fleet, mine, end_km, km_per_day, today, fleet_van)
        due_first(score, says["Parts and when they are due"][0], dues, today)
        covers(score, says["Due, in order of days"], fleet_van, end_km, km_per_day, today)
        if van == "hazel":  # its port answers nothing
            for heading in ("Energy by month", "Energy against temperature", "Through the pack"):
                score.claim("a silent van", "not known" in says[heading][0], says[heading][0], "nothing was heard")
            continue
        months_of_energy(score, says["Energy by month"][0], trips)
        bands_of_energy(score, says["Energy against temperature"][0], trips)
        against_others(score, says["Energy against temperature"][1], van)
        places(score, says["Charges by month and place"][0], sessions)
        hours(score, says["When charges begin"][0], sessions)
        prices(score, says["What a kWh cost"][0], sessions)
        fade(score, says["What the pack holds"][0], parts)
        expectation(score, says["What the pack holds"][0], parts, fleet_van, end_km)
        through(score, says["Through the pack"][0], parts)
        round_in_winter(score, " ".join(says["Cost and worth"]), trips, parts)
        heard(score, says["Hours heard each day"][0], trips, sessions, today)


def main():
    options = argparse.ArgumentParser()
    options.add_argument("programs", type=pathlib.Path)
    options.add_argument("--seeds", type=int, default=20)
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--cards-before", type=int, default=2)
    options.add_argument("--days", type=int, default=10)
    options.add_argument("--read", nargs=2, metavar=("PAGE", "CARDS"), help="one page that is there already")
    options = options.parse_args()
    os.environ["TZ"] = "Asia/Tokyo"
    score = Score()
    if options.read:
        read_one(pathlib.Path(options.read[0]).read_text(), pathlib.Path(options.read[1]), score)
    else:
        for seed in range(options.first, options.first + options.seeds):
            with tempfile.TemporaryDirectory(prefix="packmile-check-") as folder:
                one_firm(options.programs.resolve(), seed, options, score, pathlib.Path(folder))
            print(f"seed {seed}: done", file=sys.stderr)
    sys.exit(0 if score.show() else 1)


if __name__ == "__main__":
    main()
