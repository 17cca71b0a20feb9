"""Stands in for the board's `time`: the same functions on a clock that can run faster.

ROUNDSTOP_SPEED is "max" (virtual time: a sleep returns at once and moves the clock on) or the
number of board seconds in one real second. Ticks wrap at 2**30 as on the boards, for the first
time three seconds after power-up, so that every run meets the wrap.
"""

import os
import utime
from utime import *  # noqa: F403  all that is not replaced below

PERIOD = 1 << 30
_HALF = PERIOD >> 1
_AT_POWER_UP = PERIOD - 3000000

_speed = os.getenv("ROUNDSTOP_SPEED") or "1"
VIRTUAL = _speed == "max"
SCALE = 1.0 if VIRTUAL else float(_speed)
_virtual_us = 0
_begun_us = utime.ticks_us()
_before = None


def before_clock(function):
    """Registers a function that is called whenever the program looks at the clock or sleeps."""
    global _before
    _before = function


_alarm_us = None
_alarm = None


def alarm(us, function):
    """Sets the board's one timer; None clears it."""
    global _alarm_us, _alarm
    _alarm_us = us
    _alarm = function


def _strike(until_us):
    """Lets the timer strike if it is due by then, at its own time on a virtual clock."""
    global _alarm_us, _virtual_us
    while _alarm_us is not None and _alarm_us <= until_us:
        if VIRTUAL and _virtual_us < _alarm_us:
            _virtual_us = _alarm_us
        _alarm_us = None
        _alarm()


def board_us():
    """Gives the microseconds since power-up, which never wrap: for the logs."""
    if VIRTUAL:
        return _virtual_us
    us = utime.ticks_us() - _begun_us
    return us if SCALE == 1.0 else int(us * SCALE)


def advance_us(us):
    """Moves virtual time on."""
    global _virtual_us
    until = _virtual_us + us
    if _alarm_us is not None:
        _strike(until)
    _virtual_us = max(_virtual_us, until)


def ticks_us():
    global _virtual_us
    if _before is not None:
        _before()
    _virtual_us += 1  # a look at the clock takes time, so a busy wait ends in virtual time too
    if _alarm_us is not None:
        _strike(board_us())
    return (board_us() + _AT_POWER_UP) & (PERIOD - 1)


def ticks_ms():
    if _before is not None:
        _before()
    return (board_us() // 1000 + _AT_POWER_UP) & (PERIOD - 1)


def ticks_add(ticks, delta):
    return (ticks + delta) & (PERIOD - 1)


def ticks_diff(later, earlier):
    return ((later - earlier + _HALF) & (PERIOD - 1)) - _HALF


def sleep_us(us):
    if _before is not None:
        _before()
    if us <= 0:
        return
    if VIRTUAL:
        advance_us(us)
    else:
        utime.sleep_us(us if SCALE == 1.0 else int(us / SCALE))


def sleep_ms(ms):
    sleep_us(ms * 1000)


def sleep(seconds):
    sleep_us(int(seconds * 1000000))
