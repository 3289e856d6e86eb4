#!/usr/bin/env python3
"""Reads the hardware notes as a careful reader would: follows every link, works
out every sum, runs every command.

    hardware_notes.py ROOT BIN

Links      relative links and anchors of hardware-notes/*.md and README.md.
Pictures   every SVG parses, has a title and a description, and fetches nothing.
Sums       a code span that begins with a digit or a bracket and has " = " in it
           is a sum: `45 Ah x 50 % / 10 mA = 94 days`. Units count; the right
           side must hold to its last written digit.
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

SKIP = 77  # what ctest takes as skipped (SKIP_RETURN_CODE)
RUN_SECONDS = 120
PROGRAMS = ("packmile", "packmile-logger", "packmile-benchvan", "mkfs.vfat", "fsck.vfat")

complaints = []


def complain(where, what):
    complaints.append(f"{where}: {what}")


# --- sums ---------------------------------------------------------------------
# A quantity is (value, {base: exponent}); bases: A, V, s, byte. Counted things
# (sectors, requests, vans ...) have none.
DAY = 86400
UNITS = {
    "A": (1, {"A": 1}), "mA": (1e-3, {"A": 1}), "uA": (1e-6, {"A": 1}),
    "V": (1, {"V": 1}), "mV": (1e-3, {"V": 1}), "ohm": (1, {"V": 1, "A": -1}),
    "mohm": (1e-3, {"V": 1, "A": -1}),
    "W": (1, {"V": 1, "A": 1}), "mW": (1e-3, {"V": 1, "A": 1}),
    "Ah": (3600, {"A": 1, "s": 1}), "mAh": (3.6, {"A": 1, "s": 1}),
    "Wh": (3600, {"V": 1, "A": 1, "s": 1}), "J": (1, {"V": 1, "A": 1, "s": 1}),
    "F": (1, {"A": 1, "s": 1, "V": -1}),
    "s": (1, {"s": 1}), "ms": (1e-3, {"s": 1}), "us": (1e-6, {"s": 1}), "ns": (1e-9, {"s": 1}),
    "min": (60, {"s": 1}), "h": (3600, {"s": 1}), "day": (DAY, {"s": 1}),
    "month": (30 * DAY, {"s": 1}), "year": (365 * DAY, {"s": 1}),
    "bit": (1 / 8, {"byte": 1}), "kbit": (125, {"byte": 1}), "byte": (1, {"byte": 1}),
    "kB": (1e3, {"byte": 1}), "MB": (1e6, {"byte": 1}), "GB": (1e9, {"byte": 1}),
    "TB": (1e12, {"byte": 1}),
    "KiB": (2**10, {"byte": 1}), "MiB": (2**20, {"byte": 1}), "GiB": (2**30, {"byte": 1}),
    "m": (1, {"m": 1}), "%": (1e-2, {}), "ppm": (1e-6, {}), "K": (1, {"K": 1}),
}
for word in ("day", "month", "year", "byte", "bit"):
    UNITS[word + "s"] = UNITS[word]
COUNTED = {word for one in ("sector", "request", "frame", "boot", "exchange", "cycle", "stop",
                            "wire", "stand") for word in (one, one + "s")}
TOKEN = re.compile(r"\s*(?:(\d[\d,]*(?:\.\d+)?)|(x(?![a-z])|[*/()+-])|([A-Za-z%]+))")


def tokens_of(text):
    out, at = [], 0
    text = text.strip()
    while at < len(text):
        found = TOKEN.match(text, at)
        if not found:
            raise ValueError(f"'{text[at:]}' cannot be read")
        out.append(found.groups())
        at = found.end()
    return out


def times(a, b, sign=1):
    bases = dict(a[1])
    for base, power in b[1].items():
        bases[base] = bases.get(base, 0) + sign * power
    return (a[0] * b[0] if sign > 0 else a[0] / b[0],
            {base: power for base, power in bases.items() if power})


def unit(word):
    if word in COUNTED:
        return (1, {})
    if word not in UNITS:
        raise ValueError(f"unit '{word}' is not known")
    return UNITS[word]


class Sum:
    """term (+|- term)*; a term is factors with x and /, from left to right."""

    def __init__(self, text):
        self.tokens = tokens_of(text)
        self.at = 0

    def peek(self):
        return self.tokens[self.at] if self.at < len(self.tokens) else (None, None, None)

    def value(self):
        out = self.sum()
        if self.at != len(self.tokens):
            raise ValueError("something is left over")
        return out

    def sum(self):
        out = self.term()
        while self.peek()[1] in ("+", "-"):
            sign = 1 if self.peek()[1] == "+" else -1
            self.at += 1
            more = self.term()
            if more[1] != out[1]:
                raise ValueError("unlike units are added")
            out = (out[0] + sign * more[0], out[1])
        return out

    def term(self):
        out = self.factor()
        while self.peek()[1] in ("x", "*", "/"):
            sign = -1 if self.peek()[1] == "/" else 1
            self.at += 1
            out = times(out, self.factor(), sign)
        return out

    def factor(self):
        number, sign, word = self.peek()
        self.at += 1
        if number is not None:
            out = (float(number.replace(",", "")), {})
            while self.peek()[2] is not None:
                out = times(out, unit(self.peek()[2]))
                self.at += 1
            return out
        if word is not None:
            return unit(word)
        if sign == "(":
            out = self.sum()
            if self.peek()[1] != ")":
                raise ValueError("a bracket is open")
            self.at += 1
            return out
        raise ValueError("a number is missing")


def check_sum(text):
    """None, or what is wrong with it."""
    left_text, right_text = text.split(" = ")
    left, right = Sum(left_text).value(), Sum(right_text).value()
    if left[1] != right[1]:
        return f"units differ: {left[1]} and {right[1]}"
    written = re.match(r"\s*([\d,]+(?:\.(\d+))?)", right_text)
    if not written:
        return "the right side is no number"
    number = float(written[1].replace(",", ""))
    scale = right[0] / number if number else 1
    wanted = left[0] / scale
    if abs(wanted - number) > 0.5 * 10.0 ** -len(written[2] or "") * 1.0001:
        return f"the left side is {wanted:.6g}"
    return None


def check_the_checker():
    for good in ("45 Ah x 50 % / 10 mA = 94 days", "1 W / 4 V = 250 mA", "(1 + 2) x 3 = 9"):
        assert check_sum(good) is None, good
    for bad in ("45 Ah x 50 % / 10 mA = 95 days", "1 W / 4 V = 250 mAh", "20 ppm x 30 days = 53 s"):
        assert check_sum(bad), bad


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
        except ValueError as error:
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
