"""Another program in place of the one that is performed: which scenes are alike in both, and when the rest may change.

The whole program is swapped at once, at a settled instant at which no scene that differs runs. Pure, as the kernel;
knows no file. What the kernel keeps and makes anew then is in `Kernel.take_up`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, is_dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from engine.conditions import Condition
from engine.layout import NOWHERE, Place
from engine.program import Program
from engine.queue import LINE

if TYPE_CHECKING:
    from engine.branches import Watch
    from engine.kernel import Kernel

_UNSEEN = ("place", "draw", "words")  # where and how it is written, and what names its draws: no part of what it does
STOPPED_FOR = "a new text is swapped in"
MOST_NAMED = 6  # scenes in one sentence
_SEEN: dict[type, Callable[[Any], Any] | None] = {}  # as many as there are kinds of record


# --- what is alike -------------------------------------------------------------------------------------------------


def _seen(kind: type) -> Callable[[Any], Any] | None:
    """What a record or a row is made of and performed by, as a row; None for a kind of plain value."""
    if kind is Condition:
        return lambda one: (one.term,)
    if issubclass(kind, dict):
        return lambda one: (tuple(one), *one.values())
    if issubclass(kind, tuple) and not hasattr(kind, "_fields"):
        return lambda one: one
    if issubclass(kind, tuple):
        names: tuple[str, ...] = getattr(kind, "_fields")  # noqa: B009
    elif is_dataclass(kind):
        names = tuple(one.name for one in fields(kind) if one.compare)
    else:
        return None
    names = tuple(one for one in names if one not in _UNSEEN)
    if not names:
        return lambda _: ()
    get = attrgetter(*names)
    return get if len(names) > 1 else lambda one: (get(one),)


def alike(old: object, new: object) -> bool:
    """Whether two records do the same, wherever they stand and however their conditions are worded."""
    kind = type(old)
    if kind is not type(new):
        return False
    if old is new or kind is Place:
        return True
    if kind not in _SEEN:
        _SEEN[kind] = _seen(kind)
    seen = _SEEN[kind]
    if seen is None:
        return old == new
    ours, theirs = seen(old), seen(new)
    return len(ours) == len(theirs) and all(map(alike, ours, theirs))


def twins(old: object, new: object) -> Iterator[tuple[Any, Any]]:
    """Every record in one with the one in its place in the other, of two that are alike."""
    todo: list[tuple[Any, Any]] = [(old, new)]
    while todo:
        ours, theirs = todo.pop()
        if isinstance(ours, tuple):
            yield ours, theirs
            if not isinstance(ours, Place):
                todo.extend(zip(ours, theirs, strict=True))
        elif is_dataclass(ours) and not isinstance(ours, type):
            todo.extend((getattr(ours, one.name), getattr(theirs, one.name)) for one in fields(ours) if one.compare)


class Difference(NamedTuple):
    """The scenes that are other in a new program, by name, in the order written; `others`: rules, flags, days."""

    changed: tuple[str, ...] = ()
    new: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    others: bool = False

    @property
    def something(self) -> bool:
        return self != Difference()

    @property
    def touched(self) -> tuple[str, ...]:
        """The scenes that may not be running when the new program is taken up."""
        return self.changed + self.gone


def difference(old: Program, new: Program) -> Difference:
    """What a new program does otherwise. Rehearsals are no part of a show."""
    changed = tuple(
        name
        for name, scene in new.scenes.items()
        if name in old.scenes and old.scenes[name] != scene and not alike(old.scenes[name], scene)
    )
    others = ((old.rules, new.rules), (old.flags, new.flags), (old.counters, new.counters), (old.days, new.days))
    return Difference(
        changed,
        tuple(name for name in new.scenes if name not in old.scenes),
        tuple(name for name in old.scenes if name not in new.scenes),
        any(before != after and not alike(before, after) for before, after in others),
    )


def moved(old: Program, new: Program, scenes: Iterable[str]) -> tuple[dict[int, Any], dict[Place, Place]]:
    """Where things stand now: each old record's twin, by its identity, and each old place's.

    Of rules and days, and of these scenes, if they are alike in both and stand elsewhere.
    """
    lines: dict[int, Any] = {}
    places: dict[Place, Place] = {}
    pairs: list[tuple[Any, Any]] = [(old.scenes.get(name), new.scenes.get(name)) for name in scenes]
    pairs += [(one, new.rules.get(name)) for name, one in old.rules.items()]
    pairs += [(one, new.days.get(name)) for name, one in old.days.items()]
    for before, after in pairs:
        if before is None or after is None or before == after or not alike(before, after):
            continue
        for one, twin in twins(before, after):
            lines[id(one)] = twin
            if isinstance(one, Place):
                places[one] = twin
    places.pop(NOWHERE, None)
    return lines, places


def in_words(found: Difference) -> str:
    """`evening is changed, fog is gone`."""
    parts = [
        f"{_listed(names)} {'is' if len(names) == 1 else 'are'} {how}"
        for names, how in ((found.changed, "changed"), (found.new, "new"), (found.gone, "gone"))
        if names
    ]
    return ", ".join(parts) or ("no scene is changed" if found.others else "nothing that is performed is changed")


def _listed(names: Iterable[str]) -> str:
    known = list(names)
    if len(known) > MOST_NAMED:
        known = [*known[: MOST_NAMED - 1], f"{len(known) - MOST_NAMED + 1} more"]
    return " and ".join(part for part in (", ".join(known[:-1]), known[-1]) if part)


# --- when ----------------------------------------------------------------------------------------------------------


class _PutOff:
    """A scene that would have begun, and the lines of others that wait until it has ended."""

    def __init__(self, why: str, place: Place, lender: str) -> None:
        self.why, self.place, self.lender = why, place, lender
        self.watches: list[Watch] = []


class Swapping:
    """The one program that is waited to be taken up, if there is one. One of these for each kernel."""

    def __init__(self, kernel: Kernel) -> None:
        self._kernel = kernel
        self._wanted: Program | None = None
        self._difference = Difference()
        self._touched: frozenset[str] = frozenset()
        self._at_once = False
        self._what = ""
        self._put_off: dict[str, _PutOff] = {}  # scenes that would have begun meanwhile

    @property
    def wanted(self) -> Program | None:
        """What is waited for."""
        return self._wanted

    @property
    def waits(self) -> tuple[str, ...]:
        """The running scenes that it waits for."""
        return tuple(name for name in self._kernel.cast.runs if name in self._touched)

    def ask(self, program: Program, at_once: bool, what: str) -> None:
        """Take up a program when the scenes that differ are idle; `at_once`: they are stopped for it, guarded first.

        A second one replaces the first. Raises ValueError for a program of another layout.
        """
        kernel = self._kernel
        if program.layout is not kernel.program.layout and not alike(program.layout, kernel.program.layout):
            raise ValueError("a program is swapped for one of the same layout only")
        self._wanted, self._at_once, self._what = program, at_once, what
        self._difference = difference(kernel.program, program)
        before, self._touched = self._touched, frozenset(self._difference.touched)
        if at_once:
            outputs = kernel.program.layout.outputs
            runs = [kernel.cast.runs[name] for name in self.waits]
            for run in sorted(runs, key=lambda run: not any(outputs[name].guarded for name in run.scene.writes)):
                kernel.cast.stop(run.scene.name, STOPPED_FOR, NOWHERE, latch=False)
        self._look_again(before)
        self._begin_put_off()

    def forget(self) -> None:
        """Nothing is waited for any more: what was put off begins as it is."""
        before, self._touched = self._touched, frozenset()
        self._wanted, self._difference = None, Difference()
        self._look_again(before)
        self._begin_put_off()

    def _look_again(self, scenes: Iterable[str]) -> None:
        """What kept them from beginning is gone; their conditions may have come to hold meanwhile."""
        for name in scenes:
            if not self.holds(name):
                self._kernel.scene_changed(name)

    def holds(self, scene: str) -> bool:
        """Whether a scene may not begin now, since its new text is about to be taken up."""
        return scene in self._touched and (self._at_once or not self.waits)

    def put_off(self, scene: str, why: str, place: Place, lender: str = "") -> None:
        """Begin a scene when its new text has been taken up."""
        self._put_off.setdefault(scene, _PutOff(why, place, lender))

    def tell_when_over(self, scene: str, watch: Watch) -> bool:
        """Wake the watch when a scene that was put off has run; False if none was."""
        if scene in self._put_off:
            self._put_off[scene].watches.append(watch)
        return scene in self._put_off

    def _begin_put_off(self) -> None:
        kernel = self._kernel
        for name, found in list(self._put_off.items()):
            if self.holds(name):
                continue
            del self._put_off[name]
            if name in kernel.program.scenes:
                kernel.start_scene(name, found.why, found.place, found.lender)
            for watch in found.watches:
                if watch.alive and not kernel.tell_when_over(name, watch):
                    kernel.queue.push(kernel.stage.now_us, LINE, watch)

    def settled(self) -> bool:
        """The instant has settled: take up what is waited for, if it may be; whether it was."""
        kernel, program = self._kernel, self._wanted
        if program is None or kernel.closed or self.waits:
            return False
        found, self._wanted, self._touched = self._difference, None, frozenset()
        kernel.take_up(program)
        if found.something:
            kernel.note("", f"{self._what or 'a new text'} is swapped in: {in_words(found)}", NOWHERE)
        for name in (*found.changed, *found.new):
            kernel.scene_changed(name)
        self._begin_put_off()
        return True
