"""How all stood, from the journal, as the `begins with` lines of a rehearsal. Knows the layout's names, and no file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from engine.layout import NOWHERE, Kind, Layout, Output
from engine.program import Begin, Program
from scenes.rehearsals import REMEMBERED

NEAR = 1e-9  # a level or an angle this close to a named one is that one


class Beginning(NamedTuple):
    """What stands behind `begins with`, and what the engine makes of it."""

    words: str
    begins: tuple[Begin, ...]


def beginnings(program: Program, stood: Mapping[str, Any]) -> list[Beginning]:
    """What can be said; an output without words for what it showed is left at rest."""
    layout = program.layout
    found = []
    if layout.detectors:
        clear = tuple(Begin(NOWHERE, name, "clear") for name in layout.detectors)
        found.append(Beginning("every detector clear", clear))
    for name, state in dict(stood.get("detectors", {})).items():
        if name in layout.detectors:
            found.append(Beginning(f"{name} {state}", (Begin(NOWHERE, name, str(state)),)))
    outputs = dict(stood.get("outputs", {}))
    for name in sorted(outputs, key=lambda one: _rank(layout, one)):  # a signal sets its parts, too
        words = _words(layout, name, float(outputs[name]))
        if words:
            found.append(Beginning(f"{name} {words}", (Begin(NOWHERE, name, None, float(outputs[name])),)))
    found += [Beginning(*one) for one in _variables(program, stood)]
    return found


def _variables(program: Program, stood: Mapping[str, Any]) -> Iterator[tuple[str, tuple[Begin, ...]]]:
    for name in stood.get("flags", ()):
        if name in program.flags:
            yield f"{name} {REMEMBERED}", (Begin(NOWHERE, name, None, 1.0),)
    for name, number in dict(stood.get("counters", {})).items():
        if name in program.counters and number > 0:
            yield f"{name} {number}", (Begin(NOWHERE, name, None, float(number)),)


def _rank(layout: Layout, name: str) -> int:
    output = layout.outputs.get(name)
    return 0 if output is None or output.kind in (Kind.SIGNAL, Kind.DAYLIGHT) else 1


def _words(layout: Layout, name: str, value: float) -> str:
    """A value as a rehearsal can begin with it; empty where it has no words, or something else brings it about."""
    output = layout.outputs.get(name)
    if output is None or output.follows_lux is not None:
        return ""
    said = _BY_KIND.get(output.kind, _level)
    return said(output, value)


def _level(output: Output, value: float) -> str:
    if value in (0.0, 1.0):
        return "on" if value else "off"
    dims = output.kind in (Kind.LAMP, Kind.SOUND, Kind.MOTOR)
    return f"{_number(value * 100)} %" if dims and 0 < value < 1 else ""


def _servo(output: Output, value: float) -> str:
    named = next((one.name for one in output.positions if abs(one.degrees - value) < NEAR), "")
    return named or (f"{_number(value)} deg" if value >= 0 else "")


def _aspect(output: Output, value: float) -> str:
    at = round(value)
    return output.aspects[at].name if 0 <= at < len(output.aspects) else ""


def _lux(_: Output, value: float) -> str:
    return f"{_number(value)} lux"


def _none(_: Output, __: float) -> str:
    return ""  # a colour is an output of its own that no scene names


_BY_KIND = {Kind.SERVO: _servo, Kind.SIGNAL: _aspect, Kind.DAYLIGHT: _lux, Kind.COLOUR: _none}


def _number(value: float) -> str:
    """As many digits as give the same number again, without an exponent."""
    return f"{value:.12f}".rstrip("0").rstrip(".")
