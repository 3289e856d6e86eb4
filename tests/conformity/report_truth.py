#!/usr/bin/python3
"""The report's sentences against what really happened (truth.json of the bench).

  report_truth.py BIN_DIR [--seeds 20] [--first 1] [--cards-before 2] [--days 10] [--year-every 5]
                          [--demo] [--keep DIR | --read DIR]

For each seed a firm of five vans is made up and imported, and the page is read as a
person reads it. What each sentence claims (which van is dearest, which month took more,
what is due first, which rule ends a cover, whether a pack fades ..) is held against the
truth by this script's own arithmetic. A claim is right or wrong; a sentence that says it
is open is refused. A refusal counts only where the truth differs by more than twice the
widest interval that the sentence states; else it is too close to call. Wrong must be 0,
refused at most 1 in 5. The vans differ as the seed draws it (`firm --contrasts`), far
and near; of 20 seeds or more each kind of claim must have been made, right or wrong, and
its 95 % intervals must hold 9 of 10 truths.
"""
import argparse
import collections
import csv
import datetime
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

from report_page import Reader, Score, month_key, number, ranges_in, span_of_days, days_open, width_of

ZONE = zoneinfo.ZoneInfo("Europe/London")
MILE = 1.609344
CARDS_OF_A_YEAR = 12
# As many firms make every kind of claim, and may not leave one out.
SEEDS_FOR_EVERY_KIND = 20

# All that a page can claim. A refusal counts with the side that was true.
KINDS = [
    "dearest van", "dearest by energy", "keeping is cheaper", "selling is cheaper", "due first",
    "rule of a part: age", "rule of a part: distance", "rule of a part: measured",
    "a part's latest day", "end of cover: age", "end of cover: distance",
    "energy by month", "energy by temperature", "more energy than others", "less energy than others",
    "charges by place", "hour of charges", "price by place", "a pack fades",
    "pack as expected", "pack better than expected", "pack worse than expected",
    "does its round in winter", "needs a charge on its round", "odometer", "days heard", "trips and charges",
    "a silent van",
]


def moment(text):
    return datetime.datetime.fromisoformat(text)


def month_of(row):
    return moment(row["start"]).astimezone(ZONE).strftime("%Y-%m")


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
        return score.refused("energy by month", max(truth.values()) - min(truth.values()), width_of(text), text)
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
        score.refused("energy by temperature", max(truth) - min(truth), width_of(text), text)


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
        score.interval("kWh out of the pack", told[0][1], out, told[0][2])


def fade(score, text, parts):
    years = (moment(parts[-1]["trips"][-1]["end"]) - moment(parts[0]["trips"][0]["start"])).days / 365.25
    new, now = parts[0]["pack"]["capacity_ah_start"], parts[-1]["pack"]["capacity_ah_end"]
    points_a_year = (new - now) / new / years * 100
    if "it loses" in text:
        told = re.search(r"it loses (.+? points a year)", text)
        if told:
            _, low, high = ranges_in(told[1])[0]
            score.interval("points that a pack loses", low, points_a_year, high)
        # The page tells no loss whose interval holds 0.
        return score.claim("a pack fades", points_a_year > 0, text, points_a_year)
    if "it gains" in text:
        return score.claim("a pack fades", False, text, points_a_year)
    shown = re.search(r"above ([\d.]+) points a year it would show", text)
    if shown:
        score.refused("a pack fades", points_a_year, float(shown[1]) / 2, text)


def expectation(score, text, parts, fleet_van):
    told = re.search(r"(as|better than|worse than) you expected: .+ lost since (first logged|it was new)", text)
    if not told:
        return
    points = [(0, 100)] + [(p["at_km"], p["percent"]) for p in fleet_van["expectation"]]

    def expected_at(km):
        return next(a[1] + (b[1] - a[1]) * (km - a[0]) / (b[0] - a[0])
                    for a, b in zip(points, points[1:]) if a[0] <= km <= b[0])
    now, then, then_ah = expected_at(parts[-1]["throughput"]["odometer_km"]), 100, fleet_van["nominal_ah"]
    if told[2] == "first logged":
        # The middle of the first three months: the end of the second card.
        then, then_ah = expected_at(parts[1]["throughput"]["odometer_km"]), parts[1]["pack"]["capacity_ah_end"]
    lost = 100 - parts[-1]["pack"]["capacity_ah_end"] / then_ah * 100
    expected = 100 - now / then * 100
    # Two points beside the line are still on it; a third one for months that are no cards.
    good = {"as": abs(lost - expected) <= 3, "better than": lost < expected, "worse than": lost > expected}
    score.claim(f"pack {told[1]} expected", good[told[1]], text, (lost, expected))


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
        score.claim("does its round in winter", reach >= round_miles, text, (reach, round_miles))
    elif "it needs a charge" in text:
        score.claim("needs a charge on its round", reach <= round_miles, text, (reach, round_miles))
    else:
        score.refused("does its round in winter" if reach >= round_miles else "needs a charge on its round",
                      abs(reach - round_miles), width_of(text), text)


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


