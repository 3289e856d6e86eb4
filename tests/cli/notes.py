#!/usr/bin/python3
"""Notes as people type them: answers, refusals with their place, files of notes
that are taken whole or not at all, and notes.csv as pandas reads it.

  notes.py PACKMILE PACKMILE_BENCHVAN
"""
import datetime
import html.parser
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile

import pandas

packmile = os.path.abspath(sys.argv[1])
benchvan = os.path.abspath(sys.argv[2])
failures = 0


def expect(good, what, done=None):
    global failures
    if good:
        return
    failures += 1
    print("FAILED:", what)
    if done is not None:
        print(f"   exit {done.returncode}\n   out: {done.stdout}\n   err: {done.stderr}")


def run(code, *arguments, depot="depot", says=(), says_err=(), stdin=None):
    done = subprocess.run([packmile, *arguments, "--depot", depot], capture_output=True, text=True,
                          input=stdin, timeout=60, env={**os.environ, "TZ": "Asia/Tokyo"})
    what = " ".join(arguments)
    expect(done.returncode == code, f"exit {done.returncode} instead of {code}: {what}", done)
    for words in says:
        expect(words in done.stdout, f"{what}: stdout does not say {words!r}", done)
    for words in says_err:
        expect(words in done.stderr, f"{what}: stderr does not say {words!r}", done)
    return done


def note(code, van, date, *words, **more):
    return run(code, "note", "--van", van, "--date", date, *words, **more)


def content(path="depot/notes.csv"):
    with open(path, "rb") as file:
        return file.read()


def write(path, text):
    with open(path, "w", newline="") as file:
        file.write(text)


HEADER = "van,date,kind,v1,v2,v3,remark\n"


