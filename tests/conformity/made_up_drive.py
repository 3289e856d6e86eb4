"""A made-up drive as a replay file: speed in waves, a pack that follows it."""
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
