"""The most stack that a bare-metal image can use, proven from what the compiler says.

    stack_bound.py IMAGE.elf CALLS.ci... --root reset [--interrupt HANDLER[,HANDLER...]]...
                   [--vectors SECTION] [--begins-anew HANDLER[,HANDLER...]]
                   [--fpu] [--fixed SYMBOL=BYTES]... [--limit BYTES] [--objdump PROGRAM]

CALLS.ci is what g++ writes by -fcallgraph-info=su, at the link where the image is
optimised there. The bound is the deepest chain of calls from the root, and for each
--interrupt one more: the deepest chain from its handler, and what the processor puts
on the stack at its entry. Handlers of one priority cannot interrupt each other: name
them in one option, and the deepest counts. --vectors takes them from the image's own
vector table, all of one priority, but for the reset and those of --begins-anew, which
never return and empty the stack first.

Refused, where it can be reached: recursion, a call through a pointer, a frame whose
size is only known as it runs, and a function whose frame nobody states. A function
that is not compiled here (memcpy) is read from the image's own machine code, or has
its bytes by --fixed. A call that the machine code makes and the .ci does not name (the
compiler's own arithmetic) is added. IMAGE may be - where there is none.

Exit: 0 proven (and within the limit), 1 refused or over it, 2 wrong usage.
"""
import argparse
import re
import subprocess
import sys

# ARMv7-M Architecture Reference Manual, B1.5.6: eight words, and one more where the
# stack was not on a multiple of 8; with an FPU in use 18 further words.
EXCEPTION_BYTES = 8 * 4
ALIGN_BYTES = 4
FPU_BYTES = 18 * 4

NODE = re.compile(r'node: \{ title: "([^"]+)" label: "([^"]*)"')
EDGE = re.compile(r'edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"')
FRAME = re.compile(r"\\n(\d+) bytes \(([a-z,]+)\)")


class Refused(Exception):
    pass


def symbol_of(title):
    """The name in the symbol table: a local function's title begins with its file."""
    return title.rsplit(":", 1)[-1]


class MachineCode:
    """Symbols and instructions of an image, as objdump prints them."""

    def __init__(self, symbols_text, code_text):
        self.address = {}
        for line in symbols_text.splitlines():
            m = re.match(r"([0-9a-f]+) .{6}F \S+\s+[0-9a-f]+ (?:\.hidden )?(\S+)$", line)
            if m:
                self.address[m[2]] = int(m[1], 16) & ~1
        self.body = {}
        at = None
        for line in code_text.splitlines():
            if m := re.match(r"([0-9a-f]+) <([^>]+)>:$", line):
                at = int(m[1], 16)
                self.body[at] = []
            elif at is not None and (m := re.match(r"\s*([0-9a-f]+):\t(\S+)(?:\t(.*))?$", line)):
                self.body[at].append((int(m[1], 16), m[2], (m[3] or "").split("\t")[0].strip()))

    @staticmethod
    def read(image, objdump):
        def run(*options):
            return subprocess.run([objdump, *options, image], check=True, capture_output=True,
                                  text=True).stdout
        return MachineCode(run("-t"), run("-d", "--no-show-raw-insn"))

    def calls(self, at):
        """(addresses called, whether some call goes through a register)"""
        called, indirect = set(), False
        for where, name, operands in self.body.get(at, ()):
            m = re.match(r"(?:r\d+, )?([0-9a-f]+) <", operands)
            if name.startswith("bl") and not re.match(r"bl[te]|bls", name) and m:
                called.add(int(m[1], 16))
            elif name.startswith("b") and m and int(m[1], 16) in self.body \
                    and int(m[1], 16) != at:
                called.add(int(m[1], 16))  # the last call of a function may be a branch
            elif re.match(r"blx", name) and re.match(r"[ri]", operands):
                indirect = True
            elif re.match(r"bx", name) and operands != "lr":
                indirect = True
        return called, indirect

    def frame(self, at):
        """Bytes by which a function lowers the stack, at most: every path through its code
        is walked once. Refused: code where that cannot be told."""
        code = self.body.get(at)
        if not code:
            raise Refused(f"no machine code at {at:x}")
        following = {code[i][0]: code[i + 1][0] for i in range(len(code) - 1)}
        instruction = {where: (name, operands) for where, name, operands in code}
        depth_at, deepest = {}, 0
        ways = [(at, 0)]
        while ways:
            where, depth = ways.pop()
            if where in depth_at:
                if depth_at[where] != depth:
                    raise Refused(f"{where:x} is reached with the stack at two depths")
                continue
            depth_at[where] = depth
            name, operands = instruction[where]
            name = name.removesuffix(".n").removesuffix(".w")
            change = stack_taken(name, operands)
            if change is None or name.startswith("tb"):
                raise Refused(f"{where:x}: {name} {operands}: where the stack then is, who knows")
            deepest = max(deepest, depth + change)
            branch = re.fullmatch(rf"b({CONDITIONS})?|cbn?z", name)
            target = re.search(r"([0-9a-f]+) <", operands)
            if branch and target:
                to = int(target[1], 16)
                if to in instruction and to != at:
                    ways.append((to, depth))
                if name == "b":
                    continue
            sometimes = re.search(rf"^(bx|pop|ldmia|ldr|add|sub|push)({CONDITIONS})$", name)
            leaves = re.match(r"bx", name) or (change < 0 and "pc" in operands)
            if leaves and not sometimes:
                continue
            if sometimes and change and not leaves:
                ways.append((following[where], depth))
            if where not in following:
                raise Refused(f"{where:x}: the code runs on into what follows it")
            ways.append((following[where], depth if leaves else depth + change))
        return deepest


