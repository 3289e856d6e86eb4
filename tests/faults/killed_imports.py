"""An import, a rebuild and a file of notes that are killed, or whose disk fails, at
every call that changes a file: old state or new state, never between, and the same
command again finishes it with the same bytes and rows.

  killed_imports.py PACKMILE BENCHVAN FAILING_CALLS_LIBRARY [--all]

Without --all every call fails in every other way (tests/long.sh has all).
"""
import errno
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile

from scene import Programs, archive_bytes, archive_state, copy_depot, write_drive

programs = Programs(*sys.argv[1:4])
EVERY_WAY = "--all" in sys.argv[4:]

# What is done to call N. A disk that is full goes on being full, or has room again
# for the next write because somebody deleted a file.
HOWS = {
    "killed before the call": {"FAULT_HOW": "kill"},
    "killed inside the call": {"FAULT_HOW": "part"},
    "power lost before the call": {"FAULT_HOW": "power"},
    "disk full once": {"FAULT_HOW": "once", "FAULT_ERRNO": errno.ENOSPC},
    "disk full from then on": {"FAULT_HOW": "on", "FAULT_ERRNO": errno.ENOSPC},
    "input/output error once": {"FAULT_HOW": "once", "FAULT_ERRNO": errno.EIO},
}
# Sums of trips, sessions and stands: what differs there differs here.
FAST_ROWS = ("throughput",)


def notes_text(depot):
    """notes.csv without its last column, the time of entering."""
    if not os.path.exists(os.path.join(depot, "notes.csv")):
        return ["there is none"]
    with open(os.path.join(depot, "notes.csv")) as text:
        return [line.rsplit(",", 1)[0] if line.startswith("linden,") else line for line in text]


class Scene:
    """A depot before and after one command."""

    def __init__(self, name, before, arguments, work, hows=tuple(HOWS)):
        self.name, self.before, self.arguments, self.hows = name, before, arguments, hows
        self.after = os.path.join(work, "after-" + name.replace(" ", "-"))
        copy_depot(before, self.after)
        self.calls, _ = programs.counted_calls(work, *arguments, "--depot", self.after)
        self.old, self.new = archive_state(before), archive_state(self.after)
        self.old_notes, self.new_notes = notes_text(before), notes_text(self.after)
        self.new_bytes = archive_bytes(self.after)
        self.old_rows, self.new_rows = programs.rows(before), programs.rows(self.after)
        self.old_fast = programs.rows(before, FAST_ROWS)
        self.new_fast = programs.rows(self.after, FAST_ROWS)


def check(scene, how, call, depot):
    """None, or what is wrong."""
    copy_depot(scene.before, depot)
    done = programs.run(*scene.arguments, "--depot", depot,
                        faults={"FAULT_AT": call, **HOWS[how]})
    killed = done.returncode == -signal.SIGKILL
    if killed != (HOWS[how]["FAULT_HOW"] in ("kill", "part", "power")):
        return f"exit {done.returncode}: {done.stderr}"
    if not killed and done.returncode not in (0, 1):
        return f"exit {done.returncode}: {done.stderr}"
    if done.returncode == 1 and "packmile: " not in done.stderr:
        return "no message"
    archive = archive_state(depot)
    if archive not in (scene.old, scene.new):
        return f"the archive is between: {len(archive)} sectors and lines"
    if done.returncode == 0 and archive != scene.new:
        return "exit 0 and not all is there"
    notes = notes_text(depot)
    if notes not in (scene.old_notes, scene.new_notes):
        return f"notes.csv is between: {notes!r}"
    if done.returncode == 0 and notes != scene.new_notes:
        return "exit 0 and not all notes are there"
    # What any next command says, before anything is repaired by hand.
    fast = programs.rows(depot, FAST_ROWS)
    if archive == scene.old and scene.old != scene.new and fast != scene.old_fast:
        return "the old archive, and other rows than the old ones"
    if archive == scene.new and fast != scene.new_fast:
        return "the new archive, and other rows than the new ones"
    again = programs.run(*scene.arguments, "--depot", depot)
    if again.returncode != 0:
        return f"again: exit {again.returncode}: {again.stderr}"
    if archive_bytes(depot) != scene.new_bytes:
        return "again: other bytes than an import that nothing happened to"
    if notes_text(depot) != scene.new_notes:
        return "again: other notes than those of a command that nothing happened to"
    if call % 16 == 1 and programs.rows(depot) != scene.new_rows:
        return "again: other rows"
    return None


def check_share(job):
    scene, share, shares, work = job
    depot = os.path.join(work, f"depot-{share}")
    wrong, done = [], 0
    cases = [(how, call) for way, how in enumerate(scene.hows)
             for call in range(1, scene.calls + 1) if EVERY_WAY or (way + call) % 2 == 0]
    for how, call in cases[share::shares]:
        try:
            problem = check(scene, how, call, depot)
        except AssertionError as error:
            problem = str(error)
        done += 1
        if problem:
            wrong.append(f"{scene.name}, call {call} of {scene.calls}, {how}: {problem}")
    shutil.rmtree(depot, ignore_errors=True)
    return done, wrong


def make_scenes(work):
    path = lambda name: os.path.join(work, name)
    write_drive(path("drive.csv"))
    programs.drive(path("card.log"), [path("drive.csv")], "--vin", "1M8GDM9AXKP042788")
    shutil.copy(path("card.log"), path("first.log"))
    programs.drive(path("card.log"), [path("drive.csv")], "--vin", "1M8GDM9AXKP042788",
                   "--start", "2026-01-07T06:00:00Z", "--odometer-km", "40100")
    made = programs.run("new", path("empty"), "--zone", "Europe/London")
    assert made.returncode == 0, made.stderr
    copy_depot(path("empty"), path("one"))
    first = programs.run("import", path("first.log"), "--depot", path("one"))
    assert first.returncode == 0, first.stderr
    pulled = ["--pulled-at", "2026-01-31T17:00:00Z"]
    yield Scene("first import", path("empty"), ["import", path("card.log"), *pulled], work,
                ("killed before the call", "power lost before the call", "disk full from then on"))
    yield Scene("second import", path("one"), ["import", path("card.log"), *pulled], work)
    yield Scene("rebuild", path("one"), ["rebuild"], work,
                ("killed before the call", "killed inside the call", "disk full once"))
    with open(path("notes.csv"), "w") as notes:
        notes.write("van,date,kind,v1,v2,v3,remark\n")
        notes.writelines(f"linden,2026-01-{day:02},odometer,{40000 + day * 50},,,\n"
                         for day in range(10, 20))
    yield Scene("file of notes", path("one"), ["note", "--from", path("notes.csv")], work)


def main():
    # In memory where there is room: every case copies a depot.
    place = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    work = tempfile.mkdtemp(prefix="packmile-faults-", dir=place)
    try:
        cases, wrong = 0, []
        shares = min(4, max(2, os.cpu_count() or 2))
        with multiprocessing.Pool(shares) as pool:
            for scene in make_scenes(work):
                jobs = [(scene, share, shares, work) for share in range(shares)]
                for done, problems in pool.imap(check_share, jobs):
                    cases += done
                    wrong += problems
                print(f"{scene.name}: {scene.calls} calls, {len(scene.hows)} ways each", flush=True)
        for problem in wrong[:20]:
            print("FAILED:", problem)
        print(f"{cases} cases, {len(wrong)} left a state between or could not be finished")
        return 1 if wrong or cases == 0 else 0
    finally:
        shutil.rmtree(work, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
