"""Lines, good and bad: every line gets one last answer, a refused line moves and changes nothing.

References: NISTIR 6556 (2000) for words, blanks, comments and line numbers; a second, independent
reader of the same language below, made of regular expressions and `fractions`.
"""

import functools
import operator
import random
import re
import unittest
from fractions import Fraction

from bench import Board, default_settings
from test_angles import nearest, step_of


def checksum(text):
    """Closes a line with the exclusive-or of its bytes."""
    return f"{text}*{functools.reduce(operator.xor, text.encode(), 0)}"


class Model:
    """Reads lines the way PROTOCOL.md says, by other means than the program."""

    NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
    NEEDS = {"G0": "A", "G1": "A", "G4": "P"}
    MAY = {None: "F", "G0": "F", "G1": "F", "G92": "A", "M170": "PQ"}
    COMMANDS = "G0 G1 G4 G28 G92 M2 M30 M170 M171 M172 M173 M174 M175".split()

    def __init__(self):
        self.ideal = Fraction(0)
        self.absolute = True
        self.feed = None
        self.zero = 0

    def accepts(self, line):
        """Says whether the line is good; if so takes over what it does."""
        words = self.words(line)
        if words is None:
            return False
        command, mode, values = words
        absolute = self.absolute if mode is None else mode == "G90"
        feed = values.get("F", self.feed)
        target = None
        if any(values.get(letter, 0) < 0 for letter in "PQ"):
            return False
        if any(values.get(letter, 0) > 86400 for letter in "PQ"):
            return False
        if values.get("F", 1) <= 0:
            return False
        if command == "G1":
            # Slower than one step a minute is refused.
            if feed is None or feed / 360 * Fraction(1650688, 405) < 1:
                return False
        if command in ("G0", "G1"):
            target = values["A"] + (0 if absolute else self.ideal)
        elif command == "G28":
            target = Fraction(0)
        elif command == "G92":
            target = values.get("A", Fraction(0))
        if target is not None:
            if abs(target) > 3600000:
                return False
            self.ideal = target
        if command == "G92":
            self.zero += 1
        self.absolute = True if command in ("M2", "M30") else absolute
        self.feed = feed
        return True

    def words(self, line):
        if not re.fullmatch(r"[\t -~]{0,256}", line):
            return None
        closing = re.search(r"\*[ \t0-9]*\Z", line)
        if closing:
            told = re.sub(r"[*\s]", "", closing.group())
            line = line[: closing.start()]
            if not re.fullmatch("[0-9]{1,3}", told):
                return None
            if int(told) != functools.reduce(operator.xor, line.encode(), 0):
                return None
        line = re.sub(r"\([^()]*\)|;.*", lambda m: "" if m.group()[0] == "(" else ";", line)
        line = line.split(";")[0]
        text = re.sub(r"[ \t]", "", line).upper()
        found = re.findall(rf"([A-Z])({self.NUMBER.pattern})", text)
        if "".join(letter + number for letter, number in found) != text:
            return None
        command = mode = None
        values = {}
        for place, (letter, number) in enumerate(found):
            if len(re.sub(r"^[+-]?0*|\..*", "", number)) > 9:
                return None
            value = Fraction(re.sub(r"(\.[0-9]{6})[0-9]*", r"\1", number))
            if letter == "N":
                if place or value < 0 or value.denominator != 1:
                    return None
            elif letter in "GM":
                word = f"{letter}{value}"
                if word in ("G90", "G91"):
                    if mode:
                        return None
                    mode = word
                elif word in self.COMMANDS and command is None:
                    command = word
                else:
                    return None
            elif letter in "AFPQ" and letter not in values:
                values[letter] = value
            else:
                return None
        needs = set(self.NEEDS.get(command, ""))
        if not needs <= set(values) <= needs | set(self.MAY.get(command, "")):
            return None
        return command, mode, values


GOOD = (
    "",
    " \t ",
    "N7",
    "n0 ; only a number",
    "(only a comment)",
    "()",
    "; (not a comment of its own",
    "F300",
    "G90",
    "N10 g91 (incremental) G0 A0",
    "G0A0",
    "g00 a+0",
    "G0 A-.0",
    "G1 A0. F.5",
    "G0 A0.00000000000000000000000000000000000000001",
    "G0 A000000000000000000000000000000000000",
    "m2",
    "M30",
    "M172.000",
    "G92 (here) A0",
    "(5*3) M172",
    "G4 P0",
    checksum("N3 G28"),
    checksum("M172 (with * and ;)"),
    checksum("G28 ; said aloud"),
    checksum(""),
    checksum("m172") + "  \t",
    "A0 G0",
)

