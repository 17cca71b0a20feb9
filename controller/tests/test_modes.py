"""Idle coils, identity, zero, shutter, settings, turning alone. Reference: controller/PROTOCOL.md."""

import re
import signal
import time
import unittest

from bench import Board, decode_log, default_settings, intervals, keys


def until(condition):
    """Waits for something that must come; a hang ends the test."""
    for _ in range(3000):
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError("waited in vain")


class Idle(unittest.TestCase):
    def test_coils_go_off_after_the_set_time_and_come_back_at_the_same_place(self):
        with Board() as board:
            for angle, step in ((1, 11), (2, 23), (-3, -34)):
                board.ok(f"G0 A{angle}")
                until(lambda: board.status()["coils"] == "0")
                changes = board.changes()  # refuses a return at another place of the order
                self.assertFalse(changes[-1].energised)
                self.assertEqual(changes[-1].position, step)
                self.assertGreaterEqual(changes[-1].us - changes[-2].us, 2000000)
                self.assertLess(changes[-1].us - changes[-2].us, 2100000)

    def test_words_for_the_coils(self):
        # The stand-in's clock runs ahead while this process waits its turn: no silence may end M171.
        with Board(settings=default_settings(host_quiet_s=0)) as board:
            board.ok("M171")
            self.assertEqual(board.log_text().split()[1:], ["1000"])
            board.ok("G4 P30")  # kept on by M171, through a turn too
            board.ok("G0 A5")
            board.ok("G4 P30")
            self.assertEqual(board.status()["coils"], "1")
            for off in ("M172", "M2", "M30"):
                board.ok("M171")
                self.assertEqual(board.status()["coils"], "1")
                board.ok(off)
                self.assertEqual(board.status()["coils"], "0")
            board.changes()

    def test_end_of_program_goes_back_to_absolute(self):
        for end in ("M2", "M30"):
            with Board() as board:
                board.ok("G91 G0 A5")
                board.ok(end)
                board.ok("G0 A5")
                self.assertEqual(board.position(), 57)

    def test_no_turn_energises_nothing(self):
        with Board() as board:
            board.ok("G0 A0")
            board.ok("G28")
            self.assertEqual(board.log_text(), "")


class Identity(unittest.TestCase):
    def test_banner_version_and_settings(self):
        with Board("--id", "00ff10") as board:
            self.assertEqual(board.read_line(), "[boot Roundstop-table 1.1.0 protocol=1]")
            self.assertEqual(
                board.ok("M175"), ["[version Roundstop-table 1.1.0 protocol=1 id=00ff10]"]
            )
            self.assertTrue(
                board.ok("M174")[0].startswith(
                    "[settings steps_num=1650688 steps_den=405 start_rate=120 cruise_rate=250"
                    " accel=400 idle_release_s=2.0 shutter=1 half_press_s=0.0 full_press_s=0.2"
                )
            )

    def test_known_and_zero(self):
        with Board() as board:
            first = board.status()
            self.assertEqual((first["known"], first["zero"], first["state"]), ("0", "0", "idle"))
            self.assertTrue(re.fullmatch("[0-9a-f]{6}", first["boot"]))
            board.ok("G0 A33")
            self.assertEqual(board.status()["known"], "0")
            board.ok("G92 A90")
            told = board.status()
            self.assertEqual((told["known"], told["zero"]), ("1", "1"))
            self.assertEqual(told["step"], "1019")  # 90 * 1650688/405/360 = 1018.94
            before = board.position()
            board.ok("G0 A100")
            self.assertEqual(board.position() - before, 1132 - 1019)
            board.ok("G92")
            told = board.status()
            self.assertEqual((told["a"], told["step"], told["zero"]), ("0.000000", "0", "2"))
            # The phase stays that of the rotor: the decoder would refuse a jump.
            board.ok("G0 A-10")
            self.assertEqual(board.position() - before, 1132 - 1019 - 113)

    def test_each_power_up_draws_another_boot_number(self):
        drawn = set()
        for _ in range(4):
            with Board() as board:
                drawn.add(board.status()["boot"])
        self.assertGreater(len(drawn), 1)


