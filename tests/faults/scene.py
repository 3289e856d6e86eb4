"""Cards, depots and what they hold, for the tests that break an import.

The archive is read here by the rule of host/archive/committed_files.hpp, written
down a second time: sizes in import.undo, where it stands, are what counts.
"""
import json
import math
import os
import shutil
import subprocess

SECTOR = 512
HEAD = 32


def write_drive(path, seconds=900, soc=80.0):
    """A replay of stop and go at 5 Hz."""
    with open(path, "w") as out:
        out.write("time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n")
        for k in range(seconds * 5):
            t = k * 0.2
            v = 30 - 30 * math.cos(t * 2 * math.pi / 60)
            a = 30 / 3.6 * 2 * math.pi / 60 * math.sin(t * 2 * math.pi / 60)
            amps = 5 + 0.4 * v + 6 * a * v
            out.write(f"{t:.1f},{v:.2f},{370 - 0.09 * amps:.3f},{amps:.2f},"
                      f"{soc - t * 0.003:.3f},12\n")


def write_charge(path, seconds=2400, soc=60.0):
    """A replay of charging at a steady 7 kW, once a second."""
    with open(path, "w") as out:
        out.write("time_s,speed_kmh,pack_v,pack_a,soc_pct,ambient_c\n")
        for t in range(seconds):
            out.write(f"{t},0,{360 + t * 0.002:.3f},-19.5,{soc + t * 0.0035:.3f},12\n")


class Programs:
    def __init__(self, packmile, benchvan, library=None):
        self.packmile, self.benchvan, self.library = packmile, benchvan, library

    def drive(self, card, replays, *more):
        command = [self.benchvan, "drive", "--card", card]
        for replay in replays:
            command += ["--replay", replay]
        subprocess.run(command + list(more), check=True, capture_output=True)

    def run(self, *arguments, faults=None):
        """One packmile; the exit code is negative when a signal ended it."""
        environment = dict(os.environ)
        if faults is not None:
            environment["LD_PRELOAD"] = self.library
            environment.update({key: str(value) for key, value in faults.items()})
        return subprocess.run([self.packmile, *arguments], env=environment, capture_output=True,
                              text=True, timeout=60)

    def rows(self, depot, commands=("trips", "sessions", "throughput")):
        """The rows of a depot as one text."""
        out = ""
        for command in commands:
            done = self.run(command, "--depot", depot, "--format", "json")
            assert done.returncode == 0, f"{command}: {done.returncode}\n{done.stderr}"
            json.loads(done.stdout)
            out += done.stdout
        return out

    def counted_calls(self, scratch, *arguments):
        count = os.path.join(scratch, "count")
        done = self.run(*arguments, faults={"FAULT_COUNT": count})
        assert done.returncode == 0, done.stderr
        with open(count) as text:
            calls = int(text.read())
        os.remove(count)
        assert calls > 0
        return calls, done


def committed_sizes(archive):
    """What counts, by path below the archive."""
    undo = os.path.join(archive, "import.undo")
    if os.path.exists(undo):
        with open(undo) as text:
            lines = text.read().splitlines()
        assert lines[0] == "packmile archive undo 1" and lines[-1] == "end", lines
        return {line.split(" ", 1)[1]: int(line.split(" ", 1)[0]) for line in lines[1:-1]}
    sizes = {}
    for folder, _, names in os.walk(archive):
        for name in names:
            if name.endswith((".sectors", ".csv")):
                path = os.path.join(folder, name)
                sizes[os.path.relpath(path, archive)] = os.path.getsize(path)
    return sizes


def archive_state(depot):
    """The sectors and lines that count: as a set, whatever their order."""
    archive = os.path.join(depot, "archive")
    out = set()
    for name, size in committed_sizes(archive).items():
        with open(os.path.join(archive, name), "rb") as file:
            content = file.read(size)
        assert len(content) == size, f"{name} is shorter than what counts"
        if name.endswith(".csv"):
            out.update((name, line) for line in content.splitlines())
        else:
            assert size % SECTOR == 0, f"{name} ends in a part of a sector"
            for at in range(0, size, SECTOR):
                sector = content[at:at + SECTOR]
                assert ("sector", sector) not in out, f"{name}: a sector twice"
                out.add(("sector", sector))
    return out


def archive_bytes(depot):
    """Every byte of every file of the archive that is not the lock."""
    archive = os.path.join(depot, "archive")
    out = {}
    for folder, folders, names in os.walk(archive):
        for name in folders:
            out[os.path.relpath(os.path.join(folder, name), archive)] = None
        for name in names:
            if name == ".lock":
                continue
            with open(os.path.join(folder, name), "rb") as file:
                out[os.path.relpath(os.path.join(folder, name), archive)] = file.read()
    return out


def copy_depot(source, target):
    shutil.rmtree(target, ignore_errors=True)
    shutil.copytree(source, target)
    return target
