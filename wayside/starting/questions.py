"""The questions about a new layout: what is asked, what may be answered, and what is wrong with an answer. Pure.

One table. Each question is an option of the command line, too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from scenes.problems import nearest
from wayside.layout.values import length_mm, speed_mm_s
from wayside.starting.crossing import least_approach_mm
from wayside.starting.starting import CROSSING, EARLY, LAMP, LAMPS, LATE, MOST_LAMPS, NONE, SIGNAL, Answers

LONGEST_NAME = 60
SHORTEST_MM, LONGEST_MM = 300, 20_000
SLOWEST, FASTEST = 10, 1_000

Given = dict[str, object]


class NoAnswer(ValueError):
    """One sentence: what is wrong with an answer, and what could be written."""


class Question(NamedTuple):
    """`asks` is for a person, `help` for the list of options. It matters where `matters` says so."""

    key: str  # a field of Answers, and the option
    asks: str
    help: str
    usual: str
    read: Callable[[str, Given], object]
    of: tuple[str, ...] = (CROSSING, LAMPS, SIGNAL, LAMP)
    only_with_detectors: bool = False

    def matters(self, given: Mapping[str, object]) -> bool:
        """Whether it is to be asked, after what has been answered."""
        return given.get("what") in (None, *self.of) and (
            not self.only_with_detectors or given.get("detectors") is not False
        )


def _choice(**choices: object) -> Callable[[str, Given], object]:
    def read(text: str, _: Given) -> object:
        if text.lower() in choices:
            return choices[text.lower()]
        near = nearest(text.lower(), choices)
        words = list(choices)
        instead = f"Did you mean {near}?" if near else f"Write {', '.join(words[:-1])} or {words[-1]}."
        raise NoAnswer(f"{text} is none of the answers. {instead}")

    return read


def _from_to(least: int, most: int) -> Callable[[str, Given], int]:
    def read(text: str, _: Given) -> int:
        if not re.fullmatch("[0-9]{1,3}", text) or not least <= int(text) <= most:
            between = f"{least} or {most}" if most == least + 1 else f"a whole number from {least} to {most}"
            raise NoAnswer(f"{text} is not what can stand here. Write {between}.")
        return int(text)

    return read


def _yes(text: str, _: Given) -> bool:
    if text.lower() in ("yes", "y", "no", "n"):
        return text.lower()[0] == "y"
    raise NoAnswer(f"{text} is neither yes nor no. Write yes or no.")


def _name(text: str, _: Given) -> str:
    if len(text) > LONGEST_NAME:
        raise NoAnswer(f"That name has {len(text)} characters. Write one of at most {LONGEST_NAME}.")
    if not text.isprintable() or any(mark in text for mark in '"\\`'):
        raise NoAnswer("A name holds no quotes, backslashes or signs that cannot be seen. Write it without them.")
    return text


def _length(text: str, _: Given) -> int:
    found = length_mm(text)
    if found is None:
        raise NoAnswer(f"{text} is no length. Write one with its unit, such as 2400 mm or 2.4 m.")
    if not SHORTEST_MM <= found <= LONGEST_MM:
        raise NoAnswer(f"{text} is too {'short' if found < SHORTEST_MM else 'long'}. Write 300 mm to 20 m.")
    return round(found)


def _speed(text: str, given: Given) -> int:
    found = speed_mm_s(text)
    if found is None or not SLOWEST <= found <= FASTEST:
        raise NoAnswer(f"{text} is no speed of a train. Write one such as 120 mm/s; 4 mm scale at 20 mph is 117 mm/s.")
    speed, approach = round(found), given.get("approach_mm")
    if isinstance(approach, int) and approach < least_approach_mm(speed):
        there = f"{approach / speed:.1f} s"
        instead = f"It must be slower, or seen from {least_approach_mm(speed)} mm before it"
        raise NoAnswer(f"A train that fast is at the road {there} after it is seen, too soon to close it. {instead}.")
    return speed


QUESTIONS: tuple[Question, ...] = (
    Question(
        "what",
        "What is to come alive first?\n"
        "  crossing  a level crossing with lamps, a bell and barriers\n"
        "  lamps     a row of street or quay lamps, and an evening\n"
        "  signal    a signal that a train puts to danger\n"
        "  lamp      just one lamp",
        "crossing, lamps, signal or lamp",
        CROSSING,
        _choice(**{one: one for one in (CROSSING, LAMPS, SIGNAL, LAMP)}),
    ),
    Question("name", "What is the layout called?", "what the layout is called", "", _name),
    Question(
        "station",
        "Is there a command station that is told serial text?\n"
        "  late      yes, and it knows levels and servos\n"
        "  early     yes, but it only switches: boards move and light by themselves\n"
        "  none      no, or not yet: all can be seen without",
        "late, early or none: which words the command station knows",
        NONE,
        _choice(**{one: one for one in (LATE, EARLY, NONE)}),
    ),
    Question(
        "tracks",
        "How many tracks cross the road, 1 or 2?",
        "a crossing's tracks, 1 or 2",
        "1",
        _from_to(1, 2),
        (CROSSING,),
    ),
    Question(
        "barriers", "How many barriers, 1 or 2?", "a crossing's barriers, 1 or 2", "2", _from_to(1, 2), (CROSSING,)
    ),
    Question(
        "shape",
        "Has the signal an arm, or lamps?",
        "what a signal shows with: arm or lamps",
        "lamps",
        _choice(arm=True, lamps=False),
        (SIGNAL,),
    ),
    Question(
        "detectors",
        "Do detectors see the trains (yes), or does a switch on the panel do (no)?",
        "yes or no: a crossing or signal sees trains itself, or a switch works it",
        "yes",
        _yes,
        (CROSSING, SIGNAL),
    ),
    Question(
        "approach",
        "How far before the road is a train first seen?",
        "how far before a crossing a train is first seen, such as '2400 mm'",
        "2400 mm",
        _length,
        (CROSSING,),
        only_with_detectors=True,
    ),
    Question(
        "speed",
        "How fast is the fastest train?",
        "the fastest train at a crossing, such as '120 mm/s'",
        "120 mm/s",
        _speed,
        (CROSSING,),
        only_with_detectors=True,
    ),
    Question(
        "place",
        "Where do the lamps stand, street or quay?",
        "where a row of lamps stands: street or quay",
        "street",
        _choice(street="street", quay="quay"),
        (LAMPS,),
    ),
    Question(
        "lamps",
        f"How many lamps, 1 to {MOST_LAMPS}?",
        f"how many lamps the row has, 1 to {MOST_LAMPS}",
        "4",
        _from_to(1, MOST_LAMPS),
        (LAMPS,),
    ),
)
_FIELDS = {"shape": "arm", "approach": "approach_mm", "speed": "speed_mm_s"}


def field(question: Question) -> str:
    """The field of Answers that a question fills."""
    return _FIELDS.get(question.key, question.key)


def asked(given: Given) -> Iterator[Question]:
    """The questions that matter, one by one; put each answer into `given` before the next is taken."""
    for question in QUESTIONS:
        if question.matters(given):
            yield question


def answers(given: Given) -> Answers:
    """All of them together."""
    return Answers(**given)  # type: ignore[arg-type]
