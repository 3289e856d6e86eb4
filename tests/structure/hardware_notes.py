#!/usr/bin/env python3
"""Reads the hardware notes as a careful reader would: follows every link, works
out every sum, runs every command.

    hardware_notes.py ROOT BIN

Links      relative links and anchors of hardware-notes/*.md and README.md.
Pictures   every SVG parses, has a title and a description, and fetches nothing.
Sums       a code span that begins with a digit or a bracket and has " = " in it
           is a sum: `45 Ah x 50 % / 10 mA = 94 days`. Units count (pint); the
           right side must hold to its last written digit.
Commands   blocks marked `sh run` are run, those of one page one after another in
           a folder of their own. Blocks marked `sh by hand` are only read: our
           programs must know the options in them. Other blocks hold no command.
"""
import os
import pathlib
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree

import pint

SKIP = 77  # what ctest takes as skipped (SKIP_RETURN_CODE)
RUN_SECONDS = 120
PROGRAMS = ("packmile", "packmile-logger", "packmile-benchvan", "mkfs.vfat", "fsck.vfat")

complaints = []


def complain(where, what):
    complaints.append(f"{where}: {what}")


# --- sums ---------------------------------------------------------------------
# Counted things have no unit.
COUNTED = ("sector", "request", "frame", "boot", "exchange", "cycle", "stop", "wire", "stand")
REGISTRY = pint.UnitRegistry()
for line in ("Ah = ampere * hour", "percent = 0.01", "ppm = 1e-6",
             # Months are of 30 days and years of 365, as the notes say.
             "month = 30 * day", "year = 365 * day", *(f"{word} = 1" for word in COUNTED)):
    REGISTRY.define(line)


def value_of(text):
    """A quantity; a number takes the units behind it before anything is divided by it."""
    text = re.sub(r" x ", " * ", text.replace(",", "")).replace("%", "percent")
    text = text.replace(" - ", "-")  # the library of Debian 12 stumbles over "3 - 1"
    text = re.sub(r"(\d[\d.]*)((?:\s+[A-Za-z]+)+)",
                  lambda found: f"({found[1]}{'*'.join(['', *found[2].split()])})", text)
    return REGISTRY.Quantity(1) * REGISTRY.parse_expression(text)


def check_sum(text):
    """None, or what is wrong with it. The right side must hold to its last digit."""
    left_text, right_text = text.split(" = ")
    left, right = value_of(left_text), value_of(right_text)
    written = re.match(r"\s*([\d,]+(?:\.(\d+))?)", right_text)
    if not written:
        return "the right side is no number"
    number = float(written[1].replace(",", ""))
    # The right side as one unit: what it is, without its number.
    one = right / number
    wanted = (left / one).to("dimensionless").magnitude
    if abs(wanted - number) > 0.5 * 10.0 ** -len(written[2] or "") * 1.0001:
        return f"the left side is {wanted:.6g}"
    return None


def check_the_checker():
    for good in ("45 Ah x 50 % / 10 mA = 94 days", "1 W / 4 V = 250 mA", "(1 + 2) x 3 = 9",
                 "5 h - 3 h = 120 min"):
        assert check_sum(good) is None, good
    for bad in ("45 Ah x 50 % / 10 mA = 95 days", "20 ppm x 30 days = 53 s"):
        assert check_sum(bad), bad
    try:
        raise AssertionError(check_sum("1 W / 4 V = 250 mAh"))
    except pint.DimensionalityError:
        pass


# --- pages --------------------------------------------------------------------
def anchors(text):
    """As the usual renderers make them: lower case, punctuation out, spaces to hyphens."""
    out = set()
    for heading in re.findall(r"^#+ +(.+)$", without_blocks(text), re.M):
        slug = re.sub(r"[^\w\- ]", "", heading.lower().replace("`", "")).replace(" ", "-")
        while slug in out:
            slug += "-1"
        out.add(slug)
    return out


def without_blocks(text):
    return re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S)


def check_links(root, page, text):
    count = 0
    for target in re.findall(r"\]\(([^)\s]+)\)", without_blocks(text)):
        if re.match(r"[a-z]+:", target):
            continue
        count += 1
        name, _, anchor = target.partition("#")
        file = (page.parent / name).resolve() if name else page
        if not file.exists() or root not in (file, *file.parents):
            complain(page.name, f"link to {target}: no such file")
        elif anchor and anchor not in anchors(file.read_text()):
            complain(page.name, f"link to {target}: no such heading")
    return count


