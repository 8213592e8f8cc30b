"""What is wrong with a far end, in words: observations of a probe in, sentences with what to try out.

A table, read from its top: the first row that says so hides those below it, since they would only be its consequences.
Knows no port. What stations do is common practice, no source; their words are from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from wayside.wording import count, duration, listed

SLOW_US = 200_000  # an answer that takes longer than that holds up a show
SHOWN = 8  # names in one sentence


class Lost(NamedTuple):
    """Why a port could not be opened, or went away: `adapters.serial_port.PortTrouble` as a record."""

    kind: str
    what: str
    instead: str


class Numbering(NamedTuple):
    """The layout's first accessory: its number, the layout's way of counting, and the command in both ways."""

    name: str
    number: int
    from_one: bool
    board: int
    command: str
    other: str
    state: str = "on"  # one that it can be told, to try it


class Observed(NamedTuple):
    """All that a probe saw of one far end."""

    port: str
    link: str = ""  # its name in the layout; empty: there is no layout
    baud: int = 115_200
    dialect: str = "early"
    opened_us: int | None = None  # how long opening took; None: it could not be opened
    trouble: Lost | None = None
    listened_us: int = 0
    came: int = 0  # bytes
    noise: int = 0  # of them outside of frames
    sample: bytes = b""  # the first of those
    frames: int = 0
    meant: int = 0  # frames that could be understood
    echoes: int = 0  # frames that were just what we had said
    unknown: str = ""  # the first frame that could not be understood
    banner: str = ""
    greeted_us: int | None = None  # when the banner came by itself
    can_ask: bool = True
    asked: int = 0  # questions, from the first that was answered
    answered: int = 0
    refused: int = 0  # of those answered
    round_trips_us: tuple[int, ...] = ()  # the shortest first
    powers: tuple[str, ...] = ()  # the track power, as it changed
    names_track: bool = False
    asked_detectors: bool = False
    detectors: tuple[tuple[int, bool], ...] = ()
    wanted: tuple[tuple[int, str, str, bool], ...] = ()  # of the layout: number, name, sort, closed circuit
    not_taken: tuple[str, ...] = ()  # whose definition was refused
    outputs: tuple[tuple[str, int, int], ...] = ()
    remarks: tuple[str, ...] = ()
    numbering: Numbering | None = None
    speeds: tuple[int, ...] = ()  # others that were tried
    right_speed: int | None = None
    ports: tuple[str, ...] = ()  # those that this computer has
    again: str = "wayside probe"  # the command that would do the same again

    @property
    def opened(self) -> bool:
        return self.opened_us is not None

    @property
    def is_network(self) -> bool:
        return self.port.lower().startswith("socket:")

    @property
    def median_us(self) -> int:
        return self.round_trips_us[len(self.round_trips_us) // 2] if self.round_trips_us else 0

    @property
    def silent(self) -> tuple[str, ...]:
        """Detectors and buttons of the layout that did not answer when all were asked."""
        heard = dict(self.detectors)
        return tuple(name for number, name, _, _ in self.wanted if number not in heard) if self.asked_detectors else ()

    @property
    def strangers(self) -> tuple[int, ...]:
        """Detectors that report and that the layout does not name."""
        known = {number for number, _, _, _ in self.wanted}
        return tuple(number for number, _ in self.detectors if number not in known) if self.link else ()


class Finding(NamedTuple):
    """One thing to say. `wrong`: something has to be done about it; else it is good to know."""

    name: str
    wrong: bool
    what: str
    instead: str


class Row(NamedTuple):
    """When it holds, what is said and what to try, with facts in braces. `ends`: nothing below it is looked at."""

    name: str
    holds: Callable[[Observed], object]
    what: str
    instead: str
    ends: bool = True
    wrong: bool = True


def diagnose(seen: Observed) -> list[Finding]:
    """What is wrong, the cause before its consequences, and what is good to know."""
    found = []
    facts = _facts(seen)
    for row in ROWS:
        if row.holds(seen):
            found.append(Finding(row.name, row.wrong, row.what.format_map(facts), row.instead.format_map(facts)))
            if row.ends:
                break
    return found


def _not_opened(kind: str) -> Callable[[Observed], object]:
    return lambda seen: not seen.opened and seen.trouble is not None and seen.trouble.kind == kind


def _unreadable(seen: Observed) -> bool:
    return bool(seen.came) and not seen.frames and not seen.echoes


ROWS = (
    Row(
        "no port",
        lambda seen: not seen.port,
        "The layout file does not say where `{link}` is plugged in",
        "Write its `port:`, such as `port: /dev/ttyACM0` or `port: socket://localhost:2560`.{there}",
    ),
    # --- the port does not open
    Row("nothing there", _not_opened("nothing there"), "{trouble}", "{mend}.{there}"),
    Row("no permission", _not_opened("permission"), "{trouble}", "{mend}"),
    Row(
        "taken by another program",
        _not_opened("taken"),
        "{trouble}, and a serial port has one user",
        "{mend}. Another Wayside counts, too",
    ),
    Row("no such address", _not_opened("no such address"), "{trouble}", "{mend}"),
    Row(
        "no serial bridge",
        lambda seen: not seen.opened and seen.port.lower().startswith("rfc2217:"),
        "Something listens at `{port}`, and it is no bridge to a serial port",
        "If the station itself is on the network, write `socket:{address}`",
    ),
    Row("not to be opened", lambda seen: not seen.opened, "{trouble}", "{mend}.{there}"),
    # --- it opens, and there is no talking
    Row(
        "takes nothing",
        lambda seen: seen.trouble is not None and seen.trouble.kind == "other",
        "{trouble}: the far end holds up the line",
        "Look whether it is switched on, and whether flow control is wired and wanted",
    ),
    Row(
        "goes away",
        lambda seen: seen.trouble,
        "{trouble}, {listened} after it was opened",
        "Look at its plug, its cable and its hub, and probe again. A board that is fed through this cable goes away "
        "whenever it starts anew, which too many servos on its supply can cause. A network's far end may have "
        "sent us away because it has users enough",
    ),
    Row(
        "an echo",
        lambda seen: seen.echoes and not seen.meant,
        "What Wayside says comes back as it was said",
        "Nobody is at the far end: its two data wires are joined, or the address is one that only echoes. Look at the "
        "wires, or take another port",
    ),
    Row(
        "another speed",
        lambda seen: seen.right_speed,
        "At {baud} baud nothing that comes can be read; at {right_speed} baud it can",
        "Write `speed: {right_speed} baud` for the link in the layout file, or --speed {right_speed} here",
    ),
    Row(
        "not a station",
        lambda seen: _unreadable(seen) and seen.is_network,
        "{bytes} came, and no answer among them. They begin {sample}",
        "A network has no speed that could be wrong, so something else than a station listens there: look at the "
        "number behind the colon",
    ),
    Row(
        "no speed fits",
        lambda seen: _unreadable(seen) and seen.speeds,
        "{bytes} came, and no answer among them, nor at {speeds} baud. They begin {sample}",
        "Is it the right port, and does the station speak serial text with angle brackets? Its book says both, and "
        "its speed. A missing ground wire or a plug that is half in looks like this, too",
    ),
    Row(
        "wrong speed",
        _unreadable,
        "{bytes} came, and no answer among them. They begin {sample}",
        "The speed is probably wrong: it is {baud} baud here, and the station's book says which it wants. "
        "`{again} --try-speeds` tries the usual ones",
    ),
    Row(
        "no words for status",
        lambda seen: not seen.can_ask,
        "The layout file says `status: none`, so it cannot be asked anything. For a board that has no track power "
        "to speak of that is as it should be",
        "See whether it does what it is told: `wayside walk` goes from one output to the next. If it is a "
        "station that knows a word for `status`, write that instead of none",
    ),
    Row(
        "nothing comes back",
        lambda seen: not seen.frames and not seen.came,
        "It opens, and nothing comes back at all: not a byte in {listened}, and {asked} asked",
        "Is the station switched on, and is it this port? Unplug it and see with `wayside probe` which port goes. Some "
        "cables only charge. If it takes long to start, give it longer: --for 15s. If another speed is possible, "
        "`{again} --try-speeds` tries the usual ones",
    ),
    Row(
        "words that are not known",
        lambda seen: not seen.meant,
        "It answers in words that Wayside does not know, such as <{unknown}>",
        "Does the station speak this kind of serial text? Its book says. Its port may be the one of another device",
    ),
    Row(
        "speaks and does not answer",
        lambda seen: not seen.answered,
        "It speaks by itself{greeting}, and answered none of {asked}",
        "What it says reaches us, and what we say does not reach it, or it wants other words: look at the wire to its "
        "receiving side, and give the link `words: {{status: ...}}` as the station's book has them. If it takes long "
        "to start, give it longer: --for 15s",
    ),
    Row(
        "refuses",
        lambda seen: seen.refused >= seen.answered,
        "It answers, and refuses to say how it is",
        "It hears us and takes our words for wrong ones: look at `dialect` in the layout file, or give the link "
        "`words: {{status: ...}}` as the station's book has them",
    ),
    # --- it talks
    Row(
        "overload",
        lambda seen: "overload" in seen.powers,
        "The booster has tripped: there is a short on the track, or more hangs on it than it can feed{turns}",
        "Take off what was put on last, look for metal across the rails and turnouts set against a train. Packets go "
        "nowhere meanwhile, and boards that are fed from the track have forgotten what they were told",
        ends=False,
    ),
    Row(
        "power off",
        lambda seen: seen.powers[-1:] == ("off",),
        "The track power is off{turns}. Nothing on the track hears a command, and sections report clear whatever "
        "stands there",
        "Look that no hands are on the track, then switch it on at the station. Wayside does not do so by itself",
        ends=False,
    ),
    Row(
        "power not told",
        lambda seen: not seen.powers,
        "It does not say whether the track power is on",
        "Look at the station itself. A show waits until the power is known to be on: give the link "
        "`words: {{status: ...}}` to which the station answers with its power",
        ends=False,
    ),
    Row(
        "answers are lost",
        lambda seen: seen.answered < seen.asked,
        "Only {answered} of {asked} got an answer",
        "Look at the cable and the ground wire, and whether another program keeps the station busy",
        ends=False,
    ),
    Row(
        "slow",
        lambda seen: seen.median_us > SLOW_US,
        "It takes long to answer: {median}",
        "A show has one question out at a time, so what it tells is late by as much. Is a network between, or does "
        "another program keep the station busy?",
        ends=False,
    ),
    Row(
        "noise",
        lambda seen: seen.noise and not is_text(seen.sample),
        "There is noise between its answers: {noise}, beginning {sample}",
        "Look at the cable, its ground wire and what runs beside it; motors and boosters are loud. Commands are hurt "
        "as answers are",
        ends=False,
    ),
    Row(
        "definitions are refused",
        lambda seen: seen.not_taken,
        "It does not take {not_taken} as an input",
        "Does the station have that pin, and is it free? Look at `pin` in the layout file, or define it in the station "
        "and write `address` with its number there in place of `pin`",
        ends=False,
    ),
    Row(
        "detectors do not answer",
        lambda seen: set(seen.silent) - set(seen.not_taken),
        "The layout names {silent}, and nothing answers to {that_many}",
        "For scenes {it} will be occupied for ever. One with an `address` must have been defined in the station, under "
        "that number; one with a `pin` is defined by Wayside, if the station has words for that",
        ends=False,
    ),
    # --- good to know
    Row(
        "strangers",
        lambda seen: seen.strangers,
        "It also reports {strangers}, which the layout file does not name",
        "If a train on the track changes one of these, that is the number to write",
        ends=False,
        wrong=False,
    ),
    Row(
        "only text",
        lambda seen: seen.noise and is_text(seen.sample),
        "Between its answers it says {sample}, which Wayside leaves aside",
        "",
        ends=False,
        wrong=False,
    ),
    Row(
        "numbers",
        lambda seen: seen.numbering,
        "`{first}` is accessory {number}, which here is {command}; where counting begins at board {other_start} it is "
        "{other}",
        "The station cannot say which is right. If `{first}` does not move and {neighbour} moves in its place, write "
        "`boards from: {other_start}`. `wayside try {first} {state}` tells it alone",
        ends=False,
        wrong=False,
    ),
    Row(
        "board 0",
        lambda seen: seen.numbering and seen.numbering.board == 0,
        "`{first}` is on board 0, which some stations do not send to",
        "If nothing moves at all, it is the numbers: write `boards from: 1`",
        ends=False,
        wrong=False,
    ),
    Row(
        "which dialect",
        lambda seen: not seen.link and seen.meant,
        "{which_dialect}",
        "Ask the station's book whether it has levels and servo positions; `wayside try --pin N 40%` shows it",
        ends=False,
        wrong=False,
    ),
)


# --- facts ---------------------------------------------------------------------------------------------------------


def _facts(seen: Observed) -> dict[str, str]:
    silent = [name for name in seen.silent if name not in seen.not_taken]
    counting = seen.numbering or Numbering("", 0, True, 0, "", "")
    trouble = seen.trouble or Lost("", "", "")
    shift = 4 if counting.from_one else -4
    neighbour = f"accessory {counting.number + shift}" if counting.number + shift >= 1 else "another one"
    return {
        "link": seen.link,
        "port": seen.port,
        "address": seen.port.partition(":")[2],
        "trouble": _begun(trouble.what),
        "mend": _begun(trouble.instead),
        "there": _there(seen),
        "listened": _seconds(seen.listened_us),
        "baud": str(seen.baud),
        "right_speed": str(seen.right_speed),
        "speeds": listed([str(speed) for speed in seen.speeds]),
        "bytes": count(seen.came, "byte"),
        "noise": count(seen.noise, "byte"),
        "sample": shown(seen.sample),
        "again": seen.again,
        "asked": count(seen.asked, "question"),
        "answered": str(seen.answered),
        "unknown": seen.unknown[:40],
        "greeting": f" (`{seen.banner[:60]}`)" if seen.banner else "",
        "turns": f" (while we looked: {', then '.join(seen.powers)})" if len(seen.powers) > 1 else "",
        "median": _milliseconds(seen.median_us),
        "not_taken": _names(seen.not_taken),
        "silent": _names(silent),
        "that_many": "it" if len(silent) == 1 else "them",
        "it": "it" if len(silent) == 1 else "they",
        "strangers": listed([str(number) for number in seen.strangers], SHOWN),
        "first": counting.name,
        "number": str(counting.number),
        "command": counting.command,
        "other": counting.other,
        "state": counting.state,
        "other_start": "0" if counting.from_one else "1",
        "neighbour": neighbour,
        "which_dialect": _which_dialect(seen),
    }


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


def _there(seen: Observed) -> str:
    if seen.is_network or "://" in seen.port:
        return ""
    return f" This computer has {listed(list(seen.ports), SHOWN)}" if seen.ports else " This computer shows no port"


def _names(names: list[str] | tuple[str, ...]) -> str:
    return listed([f"`{name}`" for name in names], SHOWN)


def _which_dialect(seen: Observed) -> str:
    fits = "`dialect: early` fits, and so may `dialect: late`: both ask in the same words"
    return f"{fits}. It names a track with its power, as newer stations do" if seen.names_track else fits


def is_text(sample: bytes) -> bool:
    """Whether all of it can be read."""
    return sample.isascii() and sample.decode("ascii").isprintable()


def shown(sample: bytes) -> str:
    """Bytes for people: as text where they are text, else as numbers."""
    return f"`{sample.decode('ascii')}`" if is_text(sample) else sample.hex(" ")


def _milliseconds(us: int) -> str:
    return f"{us / 1_000:.1f} ms" if us < 100_000 else f"{us // 1_000} ms"


def _seconds(us: int) -> str:
    return duration(max(round(us, -5), 100_000))


# --- what was seen -------------------------------------------------------------------------------------------------


def report(seen: Observed) -> list[tuple[str, str]]:
    """What answered, line by line: a heading and what was seen."""
    if not seen.opened:
        return []
    lines = [("opened", f"in {_milliseconds(seen.opened_us or 0)}"), ("banner", _banner(seen))]
    if seen.asked:
        lines.append(("status", _status(seen)))
    if seen.powers:
        lines.append(("track power", ", then ".join(seen.powers)))
    if seen.asked_detectors or seen.detectors:
        lines.append(("detectors", _detectors(seen)))
    if seen.outputs:
        words = [f"{kind} {number}: {value}" for kind, number, value in seen.outputs]
        lines.append(("outputs", listed(words, SHOWN)))
    return lines + [("remark", remark) for remark in seen.remarks]


def _banner(seen: Observed) -> str:
    if not seen.banner:
        return "none"
    when = "when asked" if seen.greeted_us is None else f"by itself, after {_milliseconds(seen.greeted_us)}"
    return f"{seen.banner[:60]} ({when})"


def _status(seen: Observed) -> str:
    if not seen.answered:
        return f"no answer to {count(seen.asked, 'question')}"
    how = "refused" if seen.refused >= seen.answered else "answered"
    times = seen.round_trips_us
    trip = f"round trip {_milliseconds(seen.median_us)} (p50), {_milliseconds(times[0])} to {_milliseconds(times[-1])}"
    return f"{how} {seen.answered} of {seen.asked}; {trip}"


_STATES = {"detector": ("clear", "occupied"), "button": ("not pressed", "pressed")}


def _detectors(seen: Observed) -> str:
    names = {number: (name, sort, closed) for number, name, sort, closed in seen.wanted}
    words = []
    for number, active in seen.detectors:
        name, sort, closed = names.get(number, ("", "", False))
        if not name:
            words.append(f"{number} {'active' if active else 'inactive'}")
        else:
            words.append(f"{name} {_STATES[sort][active != closed if sort == 'detector' else active]}")
    return (
        ", ".join([*words[:SHOWN], *([f"and {len(words) - SHOWN} more"] if len(words) > SHOWN else [])])
        or "none reports"
    )
