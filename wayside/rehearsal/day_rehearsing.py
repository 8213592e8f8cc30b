"""Plays a whole show day in virtual time, with trains if asked, and makes out what ran when, for how long and why.

Knows no command line; how it reads is decided elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from adapters.simulator import World
from engine.day import Plan
from engine.drive import next_instant, work
from engine.kernel import Kernel
from engine.layout import NOWHERE, Layout
from engine.program import DayEntry, Program, Rehearsal, TrainRun
from engine.rules import Rules, sentences
from engine.show_day import CLOSES_WITHIN_US, ENDS_WITHIN_US, Happened, ShowDay
from engine.trace import Record, SceneIs
from wayside.rehearsal import rule_words
from wayside.rehearsal.playing import drivers_see
from wayside.rehearsal.rehearsing import Result
from wayside.usage import UsageProblem
from wayside.wording import duration

TRAIN_LENGTHS = 2  # of the shortest train of a track: what runs on a show day
MOST_TRAINS = 5_000

Progress = Callable[[float], None]


class Ran(NamedTuple):
    """One run of a scene. `end_us` is None where it had not ended when the day was over."""

    scene: str
    at_us: int
    end_us: int | None
    why: str


class DayPlayed(NamedTuple):
    """What came of a day: the trace and the rules as of a rehearsal, what was due, and every run of every scene."""

    program: Program
    plan: Plan
    result: Result
    log: tuple[Happened, ...]
    runs: tuple[Ran, ...]
    trains: int

    def run_of(self, happened: Happened) -> Ran | None:
        """The run that an entry of the day began."""
        entry = happened.entry
        if entry is None or happened.left_out:
            return None
        return next((ran for ran in self.runs if ran.scene == entry.scene and ran.at_us == happened.at_us), None)

    @property
    def never_ran(self) -> list[str]:
        """Scenes that did not run all day."""
        ran = {one.scene for one in self.runs}
        return [name for name in self.program.named_scenes if name not in ran]

    @property
    def nothing_came_of(self) -> list[DayEntry]:
        """Lines of the day by which no scene was begun."""
        done = {one.entry for one in self.log if one.entry is not None and not one.left_out}
        return [entry for entry in self.plan.day.entries if entry not in done]


def rehearse_day(
    program: Program, plan: Plan, seed: int, train_every_us: int | None, progress: Progress | None = None
) -> DayPlayed:
    """Play a day from the plan's beginning until all has ended after its closing; of one without, until it is over."""
    trains = tuple(trains_of(program.layout, plan, train_every_us)) if train_every_us else ()
    kernel = Kernel(program, seed, plan.layout_starts_s)
    kernel.hall_starts_s = plan.hall_starts_s
    world = World(program.layout, trains, (), drivers_see(kernel, program.layout))
    day = ShowDay(kernel, plan, world)
    rules = Rules(kernel, sentences(program.rules.values()))
    ended_us = _play(kernel, day, plan, progress)
    rehearsal = Rehearsal(plan.day.name, NOWHERE, begins_at_s=plan.layout_starts_s, trains=trains)
    trace = tuple(kernel.trace)
    judged = tuple(rule_words.outcome(program, rehearsal, trace, one) for one in rules.judgements(ended_us))
    result = Result(rehearsal, (), trace, ended_us, seed, rules=judged)
    return DayPlayed(program, plan, result, tuple(day.log), tuple(runs(trace)), len(trains))


def _play(kernel: Kernel, day: ShowDay, plan: Plan, progress: Progress | None) -> int:
    """Work instant after instant until the day is over; the instant at which it was."""
    limit_us = plan.ends_us + (CLOSES_WITHIN_US + ENDS_WITHIN_US if plan.closes else 0)
    last_us = 0
    while not day.over:
        now_us = next_instant(kernel, day)
        if now_us is None or now_us > limit_us:
            return limit_us if plan.closes else plan.ends_us
        work(kernel, day, now_us)
        last_us = now_us
        if progress is not None and limit_us > 0:
            progress(min(1.0, now_us / limit_us))
    return last_us


def trains_of(layout: Layout, plan: Plan, every_us: int) -> Iterator[TrainRun]:
    """A train every so often while the day is open, on each track in turn. Raises UsageProblem if that is too often."""
    tracks = list(layout.tracks.values())
    if not tracks:
        raise UsageProblem("--trains needs tracks, and the layout file has none.")
    from_us = max(0, plan.opens_us)
    if (plan.ends_us - from_us) // every_us > MOST_TRAINS:
        raise UsageProblem(f"--trains: that makes more than {MOST_TRAINS:,} trains in the day. Give a longer time.")
    plain = [
        TrainRun(NOWHERE, track.name, track.shortest_train_mm * TRAIN_LENGTHS, track.fastest_mm_s * 1000, 0)
        for track in tracks
    ]
    for track, run in zip(tracks, plain, strict=True):
        takes_us = (track.length_mm + run.length_mm) * 1_000_000_000 // run.speed_um_s
        if takes_us > every_us * len(tracks):
            raise UsageProblem(
                f"--trains: a train takes {duration(-(-takes_us // 1_000_000) * 1_000_000)} on {track.name}, and the "
                f"next would come before it has gone. Give more than {duration(-(-takes_us // len(tracks)))}."
            )
    due_us, number = from_us + every_us, 0
    while due_us < plan.ends_us:
        yield plain[number % len(plain)]._replace(from_us=due_us)
        due_us, number = due_us + every_us, number + 1


def runs(trace: tuple[Record, ...]) -> Iterator[Ran]:
    """Every run of every scene, in the order in which they began. A scene that starts over goes on with its run."""
    begun: dict[str, SceneIs] = {}
    found: list[Ran] = []
    for record in trace:
        if not isinstance(record, SceneIs):
            continue
        if record.state == "running":
            begun.setdefault(record.scene, record)
        elif record.state != "stopping" and (first := begun.pop(record.scene, None)) is not None:
            found.append(Ran(record.scene, first.at_us, record.at_us, first.why))
    found += (Ran(name, first.at_us, None, first.why) for name, first in begun.items())
    yield from sorted(found, key=lambda ran: ran.at_us)
