"""Stop at once, and the queue. Reference: controller/PROTOCOL.md and the coil log."""

import math
import time
import unittest

from bench import CAN, Board, decode_log, default_settings, intervals, keys

START_US = math.ceil(1e6 / 120)


def wait_for_turning(board):
    line = board.read_line()
    while not line.startswith("[turning "):
        line = board.read_line()


class Stop(unittest.TestCase):
    def test_can_in_a_turn(self):
        with Board("--speed", "20") as board:
            board.write(b"G0 A720\nG0 A10\nM173\n\n")
            wait_for_turning(board)
            seen = len(board.changes())
            board.write(b"G0 A" + CAN)  # in the middle of a line: that line is dropped
            infos, answer = board.read_answer()
            self.assertEqual(answer, "error: stopped")
            self.assertTrue(infos[-1].startswith("[stopped "))
            stopped = keys(infos[-1])
            for _ in range(3):
                self.assertEqual(board.read_answer(), ([], "error: stopped"))
            self.assertIsNone(board.read_line(0.3))
            # Where it says it stopped is where the coils say it stands, and it stays there.
            self.assertEqual(int(stopped["step"]), board.position())
            status = board.status()
            self.assertEqual((status["step"], status["a"]), (stopped["step"], stopped["a"]))
            # It went down the ramp: from the set speed, no gap shorter than the one before, the
            # last one no faster than the start rate.
            made = decode_log.steps(board.changes())
            gaps = intervals(made)
            self.assertGreaterEqual(gaps[-1], START_US)
            self.assertGreater(len(made), seen)
            self.assertLess(len(made), 8000)
            # The next turn is exact again, from the place where it stopped.
            board.ok("G0 A10")
            self.assertEqual(board.position(), 113)

    def test_ramp_down_has_no_more_steps_than_the_speed_needs(self):
        # (250*250 - 120*120) / (2 * 400) = 60.1 steps from the set speed to the pull-in rate.
        with Board("--speed", "20") as board:
            board.write(b"G0 A720\n")
            wait_for_turning(board)
            wait_for_turning(board)
            board.write(CAN)
            board.read_answer()
            gaps = intervals(decode_log.steps(board.changes()))
            tail = 0
            while gaps[-1 - tail] > 4000 * 1.5:  # slower than 167 a second for certain
                tail += 1
            self.assertGreater(tail, 5)
            self.assertLess(tail, 62)
            # The nominal speed rises backwards over at most 63 intervals to the set speed;
            # intervals can be late on this computer but a longer ramp would show as a trend.
            early = sorted(gaps[-300:-70])
            self.assertLess(early[len(early) // 2], 4000 * 1.5)

    def test_slow_turn_stops_within_one_step(self):
        # Below the pull-in rate nothing is ramped: no further step at all. At 1 degree a minute a
        # step takes over five seconds of board time, far longer than the answer takes to come.
        with Board("--speed", "1") as board:
            board.write(b"G1 A90 F1\n")
            while not board.log_text().count("\n") >= 2:
                time.sleep(0.01)
            board.write(CAN)
            infos, answer = board.read_answer()
            self.assertEqual(answer, "error: stopped")
            self.assertEqual(keys(infos[-1])["step"], "1")
            self.assertEqual(board.position(), 1)

    def test_can_in_a_turn_too_fast_for_pauses(self):
        # 200 microseconds a step leave no time to spare, and the line is looked at all the same.
        settings = default_settings(cap_rate=5000, cruise_rate=5000, accel=50000)
        with Board("--speed", "1", settings=settings) as board:
            board.write(b"G0 A3000000\n")
            wait_for_turning(board)
            board.write(CAN)
            infos, answer = board.read_answer()
            self.assertEqual(answer, "error: stopped")
            self.assertEqual(int(keys(infos[-1])["step"]), board.position())
            gaps = intervals(decode_log.steps(board.changes()))
            self.assertGreaterEqual(gaps[-1], START_US)
            self.assertGreaterEqual(min(gaps), 200)

    def test_can_on_the_way_down_leaves_out_no_braking_step(self):
        # Two steps from rest the table is still faster than the pull-in rate.
        settings = default_settings(start_rate=20, accel=1500, cruise_rate=200)
        with Board("--speed", "5", settings=settings) as board:
            for wait_secs in (0.02, 0.03, 0.04, 0.05, 0.06, 0.07):
                before = len(board.changes())
                board.write(b"G91 G0 A2\n")
                time.sleep(wait_secs)
                board.write(CAN)
                board.read_answer()
                made = decode_log.steps(board.changes()[max(0, before - 1) :])
                if len(made) > 2:
                    self.assertGreaterEqual(intervals(made)[-1], 50000)

    def test_can_with_nothing_running(self):
        with Board() as board:
            for data in (CAN, b"G0 A5" + CAN, b"(" + CAN, b"x" * 300 + CAN):
                board.write(data)
                while True:
                    line = board.read_line()
                    if not line.startswith("[boot"):
                        break
                self.assertEqual(line, "[stopped a=0.000000 step=0]")
                self.assertEqual(board.ask("M172"), ([], "ok"))
            self.assertEqual(board.log_text(), "")

    def test_can_ends_a_wait(self):
        with Board("--speed", "1") as board:
            board.write(b"G4 P3600\nG0 A10\n")
            board.write(CAN)
            infos, answer = board.read_answer()
            self.assertEqual(answer, "error: stopped")
            # The bytes may arrive together, so the stop may come before the second line was
            # even looked at: it is queued and is stopped too.
            self.assertEqual(board.read_answer(), ([], "error: stopped"))
            self.assertEqual(board.log_text(), "")

    def test_can_ends_a_press_and_lets_the_shutter_go(self):
        for line in (b"M170 P3600\n", b"M170 Q3600 P1\n"):
            with self.subTest(line=line), Board("--speed", "1") as board:
                board.write(line)
                while not board.shutter_log.read_text():
                    time.sleep(0.01)
                board.write(CAN)
                self.assertEqual(board.read_answer()[1], "error: stopped")
                self.assertTrue(board.shutter_log.read_text().endswith(" 00\n"))

    def test_can_before_the_first_step(self):
        # The stand-in's clock runs ahead while this process waits its turn: no silence may end M171.
        with Board(settings=default_settings(host_quiet_s=0)) as board:
            board.ok("M171")
            before = board.log_text()
            board.write(b"G0 A90\n" + CAN)
            self.assertEqual(board.read_answer()[1], "error: stopped")
            self.assertEqual(board.log_text(), before)

    def test_lines_after_the_can_are_carried_out(self):
        with Board() as board:
            board.write(b"G4 P3000\nG0 A1\n" + CAN + b"G0 A2\nM173\n")
            self.assertEqual(board.read_answer()[1], "error: stopped")
            self.assertEqual(board.read_answer()[1], "error: stopped")
            self.assertEqual(board.read_answer()[1], "ok")
            infos, answer = board.read_answer()
            self.assertEqual((answer, keys(infos[-1])["step"]), ("ok", "23"))

    def test_incremental_angle_after_a_stop_counts_from_where_it_stands(self):
        with Board("--speed", "20") as board:
            board.write(b"G0 A720\n")
            wait_for_turning(board)
            board.write(CAN)
            infos, _ = board.read_answer()
            stopped = int(keys(infos[-1])["step"])
            board.ok("G91 G0 A360")
            # A turn is 4075.77 steps: 4076 from the angle of any whole step, or one less/more by
            # the rounding of that angle to a millionth.
            self.assertEqual(board.position() - stopped, 4076)


class Queue(unittest.TestCase):
    def test_eight_are_queued_the_rest_refused_in_order(self):
        with Board() as board:
            lines = ["G4 P600"] + ["N%d M173" % n for n in range(8)] + ["G0 A45"] * 5
            board.write(("\n".join(lines) + "\n").encode())
            answers = [board.read_answer() for _ in lines]
            self.assertEqual([a for _, a in answers], ["ok"] * 9 + ["error: queue full"] * 5)
            # Those queued see the queue drain.
            queues = [keys(infos[-1])["queue"] for infos, _ in answers[1:9]]
            self.assertEqual(queues, list("76543210"))
            self.assertEqual(board.log_text(), "")

    def test_queue_of_turns_runs_in_order(self):
        with Board() as board:
            for _ in range(5):
                board.write(b"G91\n" + b"G0 A7.5\n" * 8)
                self.assertEqual([board.read_answer()[1] for _ in range(9)], ["ok"] * 9)
            self.assertEqual(int(board.status()["step"]), round(300 * 1650688 / 405 / 360))

    def test_refusals_keep_their_place_between_lines(self):
        # The queue is full twice: behind the first wait, and again behind the second one.
        with Board("--speed", "20") as board:
            board.write(b"G4 P6\nG4 P30\n" + b"\n" * 7 + b"M173\n" * 3)
            self.assertEqual(board.read_answer(), (board_boot(), "ok"))
            # The second wait runs; seven lines are queued, so one more has room and two do not.
            board.write(b"G92\n" + b"M173\n" * 2)
            answers = [board.read_answer()[1] for _ in range(14)]
            full = "error: queue full"
            self.assertEqual(answers, ["ok"] * 8 + [full] * 3 + ["ok"] + [full] * 2)

    def test_long_and_damaged_lines_in_the_queue(self):
        with Board() as board:
            board.write(b"G4 P600\n" + b"y" * 256 + b"\r\n" + b"x" * 5000 + b"\r\xff\n\r" + b"G0\n")
            answers = [board.read_answer()[1] for _ in range(6)]
            self.assertEqual(answers[0], "ok")
            self.assertEqual(answers[2], "error: line longer than 256 characters")
            self.assertEqual(answers[4], "ok")
            self.assertEqual(sum(a.startswith("error: ") for a in answers), 4)


def board_boot():
    return ["[boot Roundstop-table 1.1.0 protocol=1]"]


class StepDirDriver(unittest.TestCase):
    def test_pulses_with_direction_and_enable(self):
        settings = default_settings(driver="step_dir", steps_num=3200, steps_den=1, cruise_rate=600)
        with Board(settings=settings) as board:
            board.ok("G0 A9")
            board.ok("G0 A4.5")
            position = 0
            last = "001"  # STEP, DIR, ENABLE: off while ENABLE is high
            for line in board.log_text().splitlines():
                levels = line.split()[1]
                if levels[0] == "1" and last[0] == "0":
                    self.assertEqual(levels[2], "0")
                    self.assertEqual(levels[1], last[1])  # direction stands before the pulse
                    position += 1 if levels[1] == "1" else -1
                last = levels
            self.assertEqual(position, 40)
            self.assertEqual(board.status()["step"], "40")


if __name__ == "__main__":
    unittest.main()
