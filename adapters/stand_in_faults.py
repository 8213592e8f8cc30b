"""What the stand-in can be told to do wrong: a table of faults, and how one is written, such as `silence 5 s`.

Shares nothing with the adapters that it stands in front of, and knows nothing of the station that does it.
"""

from __future__ import annotations

import re
from difflib import get_close_matches
from typing import NamedTuple

MS, S = 1_000, 1_000_000
LONGEST_US = 3_600 * S
LONGEST_WRITTEN = 80


class Fault(NamedTuple):
    """`lasts`: it stays until it is switched off. `time_us`: its time unless another is given; 0: it has none."""

    what: str
    lasts: bool
    time_us: int = 0

    def words(self, time_us: int | None = None) -> str:
        """What goes wrong, in words."""
        return self.what.format(time=seconds(time_us or self.time_us))


FAULTS = {
    "swallow": Fault("after an opening or a restart it hears nothing for {time}", True, 1 * S),
    "late-banner": Fault("the banner comes {time} after an opening or a restart", True, 3 * S),
    "reset-on-open": Fault("whoever opens the port restarts the station", True),
    "silence": Fault("for {time} it neither hears nor speaks", False, 5 * S),
    "restart": Fault("it restarts and forgets everything; the track power is off", False),
    "garbage": Fault("there is noise before and between its replies", True),
    "half-replies": Fault("every reply comes in two pieces, {time} apart", True, 150 * MS),
    "endless-reply": Fault("a reply begins and never ends", False),
    "late-replies": Fault("everything it says comes {time} late", True, 1 * S),
    "doubled-replies": Fault("it says everything twice", True),
    "no-replies": Fault("it does what it is told and answers nothing", True),
    "refuses": Fault("it refuses everything it is told", True),
    "booster-trips": Fault("the booster trips three times, and each time comes back after {time}", False, 1 * S),
    "flood": Fault("10,000 detector reports in {time}", False, 1 * S),
    "off-by-four": Fault("it counts accessory addresses from another start", True),
    "unplug": Fault("the cable is out for {time}", False, 2 * S),
    "unplug-in-reply": Fault("the cable comes out in the middle of its next reply, for {time}", False, 2 * S),
    "unplug-in-command": Fault("the cable comes out in the middle of the next command, for {time}", False, 2 * S),
}

ARMED = ("unplug-in-reply", "unplug-in-command")  # they wait for their moment

_UNITS_US = {"ms": MS, "s": S, "min": 60 * S}
_TIME = re.compile(r"(\d{1,7})(?:[.,](\d{1,6}))? ?(ms|s|min)")


def seconds(time_us: int) -> str:
    """`250 ms`, `5 s`, `2 min`."""
    if time_us < S:
        return f"{time_us / MS:g} ms"
    return f"{time_us / S:g} s" if time_us < 120 * S or time_us % (60 * S) else f"{time_us // (60 * S)} min"


class BadFault(ValueError):
    """A fault that was not written as one; its text says what to write."""


class Wish(NamedTuple):
    """A fault as it was asked for: for how long, where a time was given; or that it shall end."""

    name: str
    time_us: int | None = None
    over: bool = False


def read_fault(text: str) -> Wish:
    """`silence`, `silence 5 s`, `garbage off`. Raises BadFault."""
    name, _, rest = text.strip().lower().partition(" ")
    rest = rest.strip()
    if len(text) > LONGEST_WRITTEN:
        raise BadFault(f"A fault is written in at most {LONGEST_WRITTEN} characters, such as `silence 5 s`.")
    if name not in FAULTS:
        near = get_close_matches(name, FAULTS, 1)
        hint = f" Did you mean {near[0]}?" if near else f" There are {', '.join(FAULTS)}."
        raise BadFault(f"There is no fault {name or 'without a name'}.{hint}")
    if rest in ("", "on"):
        return Wish(name)
    if rest == "off":
        if not FAULTS[name].lasts:
            raise BadFault(f"{name} ends by itself; there is nothing to switch off.")
        return Wish(name, over=True)
    if not FAULTS[name].time_us:
        raise BadFault(f"{name} takes no time. Write `{name}`{' or `' + name + ' off`' if FAULTS[name].lasts else ''}.")
    return Wish(name, _time_us(name, rest))


def _time_us(name: str, text: str) -> int:
    found = _TIME.fullmatch(text)
    if found is None:
        raise BadFault(f"`{text}` is no time. Write one such as `{name} 5 s` or `{name} 250 ms`.")
    whole, part, unit = found[1], found[2] or "", found[3]
    time_us: int = int(whole + part) * _UNITS_US[unit] // 10 ** len(part)
    if not 0 < time_us <= LONGEST_US:
        raise BadFault(f"`{text}` is too {'long: at most 60 min' if time_us else 'short: at least 1 ms'}.")
    return time_us
