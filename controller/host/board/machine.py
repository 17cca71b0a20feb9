"""Stands in for the board's `machine`: pins that write down what they do.

Two groups of pins are logged, each to its own file: the motor's and the shutter's. A line is
`microseconds levels`, such as `1250000 1100`, and is written when a level has changed.

One line is one instant. Pins are set one after another, so a level is held back until the program
next looks at the clock, sleeps or polls (see time.before_clock), or until a pin of the group is
set a second time: whatever happened before that is one instant of the program's time. The
levels are those the pins were given; nothing there knows of steps.

The index magnet is the one thing that follows the shaft, as it must: the coils' patterns turn a
rotor, the rotor turns the plate through a gear with play, and the magnet sits on the plate.
"""

import os
import sys
import time

PINS = 49  # numbers from 0 on that the stand-in's board has


class _Group:
    """Logs a few pins together."""

    def __init__(self, numbers, path):
        self.numbers = numbers
        self.levels = bytearray(b"0" * len(numbers))
        self.file = open(path, "ab") if path else None  # unbuffered: MicroPython writes through
        self.logged = None
        self.pending = []  # pins set since the last line
        self.on_change = None
        self.since_us = 0

    def start(self, number, level):
        """Sets the level a pin begins with: no change, so no line."""
        self.levels[self.numbers.index(number)] = 48 + level
        self.logged = bytes(self.levels)

    def set(self, number, level):
        place = self.numbers.index(number)
        if self.levels[place] == 48 + level:
            return
        if number in self.pending:
            self.flush()
        if not self.pending:
            self.since_us = time.board_us()
        self.pending.append(number)
        self.levels[place] = 48 + level

    def flush(self):
        if self.pending:
            self.pending.clear()
            levels = bytes(self.levels)
            if levels != self.logged:
                self.logged = levels
                if self.file:
                    self.file.write(b"%d %s\n" % (self.since_us, levels))
                if self.on_change:
                    self.on_change(levels, self.since_us)


def _setting(name, otherwise=None):
    try:
        import table_settings

        return getattr(table_settings, name, otherwise)
    except Exception:
        return otherwise  # the program says what is wrong with the file


def _groups():
    if _setting("driver") == "step_dir":
        motor = [_setting("step_pin"), _setting("dir_pin"), _setting("enable_pin")]
    else:
        motor = _setting("coil_pins") or ()
    shutter = [_setting("half_press_pin"), _setting("full_press_pin")]
    return (
        _Group(list(motor), os.getenv("ROUNDSTOP_LOG")),
        _Group(shutter, os.getenv("ROUNDSTOP_SHUTTER_LOG")),
    )


_motor_group, _shutter_group = _groups()


def _flush():
    if _motor_group.pending:
        _motor_group.flush()
    if _shutter_group.pending:
        _shutter_group.flush()


time.before_clock(_flush)
sys.atexit(_flush)


class _Shaft:
    """Follows the plate from the coils' patterns, and the magnet on it."""

    ORDER = (b"1000", b"1100", b"0100", b"0110", b"0010", b"0011", b"0001", b"1001")

    def __init__(self, at_degrees):
        self.sign = -1 if _setting("reverse") else 1
        self.turn = _setting("steps_num", 0) / _setting("steps_den", 1)
        self.at = at_degrees / 360 * self.turn
        self.width = float(os.getenv("ROUNDSTOP_INDEX_WIDTH") or "6") / 360 * self.turn
        self.play = float(os.getenv("ROUNDSTOP_PLAY") or "0") / 360 * self.turn
        self.slip_path = os.getenv("ROUNDSTOP_SLIP_FILE")
        path = os.getenv("ROUNDSTOP_INDEX_LOG")
        self.file = open(path, "ab") if path else None
        self.phase = None
        self.rotor = 0  # steps since power-up, plus what it slipped
        self.slipped = 0
        self.plate = 0  # in steps; with play it lags behind the rotor in A- direction
        self.level = self.is_on()

    def is_on(self):
        return (self.plate - self.at) % self.turn < self.width

    def follow(self, levels, us):
        if levels in self.ORDER:
            phase = self.ORDER.index(levels)
            if self.phase is not None:
                self.rotor += self.sign * ((phase - self.phase + 4) % 8 - 4)
            self.phase = phase
        if self.slip_path:
            with open(self.slip_path, "rb") as file:
                slipped = int(file.read() or b"0")
            self.rotor += slipped - self.slipped
            self.slipped = slipped
        self.plate = min(max(self.plate, self.rotor), self.rotor + self.play)
        level = self.is_on()
        if level != self.level:
            self.level = level
            if self.file:
                self.file.write(b"%d %d\n" % (us, level))


_shaft = None
if os.getenv("ROUNDSTOP_INDEX_AT"):
    _shaft = _Shaft(float(os.getenv("ROUNDSTOP_INDEX_AT")))
    _motor_group.on_change = _shaft.follow


class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 1
    PULL_DOWN = 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        if not 0 <= number < PINS:
            raise ValueError("invalid pin")
        self.number = number
        self.mode = mode
        self.level = value or 0
        self.group = None
        if mode == self.OUT:
            for group in (_motor_group, _shutter_group):
                if number in group.numbers:
                    self.group = group
                    group.start(number, self.level)
        elif pull == self.PULL_UP:
            self.level = 1

    def value(self, level=None):
        if level is None:
            if self.mode == self.IN and self.number == _setting("spin_switch_pin"):
                return _switch_level()
            if self.mode == self.IN and self.number == _setting("index_pin"):
                return _index_level()
            return self.level
        self.level = 1 if level else 0
        if self.group is not None:
            self.group.set(self.number, self.level)

    def on(self):
        self.value(1)

    def off(self):
        self.value(0)


def _switch_level():
    """Gives the level of the spin switch, which the computer keeps in a file as 0 (off) or 1."""
    on_level = _setting("spin_switch_on_level", 0)
    path = os.getenv("ROUNDSTOP_SWITCH_FILE")
    if path:
        with open(path, "rb") as file:
            if file.read(1) == b"1":
                return on_level
    return 1 - on_level


def _index_level():
    """Gives the level of the index sensor: that of the magnet on the plate, off without one."""
    _flush()
    on_level = _setting("index_on_level", 0)
    return on_level if _shaft is not None and _shaft.level else 1 - on_level


class Timer:
    """Stands in for a board's timer with callbacks in the interrupt: it strikes at its time on the
    board's clock, whatever the program does then. Absent with ROUNDSTOP_TIMER=none."""

    ONE_SHOT = 0
    PERIODIC = 1

    def __init__(self, number=-1):
        if os.getenv("ROUNDSTOP_TIMER") == "none":
            raise ValueError("Timer doesn't exist")

    def init(self, *, mode, period, tick_hz=1000, hard=False, callback=None):
        if mode != self.ONE_SHOT or not hard:
            raise ValueError("the stand-in has one-shot timers in the interrupt only")
        time.alarm(time.board_us() + period * 1000000 // tick_hz, lambda: callback(self))

    def deinit(self):
        time.alarm(None, None)


def unique_id():
    text = os.getenv("ROUNDSTOP_ID") or "e660583883724a32"
    return bytes(int(text[at : at + 2], 16) for at in range(0, len(text), 2))
