"""A case in the words of a scene file: as a rehearsal that can be kept, and in one line."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from engine.layout import Layout
from engine.program import Act, Deed, TrainRun, Visit
from wayside.challenge.case import Case

AFTER_US = 5_000_000  # a rehearsal goes on for as long after its rule broke


def time(us: int) -> str:
    """`400 ms`, `27.35 s`: exact to the microsecond, as scene files are read."""
    if 0 < us < 1_000_000 and us % 1_000 == 0:
        return f"{us // 1_000} ms"
    return f"{_plain(Fraction(us, 1_000_000))} s"


def _plain(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")


def train(run: TrainRun) -> str:
    """`a train 800 mm long runs along up-line at 150 mm/s, from 0 s, ignoring signals`."""
    way = f"along {run.track}{' backwards' if run.backwards else ''}"
    speed = f"{_plain(Fraction(run.speed_um_s, 1000))} mm/s"
    habits = [_visit(visit) for visit in run.visits]
    habits += ["ignoring signals"] if run.ignores_signals else []
    habits += ["seen by locomotive only"] if run.locomotive_only else []
    return ", ".join([f"a train {run.length_mm} mm long runs {way} at {speed}", f"from {time(run.from_us)}", *habits])


def _visit(visit: Visit) -> str:
    if visit.reverses:
        return f"reversing in {visit.detector}" + (f" after {time(visit.stands_us)}" if visit.stands_us else "")
    return f"standing in {visit.detector} for {time(visit.stands_us)}"


_DEEDS = {
    Deed.PRESS: "press {subject}",
    Deed.LET_GO: "let go {subject}",
    Deed.START: "start {subject}",
    Deed.STOP: "stop {subject}",
    Deed.LOSE_LINK: "lose link {subject}",
    Deed.MEND_LINK: "mend link {subject}",
    Deed.BECOMES: "{subject} becomes {state}",
    Deed.PUT_ASIDE: "put {subject} out of use",
    Deed.PUT_BACK: "put {subject} back in use",
    Deed.ALL_STOP: "all stop",
    Deed.GO_ON: "go on",
}
FOR_EVER_US = 24 * 3600 * 1_000_000  # a wire that is broken stays so


def act(one: Act) -> str:
    """`at 27 s lane stays clear for 400 ms`."""
    if one.deed is Deed.STAYS:
        said = f"{one.subject} stays {one.state} for {time(FOR_EVER_US if one.for_us is None else one.for_us)}"
    else:
        said = _DEEDS[one.deed].format(subject=one.subject, state=one.state)
        said += f" for {time(one.for_us)}" if one.deed is Deed.PRESS and one.for_us else ""
    return f"at {time(one.at_us)} {said}"


def lines(case: Case) -> Iterator[str]:
    yield from (train(run) for run in sorted(case.trains, key=lambda run: run.from_us))
    yield from (act(one) for one in sorted(case.acts, key=lambda one: one.at_us))
    if case.seed:
        yield f"seed {case.seed}"


def rehearsal(case: Case, layout: Layout, name: str, lasts_us: int | None) -> str:
    """The case as a rehearsal, with a newline at its end."""
    said = [f"rehearsal {name}"]
    said += ["    begins with every detector clear"] if layout.detectors else []
    said += [f"    {line}" for line in lines(case)]
    said += [f"    lasts {time(lasts_us)}"] if lasts_us is not None else []
    return "\n".join(said) + "\n"


def lasts_us(broke_us: int) -> int:
    """Until a little after a rule broke, to the full second."""
    return -(-(broke_us + AFTER_US) // 1_000_000) * 1_000_000
