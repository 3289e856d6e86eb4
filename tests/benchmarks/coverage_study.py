#!/usr/bin/env python3
"""Do the intervals hold the truth? Made-up vans' months, whose sensors, pack and
charger are drawn anew from the distributions that the intervals state, decoded and
compared with what really happened.

    coverage_study.py BIN [--vans N] [--days N] [--per-mechanism N] [--only NAME]...
                          [--metered N] [--perfect N] [--both-ways N] [--seed N] [--jobs N]
                          [--json FILE] [--check]

BIN       folder of packmile and packmile-benchvan
Output    a table of figures: share of rows whose 95 % interval holds the truth, its
          own interval (bootstrap over vans: the rows of one van share one sensor),
          median width, and how wide it had to be; the mean over vans, and the root of
          the mean square, of a van's mean error in stated standard deviations: 0 and
          1 where intervals are what they say, told from far fewer vans than the
          share; the same for each mechanism that
          no estimator models (--only: of these alone), with the flags that betray it;
          the same vans with a meter's notes beside their charges; the random part alone
          against perfect sensors; and a day of some vans through the whole logger,
          whose figures must be those of --direct.
Files     one month at a time and job, removed as it goes.
--check   exits 1 where a figure of modelled mechanisms is held by less than 85 % or
          a row of the truth was not found: what a few seeds can tell.
"""
import argparse
import collections
import datetime
import json
import math
import multiprocessing
import os
import pathlib
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import write_charge_notes  # noqa: E402

TRIP = ["net_kwh", "discharge_kwh", "regen_kwh", "distance_km", "kwh_per_mile"]
SESSION = ["pack_kwh", "pack_ah", "grid_kwh", "peak_kw"]
THROUGHPUT = ["discharge_kwh", "charge_kwh", "discharge_ah", "charge_ah", "kwh_per_mile", "standing_kwh"]
MATCH_S = 120  # a row's start and the truth's: the first sample may come late
PERCENT = 95
Z95 = 1.96
# What the sensors' stated spreads leave where the offset is known to 0.02 A (the
# closed balance of a month): nothing that sees only one van's card can do better.
BEST_OFFSET_A, BEST_GAIN, PACK_V = 0.02, math.hypot(0.006, 0.003), 355.0


def run(*command):
    done = subprocess.run([str(c) for c in command], capture_output=True)
    return done.returncode, done.stdout, done.stderr.decode(errors="replace")


def instant(text):
    return datetime.datetime.fromisoformat(text).timestamp()


class Unknown(Exception):
    """This packmile has no such command."""


def rows_of(packmile, command, depot):
    code, out, err = run(packmile, command, "--depot", depot, "--format", "json")
    if code == 2:
        raise Unknown(command)
    if code not in (0, 3):
        raise RuntimeError(f"packmile {command}: exit {code}\n{err}")
    return json.loads(out)["rows"]


def compare(points, what, names, row, truth):
    for name in names:
        if name not in truth or truth[name] is None:
            continue
        shown = row.get(name)
        low, high = row.get(name + "_low"), row.get(name + "_high")
        if shown is None or low is None:
            points.append((f"{what} {name}", None, None, None, truth[name], row.get(name + "_scatter")))
            continue
        points.append((f"{what} {name}", low, high, shown, truth[name], row.get(name + "_scatter")))


def flags_of(rows, kind):
    found = set()
    for row in rows:
        found.update(f"{kind}: {word}" for word in row.get("findings") or [])
        if row.get("current_verdict") not in (None, "agreed"):
            found.add(f"{kind}: current {row['current_verdict']}")
        if row.get("verdict") == "contradictory":
            found.add(f"{kind}: {row.get('question')} contradictory")
        if row.get("against_expectation") == "cannot_tell":
            found.add(f"{kind}: {row.get('method')} cannot tell")
    return found


