"""What the stand-in has behind its line: track power, accessories, pins, servos, detectors, and what it obeys.

Knows no wire and no fault but a wrong count. The commands are from memory, as is the whole serial text: a real station
may differ. Shares nothing with the adapters, on purpose.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from adapters.stand_in_records import Done, Input, PinOutput, Refused, Settings, Turnout
from adapters.stand_in_servo import MOST_PULSE_US, Servo, is_pulse

MOST_DEFINED = 256  # of each kind that can be defined
MOST_PINS = 1_024
MOST_INPUTS = 1_024
HIGHEST_ID = 32_767
HIGHEST_BOARD, PORTS = 511, 4
HIGHEST_ADDRESS = 2_044
HIGHEST_LEVEL = 4_095
HIGHEST_ASPECT = 255
INVERTED = 1  # of a pin's flags, the one that is heeded
OFF_BY = 4

SWITCH = ("off", "on")


class Machine:
    """The station without its line. All methods take the instant; it must not go backwards."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.off_by_four = False
        self.servos: dict[int, Servo] = {pin: self._new_servo() for pin in settings.servos}
        self.inputs: dict[int, bool] = {}  # what stands on the track, whoever asks: detector id -> active
        self.by_current: set[int] = set()  # detectors that see nothing while the track power is off
        self.restart()

    def restart(self, now_us: int = 0) -> None:
        """Everything that it was told is gone. Arms stay where they are, and so do trains."""
        self.power = "off"
        self.accessories: dict[int, int] = {}  # number in the decoder's book -> which output of its pair is on
        self.aspects: dict[int, int] = {}  # the same for decoders that show aspects
        self.pins: dict[int, int] = {}
        self.turnouts: dict[int, Turnout] = {}
        self.outputs: dict[int, PinOutput] = {}
        self.detectors: dict[int, Input] = {}
        self._said: dict[int, bool] = {}
        self._boards_hear_us = 0
        for servo in self.servos.values():
            servo.release(now_us)

    def _new_servo(self) -> Servo:
        return Servo(self.settings.servo_starts_deg, self.settings.servo_deg_s)

    # --- power and detectors ---------------------------------------------------------------------------------------

    def set_power(self, power: str, now_us: int) -> None:
        """ "on", "off" or "overload". Boards on the track lose what they showed, and start anew."""
        if power != self.power:
            self.accessories.clear()
            self.aspects.clear()
            self._boards_hear_us = now_us + self.settings.boards_start_us
        self.power = power

    def power_words(self) -> str:
        track = f" {self.settings.track_name}" if self.settings.track_name else ""
        return f"p{('off', 'on', 'overload').index(self.power)}{track}"

    def set_input(self, number: int, active: bool, by_current: bool) -> None:
        if not 0 <= number <= HIGHEST_ID or (number not in self.inputs and len(self.inputs) >= MOST_INPUTS):
            raise Refused(f"detectors have numbers from 0 to {HIGHEST_ID}, {MOST_INPUTS} at most")
        self.inputs[number] = active
        (self.by_current.add if by_current else self.by_current.discard)(number)

    def active(self, number: int) -> bool:
        """What a detector reports now."""
        sees = self.power == "on" or number not in self.by_current
        return sees and self.inputs.get(number, False)

    def changes(self) -> list[str]:
        """Reports of the detectors that report something else than they last did."""
        changed = [number for number in self.detectors if self._said[number] != self.active(number)]
        for number in changed:
            self._said[number] = self.active(number)
        return [self.report(number) for number in changed]

    def report(self, number: int) -> str:
        return f"{'Q' if self.active(number) else 'q'} {number}"

    # --- commands --------------------------------------------------------------------------------------------------

    def do(self, text: str | None, now_us: int) -> Done:
        """Obey one command, without its brackets; None is one that was too long."""
        try:
            if text is None:
                raise Refused("a command that is too long")
            letter, words = text.strip()[:1], text.strip()[1:].split()
            if letter in self.settings.without or letter not in COMMANDS:
                raise Refused("it does not know this command")
            return COMMANDS[letter](self, _numbers(words, letter), now_us)
        except Refused as why:
            return Done("refused", f"refused: {why}", answers=("X",))

    def _power_on(self, values: list[int], now_us: int) -> Done:
        return self._power("on", now_us)

    def _power_off(self, values: list[int], now_us: int) -> Done:
        return self._power("off", now_us)

    def _power(self, power: str, now_us: int) -> Done:
        self.set_power(power, now_us)
        return Done("track power", power, SWITCH.index(power), (self.power_words(),), to_all=True)

    def _status(self, values: list[int], now_us: int) -> Done:
        _expect(not values, "<s> stands alone")
        states = [f"H {number} {turnout.value}" for number, turnout in self.turnouts.items()]
        states += [f"Y {number} {output.value}" for number, output in self.outputs.items()]
        answers = (self.power_words(), f"i{self.settings.banner}", *states)
        return Done("asked", f"how it is; the track power is {self.power}", answers=answers)

    def _stop(self, values: list[int], now_us: int) -> Done:
        _expect(not values, "<!> stands alone")
        return Done("every train", "told to stop", packet=self.power == "on")

    # --- accessories

    def _accessory(self, values: list[int], now_us: int) -> Done:
        _expect(len(values) in (2, 3), "an accessory is told by <a BOARD PORT 0 or 1> or <a ADDRESS 0 or 1>")
        act = values[-1]
        _expect(act in (0, 1), "an accessory is told 0 or 1")
        board, port = values[:2] if len(values) == 3 else self._seat(values[0])
        return self._throw(board, port, act, now_us)

    def _seat(self, address: int) -> tuple[int, int]:
        """Board and port of a number, as this station counts."""
        _expect(1 <= address <= HIGHEST_ADDRESS, f"accessory addresses go from 1 to {HIGHEST_ADDRESS}")
        board, port = divmod(address - 1, PORTS)
        return board + self.settings.from_one, port

    def _number(self, board: int, port: int) -> int:
        """Which number the decoder's book has for a board and port."""
        from_one = self.settings.from_one != self.off_by_four
        return board * PORTS + port + 1 - (OFF_BY if from_one else 0)

    def _deaf(self, now_us: int) -> str:
        """Why nothing on the track hears a packet now, if so."""
        if self.power != "on":
            return "nobody hears it, the track power is off"
        if now_us < self._boards_hear_us:
            return "nobody hears it, the boards on the track are still starting"
        return ""

    def _aspect(self, values: list[int], now_us: int) -> Done:
        _expect(len(values) == 2, "an aspect is told by <A ADDRESS ASPECT>")
        _expect(0 <= values[1] <= HIGHEST_ASPECT, f"aspects go from 0 to {HIGHEST_ASPECT}")
        number = self._number(*self._seat(values[0]))
        if deaf := self._deaf(now_us):
            return Done(f"signal {number}", deaf, packet=self.power == "on")
        self.aspects[number] = values[1]
        return Done(f"signal {number}", f"aspect {values[1]}", values[1], packet=True)

    def _throw(self, board: int, port: int, act: int, now_us: int) -> Done:
        """A packet on the track: who hears it, and what it does there."""
        _expect(0 <= board <= HIGHEST_BOARD and 0 <= port < PORTS, "boards go from 0 to 511, ports from 0 to 3")
        number = self._number(board, port)
        thing = "every accessory" if board == HIGHEST_BOARD else f"accessory {number}"
        if deaf := self._deaf(now_us):
            return Done(thing, deaf, packet=self.power == "on")
        told = list(self.accessories) if board == HIGHEST_BOARD else [number]
        for one in told:
            if self.settings.by_output:
                self.accessories[one] = act
            elif act:
                self.accessories[one] = 0
            else:
                self.accessories.pop(one, None)
        words = f"output {act} on" if self.settings.by_output else f"output 0 {SWITCH[act]}"
        return Done(thing, words, act, packet=True)

    def _turnout(self, values: list[int], now_us: int) -> Done:
        if not values:
            listed = [f"H {number} {' '.join(map(str, one))}" for number, one in self.turnouts.items()]
            return Done("asked", "which turnouts it knows", answers=tuple(listed) or ("X",))
        number = values[0]
        if len(values) == 3:
            _room(self.turnouts, number)
            board, port = values[1:]
            _expect(0 <= board <= HIGHEST_BOARD and 0 <= port < PORTS, "boards go from 0 to 511, ports from 0 to 3")
            self.turnouts[number] = Turnout(board, port, 0)
            return Done(f"turnout {number}", f"it is board {board}, port {port}", answers=("O",))
        if len(values) == 1:
            return _dropped(self.turnouts, number, "turnout")
        return self.throw(number, values[1], now_us, *values[2:])

    def throw(self, number: int, value: int, now_us: int, *more: int) -> Done:
        """A turnout by its number, by command or by somebody's hand."""
        _expect(number in self.turnouts and value in (0, 1) and not more, "no such turnout, or neither 0 nor 1")
        turnout = self.turnouts[number] = self.turnouts[number]._replace(value=value)
        heard = self._throw(turnout.board, turnout.port, value, now_us)
        words = f"thrown to {value}; {heard.thing}: {heard.effect}"
        return Done(f"turnout {number}", words, value, (f"H {number} {value}",), True, heard.packet)

    # --- pins

    def _output(self, values: list[int], now_us: int) -> Done:
        if not values:
            listed = [f"Y {number} {' '.join(map(str, one))}" for number, one in self.outputs.items()]
            return Done("asked", "which outputs it knows", answers=tuple(listed) or ("X",))
        number = values[0]
        if len(values) == 3:
            _room(self.outputs, number)
            pin, flags = values[1:]
            _expect(0 <= pin <= HIGHEST_ID, "pins have numbers from 0")
            self.outputs[number] = PinOutput(pin, flags, 0)
            self._drive(pin, flags & INVERTED)
            return Done(f"output {number}", f"it is pin {pin}", answers=("O",))
        if len(values) == 1:
            return _dropped(self.outputs, number, "output")
        return self.switch(number, values[1], *values[2:])

    def switch(self, number: int, value: int, *more: int) -> Done:
        """A pin by its output's number, by command or by somebody's hand."""
        _expect(number in self.outputs and value in (0, 1) and not more, "no such output, or neither 0 nor 1")
        output = self.outputs[number] = self.outputs[number]._replace(value=value)
        self._drive(output.pin, value ^ (output.flags & INVERTED))
        words = f"{SWITCH[value]}, the pin is {('low', 'high')[self.pins[output.pin]]}"
        return Done(f"pin {output.pin}", words, value, (f"Y {number} {value}",), True)

    def _drive(self, pin: int, level: int) -> None:
        _expect(pin in self.pins or len(self.pins) < MOST_PINS, f"it has {MOST_PINS} pins at most")
        self.pins[pin] = level

    def _level(self, values: list[int], now_us: int) -> Done:
        _expect(1 <= len(values) <= 4, "a level is told by <z PIN VALUE>")
        if len(values) == 1:
            pin = abs(values[0])
            self._drive(pin, int(values[0] > 0))
            return Done(f"pin {pin}", SWITCH[self.pins[pin]], self.pins[pin])
        pin, value = values[:2]
        _expect(0 <= pin <= HIGHEST_ID, "pins have numbers from 0")
        if pin in self.servos or (pin not in self.pins and is_pulse(value)):
            return self._servo(pin, value, values[3] if len(values) == 4 else 0, now_us)
        _expect(0 <= value <= HIGHEST_LEVEL, f"levels go from 0 to {HIGHEST_LEVEL}")
        self._drive(pin, value)
        return Done(f"pin {pin}", f"level {value}", value)

    def _servo(self, pin: int, pulse_us: int, tenths_s: int, now_us: int) -> Done:
        if pin not in self.servos:
            _expect(len(self.servos) < MOST_PINS, f"it has {MOST_PINS} pins at most")
            self.servos[pin] = self._new_servo()
        servo, thing = self.servos[pin], f"servo on pin {pin}"
        if pulse_us == 0:
            servo.release(now_us)
            return Done(thing, "released", 0)
        _expect(is_pulse(pulse_us), f"pulses of a servo go to {MOST_PULSE_US} us")
        servo.tell(pulse_us, now_us, tenths_s * 100_000)
        return Done(thing, f"{pulse_us} us, {_plain(servo.target_deg)} deg", pulse_us)

    # --- detectors

    def _detector(self, values: list[int], now_us: int) -> Done:
        if not values:
            listed = [f"Q {number} {' '.join(map(str, one))}" for number, one in self.detectors.items()]
            return Done("asked", "which detectors it knows", answers=tuple(listed) or ("X",))
        number = values[0]
        if len(values) == 1:
            return _dropped(self.detectors, number, "detector")
        _expect(len(values) == 3, "a detector is defined by <S ID PIN PULLUP>")
        _room(self.detectors, number)
        _expect(values[1] >= 0 and values[2] in (0, 1), "pins have numbers from 0, and are pulled up (1) or not (0)")
        self.detectors[number] = Input(values[1], values[2])
        self._said[number] = False
        up = ", pulled up" if values[2] else ""
        return Done(f"detector {number}", f"it is pin {values[1]}{up}", answers=("O",))

    def _detectors(self, values: list[int], now_us: int) -> Done:
        _expect(not values, "<Q> stands alone")
        for number in self.detectors:
            self._said[number] = self.active(number)
        reports = [self.report(number) for number in self.detectors]
        return Done("asked", "what the detectors say", answers=tuple(reports) or ("X",))