class Shutter(unittest.TestCase):
    def presses(self, board):
        return [line.split() for line in board.shutter_log.read_text().splitlines()]

    def test_half_then_full_for_the_times_asked(self):
        with Board() as board:
            board.ok("M170 P0.5 Q1.25")
            half, full, off = self.presses(board)
            self.assertEqual((half[1], full[1], off[1]), ("10", "11", "00"))
            self.assertAlmostEqual(int(full[0]) - int(half[0]), 1250000, delta=10000)
            self.assertAlmostEqual(int(off[0]) - int(full[0]), 500000, delta=10000)
            self.assertGreaterEqual(int(full[0]) - int(half[0]), 1250000)
            self.assertGreaterEqual(int(off[0]) - int(full[0]), 500000)
            self.assertEqual(board.log_text(), "")

    def test_times_and_polarity_of_the_settings(self):
        settings = default_settings(half_press_s=0.3, full_press_s=0.1, shutter_on_level=0)
        with Board(settings=settings) as board:
            board.ok("M170")
            half, full, off = self.presses(board)
            self.assertEqual((half[1], full[1], off[1]), ("01", "00", "11"))
            self.assertAlmostEqual(int(full[0]) - int(half[0]), 300000, delta=10000)
            self.assertAlmostEqual(int(off[0]) - int(full[0]), 100000, delta=10000)

    def test_without_pins(self):
        with Board(settings=default_settings(full_press_pin=None)) as board:
            self.assertIn("full_press_pin", board.ask("M170")[1])
            self.assertEqual(board.settings()["shutter"], "0")
        with Board(settings=default_settings(half_press_pin=None)) as board:
            board.ok("M170 P0.5")
            self.assertEqual(len(self.presses(board)), 2)


WRONG = (
    ({"steps_num": 0}, "steps_num must be a whole number from 1"),
    ({"steps_num": 4075.7728}, "steps_num must be a whole number"),
    ({"steps_num": "4096"}, "steps_num must be"),
    ({"steps_num": True}, "steps_num must be"),
    ({"steps_den": 10**6}, "8 to 50000 steps a turn"),
    ({"start_rate": 0}, "start_rate must be"),
    ({"start_rate": 251}, "start_rate must be a whole number from 1 to cruise_rate (250)"),
    ({"cruise_rate": 601}, "cruise_rate must be a whole number from 1 to cap_rate (600)"),
    ({"accel": -400}, "accel must be"),
    ({"accel": None}, "accel must be"),
    ({"idle_release_s": -1}, "idle_release_s must be a number of seconds"),
    ({"idle_release_s": ...}, "idle_release_s is missing"),
    ({"coil_pins": (1, 2, 3)}, "coil_pins must be four pin numbers"),
    ({"coil_pins": (18, 19, 21, 18)}, "pin 18 is used twice"),
    ({"coil_pins": (18, 19, 21, 26)}, "pin 26 is used twice"),
    ({"coil_pins": (18, 19, 21, 98)}, "a pin number does not suit this board"),
    ({"full_press_pin": -1}, "full_press_pin must be None or pin numbers"),
    ({"shutter_on_level": 2}, "shutter_on_level must be"),
    ({"full_press_s": "long"}, "full_press_s must be"),
    ({"driver": "servo"}, 'driver must be "four_coils" or "step_dir"'),
    ({"reverse": 1}, "reverse must be True or False"),
    ({"spin_turn_s": 0}, "spin_turn_s must be"),
)


