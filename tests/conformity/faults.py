#!/usr/bin/env python3
"""The same drive with everything that can go wrong on a bus, one fault at a time.

    faults.py BIN

Each fault that the bench knows is played for 10 minutes. The bench must see no
forbidden frame, the card must be whole, and as many samples must be on it as the
fault leaves: nothing that an ECU answered in time may be lost by us, and nothing
may be made up (words are compared with those of the drive without a fault). A
fault that has no line in the table below fails.
"""
import collections
import sys

import allow_list
from made_up_drive import write_drive
from programs import Bin, run, workspace

ALL = 1.0
# Fault: the least share of pack samples, and what else must hold of the check row.
EXPECTED = {
    "instant-ecu": (ALL, {}),
    "speed-cut": (ALL, {}),
    "no-odometer": (ALL, {}),
    "no-soc": (ALL, {}),
    "soc-frozen": (ALL, {"current_verdict": "contradictory"}),
    "ids-29bit": (ALL, {}),
    "bus-250k": (ALL, {}),
    "bus-traffic": (ALL, {}),
    "no-ack-asleep": (ALL, {}),
    "z-confirm": (ALL, {}),
    "pids-reversed": (ALL, {}),
    "one-pid-only": (0.99, {}),
    "response-pending": (ALL, {}),
    "short-n-bs": (ALL, {}),
    "ecu-silent": (0, {"answers": []}),
    "ecu-49ms": (ALL, {}),
    "ecu-51ms": (ALL, {}),
    # Ten times slower than the standard allows: read as often as it answers, and said so.
    "ecu-500ms": (0.25, {"reply_wait_ms": 600}),
    "ecu-stops": (0.75, {}),
    "ecus-differ": (ALL, {}),
    # Three seconds for every seventh answer, and given up after ten announcements.
    "pending-chain": (0.04, {}),
    "wrong-sequence": (0.79, {}),
    "short-last-frame": (ALL, {}),
    "wrong-length": (0.2, {}),
    "stays-awake": (ALL, {}),
    "top-ups": (ALL, {}),
    "bus-125k": (0, {"answers": []}),
    "bus-off": (0.9, {}),
    "foreign-tester": (0.19, {"foreign_tester_events": 1}),
    "adapter-resets": (0.95, {}),
    "adapter-half-line": (0.95, {}),
    "adapter-late": (0.99, {}),
    "adapter-echo": (ALL, {}),
    # Four times what the line carries: most answers never reach the logger.
    "adapter-flood": (0, {}),
    "adapter-mute": (0.99, {}),
    "no-supply": (ALL, {}),
    "no-vin": (ALL, {"vin": None}),
    "no-clock": (ALL, {"clock_source": "none"}),
    "supply-low": (0, {"answers": [], "requests_while_parked": 0}),
    "dead-bus": (0, {"answers": []}),
    # Of answers by identifier, which this van does not give.
    "v-and-a-apart": (ALL, {}),
    "did-refused-later": (ALL, {}),
    "dids-refused": (ALL, {}),
    "dids-first-only": (ALL, {}),
    "did-short": (ALL, {}),
    "current-frozen": (ALL, {}),
    "soc-over-100": (ALL, {}),
    "pack-cold": (ALL, {}),
}
# What these change is the word itself.
OTHER_WORDS = {"speed-cut": {"speed_kmh"}, "soc-over-100": {"soc_pct"}, "soc-frozen": {"soc_pct"}, "supply-low": set()}


def words(programs, card):
    """raw words by signal, as a set: a word that the drive never had is made up."""
    seen = collections.defaultdict(set)
    counts = collections.Counter()
    done = run(programs.packmile, "samples", card, "--format", "csv")
    for line in done.stdout.decode().splitlines()[1:]:
        fields = line.split(",")
        seen[fields[4]].add(int(fields[5]))
        counts[fields[4]] += 1
    return seen, counts


def names_of_bench(programs):
    text = run(programs.benchvan, "drive", "--help").stdout.decode()
    lines = text[text.index("Faults (--fault"):].splitlines()[1:]
    return [line.split()[0] for line in lines if line.startswith("  ") and line.strip()]


def main():
    programs = Bin(sys.argv[1])
    wrong = []
    with workspace() as folder:
        replay = write_drive(f"{folder}/drive.csv")
        programs.drive(f"{folder}/none.log", "--replay", replay)
        plain, plain_counts = words(programs, f"{folder}/none.log")
        known = set(names_of_bench(programs))
        wrong += [f"{name}: not in this check" for name in known - set(EXPECTED)]
        wrong += [f"{name}: the bench does not know it" for name in set(EXPECTED) - known]
        print(f"{'fault':<20}{'pack':>8}{'share':>8}  parked refused testers")
        for name in sorted(known & set(EXPECTED)):
            share, must = EXPECTED[name]
            card, lines = f"{folder}/{name}.log", f"{folder}/{name}.lines"
            programs.drive(card, "--replay", replay, "--fault", name, "--lines", lines)
            if not allow_list.check(lines):
                wrong.append(f"{name}: a line that a reader must not send")
            row = programs.rows("check", card)[0]
            seen, counts = words(programs, card)
            got = counts["pack_a"] / plain_counts["pack_a"]
            print(f"{name:<20}{counts['pack_a']:>8}{got:>8.3f}  {row['requests_while_parked']:>6} "
                  f"{row['refused_transmits']:>7} {row['foreign_tester_events']:>7}")
            if got < share:
                wrong.append(f"{name}: {got:.3f} of the pack samples, expected {share}")
            if row["sectors_damaged"] or row["sectors_missing"] or row["refused_transmits"]:
                wrong.append(f"{name}: {row}")
            if ("line_crowded" in row["findings"]) != (name == "adapter-flood"):
                wrong.append(f"{name}: findings {row['findings']}")
            wrong += [f"{name}: {key} is {row[key]}, expected {value}"
                      for key, value in must.items() if row[key] != value]
            # Times differ from run to run, so the words of a moving signal differ a
            # little: their range does not.
            for signal in ("pack_v", "pack_a", "speed_kmh", "soc_pct", "ambient_c"):
                if signal in OTHER_WORDS.get(name, ()) or not seen[signal]:
                    continue
                if signal in ("soc_pct", "ambient_c"):
                    made_up = seen[signal] - plain[signal]
                elif signal == "pack_a":
                    signed = lambda s: {w - 65536 if w > 32767 else w for w in s}
                    low, high = min(signed(plain[signal])), max(signed(plain[signal]))
                    made_up = {w for w in signed(seen[signal]) if not low - 5 <= w <= high + 5}
                else:
                    low, high = min(plain[signal]), max(plain[signal])
                    made_up = {w for w in seen[signal] if not low - 5 <= w <= high + 5}
                if name == "stays-awake":
                    made_up -= {2}  # its own draw at standstill, 0.2 A
                if made_up:
                    wrong.append(f"{name}: {signal} has words that were never sent: {sorted(made_up)[:5]}")
    for line in wrong:
        print("FAILED " + line)
    sys.exit(1 if wrong else 0)


main()
