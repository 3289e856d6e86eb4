#!/usr/bin/python3
"""The report as a program writes it: structure, escaping, no script needed, the same
whatever the machine's zone, the spreadsheet, the buyer's page, and a depot that moves.

  report.py BIN_DIR
"""
import hashlib
import html.parser
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys

import openpyxl

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "conformity"))
from programs import Bin, run, workspace  # noqa: E402

# Elements that HTML never closes.
LONE = {"meta", "input", "br", "hr", "link", "img"}
HOSTILE = "<script>alert(1)</script>"
MOST_BYTES = 3 * 1024 * 1024
TABLES = ["trips", "sessions", "throughput", "cost", "upkeep", "compare", "verdicts", "capacity", "fade"]


class Page(html.parser.HTMLParser):
    """Elements with their attributes and texts; complains about what is not nested."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.elements, self.complaints = [], [], []
        self.feed(text)
        self.close()
        assert not self.open, f"never closed: {[e['tag'] for e in self.open]}"

    def handle_starttag(self, tag, attributes):
        element = {"tag": tag, "attributes": dict(attributes), "text": "",
                   "inside": [e["tag"] for e in self.open], "parents": list(self.open)}
        self.elements.append(element)
        if tag not in LONE:
            self.open.append(element)

    def handle_endtag(self, tag):
        if not self.open or self.open[-1]["tag"] != tag:
            self.complaints.append(f"</{tag}> closes {[e['tag'] for e in self.open][-1:]}")
        else:
            self.open.pop()

    def handle_data(self, data):
        for element in self.open:
            element["text"] += data

    def all(self, tag, **attributes):
        wanted = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
        return [e for e in self.elements if e["tag"] == tag
                and all(e["attributes"].get(name) == value for name, value in wanted.items())]


def numbers_in(text):
    return re.findall(r"\d[\d,.]*", text)


def check_structure(text, vans):
    page = Page(text)
    assert not page.complaints, page.complaints[:5]
    assert text.startswith("<!DOCTYPE html>")
    assert page.all("html")[0]["attributes"] == {"lang": "en"}
    policy = [m for m in page.all("meta") if m["attributes"].get("http-equiv") == "Content-Security-Policy"]
    assert len(policy) == 1 and policy[0]["attributes"]["content"].startswith("default-src 'none'")
    assert len(page.all("main", id="page")) == 1
    first = page.all("section", id="page-one")
    assert len(first) == 1 and first[0]["attributes"]["class"] == "sheet"
    sections = [s for s in page.all("section") if "van" in s["attributes"]["class"].split()]
    assert [s["attributes"]["data-van"] for s in sections] == vans
    assert [s["attributes"]["id"] for s in sections] == [f"van-{k + 1}" for k in range(len(vans))]
    rows = [r for r in page.all("tr") if "data-van" in r["attributes"] and "tbody" in r["inside"]
            and any(p["attributes"].get("class") == "vans" for p in r["parents"])]
    assert [r["attributes"]["data-van"] for r in rows] == vans

    # Nothing is fetched, and no script but the page's own.
    for element in page.elements:
        for name, value in element["attributes"].items():
            assert name not in ("src", "onload", "onclick", "onerror"), (element["tag"], name)
            assert not (name == "href" and not value.startswith("#")), value
    scripts = page.all("script")
    assert len(scripts) in (0, 2), len(scripts)

    # Without scripts: every chart has its sentence and its table, with the same numbers.
    figures = page.all("figure")
    charts = json.loads(scripts[0]["text"]) if scripts else {}
    keys = [f["attributes"]["data-chart"] for f in figures if "data-chart" in f["attributes"]]
    assert len(set(keys)) == len(keys)
    if scripts:
        assert sorted(keys) == sorted(charts), set(keys) ^ set(charts)
    for figure in figures:
        inside = [e for e in page.elements if figure in e["parents"]]
        captions = [e for e in inside if e["tag"] == "figcaption"]
        assert len(captions) == 1 and captions[0]["text"].strip().endswith((".", "?")), figure["attributes"]
        tables = [e for e in inside if e["tag"] == "table"]
        assert len(tables) == 1
        heads = [e for e in inside if e["tag"] == "th" and e["attributes"].get("scope") == "col"]
        lines = [e for e in inside if e["tag"] == "tr" and "tbody" in e["inside"]]
        assert heads and lines
        for line in lines:
            cells = [e for e in inside if e["tag"] in ("td", "th") and e["parents"][-1] is line]
            assert len(cells) == len(heads), (figure["attributes"], len(cells), len(heads))
        plots = [e for e in inside if e["attributes"].get("class") == "plot"]
        assert all("hidden" in e["attributes"] for e in plots)
        chart = charts.get(figure["attributes"].get("data-chart"))
        if not chart:
            continue
        assert chart["kind"] in ("ranges", "bars", "days") and chart["says"] and chart["points"]
        assert chart["x"]["type"] in ("time", "number", "category")
        for point in chart["points"]:
            assert isinstance(point["y"], (int, float))
            if "low" in point and "high" in point:
                assert point["low"] <= point["y"] <= point["high"], (figure["attributes"], point)
            if chart["x"]["type"] == "time":
                assert re.fullmatch(r"\d{4}-\d{2}(-\d{2})?", point["x"]), point
    return page


def main():
    programs = Bin(sys.argv[1])  # under TZ=Asia/Tokyo
    in_utc = {**os.environ, "TZ": "UTC"}
    with workspace() as folder:
        folder = pathlib.Path(folder)
        cards, depot = folder / "cards", folder / "depot"
        run(programs.benchvan, "firm", "--out", cards, "--cards-before", "1", "--days", "2", "--seed", "5")
        run(programs.packmile, "new", depot, "--zone", "Europe/London", "--currency", "GBP")
        toml = (cards / "fleet.toml").read_text().replace('"willow"', f'"{HOSTILE}"')
        (depot / "fleet.toml").write_text(toml)
        notes = (cards / "notes.csv").read_text().replace("\nwillow,", f"\n{HOSTILE},")
        (folder / "notes.csv").write_text(notes)
        run(programs.packmile, "import", *sorted(cards.glob("*.log")), "--depot", depot)
        run(programs.packmile, "note", "--from", folder / "notes.csv", "--depot", depot)

        page = folder / "report.html"
        said = run(programs.packmile, "report", "--depot", depot, "-o", page).stderr.decode()
        text = page.read_text()
        vans = sorted([HOSTILE, "alder", "aspen", "hazel", "rowan"])
        parsed = check_structure(text, vans)
        # A van of that name is text wherever it stands.
        assert HOSTILE not in text and "alert(1)" in text
        assert any(HOSTILE in h["text"] for h in parsed.all("h2"))
        assert len(text) < MOST_BYTES, len(text)
        print(f"five vans, {len(text) / 1e3:.0f} kB: {said.strip()}")

        run(programs.packmile, "report", "--depot", depot, "-o", folder / "utc.html", env=in_utc)
        assert (folder / "utc.html").read_bytes() == page.read_bytes(), "the machine's zone is in the page"

        # Kilometres: the same page in other units, and no mile in a sentence of ours.
        run(programs.packmile, "report", "--depot", depot, "--units", "km", "-o", folder / "km.html")
        km = check_structure((folder / "km.html").read_text(), vans)
        for finding in km.all("figcaption"):
            assert "mile" not in finding["text"], finding["text"]

        # A day that comes before all data, and one that is none.
        run(programs.packmile, "report", "--depot", depot, "-o", folder / "old.html", "--as-of", "2020-01-01")
        check_structure((folder / "old.html").read_text(), vans)
        run(programs.packmile, "report", "--depot", depot, "-o", folder / "x.html", "--as-of", "yesterday", status=2)
        for wrong in (["-o", "-"], [], ["--for-buyer", "-o", folder / "x.html"], ["--van", "alder", "-o", folder / "x.html"],
                      ["--for-buyer", "--van", "nobody", "-o", folder / "x.html"],
                      ["--for-buyer", "--van", "alder", "--format", "xlsx", "-o", folder / "x.xlsx"]):
            run(programs.packmile, "report", "--depot", depot, *wrong, status=2)
        assert not (folder / "x.html").exists() and not (folder / "x.xlsx").exists()

        # The workbook has one sheet a table, as the commands write them.
        book_file = folder / "report.xlsx"
        run(programs.packmile, "report", "--depot", depot, "--format", "xlsx", "-o", book_file)
        book = openpyxl.load_workbook(book_file, read_only=True)
        assert book.sheetnames == TABLES, book.sheetnames
        for table in TABLES:
            run(programs.packmile, table, "--depot", depot, "--format", "xlsx", "-o", folder / f"{table}.xlsx")
            alone = openpyxl.load_workbook(folder / f"{table}.xlsx", read_only=True).active
            ours = list(book[table].iter_rows(values_only=True))
            theirs = list(alone.iter_rows(values_only=True))
            assert ours == theirs, (table, len(ours), len(theirs))

        check_buyer(programs, depot, folder)
        check_move(programs, depot, folder)


def check_buyer(programs, depot, folder):
    page = folder / "buyer.html"
    run(programs.packmile, "report", "--depot", depot, "--for-buyer", "--van", HOSTILE, "-o", page)
    text = page.read_text()
    parsed = Page(text)
    assert not parsed.complaints, parsed.complaints[:3]
    shown = "".join(e["text"] for e in parsed.all("main"))
    assert "Measured by the seller's own logger; not a certified value" in shown
    for place in ("Yard", "Market Row"):
        assert place not in shown, place
    assert not re.search(r"\b\d{1,2}:\d{2}\b", shown), re.search(r".{30}\b\d{1,2}:\d{2}\b", shown)
    for other in ("alder", "aspen", "hazel", "rowan"):
        assert other not in shown, other
    assert not re.search("certificate|state of health", shown.lower())
    # The digests are those of sha256sum, and the command on the page runs.
    files = re.findall(r"(log-[0-9A-F]{8}/van-[0-9A-F]{8}\.sectors)\s*\d+\s*([0-9a-f]{64})", shown)
    assert files
    lines = ""
    for name, digest in files:
        assert hashlib.sha256((depot / "archive" / name).read_bytes()).hexdigest() == digest, name
        lines += f"{digest}  {name}\n"
    assert hashlib.sha256(lines.encode()).hexdigest() in shown
    command = parsed.all("pre")[0]["text"].splitlines()
    told = subprocess.run(["bash", "-c", command[0]], cwd=depot, capture_output=True, text=True, check=True)
    assert told.stdout == lines, told.stdout
    env = {**os.environ, "PATH": f"{programs.packmile.parent}:{os.environ['PATH']}"}
    subprocess.run(["bash", "-ec", "\n".join(command[1:])], cwd=depot, env=env, capture_output=True, check=True)


def check_move(programs, depot, folder):
    """archive/, notes.csv and fleet.toml are all there is: elsewhere every table is made
    again, byte by byte."""
    before = {table: run(programs.packmile, table, "--depot", depot, "--format", "csv").stdout for table in TABLES}
    moved = folder / "elsewhere"
    moved.mkdir()
    for name in ("archive", "notes.csv", "fleet.toml"):
        shutil.move(depot / name, moved / name)
    run(programs.packmile, "rebuild", "--depot", moved)
    for table in TABLES:
        after = run(programs.packmile, table, "--depot", moved, "--format", "csv").stdout
        assert after == before[table], table
        assert after.count(b"\n") > 1, table
    print(f"moved to an empty folder: {len(TABLES)} tables are the same, byte by byte")


if __name__ == "__main__":
    main()
