"""What hands can do at the stand-in, as typed lines: `detector 12 on`, `power on`, `fault silence 5 s`, `show`.

Knows the station, no keyboard and no screen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from adapters.stand_in import Refused, Station
from adapters.stand_in_faults import FAULTS, BadFault, read_fault

LONGEST_LINE = 200
MOST_SHOWN = 40  # things of one kind in `show`

HELP = """\
detector 12 on        a train comes to detector 12; `off`: it leaves
section 12 on         the same, for one that reports clear while the track power is off
power on              somebody switches the track power at the station; `off`
turnout 5 on          somebody throws turnout 5 from elsewhere; `off`
output 7 on           somebody switches output 7 from elsewhere; `off`
fault silence 5 s     let something go wrong; `fault garbage off` mends it
faults                all that can go wrong, and what is wrong now
show                  what every output and detector is doing
quit                  the same as Ctrl-C"""

ON_OFF = {"on": 1, "off": 0}


class BadLine(ValueError):
    """A line that asks for nothing that there is; its text says what to write."""


def typed(station: Station, text: str, now_us: int) -> list[str]:
    """Do what a typed line says; the lines of the answer, none where the log tells enough. Raises BadLine."""
    if len(text) > LONGEST_LINE:
        raise BadLine(f"A line has at most {LONGEST_LINE} characters.")
    words = text.lower().split()
    if not words:
        return []
    if words[0] not in LINES:
        raise BadLine(f"There is nothing called {words[0]} to do here. `help` lists what there is.")
    try:
        return LINES[words[0]](station, words[1:], now_us)
    except (Refused, BadFault) as problem:
        text = str(problem)
        raise BadLine(f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '?')) else '.'}") from None


def _help(station: Station, words: list[str], now_us: int) -> list[str]:
    return HELP.splitlines()


def _number_and_state(kind: str, words: list[str]) -> tuple[int, int]:
    if len(words) != 2 or not (words[0].isascii() and words[0].isdecimal()) or words[1] not in ON_OFF:
        raise BadLine(f"Write a number and on or off, such as `{kind} 12 on`.")
    return int(words[0][:9]), ON_OFF[words[1]]


def _detector(station: Station, words: list[str], now_us: int) -> list[str]:
    number, on = _number_and_state("detector", words)
    station.detector(number, bool(on), now_us)
    return []


def _section(station: Station, words: list[str], now_us: int) -> list[str]:
    number, on = _number_and_state("section", words)
    station.detector(number, bool(on), now_us, by_current=True)
    return []


def _power(station: Station, words: list[str], now_us: int) -> list[str]:
    if len(words) != 1 or words[0] not in ON_OFF:
        raise BadLine("Write `power on` or `power off`.")
    station.power(words[0] == "on", now_us)
    return []


def _turnout(station: Station, words: list[str], now_us: int) -> list[str]:
    station.turnout(*_number_and_state("turnout", words), now_us)
    return []


def _output(station: Station, words: list[str], now_us: int) -> list[str]:
    station.output(*_number_and_state("output", words), now_us)
    return []


def _fault(station: Station, words: list[str], now_us: int) -> list[str]:
    wish = read_fault(" ".join(words))
    if wish.over:
        if wish.name not in station.faults:
            return [f"{wish.name} is not on."]
        station.mend(wish.name, now_us)
    else:
        station.fault(wish.name, now_us, wish.time_us)
    return []


def _faults(station: Station, words: list[str], now_us: int) -> list[str]:
    width = max(map(len, FAULTS))
    return [
        f"{name:<{width}}  {fault.words(station.faults.get(name))}{' (now on)' if name in station.faults else ''}"
        for name, fault in FAULTS.items()
    ]


def _show(station: Station, words: list[str], now_us: int) -> list[str]:
    return list(shown(station, now_us))


def shown(station: Station, now_us: int) -> Iterator[str]:
    """The state of everything, in words."""
    machine = station.machine
    yield f"track power: {machine.power}"
    kinds = (
        [f"accessory {number}: output {value} on" for number, value in sorted(machine.accessories.items())],
        [f"signal {number}: aspect {value}" for number, value in sorted(machine.aspects.items())],
        [f"pin {pin}: {value}" for pin, value in sorted(machine.pins.items())],
        [
            f"servo on pin {pin}: {'no pulses' if servo.pulse_us is None else f'{servo.pulse_us} us'}, "
            f"at {round(servo.angle(now_us), 1):g} deg"
            for pin, servo in sorted(machine.servos.items())
        ],
        [
            f"detector {number} (pin {one.pin}): {'on' if machine.active(number) else 'off'}"
            for number, one in sorted(machine.detectors.items())
        ],
    )
    for rows in kinds:
        yield from rows[:MOST_SHOWN]
        if len(rows) > MOST_SHOWN:
            yield f"and {len(rows) - MOST_SHOWN} more of these"
    if station.faults:
        yield f"going wrong: {', '.join(station.faults)}"
    if station.lost:
        yield f"bytes lost because they came too fast: {station.lost}"


LINES: dict[str, Callable[[Station, list[str], int], list[str]]] = {
    "help": _help,
    "?": _help,
    "detector": _detector,
    "section": _section,
    "power": _power,
    "turnout": _turnout,
    "output": _output,
    "fault": _fault,
    "faults": _faults,
    "show": _show,
}
