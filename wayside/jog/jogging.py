"""Adjusting one servo by hand: where it is, its named ends, limits and travel, and what typed words do to them. Pure.

A line in, a sentence or a move out. Knows neither keys nor ports nor files.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from adapters.wires import WIDEST_DEG, pulse_us
from engine.layout import Output, Position
from scenes.problems import nearest
from wayside.layout.text import Change
from wayside.layout.values import degrees, limits, time_us
from wayside.wording import duration, listed

STEPS_DEG = (0.5, 1.0, 2.0, 5.0, 10.0)
FIRST_STEP_DEG = 1.0
LONGEST_LINE = 200
LONGEST_TRAVEL_US = 60_000_000
_SIGNED = re.compile(r"([+-]) ?(.*)")
_NAME = re.compile(r"[a-z][a-z0-9-]{0,39}")

_NOWHERE = "Nobody knows where it stands. Send it somewhere first: to 45 deg."

HELP = """\
+   -              a step up, a step down; + 5 deg, - 0.5 deg by that much
step 2 deg         how far a step goes
to raised          to a named end, at the pace of its travel; to 45 deg likewise
here is raised     the end of that name is where it stands now
new end half       a new end of that name, where it stands now
lowest here        highest here; or limits 0 deg to 90 deg: what it must never pass
travel 3 s         its own time from one outermost end to the other
let go             no pulses: it is not held any more, and may sag
where              where it stands, its ends and limits
forget             all that was changed and not saved
save               write what was changed into the layout file; the old file is kept
end                leave; what was not saved is told
"""


class Move(NamedTuple):
    """Where the servo is to be sent, and in what time."""

    degrees: float
    over_us: int = 0


class Said(NamedTuple):
    """What a line comes to."""

    says: str = ""
    move: Move | None = None
    lets_go: bool = False
    saves: bool = False
    ends: bool = False


class Jog:
    """One servo in somebody's hands. `at` is None as long as nobody knows where it stands."""

    def __init__(self, output: Output, at: float | None) -> None:
        self._output = output
        self.name = output.name
        self.at = at
        self.step = FIRST_STEP_DEG
        self.low, self.high = output.limits or (0.0, float(WIDEST_DEG))
        self.limited = output.limits is not None
        self.ends = {one.name: one.degrees for one in output.positions}
        self.travel_us = output.travel_us
        self._warned = False
        self.saved()

    # --- what came of it -------------------------------------------------------------------------------------------

    @property
    def output(self) -> Output:
        """The output as it is now; what it is told never passes these limits."""
        ends = tuple(Position(name, at) for name, at in self.ends.items())
        return replace(self._output, positions=ends, limits=(self.low, self.high), travel_us=self.travel_us)

    def saved(self) -> None:
        """All of it stands in the layout file now."""
        self._in_file = (dict(self.ends), (self.low, self.high), self.travel_us)

    def changes(self) -> list[Change]:
        """What the layout file does not say yet."""
        ends, bounds, travel = self._in_file
        home = ("outputs", self.name)
        found = [
            Change((*home, "positions", name), f"{at:g} deg") for name, at in self.ends.items() if ends.get(name) != at
        ]
        if bounds != (self.low, self.high):
            found.append(Change((*home, "limits"), f"{self.low:g} deg to {self.high:g} deg"))
        if travel != self.travel_us:
            found.append(Change((*home, "full travel"), duration(self.travel_us)))
        return found

    def state(self) -> str:
        """Where it stands: the angle, the pulse, the name of the end, and how far a step goes."""
        if self.at is None:
            return "nobody knows where it stands"
        named = [name for name, at in self.ends.items() if abs(at - self.at) < 0.005]
        end = f", {listed(named)}" if named else ""
        return f"{self.at:g} deg{end}, {pulse_us(self.at):.0f} us; a step is {self.step:g} deg"

    def all_of_it(self) -> str:
        """Its ends, limits and travel, and which of them are not saved."""
        ends = listed([f"{name} {at:g} deg ({pulse_us(at):.0f} us)" for name, at in self.ends.items()])
        bounds = f"{self.low:g} deg to {self.high:g} deg" + ("" if self.limited else " (none in the layout file)")
        travel = duration(self.travel_us) if self.travel_us else "not given"
        unsaved = " Not saved yet." if self.changes() else ""
        return f"{self.name}: {ends}. Limits {bounds}. Full travel {travel}.{unsaved}"

    # --- lines -----------------------------------------------------------------------------------------------------

    def obey(self, line: str) -> Said:
        """What a typed line does. Whatever it is, there is an effect or a sentence."""
        text = " ".join(line[:LONGEST_LINE].split())
        if not text:
            return Said()
        signed = _SIGNED.fullmatch(text)
        if signed:
            return self._step(1 if signed[1] == "+" else -1, signed[2])
        if text in _WHOLE:
            return _WHOLE[text](self)
        verb, _, rest = text.partition(" ")
        if verb in _VERBS and rest:
            return _VERBS[verb](self, rest.removeprefix(_FILLERS.get(verb, "")))
        if verb in _VERBS:
            return Said(f"{verb} needs something behind it. Type help: it shows what.")
        near = nearest(verb, [*_VERBS, *_WHOLE, *self.ends])
        meant = "" if near is None else f" Did you mean {f'to {near}' if near in self.ends else near}?"
        return Said(f"I know no {verb}.{meant} Type help: it lists what I do.")

    def _step(self, sign: int, amount: str) -> Said:
        by = _angle(amount) if amount else self.step
        if by is None:
            return Said(f"{amount} is no angle. Write for example {'+-'[sign < 0]} 5 deg.")
        if self.at is None:
            return Said(_NOWHERE)
        return self._to(self.at + sign * by, 0)

    def _to(self, wanted: float, over_us: int) -> Said:
        """A move, which ends at a limit at the latest."""
        within = round(min(max(wanted, self.low), self.high), 2)
        why = ""
        if within != round(wanted, 2):
            whose = "its limit" if self.limited else "as far as a servo turns"
            why = f"{within:g} deg is {whose}: no further."
        if within == self.at and why:
            return Said(why)
        self.at = within
        return Said(why, Move(within, over_us))

    def _go(self, where: str) -> Said:
        wanted = self.ends.get(where, _angle(where))
        if wanted is None:
            near = nearest(where, self.ends)
            meant = f"Did you mean {near}?" if near else f"It has {listed(list(self.ends))}, or write an angle: 45 deg."
            return Said(f"{self.name} has no end {where}. {meant}")
        if not self.low <= wanted <= self.high:
            return Said(f"{wanted:g} deg is outside its limits, {self.low:g} deg to {self.high:g} deg.")
        if self.at is None:
            return self._to(wanted, 0)
        return self._to(wanted, self._takes_us(abs(wanted - self.at)))

    def _takes_us(self, angle: float) -> int:
        span = max(self.ends.values()) - min(self.ends.values())
        return round(self.travel_us * angle / span) if span else self.travel_us

    def _stride(self, text: str) -> Said:
        by = _angle(text)
        if by is None or not 0.1 <= by <= 45:
            return Said("A step is 0.1 deg to 45 deg. Write for example step 2 deg.")
        self.step = by
        return Said(f"A step is {by:g} deg now.")

    def other_step(self, larger: bool) -> Said:
        """The next larger or smaller of the usual steps."""
        fitting = [one for one in STEPS_DEG if (one > self.step if larger else one < self.step)]
        if fitting:
            self.step = fitting[0] if larger else fitting[-1]
        return Said()

    def _here(self, name: str) -> Said:
        if name not in self.ends:
            if name in ("", "is"):
                one = next(iter(self.ends))
                return Said(f"Which end is here? It has {listed(list(self.ends))}. Write for example here is {one}.")
            near = nearest(name, self.ends)
            meant = f"Did you mean {near}?" if near else f"It has {listed(list(self.ends))}."
            new = f" For a new one write: new end {name}." if _NAME.fullmatch(name) else ""
            return Said(f"There is no end {name}. {meant}{new}")
        if self.at is None:
            return Said(_NOWHERE)
        self.ends[name] = self.at
        return Said(f"{name} is {self.at:g} deg now. Not saved yet.")

    def _new_end(self, name: str) -> Said:
        if not _NAME.fullmatch(name):
            return Said(f"{name} is no name: small letters, digits and hyphens, such as half-way.")
        if name in self.ends:
            return Said(f"{name} is there already. To have it here, write: here is {name}.")
        if self.at is None:
            return Said(_NOWHERE)
        self.ends[name] = self.at
        return Said(f"{name} is a new end, at {self.at:g} deg. Not saved yet.")

    def _forget(self) -> Said:
        if not self.changes():
            return Said("Nothing was changed.")
        ends, bounds, travel_us = self._in_file
        if self.at is not None and not bounds[0] <= self.at <= bounds[1]:
            return Said(f"It stands at {self.at:g} deg, outside the limits in the file. Move it first.")
        self.ends, (self.low, self.high), self.travel_us = dict(ends), bounds, travel_us
        return Said(f"Forgotten. {self.all_of_it()}")

    def _bounds(self, text: str) -> Said:
        found = limits(text)
        if found is None:
            return Said("Write for example limits 0 deg to 90 deg.")
        return self._within(*found)

    def _bound_here(self, lowest: bool) -> Said:
        if self.at is None:
            return Said(_NOWHERE)
        return self._within(self.at, self.high) if lowest else self._within(self.low, self.at)

    def _within(self, low: float, high: float) -> Said:
        if not 0 <= low < high <= WIDEST_DEG:
            return Said(f"Limits are two angles from 0 deg to {WIDEST_DEG} deg, the smaller first.")
        outside = [f"{name} at {at:g} deg" for name, at in self.ends.items() if not low <= at <= high]
        if outside:
            return Said(f"{listed(outside)} would be outside {low:g} deg to {high:g} deg. Move that end first.")
        if self.at is not None and not low <= self.at <= high:
            return Said(f"It stands at {self.at:g} deg, outside {low:g} deg to {high:g} deg. Move it first.")
        wider = low < self.low or high > self.high
        self.low, self.high, self.limited = low, high, True
        care = " They are wider: step out there in small steps, and back at once if it hums." if wider else ""
        return Said(f"Limits are {low:g} deg to {high:g} deg now.{care} Not saved yet.")

    def _travel(self, text: str) -> Said:
        us = time_us(text)
        if not us or us > LONGEST_TRAVEL_US:
            return Said("A travel is more than nothing and at most 60 s. Write for example travel 3 s.")
        self.travel_us = us
        return Said(f"Full travel is {duration(us)} now. See it: to {next(iter(self.ends), '45 deg')}. Not saved yet.")

    def _end(self) -> Said:
        if self.changes() and not self._warned:
            self._warned = True
            return Said(
                "Not saved yet: " + "; ".join(told(one) for one in self.changes()) + ". save, or end once more."
            )
        return Said(ends=True)


def told(change: Change) -> str:
    """A change, as a line of this session's words would have it."""
    return f"{' '.join(change.path[2:]).removeprefix('positions ')} {change.value}"


def _angle(text: str) -> float | None:
    return degrees(text if re.search("[a-z°]", text) else f"{text} deg")


_WHOLE: dict[str, Callable[[Jog], Said]] = {
    "where": lambda jog: Said(jog.all_of_it()),
    "help": lambda jog: Said(HELP.rstrip()),
    "?": lambda jog: Said(HELP.rstrip()),
    "save": lambda jog: Said(saves=True) if jog.changes() else Said("Nothing was changed, so nothing is to be saved."),
    "let go": lambda jog: Said(lets_go=True),
    "forget": Jog._forget,
    "lowest here": lambda jog: jog._bound_here(True),
    "highest here": lambda jog: jog._bound_here(False),
    "end": Jog._end,
    "quit": Jog._end,
    "exit": Jog._end,
}
_FILLERS = {"here": "is ", "new": "end "}
_VERBS: dict[str, Callable[[Jog, str], Said]] = {
    "to": Jog._go,
    "step": Jog._stride,
    "here": Jog._here,
    "new": Jog._new_end,
    "limits": Jog._bounds,
    "travel": Jog._travel,
}
