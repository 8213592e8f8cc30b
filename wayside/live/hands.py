"""What a person types while a show runs: detectors, buttons, scenes. A line in, inputs or a sentence out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from engine.events import Detected, Input, Pressed, StartScene, StopScene, Swept
from engine.program import Program
from scenes.problems import nearest
from wayside.live.operator_words import HELP as OPERATOR_HELP
from wayside.live.operator_words import operated

if TYPE_CHECKING:
    from engine.stage import Stage

HELP = """\
lane occupied        a detector, worked by hand: occupied, clear or unknown
press NAME           a button, pressed and let go
start SCENE          stop SCENE
power on             power off: the track's, on every link
mark SOMETHING ODD   a note in the journal, to be looked at later
swap now             edited scenes; swap when idle, swap never
begin                do not wait for a link that does not talk
end                  end the show, as Ctrl-C does
"""
HELP += OPERATOR_HELP
STATES = ("occupied", "clear", "unknown")
SWAPS = ("now", "when idle", "never")
LONGEST = 200  # characters of one line


class Answer(NamedTuple):
    """What a line means: inputs for the show, something to say, or the end."""

    inputs: tuple[Input, ...] = ()
    says: str = ""
    ends: bool = False
    begins: bool = False
    mark: str | None = None  # a note for the journal, maybe an empty one
    swap: str | None = None  # one of SWAPS, of edited scene files; empty asks what is offered
    order: str = ""  # what the links themselves are told: "power on", "power off"


def understood(line: str, program: Program) -> Answer:
    """What a typed line means."""
    words = line[:LONGEST].split()
    if not words:
        return Answer()
    if words[0] == "mark" and not (len(words) == 2 and words[1] in STATES and "mark" in program.layout.detectors):
        return Answer(mark=" ".join(words[1:]))
    if words[0] == "swap" and not (len(words) == 2 and words[1] in STATES):
        return _swap(" ".join(words[1:]))
    if (said := operated(words, program)) is not None:
        return Answer(*said)
    if len(words) == 1:
        return _one_word(words[0], program)
    if len(words) > 2:
        return Answer(says=f"{' '.join(words)!r} is more than I understand. Type help: it lists what I do.")
    verb, name = words
    if verb == "power":
        return Answer(order=f"power {name}") if name in ("on", "off") else Answer(says="Write power on, or power off.")
    if verb in _VERBS:
        return _VERBS[verb](name, program)
    if verb in program.layout.detectors or name in STATES:
        return _detector(verb, name, program)
    near = nearest(verb, [*_VERBS, *program.layout.detectors])
    return Answer(says=f"I know no {verb}.{f' Did you mean {near}?' if near else ''} Type help: it lists what I do.")


def _swap(how: str) -> Answer:
    if how in ("", *SWAPS):
        return Answer(swap=how)
    return Answer(says="Write swap now, swap when idle or swap never; swap alone tells what is offered.")


def so_already(inputs: Iterable[Input], stage: Stage) -> Iterator[str]:
    """What is so already, so that nothing will be seen of it: better said than met with silence."""
    for one in inputs:
        if isinstance(one, Detected) and stage.detectors[one.detector].state == one.state:
            if one.state == "clear" and stage.trains_on[one.detector]:
                yield f"{one.detector} is clear already; since you say so, no train is taken to be there any more."
            else:
                yield f"{one.detector} is {one.state} already."
        elif isinstance(one, StartScene) and stage.scenes[one.scene] == "running":
            yield f"{one.scene} is running already."
        elif isinstance(one, StopScene) and stage.scenes[one.scene] not in ("running", "stopping"):
            yield f"{one.scene} is not running."


def _one_word(word: str, program: Program) -> Answer:
    if word in ("end", "quit", "exit"):
        return Answer(ends=True)
    if word == "begin":
        return Answer(begins=True)
    if word in ("help", "?"):
        return Answer(says=HELP)
    layout = program.layout
    kinds = (
        (layout.detectors, "a detector", f"{word} occupied, clear or unknown"),
        (layout.buttons, "a button", f"press {word}"),
        (program.named_scenes, "a scene", f"start {word}, or stop {word}"),
    )
    for named, what, write in kinds:
        if word in named:
            return Answer(says=f"{word} is {what}. Write {write}.")
    if word in layout.outputs:
        return Answer(says=f"{word} is an output: scenes tell it what to do. `wayside try` does, outside a show.")
    return Answer(says=f"{word} alone says nothing. Type help: it lists what I do.")


def _detector(name: str, state: str, program: Program) -> Answer:
    known = program.layout.detectors
    if name not in known:
        return _unknown("detector", name, list(known))
    if state not in STATES:
        near = nearest(state, STATES)
        return Answer(
            says=f"A detector is {', '.join(STATES[:-1])} or {STATES[-1]}.{f' Did you mean {near}?' if near else ''}"
        )
    if state == "clear":  # said of a detector that is clear already, a person has looked
        return Answer((Swept(name), Detected(name, state)))
    return Answer((Detected(name, state),))


def _press(name: str, program: Program) -> Answer:
    if name not in program.layout.buttons:
        return _unknown("button", name, list(program.layout.buttons))
    return Answer((Pressed(name, True), Pressed(name, False)))


def _start(name: str, program: Program) -> Answer:
    known = program.named_scenes
    return Answer((StartScene(name),)) if name in known else _unknown("scene", name, list(known))


def _stop(name: str, program: Program) -> Answer:
    known = program.named_scenes
    return Answer((StopScene(name),)) if name in known else _unknown("scene", name, list(known))


def _unknown(kind: str, name: str, known: list[str]) -> Answer:
    near = nearest(name, known)
    there_is = (
        f" Did you mean {near}?" if near else f" There is {', '.join(known)}." if known else f" There is no {kind}."
    )
    return Answer(says=f"There is no {kind} {name}.{there_is}")


_VERBS: dict[str, Callable[[str, Program], Answer]] = {"press": _press, "start": _start, "stop": _stop}
