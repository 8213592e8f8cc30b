"""How each kind of output is told what to do, said for messages. Knows no line and no table of names."""

from __future__ import annotations

from engine.layout import Kind, Output
from scenes.names import own_words

_TURNED = "write `turn on {0}` or `turn off {0}`"
_HOW = {
    Kind.SERVO: "write `move {0} to {1} over 3 s`",
    Kind.SIGNAL: "write `set {0} to {1}`",
    Kind.PULSE: "write `pulse {0}`",
    Kind.MOTOR: "write `set {0} to 40 %`, or `set {0} to 40 % backwards`",
    Kind.DAYLIGHT: "write `fade daylight through dusk over 4 min`",
}
TOLD_APART = frozenset(_HOW)  # kinds that are told in a line of their own


def how(output: Output, otherwise: str = _TURNED) -> str:
    """What to write for an output of this kind."""
    names = own_words(output) or ["its position"]
    return _HOW.get(output.kind, otherwise).format(output.name, names[0])


def is_a(output: Output) -> str:
    if output.kind is Kind.DAYLIGHT:
        return f"`{output.name}` is how light it is outdoors"
    return f"`{output.name}` is a {output.kind.value}"
