#!/usr/bin/env python3
"""Refuses doctest names that ctest would cut: a case whose name holds a
semicolon becomes an entry that runs nothing and passes.

    test_names.py ROOT
"""
import pathlib
import re
import sys

CASE = re.compile(r'TEST_CASE\(((?:\s*"(?:[^"\\\\]|\\\\.)*")+)')
wrong, cases = [], 0
for path in sorted(pathlib.Path(sys.argv[1], "tests/unit").rglob("*_test.cpp")):
    text = path.read_text(encoding="utf-8")
    for match in CASE.finditer(text):
        cases += 1
        if ";" in match.group(1):
            wrong.append(f"{path}:{text.count(chr(10), 0, match.start()) + 1}: semicolon in {match.group(1)}")
print("\n".join(wrong) if wrong else f"{cases} test names, none with a semicolon")
sys.exit(1 if wrong or cases == 0 else 0)
