"""Conditions as frozen terms. What they mean at an instant is decided in `engine.truth`; here they are only data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from engine.layout import NOWHERE, Output, Place


class Test(Enum):
    """What can be asked of one subject. Each belongs to the kinds of subject named beside it."""

    __test__ = False  # not a test class, whatever its name says to a collector
    __hash__ = object.__hash__  # members are asked for their hash more than anything else; theirs is slow

    # outputs
    ON = "on"  # lamp, relay, motor, sound, pulse: told to show something, also while it flashes
    LIT = "lit"  # gives light at this very instant
    FLASHING = "flashing"
    FADING = "fading"
    FLICKERING = "flickering"
    MOVING = "moving"  # servo
    ARRIVED = "arrived"  # stands still at the value `amount`
    BETWEEN = "between"  # servo: at none of its named positions
    PAST = "past"  # servo: share of its travel greater than `amount` (0..1)
    ABOVE = "above"  # value, or count, greater than `amount`
    BELOW = "below"
    AT_LEAST = "at least"
    AT_MOST = "at most"
    EQUAL = "equal"
    AT_REST = "at rest"  # shows its rest setting and does not change
    # detectors
    OCCUPIED = "occupied"  # holds for an unknown detector, too
    CLEAR = "clear"
    UNKNOWN = "unknown"
    OUT_OF_USE = "out of use"  # an operator has said so: it is neither occupied nor clear nor unknown
    # buttons
    PRESSED = "pressed"
    # flags
    SET = "set"
    # scenes
    RUNNING = "running"
    ENDED = "ended"
    STOPPED = "stopped"
    # links
    TALKING = "talking"
    # where trains truly are: known in rehearsal only, so no scene may read it
    TRAIN_ON = "train on"
    REACHES = "reaches"  # a train comes on to the stretch: an instant


class Sort(Enum):
    """The name space that an atom's subject lives in."""

    __hash__ = object.__hash__

    OUTPUT = "output"  # what is known of it: what nobody can reach has not arrived anywhere
    SHOWN = "shown"  # an output as it truly is: what nobody can reach stays as it was. For rules
    DETECTOR = "detector"
    BUTTON = "button"
    FLAG = "flag"
    COUNTER = "counter"
    SCENE = "scene"
    LINK = "link"
    TRAIN = "train"  # the subject is a detector's name: its stretch of track


@dataclass(frozen=True, slots=True)
class Atom:
    """One question about one subject."""

    sort: Sort
    subject: str
    test: Test
    amount: float = 0.0


@dataclass(frozen=True, slots=True)
class All:
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Any:
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class AtLeast:
    """At least `count` of the terms hold."""

    count: int
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Not:
    term: Term


@dataclass(frozen=True, slots=True)
class Held:
    """The term has held without a break for `for_us`, counted from when it began to hold."""

    term: Term
    for_us: int


@dataclass(frozen=True, slots=True)
class Becomes:
    """The term holds, did not hold in the round before, and all that it reads was known then."""

    term: Term


Term = Atom | All | Any | AtLeast | Not | Held | Becomes


@dataclass(frozen=True, slots=True)
class Condition:
    """A term with the writer's own words, for messages and the event list."""

    term: Term
    words: str = ""
    place: Place = NOWHERE


def parts(term: Term) -> Iterator[Term]:
    """The term and every term in it, in the order written."""
    todo: list[Term] = [term]
    while todo:
        one = todo.pop()
        yield one
        match one:
            case All(terms) | Any(terms) | AtLeast(_, terms):
                todo.extend(reversed(terms))
            case Not(inner) | Held(inner, _) | Becomes(inner):
                todo.append(inner)
            case Atom():
                pass


def instantaneous(term: Term) -> bool:
    """Whether something in the term is true for an instant only."""
    return any(
        isinstance(part, Becomes) or (isinstance(part, Atom) and part.test is Test.REACHES) for part in parts(term)
    )


def as_shown(term: Term) -> Term:
    """The term with every output asked as it truly is."""
    match term:
        case Atom(Sort.OUTPUT, subject, test, amount):
            return Atom(Sort.SHOWN, subject, test, amount)
        case All(terms):
            return All(tuple(map(as_shown, terms)))
        case Any(terms):
            return Any(tuple(map(as_shown, terms)))
        case AtLeast(count, terms):
            return AtLeast(count, tuple(map(as_shown, terms)))
        case Not(inner):
            return Not(as_shown(inner))
        case Held(inner, for_us):
            return Held(as_shown(inner), for_us)
        case Becomes(inner):
            return Becomes(as_shown(inner))
    return term


def atoms(term: Term) -> tuple[Atom, ...]:
    """All the atoms of a term, in the order written, each once."""
    return tuple(dict.fromkeys(part for part in parts(term) if isinstance(part, Atom)))


def fully_shown(signal: Output, aspect: str) -> Term:
    """The term for "this signal shows this aspect": all its lamps and arms have arrived."""
    index = next(i for i, one in enumerate(signal.aspects) if one.name == aspect)
    parts = signal.aspects[index].parts
    told = Atom(Sort.OUTPUT, signal.name, Test.ARRIVED, float(index))
    return All((told, *(Atom(Sort.OUTPUT, part, Test.ARRIVED, value) for part, value in parts)))


def may_pass(signal: Output) -> Term:
    """The term for "a train that obeys this signal may go": an aspect that does not stop trains is fully shown."""
    return Any(tuple(fully_shown(signal, aspect.name) for aspect in signal.aspects if not aspect.stops))
