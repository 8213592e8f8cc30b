"""What of a show goes into its journal: records of the trace, links, typed lines, lateness, how everything stood.

Knows a show and what an entry is; must not know files, screens or threads.
"""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from engine.events import Detected, Input
from engine.layout import NOWHERE, Place
from engine.monitors import Verdict
from engine.program import Program
from engine.trace import (
    Broke,
    ButtonIs,
    CounterIs,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    Trouble,
)
from wayside.journal import hands as journal_hands
from wayside.journal import standing as journal_standing
from wayside.journal.file import Entry
from wayside.live.words import Teller
from wayside.rehearsal import rule_words
from wayside.rehearsal.event_words import Group, in_words

if TYPE_CHECKING:
    from adapters.link_run import LinkRun
    from wayside.live.showing import Show

LATE_EVERY_US = 60_000_000
STANDS_AFTER_US = 1_000_000  # after a scene has begun or ended, how all stands is written down
STANDS_BY_US = 60_000_000  # then at the latest, although something that no scene holds still moves or flashes
STANDS_EVERY_US = 60_000_000  # and so often, if anything has happened
MOST_COUNTED = 100_000  # lines of a minute whose lateness is looked at
_NUMBER = re.compile(r"\b[0-9]+\b")
_NOT_OF_A_SCENE = ("put right", "another hand")  # why an output was told something, worth an entry whatever it is

# For each record that has an entry: its kind, the field that it is about, the fields that programs want
_SHAPES: dict[type, tuple[str, str, tuple[str, ...]]] = {
    SceneIs: ("scene", "scene", ("state", "why")),
    Saw: ("detector", "detector", ("state",)),
    ButtonIs: ("button", "button", ("pressed",)),
    FlagIs: ("flag", "flag", ("value",)),
    CounterIs: ("counter", "counter", ("value",)),
    LinkIs: ("link", "link", ("state",)),
    Noted: ("note", "scene", ()),
    Broke: ("rule", "rule", ("since_us",)),
    Trouble: ("fault", "", ()),
    Told: ("output", "output", ("scene", "why")),
}


class Keeps(Protocol):
    """Where entries go."""

    def put(self, entry: Entry) -> None: ...


