"""Stands in for the board's `machine`: pins that write down what they do.

Two groups of pins are logged, each to its own file: the motor's and the shutter's. A line is
`microseconds levels`, such as `1250000 1100`, and is written when a level has changed.

One line is one instant. Pins are set one after another, so a level is held back until the program
next looks at the clock, sleeps or polls (see time.before_clock), or until a pin of the group is
set a second time: whatever happened before that is one instant of the program's time. The
levels are those the pins were given; nothing here knows of steps.
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


def unique_id():
    text = os.getenv("ROUNDSTOP_ID") or "e660583883724a32"
    return bytes(int(text[at : at + 2], 16) for at in range(0, len(text), 2))
