"""Turns a small turntable to exact angles, told line by line over a serial line.

MicroPython program for a hobby board (RP2040, ESP32 class). The language on the line is set down
in PROTOCOL.md; pins and speeds are in table_settings.py; wiring and cautions are in README.md.

Four parts follow each other below: settings, parse, motion (input, motor), words and loop.

How it keeps its promises:
* The wanted angle is an integer of millionths of a degree and is rounded once to a step, so
  nothing adds up however many turns are made. No float ever holds a position.
* A step is due one interval after the step before *really* happened, by the microsecond clock.
  A late step makes the turn a little longer; it never makes the next step early. So no pair of
  steps is closer than the speed profile allows, whatever else the board is doing.
* The intervals of the speed profile are worked out before the turn, in whole numbers: most boards'
  floats have single precision, and a test on a computer could not show what that loses.
* The stepping loop allocates nothing, and memory is tidied before a turn, so the garbage
  collector does not run between steps. Numbers used there stay below 2**30, the size of an
  integer that needs no memory on a 32-bit board.
* What is told during a turn goes out byte by byte, and only while the way out is free, so a slow
  or deaf reader delays no step.
"""

import array
import gc
import select
import sys
import time

import machine

NAME = "Roundstop-table"
VERSION = "1.1.0"
PROTOCOL = 1

CAN = 0x18
LINE_MAX = 256
QUEUE_MAX = 8
MILLION = 1000000
ANGLE_MAX_DEG = 3600000  # ten thousand turns either way
SECONDS_MAX = 86400  # the longest wait or press
INTERVAL_MAX_US = 60000000  # the slowest G1: one step a minute
PROGRESS_US = 500000
INDEX_RUN_UP_DEG = 5  # far more than the play of a hobby gear
CTRL_C_OPEN_MS = 5000  # Ctrl-C reaches the REPL this long after power-up, see main()


# ---------------------------------------------------------------------------------------------
# Settings: everything is checked once, at power-up
# ---------------------------------------------------------------------------------------------


class SettingsError(Exception):
    """Says which setting is wrong and what it may be."""


