#!/usr/bin/env python3
"""The same drives and charges told by vans of every family: the same energies.

    families.py BIN [DATA]      with DATA minutes, and all families back to back, too:
                                tests/long.sh

A van may answer services 01 and 09; or the same items by service 22 as F400 + PID;
or only identifiers that its owner has listed, in another scale, sign, place and
order of bytes; or nothing. One made-up drive and charge, and one measured drive and
charge where DATA is there, are played through all of them:

  energies      of f4xx and owner within 0.01 % of service01, asked back to back; at
                the usual 5 Hz, where families ask at other moments, net within 0.1 %
  two           pack voltage and current in two identifiers: asked one after the
  identifiers   other, the cost is printed and held under 0.5 %
  truth         of each file, integrated here from its own rows
  lists         the bench's own, prepared from a fleet.toml as an owner would, and a
                list of another owner with other codings, ids and bits
  words         those on the card are those that were on the bus, taken apart here,
                and give the file's energy by the definitions alone
  none          no energy, and `check` says why and what to do; the logger listens
  faults        of answers by identifier: what was understood stands, what was not
                is no figure

Everything that the logger sent must pass allow_list.py with the listed identifiers
and nothing else.
"""
import collections
import csv
import functools
import pathlib
import sys
import tomllib

import allow_list
from made_up_drive import write_charge, write_drive
from programs import Bin, run, workspace

VIN = "1M8GDM9AXKP042788"  # passes 49 CFR 565
BACK_TO_BACK, USUAL = "0", "5"
RATES = (BACK_TO_BACK, USUAL) if len(sys.argv) > 2 else (USUAL,)
# Per cent. At 5 Hz regeneration hangs on where in a pulse it is asked: net only.
LIMITS = {BACK_TO_BACK: 0.01, USUAL: 0.1}
TRUTH_LIMITS = {BACK_TO_BACK: 0.02, USUAL: 0.1}
APART_LIMIT = 0.5
# kind: command, what it measures
KINDS = {"drive": ("trips", ("net_kwh", "discharge_kwh", "regen_kwh")),
         "charge": ("sessions", ("pack_kwh", "pack_ah"))}
MEASURED = {"drive": "drive-i3-A08.csv", "charge": "charge-dc-b-pack.csv"}
FAMILIES = {"f4xx": ("--answers", "f4xx"), "owner": ("--answers", "owner"),
            "owner, apart": ("--answers", "owner", "--fault", "v-and-a-apart")}

# Invented, like the bench's own: voltage of 13 bits with a step of 1/16 V inside
# three bytes, low byte first; current as an unsigned word with an offset and a
# falling scale; state of charge by quarter per cents, from the ECU that knows
# the VIN; a 29-bit ECU among 11-bit ones.
ANOTHER_OWNER = """
[[signal]]
role = "pack_v"
ecu = 0x7E6
did = 0xD0A0
first_byte = 2
bytes = 3
first_bit = 5
bits = 13
byte_order = "little"
scale = 0.0625
unit = "V"
[[signal]]
role = "pack_a"
ecu = 0x7E6
did = 0xD0A0
first_byte = 0
bytes = 2
scale = -0.05
offset = 1200
unit = "A"
[[signal]]
role = "soc"
ecu = 0x7E0
did = 0xD0A1
bytes = 2
scale = 0.25
unit = "%"
[[signal]]
role = "speed"
ecu = 0x18DA40F1
did = 0xD0A2
first_byte = 3
bytes = 2
byte_order = "little"
scale = 0.00390625
unit = "km/h"
[[signal]]
role = "odometer"
ecu = 0x18DA40F1
did = 0xD0A3
bytes = 3
unit = "km"
"""


class Run:
    """One file through one van, and what came of it."""

    def __init__(self, programs, folder, name, kind, replay, hz, options, listed=(), card=None):
        folder = pathlib.Path(folder)
        self.card = card = card or folder / f"{name}.log"
        lines = folder / f"{name}.lines"
        # The bench draws its answer times by the file's name: the same in every folder.
        programs.drive(card, "--replay", replay.name, "--poll-hz", hz, "--vin", VIN,
                       "--lines", lines, *options, cwd=replay.parent)
        assert allow_list.check(lines, listed), f"{name}: a line that a reader must not send"
        with open(lines) as recorded:
            self.counts, _ = allow_list.judge(recorded, listed)
            recorded.seek(0)
            self.lines = [line.rstrip("\n").partition(" ")[::2] for line in recorded]
        self.check = programs.rows("check", card)[0]
        self.page = run(programs.packmile, "check", card).stdout.decode()
        self.depot = depot = programs.depot(folder / f"{name} depot", card)
        self.rows = programs.rows(KINDS[kind][0], "--depot", depot)
        self.energies = {key: self.total(key) for key in KINDS[kind][1]}

    def total(self, key):
        """None: some row has no such figure, or there is none."""
        values = [row[key] for row in self.rows]
        return sum(values) if values and None not in values else None

    def why(self, key):
        return "; ".join(str(row.get(key + "_why")) for row in self.rows) or "no row"

    def findings(self):
        return set(self.check["findings"]).union(*(row["findings"] for row in self.rows))


