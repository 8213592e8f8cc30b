"""What a page asks for, made into a show's inputs or into one sentence that says what is wrong with it.

A closed table of orders, each with the words that it needs. Knows names of the layout, and neither web nor show.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from engine import events as e
from engine.program import Program
from wayside.desk.servos import LONGEST_STEP_DEG
from wayside.live.hands import STATES, SWAPS, Answer
from wayside.usage import UsageProblem, near_miss

LONGEST_WORD = 200  # characters of one word of an order; a note's, too
MOST_WORDS = 8
_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?")
_ANGLE = re.compile(r"([+-]?[0-9]{1,3}(?:\.[0-9]{1,2})?) deg")
_UNSEEN = dict.fromkeys([*range(32), 127, *range(128, 160), 8232, 8233, *range(8234, 8239)], " ")
_UNSEEN |= dict.fromkeys(range(0x2066, 0x206A), " ")  # letters that turn the direction of what follows


class Order(NamedTuple):
    """An order from a page: `do` names it, `words` are what it is about."""

    do: str
    words: Mapping[str, str]


class Train(NamedTuple):
    """A train to be sent in a dry run."""

    track: str
    length_mm: int
    speed_mm_s: int
    backwards: bool
    ignores_signals: bool


class Asked(NamedTuple):
    """What an order comes to. `aloud` is for the list of events; what stands below `mark` is for the desk itself."""

    answer: Answer = Answer()
    aloud: str = ""
    mark: str | None = None
    train: Train | None = None
    lifted: int | None = None
    swap: tuple[str, int] | None = None  # how, and the number of the offer
    step: tuple[str, float] | None = None  # a servo, and by how many degrees
    here: tuple[str, str] | None = None  # a servo, and the end that is where it stands
    fine: bool = True


class BadOrder(ValueError):
    """What came is no order of this table: nothing that the page itself sends."""


def read_order(body: object) -> Order:
    """The JSON of an order of a show's page. Raises BadOrder for what is none."""
    return as_order(body, {do: needed for do, (needed, _) in _ORDERS.items()})


def as_order(body: object, known: Mapping[str, tuple[str, ...]]) -> Order:
    """The same for any closed table of orders, each with the words that it needs."""
    if not isinstance(body, dict) or len(body) > MOST_WORDS:
        raise BadOrder("An order is a table of words.")
    words = {}
    for key, value in body.items():
        if not isinstance(value, str) or len(value) > LONGEST_WORD:
            raise BadOrder(f"A word of an order is text of at most {LONGEST_WORD} characters.")
        words[key] = " ".join(value.translate(_UNSEEN).split())
    do = words.pop("do", "")
    if do not in known:
        raise BadOrder("There is no such order.")
    needed = known[do]
    if set(words) != set(needed):
        raise BadOrder(f"`{do}` needs {', '.join(needed) or 'no other word'}.")
    return Order(do, words)


def asked(order: Order, program: Program, dry_run: bool) -> Asked:
    """What it means for this layout."""
    return _ORDERS[order.do][1](order.words, program, dry_run)


def _plain(event: e.Input, aloud: str) -> Callable[[Mapping[str, str], Program, bool], Asked]:
    return lambda words, program, dry: Asked(Answer((event,)), aloud)


def _no(sentence: str) -> Asked:
    return Asked(Answer(says=sentence), fine=False)


def _unknown(kind: str, name: str, known: Iterable[str]) -> Asked:
    return _no(f"There is no {kind} {name}.{near_miss(name, known)}")


def _scene(words: Mapping[str, str], program: Program, starts: bool) -> Asked:
    name = words["scene"]
    if name not in program.named_scenes:
        return _unknown("scene", name, program.named_scenes)
    event = e.StartScene(name) if starts else e.StopScene(name)
    return Asked(Answer((event,)), f"{'start' if starts else 'stop'} {name}")


