"""The words of a walk: what a person can answer, what they mean, and the sentences that go with a stop. Pure."""

from __future__ import annotations

from typing import NamedTuple

from engine.layout import DetectorKind, Itself, Kind, Layout
from scenes.problems import nearest
from wayside.walk.answers import LONGEST_OTHER, Answer, How
from wayside.walk.shows import MOVES, show_of
from wayside.walk.stops import BUTTON, OUTPUT, Stop

HANDS = (
    "Somebody stays with the layout. Hands off the track and away from everything that moves; no train runs, and none "
    "stands on a crossing. Extra-low voltage only. Track power is never switched: do that at the station."
)
_ALONE = {
    "yes": How.YES,
    "y": How.YES,
    "no": How.NO,
    "n": How.NO,
    "wrong way": How.WRONG_WAY,
    "wrong": How.WRONG_WAY,
    "no fade": How.NO_FADE,
    "not sure": How.NOT_SURE,
    "?": How.NOT_SURE,
    "skip": How.SKIPPED,
    "s": How.SKIPPED,
}
_WITH_NAME = {"other": How.OTHER, "also": How.ALSO}
KINDS = {
    Kind.LAMP: "a lamp",
    Kind.SERVO: "a servo",
    Kind.SIGNAL: "a signal",
    Kind.RELAY: "a relay",
    Kind.MOTOR: "a motor",
    Kind.SOUND: "a sound",
    Kind.PULSE: "a pulse",
}
HELP_OUTPUT = """\
yes            it did that
no             nothing happened that you could see
other NAME     something else did it instead: its name in the layout, or your own words
also NAME      it did, and something else did, too
wrong way      it did it the wrong way round
no fade        it only goes on and off, though it should fade
not sure       left open; it comes again on the next walk
again          shows it once more
skip           leaves it out
"""
HELP_INPUT = """\
               roll a wagon over it, or press it: it ticks itself off when it has come and gone
no             nothing came, or it does not go away
again          listens from the beginning
not sure, skip leaves it open
"""
HELP_ANY = """\
back           the stop before
go to NAME     that stop
stop           all is still at once, and nothing moves until you type ready
faults         what is likely to be wrong, so far
quit           leaves; the walk can be gone on with
"""


class Wish(NamedTuple):
    """What a line means at a stop: an answer, or what is wrong with it."""

    answer: Answer | None = None
    wrong: str = ""


def answer_of(line: str, stop: Stop, layout: Layout) -> Wish:
    """An answer as typed, or as a key sends it."""
    text = " ".join(line.split())
    lower = text.lower()
    if how := _ALONE.get(lower):
        return _fits(how, stop, layout)
    first, _, rest = text.partition(" ")
    if (how := _WITH_NAME.get(first.lower())) is None:
        near = nearest(lower, [*_ALONE, *_WITH_NAME, "again", "back", "stop", "quit", "help", "faults", "ready"])
        return Wish(
            wrong=f"{text!r} is no answer here.{f' Did you mean {near}?' if near else ''} Type help: it lists what is."
        )
    if stop.sort != OUTPUT:
        return Wish(wrong="What else was heard is known: roll the wagon over it, or type no.")
    if not rest:
        return Wish(wrong=f"What was it? Write {first.lower()} and its name, or a few words of your own.")
    if len(rest) > LONGEST_OTHER:
        return Wish(wrong=f"A few words will do: at most {LONGEST_OTHER} characters.")
    return _named(how, first.lower(), rest, stop, layout)


def _named(how: How, word: str, rest: str, stop: Stop, layout: Layout) -> Wish:
    name = rest.lower() if rest.lower() in layout.outputs else rest
    if name == stop.name:
        return Wish(wrong=f"{name} is the one that was told. Type yes if it did that.")
    near = nearest(name, layout.outputs) if name not in layout.outputs and " " not in name else None
    if near and near != stop.name:
        return Wish(wrong=f"The layout has no {name}. Did you mean {word} {near}? Or use a few words of your own.")
    return Wish(Answer(how, name))


def _fits(how: How, stop: Stop, layout: Layout) -> Wish:
    if how is How.NO_FADE and not (stop.sort == OUTPUT and layout.outputs[stop.name].dimmable):
        return Wish(wrong=f"{stop.name} is not to fade by the layout file. Type yes if it did what is said.")
    if stop.sort != OUTPUT and how in (How.YES, How.WRONG_WAY):
        thing = "press it" if stop.sort == BUTTON else "roll a wagon over it"
        return Wish(wrong=f"It ticks itself off: {thing}. Type no if nothing comes, or skip.")
    return Wish(Answer(how))


# --- of a stop -----------------------------------------------------------------------------------------------------


def kind_of(stop: Stop) -> str:
    """`a lamp`, `a detector`, `a button`."""
    return KINDS[stop.kind] if stop.kind is not None else f"a {stop.sort}"


def task_of(stop: Stop, layout: Layout) -> str:
    """What there is to see, or to do."""
    if stop.sort == OUTPUT:
        return show_of(layout.outputs[stop.name]).what
    if stop.sort == BUTTON:
        return "Press it and let it go. It ticks itself off."
    section = layout.detectors[stop.name].kind is DetectorKind.SECTION
    wagon = "a wagon with conducting wheels" if section else "a wagon"
    return f"Roll {wagon} over it, and away. It ticks itself off."


TAKEN = (
    "It says that it is occupied, or pressed, already. Take away what is there, then go on; if nothing is there, that "
    "is a no."
)


def must_ask(stop: Stop) -> bool:
    """Whether a person is asked before this one is told anything."""
    return stop.guarded or stop.kind in MOVES


def caution_of(stop: Stop, layout: Layout, known_deg: float | None) -> str:
    """What is said before something that moves, or is guarded, is told anything."""
    output = layout.outputs[stop.name]
    parts = []
    if stop.guarded:
        parts.append(f"{stop.name} is guarded in a show; here nothing keeps it safe. Look that no train is about.")
    if stop.kind is Kind.SERVO:
        if known_deg is not None and output.itself is not Itself.MOVES:
            parts.append(f"It was last told {known_deg:g} deg; from there it moves slowly.")
        else:
            parts.append("Nobody knows where it stands: it may jump at full speed to its first end. Is its way free?")
    elif stop.kind is Kind.MOTOR:
        parts.append("It starts to run. Is its way free?")
    elif stop.kind is Kind.PULSE:
        parts.append("It throws at once. Is its way free?")
    return " ".join(parts)


def answers_for(stop: Stop, layout: Layout) -> tuple[str, ...]:
    """The words that can be typed at a stop, in order."""
    if stop.sort != OUTPUT:
        return ("no", "not sure", "again", "skip")
    fades = ("no fade",) if layout.outputs[stop.name].dimmable else ()
    return ("yes", "no", "other NAME", "also NAME", "wrong way", *fades, "not sure", "again", "skip")