def check_sums(page, text):
    count = 0
    for span in re.findall(r"`([^`\n]+)`", without_blocks(text)):
        if " = " not in span or not re.match(r"[\d(]", span):
            continue
        count += 1
        try:
            wrong = check_sum(span)
        except (ValueError, pint.PintError) as error:
            wrong = str(error)
        if wrong:
            complain(page.name, f"`{span}`: {wrong}")
    return count


def local(name):
    return name.rsplit("}", 1)[-1]


def check_picture(file):
    try:
        top = ElementTree.parse(file).getroot()
    except ElementTree.ParseError as error:
        complain(file.name, f"does not parse: {error}")
        return
    if local(top.tag) != "svg" or "viewBox" not in top.attrib:
        complain(file.name, "is no svg with a viewBox")
    for wanted in ("title", "desc"):
        if not any(local(e.tag) == wanted and (e.text or "").strip() for e in top):
            complain(file.name, f"has no {wanted}")
    for element in top.iter():
        if local(element.tag) in ("script", "image", "foreignObject"):
            complain(file.name, f"has a {local(element.tag)}")
        for key, value in element.attrib.items():
            if (local(key) in ("href", "src") and not value.startswith("#")) or re.search(
                    r"url\((?!#)", value):
                complain(file.name, f"refers to {value}")


def commands(block):
    """Command lines, continuation lines joined, without leading sudo and timeout."""
    for line in re.sub(r"\\\n", " ", block).splitlines():
        words = shlex.split(line, comments=True)
        for i, word in enumerate(words):
            if word in PROGRAMS:
                yield words[i:]
                break


def check_options(page, programs, words):
    if not words[0].startswith("packmile"):
        return
    line = [str(programs / words[0])]
    if words[0] != "packmile-logger":
        line += [w for w in words[1:3] if re.fullmatch(r"[a-z]+", w)][:2 if words[1] == "card" else 1]
    done = subprocess.run(line + ["--help"], capture_output=True, text=True)
    if done.returncode != 0:
        complain(page.name, f"{' '.join(words)}: no such command")
    for word in words:
        option = word.split("=")[0]
        if option.startswith("--") and not re.search(re.escape(option) + r"\b", done.stdout):
            complain(page.name, f"{' '.join(words)}: --help does not know {option}")


def check_blocks(page, text, programs, environment):
    ran = 0
    with tempfile.TemporaryDirectory(prefix="notes-") as folder:
        for info, block in re.findall(r"^```([^\n]*)\n(.*?)^```$", text, re.M | re.S):
            if info == "sh by hand":
                for words in commands(block):
                    check_options(page, programs, words)
            elif info == "sh run":
                ran += 1
                done = subprocess.run(["bash", "-euo", "pipefail", "-c", block], cwd=folder,
                                      env=environment, stdin=subprocess.DEVNULL,
                                      capture_output=True, text=True, timeout=RUN_SECONDS)
                if done.returncode != 0:
                    complain(page.name, f"exit {done.returncode} of\n{block}{done.stderr}")
            elif info != "text":
                complain(page.name, f"a block is marked '{info}': 'sh run', 'sh by hand' or 'text'")
            elif re.search(r"^(sudo )?(" + "|".join(map(re.escape, PROGRAMS)) + r") ", block, re.M):
                complain(page.name, "a command in a block that is marked as text")
    return ran


def main():
    root, programs = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve()
    environment = dict(os.environ, TZ="UTC",
                       PATH=f"{programs}:{os.environ['PATH']}:/usr/sbin:/sbin")
    environment.pop("PACKMILE_DEPOT", None)
    if not shutil.which("mkfs.vfat", path=environment["PATH"]):
        print("skipped: no mkfs.vfat here")
        sys.exit(SKIP)
    check_the_checker()
    notes = root / "hardware-notes"
    pages = sorted(notes.glob("*.md"))
    links = sums = ran = 0
    for page in [root / "README.md", *pages]:
        links += check_links(root, page, page.read_text())
    for page in pages:
        text = page.read_text()
        sums += check_sums(page, text)
        ran += check_blocks(page, text, programs, environment)
    pictures = sorted(notes.glob("*.svg"))
    shown = "".join(page.read_text() for page in pages)
    for picture in pictures:
        check_picture(picture)
        if f"({picture.name})" not in shown:
            complain(picture.name, "no page shows it")
    print(f"{len(pages)} pages, {links} links, {sums} sums, {ran} blocks run, "
          f"{len(pictures)} pictures")
    # A change of marks must not let the notes go unread.
    for count, what in ((links, "link"), (sums, "sum"), (ran, "block"), (len(pictures), "picture")):
        if count == 0:
            complain("hardware-notes", f"not one {what} was found")
    for complaint in complaints:
        print("FAILED " + complaint)
    sys.exit(1 if complaints else 0)


main()
