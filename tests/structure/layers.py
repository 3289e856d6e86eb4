#!/usr/bin/env python3
"""Reads the #include lines of the tree and refuses what the layers forbid.

    layers.py ROOT

proto depends on nothing; firmware/core on proto; a port on core and proto; a
room of host on proto, the leaf headers of host, itself and the rooms to its
left. firmware and host never meet. Tests may include everything. No include
has a `..` in it, and generated protobuf headers stay in .cpp files.
"""
import pathlib
import re
import sys

ROOMS = ["card", "archive", "notes", "calendar", "timeline", "reading", "energy", "pack", "money", "duty", "ledger",
         "report", "cli"]
# Rooms of one stage: side by side, so that none includes another.
STAGES = [["card"], ["archive"], ["notes"], ["calendar"], ["timeline"], ["reading"], ["energy"], ["pack"], ["money", "duty"],
          ["ledger"], ["report"], ["cli"]]
INCLUDE = re.compile(r'^\s*#\s*include\s*"([^"]+)"', re.M)


def stage_of(room):
    return next(i for i, rooms in enumerate(STAGES) if room in rooms)


def layer_of_include(root, name):
    """The layer that an include name belongs to, or None when it is nobody's."""
    first = name.split("/")[0]
    if name == "packmile.pb.h" or (root / "proto" / name).is_file():
        return "proto"
    if first in ("core", "linux", "cortex_m") and (root / "firmware" / name).is_file():
        return "firmware/" + first
    if (root / "host" / name).is_file():
        return "host/" + first if first in ROOMS else "host"
    return None


def allowed(layer, target):
    if target == "proto":
        return True
    if layer == "proto":
        return False
    if layer.startswith("firmware/"):
        return target == layer or target == "firmware/core"
    if layer == "host":
        return target == "host"
    room = layer.split("/")[1]
    if target == "host":
        return True
    if not target.startswith("host/"):
        return False
    other = target.split("/")[1]
    return other == room or stage_of(other) < stage_of(room)


def main():
    root = pathlib.Path(sys.argv[1])
    wrong, files, includes = [], 0, 0
    for top in ("proto", "firmware", "host"):
        for path in sorted((root / top).rglob("*")):
            if path.suffix not in (".hpp", ".cpp", ".h", ".c", ".S"):
                continue
            files += 1
            parts = path.relative_to(root).parts
            layer = top if top == "proto" or len(parts) == 2 else "/".join(parts[:2])
            text = path.read_text(encoding="utf-8")
            for match in INCLUDE.finditer(text):
                includes += 1
                name = match.group(1)
                where = f"{path.relative_to(root)}:{text.count(chr(10), 0, match.start()) + 1}"
                if ".." in name.split("/"):
                    wrong.append(f"{where}: '..' in an include: {name}")
                    continue
                if name == "packmile.pb.h" and (top != "host" or path.suffix != ".cpp"):
                    wrong.append(f"{where}: {name} belongs in .cpp files of host only")
                    continue
                target = layer_of_include(root, name)
                if target is None:
                    wrong.append(f"{where}: {name} is no file of proto, firmware or host")
                elif not allowed(layer, target):
                    wrong.append(f"{where}: {layer} may not include {target} ({name})")
    print("\n".join(wrong) if wrong else f"layers: {includes} includes in {files} files, all allowed")
    if files == 0:
        sys.exit("layers: no source files found: wrong ROOT?")
    sys.exit(1 if wrong else 0)


main()