def true_dues(van, fleet, notes, wear, end_km, km_per_day, today, fleet_van):
    """By part as the page calls it: the day at which each rule of its life ends it."""
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
        days = {}
        if "gauge" in part:
            gauge = part["gauge"]
            for axle, side in enumerate(("front", "rear")):
                rate = wear[f"{gauge}_mm_per_10000_km"][axle]
                days = {"measured": at_km((wear[f"{gauge}_mm"][axle] - part["least_mm"]) / rate * 10000)}
                renewed = [n["day"] for n in notes if n["kind"] == "job" and n["v1"] == f"{name} {side}"]
                fitted = max(renewed, default=new if bought_new else None)
                if fitted and "limit_years" in part:
                    days["age"] = add_months(fitted, part["limit_years"] * 12)
                out[f"{side} {name.rstrip('s')}s"] = days
            continue
        if fitted is None:
            continue
        if "limit_years" in part or "limit_months" in part:
            days["age"] = add_months(fitted, part.get("limit_months", part.get("limit_years", 0) * 12))
        if "limit_miles" in part:
            days["distance"] = at_km(part["limit_miles"] * MILE - (end_km - odometer_near(fitted)))
        if days:
            out[name] = days
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


def due_first(score, text, truth, today):
    first = min(truth, key=lambda name: min(truth[name].values()))
    told = re.match(r"Due first: (.+)", text)
    if told:
        return score.claim("due first", named(told[1], truth) == first, text, truth)
    told = re.match(r"Due first of what is known: (.+); not known of (.+)", text)
    if told:
        # Between the parts of which it says that it knows; of the others it says that it does not.
        unsure = {named(piece, truth) for piece in re.split(r", | and ", told[2])}
        known = min((name for name in truth if name not in unsure), key=lambda name: min(truth[name].values()))
        return score.claim("due first", named(told[1], truth) == known, text, truth)
    told = re.match(r"What is due first is open: (.+)", text)
    if told:
        text, _, unsure = text.partition("; not known of ")
        names = [named(piece, truth) for piece in text.split(", or ") + re.split(r", | and ", unsure)]
        if first not in names:
            return score.claim("due first", False, text, truth)
        order = sorted(min(days.values()) for days in truth.values())
        score.refused("due first", (order[1] - order[0]).days if len(order) > 1 else 0, days_open(text, today), text)


def rules_of_parts(score, texts, truth, today):
    """Each line of what is due: by which rule, and whether the day is within the stated ones."""
    for text in texts:
        told = re.match(r"(.+?) of \w+: (.+?), (by .+?)(; by .+ it is not known)?\.?( \(.+over\))?\.?$", text)
        if not told:
            continue
        name = named(told[1], truth)
        assert name, text
        days = truth[name]
        rule = min(days, key=days.get)
        day = days[rule]
        said = [rule_said.split()[-1] for rule_said in told[3].split(" or ")]
        span = span_of_days(told[2], today)
        if told[4] and said[0] == "measured":
            score.interval("day on which a part is due, at the latest", day, days.get(said[0], datetime.date.max), span[1])
            continue
        if told[4]:
            # By this rule on that day: no claim of which rule ends it.
            score.claim("a part's latest day", days.get(said[0]) == span[1], text, days)
            continue
        # Within two months of each other either rule may come first.
        near = said[0] in days and (days[said[0]] - day).days < 60
        score.claim(f"rule of a part: {said[0]}", rule in said or near, text, days)
        slack = datetime.timedelta(days=1)
        if span and rule in said:
            score.interval("day on which a part is due", max(span[0], datetime.date.min + slack) - slack, day,
                           span[1] + slack if span[1] else datetime.date.max)


