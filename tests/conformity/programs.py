"""Runs our programs for the checks in this folder, and nothing more: what the
checks compare with comes from elsewhere."""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

SKIP = 77  # what ctest takes as skipped (SKIP_RETURN_CODE)


def skip(reason):
    print("skipped: " + reason)
    sys.exit(SKIP)


def need(path, what):
    if not pathlib.Path(path).exists():
        skip(f"{what} is not here ({path})")
    return pathlib.Path(path)


def run(*command, status=0, **more):
    """Runs a command; anything but the expected status ends the check with what it said."""
    done = subprocess.run([str(c) for c in command], capture_output=True, **more)
    if done.returncode != status:
        sys.exit("%s\nexit %d, expected %d\n%s" % (
            " ".join(map(str, command)), done.returncode, status,
            done.stderr.decode(errors="replace")[-3000:]))
    return done


class Bin:
    """The folder of our programs."""

    def __init__(self, folder):
        folder = pathlib.Path(folder)
        self.packmile = folder / "packmile"
        self.benchvan = folder / "packmile-benchvan"
        # No machine's zone may leak into a figure.
        os.environ["TZ"] = "Asia/Tokyo"

    def drive(self, card, *arguments, **more):
        return run(self.benchvan, "drive", "--card", card, *arguments, **more)

    def rows(self, *arguments, **more):
        done = run(self.packmile, *arguments, "--format", "json", **more)
        document = json.loads(done.stdout)
        assert document["schema_version"] == 1 and document["command"] == arguments[0]
        return document["rows"]

    def depot(self, folder, *cards, status=0):
        depot = pathlib.Path(folder)
        run(self.packmile, "new", depot)
        for card in cards:
            run(self.packmile, "import", card, "--depot", depot, status=status)
        return depot


def write_charge_notes(path, truth):
    """What people write down of one van's charges, as notes: the depot's counter before
    and after each AC charge, a post's receipt for each DC one."""
    counter = 18_204.0
    with open(path, "w") as out:
        out.write("van,date,kind,v1,v2,v3,remark\n")
        for session in truth["sessions"]:
            if session["kind"] == "ac":
                after = counter + session["grid_kwh"]
                out.write(f"{truth['van']},{session['end']},meter,{counter:.1f},{after:.1f},,\n")
                counter = after
            else:
                out.write(f"{truth['van']},{session['end']},receipt,{session['grid_kwh']:.2f},"
                          f"{0.6 * session['grid_kwh']:.2f},Harbour Road,\n")


def workspace():
    return tempfile.TemporaryDirectory(prefix="packmile-check-")
