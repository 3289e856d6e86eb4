"""A made-up drive and a made-up charge as replay files: speed in waves, a pack that follows it."""
import math

HEADER = "time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n"


def write_drive(path, seconds=600, hz=10):
    with open(path, "w") as out:
        out.write(HEADER)
        for k in range(int(seconds * hz)):
            t = k / hz
            turn = 2 * math.pi * t / 60
            v = 30 - 30 * math.cos(turn)
            a = 30 / 3.6 * 2 * math.pi / 60 * math.sin(turn)
            i = 5 + 0.4 * v + 6 * a * v
            out.write(f"{t:.1f},{v:.2f},{370 - 0.09 * i:.3f},{i:.2f},{80 - t * 0.003:.3f},12\n")
    return path


def write_charge(path, seconds=1800):
    """A made-up charge of a standing van: up to 40 A in half a minute, level, and
    falling slowly over its last third; a pack of 160 Ah."""
    soc = 35.0
    with open(path, "w") as out:
        out.write(HEADER)
        for t in range(seconds):
            taper = max(0.0, t - 2 * seconds / 3) / (seconds / 3)
            i = -40 * min(1.0, t / 30) * (1 - 0.7 * taper)
            out.write(f"{t},0,{352 + 0.4 * (soc - 35) - 0.09 * i:.3f},{i:.3f},{soc:.4f},12\n")
            soc -= i / 3600 / 160 * 100
    return path