def covers(score, texts, fleet_van, end_km, km_per_day, today):
    for warranty in fleet_van.get("warranty", []):
        by_age = add_months(warranty["from"], warranty["years"] * 12)
        by_km = today + datetime.timedelta(days=(warranty["miles"] * MILE - end_km) / km_per_day)
        told = [t for t in texts if t.lower().startswith(f"{warranty['name']} cover")]
        rule = "age" if by_age < by_km else "distance"
        if not told:
            score.refused(f"end of cover: {rule}", 1, 0, warranty["name"])
            continue
        said = re.search(r"by (age|distance)", told[0])[1]
        # Within two months of each other either may come first.
        score.claim(f"end of cover: {said}", said == rule or abs((by_age - by_km).days) < 60, told[0], (by_age, by_km))


def not_known(text):
    told = re.search(r"; not known of ([\w, ]+?) for these days", text)
    return re.findall(r"\w+", told[1].replace(" and ", " ")) if told else []


def dearest(score, text, costs, told_costs):
    known = {van: cost for van, cost in costs.items() if van not in not_known(text)}
    widths = {van: width_of(told_costs[van]) for van in known}
    for van, cost in known.items():
        _, low, high = ranges_in(told_costs[van])[0]
        score.interval("cost by the mile", low, cost, high)
    order = sorted(known, key=known.get)
    told = re.match(r"(\w+) was dearest", text, re.I)
    if told:
        return score.claim("dearest van", told[1].lower() == order[-1], text, known)
    score.refused("dearest van", known[order[-1]] - known[order[-2]], max(widths.values()), text)


def dearest_by_energy(score, text, truth, told_energies, begin):
    told = re.search(r"By energy alone (\w+) was dearest( of the \d+)?", text)
    costs = {}
    for van, parts in truth.items():
        miles = sum(t["distance_km"] for p in parts for t in p["trips"] if moment(t["start"]) >= begin) / MILE
        money = sum(s["cost"] for p in parts for s in p["sessions"] if moment(s["start"]) >= begin)
        # Hazel answers nothing: its notes may or may not tell its energy in these days.
        if miles and (van != "hazel" or (told and not told[2])):
            costs[van] = money / miles
    for van, cost in costs.items():
        _, low, high = ranges_in(told_energies[van])[0]
        score.interval("cost of energy by the mile", low, cost, high)
    order = sorted(costs, key=costs.get)
    if told:
        return score.claim("dearest by energy", told[1].lower() == order[-1], text, costs)
    score.refused("dearest by energy", costs[order[-1]] - costs[order[-2]],
                  max(width_of(told_energies[van]) for van in costs), text)


def against_others(score, text, van, same_round):
    """same_round: kWh a mile of each van that was heard, on the same round in the same weather."""
    others = [kwh for other, kwh in same_round.items() if other != van]
    truth = same_round[van] - sum(others) / len(others)
    kind = f"{'more' if truth > 0 else 'less'} energy than others"
    told = re.search(r"it takes .+ kWh a mile (more|less) than", text)
    if told:
        return score.claim(f"{told[1]} energy than others", (told[1] == "more") == (truth > 0), text, truth)
    if "differs from the mean" in text:
        score.refused(kind, abs(truth), width_of(text), text)


def keep_or_sell(score, text, van, fleet):
    """The verdict against the arithmetic with what its owner thinks likely."""
    told = re.search(r"(keeping|selling) is cheaper \(in", text)
    blocks = [b for b in fleet["keep"] if van in b.get("vans", [van])]
    all_of = {key: value for block in blocks for key, value in block.items()}
    rate, hire = all_of["rate_pct"] / 100, all_of["hire_per_lost_day"]
    lost_days = all_of["challenger_lost_days_a_year"]
    price, resale, repairs = all_of["challenger_price"][1], all_of["challenger_resale_by_year"], \
        all_of["challenger_repairs_by_year"]

    def a_year(years):
        spent = sum(repairs[k][1] / (1 + rate) ** (k + 1) for k in range(years))
        back = resale[years - 1][1] / (1 + rate) ** years
        return (price + spent - back) * rate / (1 - (1 + rate) ** -years) + lost_days[1] * hire
    other = min(a_year(years) for years in range(1, len(resale) + 1))
    keep = all_of["resale_now"][1] * (1 + rate) - all_of["resale_next_year"][1] + all_of["repairs_next_year"][1] \
        + all_of["lost_days_next_year"][1] * hire
    if told:
        score.claim(f"{told[1]} is cheaper", (told[1] == "keeping") == (keep < other), text, (keep, other))
    else:
        score.refused(f"{'keeping' if keep < other else 'selling'} is cheaper", abs(keep - other), width_of(text), text)


