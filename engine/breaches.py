"""What a broken rule sets off: its lines below `if broken`; in a live show without them, the safe state of what it is
about. It decides; the kernel does it, at the instant of the breach."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from engine.conditions import Sort, atoms
from engine.events import Input, Stand, StartScene, StopScene
from engine.program import Program, Rule

if TYPE_CHECKING:
    from engine.kernel import Kernel
    from engine.rules import Broken


class Deed(NamedTuple):
    """What is done about a broken rule in a live show. `lines`: its own, below `if broken`; `again`: they still run.

    Else the `stopped` scenes and the `safe` outputs; neither, where the rule is about nothing that is guarded. Nothing
    when the show is `ending`, which makes everything safe itself.
    """

    ending: bool = False
    lines: bool = False
    again: bool = False
    stopped: tuple[str, ...] = ()
    safe: tuple[str, ...] = ()


def done_about(kernel: Kernel, rule: Rule) -> Deed:
    """What `answers` will do about a rule that breaks now."""
    runs = kernel.cast.runs
    if kernel.closed:
        return Deed(ending=True)
    if rule.if_broken:
        return Deed(lines=True, again=rule.if_broken in runs)
    return Deed(
        stopped=tuple(name for name in driven_by(rule, kernel.program) if name in runs),
        safe=guarded_by(rule, kernel.program),
    )


def guarded_by(rule: Rule, program: Program) -> tuple[str, ...]:
    """The guarded outputs that a rule is about: those that it reads, and what the scenes that write them guard beside.

    A crossing is made safe as a whole: a barrier that goes down alone, beside dark lights, is no safe state.
    """
    outputs = program.layout.outputs
    asked = (atom for line in rule.lines for condition in line.conditions for atom in atoms(condition.term))
    read = dict.fromkeys(atom.subject for atom in asked if atom.sort is Sort.OUTPUT and outputs[atom.subject].guarded)
    with_them = (scene.writes for scene in program.scenes.values() if read.keys() & set(scene.writes))
    beside = dict.fromkeys(name for writes in with_them for name in writes if outputs[name].guarded)
    return tuple(read | beside)


def driven_by(rule: Rule, program: Program) -> tuple[str, ...]:
    """The scenes that tell these outputs what to do."""
    about = set(guarded_by(rule, program))
    return tuple(name for name, scene in program.scenes.items() if about & set(scene.writes)) if about else ()


def answers(kernel: Kernel, broken: Iterable[Broken]) -> list[Input]:
    """What is to be done about lines that have just broken. A rule is answered once in an instant."""
    found: list[Input] = []
    rules = kernel.rules
    for one in broken:
        if rules is None or kernel.closed or rules.answered_at.get(one.rule.name) == kernel.stage.now_us:
            continue
        rules.answered_at[one.rule.name] = kernel.stage.now_us
        if one.rule.if_broken:
            found.append(StartScene(one.rule.if_broken, one.line.place, f"{one.rule.name} is broken"))
        elif rules.makes_safe:
            found += _made_safe(kernel, one)
    return found


def _made_safe(kernel: Kernel, one: Broken) -> Iterator[Input]:
    """Scenes that drive its guarded outputs are stopped, which makes them safe; what none holds is made so itself."""
    stage, runs = kernel.stage, kernel.cast.runs
    deed = done_about(kernel, one.rule)
    for name in deed.stopped:
        yield StopScene(name, one.line.place, f"rule {one.rule.name} is broken")
    for name in deed.safe:
        if stage.outputs[name].holder not in runs:
            yield Stand(name, True)