def truth(path):
    """Energies of a file from its own rows: straight lines between them, cut where
    the current changes its sign; pack_* is what flowed in."""
    rows = [(float(r["time_s"]), float(r["pack_v"]), float(r["pack_a"]))
            for r in csv.DictReader(open(path)) if r["pack_v"] and r["pack_a"]]
    kwh, ah = {True: 0.0, False: 0.0}, {True: 0.0, False: 0.0}
    for (t0, v0, a0), (t1, v1, a1) in zip(rows, rows[1:]):
        if not 0 < t1 - t0 <= 10:
            continue
        cut = a0 / (a0 - a1) if a0 * a1 < 0 else 1.0
        middle = (t0 + cut * (t1 - t0), v0 + cut * (v1 - v0), a0 + cut * (a1 - a0))
        for (s0, u0, i0), (s1, u1, i1) in (((t0, v0, a0), middle), (middle, (t1, v1, a1))):
            charging = i0 + i1 < 0
            # The product of two straight lines is a parabola.
            kwh[charging] += (s1 - s0) * (2 * u0 * i0 + 2 * u1 * i1 + u0 * i1 + u1 * i0) / 6 / 3.6e6
            ah[charging] += (s1 - s0) * (i0 + i1) / 2 / 3600
    return {"net_kwh": sum(kwh.values()), "discharge_kwh": kwh[False], "regen_kwh": -kwh[True],
            "pack_kwh": -kwh[True], "pack_ah": -ah[True]}


def percent(value, other):
    return 100 * (value / other - 1)


class Judge:
    def __init__(self):
        self.wrong = []

    def expect(self, holds, what):
        if not holds:
            self.wrong.append(what)
            print("FAILED " + what)

    def same(self, name, found, wanted, limit):
        for key, value in wanted.items():
            if found.energies[key] is None:
                self.expect(False, f"{name}: no {key} ({found.why(key)})")
            elif value:
                off = percent(found.energies[key], value)
                print(f"  {name:<44}{key:<14}{found.energies[key]:10.5f}{off:+9.4f} %")
                self.expect(abs(off) <= limit, f"{name}: {key} is off by {off:+.4f} %, limit {limit}")

    def whole(self, name, found):
        row = found.check
        self.expect(row["vin"] == VIN, f"{name}: VIN {row['vin']}")
        for key in ("sectors_damaged", "sectors_missing", "sectors_foreign", "refused_transmits"):
            self.expect(row[key] == 0, f"{name}: {key} {row[key]}")


def listed_in(text):
    return {(signal["ecu"], signal["did"]) for signal in tomllib.loads(text)["signal"]}


def play_families(programs, folder, judge, own, kind, label, replay):
    for hz in RATES:
        keys = KINDS[kind][1] if hz == BACK_TO_BACK else KINDS[kind][1][:1]
        known = {key: truth(replay)[key] for key in keys}
        name = f"{label} at {hz} Hz"
        plain = Run(programs, folder, name, kind, replay, hz, ())
        judge.expect(len(plain.rows) == 1, f"{name}: {len(plain.rows)} rows")
        judge.whole(name, plain)
        judge.same(name + ", against its rows", plain, known, TRUTH_LIMITS[hz])
        wanted = {key: plain.energies[key] for key in known}
        for family, options in FAMILIES.items():
            own_list = own["apart" if "apart" in family else "one"] if "owner" in family else ""
            told = Run(programs, folder, f"{name}, {family}", kind, replay, hz, options,
                       listed_in(own_list) if own_list else ())
            judge.whole(f"{name}, {family}", told)
            judge.same(f"{name}, {family}", told, wanted,
                       APART_LIMIT if "apart" in family else LIMITS[hz])
            judge.expect(len(told.rows) == len(plain.rows), f"{name}, {family}: {len(told.rows)} rows")
            # The bench's own list has a van that says 160 Ah of itself, whatever it holds.
            said = [row["ah"] for row in programs.rows("capacity", "--depot", told.depot)
                    if row["method"] == "reported" and row["scope"] == "latest"]
            judge.expect(said == ([160] if "owner" in family else []),
                         f"{name}, {family}: reported capacity {said}")
            judge.expect(told.counts["request 01 to one ECU"] <= 10,
                         f"{name}, {family}: service 01 is asked on and on")
            for row in told.rows:
                judge.expect(row["current_verdict"] == "agreed",
                             f"{name}, {family}: current {row['current_verdict']}")
            for a, b in zip(plain.rows, told.rows):
                for key in ("soc_start_pct", "soc_end_pct"):
                    judge.expect(b[key] is not None and abs(a[key] - b[key]) <= 1,
                                 f"{name}, {family}: {key} {b[key]}, by service 01 {a[key]}")
                if kind == "drive":
                    judge.expect(b["distance_km_low"] is not None and
                                 b["distance_km_low"] <= a["distance_km_high"] and
                                 a["distance_km_low"] <= b["distance_km_high"],
                                 f"{name}, {family}: {b['distance_km']} km, by service 01 {a['distance_km']}")


