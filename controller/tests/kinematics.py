"""The speed profile by other means than the program: floats, closed forms, bisection.

Textbook kinematics: v * v = v0 * v0 + 2 a s for a straight ramp; way = v t + a t**2 / 2 + j t**3 / 6
for each of the three parts of an S-shaped one.
"""

import math


class Ideal:
    """The motion from a start rate up to a peak rate, steps and seconds."""

    def __init__(self, start, peak, accel, jerk):
        self.start, self.peak, self.accel, self.jerk = start, max(start, peak), accel, jerk
        rise = self.peak - start
        if jerk:
            self.bend = min(accel / jerk, math.sqrt(rise / jerk))
            self.flat = max(0.0, rise / accel - accel / jerk)
        else:
            self.bend, self.flat = 0.0, rise / accel
        self.secs = 2 * self.bend + self.flat
        self.way = self.at(self.secs)[0]

    def at(self, secs):
        """Gives (way, rate) after a time."""
        parts = ((self.bend, self.jerk), (self.flat, 0), (self.bend, -self.jerk))
        way, rate = 0.0, self.start
        accel = 0.0 if self.jerk else self.accel
        for length, jerk in parts:
            t = min(secs, length)
            way += rate * t + accel * t**2 / 2 + jerk * t**3 / 6
            rate += accel * t + jerk * t**2 / 2
            accel += jerk * t
            secs -= t
            if secs <= 0:
                break
        return way, rate

    def rate_after(self, way):
        """Gives the rate after a way."""
        if way <= 0:
            return self.start
        if way >= self.way:
            return self.peak
        if not self.jerk:
            return math.sqrt(self.start**2 + 2 * self.accel * way)
        low, high = 0.0, self.secs
        for _ in range(32):
            middle = (low + high) / 2
            if self.at(middle)[0] < way:
                low = middle
            else:
                high = middle
        return self.at(high)[1]


def ideal_turn(steps, start, peak, accel, jerk):
    """Gives the motion of a turn; an S is lowered until up and down fit into the turn."""
    whole = Ideal(start, peak, accel, jerk)
    room = max(0, steps - 2) / 2
    if not jerk or whole.way <= room:
        return whole
    low, high = start, peak
    for _ in range(45):
        middle = (low + high) / 2
        if Ideal(start, middle, accel, jerk).way > room:
            high = middle
        else:
            low = middle
    return Ideal(start, low, accel, jerk)


def shortest(gaps, ideal):
    """Gives for each gap of a turn the shortest it may be, microseconds."""
    rates = {}
    least = []
    for number in range(len(gaps)):
        level = min(number, len(gaps) - 1 - number)
        if level not in rates:
            rates[level] = ideal.rate_after(level)
        least.append(1e6 / rates[level])
    return least