CONDITIONS = "eq|ne|cs|cc|hs|lo|mi|pl|vs|vc|hi|ls|ge|lt|gt|le"


def registers(operands):
    count = 0
    for part in re.search(r"\{([^}]*)\}", operands)[1].split(","):
        ends = [int(n) for n in re.findall(r"\d+", part)]
        count += ends[1] - ends[0] + 1 if "-" in part else 1
    return count


def stack_taken(name, operands):
    """Bytes that an instruction takes from the stack, below 0 where it gives back;
    None: cannot be told."""
    if name.startswith("push") or (name.startswith("stmdb") and operands.startswith("sp!")):
        return 4 * registers(operands)
    if name.startswith("pop") or (re.match(r"ldmia|ldmfd", name) and operands.startswith("sp!")):
        return -4 * registers(operands)
    if m := re.match(r"v(push|pop)", name):
        bytes_ = (8 if "d" in operands else 4) * registers(operands)
        return bytes_ if m[1] == "push" else -bytes_
    if m := re.search(r"\[sp, #(-?\d+)\]!", operands):
        return -int(m[1])
    if m := re.search(r"\[sp\], #(-?\d+)", operands):
        return -int(m[1])
    if m := re.match(r"sp, (?:sp, )?#(\d+)", operands):
        if re.match(r"(sub|add)", name):
            return int(m[1]) if name.startswith("sub") else -int(m[1])
        return None
    if re.match(r"(sp|MSP|PSP)\b", operands) and not re.match(r"(cmp|cmn|tst|str)", name):
        return None
    return 0


def handlers_in(section_text, code, apart):
    """Symbols that a vector table, as objdump -s prints it, names behind the stack and the reset."""
    words = [int.from_bytes(bytes.fromhex(word), "little")
             for line in re.findall(r"^ [0-9a-f]+ ((?:[0-9a-f]{8} ){1,4})", section_text, re.M)
             for word in line.split()]
    symbol_at = {address: symbol for symbol, address in code.address.items()}
    named = {word & ~1 for word in words[2:] if word} - {code.address.get(name) for name in apart}
    if not words or not named <= symbol_at.keys():
        raise Refused("no vector table, or one that names what is no function")
    return sorted(symbol_at[at] for at in named)


