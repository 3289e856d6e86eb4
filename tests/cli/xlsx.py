#!/usr/bin/env python3
"""Spreadsheets of every table command, read by openpyxl and held to the CSV of the
same command: same rows, same keys, numbers to the last digit, moments to the
second, text that is never a formula.

    xlsx.py BIN
"""
import csv
import datetime
import io
import os
import pathlib
import re
import resource
import signal
import sys
import zoneinfo

import openpyxl

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402

ZONE = "Europe/London"
FORMULA = '=HYPERLINK("http://example.invalid")'


def table_commands(packmile):
    """Of those that the program itself offers with --format xlsx."""
    listed = run(packmile, "--help").stdout.decode().split("commands:")[1].split("options:")[0]
    names = re.findall(r"^  ([a-z]+(?: [a-z]+)?)  ", listed, re.M)
    options = {n: run(packmile, *n.split(), "--help").stdout.decode().split("options:")[1] for n in names}
    # A report is a workbook of all of them, and no table.
    return [n for n in names if "xlsx" in options[n] and "csv" in options[n]]


def csv_rows(text):
    table = list(csv.reader(io.StringIO(text)))
    return table[0], table[1:]


def compare(name, headings, rows, sheet):
    """Returns how many cells of each kind were compared."""
    seen = {"number": 0, "text": 0, "moment": 0, "day": 0, "money": 0}
    shown = [cell.value for cell in sheet[1]]
    assert all(cell.font.bold for cell in sheet[1]), name
    assert sheet.freeze_panes == "A2", (name, sheet.freeze_panes)
    assert sheet.max_row == len(rows) + 1, (name, sheet.max_row, len(rows))
    keys = [re.sub(r" \(.*\)$", "", heading) for heading in shown]
    assert len(set(keys)) == len(keys), (name, keys)
    for missing in set(headings) - set(keys):
        # Reasons alone may be left out, and only where there are none.
        assert missing.endswith("_why"), (name, missing)
        assert all(not row[headings.index(missing)] for row in rows), (name, missing)
    # Rows that come one by one have their reasons' columns at once, filled or not.
    streamed = name == "samples"
    order = [h for h in headings if h in keys]
    assert sorted(order) == sorted(keys) if streamed else order == keys, (name, "order")
    for k, key in enumerate(keys):
        if key.endswith("_why") and not streamed:
            assert any(row[headings.index(key)] for row in rows), (name, key, "has no reason in it")
    currency = {row[headings.index("currency")] for row in rows} if "currency" in headings else set()
    for r, row in enumerate(rows):
        for k, key in enumerate(keys):
            text, cell = row[headings.index(key)], sheet.cell(r + 2, k + 1)
            where = (name, r, key, text, cell.value)
            assert cell.data_type != "f", where
            if text == "":
                assert cell.value is None, where
            elif isinstance(cell.value, datetime.datetime) and len(text) == 10:
                # A day of the calendar, in no zone.
                assert cell.value == datetime.datetime.fromisoformat(text), where
                assert cell.number_format == "yyyy-mm-dd", where
                seen["day"] += 1
            elif isinstance(cell.value, datetime.datetime):
                assert shown[k] == f"{key} ({zone_of(text, shown[k])})", where
                told = datetime.datetime.fromisoformat(text)
                local = told.astimezone(zoneinfo.ZoneInfo(zone_of(text, shown[k])))
                off = abs(local.replace(tzinfo=None) - cell.value)
                assert off <= datetime.timedelta(milliseconds=1), where
                assert cell.number_format == "yyyy-mm-dd hh:mm:ss", where
                seen["moment"] += 1
            elif isinstance(cell.value, (int, float)):
                assert float(text) == cell.value or abs(float(text) / cell.value - 1) < 1e-15, where
                seen["number"] += 1
                if re.search(r"(^|_)(cost|price)(_|$)", key) and not key.endswith("_rank"):
                    assert "#,##0.00" in cell.number_format, where
                    for code in currency - {"XXX"}:
                        assert f"[${code}" in cell.number_format, where
                        assert shown[k] == f"{key} ({code})", where
                    seen["money"] += 1
            else:
                # CSV protects a formula by an apostrophe, a sheet by the cell's kind.
                plain = text[1:] if re.match(r"'[=+\-@\t\r]", text) else text
                assert cell.value == plain or plain.isascii() is False, where
                # What a note says stays as it was typed.
                assert key in ("v1", "v2", "v3") or not re.fullmatch(r"-?\d+\.\d+", text), where
                assert not re.match(r"\d{4}-\d\d-\d\d", text), where
                seen["text"] += 1
    return seen