# (line, a part of the reason)
BAD = (
    ("A10", "A without a command"),
    ("G0", "G0 needs A"),
    ("G1 A10", "needs F"),
    ("G1 A10 F0", "F must be above 0"),
    ("G1 A10 F-5", "F must be above 0"),
    ("G1 A10 F0.01", "too small"),
    ("F0", "F must be above 0"),
    ("G0 A", "A has no number"),
    ("G0 A.", "A has no number"),
    ("G0 A-", "A has no number"),
    ("G0 A--1", "A has no number"),
    ("G0 ANaN", "A has no number"),
    ("G0 Anan", "A has no number"),
    ("G0 Ainf", "A has no number"),
    ("G0 A1e3", "E"),
    ("G0 A0x10", "X"),
    ("G0 A1,5", "','"),
    ("G0 A1.2.3", "'.'"),
    ("G0 A10 A20", "A stands twice"),
    ("G0 A10 G1 F100", "one command a line"),
    ("G0 G0 A10", "one command a line"),
    ("G28 G0 A10", "one command a line"),
    ("G0 A10 M2", "one command a line"),
    ("G90 G91 G0 A1", "G91 beside G90"),
    ("G28 A5", "G28 takes no A"),
    ("G0 A5 P1", "takes no P"),
    ("G4", "G4 needs P"),
    ("G4 P-1", "P must be"),
    ("G4 P86400.000001", "P must be"),
    ("M170 P-1", "P must be"),
    ("M170 Q999999", "Q must be"),
    ("G2 A10", "unknown word G2"),
    ("G0.5 A10", "unknown word G0.5"),
    ("G-1 A1", "unknown word G-1"),
    ("G92.1", "unknown word G92.1"),
    ("M3", "unknown word M3"),
    ("M106 A1", "unknown word M106"),
    ("X10 G0 A1", "unknown word X"),
    ("T1", "unknown word T"),
    ("G0 A3600001", "beyond"),
    ("G0 A-3600000.000001", "beyond"),
    ("G0 A999999999", "beyond"),
    ("G0 A1000000000", "too large"),
    ("G0 A" + "9" * 200, "too large"),
    ("G92 A3600001", "beyond"),
    ("G0 N5 A1", "N may only open a line"),
    ("N5 N6 G0 A1", "N may only open a line"),
    ("N1.5 G0 A1", "whole number"),
    ("N-1 G0 A1", "whole number"),
    ("N G0 A1", "N has no number"),
    ("10", "'1' stands"),
    ("G0 A10 %", "'%'"),
    ("/G0 A10", "'/'"),
    ("G0 A10 (open", "( without )"),
    ("G0 A10 (a (b) c)", "( inside a comment"),
    ("G0 A10)", ") without ("),
    ("G0 A10*", "one to three digits"),
    ("G0 A10*1234", "one to three digits"),
    ("G0 A10*12", "checksum is wrong"),
    ("G0 A10*-8", "'*'"),
    ("G0 A10*8 G28", "'*'"),
    ("G0 A10 ; a comment*12", "checksum is wrong"),
    ("G0 A10\x00", "0x00"),
    ("G0 A10\x7f", "0x7F"),
    ("G0 A1\x0b0", "0x0B"),
    ("G0 A10 (\xe9)", "not plain text"),
    ("G0 A10" + " " * 251, "longer than 256"),
)


class Words(unittest.TestCase):
    def test_good_lines(self):
        with Board() as board:
            board.read_line()
            for line in GOOD:
                self.assertEqual(board.ask(line), ([], "ok"), line)
                self.assertTrue(Model().accepts(line), line)

    def test_bad_lines_move_and_change_nothing(self):
        with Board() as board:
            before = board.status()
            for line, reason in BAD:
                infos, answer = board.ask(line.encode("latin-1"))
                self.assertTrue(answer.startswith("error: "), (line, answer))
                self.assertIn(reason, answer, line)
                self.assertEqual(infos, [])
                self.assertFalse(Model().accepts(line), line)
            self.assertEqual(board.status(), before)
            self.assertEqual(board.log_text() + board.shutter_log.read_text(), "")
            # A refused line has not set mode or feed either.
            board.ask("G91 G0 A9999999")
            board.ask("F500 G0")
            board.ok("G0 A10")
            board.ok("G0 A10")
            self.assertEqual(board.position(), step_of(Fraction(10)))
            self.assertIn("needs F", board.ask("G1 A0")[1])

    def test_blanks_inside_numbers(self):
        # NISTIR 6556: "g0x +0. 12 34y 7" equals "g0 x+0.1234 y7"; here with our axis.
        with Board() as board:
            board.ok("g0a +1 0. 12 34")
            self.assertEqual(board.position(), step_of(Fraction("10.1234")))
            board.ok("  G\t9 1 g 0\ta- 1 0 .1 2 3 4 ")
            self.assertEqual(board.position(), 0)

    def test_line_ends(self):
        # LF, CR and CR LF are one end each; LF CR is two.
        with Board() as board:
            board.read_line()
            board.write(b"M172\nM172\rM172\r\nM172\n\rM172\r\n\r\n\r\r\n\n")
            for _ in range(10):
                self.assertEqual(board.read_answer(), ([], "ok"))
            self.assertIsNone(board.read_line(0.2))

    def test_256_characters_are_let_in(self):
        with Board() as board:
            board.ok("G0 A10" + " " * 250)
            self.assertEqual(board.position(), step_of(Fraction(10)))

    def test_seventh_decimal_does_not_count(self):
        # So a checksum's * that is damaged into a digit cannot change an angle of six decimals.
        # 360 steps a turn: half a degree is the border between two steps.
        with Board(settings=default_settings(steps_num=360, steps_den=1)) as board:
            for angle, step in (("0.4999999", 0), ("-0.49999999", 0), ("0.5000000", 1)):
                board.ok(f"G0 A{angle}")
                self.assertEqual(board.status()["step"], str(step), angle)


