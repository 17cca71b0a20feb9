"""Runs under MicroPython on virtual time: one turn with a stand-in for a slow or deaf way out.

Started by test_output.py as `slow_output.py ROOM BYTES_PER_MS [whole]`. The way out takes ROOM bytes at
once and passes so many on in a millisecond; a write that finds no room waits for it, half a second
at most, as a board's USB does. It reports itself free when there is room for one byte.
ROOM 0: no progress is told at all. `whole`: lines are written in one go, to show that the measure sees it.
"""

import sys
import time

import roundstop_table as program

ROOM, RATE = int(sys.argv[1]), int(sys.argv[2])
WHOLE = len(sys.argv) > 3
WAIT_US = 500000


class Way:
    def __init__(self):
        self.filled = 0
        self.since = time.board_us()
        self.sent = bytearray()
        self.buffer = self  # like sys.stdout.buffer

    def drain(self):
        now = time.board_us()
        gone = (now - self.since) * RATE // 1000
        if gone:
            self.filled = max(0, self.filled - gone)
            self.since = now

    def write(self, data):
        waited = 0
        for byte in data:
            self.drain()
            while self.filled >= ROOM and waited < WAIT_US:
                time.advance_us(100)
                waited += 100
                self.drain()
            if self.filled < ROOM:
                self.filled += 1
                self.sent.append(byte)

    def ipoll(self, _wait):
        self.drain()
        return (1,) if self.filled < ROOM else ()


class InOneGo(program.Output):
    def trickle(self):
        for _ in self.poller.ipoll(0):
            self.stream.write(self.buffer[self.at : self.end])
            self.at = self.end


settings = program.load_settings()
source = program.Input()
way = Way()
output = (InOneGo if WHOLE else program.Output)(sys.stdout)
output.stream = output.poller = way
motor = program.Motor(settings, source, output)
motor.turn(1500, settings.cruise_us(), lambda: False, ROOM > 0)
sys.stdout.write(way.sent.decode())
