#!/usr/bin/env python3
"""Works out half-step positions from a log of the four coil inputs, and from nothing else.

Usage: decode_log.py FILE    prints `microseconds position` for each line with coils on.

The eight patterns in order are one electrical cycle of half-stepping. From one line to the next the
pattern may stay, go one place on, or one place back; going off (0000) keeps the place, and coming
back on must show the pattern of that place, for the rotor has not moved meanwhile. Anything
else is a fault of the controller and raises IllegalLog. The first pattern seen is position 0
unless told otherwise.
"""

import pathlib
import sys
from typing import NamedTuple

# Half-step order of a four-phase unipolar motor, IN1 to IN4.
ORDER = ("1000", "1100", "0100", "0110", "0010", "0011", "0001", "1001")
OFF = "0000"


class IllegalLog(ValueError):
    """Says at which line the coils did what no half-stepping does."""


class Change(NamedTuple):
    """Holds one line of the log: the time and the position, and whether the coils are on."""

    us: int
    position: int
    energised: bool


def decode(text, first_position=0):
    """Gives the changes of a log as a list of Change; raises IllegalLog."""
    changes = []
    position = first_position
    place = None
    last = OFF
    last_us = 0
    for number, line in enumerate(text.splitlines(), 1):
        try:
            us_text, pattern = line.split(" ")
            us = int(us_text)
        except ValueError:
            raise IllegalLog(f"line {number}: '{line}' is not `microseconds IN1IN2IN3IN4`") from None
        if us < last_us:
            raise IllegalLog(f"line {number}: time runs backwards")
        if pattern == last:
            raise IllegalLog(f"line {number}: {pattern} again is no change")
        if pattern != OFF:
            if pattern not in ORDER:
                raise IllegalLog(f"line {number}: {pattern} is no half-step pattern")
            new = ORDER.index(pattern)
            jump = 0 if place is None else (new - place + 4) % 8 - 4
            if jump != 0 and last == OFF:
                raise IllegalLog(f"line {number}: came on at {pattern}, {jump} places off")
            if abs(jump) > 1:
                raise IllegalLog(f"line {number}: {last} to {pattern} is a jump of {jump}")
            position += jump
            place = new
        changes.append(Change(us, position, pattern != OFF))
        last, last_us = pattern, us
    return changes


def steps(changes):
    """Gives the (time, position) of each half-step, without the lines that only switch on or off."""
    made = []
    position = changes[0].position if changes else 0
    for change in changes:
        if change.position != position:
            made.append((change.us, change.position))
            position = change.position
    return made


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__.split("\n\n")[1])
    try:
        changes = decode(pathlib.Path(sys.argv[1]).read_text())
    except (OSError, IllegalLog) as fault:
        sys.exit(f"{sys.argv[1]}: {fault}")
    for change in changes:
        if change.energised:
            print(change.us, change.position)


if __name__ == "__main__":
    main()
