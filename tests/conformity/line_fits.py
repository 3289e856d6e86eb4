#!/usr/bin/env python3
"""Our lines against scipy's on seeded random sets, ties and wild points included:
Theil-Sen with its interval, Kendall, least squares, errors in both variables.

    line_fits.py BIN [--seed N] [--sets N]
"""
import argparse
import math
import pathlib
import subprocess
import sys

try:
    import numpy as np
    import scipy
    from scipy import odr, stats
except ImportError as missing:
    print(f"skipped: {missing} (Debian: python3-scipy)")
    sys.exit(77)

KINDS = ("theil", "line", "york", "proportion")


def make_set(random, kind):
    n = int(random.integers(5, 60))
    if kind in ("theil", "line"):
        x = np.sort(random.uniform(0, 100, n)) if random.random() < 0.5 else np.arange(n) // 2.0
        y = 60 - 0.1 * x + random.normal(0, 1, n)
        if random.random() < 0.5:
            y = np.round(y, 0 if random.random() < 0.5 else 1)
        if random.random() < 0.3:
            y[random.integers(0, n)] += 500
        return x, y, np.ones(n), np.ones(n)
    true_x = random.uniform(0.1, 0.9, n)
    u_x = random.uniform(0.003, 0.03, n)
    u_y = random.uniform(0.1, 2, n)
    a = 0 if kind == "proportion" else random.normal(0, 20)
    x = true_x + random.normal(0, 1, n) * u_x
    return x, a + 150 * true_x + random.normal(0, 1, n) * u_y, u_x, u_y


def outside(kind, x, y, u_x, u_y):
    if kind == "theil":
        fit = stats.theilslopes(y, x, 0.95)
        tau = stats.kendalltau(x, y)
        return [*fit, tau[0], tau[1]]
    if kind == "line":
        fit = stats.linregress(x, y)
        return [fit.slope, fit.intercept, fit.stderr, fit.intercept_stderr]
    data = odr.RealData(x, y, u_x, u_y)
    if kind == "york":
        model = odr.Model(lambda b, t: b[0] * t + b[1])
        start = list(np.polyfit(x, y, 1))
    else:
        model = odr.Model(lambda b, t: b[0] * t)
        start = [(x * y).sum() / (x * x).sum()]
    run = odr.ODR(data, model, beta0=start, sstol=1e-15, partol=1e-15, maxit=1000).run()
    return [*run.beta, run.sum_square]


def main():
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("bin", type=pathlib.Path)
    arguments.add_argument("--seed", type=int, default=20261125)
    arguments.add_argument("--sets", type=int, default=100, help="of each kind")
    options = arguments.parse_args()
    random = np.random.default_rng(options.seed)
    sets = [(kind, make_set(random, kind)) for kind in KINDS for _ in range(options.sets)]
    text = "".join(
        f"{kind} {len(s[0])}\n" + "".join(" ".join(repr(float(v)) for v in row) + "\n" for row in zip(*s))
        for kind, s in sets)
    run = subprocess.run([options.bin / "packmile_line_fits"], input=text, text=True,
                         capture_output=True, check=True)
    answers = run.stdout.splitlines()
    if len(answers) != len(sets):
        sys.exit(f"{len(answers)} answers to {len(sets)} sets")
    # ODR stops by its own rules, up to 1e-6 short of the minimum; an intercept is
    # measured by the height of the points. Our sum must never be the greater one.
    allowed = {"theil": 1e-9, "line": 1e-9, "york": 2e-6, "proportion": 2e-6}
    worst = dict.fromkeys(KINDS, 0.0)
    wrong = 0
    for (kind, points), answer in zip(sets, answers):
        expected = outside(kind, *points)
        if answer == "none":
            print(f"{kind}: none, scipy {expected}")
            wrong += 1
            continue
        numbers = list(map(float, answer.split()))
        height = max(abs(points[1]))
        if kind in ("york", "proportion") and numbers[-1] > expected[-1] * (1 + 1e-9):
            print(f"{kind}: our sum {numbers[-1]!r} is above scipy's {expected[-1]!r}")
            wrong += 1
        for i, (ours, theirs) in enumerate(zip(numbers, expected, strict=True)):
            scale = height if i == 1 and kind == "york" else max(abs(theirs), 1e-6)
            apart = abs(ours - theirs) / scale if math.isfinite(theirs) else math.inf
            worst[kind] = max(worst[kind], apart)
            if apart > allowed[kind]:
                print(f"{kind}, {len(points[0])} points: ours {answer}, scipy {expected}")
                wrong += 1
                break
    print(f"scipy {scipy.__version__}, seed {options.seed}, {options.sets} sets of each kind; worst "
          + ", ".join(f"{kind} {apart:.1e}" for kind, apart in worst.items()))
    sys.exit(1 if wrong else 0)


main()
