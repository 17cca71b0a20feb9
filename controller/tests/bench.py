"""Starts the real program behind its pseudo-terminal and talks to it, for the tests.

Where the checks come from (each test names its own again):
* RS-274/NGC: T. Kramer, F. Proctor, E. Messina, "The NIST RS274NGC Interpreter - Version 3",
  NISTIR 6556, 2000: words, blanks inside a line, comments, rotary degrees without a wrap.
* Speed: v * v = v0 * v0 + 2 a s, textbook kinematics; the recurrence of D. Austin, "Generate
  stepper-motor speed profiles in real time", Embedded Systems Programming, January 2005.
* Steps a turn: gear teeth 22*26*31*32 / (9*9*10*11) as counted and published by makers in 2011,
  times 64 half-steps of the motor.
* Half-step order: data sheets of four-phase unipolar motors, as set down in decode_log.py.
* Exact arithmetic: Python's `fractions`.
* What is the controller's own (M170 to M177, answers, CAN): controller/PROTOCOL.md.
"""

import os
import pathlib
import re
import select
import signal
import subprocess
import sys
import tempfile
import time

CONTROLLER = pathlib.Path(__file__).resolve().parent.parent
RUN = CONTROLLER / "host" / "run"
sys.path.insert(0, str(CONTROLLER / "host"))

import decode_log  # noqa: E402

CAN = b"\x18"
# A hang is a failure; no test says how long anything takes within it.
HANG_SECS = 30


class Board:
    """Holds a running table program with its logs; use it in a with statement."""

    def __init__(self, *options, settings=None, connect=True):
        self.folder = tempfile.TemporaryDirectory(prefix="roundstop-test-")
        root = pathlib.Path(self.folder.name)
        self.link = root / "table"
        self.log = root / "coils.log"
        self.shutter_log = root / "shutter.log"
        self.options = list(options)
        if "--speed" not in self.options:
            self.options += ["--speed", "max"]
        if settings is not None:
            path = root / "settings.py"
            path.write_text(settings)
            self.options += ["--settings", str(path)]
        self.connect = connect
        self.process = None
        self.port = None
        self.received = b""

    def __enter__(self):
        self.process = subprocess.Popen(
            [sys.executable, RUN, self.link, "--log", self.log, "--shutter-log", self.shutter_log]
            + self.options,
            stdout=subprocess.PIPE,
            text=True,
        )
        ready = self.process.stdout.readline()
        if ready != f"ready {self.link}\n":
            self.__exit__()
            raise AssertionError(f"host/run said {ready!r}")
        if self.connect:
            self.open()
        return self

    def __exit__(self, *_):
        self.close()
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        self.process.wait(HANG_SECS)
        self.process.stdout.close()
        self.folder.cleanup()

    def open(self):
        self.port = os.open(self.link, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self.received = b""

    def close(self):
        if self.port is not None:
            os.close(self.port)
            self.port = None

    def write(self, data):
        """Sends bytes, all of them, reading meanwhile so that neither side waits for ever."""
        while data:
            readable, writable, _ = select.select([self.port], [self.port], [], HANG_SECS)
            if readable:
                self.received += os.read(self.port, 65536)
            if writable:
                data = data[os.write(self.port, data) :]
            if not readable and not writable:
                raise AssertionError("the program takes nothing more")

    def read_line(self, wait_secs=HANG_SECS):
        """Gives the next line without its end; None if none comes in the time."""
        deadline = time.monotonic() + wait_secs
        while b"\n" not in self.received:
            left = deadline - time.monotonic()
            if left <= 0 or not select.select([self.port], [], [], left)[0]:
                return None
            self.received += os.read(self.port, 65536)
        line, self.received = self.received.split(b"\n", 1)
        return line.decode("ascii")

    def read_answer(self):
        """Gives (information lines, last answer)."""
        infos = []
        while True:
            line = self.read_line()
            if line is None:
                raise AssertionError(f"no last answer, only {infos[-5:]}")
            if line == "ok" or line.startswith("error: "):
                return infos, line
            assert line.startswith("[") and line.endswith("]"), line
            infos.append(line)

    def ask(self, line):
        """Sends one line and gives (information lines, last answer)."""
        self.write((line if isinstance(line, bytes) else line.encode()) + b"\n")
        return self.read_answer()

    def ok(self, line):
        """Sends a line that must be accepted; gives its information lines."""
        infos, answer = self.ask(line)
        assert answer == "ok", f"{line}: {answer}"
        return infos

    def status(self):
        """Gives the keys of the status line."""
        return keys(self.ok("M173")[-1])

    def settings(self):
        """Gives the keys of the settings line."""
        return keys(self.ok("M174")[-1])

    def log_text(self):
        return self.log.read_text()

    def changes(self):
        """Decodes the coil log; raises on any illegal change."""
        return decode_log.decode(self.log_text())

    def position(self):
        """Gives the place of the shaft by the coil log alone."""
        changes = self.changes()
        return changes[-1].position if changes else 0


def keys(info):
    """Takes a line such as `[status a=1.0 step=2]` apart."""
    return dict(part.split("=", 1) for part in info.strip("[]").split() if "=" in part)


def default_settings(**changed):
    """Gives the settings file with some values replaced; a value of ... takes the setting out."""
    text = (CONTROLLER / "table_settings.py").read_text()
    for name, value in changed.items():
        new = "" if value is ... else f"{name} = {value!r}"
        text, count = re.subn(rf"(?m)^{name} = [^#\n]*", lambda _match, new=new: new, text)
        assert count == 1, name
    return text


def intervals(steps):
    """Gives the times between one step and the next, in microseconds."""
    return [later[0] - earlier[0] for earlier, later in zip(steps, steps[1:])]