def _press(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    name = words["button"]
    if name not in program.layout.buttons:
        return _unknown("button", name, program.layout.buttons)
    return Asked(Answer((e.Pressed(name, True), e.Pressed(name, False))), f"press {name}")


def _detector(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    name, state = words["detector"], words["state"]
    if name not in program.layout.detectors:
        return _unknown("detector", name, program.layout.detectors)
    if state not in STATES:
        return _no("A detector is occupied, clear or unknown.")
    if not dry_run:
        return _no(f"{name} is worked by its link. If it lies, put it out of use.")
    swept = (e.Swept(name),) if state == "clear" else ()
    return Asked(Answer((*swept, e.Detected(name, state))), f"{name} {state}")


def _in_use(words: Mapping[str, str], program: Program, used: bool) -> Asked:
    name, reason = words["detector"], words.get("reason", "")
    if name not in program.layout.detectors:
        return _unknown("detector", name, program.layout.detectors)
    if not used and not reason:
        return _no(f"Say why {name} is put out of use: whoever comes next must know.")
    return Asked(Answer((e.InUse(name, used),)), f"{name} in use" if used else f"{name} out of use: {reason}")


def _take(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    from wayside.far_ends.trial import value_of

    name, state = words["output"], words["state"]
    output = program.layout.outputs.get(name)
    if output is None:
        return _unknown("output", name, program.layout.outputs)
    try:
        value = value_of(output, state)
    except UsageProblem as problem:
        return _no(str(problem))
    return Asked(Answer((e.ByHand(name, value),)), f"take {name} {state}")


def _step(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    name, by = words["output"], words["by"]
    if name not in program.layout.outputs:
        return _unknown("output", name, program.layout.outputs)
    found = _ANGLE.fullmatch(by)
    if found is None or not 0 < abs(float(found[1])) <= LONGEST_STEP_DEG:
        return _no(f"A step is up to {LONGEST_STEP_DEG:g} deg up or down, such as -1 deg.")
    return Asked(step=(name, float(found[1])))


def _here(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    name = words["output"]
    if name not in program.layout.outputs:
        return _unknown("output", name, program.layout.outputs)
    return Asked(here=(name, words["end"]))


def _let_go(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    name = words["output"]
    if name not in program.layout.outputs:
        return _unknown("output", name, program.layout.outputs)
    return Asked(Answer((e.LetGo(name),)), f"let go {name}")


def _crossing(words: Mapping[str, str], program: Program, held: bool) -> Asked:
    name = words["crossing"]
    if name not in program.layout.crossings:
        return _unknown("crossing", name, program.layout.crossings)
    return Asked(Answer((e.HandWorking(name, held),)), f"{'work' if held else 'give back'} {name}")


def _clock(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    time = words["time"]
    if time in ("stop", "run"):
        return Asked(Answer((e.SetClock(None, time == "run"),)), f"clock {time}")
    found = _TIME.fullmatch(time)
    if found is None:
        return _no("Write a time of day such as 17:30.")
    hours, minutes, seconds = (int(part or 0) for part in found.groups())
    return Asked(Answer((e.SetClock(hours * 3600 + minutes * 60 + seconds, None),)), f"clock {time}")


def _mark(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    return Asked(mark=words["note"])


def _train(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    if not dry_run:
        return _no("Trains are sent in a dry run only.")
    length, speed = words["length"], words["speed"]
    if not all(re.fullmatch(r"[0-9]{1,6}", one) for one in (length, speed)):
        return _no("Length and speed are whole numbers: 800 mm, 150 mm/s.")
    backwards, ignores = words["direction"] == "backwards", words["signals"] == "ignored"
    return Asked(train=Train(words["track"], int(length), int(speed), backwards, ignores))


def _lift(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    if not re.fullmatch(r"[0-9]{1,6}", words["train"]):
        return _no("A train is named by its number.")
    return Asked(lifted=int(words["train"]))


def _swap(words: Mapping[str, str], program: Program, dry_run: bool) -> Asked:
    if words["how"] not in SWAPS or not re.fullmatch(r"[0-9]{1,6}", words["offer"]):
        return _no("What was saved is swapped in now, when idle, or never.")
    return Asked(Answer(), f"swap {words['how']}", swap=(words["how"], int(words["offer"])))


_Make = Callable[[Mapping[str, str], Program, bool], Asked]
_ORDERS: dict[str, tuple[tuple[str, ...], _Make]] = {
    "all stop": ((), _plain(e.AllStop(), "all stop")),
    "go on": ((), _plain(e.GoOn(), "go on")),
    "blackout": ((), _plain(e.Darken(True), "blackout")),
    "lights": ((), _plain(e.Darken(False), "lights")),
    "mute": ((), _plain(e.Hush(True), "mute")),
    "sound": ((), _plain(e.Hush(False), "sound")),
    "start": (("scene",), lambda words, program, dry: _scene(words, program, True)),
    "stop": (("scene",), lambda words, program, dry: _scene(words, program, False)),
    "press": (("button",), _press),
    "detector": (("detector", "state"), _detector),
    "put aside": (("detector", "reason"), lambda words, program, dry: _in_use(words, program, False)),
    "put back": (("detector",), lambda words, program, dry: _in_use(words, program, True)),
    "take": (("output", "state"), _take),
    "step": (("output", "by"), _step),
    "here": (("output", "end"), _here),
    "let go": (("output",), _let_go),
    "work": (("crossing",), lambda words, program, dry: _crossing(words, program, True)),
    "give back": (("crossing",), lambda words, program, dry: _crossing(words, program, False)),
    "clock": (("time",), _clock),
    "mark": (("note",), _mark),
    "train": (("track", "length", "speed", "direction", "signals"), _train),
    "take away": (("train",), _lift),
    "swap": (("how", "offer"), _swap),
}
