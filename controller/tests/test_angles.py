"""Angles: exact however many turns are made. Reference: Python's `fractions`."""

import random
import unittest
from fractions import Fraction

from bench import Board, default_settings, keys

# Teeth as counted and published (see bench.py): 64 half-steps of the motor times the gear.
STEPS_A_TURN = 64 * Fraction(22 * 26 * 31 * 32, 9 * 9 * 10 * 11)


def nearest(value):
    """Rounds a Fraction to the nearest integer, ties away from zero."""
    whole = abs(value) + Fraction(1, 2)
    floor = whole.numerator // whole.denominator
    return floor if value >= 0 else -floor


def step_of(degrees, steps_a_turn=STEPS_A_TURN):
    return nearest(degrees * steps_a_turn / 360)


def angle_text(step, steps_a_turn=STEPS_A_TURN):
    """Writes the angle of a step with six decimals, by way of exact fractions."""
    return degrees_text(Fraction(step) * 360 / steps_a_turn)


def degrees_text(degrees):
    """Writes an angle with six decimals."""
    micro = nearest(degrees * 1000000)
    sign = "-" if micro < 0 else ""
    return f"{sign}{abs(micro) // 1000000}.{abs(micro) % 1000000:06d}"


class Exactness(unittest.TestCase):
    def test_default_gear_is_the_fraction_of_the_counted_teeth(self):
        with Board() as board:
            told = board.settings()
        self.assertEqual(
            Fraction(int(told["steps_num"]), int(told["steps_den"])), STEPS_A_TURN
        )

    def test_random_absolute_and_incremental_turns(self):
        random_source = random.Random(20250611)
        ideal = Fraction(0)
        travelled = Fraction(0)
        with Board() as board:
            for number in range(300):
                decimals = random_source.randrange(7)
                span = random_source.choice((1, 20, 400))
                amount = Fraction(
                    random_source.randint(-span * 10**decimals, span * 10**decimals), 10**decimals
                )
                target = ideal + amount
                incremental = random_source.random() < 0.5
                word = amount if incremental else target
                line = "%s %s A%s" % (
                    "G91" if incremental else "G90",
                    random_source.choice(("G0", "G1 F2000", "G1")) if number > 50 else "G1 F2000",
                    degrees_text(word),
                )
                infos = board.ok(line)
                travelled += abs(amount)
                ideal = target
                status = board.status()
                self.assertEqual(int(status["step"]), step_of(ideal), line)
                self.assertEqual(status["a"], angle_text(step_of(ideal)))
                for info in infos:
                    if info.startswith("[turning "):
                        told = keys(info)
                        self.assertEqual(told["a"], angle_text(int(told["step"])), info)
            self.assertGreater(travelled, 20 * 360)
            self.assertEqual(board.position(), step_of(ideal))

    def test_even_stops_over_many_turns_do_not_drift(self):
        # 72 stops a turn as 5-degree increments, eleven turns: every whole turn lands on the
        # rounded multiple of the exact fraction, and no single stop is more than half a step off.
        with Board() as board:
            board.ok("G91")
            for stop in range(1, 72 * 11 + 1):
                board.ok("G0 A5")
                if stop % 24 == 0:
                    step = int(board.status()["step"])
                    self.assertEqual(step, step_of(Fraction(5 * stop)))
                    self.assertLessEqual(abs(step - stop * STEPS_A_TURN / 72), Fraction(1, 2))
            self.assertEqual(board.position(), nearest(11 * STEPS_A_TURN))

    def test_increments_below_a_step_are_not_lost(self):
        # 0.0001 degree is far below a step of 0.088 degrees: each turn alone rounds to nothing, but
        # 3000 of them are 0.3 degrees.
        with Board() as board:
            board.ok("G91")
            for _ in range(3000):
                board.ok("G0 A.0001")
            self.assertEqual(int(board.status()["step"]), step_of(Fraction(3, 10)))

    def test_ties_go_away_from_zero_both_ways(self):
        # 360 steps a turn: half a degree is half a step.
        with Board(settings=default_settings(steps_num=360, steps_den=1)) as board:
            for angle, step in ((0.5, 1), (-0.5, -1), (1.5, 2), (2.5, 3), (-2.5, -3), (0.499999, 0)):
                board.ok(f"G0 A{angle}")
                self.assertEqual(int(board.status()["step"]), step, angle)

    def test_other_gear(self):
        with Board(settings=default_settings(steps_num=4096, steps_den=1)) as board:
            for angle in (Fraction(10), Fraction(-725, 2), Fraction(123456, 1000)):
                board.ok(f"G0 A{float(angle)}")
                self.assertEqual(board.position(), step_of(angle, Fraction(4096)))

    def test_rotary_degrees_do_not_wrap(self):
        # NISTIR 6556: A370 after A10 is a full turn on.
        with Board() as board:
            board.ok("G0 A10")
            first = board.position()
            board.ok("G0 A370")
            self.assertEqual(board.position() - first, step_of(Fraction(370)) - step_of(Fraction(10)))
            board.ok("G28")
            self.assertEqual(board.position(), 0)

    def test_positive_is_the_rising_order_of_the_coils(self):
        with Board() as board:
            board.ok("G0 A0.1")
            self.assertEqual(board.log_text().split()[1:4:2], ["1000", "1100"])
        with Board(settings=default_settings(reverse=True)) as board:
            board.ok("G0 A0.1")
            self.assertEqual(board.log_text().split()[1:4:2], ["1000", "1001"])
            self.assertEqual(board.status()["step"], "1")

    def test_far_angles_at_the_bound(self):
        with Board() as board:
            board.ok("G92 A3599999.999999")
            self.assertEqual(
                int(board.status()["step"]), step_of(Fraction("3599999.999999"))
            )
            board.ok("G91 G0 A0.000001")
            self.assertEqual(board.status()["a"], angle_text(step_of(Fraction(3600000))))
            before = board.log_text()
            self.assertTrue(board.ask("G0 A0.000001")[1].startswith("error: A would be beyond"))
            self.assertTrue(board.ask("G90 G0 A-3600000.000001")[1].startswith("error: A"))
            self.assertEqual(board.log_text(), before)

    def test_every_pair_of_neighbours_in_both_directions(self):
        # The decoder refuses any change that is not one place on or back in the half-step order.
        with Board() as board:
            board.ok("G0 A2")
            board.ok("G0 A-2")
            board.ok("G0 A0")
            patterns = [line.split()[1] for line in board.log_text().splitlines()]
            pairs = set(zip(patterns, patterns[1:]))
            board.changes()
        ring = ["1000", "1100", "0100", "0110", "0010", "0011", "0001", "1001"]
        for one, other in zip(ring, ring[1:] + ring[:1]):
            self.assertIn((one, other), pairs)
            self.assertIn((other, one), pairs)


if __name__ == "__main__":
    unittest.main()