def new_depot(name="depot"):
    shutil.rmtree(name, ignore_errors=True)
    made = subprocess.run([packmile, "new", name, "--zone", "Europe/London", "--currency", "GBP"],
                          capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    with open(f"{name}/fleet.toml", "a") as file:
        file.write('[[van]]\nname = "Linden"\nvin = "1M8GDM9AXKP042788"\n'
                   'expectation = [ { at_miles = 150000, percent = 90 } ]\n'
                   '[[van]]\nname = "Cedar"\n')


def arguments():
    new_depot()
    expect(content() == HEADER.encode(), "a new depot's notes.csv has another first line")
    note(0, "Linden", "2026-03-02", "odometer", "24850mi",
         says=["note 1: Linden, odometer 24850 mi on 2026-03-02: the first reading"])
    note(0, "1M8GDM9AXKP042788", "2026-03-09", "odometer", "25350mi",
         says=["note 2: Linden", "500 miles in 7 days", "71 miles a day"])
    before = content()
    note(0, "Linden", "2026-03-09", "odometer", "25350mi", says=["there already, not entered again"])
    note(2, "Linden", "2026-03-09", "odometer", "25360mi", says_err=["--replaces 2"])
    note(2, "Linden", "2026-03-16", "odometer", "25000mi",
         says_err=["25000 mi on 2026-03-16 is lower than the earlier 25350 mi on 2026-03-09"])
    note(2, "Lindn", "2026-03-16", "odometer", "26000mi",
         says_err=["packmile: --van:", "did you mean 'Linden'?"])
    note(2, "Linden", "2026-02-30", "odometer", "26000mi", says_err=["packmile: --date:"])
    note(2, "Linden", "2009-03-16", "odometer", "1", says_err=["before 2010-01-01"])
    note(2, "Linden", "2026-10-25T01:30", "odometer", "26000mi",
         says_err=["was twice in Europe/London", "2026-10-25T01:30+00:00"])
    note(2, "Linden", "2026-03-16", "odometr", "1", says_err=["did you mean 'odometer'?"])
    note(2, "Linden", "2026-03-16", "receipt", "21,3", "9", "Mill", says_err=["behind a point"])
    note(2, "Linden", "2026-03-16", "meter", "5", "4", says_err=["BEFORE comes first"])
    note(2, "Linden", "2026-03-16", "odometer", "1", "--replaces", "77", says_err=["no note 77"])
    run(2, "note", says_err=["needs a KIND"])
    run(2, "note", "odometer", "1", says_err=["needs --van"])
    run(2, "note", "--van", "Linden", "odometer", "1", says_err=["needs --date"])
    run(2, "note", "--list", "--from", "x.csv", says_err=["do not go together"])
    run(1, "note", "--from", "nowhere.csv", says_err=["nowhere.csv: there is no such file"])
    expect(content() == before, "something refused or known changed notes.csv")
    note(0, "Linden", "2026-03-09", "odometer", "25360mi", "--replaces", "2", "--remark",
         'said "so", twice', says=["in place of note 2"])
    expect(content().startswith(before), "a correction changed bytes that were there")
    note(0, "Hawthorn", "2026-03-09", "odometer", "5", says=["note 4: Hawthorn"],
         says_err=["taken for a new van", '[[van]]\nname = "Hawthorn"'])
    note(0, "Linden", "2026-03-16", "receipt", "21.3", "9.37", "Corn Exchange",
         says=["0.440 GBP per kWh"])
    note(0, "Linden", "2026-03-16", "meter", "1200", "1242.5", says=["42.5 kWh between"])
    note(0, "Linden", "2026-03-17", "withdrawn", "--replaces", "5", says=["takes back note 5"])
    run(0, "note", "--list", says=["25360 mi", "replaces 2", "no longer holds: see 3", "7 notes"])
    run(0, "note", "--list", "--van", "Hawthorn", says=["1 note\n"])
    run(2, "note", "--list", "--van", "Hawthron", says_err=["did you mean 'Hawthorn'?"])
    run(0, "rebuild", says=["0 vans, 7 notes"])
    with sqlite3.connect("depot/depot.db") as db:
        rows = db.execute("SELECT id,van,kind,v1,number1,replaced_by FROM note ORDER BY id").fetchall()
    expect(rows[0] == (1, "Linden", "odometer", "24850mi", 24850 * 1.609344, None), rows[0])
    expect(rows[1][5] == 3 and rows[4][5] == 7, "the ledger does not say which notes were replaced")
    # The ledger may be deleted; what is typed into the file by hand is in the next one.
    os.remove("depot/depot.db")
    with open("depot/notes.csv", "a") as file:
        file.write("Cedar,2026-03-18,odometer,100\n")
    run(0, "rebuild", says=["8 notes"])


def files():
    new_depot()
    lines = ("Linden,2026-03-02,odometer,24850mi,,,\r\n"
             'Linden,2026-03-02,receipt,21.3,9.37,"Corn Exchange, north",\r\n'
             "Linden,2026-03-03T18:30,meter,1200,1242.5,,by torch\r\n")
    write("march.csv", "\ufeff" + HEADER.replace("\n", "\r\n") + lines)
    run(0, "note", "--from", "march.csv", says=["entered 3 notes\n"])
    before = content()
    run(0, "note", "--from", "march.csv", says=["entered 0 notes; 3 were there already"])
    expect(content() == before, "a file entered twice changed notes.csv")
    # Columns by name, in any order; a part of a file that is known.
    write("april.csv", "kind,v1,van,date\nodometer,24850mi,Linden,2026-03-02\n"
                       "odometer,24900mi,Linden,2026-04-01\n")
    run(0, "note", "--from", "april.csv", says=["entered 1 note; 1 was there already"])
    before = content()
    # One bad line stops its file, and that file alone.
    write("bad.csv", HEADER + "Linden,2026-05-01,odometer,25000mi,,,\n"
                              "Linden,2026-05-08,odometer,24000mi,,,\n"
                              "Linden,2026-05-09,odometer,,,,\nLindne,2026-05-09,odometer,9,,,\n")
    run(2, "note", "--from", "bad.csv",
        says_err=["bad.csv:3:28: the reading 24000 mi on 2026-05-08 is lower",
                  "bad.csv:4:28: odometer: READING is missing",
                  "bad.csv:5:1: neither fleet.toml nor the archive knows the van 'Lindne'",
                  "bad.csv: nothing was entered"])
    expect(content() == before, "a file with a bad line was entered in part")
    write("good.csv", HEADER + "Linden,2026-06-01,odometer,26000mi,,,\n")
    run(2, "note", "--from", "bad.csv", "--from", "good.csv", says=["good.csv: entered 1 note\n"])
    run(0, "note", "--from", "-", stdin=HEADER + "Cedar,2026-06-01,odometer,5,,,\n",
        says=["standard input: entered 1 note"])
    write("new.csv", HEADER + "Hawthorn,2026-06-01,odometer,5,,,\nHawthorn,2026-06-02,odometer,6,,,\n")
    new = run(0, "note", "--from", "new.csv", says_err=["note 7: Hawthorn is taken for a new van"])
    expect("note 8" not in new.stderr, "a new van is said twice", new)
    write("semicolons.csv", HEADER.replace(",", ";"))
    run(2, "note", "--from", "semicolons.csv", says_err=["semicolons.csv:1:1: ", "commas"])
    # Another depot's notes.csv has numbers of its own.
    note(0, "Cedar", "2026-06-02", "odometer", "7")
    note(0, "Cedar", "2026-06-02", "odometer", "8", "--replaces", "9")
    new_depot("other")
    run(0, "note", "--van", "Cedar", "--date", "2026-01-01", "odometer", "1", depot="other")
    run(0, "note", "--from", "depot/notes.csv", depot="other", says=["entered 10 notes"])
    run(0, "note", "--from", "depot/notes.csv", depot="other", says=["10 were there already"])
    run(0, "note", "--list", depot="other", says=["replaces 10"])


EVERY_KIND = """Linden,2026-03-02,odometer,24850mi,,,
Linden,2026-03-02,tread,fl,6.0,0.5,
Linden,2026-03-02,tread,fr,5.8,,
Linden,2026-03-02,pad,front,8.5,,
Linden,2026-03-02,job,tyres,460.00,1.5,both in front
Linden,2026-03-02,job,wiper,12,,
Linden,2026-03-02,fluid,brake fluid,,,
Linden,2026-03-03,tyre_moved,fl,rl,,
Linden,2026-03-03,tyre_moved,rl,fl,,
Linden,2026-03-04,off_road,2.5,180,,
Linden,2026-03-10,off_road,1,,,
Linden,2026-03-20,valuation,9500,,,
Linden,2026-03-31,sold,9000,,,
"""

# Of each kind what cannot be: the line, its column, and what is said is allowed.
WRONG = [
    ("Linden,2026-04-01,tread,fx,5,,", "25: tread: WHEEL 'fx' is not known", "one of: fl, fr, rl, rr"),
    ("Linden,2026-04-01,tread,FL,5,,", "25: tread: WHEEL 'FL' is not known", "one of: fl, fr, rl, rr"),
    ("Linden,2026-04-01,tread,fl,,,", "28: tread: MM is missing", "from 0 to 25 mm"),
    ("Linden,2026-04-01,tread,fl,5in,,", "28: tread: MM '5in' cannot be read", "from 0 to 25 mm"),
    ("Linden,2026-04-01,tread,fl,5,0,", "30: tread: GAUGE_MM 0 is out of range", "above 0 to 5 mm"),
    ("Linden,2026-04-01,pad,left,5,,", "23: pad: AXLE 'left' is not known", "one of: front, rear"),
    ("Linden,2026-04-01,pad,front,41,,", "29: pad: MM 41 is out of range", "from 0 to 40 mm"),
    ("Linden,2026-04-01,job,,5,,", "23: job: PART is missing", "a word or a few"),
    ("Linden,2026-04-01,job,wiper,-5,,", "29: job: SUM '-5' cannot be read", "the depot's currency"),
    ("Linden,2026-04-01,job,wiper,5,1h30,", "31: job: HOURS '1h30' cannot be read", "0 to 1000 hours"),
    ("Linden,2026-04-01,fluid,,,,", "25: fluid: NAME is missing", "a word or a few"),
    ("Linden,2026-04-01,fluid,oil,2,,", "29: '2' is one value too many", "write: fluid NAME"),
    ("Linden,2026-04-01,tyre_moved,fl,fl,,", "33: the tyre cannot move from fl to fl",
     "two different ones of: fl, fr, rl, rr"),
    ("Linden,2026-04-01,tyre_moved,fl,new,,", "33: tyre_moved: TO 'new' is not known",
     "one of: fl, fr, rl, rr"),
    ("Linden,2026-04-01,off_road,0,,,", "28: off_road: DAYS 0 is out of range", "above 0 to 1000 days"),
    ("Linden,2026-04-01,valuation,9500 GBP,,,", "29: valuation: SUM '9500 GBP' cannot be read",
     "without its sign"),
    ("Linden,2026-04-01,sold,,,,", "24: sold: SUM is missing", "write: sold SUM"),
    ("Linden,2026-04-01,trade,5,,,", "19: there is no kind of note 'trade'", "one of: odometer, "),
]


def every_kind():
    new_depot()
    write("all.csv", HEADER + EVERY_KIND)
    count = EVERY_KIND.count("\n")
    run(0, "note", "--from", "-", stdin=HEADER + EVERY_KIND,
        says=[f"standard input: entered {count} notes\n", "tread fl 6.0 mm 0.5 mm", "72.00 GBP a day"])
    before = content()
    run(0, "note", "--from", "all.csv", says=[f"entered 0 notes; {count} were there already"])
    expect(content() == before, "notes of every kind entered twice changed notes.csv")
    # One bad line among good ones: all of its file stays out, and the place is said.
    good = "Cedar,2026-04-01,odometer,{},,,\n"
    for k, (line, what, allowed) in enumerate(WRONG):
        write("bad.csv", HEADER + good.format(k) + line + "\n" + good.format(k + 1))
        run(2, "note", "--from", "bad.csv",
            says_err=[f"bad.csv:3:{what}", allowed, "bad.csv: nothing was entered"])
    expect(content() == before, "a file with a bad line was entered in part")
    # A correction of each kind, which another one of the same values then knows.
    lines = EVERY_KIND.splitlines()
    for k, line in enumerate(lines):
        van, date, kind, *values = line.split(",")[:6]
        number = next(j for j in range(3) if any(c.isdigit() for c in values[j])) \
            if kind not in ("fluid", "tyre_moved") else None
        if number is None:
            continue
        values[number] = {"24850mi": "24851mi"}.get(values[number], values[number] + "1"
                                                    if "." in values[number] else values[number] + ".5")
        note(0, van, date, kind, *[v for v in values if v], "--replaces", str(k + 1),
             says=[f"in place of note {k + 1}"])
    run(0, "rebuild", says=[f"0 vans, {count + 10} notes"])
    with sqlite3.connect("depot/depot.db") as db:
        held = db.execute("SELECT kind,v1,v2,v3 FROM note WHERE replaced_by IS NULL AND kind='tread' "
                          "ORDER BY id").fetchall()
    expect(held == [("tread", "fl", "6.01", "0.5"), ("tread", "fr", "5.81", None)], held)


class Page(html.parser.HTMLParser):
    """The rows of the form's tables, and every tag that is left open."""
    VOID = {"meta", "col", "br"}

    def __init__(self):
        super().__init__()
        self.open, self.rows, self.faults, self.sections = [], [], [], 0

    def handle_starttag(self, tag, attrs):
        if tag not in self.VOID:
            self.open.append(tag)
        self.sections += tag == "section"
        if tag == "tr":
            self.rows.append("")
        for name, value in attrs:
            if name in ("src", "href") or name.startswith("on"):
                self.faults.append(f"{tag} {name}={value}")

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> closes nothing")

    def handle_data(self, data):
        if "tr" in self.open:
            self.rows[-1] += data.strip() + " "


def sheet():
    new_depot()
    with open("depot/fleet.toml", "a") as file:
        for name in ("Hazel", "Rowan", "Birch", "Maple", "Alder", "<b>Aspen</b> & co"):
            file.write(f'[[van]]\nname = "{name}"\n')
    write("all.csv", HEADER + EVERY_KIND.replace("Linden,2026-03-31,sold,9000,,,\n", ""))
    run(0, "note", "--from", "all.csv")
    text = run(0, "sheet", says=["Linden ---", "24850 mi 2026-03-02", "8.5 mm 2026-03-02",
                                 "axle stands", "Orange", "local codes"]).stdout
    expect(text.count("\n") <= 64 and "\f" not in text, f"eight vans take {text.count(chr(10))} lines")
    expect(max(map(len, text.splitlines())) <= 80, "a line is wider than the page")
    run(0, "sheet", "--format", "html", "-o", "sheet.html")
    page = Page()
    page.feed(content("sheet.html").decode())
    expect(not page.open and not page.faults, f"HTML: {page.open} {page.faults}")
    expect(page.sections == 1 and len(page.rows) == 9, f"HTML: {page.sections}, {len(page.rows)} rows")
    expect(any("<b>Aspen</b> & co" in row for row in page.rows), "HTML: a van's name is lost")
    linden = [row for row in page.rows if row.startswith("Linden")][0]
    for words in ("24850 mi 2026-03-02", "5.8 mm 2026-03-02", "8.5 mm", "brake fluid 2026-03-02"):
        expect(words in linden, f"HTML: {words!r} is not in {linden!r}")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium:
        subprocess.run([chromium, "--headless", "--no-sandbox", "--disable-gpu",
                        "--print-to-pdf=sheet.pdf", "file://" + os.path.abspath("sheet.html")],
                       capture_output=True, timeout=120, check=True)
        pages = len(re.findall(rb"/Type\s*/Page[^s]", content("sheet.pdf")))
        expect(pages == 1, f"eight vans take {pages} printed pages")
    else:
        print("no chromium: the HTML form is not printed here, its text twin is counted instead")

    run(0, "sheet", "--format", "csv", "-o", "sheet.csv")
    twin = pandas.read_csv("sheet.csv", dtype=str, keep_default_na=False)
    expect(list(twin.columns) == ["van", "date", "kind", "v1", "v2", "v3", "remark", "last"],
           f"pandas: columns {list(twin.columns)}")
    before = content()
    run(0, "note", "--from", "sheet.csv", says=[f"entered 0 notes; {len(twin)} lines have nothing"])
    expect(content() == before, "an empty sheet changed notes.csv")

    def fill(van, kind, place, column, value):
        rows = (twin["van"] == van) & (twin["kind"] == kind) & (not place or twin["v1"] == place)
        expect(rows.sum() == 1, f"the sheet has {rows.sum()} lines of {van} {kind} {place}")
        twin.loc[rows, column] = value

    fill("Linden", "odometer", "", "v1", "25900mi")
    fill("Linden", "tread", "fr", "v2", "5.3")
    fill("Linden", "pad", "front", "v2", "8.1")
    fill("Linden", "fluid", "", "v1", "coolant")
    fill("<b>Aspen</b> & co", "odometer", "", "v1", "10")
    twin.to_csv("filled.csv", index=False)
    run(2, "note", "--from", "filled.csv", says_err=["filled.csv:2:8: the date is missing", "--date DAY"])
    run(2, "note", "--from", "filled.csv", "--date", "2026-13-01", says_err=["packmile: --date: "])
    run(0, "note", "--from", "filled.csv", "--date", "2026-04-06",
        says=["entered 5 notes", f"{len(twin) - 5} lines have nothing filled in",
              "1050 miles in 35 days"])
    run(0, "note", "--from", "filled.csv", "--date", "2026-04-06", says=["5 were there already"])
    run(0, "sheet", says=["25900 mi 2026-04-06", "5.3 mm 2026-04-06", "coolant 2026-04-06"])
    # What somebody wrote is not passed over.
    fill("Linden", "tread", "rr", "remark", "cut in the flank")
    twin.to_csv("remark.csv", index=False)
    run(2, "note", "--from", "remark.csv", "--date", "2026-04-06", says_err=["tread: MM is missing"])
    # Sold vans are left out; names that nobody has are answered.
    note(0, "Linden", "2026-04-30", "sold", "9000")
    sold = run(0, "sheet")
    expect("Linden" not in sold.stdout, "a van that was sold is walked round", sold)
    run(0, "sheet", "--van", "1M8GDM9AXKP042788", says=["Linden ---"])
    run(2, "sheet", "--van", "Hazle", says_err=["did you mean 'Hazel'?"])
    run(1, "sheet", depot="nowhere")
    new_depot("bare")
    write("bare/fleet.toml", 'zone = "UTC"\ncurrency = "XXX"\n')
    run(1, "sheet", depot="bare", says_err=["there is no van to walk round"])


def wear():
    """A silent van: odometer and gauge alone tell when a tyre is due.

    By hand: 1.0 mm in 2,000 miles are 5.0 mm per 10,000 miles; two gauges of 0.25 mm each make
    +-1.96 * 0.354 mm in those 2,000 miles, +-3.5 per 10,000. From 7.0 to 3.0 mm it is 8,000 miles,
    224 days at 1,000 miles in 28: 2026-10-12.
    """
    new_depot()
    write("wear.csv", HEADER + "Linden,2026-01-05,odometer,10000mi,,,\nLinden,2026-02-02,odometer,11000mi,,,\n"
                               "Linden,2026-03-02,odometer,12000mi,,,\nLinden,2026-01-05,tread,fl,8.0,,\n"
                               "Linden,2026-03-02,tread,fr,7.0,,\n")
    done = run(0, "note", "--from", "wear.csv", says=["note 5: wear of tyre fr is not told yet: "])
    expect("note 4: wear of tyre fl is not told yet: " in done.stdout, "one reading tells wear", done)
    done = note(0, "Linden", "2026-03-02", "tread", "fl", "7.0",
                says=["front left 1.0 mm (+-0.7, the gauge's error) less than 8.0 mm on 2026-01-05",
                      "note 6: wear of tyre fl 5.0 (1.5 to 8.5) mm per 10,000 miles; 3.0 mm are due "])
    dates = re.search(r"3\.0 mm are due between (\S+) and (\S+), the law's 1\.6 mm ", done.stdout)
    expect(dates and dates[1] < "2026-10-12" < dates[2], "the tyre is due at another time", done)
    # A reading that is not the newest of its tyre says nothing of when it is due.
    done = note(0, "Linden", "2026-02-02", "tread", "fl", "7.5")
    expect("wear of" not in done.stdout, "an older reading tells a date", done)
    # Miles for those who write miles.
    note(0, "Linden", "2026-03-09", "odometer", "19500")
    note(0, "Linden", "2026-03-09", "tread", "fl", "6.9", says=["mm per 10,000 km; 3.0 mm are due "])


def damaged():
    """Neither used nor written, and every command says where."""
    new_depot()
    note(0, "Linden", "2026-03-02", "odometer", "24850mi")
    with open("depot/notes.csv", "ab") as file:
        file.write(b"Linden,2026-03-0")
    before = content()
    place = "depot/notes.csv:3:8: '2026-03-0' is not a time"
    for command in (["note", "--list"], ["rebuild"], ["trips"],
                    ["note", "--van", "Linden", "--date", "2026-03-09", "odometer", "1"]):
        run(1, *command, says_err=[place])
    expect(content() == before, "a damaged notes.csv was written")


def charges():
    """With cards of two nights: which charge a note is about, and whose figures it makes anew."""
    made = subprocess.run([benchvan, "month", "--out", "cards", "--vans", "2", "--days", "2", "--seed",
                           "7"], capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    with open("cards/truth.json") as file:
        first, second = json.load(file)["vans"]
    new_depot()
    shutil.copy("cards/fleet.toml", "depot/fleet.toml")
    cards = sorted(f"cards/{name}" for name in os.listdir("cards") if name.endswith(".log"))

    # A mistake in the notes keeps no card out of the archive.
    with open("depot/notes.csv", "a") as file:
        file.write(f"{first['van']},2026-01-0\n")
    run(1, "import", cards[0], says_err=["depot/notes.csv:2:", "the archive has them"])
    write("depot/notes.csv", HEADER)
    run(0, "import", *cards, says_err=["there already"])
    rows = json.loads(run(0, "trips", "--format", "json").stdout)["rows"]
    expect({row["van"] for row in rows} == {first["van"], second["van"]}, "a card has no trips")

    def prints():
        with sqlite3.connect("depot/depot.db") as db:
            return dict(db.execute("SELECT van,fingerprint FROM van").fetchall())

    def at_socket(session):
        hours = (parse(session["end"]) - parse(session["start"])).total_seconds() / 3600
        return (session["pack_kwh"] + 0.2 * hours) / 0.925

    parse = datetime.datetime.fromisoformat
    van, (night, other) = first["van"], first["sessions"][:2]
    day = parse(night["end"]).strftime("%Y-%m-%d")
    kwh = at_socket(night)
    expect(abs(at_socket(other) / kwh - 1) < 0.15, "the two nights of this test are not alike")
    old = prints()
    note(0, van, day, "meter", "1000", f"{1000 + kwh:.1f}",
         says=["note 1: which charge it is about cannot be told: it may be the charge of",
               "with the time at which the charge ended and --replaces 1"])
    new = prints()
    expect(new[van] != old[van], "a note leaves its van's figures as they were")
    expect(new[second["van"]] == old[second["van"]], "a note makes another van's figures anew")
    note(0, van, night["end"][:16] + "Z", "meter", "1000", f"{1000 + kwh:.1f}", "--replaces", "1",
         says=[f"note 2: it is about the charge of {night['start'][:10]}"])
    # The night that is left is the other's.
    later = parse(other["end"]).strftime("%Y-%m-%d")
    note(0, van, later, "receipt", f"{at_socket(other):.1f}", "9", "Mill Lane",
         says=[f"note 3: it is about the charge of {other['start'][:10]}"])
    note(0, van, later, "receipt", "3", "1", "Mill Lane", says=["no charge of that time fits 3 kWh"])
    # Of a time that no card has, nothing is said yet, and nothing of an odometer.
    for words in (["2026-02-05", "meter", "5000", "5020"], [later, "odometer", "90000"]):
        done = note(0, van, *words)
        expect("charge" not in done.stdout, "something is said of a charge", done)
    write("many.csv", HEADER + "".join(f"{second['van']},{later},receipt,{3 + k / 10},1,Mill Lane,\n"
                                       for k in range(12)))
    run(0, "note", "--from", "many.csv", says=["of 12 notes with kWh 0 are about a charge"])
    # A line of expectation is the van's own, too.
    old = prints()
    with open("depot/fleet.toml") as file:
        fleet = file.read()
    name = f'name = "{van}"\n'
    write("depot/fleet.toml",
          fleet.replace(name, name + "expectation = [ { at_km = 200000, percent = 80 } ]\n"))
    run(0, "trips")
    new = prints()
    expect(new[van] != old[van] and new[second["van"]] == old[second["van"]],
           "a line of expectation makes the wrong figures anew")


def outside_reader():
    """pandas, which knows nothing of ours, reads what was typed."""
    new_depot()
    remarks = ['said "so", twice', " spaces ", "two\nlines", "=1+1", "\u00e9t\u00e9", ""]
    places = ["Corn Exchange", "Mill, north", 'the "Bell"', " yard", "01", "quai \u00e0 c\u00f4t\u00e9"]
    for k, (remark, place) in enumerate(zip(remarks, places)):
        note(0, "Linden", f"2026-03-0{k + 1}", "receipt", f"{20 + k}.5", "9.37", place, "--remark",
             remark)
    read = pandas.read_csv("depot/notes.csv", dtype=str, keep_default_na=False)
    expect(list(read.columns) == [*HEADER.strip().split(","), "id", "replaces", "entered"],
           f"pandas: columns {list(read.columns)}")
    expect(list(read["remark"]) == remarks, f"pandas: remarks {list(read['remark'])}")
    expect(list(read["v3"]) == places, f"pandas: places {list(read['v3'])}")
    expect(list(read["v1"].astype(float)) == [20.5 + k for k in range(len(remarks))], "pandas: kWh")
    expect(list(read["id"]) == [str(k + 1) for k in range(len(remarks))], "pandas: ids")
    listed = run(0, "note", "--list", "--format", "csv", "-o", "list.csv")
    expect(listed.stdout == "", "note --list -o prints")
    ours = pandas.read_csv("list.csv", dtype=str, keep_default_na=False)
    expect(list(ours["v1"]) == list(read["v1"]) and list(ours["date"]) == list(read["date"]),
           "pandas: the list has other values than the file")
    shown = run(0, "note", "--list", "--format", "json")

    rows = json.loads(shown.stdout)["rows"]
    expect([row["remark"] for row in rows] == remarks, "the JSON list has other remarks")
    expect(rows[0]["replaces"] is None and rows[0]["replaces_why"], "JSON: no reason for null")


def main():
    work = tempfile.mkdtemp(prefix="packmile-notes-")
    os.chdir(work)
    try:
        for part in (arguments, files, every_kind, sheet, wear, damaged, charges, outside_reader):
            part()
    finally:
        os.chdir("/")
        shutil.rmtree(work, ignore_errors=True)
    print("failures:", failures)
    return 1 if failures else 0


if __name__ == "__main__":
    os.environ.pop("PACKMILE_DEPOT", None)
    sys.exit(main())