def zone_of(text, heading):
    return re.search(r"\((.*)\)$", heading).group(1)


def no_room():
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))


def main():
    programs = Bin(sys.argv[1])
    packmile = programs.packmile
    with workspace() as folder:
        folder = pathlib.Path(folder)
        # Over the day on which the clocks change.
        run(programs.benchvan, "month", "--direct", "--out", folder / "m", "--vans", "2", "--days", "8",
            "--seed", "5", "--start", "2026-03-25")
        depot = folder / "depot"
        run(packmile, "new", depot, "--zone", ZONE, "--currency", "GBP")
        fleet = (folder / "m/fleet.toml").read_text()
        fleet = re.sub(r'^zone = .*$', f'zone = "{ZONE}"', fleet, flags=re.M)
        fleet = re.sub(r'^currency = .*$', 'currency = "GBP"', fleet, flags=re.M)
        van = re.search(r'name = "([^"]+)"', fleet).group(1)
        fleet += '\n[[part]]\nname = "cabin filter"\nlimit_months = 12\nfitted = 2025-10-01\nvans = ["' + van + '"]\n'
        (depot / "fleet.toml").write_text(fleet)
        cards = sorted((folder / "m").glob("*.log"))
        run(packmile, "import", *cards, "--depot", depot)
        run(packmile, "note", "--depot", depot, "--van", van, "--date", "2026-03-30", "receipt", "21.3", "9.37", FORMULA,
            "--remark", "+1-1")

        asked = {"check": cards, "signals": [], "samples": [*cards, "--signal", "ambient_c"], "note": ["--list", "--depot", depot]}
        commands = table_commands(packmile)
        assert {"trips", "sessions", "throughput", "capacity", "fade", "verdicts", "compare", "check",
                "signals", "note", "samples"} <= set(commands), commands
        total = {}
        for name in commands:
            words = [*name.split(), *asked.get(name, ["--depot", depot])]
            book = folder / "out.xlsx"
            for zone in ("Asia/Tokyo", "UTC"):
                os.environ["TZ"] = zone
                text = run(packmile, *words, "--format", "csv").stdout.decode()
                run(packmile, *words, "--format", "xlsx", "-o", book)
                opened = openpyxl.load_workbook(book)
                assert opened.sheetnames == [name], opened.sheetnames
                headings, rows = csv_rows(text)
                seen = compare(name, headings, rows, opened.worksheets[0])
            print(f"{name}: {len(rows)} rows, {seen}")
            for kind, count in seen.items():
                total[kind] = total.get(kind, 0) + count
            # Not onto standard output; nothing is left where it cannot be written.
            for extra in ([], ["-o", "-"]):
                refused = run(packmile, *words, "--format", "xlsx", *extra, status=2)
                assert b"-o FILE" in refused.stderr and not refused.stdout, refused
            away = folder / "no such folder" / "x.xlsx"
            refused = run(packmile, *words, "--format", "xlsx", "-o", away, status=1)
            assert str(away).encode() in refused.stderr and b"folder" in refused.stderr, refused
        assert total["moment"] > 20 and total["number"] > 500 and total["day"] >= 20, total

        # The hour that the clocks skip and the text that looks like a formula.
        run(packmile, "note", "--list", "--depot", depot, "--format", "xlsx", "-o", folder / "n.xlsx")
        cells = [c.value for row in openpyxl.load_workbook(folder / "n.xlsx").worksheets[0] for c in row]
        assert FORMULA in cells and "+1-1" in cells, cells
        # No room: an older file stays what it was, and nothing is left beside it.
        book = folder / "kept.xlsx"
        book.write_bytes(b"before")
        refused = run(packmile, "check", *cards, "--format", "xlsx", "-o", book, status=1,
                      preexec_fn=no_room)
        assert str(book).encode() in refused.stderr and b"cannot be written" in refused.stderr, refused
        assert book.read_bytes() == b"before"
        assert not [p for p in folder.iterdir() if ".xlsx." in p.name]



main()
