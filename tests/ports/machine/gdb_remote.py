"""A few requests of the GDB remote serial protocol (the manual of GDB, appendix "Remote
Protocol"): halt, go on, registers, memory, breakpoints."""
import socket
import struct

REGISTERS = ("r0 r1 r2 r3 r4 r5 r6 r7 r8 r9 r10 r11 r12 sp lr pc").split()


class GdbRemote:
    """Connected to the emulator's unix socket; the machine stands still from then on."""

    def __init__(self, path, timeout_s=30):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(timeout_s)
        self.socket.connect(str(path))
        self.buffer = b""
        self.ask("?")

    def close(self):
        self.socket.close()

    def _packet(self):
        while True:
            start = self.buffer.find(b"$")
            end = self.buffer.find(b"#", start)
            if start >= 0 and 0 <= end <= len(self.buffer) - 3:
                body = self.buffer[start + 1:end]
                self.buffer = self.buffer[end + 3:]
                self.socket.sendall(b"+")
                return body.decode()
            more = self.socket.recv(65536)
            if not more:
                raise EOFError("the emulator closed the line")
            self.buffer += more

    def send(self, body):
        data = body.encode()
        self.socket.sendall(b"$" + data + b"#%02x" % (sum(data) % 256))

    def ask(self, body):
        self.send(body)
        # Being connected is a stop of its own, told when it suits the emulator.
        while (answer := self._packet()).startswith(("T", "S")) and body != "?":
            pass
        return answer

    def go_on(self):
        """Without waiting for the next stop."""
        self.send("c")

    def wait_for_stop(self):
        return self._packet()

    def halt(self):
        self.socket.sendall(b"\x03")
        return self._packet()

    def registers(self):
        raw = self.ask("g")
        return {name: struct.unpack("<I", bytes.fromhex(raw[8 * i:8 * i + 8]))[0]
                for i, name in enumerate(REGISTERS)}

    def set_register(self, name, value):
        done = self.ask("P%x=%s" % (REGISTERS.index(name), struct.pack("<I", value).hex()))
        assert done == "OK", done

    def memory(self, address, length):
        raw = self.ask(f"m{address:x},{length:x}")
        assert not raw.startswith("E"), f"memory at {address:08X}: {raw}"
        return bytes.fromhex(raw)

    def word(self, address):
        return struct.unpack("<I", self.memory(address, 4))[0]

    def set_memory(self, address, data):
        done = self.ask(f"M{address:x},{len(data):x}:{data.hex()}")
        assert done == "OK", done

    def break_at(self, address):
        done = self.ask(f"Z1,{address & ~1:x},2")
        assert done == "OK", done

    def unbreak_at(self, address):
        done = self.ask(f"z1,{address & ~1:x},2")
        assert done == "OK", done