class Program:
    def __init__(self, texts, code=None, fixed=None):
        self.frames = {}  # title -> (bytes, kind)
        self.edges = {}
        self.code = code
        self.fixed = dict(fixed or {})
        self.by_symbol = {}
        for text in texts:
            self.read(text)
        self.memo = {}
        self.title_at = {}
        if code:
            for title in self.frames:
                if symbol_of(title) in code.address:
                    self.title_at[code.address[symbol_of(title)]] = title
            self.symbol_at = {a: s for s, a in code.address.items()}

    def read(self, text):
        for line in text.splitlines():
            if m := NODE.match(line):
                if f := FRAME.search(m[2]):
                    self.frames[m[1]] = (int(f[1]), f[2])
                    self.by_symbol.setdefault(symbol_of(m[1]), m[1])
            elif m := EDGE.match(line):
                self.edges.setdefault(m[1], set()).add(m[2])

    def resolve(self, name):
        """The function that a title, a symbol or another name of the same code means."""
        if name in self.frames:
            return name
        symbol = symbol_of(name)
        if symbol in self.by_symbol:
            return self.by_symbol[symbol]
        if self.code and symbol in self.code.address:
            return self.title_at.get(self.code.address[symbol], symbol)
        # The constructor of a whole object is that of its base, compiled once.
        other = self.by_symbol.get(symbol.replace("C1E", "C2E"))
        return other or symbol

    def callees(self, title):
        out = set()
        for target in self.edges.get(title, ()):
            if target == "__indirect_call":
                raise Refused(f"a call through a pointer in {title}")
            out.add(self.resolve(target))
        symbol = symbol_of(title)
        if symbol in self.fixed:
            return out
        if self.code and symbol in self.code.address:
            called, indirect = self.code.calls(self.code.address[symbol])
            if indirect:
                raise Refused(f"a jump through a register in {title}")
            for at in called:
                if at in self.symbol_at:
                    out.add(self.title_at.get(at, self.symbol_at[at]))
        return out

    def frame(self, title):
        symbol = symbol_of(title)
        if symbol in self.fixed:
            return self.fixed[symbol]
        if title in self.frames:
            bytes_, kind = self.frames[title]
            if kind != "static":
                raise Refused(f"the frame of {title} is only known as it runs ({kind})")
            return bytes_
        if self.code and symbol in self.code.address:
            try:
                return self.code.frame(self.code.address[symbol])
            except Refused as why:
                raise Refused(f"{symbol}: {why}; state it by --fixed") from None
        raise Refused(f"{symbol} has no body here: state its bytes by --fixed")

    def deepest(self, name, path=()):
        """(bytes, chain of titles) below and with a function."""
        title = self.resolve(name)
        if title in path:
            raise Refused("recursion: " + " -> ".join(path[path.index(title):] + (title,)))
        if title not in self.memo:
            own = self.frame(title)
            below, chain = 0, ()
            for callee in sorted(self.callees(title)):
                depth, names = self.deepest(callee, path + (title,))
                if depth > below or not chain:
                    below, chain = depth, names
            self.memo[title] = (own + below, (title,) + chain)
        return self.memo[title]


def plain(titles):
    names = [symbol_of(t) for t in titles]
    try:
        return subprocess.run(["c++filt"], input="\n".join(names), check=True, capture_output=True,
                              text=True).stdout.splitlines()
    except (OSError, subprocess.CalledProcessError):
        return names


def tell(program, title, chain):
    print(title)
    for name, shown in zip(chain, plain(chain)):
        print(f"  {program.frame(name):6}  {shown[:110]}")


def main(argv):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("image")
    parser.add_argument("calls", nargs="+")
    parser.add_argument("--root", required=True)
    parser.add_argument("--interrupt", action="append", default=[])
    parser.add_argument("--vectors", metavar="SECTION")
    parser.add_argument("--begins-anew", default="", metavar="HANDLERS")
    parser.add_argument("--fixed", action="append", default=[])
    parser.add_argument("--fpu", action="store_true")
    parser.add_argument("--limit", type=int)
    parser.add_argument("--objdump", default="arm-none-eabi-objdump")
    options = parser.parse_args(argv)
    fixed = {}
    for one in options.fixed:
        symbol, _, bytes_ = one.partition("=")
        if not bytes_.isdigit():
            parser.error(f"--fixed {one}: SYMBOL=BYTES")
        fixed[symbol] = int(bytes_)
    texts = []
    for name in options.calls:
        with open(name, encoding="utf-8") as file:
            texts.append(file.read())
    code = None if options.image == "-" else MachineCode.read(options.image, options.objdump)
    program = Program(texts, code, fixed)
    try:
        total, chain = program.deepest(options.root)
        tell(program, f"from {options.root}: {total} B", chain)
        if options.vectors:
            table = subprocess.run([options.objdump, "-s", "-j", options.vectors, options.image],
                                   check=True, capture_output=True, text=True).stdout
            options.interrupt.append(",".join(handlers_in(table, code, options.begins_anew.split(","))))
        entry = EXCEPTION_BYTES + ALIGN_BYTES + (FPU_BYTES if options.fpu else 0)
        for handlers in options.interrupt:
            depth, chain = max(program.deepest(h) for h in handlers.split(","))
            tell(program, f"interrupt {symbol_of(chain[0])}: {depth} + {entry} B at its entry", chain)
            total += depth + entry
    except Refused as why:
        print(f"stack_bound: {why}", file=sys.stderr)
        return 1
    within = options.limit is None or total <= options.limit
    print(f"at most {total} B of stack" +
          ("" if options.limit is None else f", of {options.limit} B" +
           ("" if within else ": too much")))
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
