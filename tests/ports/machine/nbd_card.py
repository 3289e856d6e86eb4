"""A memory card that the harness holds in its hand: one image file, served to the
emulator as a network block device over a unix socket, every write kept with its time.

Standard  the NBD protocol (https://github.com/NetworkBlockDevice/nbd, doc/proto.md): fixed
          newstyle handshake, simple replies; reads, writes, flush.
Why not   a plain file: the emulator's card never tears, drops or refuses a write. What a cut
          does to the last writes has to be done here, and for that they must be known.
"""
import os
import pathlib
import random
import socket
import struct
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent.parent / "conformity"))
import programs  # noqa: E402

SECTOR_BYTES = 512
HANDSHAKE_MAGIC, OPTION_MAGIC, REPLY_MAGIC = b"NBDMAGIC", b"IHAVEOPT", 0x3E889045565A9
OPT_EXPORT_NAME, OPT_ABORT, OPT_INFO, OPT_GO = 1, 2, 6, 7
REP_ACK, REP_INFO, REP_ERR_UNSUP = 1, 3, (1 << 31) + 1
REQUEST_MAGIC, SIMPLE_REPLY_MAGIC = 0x25609513, 0x67446698
READ, WRITE, DISCONNECT, FLUSH = 0, 1, 2, 3
EIO = 5


def next_power_of_two(number):
    return 1 << (number - 1).bit_length()


def prepared_card(found, folder, **more):
    """A card in the harness's hand, prepared by `packmile card prepare`, in `folder`/van.img."""
    path = pathlib.Path(folder) / "van.img"
    programs.run(found.packmile, "card", "prepare", path, "--van", "Linden", "--size-mb", "8", "--yes")
    return NbdCard(path, **more)


class Write:
    """One write as it came: when, where, what it brought and what stood there before."""

    def __init__(self, at_s, offset, new, old):
        self.at_s, self.offset, self.new, self.old = at_s, offset, new, old


class NbdCard:
    """Serves `image` at `path` until close(). The file grows to a power of two, as the
    emulator wants a card to be; what is added lies behind all that the card holds.

    writes     every write since the card was made, oldest first
    fails      a function of (number of the write, offset): true: the write is answered with
               an error, and not done
    swallows   the same: the write is answered as done, and not done
    """

    def __init__(self, image, fails=None, swallows=None, at_least=0):
        self.image = pathlib.Path(image)
        self.size = next_power_of_two(max(self.image.stat().st_size, at_least))
        os.truncate(self.image, self.size)
        self.file = os.open(self.image, os.O_RDWR)
        self.path = self.image.with_suffix(".nbd")
        self.path.unlink(missing_ok=True)
        self.fails = fails or (lambda number, offset: False)
        self.swallows = swallows or (lambda number, offset: False)
        self.writes, self.failed, self.swallowed = [], [], []
        self.lock = threading.Lock()
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(str(self.path))
        self.listener.listen(4)
        self.threads = [threading.Thread(target=self._accept, daemon=True)]
        self.threads[0].start()
        self.trouble = None

    @property
    def drive(self):
        return f"nbd:unix:{self.path}"

    def close(self):
        self.listener.close()
        for thread in self.threads[1:]:
            thread.join(timeout=5)
        os.close(self.file)
        self.path.unlink(missing_ok=True)
        if self.trouble:
            raise self.trouble

    def read(self, offset, length):
        return os.pread(self.file, length, offset)

    def put(self, offset, data):
        """As the harness's own hand: no write of the machine."""
        os.pwrite(self.file, data, offset)

    def _accept(self):
        while True:
            try:
                client, _ = self.listener.accept()
            except OSError:
                return
            thread = threading.Thread(target=self._serve, args=(client,), daemon=True)
            self.threads.append(thread)
            thread.start()

    def _serve(self, client):
        try:
            with client:
                if self._shake_hands(client):
                    self._transmit(client)
        except (ConnectionError, EOFError):
            pass  # the emulator was killed: what this is for
        except Exception as error:  # else it would die with the thread, unseen
            self.trouble = error

    @staticmethod
    def _take(client, length):
        data = b""
        while len(data) < length:
            more = client.recv(length - len(data))
            if not more:
                raise EOFError
            data += more
        return data

    def _shake_hands(self, client):
        client.sendall(HANDSHAKE_MAGIC + OPTION_MAGIC + struct.pack(">H", 3))
        self._take(client, 4)
        export = struct.pack(">QH", self.size, 1 | 4)  # has flags, takes FLUSH
        while True:
            magic, option, length = struct.unpack(">8sII", self._take(client, 16))
            assert magic == OPTION_MAGIC
            self._take(client, length)
            reply = lambda kind, data=b"": client.sendall(
                struct.pack(">QIII", REPLY_MAGIC, option, kind, len(data)) + data)
            if option == OPT_EXPORT_NAME:
                client.sendall(export)
                return True
            if option in (OPT_GO, OPT_INFO):
                reply(REP_INFO, struct.pack(">H", 0) + export)
                reply(REP_ACK)
                if option == OPT_GO:
                    return True
            elif option == OPT_ABORT:
                reply(REP_ACK)
                return False
            else:
                reply(REP_ERR_UNSUP)

    def _transmit(self, client):
        while True:
            magic, _, kind, handle, offset, length = struct.unpack(">IHHQQI", self._take(client, 28))
            assert magic == REQUEST_MAGIC
            error, data = 0, b""
            if kind == READ:
                data = self.read(offset, length)
            elif kind == WRITE:
                error = self._write(offset, self._take(client, length))
            elif kind == DISCONNECT:
                return
            client.sendall(struct.pack(">IIQ", SIMPLE_REPLY_MAGIC, error, handle) + data)

    def _write(self, offset, data):
        with self.lock:
            number = len(self.writes) + len(self.failed) + len(self.swallowed)
            write = Write(time.monotonic(), offset, data, self.read(offset, len(data)))
            if self.fails(number, offset):
                self.failed.append(write)
                return EIO
            if self.swallows(number, offset):
                self.swallowed.append(write)
                return 0
            os.pwrite(self.file, data, offset)
            self.writes.append(write)
            return 0

    def cut(self, rng: random.Random, seconds, since=0):
        """What a power cut may do to the writes of the last seconds, newest write last: each is
        kept, lost, torn at any byte (behind it the old bytes, FF or noise) or noise, whatever
        became of those after it. Only writes from number `since` on. Returns those that are not
        whole any more. Sources: hardware-notes/cards.md."""
        with self.lock:
            last = self.writes[-1].at_s if self.writes else 0
            recent = [w for w in self.writes[since:] if w.at_s >= last - seconds]
            hurt = []
            for write in reversed(recent):  # to what stood there before all of them
                self.put(write.offset, write.old)
            for write in recent:
                fate = rng.choice(("kept", "lost", "torn", "torn", "noise"))
                length = len(write.new)
                if fate == "kept":
                    self.put(write.offset, write.new)
                    continue
                hurt.append(write)
                if fate == "lost":
                    continue
                at = rng.randrange(length) if fate == "torn" else 0
                rest = rng.choice((write.old[at:], b"\xff" * (length - at), rng.randbytes(length - at)))
                if fate == "noise":
                    rest = rng.randbytes(length)
                self.put(write.offset, write.new[:at] + rest)
            return hurt