def play_lists(programs, folder, judge, own, kind, replay):
    """A card that `packmile card prepare` has made from the depot's fleet.toml."""
    plain = Run(programs, folder, f"lists {replay.stem}", kind, replay, BACK_TO_BACK, ())
    for name, text, options in (("own list", own["one"], ()),
                                ("another owner's", ANOTHER_OWNER, ("--sign", "discharge-positive"))):
        name = f"{name}, {replay.stem}"
        depot, card = folder / f"{name} list", folder / f"{name} card"
        run(programs.packmile, "new", depot)
        with open(depot / "fleet.toml", "a") as fleet:
            fleet.write(f'\n[[van]]\nname = "bench"\nvin = "{VIN}"\n\n{text}')
        card.mkdir()
        run(programs.packmile, "card", "prepare", card, "--van", "bench", "--size-mb", "64",
            "--depot", depot)
        told = Run(programs, folder, name, kind, replay, BACK_TO_BACK,
                   ("--answers", "owner", *options), listed_in(text), card / "PACKMILE.LOG")
        judge.whole(name, told)
        # Its three ECUs are asked at other moments than the one of the own list: a
        # tenth of a second at the ends of a charge of 20 minutes is 0.01 % of it.
        judge.same(name, told, plain.energies, LIMITS[BACK_TO_BACK] if name.startswith("own") else 0.02)


def messages(candump):
    """(response id, message) of each whole ISO-TP message of an ECU in a candump log."""
    parts = {}  # id: [length, bytes]
    for line in open(candump):
        identifier, _, data = line.split()[2].partition("#")
        sender, data = int(identifier, 16), bytes.fromhex(data)
        if not (0x7E8 <= sender <= 0x7EF or sender & 0xFFFFFF00 == 0x18DAF100):
            continue
        kind, low = data[0] >> 4, data[0] & 15
        if kind == 0:
            yield sender, data[1:1 + low]
        elif kind == 1:
            parts[sender] = [low << 8 | data[1], data[2:]]
        elif kind == 2 and sender in parts:
            parts[sender][1] += data[1:]
            length, text = parts[sender]
            if len(text) >= length:
                yield sender, text[:length]
                del parts[sender]


def word_of(signal, data):
    """The word of an owner's signal in the data of its identifier."""
    first, count = signal.get("first_byte", 0), signal.get("bytes", 1)
    word = int.from_bytes(data[first:first + count], signal.get("byte_order", "big"))
    bits = signal.get("bits", 8 * count - signal.get("first_bit", 0))
    return word >> signal.get("first_bit", 0) & (1 << bits) - 1


# The same keys for the words of PID 9A as the logger keeps them.
PID_9A = [{"role": "pack_v", "bytes": 2, "scale": 1 / 64},
          {"role": "pack_a", "bytes": 2, "scale": 0.1, "signed": True}]


def values_by(signals):
    """{name: word -> value}."""
    def value(signal, word):
        bits = signal.get("bits", 8 * signal.get("bytes", 1) - signal.get("first_bit", 0))
        if signal.get("signed") and word >> bits - 1:
            word -= 1 << bits
        return word * signal.get("scale", 1) + signal.get("offset", 0)
    return {signal["role"]: functools.partial(value, signal) for signal in signals}


