"""A van's day in three minutes as a replay file, and what really happened in it.

90 s of driving, a stand, 75 s on a strong charger; after the last row the van sleeps. A pack of
70 Ah, so that the short charge shows in the state of charge as it would on a van.
"""
import math

PACK_AH = 70
DRIVE_S, STAND_S, CHARGE_S, REST_S = 90, 10, 75, 4
LENGTH_S = DRIVE_S + STAND_S + CHARGE_S + REST_S
HZ = 10


def rows():
    """time_s, speed_kmh, pack_v, pack_a (discharge positive), soc_pct."""
    soc_pct = 60.0
    for k in range(LENGTH_S * HZ + 1):
        t = k / HZ
        turn = 2 * math.pi * min(t, DRIVE_S) / 45
        speed_kmh = 30 - 30 * math.cos(turn)
        gain = 30 / 3.6 * 2 * math.pi / 45 * math.sin(turn) if t < DRIVE_S else 0.0
        amps = 1.5 if speed_kmh < 0.01 else 5 + 0.4 * speed_kmh + 6 * gain * speed_kmh
        on_charger_s = t - DRIVE_S - STAND_S
        if 0 <= on_charger_s <= CHARGE_S:
            amps = -300 * min(1.0, on_charger_s / 3, (CHARGE_S - on_charger_s) / 3)
        volts = 352 + 0.4 * (soc_pct - 35) - 0.09 * amps
        yield t, speed_kmh, volts, amps, soc_pct
        soc_pct -= amps / HZ / 3600 / PACK_AH * 100


def write(path):
    with open(path, "w") as out:
        out.write("time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n")
        for t, speed_kmh, volts, amps, soc_pct in rows():
            out.write(f"{t:.1f},{speed_kmh:.2f},{volts:.3f},{amps:.2f},{soc_pct:.4f},12\n")
    return path


def trapezoid(points):
    points = list(points)
    return sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in zip(points, points[1:]))


def truth(machine_s=lambda t: t, moments=None):
    """What an outside integration of the same rows gives: kWh and km. `machine_s`: what the machine's
    clock showed at second t, as a busy host lets its emulator run slow now and then; everything that
    is driven or charged in a second counts as long as that second was. `moments`: only what the van
    showed at these seconds is known, as where a busy host kept the line silent for a while."""
    table = [(machine_s(r[0]), *r) for r in rows()]
    if moments is not None:
        wanted = {round(t * HZ) for t in moments}
        # Ends of the parts stay: what is integrated is the same stretch.
        wanted |= {0, DRIVE_S * HZ, (DRIVE_S + STAND_S) * HZ, (DRIVE_S + STAND_S + CHARGE_S) * HZ}
        table = [r for k, r in enumerate(table) if k in wanted]
    driving = [r for r in table if r[1] <= DRIVE_S + STAND_S]
    charging = [r for r in table if r[1] >= DRIVE_S + STAND_S and r[4] < 0]
    kwh = lambda part, sign=1: trapezoid((r[0], sign * r[3] * r[4]) for r in part) / 3.6e6
    return {"net_kwh": kwh(driving), "distance_km": trapezoid((r[0], r[2]) for r in driving) / 3600,
            "charge_kwh": kwh(charging, -1)}
