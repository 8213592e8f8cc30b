"""Level crossings of a layout file: who plays which part, and whether it can."""

from __future__ import annotations

from engine.layout import Crossing, Kind, Output, Place, Setting
from wayside.layout.names import Reading, of_kind
from wayside.layout.yaml_places import Entry, Items, Table, Text

_LAMPS = (Kind.LAMP, Kind.RELAY)
_ROLES: dict[str, tuple[Kind, ...]] = {
    "amber": _LAMPS,
    "reds": _LAMPS,
    "entrance barriers": (Kind.SERVO,),
    "exit barriers": (Kind.SERVO,),
    "boom lamps": _LAMPS,
    "audible warning": (Kind.SOUND, Kind.RELAY, Kind.PULSE),
    "signals": (Kind.SIGNAL,),
}
_CLOSED = ("entrance barriers", "reds")  # what a stop must leave as it is when the road is closed
_BARRIER_POSITIONS = ("raised", "lowered")


def read_crossing(reading: Reading, entry: Entry, settings: Table, outputs: dict[str, Output]) -> Crossing:
    roles = {role: _role(reading, settings, role, outputs) for role in (*_ROLES, "detectors", "on the road")}
    fields = {role.replace(" ", "_"): names for role, names in roles.items()}
    return Crossing(entry.key.text, **fields, place=entry.key.place, practice=_practice(reading, settings))


def _practice(reading: Reading, settings: Table) -> tuple[str, ...]:
    """The tables that the crossing is to be compared with. A file of the person's own is read when that is done."""
    words = _words(settings, "practice")
    if not words:
        return ()
    from wayside.practice.names import is_file, shipped, unknown  # few layouts name one

    for number, word in enumerate(words):
        if any(word.text == other.text for other in words[:number]):
            reading.wrong(word.place, f"`{word.text}` stands in practice twice", "Delete one of them")
        elif word.text not in shipped() and not is_file(word.text):
            reading.wrong(word.place, f"there is no practice table `{word.text}`", unknown(word.text))
    return tuple(dict.fromkeys(word.text for word in words))


def _words(settings: Table, key: str) -> list[Text]:
    """The texts under a key: one, or a list of them."""
    entry = settings.entries.get(key)
    value = entry.value if entry else None
    words = value.items if isinstance(value, Items) else [value]
    return [word for word in words if isinstance(word, Text) and word.text]


def _role(reading: Reading, settings: Table, role: str, outputs: dict[str, Output]) -> tuple[str, ...]:
    first: dict[str, Place] = {}
    for word in _words(settings, role):
        if first.setdefault(word.text, word.place) != word.place:
            also = (first[word.text], "first given here")
            reading.wrong(word.place, f"`{word.text}` stands in {role} twice", "Delete one of them", also)
            continue
        _plays(reading, word, role, outputs)
    return tuple(first)


def _plays(reading: Reading, word: Text, role: str, outputs: dict[str, Output]) -> None:
    kinds = _ROLES.get(role)
    if kinds is None:
        reading.known("detectors", word)
        return
    if not of_kind(reading, word, kinds, f"what plays {role}"):
        return
    if word.text in outputs and outputs[word.text].follows_lux:
        what = f"`{word.text}` follows the daylight, so it cannot play {role}"
        reading.wrong(word.place, what, "Name another lamp", (outputs[word.text].place, "the lamp"))
    if role in _CLOSED and word.text in outputs:
        _stays_closed(reading, word, role, outputs[word.text])
    if "barriers" not in role:
        return
    positions = [position.name for position in outputs[word.text].positions] if word.text in outputs else []
    missing = [name for name in _BARRIER_POSITIONS if name not in positions]
    if positions and missing:
        what = f"the barrier `{word.text}` has no position named `{'` and none named `'.join(missing)}`"
        reading.wrong(
            word.place,
            what,
            "Name a barrier's positions `raised` and `lowered`",
            (outputs[word.text].place, "the barrier"),
        )


def _stays_closed(reading: Reading, word: Text, role: str, output: Output) -> None:
    """A safe state that opens the road is none. (Signals are looked at where they are read.)"""
    if output.safe is None:
        return
    lowered = next((position.degrees for position in output.positions if position.name == "lowered"), None)
    opens = output.safe.value != lowered if output.kind is Kind.SERVO else _is_dark(output.safe)
    if opens and (lowered is not None or output.kind is not Kind.SERVO):
        state = "its safe state would open the road"
        said = "lowered" if output.kind is Kind.SERVO else '"flashing at 80 a minute"'
        what = f"`{output.name}` stands in {role}, and {state}"
        reading.wrong(word.place, what, f"Write `safe: {said}` for it", (output.place, "the output"))


def _is_dark(safe: Setting) -> bool:
    return safe.value == 0 and safe.blink is None
