"""Supplies of a layout file, what its outputs and boards draw, what things cost, and what an organiser asks.

Reads and checks single sections; what a supply can carry is reckoned elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.supply import Cable, Draw, Exhibition, Price, Run, Supply
from scenes.problems import nearest
from wayside.layout import electric_values as values
from wayside.layout.names import MOST_LISTED, Reading, table, text
from wayside.layout.values import whole
from wayside.layout.yaml_places import Entry, Items, Table, Text
from wayside.survey.voltage_limits import passed

MOST_UA = 100_000_000  # a hundred amperes: past it something has lost its unit
MOST_FORWARD_MV = 100_000
MOST_IN_SERIES = 100
MOST_MM, MOST_MM2 = 1_000_000, 100
DRAWING = ("outputs", "boards")
PRICED = ("outputs", "boards", "detectors", "buttons", "supplies")
CAUTION = "Mains and anything above is for a qualified person; local codes come first"


def read_supplies(reading: Reading) -> dict[str, Supply]:
    """All supplies whose voltage is known; what each feeds is fed once."""
    fed: dict[str, Text] = {}
    found = (_supply(reading, entry, fed) for entry in reading.section("supplies").values())
    return {supply.name: supply for supply in found if supply is not None}


def _supply(reading: Reading, entry: Entry, fed: dict[str, Text]) -> Supply | None:
    settings = entry.value if isinstance(entry.value, Table) else Table({}, entry.key.place)
    runs = tuple(_runs(reading, entry, settings, fed))
    word = text(settings, "voltage")
    voltage = values.supply_voltage(word.text) if word else None
    if word is None or voltage is None:
        return None
    millivolts, alternating = voltage
    limit = passed(millivolts, alternating)
    if millivolts == 0:
        reading.wrong(word.place, "a supply of no volts powers nothing", "Write what stands on its plate")
    elif limit and limit.refuses:
        what = f"`{entry.key.text}`: {limit.what} ({limit.source}), and `{word.text}` is more"
        reading.wrong(word.place, what, f"Take a finished, marked supply of 24 V or less. {CAUTION}")
    return Supply(
        entry.key.text,
        millivolts,
        alternating,
        _current(reading, settings, "gives"),
        _current(reading, settings, "fuse"),
        runs,
        entry.key.place,
    )


def _runs(reading: Reading, entry: Entry, settings: Table, fed: dict[str, Text]) -> Iterator[Run]:
    """What stands under `powers` and `wire`, and then each of `runs`."""
    if "powers" in settings.entries:
        yield _run(reading, settings, fed, entry.key)
    elif "wire" in settings.entries:
        place = settings.entries["wire"].key.place
        reading.wrong(place, f"`{entry.key.text}` has a wire that leads to nothing", "Add `powers: [NAME]`")
    listed = settings.entries["runs"].value if "runs" in settings.entries else None
    for item in listed.items if isinstance(listed, Items) else ():
        if isinstance(item, Table):
            yield _run(reading, item, fed, Text("", item.place))


def _run(reading: Reading, settings: Table, fed: dict[str, Text], key: Text) -> Run:
    names = tuple(_fed(reading, settings, fed))
    return Run(names, _cable(reading, settings), key.place)


def _fed(reading: Reading, settings: Table, fed: dict[str, Text]) -> Iterator[str]:
    value = settings.entries["powers"].value if "powers" in settings.entries else None
    for word in value.items if isinstance(value, Items) else [value]:
        if not isinstance(word, Text) or not word.text or not _can_be_fed(reading, word):
            continue
        first = fed.setdefault(word.text, word)
        if first is word:
            yield word.text
        else:
            what = f"`{word.text}` is powered twice"
            reading.wrong(word.place, what, "Keep the supply that it is wired to", (first.place, "first given here"))


def _can_be_fed(reading: Reading, word: Text) -> bool:
    homes = [section for section in DRAWING if word.text in reading.section(section)]
    if len(homes) == 1:
        return True
    if homes:
        what = f"`{word.text}` is an output and a board, and nobody can tell which of them is meant"
        reading.wrong(word.place, what, "Give the board another name")
        return False
    names = [name for section in DRAWING for name in reading.section(section)]
    near = nearest(word.text, names)
    offer = f"The boards are `{'`, `'.join(list(reading.section('boards'))[:MOST_LISTED])}`"
    instead = f"Did you mean `{near}`?" if near else offer if reading.section("boards") else "Name an output"
    reading.wrong(word.place, f"there is no board and no output named `{word.text}`", instead)
    return False


def _cable(reading: Reading, settings: Table) -> Cable | None:
    word = text(settings, "wire")
    found = values.cable(word.text) if word else None
    if word is None or found is None:
        return None
    if not 0 < found.length_mm <= MOST_MM or not 0 < found.mm2 <= MOST_MM2:
        what = f"`wire`: `{word.text}` is no wire"
        reading.wrong(word.place, what, f"Write up to {MOST_MM // 1000} m of up to {MOST_MM2} mm2")
        return None
    return found


def _current(reading: Reading, settings: Table, key: str, may_be_nothing: bool = False) -> int | None:
    word = text(settings, key)
    found = values.current_ua(word.text) if word else None
    if word is None or found is None:
        return None
    if found == 0 and not may_be_nothing:
        reading.wrong(word.place, f"`{key}`: `{word.text}` is nothing at all", "Write what stands on its plate")
        return None
    if found > MOST_UA:
        reading.wrong(word.place, f"`{key}`: `{word.text}` is more than any layout has", "See whether it is in mA")
        return None
    return found


# --- what is drawn, what it costs ----------------------------------------------------------------------------------


def _each(reading: Reading, sections: tuple[str, ...]) -> Iterator[tuple[tuple[str, str], Table]]:
    for section in sections:
        for name, entry in reading.section(section).items():
            if isinstance(entry.value, Table):
                yield (section, name), entry.value


def read_draws(reading: Reading) -> dict[tuple[str, str], Draw]:
    """By section and name, where the file says anything of it."""
    found = ((key, _draw(reading, settings)) for key, settings in _each(reading, DRAWING))
    return {key: draw for key, draw in found if draw != Draw()}


def _draw(reading: Reading, settings: Table) -> Draw:
    full = _current(reading, settings, "current", may_be_nothing=True)
    stalled = _current(reading, settings, "stalled current")
    idle = _current(reading, settings, "idle current", may_be_nothing=True)
    for less, more, what in (
        (full, stalled, "held, it draws less than when it moves freely"),
        (idle, full, "standing, it draws more than when it moves"),
    ):
        if less is not None and more is not None and less > more:
            key = "stalled current" if more == stalled else "idle current"
            reading.wrong(settings.entries[key].value.place, f"`{key}`: {what}", "See whether the two are exchanged")
    return Draw(full, stalled, idle, _forward(reading, settings), _in_series(reading, settings))


def _forward(reading: Reading, settings: Table) -> int | None:
    word = text(settings, "forward voltage")
    found = values.voltage_mv(word.text) if word else None
    if word is None or found is None:
        return None
    if 0 < found <= MOST_FORWARD_MV:
        return found
    reading.wrong(word.place, f"`forward voltage`: no LED has `{word.text}`", "Write for example `3.2 V`")
    return None


def _in_series(reading: Reading, settings: Table) -> int:
    word = text(settings, "in series")
    found = whole(word.text) if word else None
    if word is None or found is None:
        return 1
    if "forward voltage" not in settings.entries:
        what = "`in series` counts LEDs, and their forward voltage is not stated"
        reading.wrong(word.place, what, "Add for example `forward voltage: 3.2 V`")
    if found <= MOST_IN_SERIES:
        return found
    reading.wrong(word.place, f"`in series`: {found} is too many for any supply", f"Write 1 to {MOST_IN_SERIES}")
    return 1


def read_prices(reading: Reading) -> dict[tuple[str, str], Price]:
    found: dict[tuple[str, str], Price] = {}
    for key, settings in _each(reading, PRICED):
        word = text(settings, "price")
        amount = values.price(word.text) if word else None
        if amount is not None:
            found[key] = amount
    return found


def read_exhibition(root: Table) -> Exhibition | None:
    settings = table(root, "exhibition")
    if not settings.entries:
        return None
    who, leads = text(settings, "stays with it"), text(settings, "mains leads")
    return Exhibition(who.text if who else "", whole(leads.text) if leads else None)
