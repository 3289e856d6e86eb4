"""Tests of stack_bound.py: call graphs written by hand, and small programs that the
cross compiler makes. Skips the latter, and says so, where that compiler is not there.
"""
import os
import re
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import stack_bound  # noqa: E402

COMPILER = "arm-none-eabi-g++"


def node(title, bytes_, kind="static"):
    return f'node: {{ title: "{title}" label: "f\\na.cpp:1:1\\n{bytes_} bytes ({kind})" }}'


def bodiless(title):
    return f'node: {{ title: "{title}" label: "{title}\\n<built-in>" shape : ellipse }}'


def edge(source, target):
    return f'edge: {{ sourcename: "{source}" targetname: "{target}" label: "a.cpp:2:2" }}'


def depth(lines, root="main", **others):
    return stack_bound.Program(["\n".join(lines)], **others).deepest(root)


def refusal(lines, root="main", **others):
    try:
        return f"not refused: {depth(lines, root, **others)}"
    except stack_bound.Refused as why:
        return str(why)


def expect(got, wanted):
    if got != wanted:
        sys.exit(f"{sys._getframe(1).f_code.co_name}: {got!r}, wanted {wanted!r}")


def expect_in(part, text):
    if part not in text:
        sys.exit(f"{sys._getframe(1).f_code.co_name}: no {part!r} in {text!r}")


def the_deepest_chain_is_not_the_longest():
    graph = [node("main", 8), node("a.cpp:_Z1av", 16), node("a.cpp:_Z1bv", 4), node("_Z1cv", 100),
             edge("main", "a.cpp:_Z1av"), edge("a.cpp:_Z1av", "a.cpp:_Z1bv"), edge("main", "_Z1cv")]
    expect(depth(graph), (108, ("main", "_Z1cv")))
    # Two ways to the same function: it counts once.
    graph.append(edge("a.cpp:_Z1bv", "_Z1cv"))
    expect(depth(graph)[0], 8 + 16 + 4 + 100)


def functions_of_one_name_in_two_files_are_two():
    graph = [node("main", 0), node("a.cpp:_Zx", 10), node("b.cpp:_Zx", 90), edge("main", "a.cpp:_Zx")]
    expect(depth(graph)[0], 10)
    graph[-1] = edge("main", "b.cpp:_Zx")
    expect(depth(graph)[0], 90)


def a_whole_objects_constructor_is_its_bases():
    graph = [node("main", 8), node("_ZN1XC2Ev", 24), edge("main", "_ZN1XC1Ev")]
    expect(depth(graph)[0], 32)


def what_cannot_be_bounded_is_refused():
    graph = [node("main", 8), node("f", 8), node("g", 8), edge("main", "f"), edge("f", "g")]
    expect(depth(graph)[0], 24)
    expect(refusal(graph + [edge("g", "f")]), "recursion: f -> g -> f")
    expect(refusal(graph + [edge("g", "g")]), "recursion: g -> g")
    expect_in("pointer in g", refusal(graph + [edge("g", "__indirect_call")]))
    for kind in ("dynamic", "dynamic,bounded"):
        expect_in(f"as it runs ({kind})",
                  refusal(graph + [node("v", 8, kind), edge("g", "v")]))
    # What the root never reaches may do as it likes.
    expect(depth(graph + [node("v", 8, "dynamic"), edge("v", "v"), edge("v", "__indirect_call")])[0],
           24)


def a_function_without_a_body_needs_its_bytes():
    graph = [node("main", 8), bodiless("memcpy"), edge("main", "memcpy")]
    expect_in("memcpy has no body here", refusal(graph))
    expect(depth(graph, fixed={"memcpy": 20})[0], 28)


def image(functions):
    """Symbols and code as objdump prints them, of {name: [(address, instruction, operands)]}."""
    symbols = "".join(f"{code[0][0]:08x} g     F .text\t00000010 {name}\n"
                      for name, code in functions.items())
    code = "".join(f"\n{lines[0][0]:08x} <{name}>:\n" +
                   "".join(f"    {a:4x}:\t{i}\t{o}\n" for a, i, o in lines)
                   for name, lines in functions.items())
    return stack_bound.MachineCode(symbols, code)