class Settings:
    """Holds the checked settings; times are in whole milliseconds from here on."""

    def __init__(self, source):
        whole, flag, millis, pin = self._whole, self._flag, self._millis, self._pin
        self.source = source
        self.driver = getattr(source, "driver", None)
        if self.driver not in ("four_coils", "step_dir"):
            raise SettingsError('driver must be "four_coils" or "step_dir"')
        if self.driver == "four_coils":
            pins = getattr(source, "coil_pins", None)
            if not isinstance(pins, (tuple, list)) or len(pins) != 4:
                raise SettingsError("coil_pins must be four pin numbers, IN1 to IN4")
            self.motor_pins = [pin("coil_pins", number) for number in pins]
            self.enable_on_level = 0
        else:
            self.motor_pins = [pin(name) for name in ("step_pin", "dir_pin", "enable_pin")]
            self.enable_on_level = whole("enable_on_level", 0, 1)
        self.reverse = flag("reverse")

        self.steps_num = whole("steps_num", 1, 400000000)
        self.steps_den = whole("steps_den", 1, 1000000)
        # The borders keep every step count of ANGLE_MAX_DEG, and the way between two of them,
        # below 2**30.
        if not 8 * self.steps_den <= self.steps_num <= 50000 * self.steps_den:
            raise SettingsError("steps_num / steps_den must be 8 to 50000 steps a turn")

        self.cap_rate = whole("cap_rate", 1, 5000)
        self.cruise_rate = whole("cruise_rate", 1, self.cap_rate, "cap_rate")
        self.start_rate = whole("start_rate", 1, self.cruise_rate, "cruise_rate")
        self.accel = whole("accel", 1, 100000)
        self.jerk = 0 if self._get("jerk") is None else whole("jerk", 0, 10000000)
        self.pacer = self._get("pacer")
        if self.pacer not in ("auto", "loop", "timer"):
            raise SettingsError('pacer must be "auto", "loop" or "timer"')
        self.energise_ms = millis("energise_s", 1)
        self.idle_release_ms = millis("idle_release_s", SECONDS_MAX)
        self.host_quiet_ms = millis("host_quiet_s", SECONDS_MAX)

        self.index_pin = pin("index_pin", optional=True)
        self.index_on_level = whole("index_on_level", 0, 1)
        self.index_at = self._angle("index_at_deg")

        self.half_press_pin = pin("half_press_pin", optional=True)
        self.full_press_pin = pin("full_press_pin", optional=True)
        self.shutter_on_level = whole("shutter_on_level", 0, 1)
        self.half_press_ms = millis("half_press_s", SECONDS_MAX)
        self.full_press_ms = millis("full_press_s", SECONDS_MAX)

        self.spin_switch_pin = pin("spin_switch_pin", optional=True)
        self.spin_switch_on_level = whole("spin_switch_on_level", 0, 1)
        self.spin_at_power_up = flag("spin_at_power_up")
        self.spin_turn_s = whole("spin_turn_s", 1, SECONDS_MAX)
        self.spin_reverse = flag("spin_reverse")
        # Rounded up: a turn takes spin_turn_s or a little more; set speed and slowest step bound it.
        spin_us = -(-self.spin_turn_s * MILLION * self.steps_den // self.steps_num)
        self.spin_us = min(max(spin_us, self.cruise_us()), INTERVAL_MAX_US)

        used = self.motor_pins + [
            number
            for number in (
                self.half_press_pin,
                self.full_press_pin,
                self.spin_switch_pin,
                self.index_pin,
            )
            if number is not None
        ]
        for number in used:
            if used.count(number) > 1:
                raise SettingsError("pin %d is used twice" % number)

    def cruise_us(self):
        """Gives the interval of the set speed, rounded up so that the speed is not exceeded."""
        return -(-MILLION // self.cruise_rate)

    def start_us(self):
        """Gives the first and last interval of a turn, rounded up like cruise_us."""
        return -(-MILLION // self.start_rate)

    def _get(self, name):
        try:
            return getattr(self.source, name)
        except AttributeError:
            raise SettingsError(name + " is missing")

    def _whole(self, name, low, high, high_name=None):
        value = self._get(name)
        if type(value) is not int or not low <= value <= high:
            border = "%d" % high if high_name is None else "%s (%d)" % (high_name, high)
            raise SettingsError("%s must be a whole number from %d to %s" % (name, low, border))
        return value

    def _flag(self, name):
        value = self._get(name)
        if value is not True and value is not False:
            raise SettingsError(name + " must be True or False")
        return value

    def _millis(self, name, high_s):
        value = self._get(name)
        # Written so that NaN fails too.
        if type(value) not in (int, float) or not 0 <= value <= high_s:
            raise SettingsError("%s must be a number of seconds from 0 to %d" % (name, high_s))
        return int(value * 1000 + 0.5)

    def _angle(self, name):
        """Gives degrees as millionths, from the digits as they are written."""
        value = self._get(name)
        try:
            if type(value) not in (int, float):
                raise LineError
            text = repr(value).encode()
            millionths, end = read_number(text, 0, name)
            if end != len(text) or abs(millionths) > 360 * MILLION:
                raise LineError
        except LineError:
            raise SettingsError(name + " must be a number of degrees from -360 to 360")
        return millionths

    def _pin(self, name, number=None, optional=False):
        if number is None:
            number = self._get(name)
        if optional and number is None:
            return None
        if type(number) is not int or not 0 <= number <= 99:
            raise SettingsError(
                "%s must be %spin numbers from 0 to 99" % (name, "None or " if optional else "")
            )
        return number


def load_settings():
    """Reads table_settings.py; every fault in it becomes a SettingsError in plain words."""
    try:
        import table_settings
    except Exception as fault:
        raise SettingsError(
            "table_settings.py cannot be read (%s): copy a correct one to the board"
            % type(fault).__name__
        )
    return Settings(table_settings)


# ---------------------------------------------------------------------------------------------
# Parse: from the bytes of a line to words with exact numbers
# ---------------------------------------------------------------------------------------------


class LineError(Exception):
    """Says why a line is refused; nothing has been moved or changed by it."""


MODE_WORDS = ("G90", "G91")
# What each command may carry: (letters it must have, further letters it may have).
COMMANDS = {
    "": ("", "F"),
    "G0": ("A", "F"),
    "G1": ("A", "F"),
    "G4": ("P", ""),
    "G28": ("", ""),
    "G92": ("", "A"),
    "M2": ("", ""),
    "M30": ("", ""),
    "M170": ("", "PQ"),
    "M171": ("", ""),
    "M172": ("", ""),
    "M173": ("", ""),
    "M174": ("", ""),
    "M175": ("", ""),
    "M176": ("", ""),
    "M177": ("", ""),
}


class Line:
    """Holds what one line asks for; values are integers of millionths."""

    def __init__(self):
        self.command = ""
        self.mode = None
        self.values = {}

    def get(self, letter, otherwise=None):
        """Gives the value of a letter in millionths."""
        return self.values.get(letter, otherwise)


def split_checksum(raw):
    """Gives (what stands before the closing * and its number, that number or None)."""
    at = len(raw) - 1
    digits = 0
    while at >= 0 and (48 <= raw[at] <= 57 or raw[at] in (9, 32)):
        if raw[at] > 32:
            digits += 1
        at -= 1
    if at < 0 or raw[at] != 42:  # *
        return raw, None
    if not 1 <= digits <= 3:
        raise LineError("the * of the checksum needs a number of one to three digits after it")
    claimed = 0
    for byte in raw[at + 1 :]:
        if byte > 32:
            claimed = claimed * 10 + byte - 48
    return raw[:at], claimed


def strip_line(raw):
    """Takes checksum, comments and blanks off a line and gives the rest in capitals."""
    for byte in raw:
        if byte != 9 and not 32 <= byte <= 126:
            raise LineError("byte 0x%02X is not plain text" % byte)
    body, claimed = split_checksum(raw)
    if claimed is not None:
        total = 0
        for byte in body:
            total ^= byte
        if claimed != total:
            raise LineError(
                "checksum is wrong: the line says %d, its bytes give %d" % (claimed, total)
            )
    text = bytearray()
    in_comment = False
    for byte in body:
        if in_comment:
            if byte == 40:
                raise LineError("( inside a comment")
            if byte == 41:
                in_comment = False
        elif byte == 40:
            in_comment = True
        elif byte == 41:
            raise LineError(") without (")
        elif byte == 59:  # ; and all after it is a comment
            break
        elif byte not in (9, 32):
            text.append(byte - 32 if 97 <= byte <= 122 else byte)
    if in_comment:
        raise LineError("( without )")
    return text


def read_number(text, at, letter):
    """Reads a decimal number from text[at:]; gives (millionths, where it ends)."""
    sign = 1
    if at < len(text) and text[at] in b"+-":
        sign = -1 if text[at] == 45 else 1
        at += 1
    whole = 0
    digits = 0
    while at < len(text) and 48 <= text[at] <= 57:
        whole = whole * 10 + text[at] - 48
        digits += 1
        at += 1
        if whole >= 1000000000:
            raise LineError("the number after %s is too large" % letter)
    millionths = 0
    if at < len(text) and text[at] == 46:
        at += 1
        place = MILLION
        while at < len(text) and 48 <= text[at] <= 57:
            place //= 10  # the seventh decimal and later ones do not count
            millionths += (text[at] - 48) * place
            digits += 1
            at += 1
    if digits == 0:
        raise LineError("%s has no number" % letter)
    return sign * (whole * MILLION + millionths), at


def parse_line(raw):
    """Turns the bytes of a line into a Line, or raises a LineError."""
    text = strip_line(raw)
    line = Line()
    at = 0
    while at < len(text):
        if not 65 <= text[at] <= 90:
            raise LineError("'%s' stands where a word should begin" % chr(text[at]))
        letter = chr(text[at])
        first = at == 0
        value, at = read_number(text, at + 1, letter)
        if letter == "N":
            if not first:
                raise LineError("N may only open a line")
            if value < 0 or value % MILLION:
                raise LineError("N must be a whole number")
        elif letter in "GM":
            word = "%s%d" % (letter, value // MILLION)
            if value < 0 or value % MILLION or not (word in COMMANDS or word in MODE_WORDS):
                raise LineError("unknown word %s%s" % (letter, decimal(value)))
            if word in MODE_WORDS:
                if line.mode is not None:
                    raise LineError("%s beside %s" % (word, line.mode))
                line.mode = word
            else:
                if line.command:
                    raise LineError("%s beside %s: one command a line" % (word, line.command))
                line.command = word
        elif letter in "AFPQ":
            if letter in line.values:
                raise LineError("%s stands twice" % letter)
            line.values[letter] = value
        else:
            raise LineError("unknown word %s" % letter)
    needed, allowed = COMMANDS[line.command]
    for letter in needed:
        if letter not in line.values:
            raise LineError("%s needs %s" % (line.command, letter))
    for letter in line.values:
        if letter not in needed and letter not in allowed:
            if line.command == "":
                raise LineError("%s without a command" % letter)
            raise LineError("%s takes no %s" % (line.command, letter))
    return line


def decimal(millionths, least=0):
    """Writes millionths as a decimal number with at least so many decimals."""
    sign = "-" if millionths < 0 else ""
    text = "%s%d.%06d" % (sign, abs(millionths) // MILLION, abs(millionths) % MILLION)
    while text[-1] == "0" and len(text) - text.index(".") - 1 > least:
        text = text[:-1]
    return text[:-1] if text[-1] == "." else text


def round_ratio(top, bottom):
    """Divides exactly and rounds once to the nearest integer, ties away from zero."""
    if top < 0:
        return -((-2 * top + bottom) // (2 * bottom))
    return (2 * top + bottom) // (2 * bottom)


# ---------------------------------------------------------------------------------------------
# Motion, first half: bytes in and out without waiting
# ---------------------------------------------------------------------------------------------


class Input:
    """Gathers lines from the serial line and keeps up to eight, in memory set aside once."""

    def __init__(self):
        self.stream = sys.stdin.buffer
        self.poller = select.poll()
        self.poller.register(sys.stdin, select.POLLIN)
        self.one = bytearray(1)
        # A ring of the queue and one place more for the line that is coming in.
        self.store = bytearray((QUEUE_MAX + 1) * LINE_MAX)
        self.length = [0] * (QUEUE_MAX + 1)  # LINE_MAX + 1 stands for "too long"
        self.refused = [0] * (QUEUE_MAX + 1)  # lines lost to a full queue just after this one
        self.head = 0
        self.count = 0
        self.partial = 0  # bytes of the line that is coming in
        self.after_cr = False
        self.can = False
        self.heard_ms = time.ticks_ms()  # the last byte, or the end of the last line's work
        self.ready(0)  # the first poll sets memory aside, later ones do not

    def ready(self, wait_ms):
        """Says whether a byte can be read; waits up to wait_ms, for ever if negative."""
        for _ in self.poller.ipoll(wait_ms):
            return True
        return False

    def pump(self, bytes_max):
        """Takes in up to so many waiting bytes; stops behind a CAN. Says whether one is there."""
        while bytes_max > 0 and not self.can and self.ready(0):
            self.take_byte()
            bytes_max -= 1
        return self.can

    def look(self):
        """Takes in a little between two steps. Says whether the turn is to end."""
        return self.pump(16)

    def take_byte(self):
        """Reads one byte, which must be ready, and files it."""
        got = self.stream.readinto(self.one)
        if got == 0:
            raise SystemExit  # the stand-in's pipe was closed; a board never comes here
        if got is None:
            return
        self.heard_ms = time.ticks_ms()
        byte = self.one[0]
        if byte == CAN:
            self.can = True
            self.partial = 0
        elif byte == 10 and self.after_cr:
            pass  # the LF of a CR LF
        elif byte == 10 or byte == 13:
            self.end_line()
        elif self.partial < LINE_MAX:
            self.store[(self.head + self.count) % (QUEUE_MAX + 1) * LINE_MAX + self.partial] = byte
            self.partial += 1
        else:
            self.partial = LINE_MAX + 1
        self.after_cr = byte == 13

    def end_line(self):
        """Files the line that has just ended, or counts it as refused when the queue is full."""
        if self.count < QUEUE_MAX:
            place = (self.head + self.count) % (QUEUE_MAX + 1)
            self.length[place] = self.partial
            self.refused[place] = 0
            self.count += 1
        else:
            self.refused[(self.head + self.count - 1) % (QUEUE_MAX + 1)] += 1
        self.partial = 0

    def pop(self):
        """Gives the oldest line as (bytes or None when too long, lines refused behind it)."""
        place = self.head
        length = self.length[place]
        raw = None
        if length <= LINE_MAX:
            raw = bytes(memoryview(self.store)[place * LINE_MAX : place * LINE_MAX + length])
        self.head = (place + 1) % (QUEUE_MAX + 1)
        self.count -= 1
        # A line that is coming in keeps its place: head went on by one, count down by one.
        return raw, self.refused[place]


class Output:
    """Sends lines; one that is told during a turn goes out bit by bit and never waits."""

    def __init__(self, stream):
        self.stream = stream.buffer
        self.poller = select.poll()
        self.poller.register(stream, select.POLLOUT)
        self.poller.ipoll(0)  # the first poll sets memory aside, later ones do not
        self.buffer = bytearray(64)
        self.at = 0
        self.end = 0  # buffer[at:end] is still to be sent
        self.one = bytearray(1)

    def say(self, text):
        """Sends one line, behind what is still to be sent."""
        time.ticks_us()  # lets the stand-in finish its pin logs before the answer can be seen
        if self.at < self.end:
            self.stream.write(bytes(self.buffer[self.at : self.end]))
            self.at = self.end
        self.stream.write(text.encode() + b"\n")

    def trickle(self):
        """Sends one byte of the buffer if there is one and the way out is free.

        No more than one: a way that is free has room for a byte, and nothing says for how many.
        A board's USB waits up to half a second for room that a deaf reader does not make.
        """
        if self.at < self.end:
            for _ in self.poller.ipoll(0):
                self.one[0] = self.buffer[self.at]
                self.stream.write(self.one)
                self.at += 1
                return


OUTPUT = Output(sys.stdout)


def say(text):
    """Sends one line."""
    OUTPUT.say(text)


class Progress:
    """Tells about twice a second in a turn where it is, in small pieces and without allocating.

    The angle is carried along step by step as whole degrees, millionths and a remainder of
    1/steps_num millionth, all small integers: the same exact sum as Table.angle_of, without the
    large product that would need memory.
    """

    PREFIX = b"[turning a="
    MIDDLE = b" step="

    def __init__(self, settings, output):
        self.output = output
        self.num = settings.steps_num
        self.step_micro, self.step_rest = divmod(360 * MILLION * settings.steps_den, self.num)
        self.turn = 360 * MILLION * settings.steps_den
        self.digits = bytearray(12)
        self.at = 0
        self.told_step = 0
        self.told_micro = 0
        self.told_degrees = 0
        self.begin(0)

    def begin(self, step):
        """Sets the angle to that of a step, at rest."""
        micro, self.rest = divmod(step * self.turn, self.num)
        self.degrees = micro // MILLION
        self.micro = micro % MILLION
        self.step = step
        self.piece = 0  # 1 to 3: a line is being written
        self.reported = time.ticks_us()

    def move(self, delta, now):
        """Follows one step, +1 or -1."""
        self.step += delta
        if delta > 0:
            self.micro += self.step_micro
            self.rest += self.step_rest
            if self.rest >= self.num:
                self.rest -= self.num
                self.micro += 1
        else:
            self.micro -= self.step_micro
            self.rest -= self.step_rest
            if self.rest < 0:
                self.rest += self.num
                self.micro -= 1
        self.degrees += self.micro // MILLION
        self.micro %= MILLION
        if time.ticks_diff(now, self.reported) >= PROGRESS_US:
            self.reported = now
            if self.piece == 0 and self.output.at == self.output.end:
                self.take_down()

    def take_down(self):
        """Notes what the next line is to say."""
        self.told_step = self.step
        self.told_micro = self.micro
        self.told_degrees = self.degrees
        twice = self.rest * 2
        if twice > self.num or (twice == self.num and self.degrees >= 0):
            self.told_micro += 1
            if self.told_micro == MILLION:
                self.told_micro = 0
                self.told_degrees += 1
        self.piece = 1

    def work(self):
        """Does one small piece: some digits of the line, or one byte of it on its way."""
        if self.piece == 0:
            self.output.trickle()
        elif self.piece == 1:
            self.at = 0
            self.write(self.PREFIX)
            degrees = self.told_degrees
            if degrees < 0:
                self.put(45)
                if self.told_micro:
                    degrees += 1
                    self.told_micro = MILLION - self.told_micro
                degrees = -degrees
            self.write_digits(degrees, 1)
            self.piece = 2
        elif self.piece == 2:
            self.put(46)
            self.write_digits(self.told_micro, 6)
            self.piece = 3
        else:
            self.write(self.MIDDLE)
            if self.told_step < 0:
                self.put(45)
            self.write_digits(abs(self.told_step), 1)
            self.put(93)
            self.put(10)
            self.output.at = 0
            self.output.end = self.at
            self.piece = 0

    def put(self, byte):
        self.output.buffer[self.at] = byte
        self.at += 1

    def write(self, text):
        for byte in text:
            self.put(byte)

    def write_digits(self, number, least):
        """Writes a number of at least so many digits."""
        count = 0
        while number or count < least:
            self.digits[count] = 48 + number % 10
            number //= 10
            count += 1
        while count:
            count -= 1
            self.put(self.digits[count])


# ---------------------------------------------------------------------------------------------
# Motion, second half: coils, steps and the speed profile
# ---------------------------------------------------------------------------------------------


class FourCoils:
    """Drives four coil inputs in half-steps; each step changes exactly one of them."""

    # IN1 is the highest bit: 1000 1100 0100 0110 0010 0011 0001 1001.
    PATTERNS = bytes((0b1000, 0b1100, 0b0100, 0b0110, 0b0010, 0b0011, 0b0001, 0b1001))

    def __init__(self, settings):
        self.pins = [machine.Pin(n, machine.Pin.OUT, value=0) for n in settings.motor_pins]
        self.pattern = 0
        self.phase = 0  # place in PATTERNS that belongs to the step count, coils on or off

    def put(self, pattern):
        """Sets the inputs that differ."""
        changed = pattern ^ self.pattern
        for index in range(4):
            mask = 8 >> index
            if changed & mask:
                self.pins[index].value(1 if pattern & mask else 0)
        self.pattern = pattern

    def on(self):
        self.put(self.PATTERNS[self.phase])

    def off(self):
        self.put(0)

    def step(self, delta):
        self.phase = (self.phase + delta) & 7
        self.put(self.PATTERNS[self.phase])


class StepDir:
    """Drives a step/direction driver, which keeps the coil phase itself while it has power."""

    PULSE_US = 5
    SETTLE_US = 20

    def __init__(self, settings):
        step, direction, enable = settings.motor_pins
        self.on_level = settings.enable_on_level
        self.enable = machine.Pin(enable, machine.Pin.OUT, value=1 - self.on_level)
        self.step_pin = machine.Pin(step, machine.Pin.OUT, value=0)
        self.direction = machine.Pin(direction, machine.Pin.OUT, value=0)
        self.delta = -1

    def on(self):
        self.enable.value(self.on_level)

    def off(self):
        self.enable.value(1 - self.on_level)

    def step(self, delta):
        if delta != self.delta:
            self.direction.value(1 if delta > 0 else 0)
            self.delta = delta
            time.sleep_us(self.SETTLE_US)
        self.step_pin.value(1)
        time.sleep_us(self.PULSE_US)
        self.step_pin.value(0)


def root(number):
    """Gives the integer square root (Newton's method from above)."""
    if number < 2:
        return number
    guess = 1 << ((len("%x" % number) * 4 + 2) // 2)
    while True:
        better = (guess + number // guess) // 2
        if better >= guess:
            return guess
        guess = better


class Ramp:
    """Holds the intervals from the start rate up to a peak rate; read backwards they lead down.

    The interval at level n is one step at the speed which the ideal motion has after n steps.
    The ideal motion is faster by the end of that step, so a turn is never ahead of it.

    Straight ramp: v * v = v0 * v0 + 2 a n, the motion that D. Austin, "Generate stepper-motor speed
    profiles in real time", Embedded Systems Programming, January 2005, approximates step by step.
    S-shaped ramp (jerk j above 0), textbook kinematics: acceleration rises by j to a, stays, and
    falls by j to nothing at the peak rate; it has three parts, and the third mirrors the first.

    Rates are in millionths of a step a second, ways in millionths of a step, times in
    nanoseconds, all integers.

    Long ramps keep the table short: up to level FINE each level has its place, above it 2, 4, 8 ...
    levels share one, each time for twice as many levels. Speed grows by at most 2/(3 n) of itself
    from level n to the next, so that a shared place holds speed back by no more than 0.6 %.
    """

    FINE = 256
    HALF = FINE // 2

    def __init__(self, settings):
        self.start = settings.start_rate * MILLION
        self.start_us = settings.start_us()
        self.accel = settings.accel
        self.jerk = settings.jerk
        fastest = self.rate_of(settings.cruise_us())
        levels = -(-self.way(fastest) // MILLION)
        self.intervals = array.array("I", bytes(4 * (self.place_of(levels) + 1)))
        self.peak = None  # what the table is filled for
        self.planned = None
        self.plan(1, settings.cruise_us())

    @staticmethod
    def rate_of(interval_us):
        """Gives the rate of an interval, rounded up so that it leads back to the interval."""
        return -(-MILLION * MILLION // interval_us)

    @classmethod
    def place_of(cls, level):
        """Gives the table's place of a level, as Motor.run does step by step."""
        shift = 0
        while level >> shift >= cls.FINE:
            shift += 1
        return shift * cls.HALF + (level >> shift)

    def time(self, rise):
        """Gives (whole time, time of the first part) of an S-shaped ramp that rises by so much."""
        if rise * self.jerk >= self.accel * self.accel * MILLION:
            part = 1000000000 * self.accel // self.jerk
            return 1000 * rise // self.accel + part, part
        part = root(rise * 1000000000000 // self.jerk)  # the accel setting is never reached
        return 2 * part, part

    def way(self, peak):
        """Gives the length of the ramp from the start rate to a peak rate."""
        if peak <= self.start:
            return 0
        if self.jerk == 0:
            return (peak * peak - self.start * self.start) // (2 * MILLION * self.accel)
        return (self.start + peak) * self.time(peak - self.start)[0] // 2000000000

    def plan(self, steps, cruise_us):
        """Gets the table ready for a turn; the S is made lower when the turn is short.

        A straight ramp serves every length: a short turn goes up part of it and down again. Cut
        off in the same way an S would jump from full acceleration to full braking.
        """
        if self.planned == (steps, cruise_us):
            return
        self.planned = (steps, cruise_us)
        peak = self.rate_of(cruise_us)
        room = max(0, steps - 2) * MILLION // 2
        if self.jerk and peak > self.start and self.way(peak) > room:
            low = self.start
            while peak - low > 10000:  # a hundredth of a step a second
                middle = (low + peak) // 2
                if self.way(middle) > room:
                    peak = middle
                else:
                    low = middle
            peak = low
            cruise_us = max(cruise_us, -(-MILLION * MILLION // peak))
        if peak != self.peak:
            self.peak = peak
            self.cruise_us = cruise_us
            self.build(peak)

    def build(self, peak):
        """Fills the table up to a peak rate."""
        way = self.way(peak)
        self.top = -(-way // MILLION)  # from this level on the interval is cruise_us
        if self.top == 0:
            return
        straight = self.jerk == 0
        square = self.start * self.start
        first = 0  # length of the first part
        last = way  # where the third part begins
        if not straight:
            part = self.time(peak - self.start)[1]
            rise = self.jerk * part * part // 2000000000000
            bend = self.jerk * part * part * part // 6000000000000000000000
            first = self.start * part // 1000000000 + bend
            last = way - peak * part // 1000000000 + bend
            square = (self.start + rise) * (self.start + rise)
        for place in range(self.place_of(self.top - 1) + 1):
            shift = max(0, place - self.HALF) // self.HALF
            at = (place - shift * self.HALF << shift) * MILLION
            if straight or first <= at <= last:
                rate = root(square + 2 * MILLION * self.accel * (at - first))
            elif at < first:
                rate = self.bent(self.start, self.jerk, part, at)
            else:
                rate = self.bent(peak, -self.jerk, 0, way - at)
            rate = min(max(rate, self.start), peak)
            self.intervals[place] = max(self.cruise_us, -(-MILLION * MILLION // rate))

    @staticmethod
    def bent(rate, jerk, guess, way):
        """Gives the rate after a way from a rate without acceleration: t by Newton's method.

        way = rate t + jerk t**3 / 6 and the rate sought is rate + jerk t**2 / 2. The guess is on
        that side of t from which the method does not overshoot.
        """
        for _ in range(60):
            now = rate + jerk * guess * guess // 2000000000000
            gone = rate * guess // 1000000000 + jerk * guess * guess * guess // 6000000000000000000000
            change = (way - gone) * 1000000000 // now
            guess += change
            if -2 < change < 2:
                break
        return rate + jerk * guess * guess // 2000000000000


class LoopPacer:
    """Makes the next step when the loop comes round to it after its time."""

    def __init__(self, coils):
        self.coils = coils
        # All set here: an attribute that is new in the stepping loop would take memory.
        self.delta = 0
        self.due = 0
        self.made_us = 0

    def step(self, delta):
        """Makes a step at once."""
        self.coils.step(delta)
        self.made_us = time.ticks_us()

    def arm(self, delta, due):
        """Sets the next step."""
        self.delta = delta
        self.due = due

    def disarm(self):
        """Takes the set step back; gives False if it is too late."""
        return True

    def made(self):
        """Says whether the set step has been made."""
        if time.ticks_diff(self.due, time.ticks_us()) > 0:
            return False
        self.step(self.delta)
        return True


class TimerPacer:
    """Makes the next step in the interrupt of a timer, whatever the loop is busy with."""

    def __init__(self, coils):
        self.coils = coils
        self.delta = 0
        self.made_us = 0
        self.waiting = False
        self.fire = self._fire  # bound once: binding takes memory
        self.timer = machine.Timer(-1)
        # A board without this kind of timer says so here, at power-up.
        self.timer.init(
            mode=machine.Timer.ONE_SHOT, period=1, tick_hz=MILLION, hard=True, callback=self.fire
        )

    def step(self, delta):
        self.coils.step(delta)
        self.made_us = time.ticks_us()

    def arm(self, delta, due):
        self.delta = delta
        self.waiting = True
        gap = time.ticks_diff(due, time.ticks_us())
        self.timer.init(
            mode=machine.Timer.ONE_SHOT,
            period=gap if gap > 1 else 1,
            tick_hz=MILLION,
            hard=True,
            callback=self.fire,
        )

    def _fire(self, _timer):
        if self.waiting:
            self.waiting = False
            self.step(self.delta)

    def disarm(self):
        self.timer.deinit()
        in_time = self.waiting
        self.waiting = False
        return in_time

    def made(self):
        return not self.waiting


def new_pacer(settings, coils):
    """Gives what makes the steps: "timer", "loop", or with "auto" the timer where there is one."""
    if settings.pacer != "loop":
        try:
            return TimerPacer(coils)
        except (AttributeError, TypeError, ValueError, OSError):
            if settings.pacer == "timer":
                raise SettingsError('pacer: this board has no timer for it, choose "loop"')
    return LoopPacer(coils)


class Motor:
    """Counts steps and keeps them to the speed profile."""

    def __init__(self, settings, source, output):
        self.coils = FourCoils(settings) if settings.driver == "four_coils" else StepDir(settings)
        self.pacer = new_pacer(settings, self.coils)
        self.sign = -1 if settings.reverse else 1
        self.look = source.look
        self.progress = Progress(settings, output)
        self.ramp = Ramp(settings)
        self.energise_ms = settings.energise_ms
        self.step_count = 0
        self.seen = False  # whether look() ended the last turn, and after which step
        self.seen_step = 0
        self.energised = False

    def on(self):
        """Energises the coils at the phase of the step count and lets the rotor line up."""
        if not self.energised:
            self.coils.on()
            self.energised = True
            time.sleep_ms(self.energise_ms)

    def off(self):
        self.coils.off()
        self.energised = False

    def turn(self, steps, cruise_us, look=None, progress=True):
        """Moves by so many steps, or until look() says so; gives False if it did."""
        if look is None:
            look = self.look
        if steps == 0:
            return not look()
        self.ramp.plan(abs(steps), cruise_us)
        self.on()
        gc.collect()
        self.progress.begin(self.step_count)
        return self.run(
            1 if steps > 0 else -1, abs(steps), look, self.progress if progress else None
        )

    def run(self, delta, left, look, progress):
        """Makes `left` steps by the planned ramp, fewer if look() says so; allocates nothing."""
        pacer = self.pacer
        coil_delta = delta * self.sign
        intervals = self.ramp.intervals
        start_us = self.ramp.start_us
        cruise_us = self.ramp.cruise_us
        top = self.ramp.top
        fine = self.ramp.FINE
        half = self.ramp.HALF
        level = -1  # steps up the ramp; 0 from the first interval on
        slowed = False  # on the way down
        shift = 0  # so many times the levels of one place in the table have doubled
        stopping = look()
        self.seen = stopping
        self.seen_step = self.step_count
        if stopping:
            return False
        pacer.step(coil_delta)
        while True:
            now = pacer.made_us
            self.step_count += delta
            left -= 1
            if progress is not None:
                progress.move(delta, now)

            if level < 0:
                level = 0
            elif left - 1 < level:
                level -= 1
                slowed = True
                if shift and level >> shift < half:
                    shift -= 1
            elif left - 1 > level and level < top:
                level += 1
                if level >> shift >= fine:
                    shift += 1
            if left == 0:
                interval = start_us  # the rotor comes to rest
            elif level == top:
                interval = cruise_us
            else:
                interval = intervals[shift * half + (level >> shift)]

            due = time.ticks_add(now, interval)
            if left > 0:
                pacer.arm(coil_delta, due)
            first = True
            while True:
                gap = time.ticks_diff(due, time.ticks_us())
                # At least once a step, and else only when there is time for it.
                if first or gap > 400:
                    first = False
                    if not stopping:
                        stopping = look()
                        if stopping:
                            self.seen = True
                            self.seen_step = self.step_count
                        if stopping and left > level + 1:
                            left = level + 1  # down the ramp
                        if stopping and left > 0 and level == 0 and not slowed and pacer.disarm():
                            # At or under the pull-in rate: no further step, only the time to rest.
                            # Not on the way down: there the last step is the one that brakes.
                            left = 0
                            due = time.ticks_add(now, start_us)
                    if progress is not None:
                        progress.work()
                    gap = time.ticks_diff(due, time.ticks_us())
                if gap > 0:
                    time.sleep_us(1000 if gap > 1400 else gap)
                if left == 0:
                    if time.ticks_diff(due, time.ticks_us()) <= 0:
                        return not stopping
                elif pacer.made():
                    break


class IndexWatch:
    """Looks out for an edge of the index switch during a turn."""

    def __init__(self, settings, source):
        self.source = source
        self.pin = input_pin(settings.index_pin, settings.index_on_level)
        self.on_level = settings.index_on_level
        self.wanted = True
        self.until = self.look  # bound once: binding takes memory

    def on(self):
        """Says whether the switch is on."""
        return self.pin.value() == self.on_level

    def look(self):
        """Says whether the turn is to end: a CAN came in, or the switch is as wanted."""
        return self.source.pump(16) or self.on() == self.wanted


def input_pin(number, on_level):
    """Sets up a switch input with the pull away from its on level."""
    pull = machine.Pin.PULL_UP if on_level == 0 else getattr(machine.Pin, "PULL_DOWN", None)
    return machine.Pin(number, machine.Pin.IN, pull)


# ---------------------------------------------------------------------------------------------
# Words: what each command does
# ---------------------------------------------------------------------------------------------

STOPPED = "stopped"


class MoveError(Exception):
    """Says why a motion that was begun has not come to its end."""


class Table:
    """Carries out lines and keeps the angle."""

    def __init__(self, settings, source):
        self.settings = settings
        self.source = source
        self.motor = Motor(settings, source, OUTPUT)
        self.state = "idle"
        self.angle = 0  # the wanted angle, millionths of a degree
        self.absolute = True
        self.feed = None  # F, millionths of a degree a minute
        self.known = 0
        self.zero_count = 0
        self.boot = boot_number()
        self.keep_on = False  # M171
        self.index = None
        if settings.index_pin is not None:
            self.index = IndexWatch(settings, source)
        self.index_step = None  # step of the edge as M176 found it
        self.still_since = time.ticks_ms()
        self.half_press = self.output(settings.half_press_pin)
        self.full_press = self.output(settings.full_press_pin)
        self.alone = True  # no line has come since power-up
        self.switch = None
        if settings.spin_switch_pin is not None:
            self.switch = input_pin(settings.spin_switch_pin, settings.spin_switch_on_level)

    def output(self, number):
        """Sets up a shutter output at its resting level; None stays None."""
        if number is None:
            return None
        return machine.Pin(number, machine.Pin.OUT, value=1 - self.settings.shutter_on_level)

    # Angles and steps

    def step_of(self, angle):
        """Gives the step nearest to an angle: the one place where rounding happens."""
        return round_ratio(
            angle * self.settings.steps_num, 360 * MILLION * self.settings.steps_den
        )

    def angle_of(self, step):
        """Gives the angle of a step, rounded to a millionth of a degree."""
        return round_ratio(
            step * 360 * MILLION * self.settings.steps_den, self.settings.steps_num
        )

    def place(self):
        """Gives the angle and number of the present step for an information line."""
        step = self.motor.step_count
        return "a=%s step=%d" % (decimal(self.angle_of(step), 6), step)

    # Lines

    def carry_out(self, raw):
        """Carries out one line; gives None for ok, STOPPED, or the reason of a refusal."""
        try:
            if raw is None:
                raise LineError("line longer than %d characters" % LINE_MAX)
            line = parse_line(raw)
            target, cruise_us = self.check(line)
        except LineError as fault:
            return str(fault)
        # From here on nothing is refused, so that a refused line has changed nothing.
        if line.mode is not None:
            self.absolute = line.mode == "G90"
        self.feed = line.get("F", self.feed)
        command = line.command
        going_on = True
        if command in ("G0", "G1", "G28"):
            going_on = self.turn_to(target, cruise_us)
        elif command == "G4":
            going_on = self.wait(line.get("P") // 1000 + (1 if line.get("P") % 1000 else 0))
        elif command == "G92":
            step = self.step_of(target)
            if self.index_step is not None:
                self.index_step += step - self.motor.step_count
            self.set_zero(target, step)
        elif command in ("M176", "M177"):
            try:
                going_on = self.find_index() if command == "M176" else self.check_index()
            except MoveError as fault:
                return str(fault)
        elif command in ("M2", "M30"):
            self.keep_on = False
            self.motor.off()
            self.absolute = True
        elif command == "M170":
            going_on = self.press(
                self.millis(line.get("Q"), self.settings.half_press_ms),
                self.millis(line.get("P"), self.settings.full_press_ms),
            )
        elif command == "M171":
            self.keep_on = True
            self.motor.on()
        elif command == "M172":
            self.keep_on = False
            self.motor.off()
        elif command == "M173":
            self.say_status()
        elif command == "M174":
            self.say_settings()
        elif command == "M175":
            say("[version %s %s protocol=%d id=%s]" % (NAME, VERSION, PROTOCOL, board_id()))
        return None if going_on else STOPPED

    def check(self, line):
        """Checks all numbers of a line; gives (wanted angle, interval) where it has them."""
        command = line.command
        if line.get("F", 1) <= 0:
            raise LineError("F must be above 0")
        if command in ("G4", "M170"):
            for letter in "PQ":
                if not 0 <= line.get(letter, 0) <= SECONDS_MAX * MILLION:
                    raise LineError("%s must be 0 to %d seconds" % (letter, SECONDS_MAX))
        if command == "M170" and self.full_press is None:
            raise LineError("the settings name no shutter pin (full_press_pin)")
        if command in ("M176", "M177") and self.index is None:
            raise LineError("the settings name no index switch (index_pin)")
        if command == "M177" and self.index_step is None:
            raise LineError("no index has been found since power-up: send M176 first")
        cruise_us = self.settings.cruise_us()
        if command == "G1":
            feed = line.get("F", self.feed)
            if feed is None:
                raise LineError("G1 needs F once")
            # Interval = 60 s * 360 degrees / (F * steps a turn), rounded up: never faster than F.
            interval = -(
                -60 * MILLION * 360 * MILLION * self.settings.steps_den
                // (feed * self.settings.steps_num)
            )
            if interval > INTERVAL_MAX_US:
                raise LineError("F is too small: it means less than one step a minute")
            cruise_us = max(cruise_us, interval)
        target = None
        if command == "G28":
            target = 0
        elif command == "G92":
            target = line.get("A", 0)
        elif command in ("G0", "G1"):
            absolute = self.absolute if line.mode is None else line.mode == "G90"
            target = line.get("A") + (0 if absolute else self.angle)
        if target is not None and abs(target) > ANGLE_MAX_DEG * MILLION:
            raise LineError("A would be beyond %d degrees" % ANGLE_MAX_DEG)
        return target, cruise_us

    @staticmethod
    def millis(value, otherwise):
        """Gives millionths of a second as milliseconds, rounded up."""
        return otherwise if value is None else -(-value // 1000)

    # Moving, waiting, pressing: each gives False when a CAN ended it

    def set_zero(self, angle, step):
        """Takes the present place for an angle and its step."""
        self.angle = angle
        self.motor.step_count = step
        self.known = 1
        self.zero_count += 1

    def turn_to(self, target, cruise_us):
        """Turns to an angle; after a stop the wanted angle is where the table stands."""
        self.state = "turning"
        try:
            arrived = self.motor.turn(self.step_of(target) - self.motor.step_count, cruise_us)
        finally:
            self.rested()
        self.angle = target if arrived else self.angle_of(self.motor.step_count)
        return arrived

    def seek(self, steps, cruise_us, wanted):
        """Turns by at most so many steps, until the index switch is on, or off; gives whether it is.

        None: a CAN ended it.
        """
        self.index.wanted = wanted
        self.motor.turn(steps, cruise_us, self.index.until)
        if self.source.can:
            return None
        return self.motor.seen

    def find_edge(self):
        """Goes to the edge where the index switch comes on, from A-; gives False for a CAN.

        Two passes: the edge is looked for at the set speed, and then, from a little before it, at
        the start rate. The last approach is always in A+ direction, after a run-up that takes
        up the play of the gear.
        """
        settings = self.settings
        run_up = self.step_of(INDEX_RUN_UP_DEG * MILLION)
        turn = settings.steps_num // settings.steps_den + 1 + run_up
        set_us = settings.cruise_us()
        was_on = self.index.on()
        # Already on: back to where it goes off. Else: on to where it comes on.
        found = self.seek(-turn if was_on else turn, set_us, not was_on)
        if found is None:
            return False
        if not found:
            raise MoveError(
                "index is on all the way round" if was_on else "index not found within a turn"
            )
        back = self.motor.step_count - (self.motor.seen_step - run_up)
        if not self.motor.turn(-back, set_us):
            return False
        if self.index.on():
            raise MoveError("index is on %d degrees before its edge" % INDEX_RUN_UP_DEG)
        found = self.seek(2 * run_up, settings.start_us(), True)
        if found is None:
            return False
        if not found:
            raise MoveError("index was seen once but not a second time")
        return True

    def at_edge(self):
        """Goes to the index edge as one turn of the state; gives False for a CAN."""
        self.state = "turning"
        try:
            return self.find_edge()
        finally:
            self.rested()
            self.angle = self.angle_of(self.motor.step_count)

    def find_index(self):
        """Takes the position from the index edge."""
        if not self.at_edge():
            return False
        step = self.step_of(self.settings.index_at)
        self.index_step = step
        self.set_zero(self.settings.index_at, step)
        return True

    def check_index(self):
        """Tells by how many steps the index edge has moved since M176; the position stays."""
        if not self.at_edge():
            return False
        num, den = self.settings.steps_num, self.settings.steps_den
        gone = self.motor.step_count - self.index_step
        turns = round_ratio(gone * den, num)
        say("[index %s slip=%d]" % (self.place(), gone - round_ratio(turns * num, den)))
        return True

    def rested(self):
        """Notes that motion is over."""
        self.state = "idle"
        self.still_since = time.ticks_ms()

    def wait(self, millis, state="waiting"):
        """Waits, reading what comes in meanwhile."""
        self.state = state
        begun = time.ticks_ms()
        stopped = self.source.pump(64)
        while not stopped:
            left = millis - time.ticks_diff(time.ticks_ms(), begun)
            if left <= 0:
                break
            time.sleep_ms(min(left, 5))
            stopped = self.source.pump(64)
        self.state = "idle"
        return not stopped

    def press(self, half_ms, full_ms):
        """Presses the shutter; both lines are let go however it ends."""
        on = self.settings.shutter_on_level
        try:
            if self.half_press is not None:
                self.half_press.value(on)
            if not self.wait(half_ms, "shutter"):
                return False
            # Half press stays closed under full press, as in a wired release (common practice,
            # no source).
            self.full_press.value(on)
            return self.wait(full_ms, "shutter")
        finally:
            self.full_press.value(1 - on)
            if self.half_press is not None:
                self.half_press.value(1 - on)

    # Information

    def say_status(self):
        say(
            "[status state=%s %s known=%d boot=%s zero=%d coils=%d queue=%d index=%s]"
            % (
                self.state,
                self.place(),
                self.known,
                self.boot,
                self.zero_count,
                1 if self.motor.energised else 0,
                self.source.count,
                "none" if self.index is None else "on" if self.index.on() else "off",
            )
        )

    def say_settings(self):
        s = self.settings
        say(
            "[settings steps_num=%d steps_den=%d start_rate=%d cruise_rate=%d accel=%d"
            " idle_release_s=%s shutter=%d half_press_s=%s full_press_s=%s energise_s=%s"
            " jerk=%d pacer=%s host_quiet_s=%s]"
            % (
                s.steps_num,
                s.steps_den,
                s.start_rate,
                s.cruise_rate,
                s.accel,
                decimal(s.idle_release_ms * 1000, 1),
                0 if self.full_press is None else 1,
                decimal(s.half_press_ms * 1000, 1),
                decimal(s.full_press_ms * 1000, 1),
                decimal(s.energise_ms * 1000, 1),
                s.jerk,
                "loop" if isinstance(self.motor.pacer, LoopPacer) else "timer",
                decimal(s.host_quiet_ms * 1000, 1),
            )
        )

    def say_stopped(self):
        say("[stopped %s]" % self.place())

    # Standing idle, and turning alone

    def idle_wait_ms(self):
        """Switches the coils off when their time is over; gives how long nothing is due, or -1."""
        due = None
        if self.motor.energised and not self.keep_on:
            due = self.settings.idle_release_ms - self.past_ms(self.still_since)
        elif self.keep_on and self.settings.host_quiet_ms:
            due = self.settings.host_quiet_ms - self.past_ms(self.source.heard_ms)
            if due <= 0:
                self.keep_on = False
                self.motor.off()
                say("[released reason=host_quiet %s]" % self.place())
        if due is None:
            due = -1
        elif due <= 0:
            self.motor.off()
            due = -1
        if self.alone and self.switch is not None:
            due = 20 if due < 0 else min(due, 20)
        return due

    @staticmethod
    def past_ms(moment):
        """Gives the milliseconds since a moment."""
        return time.ticks_diff(time.ticks_ms(), moment)

    def spin_wanted(self):
        """Says whether the table is to turn by itself."""
        if not self.alone:
            return False
        if self.settings.spin_at_power_up:
            return True
        return (
            self.switch is not None
            and self.switch.value() == self.settings.spin_switch_on_level
        )

    def wants_stop(self):
        """Says whether the spin is to end: a whole line or a CAN came in, or the switch is off."""
        source = self.source
        taken = 0
        while taken < 16 and source.count == 0 and not source.can and source.ready(0):
            source.take_byte()
            taken += 1
        return source.count > 0 or source.can or not self.spin_wanted()

    def spin(self):
        """Turns slowly until a line comes in or the switch goes off."""
        self.state = "spinning"
        delta = -1 if self.settings.spin_reverse else 1
        try:
            # steps_num steps are a whole number of turns (steps_den of them): the count is folded
            # there, some million steps apart, so that it never leaves its bounds. The position
            # is not known anyway.
            num = self.settings.steps_num
            steps = delta * max(1, (1 << 28) // num) * num
            self.motor.turn(steps, self.settings.spin_us, self.wants_stop, progress=False)
        finally:
            self.rested()
        self.motor.step_count %= self.settings.steps_num
        self.angle = self.angle_of(self.motor.step_count)


def boot_number():
    """Draws the number that tells one power-up from the next, six hexadecimal digits."""
    try:
        import os

        drawn = os.urandom(3)
        return "%02x%02x%02x" % (drawn[0], drawn[1], drawn[2])
    except (ImportError, AttributeError):
        return "%06x" % (time.ticks_us() & 0xFFFFFF)


def board_id():
    """Gives the board's own number in hexadecimal digits."""
    return "".join("%02x" % byte for byte in machine.unique_id())


# ---------------------------------------------------------------------------------------------
# Loop: one line after the other, each with exactly one last answer
# ---------------------------------------------------------------------------------------------


def answer(reason, refused):
    """Sends the last answer of a line, and those of the lines the queue had no room for."""
    say("ok" if reason is None else "error: " + reason)
    for _ in range(refused):
        say("error: queue full")


def serve(table, source, settings_fault):
    """Answers what has come in: one line, or a CAN. Gives False if nothing has."""
    if source.count:
        raw, refused = source.pop()
        if table is None:
            reason = settings_fault
        else:
            table.alone = False
            try:
                reason = table.carry_out(raw)
            except Exception as fault:
                # A fault of the program, not of the line: where the table stands is in doubt.
                table.known = 0
                table.index_step = None
                table.motor.off()
                reason = "fault in the program (%s): reset the board" % type(fault).__name__
            # The host had its answer to wait for: its quiet time begins now.
            source.heard_ms = time.ticks_ms()
        if reason is not STOPPED:
            answer(reason, refused)
            return True
        table.say_stopped()
        answer(STOPPED, refused)
        while source.count:
            answer(STOPPED, source.pop()[1])
        source.can = False
        return True
    if source.can:
        if table is None:
            say("[stopped a=0.000000 step=0]")
        else:
            table.alone = False
            table.say_stopped()
        source.can = False
        return True
    return False


def set_ctrl_c(byte):
    """Makes a byte raise KeyboardInterrupt, or none with -1, where the board can do that."""
    try:
        import micropython

        micropython.kbd_intr(byte)
    except (ImportError, AttributeError):
        pass


def main():
    """Runs for ever.

    A stray byte 3 must not end the program in the middle of a set, so Ctrl-C is an ordinary byte
    here. It still reaches the REPL until the first line or for the first CTRL_C_OPEN_MS after
    power-up, so that a board can be given a new program.
    """
    source = Input()
    table = None
    settings_fault = None
    try:
        table = Table(load_settings(), source)
    except SettingsError as fault:
        settings_fault = "settings: %s" % fault
    except (ValueError, TypeError, OSError) as fault:
        settings_fault = "settings: a pin number does not suit this board (%s)" % fault
    say("[boot %s %s protocol=%d]" % (NAME, VERSION, PROTOCOL))
    begun = time.ticks_ms()
    ctrl_c = True
    try:
        while True:
            if ctrl_c and (
                source.count
                or source.can
                or time.ticks_diff(time.ticks_ms(), begun) >= CTRL_C_OPEN_MS
            ):
                set_ctrl_c(-1)
                ctrl_c = False
            if serve(table, source, settings_fault):
                continue
            wait_ms = -1
            if table is not None:
                if table.spin_wanted():
                    table.spin()
                    continue
                wait_ms = table.idle_wait_ms()
            if ctrl_c:
                wait_ms = 100 if wait_ms < 0 else min(wait_ms, 100)
            if source.ready(wait_ms):
                source.take_byte()
    finally:
        # Ended from outside (Ctrl-C just after power-up): leave nothing energised.
        set_ctrl_c(3)
        if table is not None:
            table.motor.off()


if __name__ == "__main__":
    main()
