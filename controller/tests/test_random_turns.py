"""A thousand random turns, stops and cancels, judged by the coil log alone.

References: kinematics.py (textbook); D. Austin, "Generate stepper-motor speed profiles in real time",
Embedded Systems Programming, January 2005; `fractions` for the angles.
ROUNDSTOP_LONG=1 makes ten times as many turns.
"""

import os
import random
import time
import unittest
from fractions import Fraction

from bench import CAN, Board, decode_log, default_settings, intervals, keys
from kinematics import Ideal, ideal_turn, shortest
from test_angles import STEPS_A_TURN, nearest

TURNS = 10000 if os.environ.get("ROUNDSTOP_LONG") else 1000
# What the program needs between waking and setting the coils, in virtual microseconds.
LATE_US = 60

# start_rate, cruise_rate, accel, jerk: straight and S-shaped, plateau reached and not, long ramps.
PROFILES = (
    (120, 250, 400, 0),
    (120, 250, 400, 8000),
    (120, 250, 400, 300),
    (20, 600, 1500, 12000),
    (100, 600, 90, 70),
    (200, 200, 500, 5000),
)


class Log:
    """Reads the coil log piece by piece, each line once."""

    def __init__(self, board):
        self.file = open(board.log)
        self.tail = []  # the last line with coils on, and what came after it

    def turn(self):
        """Gives the (time, position) of the steps since the last call, counted from there."""
        lines = self.tail + self.file.read().splitlines()
        on = [at for at, line in enumerate(lines) if not line.endswith(decode_log.OFF)]
        self.tail = lines[on[-1] :] if on else []
        return decode_log.steps(decode_log.decode("\n".join(lines)))


class RandomTurns(unittest.TestCase):
    def test_position_and_every_interval(self):
        seed = 20261125
        source = random.Random(seed)
        print("seed", seed)
        cancelled = total = 0
        for start, cruise, accel, jerk in PROFILES:
            settings = default_settings(
                start_rate=start, cruise_rate=cruise, accel=accel, jerk=jerk, cap_rate=5000
            )
            with self.subTest(jerk=jerk, accel=accel), Board(settings=settings) as board:
                log = Log(board)
                board.read_line()
                place = 0
                for number in range(TURNS // len(PROFILES) + 1):
                    span = source.choice((0.2, 1, 3, 3, 10, 10, 90))
                    angle = Fraction(round(source.uniform(-span, span) * 10**6), 10**6)
                    target = nearest(angle * STEPS_A_TURN / 360)
                    peak = 1e6 / -(-1000000 // cruise)
                    line = f"G0 A{float(angle):.6f}"
                    if source.random() < 0.3:
                        degrees_a_minute = source.choice((500, 900, 1500))
                        line = f"G1 A{float(angle):.6f} F{degrees_a_minute}"
                        asked = 1e6 / (degrees_a_minute / 360 / 60 * float(STEPS_A_TURN))
                        peak = min(peak, 1e6 / -(-asked // 1))
                    cancel = source.random() < 0.35
                    board.write(line.encode() + b"\n")
                    if cancel:
                        time.sleep(source.choice((0, 0.001, 0.004)))
                        board.write(CAN)
                    infos, answer = board.read_answer()
                    if cancel and answer == "ok":  # the CAN came after the end
                        infos = [board.read_line()]
                        self.assertTrue(infos[0].startswith("[stopped "))
                    where = int(keys(infos[-1])["step"]) if cancel else target
                    made = log.turn()
                    total += len(made)
                    cancelled += answer != "ok"
                    self.assertEqual(made[-1][1] if made else 0, where - place, (seed, number, line))
                    if answer == "ok":
                        self.assertEqual(where, target)
                    ideal = ideal_turn(abs(target - place), start, peak, accel, jerk)
                    gaps = intervals(made)
                    for at, (gap, least) in enumerate(zip(gaps, shortest(gaps, ideal))):
                        self.assertGreaterEqual(gap, least - 1e-2, (seed, number, line, at))
                    if gaps:
                        rest = max(1e6 / start, 1e6 / peak)
                        self.assertGreaterEqual(min(gaps[0], gaps[-1]), rest - 1e-2)
                    place = where
                    if cancel:  # a stop leaves the wanted angle where the table stands
                        self.assertEqual(int(board.status()["step"]), place)
                # The shaft by the coils of the whole log, from power-up on.
                self.assertEqual(board.position(), place)
                while board.status()["coils"] == "1":
                    time.sleep(0.01)
                self.assertTrue(board.log_text().endswith(" 0000\n"))
        print("steps", total, "cancelled", cancelled)
        self.assertGreater(cancelled, TURNS // 20)

    def test_intervals_are_those_of_the_ideal_motion(self):
        # Not only never shorter: as short as that motion is, but for the rounding and sharing of places.
        for start, cruise, accel, jerk in PROFILES:
            settings = default_settings(
                start_rate=start, cruise_rate=cruise, accel=accel, jerk=jerk, cap_rate=5000
            )
            with self.subTest(jerk=jerk, accel=accel), Board(settings=settings) as board:
                for degrees in (5, 30, 400):
                    seen = len(board.changes())
                    board.ok(f"G91 G0 A{degrees}")
                    gaps = intervals(decode_log.steps(board.changes()[max(0, seen - 1) :]))
                    ideal = ideal_turn(len(gaps) + 1, start, 1e6 / -(-1000000 // cruise), accel, jerk)
                    least = shortest(gaps, ideal)
                    for gap, low in zip(gaps, least):
                        self.assertLessEqual(gap, low * 1.007 + LATE_US)
                    self.assertLess(abs(sum(gaps) / sum(least) - 1), 0.02)
                    if degrees == 400:
                        self.assertGreater(ideal.peak, cruise * 0.95)
                    board.ok("M172")

    def test_straight_ramp_is_austins_recurrence(self):
        # c(n) = c(n-1) - 2 c(n-1) / (4 n + 1), entered at the n where it has reached the start rate.
        start, accel = 120, 400
        with Board() as board:
            board.ok("G0 A30")
            gaps = intervals(decode_log.steps(board.changes()))
        n = start**2 / (2 * accel)
        interval = 1e6 / start
        for gap in gaps[:60]:
            self.assertAlmostEqual(gap / interval, 1, delta=0.015)
            n += 1
            interval -= 2 * interval / (4 * n + 1)

    def test_s_of_the_check_is_a_textbook_s(self):
        # Worked by hand: 0 to 10 steps/s with a = 5, j = 10: bends of 0.5 s, 1.5 s at full
        # acceleration, 2.5 s in all, 12.5 steps; half of the way in time is half of the rise.
        ideal = Ideal(0.0, 10.0, 5.0, 10.0)
        self.assertAlmostEqual(ideal.secs, 2.5)
        self.assertAlmostEqual(ideal.way, 12.5)
        self.assertAlmostEqual(ideal.at(1.25)[1], 5.0)
        self.assertAlmostEqual(ideal.at(0.5)[1], 1.25)
        self.assertAlmostEqual(ideal.at(0.5)[0], 10 * 0.5**3 / 6)


if __name__ == "__main__":
    unittest.main()
