#!/usr/bin/env python3
"""Card to ledger, and card to columns, against pandas on the same samples.

    decode_against_pandas.py BIN [DAYS]

The bench van makes one van's card (22 days: about 10 million samples).
  - packmile import reads the card, archives it and writes trips, sessions and
    throughput into the ledger: CPU seconds of the whole process;
  - packmile_decode_bench reads the same card into columns (checksums, deltas
    undone): CPU seconds of its thread;
  - pandas reads the same samples from CSV (tick_ms, signal, raw; types given)
    and integrates V * I over each trip: CPU seconds of one thread.
One run, best of three each; the ratios are what to quote. Goals: 12 times and
20 times faster.
"""
import csv
import os
import pathlib
import re
import resource
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402

# One thread, or the comparison is not of one core with one core.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"
import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402

SIGNALS = ["pack_v", "pack_a", "pack_support", "pack_state", "speed_kmh", "soc_pct", "odometer_km",
           "ambient_c", "module_v"]


def child_cpu(work):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    work()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def own_cpu(work):
    began = time.thread_time()
    result = work()
    return time.thread_time() - began, result


def read(path):
    return pd.read_csv(path, dtype={"tick_ms": np.int64, "signal": np.int8, "raw": np.int64})


def integrate(frame, starts, ends):
    """Net kWh of each trip: trapezoid of V * I over answers less than 10 s apart."""
    voltage, current = frame[frame.signal == 0], frame[frame.signal == 1]
    assert (voltage.tick_ms.to_numpy() == current.tick_ms.to_numpy()).all()
    t = voltage.tick_ms.to_numpy()
    power = voltage.raw.to_numpy() / 64 * (current.raw.to_numpy().astype(np.uint16).view(np.int16) / 10)
    step = np.diff(t)
    area = np.where(step < 10000, (power[1:] + power[:-1]) / 2 * step, 0) / 3.6e9
    total = np.concatenate(([0], np.cumsum(area)))
    return total[np.searchsorted(t, ends)] - total[np.searchsorted(t, starts)]


def main():
    programs, days = Bin(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "22"
    with workspace() as folder:
        run(programs.benchvan, "month", "--direct", "--out", folder + "/m", "--vans", "1", "--days", days, "--seed", "3")
        card = next(pathlib.Path(folder, "m").glob("*.log"))

        def import_again():
            subprocess.run(["rm", "-rf", folder + "/d"], check=True)
            run(programs.packmile, "new", folder + "/d")
            (pathlib.Path(folder) / "d/fleet.toml").write_bytes((pathlib.Path(folder) / "m/fleet.toml").read_bytes())

        ours = []
        for _ in range(3):
            import_again()
            ours.append(child_cpu(lambda: run(programs.packmile, "import", card, "--depot", folder + "/d")))
        trips = programs.rows("trips", "--depot", folder + "/d")

        said = run(programs.packmile.with_name("packmile_decode_bench"), card).stdout.decode()
        columns = min(map(float, re.findall(r"card to columns\D+([0-9.]+) s", said)))

        # The same samples as CSV, in the plainest form that pandas reads fast.
        number, samples, to_utc = {name: i for i, name in enumerate(SIGNALS)}, 0, None
        source = subprocess.Popen([programs.packmile, "samples", card, "--format", "csv"], stdout=subprocess.PIPE,
                                  text=True)
        with open(folder + "/samples.csv", "w") as out:
            out.write("tick_ms,signal,raw\n")
            for row in csv.DictReader(source.stdout):
                if row["signal"] in number:
                    out.write(f"{row['tick_ms']},{number[row['signal']]},{row['raw']}\n")
                    samples += 1
                    if to_utc is None and row["time"]:
                        to_utc = pd.Timestamp(row["time"]).value // 10**6 - int(row["tick_ms"])
        at = lambda key: np.array([pd.Timestamp(t[key]).value // 10**6 - to_utc for t in trips])  # noqa: E731
        reading, whole = [], []
        for _ in range(3):
            cpu, frame = own_cpu(lambda: read(folder + "/samples.csv"))
            reading.append(cpu)
            cpu, energies = own_cpu(lambda: integrate(frame, at("start"), at("end")))
            whole.append(reading[-1] + cpu)
        worst = max(abs(e - t["net_kwh"]) for e, t in zip(energies, trips))

    print(f"{samples} samples, {len(trips)} trips; trips by pandas differ from ours by at most {worst:.2g} kWh")
    print(f"card to ledger  {min(ours):.3f} s; pandas read and integrated {min(whole):.3f} s: "
          f"{min(whole) / min(ours):.1f} times")
    print(f"card to columns {columns:.4f} s; pandas read alone {min(reading):.3f} s: "
          f"{min(reading) / columns:.1f} times")
    print("\n".join("  " + line for line in said.splitlines()))


main()