class Settings(unittest.TestCase):
    def test_each_wrong_setting_is_named_and_nothing_turns(self):
        for changed, reason in WRONG:
            settings = default_settings(**dict(changed, spin_at_power_up=True))
            with self.subTest(**changed), Board(settings=settings) as board:
                for line in ("G0 A10", "", "M173", "M170", "nonsense", "M171"):
                    infos, answer = board.ask(line)
                    self.assertTrue(answer.startswith("error: settings: "), answer)
                    self.assertIn(reason, answer)
                board.write(b"\x18")
                self.assertEqual(board.read_line(), "[stopped a=0.000000 step=0]")
                self.assertEqual(board.log_text() + board.shutter_log.read_text(), "")

    def test_not_a_number_and_a_file_that_is_no_program(self):
        for text, reason in (
            (default_settings().replace("idle_release_s = 2.0", "idle_release_s = float('nan')"),
             "idle_release_s must be"),
            ("this is = no program (", "table_settings.py cannot be read (SyntaxError)"),
            ("raise KeyError('x')", "table_settings.py cannot be read (KeyError)"),
            ("", 'driver must be'),
        ):
            with self.subTest(reason=reason), Board(settings=text) as board:
                self.assertIn(reason, board.ask("G0 A10")[1])
                self.assertEqual(board.log_text(), "")

    def test_counts_at_the_widest_settings_stay_small(self):
        # MicroPython on a 32-bit board holds integers below 2**30 without memory.
        widest_way = 2 * 10000 * 50000
        self.assertLess(widest_way, 2**30)
        self.assertLess(2 * 400000000, 2**30)  # remainder of the angle, doubled; spin count
        self.assertLess(2**28 + 2 * 400000000, 2**31 - 2**29 - 2**28)
        settings = default_settings(steps_num=50000, steps_den=1)
        with Board(settings=settings) as board:
            board.ok("G92 A-3600000")
            self.assertEqual(board.status()["step"], str(-10000 * 50000))


class Alone(unittest.TestCase):
    def test_switch_off_nothing_turns(self):
        with Board("--spin-switch", "off", connect=False) as board:
            time.sleep(0.2)
            self.assertEqual(board.log_text(), "")

    def test_spins_until_the_first_line_then_carries_it_out(self):
        with Board("--spin-switch", "on", "--speed", "20") as board:
            until(lambda: board.position() > 200)
            board.write(b"M17")  # not a line yet
            seen = board.position()
            until(lambda: board.position() > seen + 100)
            board.write(b"3\n")
            infos, answer = board.read_answer()
            status = keys(infos[-1])
            self.assertEqual((answer, status["known"], status["state"]), ("ok", "0", "idle"))
            self.assertEqual(int(status["step"]), board.position())
            made = decode_log.steps(board.changes())
            gaps = intervals(made)
            # 40 s a turn: 102 half-steps a second, which is under the pull-in rate.
            self.assertGreaterEqual(min(gaps), 1e6 * 40 * 405 / 1650688)
            # The first line has ended it for good, with the switch still on.
            until(lambda: board.status()["coils"] == "0")
            self.assertEqual(board.position(), made[-1][1])
            board.ok("G28")
            self.assertEqual(board.position(), 0)

    def test_fast_spin_ramps_down(self):
        settings = default_settings(spin_turn_s=17, spin_reverse=True)
        with Board("--spin-switch", "on", "--speed", "20", settings=settings) as board:
            until(lambda: board.position() < -400)
            board.ok("")
            gaps = intervals(decode_log.steps(board.changes()))
            self.assertGreaterEqual(gaps[0], 8333)
            self.assertGreaterEqual(gaps[-1], 8333)
            self.assertLess(sorted(gaps)[len(gaps) // 2], 8000)

    def test_can_ends_it_for_good(self):
        with Board("--spin-switch", "on", "--speed", "20") as board:
            until(lambda: board.position() > 50)
            board.write(b"\x18")
            line = board.read_line()
            while not line.startswith("[stopped"):
                line = board.read_line()
            self.assertEqual(int(keys(line)["step"]), board.position())
            place = board.position()
            until(lambda: board.log_text().endswith(" 0000\n"))
            self.assertEqual(board.position(), place)

    def test_switch_stops_and_starts_it(self):
        with Board("--spin-switch", "off", "--speed", "20", connect=False) as board:
            board.process.send_signal(signal.SIGUSR1)
            until(lambda: board.position() > 50)
            board.process.send_signal(signal.SIGUSR1)
            until(lambda: board.log_text().endswith(" 0000\n"))
            place = board.position()
            board.process.send_signal(signal.SIGUSR1)
            until(lambda: board.position() > place + 50)

    def test_setting_without_a_switch(self):
        settings = default_settings(
            spin_at_power_up=True, spin_switch_pin=None, spin_turn_s=10, steps_num=96, steps_den=1
        )
        # 96 steps a turn: the count is folded at whole turns, so it stays small.
        with Board("--speed", "50", settings=settings) as board:
            until(lambda: board.position() > 400)
            told = int(board.status()["step"])
            self.assertEqual(told, board.position() % 96)


if __name__ == "__main__":
    unittest.main()