def by_words(rows, value):
    """Net kWh of the samples of a card, by the trapezoid."""
    at = collections.defaultdict(dict)
    for row in rows:
        if row["signal"] in ("pack_v", "pack_a"):
            at[row["tick_ms"]][row["signal"]] = value[row["signal"]](row["raw"])
    pairs = sorted((tick, two["pack_v"] * two["pack_a"]) for tick, two in at.items() if len(two) == 2)
    return sum((t1 - t0) * (p0 + p1) / 2 for (t0, p0), (t1, p1) in zip(pairs, pairs[1:])
               if t1 - t0 <= 10_000) / 3.6e9


def play_words(programs, folder, judge, own, kind, replay):
    wanted = truth(replay)["net_kwh"]
    signals = tomllib.loads(own["one"])["signal"]
    by_response = {(s["ecu"] + 8, s["did"]): [] for s in signals}
    for signal in signals:
        by_response[signal["ecu"] + 8, signal["did"]].append(signal)
    for family in ("f4xx", "owner"):
        name = f"words of {family}, {replay.stem}"
        log = folder / f"{name}.candump"
        card = folder / f"{name}.log"
        programs.drive(card, "--replay", replay.name, "--answers", family, "--candump", log,
                       cwd=replay.parent)
        on_bus = collections.defaultdict(list)
        for sender, message in messages(log):
            if message[:1] != b"\x62":
                continue
            did, data = int.from_bytes(message[1:3], "big"), message[3:]
            for signal in by_response.get((sender, did), ()):
                on_bus[signal.get("name", signal["role"])].append(word_of(signal, data))
            # 9A alone or before others: 62 F4 9A, support, state, volts, amperes.
            if did == 0xF49A:
                on_bus["pack_v"].append(int.from_bytes(data[2:4], "big"))
                on_bus["pack_a"].append(int.from_bytes(data[4:6], "big"))
        on_card = collections.defaultdict(list)
        rows = sorted(programs.rows("samples", card), key=lambda r: r["tick_ms"])
        for row in rows:
            on_card[row["signal"]].append(row["raw"])
        judge.expect({"pack_v", "pack_a"} <= set(on_bus), f"{name}: {sorted(on_bus)} on the bus")
        value = values_by(signals if family == "owner" else PID_9A)
        net = by_words(rows, value) * (-1 if family == "owner" else 1)  # charging counts up
        off = percent(net, wanted)
        print(f"  {name:<44}{'net by words':<18}{net:10.5f}{off:+9.4f} %")
        judge.expect(abs(off) <= 0.05, f"{name}: net by words off by {off:+.4f} %")
        for signal, words in on_bus.items():
            kept = on_card[signal]
            # What came before the polls began, in search of the ECU, need not be kept.
            judge.expect(len(kept) >= len(words) - 3 and words[len(words) - len(kept):] == kept,
                         f"{name}: {signal} {len(words)} words on the bus, {len(kept)} on the card, or others")
            print(f"  {name:<44}{signal:<18}{len(kept)} of {len(words)}")


def play_none(programs, folder, judge, kind, replay):
    for name, faults in (("alive", ()), ("dead bus", ("--fault", "dead-bus"))):
        name = f"none, {name}, {kind}"
        silent = Run(programs, folder, name, kind, replay, USUAL,
                     ("--answers", "none", "--parked-hours", "24", *faults))
        for key, value in silent.energies.items():
            judge.expect(value is None, f"{name}: {key} is {value}")
        row = silent.check
        judge.expect(row["answers"] == [] and row["vin"] is None, f"{name}: answers {row['answers']}")
        judge.expect(row["current_verdict"] is None and row["current_verdict_why"], f"{name}: {row}")
        questions = {q["question"]: q for q in row.get("questions", ())}
        judge.expect(questions, f"{name}: check has no questions")
        for question in questions.values():
            judge.expect(question["answered"] == "no" and question["missing"] and question["how"],
                         f"{name}: {question}")
        for word in ("note", "signal"):
            judge.expect(word in silent.page, f"{name}: check does not speak of {word}s")
        # It listens: what it sent is counted, and how long it could have sent.
        requests = sum(n for what, n in silent.counts.items() if what.startswith("request"))
        open_s, since = 0.0, None
        for second, text in silent.lines:
            if text == "O":
                since = since if since is not None else float(second)
            elif text == "C" and since is not None:
                open_s += float(second) - since
                since = None
        print(f"  {name:<44}{requests} requests in a day, adapter open to send for {open_s:.1f} s")
        judge.expect(since is None, f"{name}: the adapter is left open")
        judge.expect(requests <= 100 and open_s <= 60, f"{name}: {requests} requests, open for {open_s} s")