def machine_code_is_walked_along_every_path():
    # A short way out, and a way that saves registers and comes back to a loop before it.
    code = image({"memmove": [(0x10, "cmp", "r0, r1"), (0x12, "beq.n", "1e <memmove+0xe>"),
                              (0x14, "push", "{r4, r5, r6, lr}"), (0x16, "sub", "sp, #8"),
                              (0x18, "add", "sp, #8"),
                              (0x1a, "ldmia.w", "sp!, {r4, r5, r6, lr}"),
                              (0x1c, "b.n", "10 <memmove>"), (0x1e, "bx", "lr")]})
    graph = [node("main", 8), bodiless("memmove"), edge("main", "memmove")]
    expect(depth(graph, code=code)[0], 8 + 16 + 8)
    # The same without giving back: deeper at each round.
    code.body[0x10][5] = (0x1a, "nop", "")
    code.body[0x10][4] = (0x18, "nop", "")
    code.body[0x10][6] = (0x1c, "b.n", "12 <memmove+0x2>")
    expect_in("two depths", refusal(graph, code=code))
    expect_in("who knows", refusal(graph, code=image({"memmove": [(0x10, "sub.w", "sp, sp, r1"),
                                                                   (0x14, "bx", "lr")]})))
    expect_in("runs on", refusal(graph, code=image({"memmove": [(0x10, "nop", "")]})))


def a_call_that_only_the_machine_code_knows_is_added():
    code = image({"main": [(0x10, "push", "{r4, lr}"), (0x12, "bl", "20 <__aeabi_uldivmod>"),
                           (0x16, "pop", "{r4, pc}")],
                  "__aeabi_uldivmod": [(0x20, "push", "{r4-r7, lr}"), (0x22, "b.w", "30 <help>")],
                  "help": [(0x30, "push", "{r4, r5}"), (0x32, "pop", "{r4, r5}"),
                           (0x34, "bx", "lr")]})
    expect(depth([node("main", 8)], code=code),
           (8 + 20 + 8, ("main", "__aeabi_uldivmod", "help")))
    code.body[0x30][1] = (0x32, "blx", "r3")
    expect_in("through a register in help", refusal([node("main", 8)], code=code))


def interrupts_add_their_entry():
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "a.ci")
        with open(path, "w", encoding="utf-8") as file:
            file.write("\n".join([node("main", 100), node("tick", 20), node("uart", 40)]))

        def bound(*options):
            got = subprocess.run([sys.executable, stack_bound.__file__, "-", path, "--root", "main",
                                  *options], capture_output=True, text=True)
            last = (got.stdout.splitlines() or [""])[-1]
            return got.returncode, int((re.search(r"at most (\d+) B", last) or [0, -1])[1])
        expect(bound(), (0, 100))
        expect(bound("--interrupt", "tick"), (0, 100 + 20 + 36))
        expect(bound("--interrupt", "tick", "--interrupt", "uart"), (0, 100 + 20 + 36 + 40 + 36))
        # Of one priority: one at a time.
        expect(bound("--interrupt", "tick,uart"), (0, 100 + 40 + 36))
        expect(bound("--interrupt", "tick", "--fpu"), (0, 100 + 20 + 36 + 72))
        expect(bound("--limit", "100"), (0, 100))
        expect(bound("--limit", "99"), (1, 100))
        expect(bound("--interrupt", "nobody"), (1, -1))
        expect(bound("--fixed", "memcpy")[0], 2)


def a_vector_table_names_the_handlers():
    code = image({name: [(at, "bx", "lr")] for name, at in (("reset", 0x10), ("fatal", 0x14),
                                                            ("tick", 0x20), ("line", 0x1A2))})
    table = """
a.elf:     file format elf32-littlearm

Contents of section .vectors:
 0000 e0060020 11000000 15000000 00000000  ... ............
 0010 21000000 15000000 a3010000           !...........
"""
    expect(stack_bound.handlers_in(table, code, ["fatal"]), ["line", "tick"])
    expect(stack_bound.handlers_in(table, code, []), ["fatal", "line", "tick"])
    for wrong in ("", table.replace("a3010000", "a5010000")):
        try:
            expect(stack_bound.handlers_in(wrong, code, ["fatal"]), "refused")
        except stack_bound.Refused as why:
            expect_in("no vector table", str(why))