def counts_of_data(score, says, parts, end_km):
    text = says["Distance by month"][0]
    told = re.match(r"([\d,]+)(?: \(.+?\))? miles by its odometer( \(known to .+?\))?", text)
    # What it may show by now is no claim of what it shows.
    if told and not told[2]:
        score.claim("odometer", abs(number(told[1]) - end_km / MILE) <= 1, text, end_km / MILE)
    rows = sum(len(p["trips"]) + len(p["sessions"]) for p in parts)
    said = [number(told) for told in
            re.findall(r"Of (?:all its|[\d,]+ of its) ([\d,]+) trips? and charges?", " ".join(says["Hours heard each day"]))]
    score.claim("trips and charges", said == [rows], says["Hours heard each day"], rows)


def true_costs(truth, worths, fleet, notes, begin):
    """A mile of the last 30 days: the true energy, what was paid, and what the van lost of its worth."""
    out = {}
    for van, parts in truth.items():
        trips = [t for p in parts for t in p["trips"] if moment(t["start"]) >= begin]
        sessions = [s for p in parts for s in p["sessions"] if moment(s["start"]) >= begin]
        miles = sum(t["distance_km"] for t in trips) / MILE
        cost = sum(s["cost"] for s in sessions) + 1120 * 30 / 365.25
        mine = [n for n in notes if n["van"] == van]
        for note in mine:
            if note["kind"] == "job" and note["day"] >= begin.date():
                cost += float(note["v2"]) + fleet["labour_rate"] * float(note["v3"] or 0)
        opinions = sorted((n["day"], float(n["v1"])) for n in mine if n["kind"] == "valuation")
        if worths[van]:
            worth, first = worths[van], begin.date() - datetime.date.fromisoformat(worths[van]["paid_on"])
            at = [worth["paid"] * (1 - worth["lost_a_year"]) ** ((first.days + k) / 365.25) for k in (0, 30)]
            cost += at[0] - at[1]
        elif len(opinions) > 1:
            cost += (opinions[-2][1] - opinions[-1][1]) / (opinions[-1][0] - opinions[-2][0]).days * 30
        if miles:
            out[van] = cost / miles
    return out


