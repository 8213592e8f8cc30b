"""Outputs of a layout file: from checked values to the engine's records, each kind by its own rules.

Knows nothing of files; what has the wrong form was reported before and is passed over here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from engine.layout import Aspect, Itself, Kind, Output, Position, Setting
from wayside.layout.colours import read_colour
from wayside.layout.lamps import levels, read_lamp
from wayside.layout.names import NO_STATES, Reading, table, text, wiring
from wayside.layout.schema import choices
from wayside.layout.values import LONGEST_US, NoState, degrees, is_yes, limits, setting, time_us, whole
from wayside.layout.yaml_places import Entry, Table, Text

MAX_OUTPUTS = 20_000
WIDEST_DEGREES = 360.0
LEAST_DEAD_BAND_DEG = 0.01
KINDS = tuple(kind for kind in Kind if kind not in (Kind.COLOUR, Kind.DAYLIGHT))  # that a person can write
STOPPING_ASPECTS = ("danger", "stop")
RESERVED_POSITIONS = ("moving", "between", "past", "flashing", "fading", "on", "off")
ASPECT_WORDS = ("number", "stops")


def read_outputs(reading: Reading) -> dict[str, Output]:
    """All outputs whose kind is known, in the file's order, a lamp's colour behind its lamp.

    Signals are read after their parts are known.
    """
    entries = reading.section("outputs")
    if len(entries) > MAX_OUTPUTS:
        place = list(entries.values())[MAX_OUTPUTS].key.place
        reading.wrong(place, f"there are more than {MAX_OUTPUTS} outputs, the most that is read", "Divide the layout")
    reading.kinds = {name: _kind(entry) for name, entry in entries.items()}
    outputs: dict[str, Output] = {}
    colours: dict[str, Output] = {}
    for name, entry in list(entries.items())[:MAX_OUTPUTS]:
        kind = reading.kinds[name]
        if kind and kind is not Kind.SIGNAL:
            outputs[name] = _output(reading, entry, kind)
        if kind is Kind.LAMP and isinstance(entry.value, Table):
            colour = read_colour(reading, outputs[name], entry.value)
            colours.update({name: colour} if colour else {})
    owners: dict[str, Text] = {}
    for name, entry in entries.items():
        if reading.kinds[name] is Kind.SIGNAL:
            outputs[name] = _signal(reading, entry, outputs, owners)
    in_order = (one for name in entries for one in (outputs.get(name), colours.get(name)) if one)
    return {output.name: output for output in in_order}


def _kind(entry: Entry) -> Kind | None:
    word = text(entry.value, "kind") if isinstance(entry.value, Table) else None
    return next((kind for kind in KINDS if word and kind.value == word.text), None)


def _output(reading: Reading, entry: Entry, kind: Kind) -> Output:
    name, settings = entry.key.text, entry.value
    assert isinstance(settings, Table)  # it has a kind
    bare = Output(name, kind, Setting(0.0), entry.key.place, wiring(reading, name, settings, "output"))
    output = _BUILD.get(kind, _as_it_is)(reading, bare, settings)
    longest = positive_us(reading, settings, "longest on")
    if longest:
        output = replace(output, longest_on_us=longest)
    return _with_states(reading, output, settings)


def _with_states(reading: Reading, output: Output, settings: Table) -> Output:
    rest = _state(reading, output, settings, "rest") or _usual_rest(output)
    safe = _state(reading, output, settings, "safe")
    return output if rest == output.rest and safe is None else replace(output, rest=rest, safe=safe)


def _usual_rest(output: Output) -> Setting:
    if output.kind is Kind.SERVO and output.positions:
        return Setting(output.positions[0].degrees)
    if output.kind is Kind.SIGNAL:
        return Setting(float(next((i for i, aspect in enumerate(output.aspects) if aspect.stops), 0)))
    return Setting(0.0)


def _state(reading: Reading, output: Output, settings: Table, key: str) -> Setting | None:
    word = text(settings, key)
    if word is None or (output.kind is Kind.SERVO and len(output.positions) < 2):
        return None
    if output.kind is Kind.SIGNAL and not output.aspects:
        return None
    try:
        found = setting(word.text, output, may_flash=key == "safe")
    except NoState as no:
        reading.wrong(word.place, no.what, no.instead)
        return None
    if output.kind is Kind.PULSE and found.value:
        reading.wrong(word.place, "a pulse output cannot stay on", f"Write `{key}: off`, or leave it out")
    return found


def positive_us(reading: Reading, settings: Table, key: str, may_be_nothing: bool = False) -> int:
    """A time in microseconds; 0 if it is not given, or not as it should be."""
    word = text(settings, key)
    time = time_us(word.text) if word else None
    if word is None or time is None:
        return 0
    if time > LONGEST_US:
        reading.wrong(word.place, f"`{key}`: `{word.text}` is longer than a day", "Write at most 24 h")
        return 0
    if time == 0 and not may_be_nothing:
        reading.wrong(word.place, f"`{key}`: it takes more than nothing", f"Write for example `{key}: 4 s`")
    return time


# --- kinds ---------------------------------------------------------------------------------------------------------


def _as_it_is(_: Reading, output: Output, __: Table) -> Output:
    return output


def _servo(reading: Reading, output: Output, settings: Table) -> Output:
    hard = _limits(reading, settings)
    positions: list[Position] = []
    angles: list[float] = []
    for name, entry in table(settings, "positions").entries.items():
        angle = degrees(entry.value.text) if isinstance(entry.value, Text) else None
        if name in RESERVED_POSITIONS or name in NO_STATES:
            what = f"`{name}` cannot be a position: scenes say it of every output"
            reading.wrong(entry.key.place, what, "Name the place where it stands, such as raised")
        # one whose angle cannot be read is reported, and is still a name that states may use
        positions.append(Position(name, 0.0 if angle is None else angle))
        if angle is None:
            continue
        angles.append(angle)
        low, high = hard or (0.0, WIDEST_DEGREES)
        if not low <= angle <= high:
            bounds = f"Its limits are {low:g} deg to {high:g} deg" if hard else "Write 0 deg to 360 deg"
            reading.wrong(entry.value.place, f"`{name}` is outside what `{output.name}` may move to", bounds)
    if len(angles) == len(positions) > 1 and len(set(angles)) == 1:
        place = settings.entries["positions"].key.place
        reading.wrong(place, f"all positions of `{output.name}` are at one angle", "Give each position its own angle")
    travel, by_itself = positive_us(reading, settings, "full travel"), positive_us(reading, settings, "moves by itself")
    if "full travel" in settings.entries and "moves by itself" in settings.entries:
        place = max(settings.entries[key].key.place for key in ("full travel", "moves by itself"))
        instead = "Keep `moves by itself` if the board sets the pace, `full travel` if scenes may"
        reading.wrong(place, f"`{output.name}` has two times for its travel", instead)
    output = replace(output, positions=tuple(positions), limits=hard, travel_us=by_itself or travel)
    output = _as_it_arrives(reading, output, settings)
    return replace(output, itself=Itself.MOVES, itself_us=by_itself) if by_itself else output


def _as_it_arrives(reading: Reading, output: Output, settings: Table) -> Output:
    arrives, band = text(settings, "arrives"), text(settings, "dead band")
    for key, why in (("arrives", "says how it arrives"), ("dead band", "knows its servo's dead band")):
        if key in settings.entries and "moves by itself" in settings.entries:
            place, also = settings.entries[key].key.place, settings.entries["moves by itself"].key.place
            what = f"the board of `{output.name}` moves it by itself, so nothing but the board {why}"
            reading.wrong(place, what, "Delete this, or `moves by itself`", (also, "it moves by itself"))
    if arrives and arrives.text in choices("arrives"):
        output = replace(output, arrives=arrives.text)
    least = degrees(band.text) if band else None
    if band is None or least is None:
        return output
    angles = [position.degrees for position in output.positions]
    travel = max(angles, default=0.0) - min(angles, default=0.0)
    if least < LEAST_DEAD_BAND_DEG:
        what = f"`dead band`: every servo has one of at least {LEAST_DEAD_BAND_DEG:g} deg"
        reading.wrong(band.place, what, "Write for example `dead band: 1 deg`, or leave it out")
    elif 0 < travel <= least:
        what = f"`dead band`: with `{band.text}` it would never move, since its travel is {travel:g} deg"
        reading.wrong(band.place, what, "Write for example `dead band: 1 deg`")
    else:
        output = replace(output, dead_band_deg=least)
    return output


def _limits(reading: Reading, settings: Table) -> tuple[float, float] | None:
    word = text(settings, "limits")
    found = limits(word.text) if word else None
    if word is None or found is None:
        return None
    if found[0] >= found[1]:
        reading.wrong(word.place, "the limits are the wrong way round", "Write the smaller angle first")
        return None
    if found[1] > WIDEST_DEGREES:
        reading.wrong(word.place, "an angle is more than a whole turn", "Write at most 360 deg")
    return found


def _motor(reading: Reading, output: Output, settings: Table) -> Output:
    soft = positive_us(reading, settings, "soft start", may_be_nothing=True)
    return replace(output, steps=levels(reading, settings), soft_start_us=soft)


def _pulse(reading: Reading, output: Output, settings: Table) -> Output:
    feed = text(settings, "feed")
    known = feed is not None and reading.known("feeds", feed)
    lasts = positive_us(reading, settings, "pulse")
    return replace(output, feed=feed.text if feed and known else None, pulse_us=lasts)


_BUILD: dict[Kind, Callable[[Reading, Output, Table], Output]] = {
    Kind.LAMP: read_lamp,
    Kind.SERVO: _servo,
    Kind.MOTOR: _motor,
    Kind.PULSE: _pulse,
}


# --- signals -------------------------------------------------------------------------------------------------------


def _signal(reading: Reading, entry: Entry, outputs: dict[str, Output], owners: dict[str, Text]) -> Output:
    name, settings = entry.key.text, entry.value
    assert isinstance(settings, Table)  # it has a kind
    written = table(settings, "aspects").entries
    aspects = [_aspect(reading, one, outputs) for one in written.values()]
    _one_way_of_showing(reading, name, aspects, settings)
    signal = Output(name, Kind.SIGNAL, Setting(0.0), entry.key.place, wiring(reading, name, settings, "output"))
    signal = replace(signal, aspects=tuple(_completed(reading, name, aspects, written, outputs)))
    signal = _with_states(reading, signal, settings)
    safe = text(settings, "safe")
    if safe and signal.safe and not signal.aspects[int(signal.safe.value)].stops:
        what = f"the safe aspect of `{name}` does not stop trains"
        stopping = [aspect.name for aspect in signal.aspects if aspect.stops]
        instead = (
            f"Write `safe: {stopping[0]}`" if stopping else f"Add `stops: yes` to the aspect `{safe.text}`, if it does"
        )
        reading.wrong(safe.place, what, instead)
    _claim_parts(reading, signal, outputs, owners, written)
    return signal


def _aspect(reading: Reading, entry: Entry, outputs: dict[str, Output]) -> Aspect:
    name, value = entry.key.text, entry.value
    if name in RESERVED_POSITIONS[:5] or name in NO_STATES:
        reading.wrong(entry.key.place, f"`{name}` cannot be an aspect: scenes say it of every output", "Rename it")
    stops = name in STOPPING_ASPECTS
    if isinstance(value, Text):
        return Aspect(name, (), whole(value.text), stops)
    if not isinstance(value, Table):
        return Aspect(name, (), None, stops)
    said, number = text(value, "stops"), text(value, "number")
    stops = is_yes(said.text) if said else stops
    parts = [(part, inner.value) for part, inner in value.entries.items() if part not in ASPECT_WORDS]
    read = tuple(
        (part, level)
        for part, word in parts
        if isinstance(word, Text) and (level := _part(reading, value.entries[part].key, word, outputs)) is not None
    )
    return Aspect(name, read, whole(number.text) if number else None, stops)


def _part(reading: Reading, key: Text, word: Text, outputs: dict[str, Output]) -> float | None:
    if not reading.known("outputs", key):
        return None
    part = outputs.get(key.text)
    if reading.kinds.get(key.text) not in (Kind.LAMP, Kind.SERVO, Kind.RELAY, None):
        kind = reading.kinds[key.text]
        reading.wrong(
            key.place, f"a {kind.value if kind else ''} cannot be part of a signal", "Its parts are lamps and servos"
        )
        return None
    if part is None or not word.text:
        return None
    if part.follows_lux:
        instead = "Name another lamp, or delete its `follows daylight`"
        reading.wrong(key.place, f"`{part.name}` follows the daylight, so no signal can show it", instead)
        return None
    if part.kind is Kind.SERVO and len(part.positions) < 2:
        return 0.0  # its positions have been reported
    try:
        return setting(word.text, part, may_flash=False).value
    except NoState as no:
        reading.wrong(word.place, no.what, no.instead)
        return None


def _one_way_of_showing(reading: Reading, name: str, aspects: list[Aspect], settings: Table) -> None:
    """Either parts or numbers; each aspect has them, and each number stands once."""
    written = table(settings, "aspects").entries
    numbers: dict[int, str] = {}
    for aspect in aspects:
        place = written[aspect.name].key.place
        if aspect.number is not None and aspect.parts:
            reading.wrong(place, f"`{aspect.name}` has parts and a number", "Keep one of them")
        if aspect.number is not None and numbers.setdefault(aspect.number, aspect.name) != aspect.name:
            first = numbers[aspect.number]
            also = (written[first].key.place, f"`{first}` is here")
            reading.wrong(
                place, f"`{aspect.name}` and `{first}` have one number", "Give each aspect its own number", also
            )
    tables = [entry.value.entries for entry in written.values() if isinstance(entry.value, Table)]
    has_parts = any(key not in ASPECT_WORDS for entries in tables for key in entries)
    for aspect in aspects:
        value = written[aspect.name].value
        if isinstance(value, Table) and list(value.entries) == ["stops"] and not has_parts:
            instead = f"Write for example `{aspect.name}: {{number: {len(aspects)}, stops: yes}}`"
            place = written[aspect.name].key.place
            reading.wrong(place, f"`{aspect.name}` says neither its parts nor its number", instead)
    with_parts = next((aspect for aspect in aspects if aspect.parts), None)
    if numbers and with_parts and all(aspect.number is None or not aspect.parts for aspect in aspects):
        place = written[with_parts.name].key.place
        reading.wrong(place, f"`{name}` has aspects with parts and aspects with numbers", "Write all of them one way")
    connection = next((settings.entries[key].key for key in ("board", "link") if key in settings.entries), None)
    if with_parts and not numbers and connection:
        what = f"`{name}` is made of its parts, so it has no connection of its own"
        reading.wrong(connection.place, what, "Delete its connection; its parts have theirs")


def _completed(
    reading: Reading, name: str, aspects: list[Aspect], written: dict[str, Entry], outputs: dict[str, Output]
) -> list[Aspect]:
    """Every aspect says something of every part: a lamp that is not named is off, an arm must be named."""
    known = (*reading.section("outputs"), *ASPECT_WORDS)
    every = list(dict.fromkeys(part for aspect in aspects for part, _ in aspect.parts))
    complete = []
    for aspect in aspects:
        entry = written[aspect.name]
        named = entry.value.entries if isinstance(entry.value, Table) else {}
        parts = dict(aspect.parts)
        for part in every:
            if part in named or not isinstance(entry.value, Table) or any(name not in known for name in named):
                continue
            if outputs[part].kind is Kind.SERVO and len(outputs[part].positions) < 2:
                continue  # its positions have been reported
            if outputs[part].kind is Kind.SERVO:
                instead = f"Add `{part}: {outputs[part].positions[0].name}`"
                reading.wrong(
                    entry.key.place, f"`{aspect.name}` of `{name}` does not say where `{part}` stands", instead
                )
            else:
                parts[part] = 0.0
        complete.append(aspect._replace(parts=tuple((part, parts[part]) for part in every if part in parts)))
    return complete


def _claim_parts(
    reading: Reading, signal: Output, outputs: dict[str, Output], owners: dict[str, Text], written: dict[str, Entry]
) -> None:
    """A part belongs to one signal, rests as its signal rests, and is as safe as its signal is."""
    for aspect in signal.aspects:
        entry = written[aspect.name]
        named = entry.value.entries if isinstance(entry.value, Table) else {}
        for part in (part for part, _ in aspect.parts if part in named):
            key = named[part].key
            first = owners.setdefault(part, Text(signal.name, key.place))
            if first.text != signal.name:
                what = f"`{part}` is part of `{signal.name}` and of `{first.text}`"
                reading.wrong(key.place, what, "Give each signal parts of its own", (first.place, "first used here"))
    if not signal.aspects:
        return
    for part, value in signal.aspects[int(signal.rest.value)].parts:
        _agree(reading, signal, outputs, part, "rest", value)
    if signal.safe:
        for part, value in signal.aspects[int(signal.safe.value)].parts:
            _agree(reading, signal, outputs, part, "safe", value)


def _agree(reading: Reading, signal: Output, outputs: dict[str, Output], part: str, key: str, value: float) -> None:
    entry = reading.section("outputs")[part].value
    word = text(entry, key) if isinstance(entry, Table) else None
    output = outputs[part]
    held = output.rest if key == "rest" else output.safe
    if word is None:
        given = Setting(value)
        outputs[part] = replace(output, rest=given) if key == "rest" else replace(output, safe=given)
    elif held is not None and held != Setting(value):
        state = signal.rest if key == "rest" else signal.safe
        aspect = signal.aspects[int(state.value)].name if state else ""
        what = f"`{part}` has another {key} state than its signal `{signal.name}`, which shows `{aspect}`"
        reading.wrong(
            word.place, what, f"Leave `{key}` out here; it follows from the signal", (signal.place, "the signal")
        )
