"""A camera program for tests: it looks at the coils, not at what anybody says.

Usage: coil_camera.py COIL_LOG NOTES PROGRAM FILE DEGREES

Decodes the shaft's true half-step position from the coil log on its own, notes it beside the angle it was
asked for, and has PROGRAM draw the demo's pot at the true angle into FILE.
"""

import subprocess
import sys

# Half-step order of a four-coil stepper (common practice, no source).
ORDER = ["1000", "1100", "0100", "0110", "0010", "0011", "0001", "1001"]
STEPS_PER_TURN = 1650688 / 405  # gear train 22*26*31*32/(9*9*10*11), 64 half-steps a motor turn


def position(path):
    at, phase = 0, None
    for line in open(path):
        if not line.endswith("\n"):
            break
        pattern = line.split()[1]
        if pattern == "0000":
            continue  # coils let go; the gears hold
        new = ORDER.index(pattern)
        if phase is not None:
            move = (new - phase + 4) % 8 - 4
            if abs(move) > 1:
                sys.exit(f"coils jumped by {move} half-steps: {line!r}")
            at += move
        phase = new
    return at


log, notes, program, file, degrees = sys.argv[1:]
steps = position(log)
with open(notes, "a") as out:
    out.write(f"{degrees} {steps}\n")
subprocess.run([program, "demo-frame", file, str(steps * 360 / STEPS_PER_TURN), "--size", "320x240"], check=True)