def study_van(job):
    bin_folder, days, seed, mechanisms, metered = job
    packmile = pathlib.Path(bin_folder) / "packmile"
    benchvan = pathlib.Path(bin_folder) / "packmile-benchvan"
    chance = random.Random(seed)
    # Any season; a Monday or not.
    start = datetime.date(2025, 1, 1) + datetime.timedelta(days=chance.randrange(365))
    result = {"seed": seed, "mechanisms": mechanisms, "metered": metered, "points": [], "flags": [], "missing": [],
              "unmatched": [], "rows": 0, "invented": []}
    with tempfile.TemporaryDirectory(prefix="packmile-coverage-") as name:
        folder = pathlib.Path(name)
        options = [word for one in mechanisms for word in ("--mechanism", one)]
        before = time.process_time()
        code, _, err = run(benchvan, "month", "--direct", "--out", folder / "month", "--vans", 1, "--days", days,
                           "--seed", seed, "--start", start, *options)
        if code != 0:
            raise RuntimeError(f"seed {seed}: {err}")
        truth = json.loads((folder / "month" / "truth.json").read_text())["vans"][0]
        depot = folder / "depot"
        run(packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
        shutil.copy(folder / "month" / "fleet.toml", depot / "fleet.toml")
        log = folder / "month" / (truth["van"] + ".log")
        code, _, err = run(packmile, "import", log, "--depot", depot)
        if code not in (0, 3):
            raise RuntimeError(f"seed {seed}: import: exit {code}\n{err}")
        log.unlink()
        if metered:
            write_charge_notes(folder / "meter.csv", truth)
            code, _, err = run(packmile, "note", "--depot", depot, "--from", folder / "meter.csv")
            if code != 0:
                raise RuntimeError(f"seed {seed}: note: exit {code}\n{err}")
        points, flags = result["points"], set()
        rows = {}
        for command in ("trips", "sessions", "throughput", "capacity", "verdicts"):
            try:
                rows[command] = rows_of(packmile, command, depot)
                flags |= flags_of(rows[command], command)
            except Unknown:
                result["missing"].append(command)
        for command, names, what in (("trips", TRIP, "trip"), ("sessions", SESSION, "session")):
            ours = [(instant(row["start"]), row) for row in rows[command]]
            for real in truth[command]:
                near = min(ours, key=lambda one: abs(one[0] - instant(real["start"])), default=None)
                result["rows"] += 1
                if near is None or abs(near[0] - instant(real["start"])) > MATCH_S:
                    result["unmatched"].append((command, real["start"]))
                    continue
                label = what if what == "trip" else f"{real['kind']} session"
                compare(points, label, names, near[1], real)
            starts = [instant(real["start"]) for real in truth[command]]
            # A charge that is said to be unsure claims nothing.
            result["invented"] += [(command, row.get("source")) for began, row in ours
                                   if all(abs(began - one) > MATCH_S for one in starts)
                                   and "charge_unsure" not in row["findings"]]
        for row in rows["throughput"]:
            compare(points, "month", THROUGHPUT, row, truth["throughput"])
        result["pack"] = pack = truth["pack"]
        real_ah = (pack["capacity_ah_start"] + pack["capacity_ah_end"]) / 2
        for row in rows.get("capacity", []):
            if row.get("ah") is None and row.get("method") != "voltage_window":
                continue
            if row.get("method") not in ("voltage_window", "reported"):
                compare(points, f"capacity {row['method']}", ["ah"], row, {"ah": real_ah})
            compare(points, f"capacity {row['method']}", ["offset_a"], row, {"offset_a": pack["offset_a"]})
        for row in rows.get("verdicts", []):
            if row.get("question") in ("offset_a", "gain", "soc_step_pct") and row.get("value") is not None:
                # 0: none but that of the word itself.
                real = {"offset_a": pack["offset_a"], "gain": 1 / ((1 + pack["gain"]) * (1 + pack["voltage_gain"])),
                        "soc_step_pct": pack["soc_step_pct"] or 100 / 255}
                compare(points, f"verdict {row['question']}", ["value"], row, {"value": real[row["question"]]})
        result["flags"] = sorted(flags)
        result["cpu_s"] = time.process_time() - before
    return result


def both_ways(job):
    """The worst difference of a figure between the whole logger and --direct, as a share
    of its half-width; and how many figures were compared."""
    bin_folder, seed = job
    packmile = pathlib.Path(bin_folder) / "packmile"
    rows = []
    with tempfile.TemporaryDirectory(prefix="packmile-coverage-") as name:
        for way in ("core", "direct"):
            month, depot = pathlib.Path(name) / way, pathlib.Path(name) / (way + "-depot")
            options = ["--direct"] if way == "direct" else []
            code, _, err = run(pathlib.Path(bin_folder) / "packmile-benchvan", "month", "--out", month, "--days", 1,
                               "--seed", seed, "--mechanism", "drawn", *options)
            if code != 0:
                raise RuntimeError(f"seed {seed}: {err}")
            run(packmile, "new", depot)
            shutil.copy(month / "fleet.toml", depot / "fleet.toml")
            run(packmile, "import", next(month.glob("*.log")), "--depot", depot)
            rows.append([row for command in ("trips", "sessions", "throughput")
                         for row in rows_of(packmile, command, depot)])
    if len(rows[0]) != len(rows[1]):
        return seed, math.inf, 0
    apart = [abs(a[key] - b[key]) / ((a[key + "_high"] - a[key + "_low"]) / 2)
             for a, b in zip(*rows) for key in a
             if isinstance(a.get(key + "_high"), (int, float)) and a[key + "_high"] > a[key + "_low"]]
    return seed, max(apart, default=math.inf), len(apart)


# ---- what the points say

def covered(point):
    _, low, high, _, real, _ = point
    return low - 1e-9 <= real <= high + 1e-9


def by_figure(results):
    """figure -> {seed: [points that are shown]}"""
    table = collections.defaultdict(lambda: collections.defaultdict(list))
    for result in results:
        for point in result["points"]:
            if point[1] is not None:
                table[point[0]][result["seed"]].append(point)
    return table


def by_van_of(result):
    figures = collections.defaultdict(list)
    for point in result["points"]:
        if point[1] is not None:
            figures[point[0]].append(point)
    return figures


def share_and_interval(vans, hit, seed):
    shares = [(sum(map(hit, points)), len(points)) for points in vans.values()]
    all_rows = sum(n for _, n in shares)
    share = 100 * sum(k for k, _ in shares) / all_rows
    chance = random.Random(seed)
    drawn = []
    for _ in range(400):
        pick = [shares[chance.randrange(len(shares))] for _ in shares]
        drawn.append(100 * sum(k for k, _ in pick) / sum(n for _, n in pick))
    drawn.sort()
    return share, drawn[9], drawn[390], all_rows


def best_width(point):
    """Of an interval where all but the stated spreads is known; None: not stated."""
    figure, _, _, _, real, _ = point
    if figure.endswith("session pack_kwh"):
        hours = real / (6.5 if figure.startswith("ac") else 42.0)
    elif figure == "trip net_kwh":
        hours = real / 5.2  # kW: the mean of the rounds
    else:
        return None
    return 2 * 1.96 * math.hypot(BEST_OFFSET_A * PACK_V * hours / 1000, BEST_GAIN * real)


def print_table(title, results, seed):
    print(f"\n{title}: {len(results)} vans")
    print(f"{'figure':<32}{'vans':>5}{'rows':>7}{'held %':>8}  {'95 % of that':<14}{'width %':>8}{'needed':>8}{'best':>7}{'mean':>7}{'rms':>6}")
    table = by_figure(results)
    lines = []
    for figure in sorted(table):
        vans = table[figure]
        points = [point for one in vans.values() for point in one]
        share, low, high, rows = share_and_interval(vans, covered, seed)
        widths = [100 * (p[2] - p[1]) / abs(p[4]) for p in points if abs(p[4]) > 1e-9]
        width = statistics.median(widths) if widths else float("nan")
        # The shown half-width times this holds exactly 95 %: below 1 it is wider
        # than it had to be.
        stretch = sorted(abs(p[4] - p[3]) / max(1e-12, (p[2] - p[1]) / 2) for p in points)
        needed = stretch[min(len(stretch) - 1, math.ceil(0.01 * PERCENT * len(stretch)) - 1)]
        best = [best_width(p) for p in points]
        ratio = statistics.median((p[2] - p[1]) / b for p, b in zip(points, best)) if all(best) else None
        best_text = f"{ratio:>7.1f}" if ratio else f"{'':>7}"
        errors = [statistics.mean((p[3] - p[4]) / max(1e-12, (p[2] - p[1]) / 2 / Z95) for p in one)
                  for one in vans.values()]
        mean, rms = statistics.mean(errors), math.sqrt(statistics.mean(e * e for e in errors))
        print(f"{figure:<32}{len(vans):>5}{rows:>7}{share:>8.1f}  {low:>5.1f}..{high:<7.1f}{width:>8.2f}{needed:>8.2f}{best_text}"
              f"{mean:>7.2f}{rms:>6.2f}")
        lines.append({"figure": figure, "vans": len(vans), "rows": rows, "held_pct": share, "held_low_pct": low,
                      "held_high_pct": high, "median_width_pct": width, "needed": needed, "times_best": ratio,
                      "mean_sd": mean, "rms_sd": rms})
    absent = collections.Counter(p[0] for r in results for p in r["points"] if p[1] is None)
    for figure, count in sorted(absent.items()):
        print(f"{figure:<32}     {count:>7} rows not shown")
    return lines


def print_mechanisms(base, by_mechanism, seed):
    print("\nwhat no estimator models: held, or flagged by a word that is raised in at most 5 % of other months")
    raised = collections.Counter(flag for r in base for flag in r["flags"])
    trusted = {flag for r in [r for rs in by_mechanism.values() for r in rs] + base for flag in r["flags"]
               if raised[flag] <= 0.05 * len(base)}
    false = sum(any(flag in trusted for flag in r["flags"]) for r in base)
    print(f"months without: {len(base)}; any trusted flag in {100 * false / max(1, len(base)):.1f} % of them; "
          f"words that say nothing there: {', '.join(sorted(f for f in raised if f not in trusted)) or 'none'}")
    print("each trusted word alone: " + (", ".join(
        f"{word} {100 * count / len(base):.1f} %" for word, count in raised.most_common() if word in trusted) or "none"))
    print(f"{'mechanism':<22}{'vans':>5}{'flagged %':>10}{'held or flagged %, the worst figures'}")
    print("(in brackets: held, and what the same vans hold without the mechanism)")
    lines = []
    for mechanism, results in by_mechanism.items():
        same_vans = {r["seed"] for r in results}
        without = by_figure([r for r in base if r["seed"] in same_vans])
        flagged = [any(flag in trusted for flag in r["flags"]) for r in results]
        figures = {}
        for figure, vans in by_figure(results).items():
            seeds = {r["seed"]: f for r, f in zip(results, flagged)}
            hits = [(seeds[s] or covered(p)) for s, points in vans.items() for p in points]
            held = [covered(p) for points in vans.values() for p in points]
            before = [covered(p) for points in without.get(figure, {}).values() for p in points]
            figures[figure] = (100 * sum(hits) / len(hits), 100 * sum(held) / len(held),
                               100 * sum(before) / max(1, len(before)))
        # Those that the mechanism itself spoils come first.
        worst = sorted(figures.items(), key=lambda one: one[1][0] - one[1][2])[:4]
        words = collections.Counter(f for r in results for f in r["flags"] if f in trusted)
        print(f"{mechanism:<22}{len(results):>5}{100 * sum(flagged) / len(results):>10.0f}  "
              + "; ".join(f"{name} {hit:.0f} ({held:.0f}, {before:.0f})" for name, (hit, held, before) in worst)
              + ("" if not words else "  by " + ", ".join(f"{w} {n}" for w, n in words.most_common(3))))
        lines.append({"mechanism": mechanism, "vans": len(results), "flagged_pct": 100 * sum(flagged) / len(results),
                      "figures": {k: {"held_or_flagged_pct": v[0], "held_pct": v[1], "without_pct": v[2]}
                                  for k, v in figures.items()}})
    return lines


def print_random(results, seed):
    print(f"\nthe random part alone, perfect sensors: {len(results)} vans")
    print(f"{'figure':<32}{'rows':>7}{'held %':>8}{'width %':>9}")
    for figure, vans in sorted(by_figure(results).items()):
        vans = {s: [p for p in points if p[5]] for s, points in vans.items()}
        vans = {s: points for s, points in vans.items() if points}
        if not vans or figure.startswith(("capacity", "verdict")):
            continue
        share, _, _, rows = share_and_interval(vans, lambda p: abs(p[3] - p[4]) <= p[5], seed)
        width = statistics.median(200 * p[5] / max(1e-9, abs(p[4])) for points in vans.values() for p in points)
        print(f"{figure:<32}{rows:>7}{share:>8.1f}{width:>9.3f}")


def unmodelled_of(benchvan):
    """Names that the bench itself says no estimator models."""
    _, out, _ = run(benchvan, "month", "--help")
    lines = out.decode().splitlines()
    return [line.split()[0] for line in lines if "(no estimator models it)" in line]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("bin")
    parser.add_argument("--vans", type=int, default=1000)
    parser.add_argument("--days", type=int, default=9)
    parser.add_argument("--per-mechanism", type=int, default=40)
    parser.add_argument("--only", action="append", metavar="NAME")
    parser.add_argument("--metered", type=int, default=40)
    parser.add_argument("--perfect", type=int, default=20)
    parser.add_argument("--both-ways", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json")
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args()
    os.environ["TZ"] = "Asia/Tokyo"  # no machine's zone may leak into a figure
    began = time.monotonic()
    folder = pathlib.Path(given.bin).resolve()
    mechanisms = unmodelled_of(folder / "packmile-benchvan") if given.per_mechanism else []
    if given.only:
        unknown = sorted(set(given.only) - set(mechanisms))
        if unknown:
            parser.error(f"no such mechanism: {', '.join(unknown)}")
        mechanisms = [one for one in mechanisms if one in given.only]
    first = given.seed * 100_000
    jobs = [(folder, given.days, first + i, ["drawn"], False) for i in range(given.vans)]
    # The same vans as the first of the drawn ones, with one thing more.
    for mechanism in mechanisms:
        jobs += [(folder, given.days, first + i, ["drawn", mechanism], False) for i in range(given.per_mechanism)]
    jobs += [(folder, given.days, first + i, ["drawn"], True) for i in range(given.metered)]
    jobs += [(folder, given.days, first + 50_000 + i, [], False) for i in range(given.perfect)]
    print(f"seeds {first}..{first + given.vans - 1}, {given.days} days each; "
          f"{given.per_mechanism} vans for each of {len(mechanisms)} mechanisms")
    with multiprocessing.Pool(given.jobs) as pool:
        results = []
        for done in pool.imap(study_van, jobs, chunksize=1):
            results.append(done)
            if sys.stderr.isatty():
                print(f"\r{len(results)} of {len(jobs)}", end="", file=sys.stderr)
            elif len(results) % 50 == 0:
                print(f"{len(results)} of {len(jobs)}", file=sys.stderr)
        pairs = pool.map(both_ways, [(folder, first + i) for i in range(given.both_ways)], chunksize=1)
    missing = sorted({command for r in results for command in r["missing"]})
    for command in missing:
        print(f"packmile has no command '{command}' yet: its figures are not in this study")
    drawn = [r for r in results if r["mechanisms"] == ["drawn"] and not r["metered"]]
    document = {"seeds": [r["seed"] for r in drawn], "days": given.days, "missing": missing}
    document["drawn"] = print_table("modelled mechanisms, drawn anew for each van", drawn, given.seed)
    unmatched = [(r["seed"], *row) for r in drawn for row in r["unmatched"]]
    print(f"rows of the truth without a row of ours: {len(unmatched)} of {sum(r['rows'] for r in drawn)}"
          + "".join(f"\n  seed {seed}: {command} {start}" for seed, command, start in unmatched))
    invented = collections.Counter(tuple(one) for r in drawn for one in r["invented"])
    for (command, source), count in sorted(invented.items(), key=str):
        vans = sum(any(tuple(one) == (command, source) for one in r["invented"]) for r in drawn)
        print(f"{command} of ours that never happened{f' ({source})' if source else ''}: {count}, in {vans} vans")
    document["invented"] = [[*key, count] for key, count in invented.items()]
    if mechanisms:
        by_mechanism = {m: [r for r in results if r["mechanisms"] == ["drawn", m]] for m in mechanisms}
        document["mechanisms"] = print_mechanisms(drawn, by_mechanism, given.seed)
    metered = [r for r in results if r["metered"]]
    if metered:
        document["metered"] = print_table("the same with meter notes and receipts", metered, given.seed)
    if given.perfect:
        print_random([r for r in results if not r["mechanisms"]], given.seed)
    differ = []
    if pairs:
        worst = max(pairs, key=lambda pair: pair[1])
        print(f"\na day of {len(pairs)} vans through the whole logger: {sum(p[2] for p in pairs)} figures, "
              f"at most {100 * worst[1]:.2f} % of a half-width (seed {worst[0]}) from those of --direct")
        differ = [pair for pair in pairs if pair[1] > 0.1]
    print(f"\n{len(jobs)} months in {time.monotonic() - began:.0f} s")
    # For whoever looks for the term to blame: each van's mean error, in half-widths.
    document["vans"] = [{
        "seed": r["seed"], "mechanisms": r["mechanisms"], "metered": r["metered"], "pack": r["pack"], "flags": r["flags"],
        "invented": r["invented"], "errors": {
            figure: statistics.mean((p[3] - p[4]) / max(1e-12, (p[2] - p[1]) / 2) for p in points)
            for figure, points in by_van_of(r).items()}} for r in results]
    if given.json:
        pathlib.Path(given.json).write_text(json.dumps(document, indent=1))
    if not given.check:
        return 0
    low = [line for line in document["drawn"] if line["held_high_pct"] < 85]
    for line in low:
        print(f"{line['figure']}: {line['held_pct']:.1f} % held, and 85 % cannot be explained by chance")
    shown = {line["figure"] for line in document["drawn"]}
    wanted = {"trip net_kwh", "trip distance_km", "trip kwh_per_mile", "ac session pack_kwh", "ac session grid_kwh"}
    for figure in sorted(wanted - shown):
        print(f"{figure}: not shown in any row")
    return 1 if low or differ or wanted - shown or unmatched else 0


if __name__ == "__main__":
    sys.exit(main())
