"""What is told in a turn delays no step, and the timer makes steps whatever the loop is busy with.

Step lateness is measured on virtual time, by the coil log.
"""

import os
import subprocess
import sys
import tempfile
import unittest

from bench import CONTROLLER, Board, decode_log, default_settings, intervals
from kinematics import ideal_turn, shortest

SPEEDS = (120, 1e6 / 4000, 400, 0)
LATE_US = 60


def lateness(gaps, speeds=SPEEDS):
    """Gives the longest time by which a step came after its due time."""
    least = shortest(gaps, ideal_turn(len(gaps) + 1, *speeds))
    return max(gap - low for gap, low in zip(gaps, least))


def turn_on(*arguments):
    """Makes one turn with the stand-in for a way out; gives its gaps and what came through."""
    with tempfile.NamedTemporaryFile() as log:
        done = subprocess.run(
            [sys.executable, "-m", "micropython_unix", str(CONTROLLER / "tests" / "slow_output.py")]
            + list(arguments),
            env=dict(
                os.environ,
                MICROPYPATH=f"{CONTROLLER / 'host' / 'board'}:{CONTROLLER}",
                ROUNDSTOP_SPEED="max",
                ROUNDSTOP_LOG=log.name,
            ),
            stdin=subprocess.PIPE,
            capture_output=True,
            text=True,
            timeout=60,
        )
        if done.returncode:
            raise AssertionError(done.stdout + done.stderr)
        text = log.read().decode()
    return intervals(decode_log.steps(decode_log.decode(text))), done.stdout


class Telling(unittest.TestCase):
    def test_no_step_is_late_for_a_slow_or_deaf_reader(self):
        quiet, said = turn_on("0", "0")
        self.assertEqual(said, "")
        self.assertLess(lateness(quiet), LATE_US)
        # A quick line, one of 9600 baud with a small buffer, and a reader that takes nothing.
        for room, rate, lines in (("4096", "100", 11), ("16", "1", 10), ("64", "0", 1)):
            gaps, said = turn_on(room, rate)
            print("room", room, "rate", rate, "lateness us", lateness(quiet), lateness(gaps))
            self.assertLess(lateness(gaps), LATE_US)
            self.assertGreaterEqual(said.count("[turning a="), lines)
            for line in said.split("\n")[:-1]:
                self.assertRegex(line, r"\A\[turning a=[0-9]+\.[0-9]{6} step=[0-9]+\]\Z")

    def test_the_measure_sees_a_line_written_in_one_go(self):
        gaps, _ = turn_on("16", "1", "whole")
        self.assertGreater(lateness(gaps), 5000)
        gaps, _ = turn_on("64", "0", "whole")
        self.assertGreater(lateness(gaps), 400000)


class Timer(unittest.TestCase):
    def test_steps_by_the_timer_are_the_same_and_in_time(self):
        for jerk in (0, 8000):
            made = {}
            for pacer in ("loop", "timer", "auto"):
                settings = default_settings(pacer=pacer, jerk=jerk)
                with Board(settings=settings) as board:
                    told = board.settings()["pacer"]
                    self.assertEqual(told, "loop" if pacer == "loop" else "timer")
                    for line in ("G0 A30", "G0 A29.9", "G1 A10 F200", "G0 A0"):
                        board.ok(line)
                    made[pacer] = decode_log.steps(board.changes())
            self.assertEqual([place for _, place in made["loop"]], [place for _, place in made["timer"]])
            gaps = intervals([step for step in made["timer"]][:340])
            self.assertLess(lateness(gaps, (120, 250, 400, jerk)), 5)
            self.assertGreaterEqual(
                min(g - s for g, s in zip(gaps, shortest(gaps, ideal_turn(340, 120, 250, 400, jerk)))), 0
            )

    def test_stops_and_index_with_the_timer(self):
        settings = default_settings(pacer="timer", index_pin=5)
        with Board("--index-at", "20", settings=settings) as board:
            board.ok("M176")
            self.assertEqual(board.position(), 227)  # 20 degrees are 226.4 steps
        with Board("--speed", "20", settings=settings) as board:
            board.write(b"G0 A300\n")
            while not board.read_line().startswith("[turning "):
                pass
            board.write(b"\x18")
            infos, answer = board.read_answer()
            self.assertEqual(answer, "error: stopped")
            self.assertEqual(int(infos[-1].split("step=")[1].rstrip("]")), board.position())
            self.assertGreaterEqual(intervals(decode_log.steps(board.changes()))[-1], 8333)

    def test_a_board_without_such_a_timer(self):
        with Board("--no-timer", settings=default_settings(pacer="auto")) as board:
            self.assertEqual(board.settings()["pacer"], "loop")
            board.ok("G0 A1")
        with Board("--no-timer", settings=default_settings(pacer="timer")) as board:
            self.assertIn("settings: pacer: this board has no timer", board.ask("G0 A1")[1])


if __name__ == "__main__":
    unittest.main()
