"""A long stream of random and damaged lines to one running program.

Every line gets exactly one last answer, what that answer is agrees with the independent reader of
test_lines.py, and nothing moves but by a line that reader lets pass. ROUNDSTOP_LONG=1 sends
100,000 lines, otherwise 20,000.
"""

import os
import random
import unittest
from fractions import Fraction

from bench import Board, default_settings
from test_lines import GOOD, Model, checksum
from test_angles import nearest

LONG = bool(os.environ.get("ROUNDSTOP_LONG"))
LINES = 100000 if LONG else 20000
BATCH = 200
CAN = 0x18
# Words that would make the run long or need a switch are left to other tests.
USUAL = (
    "G0 A{a}", "G90 G0 A{a}", "G91 G0 A{a}", "G1 A{a} F900", "G92 A{a}", "G4 P0.1", "G28", "M171",
    "M172", "M173", "M174", "M175", "M2", "M170 P0.1", "N12 G0 A{a} (to the next stop)", "G91", "G90",
)


def lines_of(data, last=None):
    """Cuts bytes into lines the way PROTOCOL.md says; gives (lines, unfinished rest, CANs)."""
    lines = []
    line = bytearray()
    cans = 0
    for byte in data:
        if byte == CAN:
            line.clear()
            cans += 1
        elif byte == 10 and last == 13:
            pass
        elif byte in (10, 13):
            lines.append(bytes(line))
            line.clear()
        else:
            line.append(byte)
        last = byte
    return lines, bytes(line), cans


class Stream:
    """Makes lines, most of them damaged."""

    def __init__(self, seed):
        self.source = random.Random(seed)

    def whole(self):
        line = self.source.choice(USUAL).format(a=f"{self.source.uniform(-3, 3):.{self.source.randrange(7)}f}")
        return checksum(line).encode() if self.source.random() < 0.6 else line.encode()

    def line(self):
        """Gives one line with its end, or what is left of it."""
        source = self.source
        kind = source.randrange(10)
        line = bytearray(self.whole())
        if kind == 0:
            for _ in range(source.randrange(1, 4)):  # bit flips
                at = source.randrange(len(line))
                line[at] ^= 1 << source.randrange(8)
        elif kind == 1:
            line = line[: source.randrange(len(line))]  # cut short
        elif kind == 2:
            line = line[source.randrange(len(line)) :] + self.whole()  # end of one and another
        elif kind == 3:
            line.insert(source.randrange(len(line) + 1), source.choice((0, 1, 3, 4, 7, 8, 10, 13, 24, 27, 127)))
        elif kind == 4:
            line = line * source.choice((3, 20, 90 if LONG else 20))  # beyond 256, or far beyond
        elif kind == 5:
            at = line.rfind(b"*")
            line = line[:at] if at > 0 else line
            line += b"*%d" % source.choice((source.randrange(256), source.randrange(3000)))
        elif kind == 6:
            text = source.choice(("é", "Ä", "‽", "\u202e", "😀", "\x85", "ſ", "K"))
            at = source.randrange(len(line) + 1)
            line[at:at] = text.encode()
        elif kind == 7:
            line = bytearray(source.randrange(256) for _ in range(source.randrange(60)))
        elif kind == 8:
            line = bytearray(source.choice(GOOD).encode())
        return bytes(line) + source.choice((b"\n", b"\r", b"\r\n"))


def accepts(model, line):
    """Asks the independent reader."""
    return model.accepts(line.decode("latin-1"))


class Fuzz(unittest.TestCase):
    def test_stream(self):
        seed = 811
        print("seed", seed)
        stream = Stream(seed)
        model = Model()
        self.last = None
        sent = good = 0
        with Board(settings=default_settings(host_quiet_s=0)) as board:
            board.read_line()
            waiting = []
            while sent < LINES:
                # Bad lines go out together, a good one apart: while it turned, those behind it would
                # meet a full queue.
                data = stream.line()
                lines, rest, cans = lines_of(data, self.last)
                self.assertEqual(rest, b"")
                self.last = data[-1]
                expected = [accepts(model, line) for line in lines]
                if any(expected):
                    self.exchange(board, waiting)
                    waiting = []
                waiting.append((data, lines, expected, cans))
                sent += len(lines)
                good += sum(expected)
                if any(expected) or len(waiting) >= BATCH:
                    self.exchange(board, waiting)
                    waiting = []
            self.exchange(board, waiting)
            status = board.status()
            self.assertEqual(int(status["step"]), nearest(model.ideal * Fraction(1650688, 405 * 360)))
            self.assertEqual(int(status["zero"]), model.zero)
            board.changes()
        print("lines", sent, "accepted", good)
        self.assertGreater(good, LINES // 20)
        self.assertLess(good, LINES // 2)

    def exchange(self, board, items):
        """Sends bytes and compares the answers, exactly one a line."""
        log = board.log.stat().st_size
        board.write(b"".join(data for data, _, _, _ in items))
        stopped = good = 0
        for _, lines, expected, _ in items:
            for line, wanted in zip(lines, expected):
                infos, answer = board.read_answer()
                stopped += sum(info.startswith("[stopped ") for info in infos)
                self.assertEqual(answer == "ok", wanted, (line, answer))
                good += wanted
        while stopped < sum(cans for _, _, _, cans in items):
            info = board.read_line()
            self.assertTrue(info is not None and info.startswith("[stopped "), info)
            stopped += 1
        self.assertEqual(board.received, b"")
        if not good:  # coils may go off meanwhile, but nothing turns
            self.assertIn(board.log.read_bytes()[log:].split()[1:], ([], [b"0000"]))


if __name__ == "__main__":
    unittest.main()
