#!/usr/bin/env python3
"""Everything that the logger sends to its adapter in three made-up days of one van:
drives, stops, nights with a charge.

    month_lines.py BIN
"""
import sys

import allow_list
from programs import Bin, run, workspace


def main():
    programs = Bin(sys.argv[1])
    with workspace() as folder:
        run(programs.benchvan, "month", "--out", f"{folder}/month", "--vans", "1", "--days", "3", "--lines")
        assert allow_list.check(f"{folder}/month/willow.lines"), "a line that a reader must not send"


main()
