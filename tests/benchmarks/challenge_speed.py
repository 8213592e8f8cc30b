"""A challenge on one core: cases and train runs a second for the example's crossing, how they grow with rules and with
tracks, and how long each crossing of `tests/challenge/known_bad` takes to be found.

Run it: `python -m tests.benchmarks.challenge_speed [found]`; with `found` only the known-bad crossings.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.challenge.crossings import EXAMPLE, NOTHING, crossings
from tests.challenge.mutants import unchanged
from wayside.challenge.case import Field, play
from wayside.challenge.case_menu import Budget, release_delay_us
from wayside.challenge.challenging import Limits, challenge
from wayside.challenge.search import Reach, Search
from wayside.project import Project, load

CASES = 1_500
RULES = (1, 2, 4, 8)
TRACKS = (2, 4, 8)


def pace(ground: Field, cases: int = CASES) -> tuple[float, float]:
    """Cases and train runs a second of processor time, in the order in which a challenge plays them."""
    search = Search(ground, Budget(release_delay_us(ground.program), False), Reach())
    while search.setting_out:
        for asked in search.batch():
            search.learn(asked, play(ground, asked.case))
    before, trains, began = search.covered.cases, search.covered.trains, time.process_time()
    while search.covered.cases - before < cases:
        for asked in search.batch():
            search.learn(asked, play(ground, asked.case))
    took = time.process_time() - began
    return (search.covered.cases - before) / took, (search.covered.trains - trains) / took


def ground_of(project: Project) -> Field:
    assert not project.errors, project.errors
    return Field.of(project.program, list(project.program.rules))


def with_rules(copies: int) -> Field:
    """The example's three rules, so many times."""
    text = unchanged().text + (EXAMPLE / "signals.scene").read_text(encoding="utf-8").split("\nrehearsal ")[0]
    head, *rules = text.split("\nrule ")
    copied = [f"\nrule copy-{n}-{rule.rstrip()}\n" for n in range(copies) for rule in rules]
    return _read((EXAMPLE / "layout.yaml").read_text(encoding="utf-8"), f"{head.rstrip()}\n{''.join(copied)}")


def with_tracks(tracks: int) -> Field:
    """The example with so many lines: those that it has not are like its up line, and share its signal."""
    layout = (EXAMPLE / "layout.yaml").read_text(encoding="utf-8")
    scene = unchanged().text
    more = [f"more-{n}" for n in range(2, tracks)]
    detectors = "".join(
        f"  {name}-approach: {{kind: section, link: main, pin: {70 + n}, settle: 200 ms}}\n"
        for n, name in enumerate(more)
    )
    block = layout.split("\n  up-line:\n")[1].split("\n  down-line:\n")[0]
    lines = "".join(f"  {name}-line:\n{block.replace('up-approach', name + '-approach')}\n" for name in more)
    layout = layout.replace("\nbuttons:\n", f"{detectors}\nbuttons:\n").replace(
        "\n  down-line:\n", f"\n{lines}  down-line:\n"
    )
    seen = ", ".join(f"{name}-approach" for name in more)
    if seen:
        scene = scene.replace("down-approach, lane", f"down-approach, {seen}, lane")
    return _read(layout, scene)


def _read(layout: str, scene: str) -> Field:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "layout.yaml").write_text(layout, encoding="utf-8")
        (Path(folder) / "crossing.scene").write_text(scene, encoding="utf-8")
        return ground_of(load([Path(folder)]))


def paces() -> None:
    print(f"the example's crossing, one core:  {'cases/s':>8} {'train runs/s':>13}")
    print("  {:32} {:8.0f} {:13.0f}".format("its three rules", *pace(ground_of(load([EXAMPLE])))))
    for copies in RULES:
        print("  {:32} {:8.0f} {:13.0f}".format(f"three rules, {copies} times", *pace(with_rules(copies))))
    for tracks in TRACKS:
        print("  {:32} {:8.0f} {:13.0f}".format(f"{tracks} tracks, two rules", *pace(with_tracks(tracks))))


def found() -> None:
    print(f"{'crossings that are wrong':32} {'cases':>6} {'found in':>9} {'made small in':>14}")
    for one in crossings():
        if one.breaks == NOTHING:
            continue
        ground = one.ground(one.project())
        began = time.monotonic()
        outcome = challenge(ground, one.budget(ground), Reach(), Limits(60.0, cores=1))
        whole = time.monotonic() - began
        assert any(some.within for some in outcome.found), f"{one.name} was not found in a minute"
        print(f"  {one.name:30} {outcome.covered.cases:6} {outcome.seconds:7.2f} s {whole - outcome.seconds:12.2f} s")


if __name__ == "__main__":
    if "found" not in sys.argv:
        paces()
    found()