class Watch:
    """Looks at one show, from before it begins until after it has ended."""

    def __init__(
        self, journal: Keeps, program: Program, name: str, wall_us: Callable[[], int] | None = None, dry: bool = False
    ) -> None:
        self._journal, self._program, self._name, self._dry = journal, program, name, dry
        self._wall_us = wall_us or (lambda: time.time_ns() // 1_000)
        self._teller = Teller(program)
        self._show: Show | None = None
        self._runs: Sequence[LinkRun] = ()
        self._said: dict[str, str] = {}
        self.began_us = self._wall_us()  # which show it is, in the journal
        self._worked = 0
        self._late: list[int] = []
        self._late_since_us = 0
        self._raw: Counter[str] = Counter()
        self._last_change_us = 0  # when a scene was last seen to begin or end
        self._owes = True  # whether how all stands is to be written down when nothing moves
        self._changed = False  # whether anything has happened since it was
        self._stood_us = 0
        self._over = False
        self.pressed: Counter[str] = Counter()

    # --- its beginning and its end ---------------------------------------------------------------------------------

    def begins(self, show: Show, runs: Sequence[LinkRun] = (), seed: int = 0) -> None:
        """The show is made, and has not begun. How all stands is written before anything happens."""
        self._show, self._runs = show, runs
        show.inputs.heard = self._heard
        layout, kernel = self._program.layout, show.kernel
        details = {
            "layout": self._name,
            "dry": self._dry,
            "seed": seed,
            "starts_s": kernel.starts_s,
            "ratio": layout.clock.ratio,
            "detectors": {name: _link(layout.link_of(one.wiring)) for name, one in layout.detectors.items()},
            "buttons": {name: _link(layout.link_of(one.wiring)) for name, one in layout.buttons.items()},
            "outputs": {name: _link(layout.link_of(one.wiring)) for name, one in layout.outputs.items()},
            "scenes": list(self._program.named_scenes),
        }
        dry = ", touching no hardware" if self._dry else ""
        self._put("show", self._name, f"the show begins{dry}", {**details, "state": "begins"}, at_us=0)
        self._stand()

    def ended(self, how: str, status: int) -> None:
        """The last entries: margins of rules, the rest of a minute, how it ended."""
        if self._over or self._show is None:
            return
        self._over = True
        self._lateness()
        rules = self._show.kernel.rules
        for judgement in rules.judgements(self._show.now_us) if rules is not None else ():
            self._margin(judgement)
        self._put("show", self._name, how, {"state": "ended", "status": status})

    def _margin(self, judgement: Any) -> None:
        found, said = judgement.margin, rule_words.margin(judgement)
        verdict = rule_words.VERDICTS[judgement.verdict]
        details = {
            "verdict": verdict,
            "margin": None if found is None else found.amount,
            "unit": judgement.unit,
            "broken": judgement.broken,
            "line": judgement.line.place.line,
        }
        if judgement.verdict is not Verdict.SILENT or judgement.broken:
            self._put(
                "margin", judgement.rule.name, f"{verdict}{f', {said}' if said else ''}", details, judgement.line.place
            )

    # --- what happens ----------------------------------------------------------------------------------------------

    def record(self, record: Record) -> None:
        """A record of the trace, as it is made."""
        shape = _SHAPES.get(type(record))
        # the screen tells of a broken rule with what came before it; here it is an entry like any other
        sentence = f"rule {record.rule} is broken" if isinstance(record, Broke) else self._teller.sentence(record)
        self._changed = True
        if isinstance(record, SceneIs):
            self._last_change_us, self._owes = record.at_us, True
        if shape is None or sentence is None or (isinstance(record, Told) and not self._matters(record)):
            return
        kind, about, fields = shape
        if isinstance(record, ButtonIs):
            self.pressed[record.button] += record.pressed
        subject = str(getattr(record, about)) if about else ""
        details = {name: getattr(record, name) for name in fields}
        place = getattr(record, "place", NOWHERE)
        if isinstance(record, Told):
            details["does"] = does(self._program, record)
        if isinstance(record, Trouble):
            place = record.places[0] if record.places else NOWHERE
        self._put(kind, subject, sentence, details, place, record.at_us)

    def _matters(self, told: Told) -> bool:
        output = self._program.layout.outputs.get(told.output)
        return (output is not None and output.guarded) or told.why in _NOT_OF_A_SCENE

    def _heard(self, now_us: int, events: Sequence[Input]) -> None:
        """Inputs, as they are worked: what the trace does not tell of them."""
        for event in events:
            if isinstance(event, Detected):
                self._raw[event.detector] += 1
            elif (entry := journal_hands.asked(event)) is not None:
                self._put(*entry, at_us=now_us)

    def perform(self, program: Program) -> None:
        """Another program is performed from now on."""
        self._program = program
        self._teller.perform(program)

    def typed(self, line: str) -> None:
        """A line that somebody typed."""
        if line.strip():
            self._put("typed", "", line.strip())

    def mark(self, note: str) -> None:
        """Something odd just now."""
        self._put("mark", "", note or "something odd just now")

    def said(self, text: str) -> None:
        """What the screen has said beside the trace."""
        self._put("said", "", " ".join(text.split()))

    # --- twice a second --------------------------------------------------------------------------------------------

    def look(self) -> None:
        """Links, lateness, and how all stands once nothing happens."""
        show = self._show
        if show is None or self._over:
            return
        now_us = show.now_us
        new = min(show.worked - self._worked, len(show.late_us))
        if new > 0 and len(self._late) < MOST_COUNTED:
            self._late += list(show.late_us)[-new:]
        self._worked = show.worked
        if now_us - self._late_since_us >= LATE_EVERY_US:
            self._lateness()
        self._look_at_links()
        if not show.waiting and self._is_to_stand(now_us):
            self._stand()

    def _is_to_stand(self, now_us: int) -> bool:
        assert self._show is not None
        since_us = now_us - self._last_change_us
        if self._owes:
            return since_us >= STANDS_BY_US or (
                since_us >= STANDS_AFTER_US and not journal_standing.stirs(self._show.kernel, now_us)
            )
        return (
            self._changed
            and now_us - self._stood_us >= STANDS_EVERY_US
            and not journal_standing.stirs(self._show.kernel, now_us)
        )

    def _look_at_links(self) -> None:
        for run in self._runs:
            health = run.health()
            state = _NUMBER.sub("", health.what)
            if self._said.get(run.link.name) != state:
                self._said[run.link.name] = state
                tried = f" {health.instead[:1].upper()}{health.instead[1:]}." if health.instead else ""
                kind = "fault" if health.instead else "link"  # a link that is being opened has nothing wrong with it
                details = {"what": health.what, "state": health.state.value, "health": True}
                self._put(kind, run.link.name, f"link {run.link.name}: {health.what}.{tried}", details)

    def _lateness(self) -> None:
        """Of a minute in which anything was worked: how late lines were, and how detectors chattered."""
        assert self._show is not None
        self._late_since_us = self._show.now_us
        if not self._late and not self._raw:
            return
        late = sorted(self._late) or [0]
        p50, p99, worst = (late[min(len(late) - 1, len(late) * share // 100)] for share in (50, 99, 100))
        links = {run.link.name: run.health().late_p99_us for run in self._runs}
        details = {
            "worked": len(self._late),
            "p50_us": p50,
            "p99_us": p99,
            "worst_us": worst,
            "raw": dict(self._raw),
            "links_p99_us": links,
        }
        said = ", ".join(f"{words} {us / 1_000:.1f} ms" for words, us in (("half", p50), ("99 of 100", p99)))
        text = f"{len(self._late)} instants worked; late at most: {said}, worst {worst / 1_000:.1f} ms"
        self._put("lateness", "", text, details)
        self._late, self._raw = [], Counter()

    # --- how all stands --------------------------------------------------------------------------------------------

    def _stand(self) -> None:
        """From here a rehearsal could set out, if the scenes that matter do not run."""
        assert self._show is not None
        self._owes = self._changed = False
        self._stood_us = self._show.now_us
        show = self._show
        text, details = journal_standing.standing(show.kernel, now_us := 0 if show.waiting else show.now_us)
        self._put("standing", "", text, details, at_us=now_us)

    def _put(
        self,
        kind: str,
        subject: str,
        text: str,
        details: dict[str, Any] | None = None,
        place: Place = NOWHERE,
        at_us: int | None = None,
    ) -> None:
        wall_us = self._wall_us()
        now_us = self._show.now_us if self._show is not None else 0
        at_us = now_us if at_us is None else at_us
        utc_us = wall_us - max(0, now_us - at_us)
        where = f"{Path(place.file).name}:{place.line}" if place.file else ""
        entry = Entry(utc_us, offset_min(utc_us), self.began_us, at_us, kind, subject, text, details or {}, where)
        self._journal.put(entry)


def does(program: Program, told: Told) -> str:
    """What an output has been told, in words that hang on nothing before it, so that two shows can be compared."""
    return in_words(Group(told._replace(why=""), [program.layout.outputs[told.output]], [told.wave], [None], "", None))


def _link(link: Any) -> str:
    return link.name if link is not None else ""


def offset_min(utc_us: int) -> int:
    """The hall's local time less universal time, as this computer has it, at an instant."""
    found = time.localtime(utc_us // 1_000_000).tm_gmtoff
    return (found or 0) // 60