class Damage(unittest.TestCase):
    """Thousands of lines sent as fast as they go; nothing may move and none go unanswered."""

    def no_move(self, lines, all_errors):
        with Board() as board:
            board.read_line()
            before = board.status()
            board.write(b"".join(line + b"\n" for line in lines))
            for line in lines:
                infos, answer = board.read_answer()
                if all_errors:
                    self.assertTrue(answer.startswith("error: "), (line, answer))
                self.assertEqual(infos, [])
            self.assertEqual(board.status(), before)
            self.assertEqual(board.log_text() + board.shutter_log.read_text(), "")

    def test_random_bytes(self):
        source = random.Random(1)
        allowed = [byte for byte in range(256) if byte not in (10, 13, 0x18)]
        lines = [
            bytes(source.choices(allowed, k=source.choice((3, 10, 40, 255, 257, 600))))
            for _ in range(2500)
        ]
        self.no_move(lines, all_errors=True)

    def test_bad_utf8(self):
        source = random.Random(2)
        bad = (b"\xff", b"\xc3\x28", b"\xe2\x82", b"\xf0\x28\x8c\x28", b"\xed\xa0\x80", b"\xc0\xaf")
        lines = []
        for _ in range(500):
            line = b"G0 A10 (note)"
            at = source.randrange(len(line) + 1)
            lines.append(line[:at] + source.choice(bad) + line[at:])
        self.no_move(lines, all_errors=True)

    def test_one_damaged_byte_under_a_checksum(self):
        # The exclusive-or of all bytes notices any one byte that is changed. The * itself, and
        # bytes that end a line or are CAN, are what a checksum of this kind cannot guard.
        source = random.Random(3)
        lines = []
        while len(lines) < 4000:
            angle = source.randint(-9999999, 9999999)
            whole = bytearray(checksum(f"N{source.randrange(999)} G0 A{angle / 1e4:.6f}").encode())
            at = source.randrange(len(whole))
            new = source.randrange(256)
            if whole[at] == ord("*") or new in (10, 13, 0x18) or new == whole[at]:
                continue
            if chr(whole[at]).lower() == chr(new).lower() and source.random() < 0.9:
                continue
            whole[at] = new
            lines.append(bytes(whole))
        self.no_move(lines, all_errors=True)

    def test_cut_and_joined_lines(self):
        # What a lost stretch of bytes does to two lines: the front of one, the back of the next.
        source = random.Random(4)
        lines = []
        while len(lines) < 1500:
            one = checksum(f"G0 A{source.uniform(-360, 360):.6f}")
            two = checksum(f"G1 A{source.uniform(-360, 360):.6f} F{source.randint(100, 900)}")
            line = one[: source.randrange(1, len(one))] + two[source.randrange(1, len(two)) :]
            if not Model().accepts(line):  # one in 256 or so happens to have the right checksum
                lines.append(line.encode())
        self.no_move(lines, all_errors=True)

    def test_every_line_agrees_with_the_independent_reader(self):
        source = random.Random(5)
        tokens = (
            "G0 G1 G00 G01 G28 G90 G91 G92 G4 G92.0 M2 M30 M171 M172 M173 M175 A A1 A-2.5 A.125 A+3"
            " A0 A1e2 A0.0000004 F F200 F2000 F-1 P0 P0.01 Q0 N1 N N2.5 (x) ( ) ; * *7 *73 X1 nan"
            " A4234567 A9999999999 % . - 5"
        ).split()
        usual = ("G0 A", "G1 A", "G91 G0 A", "G90 G1 A", "G92 A", "G91 G1 F900 A")
        model = Model()
        accepted = 0
        with Board() as board:
            for number in range(4000):
                if source.random() < 0.3:
                    line = source.choice(usual) + f"{source.uniform(-4, 4):.{source.randrange(8)}f}"
                else:
                    line = "".join(
                        source.choice(tokens) + source.choice(("", " ", "\t"))
                        for _ in range(source.randrange(6))
                    )
                if source.random() < 0.2:
                    line = checksum(line)
                if source.random() < 0.3:
                    line = line.lower()
                expected = model.accepts(line)
                accepted += expected
                _, answer = board.ask(line)
                self.assertEqual(answer == "ok", expected, (number, line, answer))
            status = board.status()
            self.assertEqual(int(status["step"]), nearest(model.ideal * Fraction(1650688, 405 * 360)))
            self.assertEqual(int(status["zero"]), model.zero)
            board.changes()  # legal throughout
        self.assertGreater(accepted, 1000)
        self.assertLess(accepted, 3000)


if __name__ == "__main__":
    unittest.main()