def one_firm(programs, seed, options, score, folder):
    cards, depot, page = folder / "cards", folder / "depot", folder / "report.html"

    def run(*command):
        done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
        assert done.returncode == 0, (command, done.stderr[-2000:])
        return done
    year = options.year_every and seed % options.year_every == 0
    before = max(options.cards_before, CARDS_OF_A_YEAR) if year else options.cards_before
    run(programs / "packmile-benchvan", "firm", "--out", cards, "--cards-before", before, "--days",
        options.days, "--seed", seed, *([] if options.demo else ["--contrasts"]))
    packmile = programs / "packmile"
    run(packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
    shutil.copy(cards / "fleet.toml", depot / "fleet.toml")
    run(packmile, "import", *sorted(cards.glob("*.log")), "--depot", depot)
    run(packmile, "note", "--from", cards / "notes.csv", "--depot", depot)
    run(packmile, "report", "--depot", depot, "-o", page)
    if options.keep:
        kept = options.keep / str(seed)
        kept.mkdir(parents=True)
        for path in (page, *(cards / name for name in ("truth.json", "fleet.toml", "notes.csv"))):
            shutil.copy(path, kept)
    read_one(page.read_text(), cards, score)


def read_one(text, cards, score):
    page = Reader(text)
    vans = {v["van"]: v for v in json.loads((cards / "truth.json").read_text())["vans"]}
    truth = {van: v["parts"] for van, v in vans.items()}
    same_round = {van: v["same_round_kwh_per_mile"] for van, v in vans.items() if van != "hazel"}
    fleet = tomllib.loads((cards / "fleet.toml").read_text())
    notes = []
    for note in csv.DictReader(open(cards / "notes.csv")):
        note["day"] = moment(note["date"].replace("Z", "+00:00")).astimezone(ZONE).date()
        notes.append(note)
    notes.sort(key=lambda n: n["date"])
    today = max(n["day"] for n in notes)
    assert set(page.vans) == set(truth)
    begin = datetime.datetime.combine(today - datetime.timedelta(days=29), datetime.time(), ZONE)
    worths = {van: v.get("worth") for van, v in vans.items()}
    dearest(score, page.fleet, true_costs(truth, worths, fleet, notes, begin), page.costs)
    dearest_by_energy(score, page.fleet, truth, page.energies, begin)
    for van, parts in truth.items():
        says = page.vans[van]
        fleet_van = next(v for v in fleet["van"] if v["name"] == van)
        mine = [n for n in notes if n["van"] == van]
        trips = [t for p in parts for t in p["trips"]]
        sessions = [s for p in parts for s in p["sessions"]]
        end_km = parts[-1]["throughput"]["odometer_km"]
        span = (moment(trips[-1]["end"]) - moment(trips[0]["start"])).total_seconds() / 86400
        km_per_day = sum(t["distance_km"] for t in trips) / span
        dues = true_dues(van, fleet, mine, vans[van]["wear"], end_km, km_per_day, today, fleet_van)
        due_first(score, says["Parts and when they are due"][0], dues, today)
        rules_of_parts(score, says["Due, in order of days"], dues, today)
        keep_or_sell(score, says["Cost and worth"][1], van, fleet)
        covers(score, says["Due, in order of days"], fleet_van, end_km, km_per_day, today)
        if van == "hazel":  # its port answers nothing
            for heading in ("Energy by month", "Energy against temperature", "Through the pack"):
                score.claim("a silent van", "not known" in says[heading][0], says[heading][0], "nothing was heard")
            continue
        months_of_energy(score, says["Energy by month"][0], trips)
        bands_of_energy(score, says["Energy against temperature"][0], trips)
        # A brisk driver is faster on the same roads: what such a van would take at the others'
        # mean speed, as the sentence has it, no truth of the bench tells.
        if vans[van]["haste"] == 1:
            against_others(score, says["Energy against temperature"][1], van, same_round)
        places(score, says["Charges by month and place"][0], sessions)
        hours(score, says["When charges begin"][0], sessions)
        prices(score, says["What a kWh cost"][0], sessions)
        fade(score, says["What the pack holds"][0], parts)
        expectation(score, says["What the pack holds"][0], parts, fleet_van)
        through(score, says["Through the pack"][0], parts)
        round_in_winter(score, " ".join(says["Cost and worth"]), trips, parts)
        counts_of_data(score, says, parts, end_km)
        heard(score, says["Hours heard each day"][0], trips, sessions, today)


def main():
    options = argparse.ArgumentParser()
    options.add_argument("programs", type=pathlib.Path)
    options.add_argument("--seeds", type=int, default=20)
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--cards-before", type=int, default=2)
    options.add_argument("--days", type=int, default=10)
    options.add_argument("--year-every", type=int, default=5,
                         help="seeds that this divides have a year of cards: no pack is seen to fade in less; 0: none")
    options.add_argument("--demo", action="store_true", help="the demo's own five stories, whatever the seed")
    options.add_argument("--keep", type=pathlib.Path, metavar="DIR", help="page, truth and papers of each seed")
    options.add_argument("--read", type=pathlib.Path, metavar="DIR", help="read what --keep kept, make nothing")
    options = options.parse_args()
    os.environ["TZ"] = "Asia/Tokyo"
    score = Score(KINDS)
    seeds = range(options.first, options.first + options.seeds)
    if options.read:
        for seed in seeds:
            read_one((options.read / str(seed) / "report.html").read_text(), options.read / str(seed), score)
    else:
        for seed in seeds:
            with tempfile.TemporaryDirectory(prefix="packmile-check-") as folder:
                one_firm(options.programs.resolve(), seed, options, score, pathlib.Path(folder))
            print(f"seed {seed}: done", file=sys.stderr)
    sys.exit(0 if score.show(every_kind=options.seeds >= SEEDS_FOR_EVERY_KIND) else 1)


if __name__ == "__main__":
    main()
