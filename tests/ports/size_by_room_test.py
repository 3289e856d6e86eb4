"""Tests of size_by_room.py: tables written by hand, and a small image of three rooms
that the cross compiler makes. Skips the latter, and says so, where it is not there.
"""
import os
import re
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import size_by_room  # noqa: E402

COMPILER = "arm-none-eabi-g++"


def expect(got, wanted):
    if got != wanted:
        sys.exit(f"{sys._getframe(1).f_code.co_name}: {got!r}, wanted {wanted!r}")


def a_path_tells_the_room():
    for path, room in (("/tree/firmware/core/logger.cpp", "core"),
                       ("/tree/firmware/core/../cortex_m/main.cpp", "port"),
                       ("/tree/firmware/cortex_m/boards/a.cpp", "port"),
                       ("/tree/proto/wire.hpp", "proto"),
                       ("/usr/include/newlib/c++/12.2.1/optional", None),
                       ("/home/somebody/newlib/libc/string/memcpy.c", "library"),
                       ("/treehouse/proto/wire.hpp", "library")):
        expect(size_by_room.room_of(path, "/tree"), room)


def code_goes_by_lines_headers_by_function_and_the_rest_is_shown():
    lines = size_by_room.line_ranges("""
/tree/firmware/core/a.cpp:
a.cpp                 1                0x10               x
a.cpp                 2                0x10       1       x

/usr/include/c++/12/optional:
optional              9                0x14               x

/tree/proto/b.hpp:
b.hpp                 3                0x18               x
b.hpp                 -                0x20

/newlib/memcpy.c:
memcpy.c              1                0x28               x
memcpy.c              -                0x2c
""")
    expect(lines, [(0x10, 0x14, "/tree/firmware/core/a.cpp"),
                   (0x14, 0x18, "/usr/include/c++/12/optional"),
                   (0x18, 0x20, "/tree/proto/b.hpp"), (0x28, 0x2c, "/newlib/memcpy.c")])
    symbols = size_by_room.symbols_of("00000010 00000010 T f\t/tree/firmware/core/a.cpp:1\n"
                                      "00000024 00000004 t table\n"
                                      "20000000 00000008 b room\t/tree/firmware/cortex_m/m.cpp:5\n"
                                      "         U nothing\n")
    sections = size_by_room.Sections(
        "  [ 1] .text  PROGBITS  00000010 001010 00001c 00  AX  0   0  4\n"
        "  [ 2] .data  PROGBITS  20000008 001020 000004 00  WA  0   0  4\n"
        "  [ 3] .bss   NOBITS    20000000 001020 000008 00  WA  0   0  4\n"
        "  [ 4] .stack NOBITS    20000010 001020 000100 00  WA  0   0  4\n"
        "  [ 5] .debug PROGBITS  00000000 001020 000999 00      0   0  1\n").all
    shares = size_by_room.share_out(sections, lines, symbols, "/tree")
    # 4 of its own, and 4 of a header within f; 8 of proto; 8 behind that nobody names,
    # 4 of the library, and the variable that begins as something, in flash and in RAM.
    expect(shares, {"core": [8, 0], "proto": [8, 0], "port": [0, 8], "library": [4, 0],
                    "stack": [0, 256], "not named": [8 + 4, 4]})


def an_image_of_three_rooms():
    if not shutil.which(COMPILER):
        print(f"skipped: no {COMPILER} here, so no program is compiled")
        return
    with tempfile.TemporaryDirectory() as folder:
        folder = os.path.realpath(folder)
        sources = {
            "proto/table.cpp": "extern const unsigned char table[256];\n"
                               "const unsigned char table[256] = {1, 2, 3};\n",
            "firmware/core/core.cpp": "#include <cstring>\nchar kept[100];\n"
                                      "void keep(const char* p) { std::memmove(kept, p, 100); }\n",
            "firmware/cortex_m/main.cpp":
                "extern const unsigned char table[256];\nvolatile unsigned port;\n"
                "void keep(const char*);\n"
                "int main() { port = table[port]; keep(reinterpret_cast<const char*>(port));"
                " return 0; }\n"}
        for name, text in sources.items():
            os.makedirs(os.path.join(folder, os.path.dirname(name)), exist_ok=True)
            with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
                file.write(text)
        elf = os.path.join(folder, "a.elf")

        def make(*more):
            subprocess.run([COMPILER, "-mcpu=cortex-m3", "-mthumb", "-Os", "-g", "-flto",
                            "-flto-partition=one", "--specs=nano.specs", "-nostartfiles",
                            "-Wl,-e,main", *more, "-o", elf,
                            *(os.path.join(folder, n) for n in sources)], check=True)

        def told(*options):
            got = subprocess.run([sys.executable, size_by_room.__file__, elf, "--root", folder,
                                  *options], capture_output=True, text=True)
            rows = {m[1]: (int(m[2]), int(m[3])) for m in
                    re.finditer(r"^([a-z ]+?) +(\d+) +(\d+)$", got.stdout, re.M)}
            return got.returncode, rows, got.stdout + got.stderr
        make()
        code, rows, text = told()
        expect(code, 0)
        sizes = subprocess.run([COMPILER.replace("g++", "size"), elf], check=True,
                               capture_output=True, text=True).stdout.splitlines()[1].split()
        expect(rows["total"][0], int(sizes[0]) + int(sizes[1]))
        expect(rows["total"][1], int(sizes[1]) + int(sizes[2]))
        expect(tuple(sum(rows[r][k] for r in rows if r in size_by_room.ROOMS) for k in (0, 1)),
               rows["total"])
        expect(rows["proto"], (256, 0))
        expect(rows["core"][1], 100)
        expect(rows["port"][1], 4)
        if rows["core"][0] < 4 or rows["port"][0] < 8 or rows["library"][0] < 20:
            sys.exit(f"code is not where it belongs:\n{text}")
        expect("symbols of a heap: 0" in text, True)
        expect(told("--flash", str(rows["total"][0] - 1))[0], 1)
        expect(told("--ram", str(rows["total"][1] - 1))[0], 1)
        with open(os.path.join(folder, "firmware/core/core.cpp"), "a", encoding="utf-8") as file:
            file.write("#include <new>\nvoid* more() { return ::operator new(kept[0]); }\n"
                       "[[gnu::used]] void* (*made)() = more;\n")
        # A heap needs the system's help; here somebody has given it.
        make("--specs=nosys.specs", "-w", "-Wl,--no-warnings")
        code, rows, text = told()
        expect(code, 1)
        expect("symbols of a heap: 0" in text, False)


if __name__ == "__main__":
    a_path_tells_the_room()
    code_goes_by_lines_headers_by_function_and_the_rest_is_shown()
    an_image_of_three_rooms()
    print("size_by_room: as wanted")