Command = Callable[[Machine, list[int], int], Done]

COMMANDS: dict[str, Command] = {
    "1": Machine._power_on,
    "0": Machine._power_off,
    "s": Machine._status,
    "!": Machine._stop,
    "a": Machine._accessory,
    "A": Machine._aspect,
    "T": Machine._turnout,
    "Z": Machine._output,
    "z": Machine._level,
    "S": Machine._detector,
    "Q": Machine._detectors,
}


def _numbers(words: list[str], letter: str) -> list[int]:
    if letter in "10":  # the name of a track may follow
        return []
    if not all(word.removeprefix("-").isdecimal() and word.isascii() and len(word) <= 6 for word in words):
        raise Refused("it takes whole numbers")
    return [int(word) for word in words]


def _expect(so: bool, otherwise: str) -> None:
    if not so:
        raise Refused(otherwise)


def _room(table: Mapping[int, object], number: int) -> None:
    _expect(0 <= number <= HIGHEST_ID, f"numbers go from 0 to {HIGHEST_ID}")
    _expect(number in table or len(table) < MOST_DEFINED, f"it can hold {MOST_DEFINED} of these")


def _dropped(table: dict[int, Turnout] | dict[int, PinOutput] | dict[int, Input], number: int, kind: str) -> Done:
    _expect(table.pop(number, None) is not None, f"no such {kind}")
    return Done(f"{kind} {number}", "forgotten", answers=("O",))


def _plain(degrees: float) -> str:
    return f"{round(degrees, 1):g}"
