"""The index switch, and coils let go when the computer falls silent. Reference: controller/PROTOCOL.md.

The magnet is the stand-in's: it sits on the plate worked out from the coils, behind a gear with play.
"""

import pathlib
import signal
import tempfile
import time
import unittest
from fractions import Fraction

from bench import CAN, Board, decode_log, default_settings, intervals, keys
from test_angles import STEPS_A_TURN, step_of

INDEX = default_settings(index_pin=5, index_at_deg=12.5)


def edge_step(degrees, turn=0):
    """Gives the first step at which a magnet at that angle from power-up is seen."""
    exact = (Fraction(degrees) / 360 + turn) * STEPS_A_TURN
    return -(-exact.numerator // exact.denominator)


class Index(unittest.TestCase):
    def test_found_from_anywhere_at_the_same_step(self):
        # The magnet is 6 degrees wide: starts before it, on it, just past it, and behind zero.
        for start, turn in ((0, 0), (39, 0), (42, 0), (47, 1), (-300, 0), (-323, -1)):
            with self.subTest(start=start), Board(
                "--index-at", "40", "--play", "1.5", settings=INDEX
            ) as board:
                board.ok(f"G0 A{start}")
                self.assertEqual(board.status()["index"], "on" if start == 42 else "off")
                before = board.status()
                board.ok("M176")
                self.assertEqual(board.position(), edge_step(40, turn))
                told = board.status()
                self.assertEqual((before["known"], told["known"], told["index"]), ("0", "1", "on"))
                self.assertEqual(told["zero"], "1")
                self.assertEqual(int(told["step"]), step_of(Fraction(25, 2)))
                # The last approach: A+ at no more than the start rate, after a run-up past the play.
                made = decode_log.steps(board.changes())
                run = 0
                while made[-1 - run][1] - made[-2 - run][1] == 1 and run < 40:
                    run += 1
                self.assertEqual(run, 40)
                self.assertGreaterEqual(min(intervals(made[-40:])), 8334 - 1)
                # From now on angles are those of the index.
                board.ok("G0 A22.5")
                self.assertEqual(
                    board.position() - made[-1][1], step_of(Fraction(45, 2)) - step_of(Fraction(25, 2))
                )

    def test_index_log_follows_the_plate(self):
        with tempfile.TemporaryDirectory() as folder:
            log = pathlib.Path(folder) / "index.log"
            options = ("--index-at", "40", "--index-width", "3", "--index-log", str(log))
            with Board(*options, settings=INDEX) as board:
                board.ok("G0 A90")
                made = dict(decode_log.steps(board.changes()))
                seen = [line.split() for line in log.read_text().splitlines()]
        self.assertEqual([level for _, level in seen], ["1", "0"])
        self.assertEqual(made[int(seen[0][0])], edge_step(40))
        self.assertEqual(made[int(seen[1][0])], edge_step(43))

    def test_not_found_within_a_turn(self):
        with Board(settings=INDEX) as board:
            self.assertEqual(board.ask("M176")[1], "error: index not found within a turn")
            told = board.status()
            self.assertEqual((told["known"], told["zero"]), ("0", "0"))
            # The steps made are counted all the same, a little over one turn.
            self.assertEqual(int(told["step"]), board.position())
            self.assertTrue(4076 < board.position() < 4076 * 1.05)
        with Board("--index-at", "0", "--index-width", "400", settings=INDEX) as board:
            self.assertEqual(board.ask("M176")[1], "error: index is on all the way round")

    def test_refused(self):
        with Board() as board:
            self.assertEqual(board.status()["index"], "none")
            for line in ("M176", "M177"):
                self.assertIn("index_pin", board.ask(line)[1])
            self.assertIn("M176 takes no A", board.ask("M176 A3")[1])
        with Board("--index-at", "10", settings=INDEX) as board:
            board.ok("G92")
            self.assertEqual(
                board.ask("M177")[1], "error: no index has been found since power-up: send M176 first"
            )
            self.assertEqual(board.log_text(), "")

    def test_check_tells_a_slip_and_leaves_the_position(self):
        with Board("--index-at", "40", "--slip", "-24", settings=INDEX) as board:
            board.ok("M176")
            board.ok("G0 A200")
            infos = board.ok("M177")
            self.assertEqual(keys(infos[-1])["slip"], "0")
            board.ok("G92 A7")  # the frame moves, the edge does not
            self.assertEqual(keys(board.ok("M177")[-1])["slip"], "0")
            board.process.send_signal(signal.SIGUSR2)
            time.sleep(0.3)
            zero = board.status()["zero"]
            told = keys(board.ok("M177")[-1])
            # The rotor lost 24 steps, so it took 24 more until the edge.
            self.assertEqual(told["slip"], "24")
            status = board.status()
            self.assertEqual((status["zero"], status["known"], status["step"]), (zero, "1", told["step"]))
            board.ok("M176")
            self.assertEqual(keys(board.ok("M177")[-1])["slip"], "0")
            board.changes()

    def test_can_ends_the_search(self):
        with Board("--speed", "20", settings=INDEX) as board:
            board.write(b"M176\n")
            while not board.read_line().startswith("[turning "):
                pass
            board.write(CAN)
            infos, answer = board.read_answer()
            self.assertEqual(answer, "error: stopped")
            self.assertEqual(int(keys(infos[-1])["step"]), board.position())
            self.assertEqual(board.status()["known"], "0")
            gaps = intervals(decode_log.steps(board.changes()))
            self.assertGreaterEqual(gaps[-1], 8333)

    def test_wrong_settings(self):
        for changed, reason in (
            ({"index_at_deg": 361}, "index_at_deg must be a number of degrees"),
            ({"index_at_deg": "5"}, "index_at_deg must be"),
            ({"index_pin": 18}, "pin 18 is used twice"),
            ({"index_on_level": 2}, "index_on_level must be"),
            ({"jerk": -1}, "jerk must be a whole number from 0"),
            ({"jerk": 5.5}, "jerk must be"),
            ({"pacer": "quick"}, "pacer must be"),
            ({"host_quiet_s": -1}, "host_quiet_s must be"),
        ):
            with self.subTest(**changed), Board(settings=default_settings(**changed)) as board:
                self.assertIn(reason, board.ask("M176")[1])
        with Board(settings=default_settings(jerk=None)) as board:
            self.assertEqual(board.settings()["jerk"], "0")


class HostQuiet(unittest.TestCase):
    def test_held_coils_are_let_go_and_the_place_is_kept(self):
        with Board(settings=default_settings(host_quiet_s=90)) as board:
            board.ok("G92 A10")
            board.ok("G0 A20")
            board.ok("M171")
            line = board.read_line()
            self.assertEqual(line, "[released reason=host_quiet %s]" % " ".join(
                f"{key}={board.status()[key]}" for key in ("a", "step")
            ))
            changes = board.changes()
            self.assertFalse(changes[-1].energised)
            self.assertGreaterEqual(changes[-1].us - changes[-2].us, 90 * 10**6)
            self.assertLess(changes[-1].us - changes[-2].us, 92 * 10**6)
            told = board.status()
            self.assertEqual((told["coils"], told["known"]), ("0", "1"))
            self.assertIsNone(board.read_line(0.2))  # once
            board.ok("G0 A10")
            self.assertEqual(board.position(), 0)

    def test_a_long_wait_is_no_silence(self):
        # The host has nothing to say while its own line runs, and its time begins after it.
        with Board(settings=default_settings(host_quiet_s=10)) as board:
            board.write(b"M171\nG4 P500\n")
            self.assertEqual(board.read_answer()[1], "ok")
            self.assertEqual(board.read_answer()[1], "ok")
            self.assertTrue(board.read_line().startswith("[released "))
            self.assertGreaterEqual(board.changes()[-1].us, 510 * 10**6)

    def test_never_with_zero(self):
        with Board(settings=default_settings(host_quiet_s=0)) as board:
            board.ok("M171")
            self.assertIsNone(board.read_line(0.3))
            self.assertEqual(board.status()["coils"], "1")


if __name__ == "__main__":
    unittest.main()
