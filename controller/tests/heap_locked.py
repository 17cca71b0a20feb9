"""Runs under MicroPython: makes turns with the heap locked, so that any allocation is an error.

Started by test_memory.py, which feeds the standard input. The stand-in modules are not used here,
for they allocate; pins are dummies, time and select are MicroPython's own.
"""

import sys

import micropython


class Pin:
    OUT = 0
    IN = 1
    PULL_UP = 2

    def __init__(self, *arguments, value=0):
        self.level = value

    def value(self, level):
        self.level = level


class Machine:
    pass


machine = Machine()
machine.Pin = Pin
sys.modules["machine"] = machine

import roundstop_table as program  # noqa: E402

settings = program.load_settings()
source = program.Input()
motor = program.Motor(settings, source, program.OUTPUT)


def locked(steps, interval_us):
    motor.ramp.plan(abs(steps), interval_us)
    motor.on()
    program.gc.collect()
    motor.progress.begin(motor.step_count)
    micropython.heap_lock()
    try:
        return motor.run(1 if steps > 0 else -1, abs(steps), motor.look, motor.progress)
    finally:
        micropython.heap_unlock()


# Up and down the ramp, backwards through zero, progress lines with both signs, while lines
# (more than the queue holds) come in.
results = [locked(-150, settings.cruise_us()), locked(300, settings.cruise_us())]
print("queued", source.count, "refused", sum(source.refused))
# A CAN comes in the midst of this one.
results.append(locked(5000, settings.cruise_us()))
print("results", results, "stood at", motor.step_count)
try:
    micropython.heap_lock()
    program.decimal(123456789)
    proof = "the lock does not work"
except MemoryError:
    proof = "the lock works"
finally:
    micropython.heap_unlock()
print(proof)