# Fault: the families; what must hold of energies: same, part (of the time only), none.
FAULTS = {
    "dids-refused": (("f4xx", "owner"), "same"),
    "dids-first-only": (("f4xx", "owner"), "same"),
    "pids-reversed": (("f4xx",), "same"),
    "response-pending": (("f4xx", "owner"), "same"),
    "ids-29bit": (("f4xx", "owner"), "same"),
    "did-short": (("f4xx", "owner"), "none"),
    "did-refused-later": (("f4xx", "owner"), "part"),
    "current-frozen": (("f4xx", "owner"), "none"),
    "soc-over-100": (("owner",), "any"),
    "pack-cold": (("owner",), "same"),
}
# A definition that cannot be right is named.
NAMED = {("did-short", "owner"), ("current-frozen", "owner"), ("soc-over-100", "owner"), ("pack-cold", "owner")}


def play_faults(programs, folder, judge, kind, replay):
    command, keys = KINDS[kind]
    plain = Run(programs, folder, "faults plain", kind, replay, USUAL, ())
    for fault, (families, wanted) in FAULTS.items():
        for family in families:
            name = f"{fault}, {family}, {kind}"
            blocks = run(programs.benchvan, "signals", "--fault", fault).stdout.decode()
            told = Run(programs, folder, name, kind, replay, USUAL,
                       ("--answers", family, "--fault", fault),
                       listed_in(blocks) if family == "owner" else ())
            judge.expect(told.check["sectors_damaged"] == 0 and told.check["refused_transmits"] == 0,
                         f"{name}: {told.check}")
            print(f"  {name:<44}{wanted:<6}", *sorted(told.findings()))
            if wanted == "same":
                judge.same(name, told, plain.energies, 0.1)
            elif wanted == "none":
                for key, value in told.energies.items():
                    judge.expect(value is None, f"{name}: {key} is {value}")
                for row in told.rows:
                    judge.expect(all(row[key + "_why"] for key in keys), f"{name}: no reason in {row}")
            elif wanted == "part":
                for row in told.rows:
                    judge.expect(row[keys[0]] is None or row["coverage"] < 0.5, f"{name}: {row}")
            if fault == "did-short":
                # The last byte of the current is missing: none of it may be made up.
                kept = [row for row in programs.rows("samples", told.card) if row["signal"] == "pack_a"]
                judge.expect(not kept, f"{name}: {len(kept)} samples of pack_a on the card")
            if fault == "soc-over-100":
                for row in told.rows:
                    judge.expect(row["soc_start_pct"] is None and row["soc_end_pct"] is None,
                                 f"{name}: state of charge {row['soc_start_pct']} .. {row['soc_end_pct']}")
            if (fault, family) in NAMED:
                judge.expect(told.findings() - plain.findings(), f"{name}: no finding")


def attempt(part, programs, folder, judge, *more):
    """A command that fails ends its part, not the others."""
    try:
        part(programs, folder, judge, *more)
    except SystemExit as trouble:
        judge.expect(False, f"{part.__name__}: {trouble}")


def main():
    programs = Bin(pathlib.Path(sys.argv[1]).resolve())
    data = pathlib.Path(sys.argv[2]) if len(sys.argv) > 2 else None
    judge = Judge()
    own = {"one": run(programs.benchvan, "signals").stdout.decode(),
           "apart": run(programs.benchvan, "signals", "--fault", "v-and-a-apart").stdout.decode()}
    with workspace() as folder:
        folder = pathlib.Path(folder)
        made_up = {"drive": write_drive(folder / "drive.csv"), "charge": write_charge(folder / "charge.csv")}
        for kind, replay in made_up.items():
            attempt(play_families, programs, folder, judge, own, kind, f"made-up {kind}", replay)
            attempt(play_lists, programs, folder, judge, own, kind, replay)
            attempt(play_words, programs, folder, judge, own, kind, replay)
            attempt(play_none, programs, folder, judge, kind, replay)
        attempt(play_faults, programs, folder, judge, "drive", made_up["drive"])
        if data and data.exists():
            for kind, file in MEASURED.items():
                data_file = data.resolve() / file
                attempt(play_families, programs, folder, judge, own, kind, f"measured {kind}", data_file)
                attempt(play_lists, programs, folder, judge, own, kind, data_file)
                attempt(play_words, programs, folder, judge, own, kind, data_file)
        else:
            print("skipped: the measured drive and charge are not here")
    print(f"{len(judge.wrong)} wrong")
    for what in judge.wrong:
        print("FAILED " + what)
    sys.exit(1 if judge.wrong else 0)


main()
