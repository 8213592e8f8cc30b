"""What happens in a live show, one sentence a record, as it happens. Knows records and the layout's names only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

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
    TrainOn,
    TrainTaken,
    Trouble,
)
from engine.waves import Wave
from wayside import wording
from wayside.rehearsal import trace_words as words
from wayside.rehearsal.event_words import Group, in_words, unknown_output

if TYPE_CHECKING:
    from wayside.live.links import Unreached

_SCENE = {"running": "begins", "ended": "has ended", "stopping": "is being stopped", "stopped": "has stopped"}

MOST_NAMED = 4  # detectors and scenes in one sentence


def kept_closed(detectors: Sequence[str], scenes: Sequence[str], links: Sequence[str]) -> str:
    """Why a crossing is closed to the road although no train is about, and what a hand can do. One sentence."""
    one = len(detectors) == 1
    why = f" ({'; '.join(f'link {link}' for link in links)})" if links else ""
    closed = f"{wording.listed(list(scenes), MOST_NAMED)} stay{'s' if len(scenes) == 1 else ''}" if scenes else ""
    typed = [f"`{name} clear`" for name in detectors]
    if len(typed) > MOST_NAMED:
        typed = [typed[0], "so on for each"]
    named = wording.listed(list(detectors), MOST_NAMED)
    return (
        f"Nothing is known of {named}{why}, so {'it counts' if one else 'they count'} as occupied, and "
        f"{closed or 'guarded outputs stay'} closed to the road; to work {'it' if one else 'them'} by "
        f"hand, type {wording.listed(typed)}{'' if one else ', a line each'}."
    )


def not_begun(links: Sequence[str]) -> str:
    """Why a show has not begun; `links`: those that do not talk, and what they do instead."""
    if not links:
        return "The show has not begun: its outputs are still being put right. Type `begin` not to wait for that."
    it = "it" if len(links) == 1 else "them"
    waits = "; ".join(f"link {link}" for link in links)
    return (
        f"The show has not begun: it waits for {waits}. Guarded outputs keep their safe state. Type `begin` to begin "
        f"without {it}."
    )


def ended(unreached: Sequence[Unreached], flashing: Sequence[str] = ()) -> str:
    """How a show has ended: whether all guarded outputs are known to have been told their safe state.

    `flashing`: those whose safe state was a flash that only Wayside kept up.
    """
    if not unreached:
        safe = "the show has ended, guarded outputs are in their safe state."
        if not flashing:
            return safe
        one = len(flashing) == 1
        return (
            f"{safe} But {wording.listed(list(flashing), MOST_NAMED)} {'flashes' if one else 'flash'} no more: with "
            f"Wayside gone, {'it stays' if one else 'each stays'} as it was last told, on or off."
        )
    told = [f"{wording.listed(list(one.outputs), MOST_NAMED)} (link {one.link}: {one.why})" for one in unreached]
    return f"the show has ended, but these may not be in their safe state: {', and '.join(told)}. See to them by hand."


class Teller:
    """Tells one record after another; it remembers what every output did before."""

    def __init__(self, program: Program) -> None:
        self._waves: dict[str, Wave] = {}
        self._talked: set[str] = set()
        self.perform(program)

    def perform(self, program: Program) -> None:
        """Tell of this program from now on."""
        self._program = program
        self._places = words.Places(scene.place.file for scene in program.scenes.values())

    def sentence(self, record: Record) -> str | None:
        """The sentence, without its time; None for what a person need not see."""
        match record:
            case Told(why="begins"):
                return None  # where a servo was last left
            case Told():
                return self._told(record)
            case SceneIs(_, scene, state, why):
                return f"{words.scene(scene)} {_SCENE.get(state, state)}{f': {why}' if why else ''}"
            case Saw(_, detector, state):
                return f"detector {detector} is {state}"
            case ButtonIs(_, button, pressed):
                return f"button {button} is {'pressed' if pressed else 'let go'}"
            case FlagIs(_, flag, value):
                return f"flag {flag} is {'remembered' if value else 'forgotten'}"
            case CounterIs(_, counter, amount):
                return f"counter {counter} is {amount}"
            case LinkIs(_, link, "gone") if link not in self._talked:
                return None  # it was never there: what it does instead is said elsewhere
            case LinkIs(_, link, state):
                self._talked.add(link)
                return f"link {link} is {state}"
            case Noted(_, _, text):
                return f"note: {text}"
            case Broke():
                return None  # `rules` tells it, with what came before
            case Trouble(_, text, places):
                where = ", ".join(self._places(place) for place in places)
                return f"trouble: {text}{f' ({where})' if where else ''}"
            case TrainTaken():
                return None  # of interest only where it breaks a rule
            case TrainOn(_, train, detector, on):
                return f"{words.train(train)} {'comes on to' if on else 'leaves'} {detector}"
        return None

    def _told(self, told: Told) -> str:
        output = self._program.layout.outputs.get(told.output) or unknown_output(told.output)
        before = self._waves.get(told.output)
        self._waves[told.output] = told.wave
        says = in_words(Group(told, [output], [told.wave], [None], "", before))
        place = self._places(told.place)
        asked = ", ".join(part for part in (told.scene, place) if part)
        return f"{told.output} {says}{f'   ({asked})' if asked else ''}"
