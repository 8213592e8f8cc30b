"""The crossings of `known_bad/`: scene files that say in their first lines what is wrong with them.

# layout: automatic.yaml        the layout file that it is written for
# wrong: ...                    what is wrong, in one line
# breaks: road-closed           the rule that must break; `nothing` for a crossing that is right
# row: F1                       the published row that it violates, where there is one (see SOURCES)
# unseen: 1 s                   for how long a train may go unseen; the scenes' own release delay if left out
# cases: 15000                  how many cases its search plays; CASES if left out
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from wayside.challenge.case import Field
from wayside.challenge.case_menu import Budget, release_delay_us
from wayside.project import Project, load

FOLDER = Path(__file__).parent / "known_bad"
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
NOTHING = "nothing"
CASES = 1_500  # but for one that says otherwise the slowest needed 163 (tests/benchmarks/challenge_speed.py)

# Where the rows come from. NI: statutory rules of Northern Ireland; MUTCD: the edition of 2009, section 8C.04.
SOURCES = {
    "U4": "49 CFR 234.223: the arm is down at least 5 s before a train arrives",
    "U12": "MUTCD par. 3: the arm stays down while the crossing is occupied",
    "U13": "MUTCD par. 4: first the arm is up, then the lights go out",
    "F1": "MUTCD par. 4: the arm rises only when no other rail traffic is detected",
    "F2": "49 CFR 234.203: control circuits fail safe",
    "F3": "49 CFR 234.227(a): a train in any part of the detection circuit is detected",
    "F4": "49 CFR 234.227(b): poor detection counts as a failure to warn",
    "K1": "NI SR 2023/9 Sch. 2 par. 11(a): steady amber for about 3 s",
    "K2": "NI SR 2023/9 Sch. 2 par. 11(b): red at once when the amber ends",
    "K5": "NI SR 2023/9 Sch. 2 par. 11(e): exit barriers begin when the entrance barriers are down",
    "K7": "NI SR 2016/404 Sch. 2 par. 5: the boom lights go out when the barriers are fully raised",
    "K9": "NI SR 2023/9 Sch. 2 par. 11(g): a train may come only after the sequence",
    "K10": "NI SR 2016/403 Sch. 1 par. 21: barriers and protecting signals hold each other",
}


class Crossing(NamedTuple):
    """`unseen_us` is None where the scenes' own release delay counts."""

    name: str
    file: Path
    layout: Path
    wrong: str
    breaks: str
    rows: tuple[str, ...]
    unseen_us: int | None
    cases: int

    def project(self) -> Project:
        return load([self.layout, self.file])

    def ground(self, project: Project) -> Field:
        return Field.of(project.program, list(project.program.rules))

    def budget(self, ground: Field) -> Budget:
        unseen_us = release_delay_us(ground.program) if self.unseen_us is None else self.unseen_us
        return Budget(unseen_us, False)


def crossings() -> list[Crossing]:
    """All of them, by name."""
    return [_read(file) for file in sorted(FOLDER.glob("*.scene"))]


def _read(file: Path) -> Crossing:
    lines = file.read_text(encoding="utf-8").splitlines()
    said = dict(line[2:].split(": ", 1) for line in lines[: lines.index("")])
    seconds, unit = said.get("unseen", "0 s").split()
    assert unit == "s", f"{file.name}: `unseen` takes seconds"
    unseen_us = int(float(seconds) * 1_000_000) or None
    cases = int(said.get("cases", CASES))
    rows = tuple(said["row"].split(", ")) if "row" in said else ()
    return Crossing(file.stem, file, FOLDER / said["layout"], said["wrong"], said["breaks"], rows, unseen_us, cases)