def compiled(source, root="main", link=True):
    """What the script says of a program that the cross compiler made."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "a.cpp")
        with open(path, "w", encoding="utf-8") as file:
            file.write(source)
        subprocess.run([COMPILER, "-mcpu=cortex-m3", "-mthumb", "-Os", "-flto",
                        "-flto-partition=one", "-fno-exceptions", "-fcallgraph-info=su", "-c", path,
                        "-o", os.path.join(folder, "a.o")], check=True)
        elf = os.path.join(folder, "a.elf")
        subprocess.run([COMPILER, "-mcpu=cortex-m3", "-mthumb", "-Os", "-flto",
                        "-flto-partition=one", "-fcallgraph-info=su", "--specs=nano.specs",
                        "-nostartfiles", "-Wl,-e,main,--gc-sections", os.path.join(folder, "a.o"),
                        "-o", elf], check=True, cwd=folder)
        calls = [os.path.join(folder, n) for n in os.listdir(folder) if n.endswith("ltrans.ci")]
        expect(len(calls), 1)
        got = subprocess.run([sys.executable, stack_bound.__file__, elf, *calls, "--root", root],
                             capture_output=True, text=True)
        return got.returncode, got.stdout + got.stderr


PRELUDE = """
#include <cstdint>
#include <cstring>
volatile std::uint32_t port;
[[gnu::noinline]] std::uint32_t big(std::uint32_t n) {
  volatile std::uint32_t room[50];
  for (std::uint32_t i = 0; i < 50; ++i) room[i] = n;
  return room[n % 50];
}
"""


def programs_that_a_compiler_made():
    if not shutil.which(COMPILER):
        print(f"skipped: no {COMPILER} here, so no program is compiled")
        return
    code, text = compiled(PRELUDE + "int main() { port = big(port); return 0; }")
    expect(code, 0)
    bytes_ = int(re.search(r"at most (\d+) B", text)[1])
    # 200 B of room, and at most all eight saved registers in each of the two frames.
    if not 200 < bytes_ <= 200 + 2 * 4 * 9 + 8:
        sys.exit(f"{bytes_} B for a frame with 200 B:\n{text}")
    code, text = compiled(PRELUDE + """
      char from[400], to[400];
      int main() {
        std::memmove(to + port, from + port, port);
        port = std::uint32_t((std::uint64_t(port) << 32 | port) / (std::uint64_t(port) << 20 | 7));
        return 0;
      }""")
    expect(code, 0)
    expect_in("at most", text)
    if "__aeabi_uldivmod" not in text and "memmove" not in text and "__udivmod" not in text:
        sys.exit(f"the library is in no chain:\n{text}")
    expect_in("recursion", compiled(PRELUDE + """
      [[gnu::noinline]] std::uint32_t down(std::uint32_t n) {
        return n == 0 ? big(n) : down(port) + big(port);
      }
      int main() { port = down(port); return 0; }""")[1])
    expect_in("a call through a pointer", compiled(PRELUDE + """
      std::uint32_t (*volatile chosen)(std::uint32_t) = big;
      int main() { port = chosen(port) + 1; return 0; }""")[1])
    expect_in("only known as it runs", compiled(PRELUDE + """
      int main() {
        char* room = static_cast<char*>(__builtin_alloca(port));
        std::memset(room, 1, port);
        port = room[port];
        return 0;
      }""")[1])


if __name__ == "__main__":
    the_deepest_chain_is_not_the_longest()
    functions_of_one_name_in_two_files_are_two()
    a_whole_objects_constructor_is_its_bases()
    what_cannot_be_bounded_is_refused()
    a_function_without_a_body_needs_its_bytes()
    machine_code_is_walked_along_every_path()
    a_call_that_only_the_machine_code_knows_is_added()
    interrupts_add_their_entry()
    a_vector_table_names_the_handlers()
    programs_that_a_compiler_made()
    print("stack_bound: as wanted")
