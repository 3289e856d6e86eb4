"""Flash and RAM of a bare-metal image, by the room of the tree that they belong to.

    size_by_room.py IMAGE.elf --root TREE [--flash BYTES] [--ram BYTES] [--tools PREFIX]

An image that is optimised as a whole has no sections of single files, and code of one
file stands in the middle of another's functions. So every byte of code goes to the
file that the line table (DWARF) names for it; code of the C++ library's headers goes
to the function that it stands in. A variable goes to the file whose compilation brought
it in. What nothing names has a row of its own: room between functions, text in quotes. Rows
add up to the sections' sizes, exactly.

Exit: 0, or 1 when over a limit or with a symbol of a heap, 2 wrong usage.
"""
import argparse
import bisect
import os
import re
import subprocess
import sys

ROOMS = ("core", "proto", "port", "library", "stack", "not named")
HEAP = re.compile(r"malloc|\bfree(_r)?$|_sbrk|operator new|operator delete|_Znw|_Zna|_Zdl|_Zda")


def room_of(path, root):
    """core, proto, port; library: no file of the tree; None: a header of the C++ library."""
    path = os.path.normpath(path)
    if path.startswith(root + os.sep):
        inner = os.path.relpath(path, root).split(os.sep)
        if inner[0] == "proto":
            return "proto"
        return "core" if inner[:2] == ["firmware", "core"] else "port"
    return None if f"{os.sep}c++{os.sep}" in path else "library"


class Sections:
    """(name, address, bytes, is code or constants, is RAM) of what is loaded or reserved."""

    def __init__(self, text):
        self.all = []
        for line in text.splitlines():
            m = re.match(r"\s*\[\s*\d+\] (\S+)\s+(\w+)\s+([0-9a-f]+) [0-9a-f]+ ([0-9a-f]+) \w+ +(\w*)",
                         line)
            if m and "A" in m[5] and int(m[4], 16):
                self.all.append((m[1], int(m[3], 16), int(m[4], 16), m[2] != "NOBITS",
                                 "W" in m[5]))


def line_ranges(text):
    """[(begin, end, path)] of the line table, in order of address."""
    ranges, path, before = [], None, None
    for line in text.splitlines():
        if m := re.match(r"(\S.*):(\s*\[\+\+\])?$", line):
            path = m[1]
        elif m := re.match(r"\S+\s+(\d+|-)\s+(0x)?([0-9a-f]+)\b", line):
            at = int(m[3], 16)
            if before and at > before[0]:
                ranges.append((before[0], at, before[1]))
            before = None if m[1] == "-" else (at, path)
    return sorted(ranges)


def symbols_of(text):
    """[(begin, end, name, path or None)] of functions and variables, in order of address."""
    symbols = []
    for line in text.splitlines():
        m = re.match(r"([0-9a-f]+) ([0-9a-f]+) (\w) (\S+)(?:\t(.*):(?:\d+|\?))?$", line)
        if m and int(m[2], 16):
            at = int(m[1], 16)
            symbols.append((at, at + int(m[2], 16), m[4], m[5]))
    return sorted(symbols)


def variables_of(text):
    """{address: path} of variables: the file whose compilation brought them in."""
    die, unit, at_unit = None, None, False
    units, unit_of, origin, address = {}, {}, {}, {}
    for line in text.splitlines():
        if m := re.match(r" <[0-9a-f]+><([0-9a-f]+)>: Abbrev Number: \d+ \((\w+)\)", line):
            die, at_unit = int(m[1], 16), m[2] == "DW_TAG_compile_unit"
            if at_unit:
                unit = die
                units[unit] = ["", ""]
            unit_of[die] = unit
        elif m := re.match(r"    <[0-9a-f]+> +DW_AT_(\w+) *: (.*)$", line):
            if at_unit and m[1] in ("name", "comp_dir"):
                units[unit][m[1] == "comp_dir"] = re.sub(r"^\(.*?\): ", "", m[2]).strip()
            elif m[1] in ("abstract_origin", "specification") and (o := re.match(r"<0x(\w+)>", m[2])):
                origin[die] = int(o[1], 16)
            elif m[1] == "location" and (a := re.search(r"\(DW_OP_addr: ([0-9a-f]+)\)", m[2])):
                address[int(a[1], 16)] = die
    paths = {}
    for at, die in address.items():
        while die in origin:
            die = origin[die]
        if die in unit_of:
            name, folder = units[unit_of[die]]
            paths[at] = os.path.join(folder, name)
    return paths


def containing(rows, at):
    k = bisect.bisect_right(rows, (at, float("inf"))) - 1
    return rows[k] if k >= 0 and rows[k][0] <= at < rows[k][1] else None


def share_out(sections, lines, symbols, root):
    """{room: [flash, RAM]} in bytes."""
    shares = {room: [0, 0] for room in ROOMS}

    def room_at(at):
        line, symbol = containing(lines, at), containing(symbols, at)
        room = room_of(line[2], root) if line else None
        if room is None and symbol and symbol[3]:
            room = room_of(symbol[3], root) or "library"
        if room is None and (line or symbol):
            # Compiled where nothing was told about it: an archive of the compiler's.
            room = "library" if line else None
        return room or "not named"

    for name, begin, bytes_, loaded, ram in sections:
        if name == ".stack":
            shares["stack"][1] += bytes_
            continue
        cuts = sorted({begin, begin + bytes_} |
                      {e for rows in (lines, symbols) for row in rows for e in row[:2]
                       if begin < e < begin + bytes_})
        for at, end in zip(cuts, cuts[1:]):
            room = room_at(at)
            if loaded:
                shares[room][0] += end - at
            if ram:
                shares[room][1] += end - at
    return shares


def main(argv):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("image")
    parser.add_argument("--root", required=True)
    parser.add_argument("--flash", type=int, default=sys.maxsize)
    parser.add_argument("--ram", type=int, default=sys.maxsize)
    parser.add_argument("--tools", default="arm-none-eabi-")
    options = parser.parse_args(argv)

    def run(tool, *arguments):
        return subprocess.run([options.tools + tool, *arguments, options.image], check=True,
                              capture_output=True, text=True).stdout

    sections = Sections(run("readelf", "-SW")).all
    if not sections:
        parser.error(f"{options.image}: no sections")
    root = os.path.realpath(options.root)
    variables = variables_of(run("objdump", "--dwarf=info"))
    symbols = [(begin, end, name, variables.get(begin, path))
               for begin, end, name, path in symbols_of(run("nm", "-S", "-l"))]
    shares = share_out(sections, line_ranges(run("objdump", "--dwarf=decodedline")), symbols, root)
    flash = sum(size for _, _, size, loaded, _ in sections if loaded)
    ram = sum(size for _, _, size, _, ram in sections if ram)
    print(f"{'room':<10}{'flash B':>9}{'RAM B':>9}")
    for room in ROOMS:
        if shares[room] != [0, 0]:
            print(f"{room:<10}{shares[room][0]:>9}{shares[room][1]:>9}")
    print(f"{'total':<10}{flash:>9}{ram:>9}")
    limits = ["none" if limit == sys.maxsize else limit for limit in (options.flash, options.ram)]
    print(f"{'limit':<10}{limits[0]:>9}{limits[1]:>9}")
    if [flash, ram] != [sum(s[k] for s in shares.values()) for k in (0, 1)]:
        sys.exit("size_by_room: the rows do not add up")
    heap = [name for _, _, name, _ in symbols if HEAP.search(name)]
    print(f"symbols of a heap: {len(heap)} {' '.join(heap)}".rstrip())
    return 1 if heap or flash > options.flash or ram > options.ram else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
