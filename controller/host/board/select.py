"""Stands in for the board's `select`: polling with time-outs on the board's clock."""

import time

import uselect
from uselect import POLLERR, POLLHUP, POLLIN, POLLOUT  # noqa: F401

# In virtual time a wait gives the computer this long to send something before it is skipped,
# so that a line that follows an answer at once is not taken for one that came hours later.
_GRACE_MS = 5


class poll:
    def __init__(self):
        self._real = uselect.poll()
        self.register = self._real.register
        self.unregister = self._real.unregister
        self.modify = self._real.modify

    def ipoll(self, timeout=-1, flags=0):
        return self._wait(self._real.ipoll, timeout)

    def poll(self, timeout=-1):
        return self._wait(self._real.poll, timeout)

    def _wait(self, real, timeout):
        time.ticks_us()  # whatever the pins were set to before the wait stands now
        if timeout <= 0:
            return real(timeout)
        if not time.VIRTUAL:
            return real(max(1, int(timeout / time.SCALE)))
        found = self._real.poll(min(timeout, _GRACE_MS))
        if not found:
            time.advance_us(timeout * 1000)
        return found
