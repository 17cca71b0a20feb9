"""Nearest steps by Python's own big fractions (fractions.Fraction), an independent computation.

Reads JSON lines {"steps": "1650688/405", "degrees": "360/7", "turns": 3} on standard input and prints,
for each, the nearest step (ties away from zero) and twice the distance to the ideal as a fraction.
"""

import json
import sys
from fractions import Fraction
from math import floor


def nearest(ideal: Fraction) -> int:
    magnitude = floor(abs(ideal) + Fraction(1, 2))
    return magnitude if ideal >= 0 else -magnitude


for line in sys.stdin:
    case = json.loads(line)
    ideal = (Fraction(case["degrees"]) / 360 + case["turns"]) * Fraction(case["steps"])
    step = nearest(ideal)
    print(step, 2 * abs(ideal - step) <= 1)
