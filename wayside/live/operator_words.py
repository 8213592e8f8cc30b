"""What an operator types to steer a show as a whole: all stop, blackout, by hand, out of use, the layout clock.

A line's words in, inputs or a sentence out; None for a line that is not the operator's. Does nothing itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from engine.events import AllStop, ByHand, Darken, GoOn, HandWorking, Hush, Input, InUse, LetGo, SetClock, StartScene
from engine.program import Program
from scenes.problems import nearest

if TYPE_CHECKING:
    from engine.kernel import Kernel

HELP = """\
all stop             everything stops, guarded outputs go to safe; go on lets scenes begin again
blackout             every lamp goes out but guarded ones; lights gives them back
mute                 every sound is still; sound gives them back
take lamp 40 %       an output by hand, until let go lamp
lane out of use      a detector that lies is put aside; lane in use takes it back
work CROSSING        a crossing by hand, its signals to danger first; give back CROSSING
clock 17:30          the layout clock: a time of day, stop or run"""

Said = tuple[tuple[Input, ...], str]
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")
_WHOLE: dict[str, Input] = {
    "all stop": AllStop(),
    "go on": GoOn(),
    "blackout": Darken(True),
    "lights": Darken(False),
    "mute": Hush(True),
    "sound": Hush(False),
}


def operated(words: Sequence[str], program: Program) -> Said | None:
    """What an operator's line means; None if it is none."""
    line = " ".join(words)
    if line in _WHOLE:
        return (_WHOLE[line],), ""
    for beginning, make in _BEGINNINGS.items():
        if words[: len(beginning)] == list(beginning):
            return make(list(words[len(beginning) :]), program)
    if len(words) > 3 and list(words[1:4]) == ["out", "of", "use"]:
        return _in_use(words[0], False, program)
    if list(words[1:]) == ["in", "use"]:
        return _in_use(words[0], True, program)
    return None


def refused(inputs: Iterable[Input], kernel: Kernel) -> Iterator[str]:
    """Why some of these will not be done now: better said than met with silence."""
    for one in inputs:
        if isinstance(one, ByHand) and (why := kernel.operator.why_not(one.output, one.value)):
            yield f"{why}."
        elif isinstance(one, LetGo) and not kernel.operator.held(one.output):
            yield f"{one.output} was not taken by hand."
        elif isinstance(one, StartScene) and kernel.operator.stopped:
            yield f"All is stopped, so {one.scene} does not begin. First go on."
        elif isinstance(one, GoOn) and (down := kernel.operator.held_down):
            yield f"{' and '.join(down)} is down: let it go, then go on."
        elif isinstance(one, GoOn) and not kernel.operator.stopped:
            yield "Nothing was stopped: all stop does that."


def _take(rest: list[str], program: Program) -> Said:
    if len(rest) < 2:
        return (), "Write take, the output, and what it is to show: take quay-lamp 40 %, take crane off."
    name, state = rest[0], " ".join(rest[1:])
    if name not in program.layout.outputs:
        return (), _unknown("output", name, program.layout.outputs)
    from wayside.far_ends.trial import value_of
    from wayside.usage import UsageProblem

    try:
        return (ByHand(name, value_of(program.layout.outputs[name], state)),), ""
    except UsageProblem as problem:
        return (), str(problem)


def _let_go(rest: list[str], program: Program) -> Said:
    if len(rest) == 1 and rest[0] in program.layout.outputs:
        return (LetGo(rest[0]),), ""
    name = rest[0] if rest else ""
    return (), _unknown("output", name, program.layout.outputs) if name else "Write let go, and the output."


def _in_use(name: str, used: bool, program: Program) -> Said:
    if name not in program.layout.detectors:
        return (), _unknown("detector", name, program.layout.detectors)
    return (InUse(name, used),), ""


def _work(rest: list[str], program: Program) -> Said:
    return _crossing(rest, program, True)


def _give_back(rest: list[str], program: Program) -> Said:
    return _crossing(rest, program, False)


def _crossing(rest: list[str], program: Program, held: bool) -> Said:
    known = program.layout.crossings
    if len(rest) == 1 and rest[0] in known:
        return (HandWorking(rest[0], held),), ""
    return (), _unknown("crossing", rest[0] if rest else "", known)


def _clock(rest: list[str], program: Program) -> Said:
    word = " ".join(rest)
    if word in ("stop", "run"):
        return (SetClock(None, word == "run"),), ""
    found = _TIME.fullmatch(word)
    hours, minutes, seconds = (int(part or 0) for part in found.groups()) if found else (99, 0, 0)
    if hours > 23 or minutes > 59 or seconds > 59:
        return (), "Write clock and a time of day such as 17:30, or stop, or run."
    return (SetClock(hours * 3600 + minutes * 60 + seconds, None),), ""


def _unknown(kind: str, name: str, known: Iterable[str]) -> str:
    names = list(known)
    near = nearest(name, names)
    there_is = f" Did you mean {near}?" if near else f" There is {', '.join(names[:12])}." if names else ""
    return f"There is no {kind} {name}.{there_is}" if name else f"Name a {kind}.{there_is}"


_BEGINNINGS: dict[tuple[str, ...], Callable[[list[str], Program], Said]] = {
    ("take",): _take,
    ("let", "go"): _let_go,
    ("work",): _work,
    ("give", "back"): _give_back,
    ("clock",): _clock,
}
