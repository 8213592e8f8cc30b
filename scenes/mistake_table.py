"""The mistakes that people make in scene files, as data: a pattern, what is wrong, what to write instead.

The first entry that fits a line wins, so the narrow ones stand above the wide ones. Knows nothing of how files are read.
"""

# ruff: noqa: E501 - an entry is a line, so that the table can be read down
from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import NamedTuple

Said = Mapping[str, str]
Instead = str | Callable[[Said], str]

NAME = r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*"
_NAMES = rf"{NAME}(?:(?: and |, ?){NAME})*"
_VERB = (
    r"(?:turn on|turn off|set|fade|move|flash|flicker|show|pulse|wait|repeat|remember|forget|count|reset|do|run|start|stop"
    r"|hold|release|note)"
)
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_TIME = rf"{_NUMBER} ?(?:ms|milliseconds?|s|secs?|seconds?|min|mins|minutes?|h|hours?)\b"


class Entry(NamedTuple):
    """One mistake. The group `x` is what the caret points at; without one it is all that the pattern finds.

    `inside`: where the line stands: t the left edge, s scene or routine, r rule, h rehearsal, m manner, d day; "" anywhere.
    `first`: only where already the first word does not fit. `near`: only where the reading stopped within the pattern.
    """

    key: str
    pattern: str  # compiled when first needed: files without mistakes pay nothing
    what: str
    instead: Instead
    inside: str = ""
    first: bool = False
    near: bool = False


def _entry(key: str, pattern: str, what: str, instead: Instead, inside: str = "", *, first: bool = False, near: bool = False) -> Entry:
    return Entry(key, pattern, what, instead, inside, first, near)


# --- what to write, where it must be worked out --------------------------------------------------------------------


def _number(value: Fraction) -> str:
    text = f"{float(value):.3f}".rstrip("0").rstrip(".")
    return text or "0"


def _amount(text: str) -> Fraction:
    return Fraction(text.replace(",", "."))


def _negative(said: Said) -> str:
    motor = re.match(r"(?:set|fade) .* to ?- ?[0-9.,]+ ?(?:%|percent)", said["line"])
    return "Leave it out" + ("; a motor that runs the other way is written `40 % backwards`." if motor else ".")


def _rate(said: Said) -> str:
    return f"Write `{_number(_amount(said['n']) * 60)} a minute`."


def _often(said: Said) -> str:
    times = 1 if said["n"] == "once" else 2
    return f"Write `{times * 60 if said['u'] == 'second' else times} a minute`."


def _period(said: Said) -> str:
    factor = 1 if said["u"].startswith("s") else Fraction(1, 1000) if said["u"].startswith("m") and said["u"] in ("ms", "milliseconds") else 60
    seconds = _amount(said["n"]) * factor
    return f"Write `at {_number(Fraction(60) / seconds)} a minute`." if seconds else "Write `at 45 a minute`."


_MM_S = {"km/h": Fraction(1_000_000, 3600), "kmh": Fraction(1_000_000, 3600), "kph": Fraction(1_000_000, 3600),
         "mph": Fraction(1_609_344, 3600), "m/s": Fraction(1000), "cm/s": Fraction(10)}


def _speed(said: Said) -> str:
    speed = _MM_S[said["u"].lower()] * _amount(said["n"])
    return f"Write the model's own speed; `{said['x']}` on the model itself is `{_number(Fraction(round(speed)))} mm/s`."


def _seconds(said: Said) -> str:
    first, second, *_ = said["x"].split(":")
    return f"Write `{int(first) * 60 + int(second)} s`."


def _sum(said: Said) -> str:
    units = {"m": 60, "h": 3600, "s": 1}
    parts = re.findall(rf"({_NUMBER}) ?([a-z]+)", said["x"])
    whole = sum(_amount(n) * (Fraction(1, 1000) if u.startswith(("ms", "mill")) else units[u[0]]) for n, u in parts)
    return f"Write `{_number(Fraction(whole))} s`."


def _evening(said: Said) -> str:
    hour = int(said["h"]) % 12 + (12 if said["p"].lower().startswith("p") else 0)
    return f"Write `starts at {hour}:{said['m'] or '00'} layout time`, or `hall time`."


def _joined(said: Said) -> str:
    return f"Write `{'-'.join(said['x'].replace('_', ' ').lower().split())}`."


def _small(said: Said) -> str:
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "-", said["x"]).replace("_", "-")
    return f"Write `{spaced.lower()}`."


_FIGURES = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
            "twelve": 12, "fifteen": 15, "twenty": 20, "thirty": 30, "forty": 40, "sixty": 60}


def _figure(said: Said) -> str:
    return f"Write `{_FIGURES[said['x']]}`."


_COMPARED = {"==": "is", "=": "is", "!=": "is not", "<>": "is not", ">=": "is at least", "=>": "is at least",
             "<=": "is at most", "=<": "is at most", ">": "is above", "<": "is below"}


def _compared(said: Said) -> str:
    return f"Write `{_COMPARED[said['x']]}`."


_MORE = {"greater than": "above", "more than": "above", "higher than": "above", "brighter than": "above", "over": "above",
         "less than": "below", "lower than": "below", "darker than": "below", "under": "below", "fewer than": "below"}


def _more(said: Said) -> str:
    return f"Write `{_MORE[said['x']]}`."


_ISNT = {"isn't": "is not", "aren't": "are not", "isnt": "is not", "arent": "are not", "doesn't": "is not", "won't": "is not", "can't": "is not"}


def _isnt(said: Said) -> str:
    return f"Write `{_ISNT[said['x'].replace('’', chr(39))]}`."


# --- light, motion, the sun ----------------------------------------------------------------------------------------

# What a line can be like, so that it is known where `like` is missing; held against the engine's own by test.
KNOWN = (
    "gas-mantle", "oil-wick", "candle", "filament", "tube", "neon-sign", "sodium", "mercury", "arc-lamp", "dynamo", "led", "soft-led",
    "oil-lamp", "mantle-in-a-draught", "embers", "bonfire", "forge-with-bellows", "arc-and-pause", "glow-behind-a-curtain",
    "bad-letter", "sun-on-water", "storm", "tube-that-struggles",
)
EVENTS = ("daybreak", "dawn", "sunrise", "sunset", "dusk", "nightfall")
_LIKE = "|".join(sorted(KNOWN, key=len, reverse=True))
_APART = "|".join(name.replace("-", "[- ]") for name in sorted(KNOWN, key=len, reverse=True) if "-" in name)
_EVENT = "(?:" + "|".join(EVENTS) + ")"
_PERCENT = rf"{_NUMBER} ?(?:%|percent)"
_RATE = rf"{_NUMBER} ?(?:a minute|per minute|/min)"
_K = rf"{_NUMBER} ?(?:K|kelvin)\b"


def _away(said: Said) -> str:
    sign = "-" if said["w"] in ("before", "to", "till", "minus", "less", "-") or said.get("q") == "-" else "+"
    return f"Write `starts at {said['n']} {sign} {said['t']}`."


def _white(said: Said) -> str:
    return f"Write `{'2700 K' if said['a'] == 'warm' else '5000 K'}`."


def _in_time(said: Said) -> str:
    return f"Write `fade {said['n']} to {'100' if said['s'] == 'on' else '0'} % over {said['t']}{said['m']}`."


def _slowly(said: Said) -> str:
    return _in_time({**said, "t": "3 s", "m": ""})


def _levels(said: Said) -> str:
    low, high = re.findall(_NUMBER, said["x"])
    return f"Write `between {low} % and {high} %`."


def _hyphens(said: Said) -> str:
    return f"Write `{said['x'].replace(' ', '-')}`."


_COURSES = {"smoothly": "smooth", "gently": "smooth", "softly": "smooth", "evenly": "even", "linearly": "even", "linear": "even", "steadily": "even"}


def _sun(said: Said) -> str:
    first, second = said["x"].split()
    if first == "sun":
        return f"Write `sun{second}`."
    return f"Write `{'dawn' if 'dawn' in said['x'] or first == 'morning' else 'dusk'}`."


def _course(said: Said) -> str:
    return f"Write `like {_COURSES.get(said['x'], said['x'])}`."


def _times(said: Said) -> str:
    return "Write `once`." if int(said["n"]) == 1 else f"Write `{said['n']} times`."


def _sways(said: Said) -> str:
    return _period(said).replace("`at ", "`sways ")


_MANNERS = (
    _entry("level and time", rf"^(?P<l>{_PERCENT}),? ?(?P<x>{_TIME})$", "Is the level held so long, or gone to?", "Write `{l} for {x}` to hold it, or `{l} over {x}` to go there.", "m"),
    _entry("level in time", rf"^(?P<l>{_PERCENT}),? (?P<x>in|within|during|after|at|to) (?P<t>{_TIME})$", "A level is held `for` a time, or gone to `over` a time.", "Write `{l} for {t}`, or `{l} over {t}`.", "m"),
    _entry("level alone", rf"^(?P<x>{_PERCENT})$", "For how long?", "Write `{x} for 2 s` to hold it, or `{x} over 2 s` to go there.", "m"),
    _entry("level unit", rf"^(?P<x>(?P<n>{_NUMBER})) (?:for|over)\b", "`{n}` of what? A level carries its unit.", "Write `{n} %`.", "m"),
    _entry("time first", rf"^(?P<x>(?P<w>for|over) (?P<t>{_TIME})(?: at| to)? (?P<l>{_PERCENT}))$", "The level comes first.", "Write `{l} {w} {t}`.", "m"),
    _entry("manner waits", rf"^(?P<x>(?:wait|pause|sleep|hold|stay)(?: for)? (?P<t>{_TIME}))", "A manner does not wait: each of its levels says how long it lasts.", "Write the level, too, such as `0 % for {t}`.", "m"),
    _entry("sway", r"^(?P<x>sway|swaying|swings?|swinging|rocks?|rocking|rolls?|rolling|wobbles?)\b", "The word for this is `sways`.", "Write `sways 40 a minute by 60 %`.", "m"),
    _entry("sways how often", rf"^(?P<x>sways(?: by {_PERCENT})?)$", "How often does it sway?", "Write `sways 40 a minute by 60 %`.", "m"),
    _entry("sways every", rf"^sways (?P<x>(?:every |once every |at |for |over )?(?P<n>{_NUMBER}) ?(?P<u>ms|milliseconds|s|secs?|seconds?|min|minutes?)\b)", "How often it sways is given per minute.", _sways, "m"),
    _entry("sways number", rf"^sways (?:at )?(?P<x>(?P<n>{_NUMBER}))(?= by\b|$)", "`{n}` of what? A rate carries its unit.", "Write `{n} a minute`.", "m"),
    _entry("sways by", rf"^sways {_RATE},? (?P<x>(?P<l>{_PERCENT}))$", "`by` is missing before the share.", "Write `by {l}`.", "m"),
    _entry("sways share", rf"^sways {_RATE} by (?P<x>(?P<n>{_NUMBER}))$", "`{n}` of what? A share carries its unit.", "Write `{n} %`.", "m"),
    _entry("manner like", rf"^manner (?P<n>{NAME}):? (?P<x>like (?P<m>{NAME}))$", "What a manner is like stands on a line of its own.", "Write `{x}` below it, indented by 4 spaces.", "t"),
    _entry("like between", rf"^like {NAME} (?P<x>between\b.*)$", "Between which levels is said where a lamp flickers.", "Leave `{x}` out here, and write it behind `flicker ... like` and this manner's name.", "m"),
    _entry("manner's times", rf"^{_PERCENT} (?:for|over) (?P<t>{_TIME}) (?P<x>(?:to|-) {_TIME})$", "A level of a list lasts one time.", "Leave `{x}` out: each lamp has a pace of its own anyway.", "m"),
    _entry("manner's levels", rf"^(?P<x>(?P<a>{_PERCENT}) (?:to|-) (?P<b>{_PERCENT})) (?:for|over|in) (?P<t>{_TIME})$", "A line of a manner has one level.", "Write the line for `{a}` first, then `{b} over {t}`.", "m"),
    _entry("like and more", rf"^like {NAME}(?P<x>,? ?(?:and|with|at|but|pace|depth|,).*)$", "A manner is like one other; `pace` and `depth` stand on lines of their own.", "Begin a new line there, or leave it out.", "m"),
    _entry("like otherwise", r"^(?P<x>is like|as|similar to|same as|based on|from|flickers? like|flickers? as|flickers?|copy|copies)\b", "What a manner is like is said with `like` alone.", "Write `like candle`.", "m"),
    _entry("pace", r"^(?P<x>speed|rate|tempo|slower|faster|quicker|slow|fast|quick)\b", "The word for this is `pace`.", "Write `pace 60 %` for slower, or `pace 150 %` for quicker.", "m"),
    _entry("depth", r"^(?P<x>strength|contrast|amplitude|amount|shallower|shallow|weaker|range)\b", "The word for this is `depth`.", "Write `depth 60 %`.", "m"),
    _entry("figure unit", rf"^(?P<k>pace|depth) (?:at |of |to )?(?P<x>(?P<n>{_NUMBER}))$", "`{n}` of what? A share carries its unit.", "Write `{k} {n} %`.", "m"),
    _entry("manner repeats", r"^(?P<x>repeat|loop|forever|again|cycle)\b.*$", "A manner is run over and over anyway.", "Leave the line out, and move its block to the left.", "m"),
    _entry("level first", r"^(?P<x>(?:hold|stay|stays|keep|keeps|set|turn|fade|go|goes|rise|rises|fall|falls|dim|dims|flash|at|on|off|for|over|to|from|then|full|dark)(?: at| to| on| off)?)\b", "A line of a manner begins with its level.", "Write `70 % for 2 s` to hold it, or `70 % over 2 s` to go there.", "m", first=True),
    _entry("statement in manner", rf"^(?P<x>{_VERB}|together|if|for each|expect|plays|never|always|starts|runs)\b", "`{x}` does not belong in a manner, which says only how a lamp flickers.", "Move it to the scene.", "m", first=True),
    _entry("manner's line", r"^(?P<x>sways|pace|depth|like)\b", "`{x}` belongs in a manner.", "Put it below a line with `manner` and a name, at the left edge.", "tsrh", first=True),
)

_SUN = (
    _entry("begins at dusk", rf"^begins at (?P<x>(?:the )?{_EVENT}\b.*)$", "A rehearsal begins at a time of day.", "Write for example `begins at 17:45`.", "h"),
    _entry("sun's share", rf"^starts at {_EVENT} [-+] (?P<x>(?P<n>{_NUMBER}) ?(?:%|percent|deg|lux))$", "`{x}` is not a time.", "Write `{n} min`.", "s"),
    _entry("before the sun", rf"^(?P<x>starts (?:at )?(?P<t>{_TIME}) (?P<w>before|after|past|to|till) (?:the )?(?P<n>{_EVENT}))\b", "How long before or after comes behind the time of the sun.", _away, "s"),
    _entry("sun and word", rf"^starts at (?P<n>{_EVENT}),? (?P<x>(?P<w>minus|plus|less|and) (?P<t>{_TIME}))", "How long before or after is written with a sign.", _away, "s"),
    _entry("sun's sign", rf"^starts at (?P<n>{_EVENT}) ?(?P<x>(?:(?<! )(?P<w>[-+]) ?|(?<= )(?P<q>[-+]))(?P<t>{_TIME}))", "The sign stands between two blanks.", _away, "s"),
    _entry("sun's unit", rf"^starts at {_EVENT} [-+] (?P<x>(?P<n>{_NUMBER}))$", "`{n}` of what? A time carries its unit.", "Write `{n} min`.", "s"),
    _entry("sun's clock", rf"^starts at {_EVENT}.*? (?P<x>(?:by )?(?:layout|hall)(?: time)?)$", "The sun goes by the layout time, so a clock is not named.", "Leave it out.", "s"),
    _entry("sun with article", rf"^starts at (?P<x>the) {_EVENT}\b", "Times of the sun stand without `{x}`.", "Leave out `{x}`.", "s"),
    _entry("starts dusk", rf"^(?P<x>(?:starts(?: on| every| each| when| whenever| by| with| around)?|runs(?: at| from| after| before| until| on| every| when| whenever)?)(?: the)? (?P<n>{_EVENT}))\b", "A time of the sun comes after `starts at`.", "Write `starts at {n}`.", "s"),
    _entry("sun's sum", rf"^starts at {_EVENT} [-+] (?P<x>{_TIME},? (?:and )?{_TIME})$", "A time is one number with its unit.", _sum, "s"),
    _entry("sun every day", rf"^starts at {_EVENT}.*? (?P<x>(?:every|each) (?:day|evening|night|morning)|daily)$", "It starts on every day of the layout clock anyway.", "Leave it out.", "s"),
    _entry("sun and more", rf"^starts at {_EVENT}.*?,? (?P<x>(?:or|and) (?:on|at|each|every|when|if)\b.*)$", "What else starts the scene stands on a line of its own.", "Begin a new line there, with `starts`.", "s"),
    _entry("sun's words", r"^starts at (?P<x>(?:(?:civil|evening|morning) (?:dusk|dawn|twilight))|sun set|sun rise)\b", "The sun's times have one word each.", _sun, "s"),
    _entry("accept", r"^(?P<x>(?:accept|allow|allows|permit|permits|accepts(?! flashing\b))(?: [a-z]+)?)\b", "`{x}` is not how a scene says so.", 'Write `accepts flashing because "..."`, with your reason between the marks.', "s"),
    _entry("accepts why", r"^(?P<x>accepts flashing(?: because)?)$", "Flashing is accepted for a reason.", 'Write `accepts flashing because "..."`, with your reason between the marks.', "s"),
    _entry("accepts marks", r"^accepts flashing because (?P<x>(?![\"“”„«‘'])[^\"]+)$", "The reason stands in quotation marks.", 'Write `because "{x}"`.', "s"),
    _entry("accepts because", r"^accepts flashing(?P<x>:|,| for| as| since| if| when|(?= \"))", "The reason comes after `because`.", 'Write `accepts flashing because "..."`.', "s"),
)

_LIGHT = (
    _entry("shows a character", rf"^(?P<v>flash|flicker|turn on|set) (?P<n>{_NAMES}) (?P<x>(?:as|like|to) (?P<q>\".*\"))", "A light's character is shown with `show`.", "Write `show {n} as {q}`."),
    _entry("show like", rf"^show (?P<n>{_NAMES}) (?P<x>(?:like|with|to|is|in|:|=) ?(?P<q>\".*\"))", "The character comes after `as`.", "Write `show {n} as {q}`."),
    _entry("show single quotes", rf"^show (?P<n>{_NAMES}) as (?P<x>['‘’`](?P<q>[^'‘’`\"]*)['‘’`])", "A light's character stands between plain double marks.", 'Write `show {n} as "{q}"`.'),
    _entry("flicker what", rf"^flicker (?P<x>like (?P<m>{NAME}))", "Which lamp is it that flickers?", "Write `flicker`, the lamp's name, and `{x}`."),
    _entry("as for like", rf"^(?P<v>flicker|turn on|turn off) (?P<n>{_NAMES}) (?P<x>(?:as|with|by|using|similar to)(?: an?)? (?P<m>(?!long\b|soon\b|an?\b){NAME}))", "How a lamp flickers or comes on is said with `like`.", "Write `like {m}`.", near=True),
    _entry("like alone", r"^(?:flicker|turn on|turn off|fade|move) .*? (?P<x>like)$", "Like what?", "Write a name after it, such as `like candle` for a lamp, or `like even` for a move."),
    _entry("like missing", rf"^(?P<v>flicker|turn on|turn off) (?P<n>{_NAMES}) (?P<x>(?P<m>{_LIKE}))(?![a-z0-9-])", "`like` is missing.", "Write `{v} {n} like {m}`.", near=True),
    _entry("flicker between", rf"^flicker (?P<n>{_NAMES}) (?P<x>between .*)$", "Like what does it flicker?", "Write `flicker {n} like embers {x}`.", near=True),
    _entry("flicker from", rf"^flicker .*?(?P<x>(?:from|at) (?P<a>{_PERCENT}) (?:to|and|-) (?P<b>{_PERCENT}))", "The two levels come after `between`.", "Write `between {a} and {b}`.", near=True),
    _entry("flicker at", rf"^flicker (?!.*\bbetween\b).*?(?P<x>(?:at|to|up to) (?P<a>{_PERCENT}))$", "A lamp flickers between two levels.", "Write `between 20 % and {a}`.", near=True),
    _entry("flicker order", rf"^flicker .*?(?P<x>(?P<o>(?:over|for) {_TIME}),? (?P<b>between {_PERCENT} and {_PERCENT}))", "The levels come before the time.", "Write `{b} {o}`.", near=True),
    _entry("between numbers", rf"^flicker .*?(?P<x>between (?:{_NUMBER} and {_NUMBER}(?: ?(?:%|percent))?|{_PERCENT} and {_NUMBER}(?![0-9.,%]| ?%| percent)))", "Both levels carry their unit.", _levels, near=True),
    _entry("flicker in", rf"^flicker .*? (?P<x>(?:in|within|during|taking) (?P<t>{_TIME}))", "How long it takes comes after `over`.", "Write `over {t}`.", near=True),
    _entry("flicker for over", rf"^flicker .*?(?P<x>(?P<f>for {_TIME}),? (?P<o>over {_TIME}))", "`over` comes before `for`.", "Write `{o} {f}`.", near=True),
    _entry("turn on to", rf"^turn on (?P<n>{_NAMES}) (?P<x>(?:to|at) (?P<l>{_PERCENT}))$", "`turn on` gives full light.", "Write `set {n} to {l}`.", near=True),
    _entry("set like", rf"^set (?P<n>{_NAMES}) to (?P<l>{_PERCENT}) (?P<x>like {NAME})$", "`set` takes no time, so it has no course.", "Write `fade {n} to {l} over 3 s {x}`.", near=True),
    _entry("like in words", rf"^(?:flicker|turn on|turn off|fade|like) .*?(?<![a-z0-9-])(?!(?:{_LIKE})(?![a-z0-9-]))(?P<x>{_APART})(?![a-z0-9-])", "A name is one word; its parts are joined by hyphens.", _hyphens, near=True),
    _entry("fade dusk", r"^(?P<x>fade (?P<c>dusk|dawn|nightfall|daybreak)),? (?:over|in|for)\b", "What goes through `{c}` is `daylight`.", "Write `fade daylight through {c} over 4 min`."),
    _entry("fade where", rf"^fade (?P<n>(?!daylight\b){_NAMES}) (?P<x>over {_TIME})$", "To which level?", "Write `fade {n} to 60 % {x}`.", near=True),
    _entry("fade bouncing", r"^fade .*?(?P<x>,? ?(?:bouncing|settling)\b(?: [a-z0-9]+)*)$", "Servos bounce and settle; a lamp does not.", "Leave `{x}` out.", near=True),
    _entry("daylight like", rf"^fade daylight through {NAME} over {_TIME},? (?P<x>like {NAME})$", "Daylight goes as it goes outdoors.", "Leave `{x}` out.", near=True),
    _entry("turn over", rf"^turn (?P<s>on|off) (?P<n>{_NAMES})(?P<m> like {NAME})? (?P<x>over (?P<t>{_TIME}))", "`turn {s}` takes no time.", _in_time, near=True),
    _entry("turn slowly", rf"^turn (?P<s>on|off) (?P<n>{_NAMES}) (?P<x>slowly|gently|softly|gradually|smoothly)$", "`turn {s}` takes no time.", _slowly, near=True),
    _entry("turn red", rf"^turn (?:(?:on|off) )?(?P<n>{_NAMES}) (?P<x>(?:in |to )?(?P<c>white|red|green|yellow|blue|violet|orange))$", "A colour is set.", "Write `set {n} to {c}`.", near=True),
    _entry("to colour", rf"^set {_NAMES} to (?P<x>(?:the )?colou?r) (?P<c>{NAME})", "A colour's name stands alone.", "Leave out `{x}`.", near=True),
    _entry("colour to", rf"^set {NAME} (?P<x>colou?r)(?= to\b)", "The lamp's name is enough: the colour is seen from what it is set to.", "Leave out `{x}`.", near=True),
    _entry("like before over", rf"^(?:fade|move) {_NAMES} to .*?(?P<x>(?P<l>like {NAME}),? (?P<o>over {_TIME}))", "How long it takes comes before what it is like.", "Write `{o} {l}`.", near=True),
    _entry("like before to", rf"^(?P<v>fade|move) (?P<n>{_NAMES}) (?P<x>(?P<l>like {NAME}) (?P<r>to .+))$", "What it is like comes last.", "Write `{v} {n} {r} {l}`."),
    _entry("like without over", rf"^(?P<v>fade|move) (?P<n>{_NAMES}) to (?P<g>[^ ]+|{_NUMBER} ?(?:%|percent|deg|degrees?)) (?P<x>like {NAME})$", "How long does it take?", "Write `{v} {n} to {g} over 3 s {x}`.", near=True),
    _entry("adverb", rf"^(?:fade|move) .*?{_TIME},? (?P<x>smoothly|gently|softly|evenly|linearly|linear|steadily|smooth|even|swaying|ramped)\b", "The course of a fade or a move is said with `like`.", _course, near=True),
    _entry("kelvin sign", r"^(?:set|fade) .*?(?P<x>(?P<n>[0-9]{3,5}) ?(?:k|kelvins|Kelvins?|KELVIN|(?:deg|degrees?|°) ?[kK](?:elvin)?))(?![A-Za-z0-9])", "A colour of light is written with a capital K.", "Write `{n} K`.", near=True),
    _entry("kelvin number", r"^(?:set|fade) .*? to (?P<x>(?P<n>[1-9][0-9]{3,4}))(?= over\b|$)", "`{n}` of what? A colour of light carries its unit.", "Write `{n} K`.", near=True),
    _entry("white", rf"^(?:set|fade) {_NAMES} to (?P<x>(?P<a>warm|cool|cold) (?:white|light))", "How warm or cool a white is stands in kelvin.", _white),
    _entry("is kelvin", rf"\b(?:is|are|becomes) (?:not )?(?:at (?:least |most )?|above |below )?(?P<x>{_K})", "The whites of a lamp cannot be asked for.", "Ask for its level, such as `is above 40 %`, or keep a flag.", near=True),
    _entry("set daylight", rf"^(?:set|fade|turn) daylight .*?(?P<x>{_NUMBER} ?(?:lux|lx))", "Daylight goes through the hours of a day, not to an amount of light.", "Write `fade daylight through dusk over 4 min`."),
    _entry("fade to dusk", rf"^fade (?P<n>{_NAMES}) (?P<x>to (?P<c>dusk|dawn|nightfall|daybreak))$", "Only `daylight` goes through `{c}`; the lamps that follow it go with it.", "Write `fade daylight through {c} over 4 min`."),
    _entry("through to", r"^fade daylight (?P<x>to|into|towards|until|with|from|at|by)\b", "`daylight` fades `through` dusk or dawn.", "Write `fade daylight through dusk over 4 min`."),
    _entry("through what", rf"^fade daylight (?P<x>(?:over|in|for) {_TIME})$", "Through which hours?", "Write `fade daylight through dusk over 4 min`."),
    _entry("through in", rf"^fade daylight through {NAME},? (?P<x>in|within|for|during|taking) (?P<t>{_TIME})", "How long it takes comes after `over`.", "Write `over {t}`."),
    _entry("through how long", rf"^(?P<x>fade daylight through (?P<c>{NAME}))(?: over)?$", "How long does it take?", "Write `{x} over 4 min`."),
    _entry("through whom", r"^fade (?P<x>through) ", "What fades?", "Write `fade daylight through dusk over 4 min`."),
)

_MOTION = (
    _entry("arrives first", rf"^move .*?(?P<x>,? ?(?P<w>bouncing(?: once| twice| [0-9]+ times)?|settling),? (?P<o>over {_TIME}))", "How a move arrives comes last.", "Write `{o}, {w}`.", near=True),
    _entry("settling how often", r"^move .*?settling,? (?P<x>once|twice|[0-9]+(?: times)?)$", "How often belongs to `bouncing`; `settling` dies down by itself.", "Leave `{x}` out.", near=True),
    _entry("move where", rf"^move (?P<n>{_NAMES}) (?P<x>over {_TIME})$", "To which position?", "Write `move {n} to lowered {x}`, or whichever position is meant.", near=True),
    _entry("move speed", rf"^move .*?(?P<x>(?:at|with) {_NUMBER} ?(?:deg|degrees?|°|mm)? ?(?:/ ?s|per second|a second)[a-z]*)", "How quickly a servo goes is said by its time from one end to the other.", "Write for example `over 7 s`."),
    _entry("bounce", r"^move .*?(?P<x>(?:(?:and|with|with an?|then) )?(?:bounces?|bounced))(?![a-z0-9-])", "The word for this is `bouncing`, after a comma.", "Write `, bouncing`, `, bouncing twice` or `, bouncing 3 times`.", near=True),
    _entry("settle", r"^move .*?(?P<x>(?:(?:and|with|with an?|then) )?(?:settles?|settled|wobbles?|wobbling|overshoots?|overshooting))(?![a-z0-9-])", "The word for this is `settling`, after a comma.", "Write `, settling`.", near=True),
    _entry("arrives with", r"^move .*?(?P<x>(?:and|with|then|while) (?P<w>bouncing|settling))(?![a-z0-9-])", "`{w}` comes after a comma.", "Write `, {w}`.", near=True),
    _entry("bouncing comma", r"^move .*?[a-z0-9%] (?P<x>bouncing|settling)(?![a-z0-9-])", "A comma is missing before `{x}`.", "Write `, {x}`.", near=True),
    _entry("bouncing time", r"^move .*?bouncing (?P<x>(?P<n>[0-9]+)(?: time| x|x)?)$", "How often is written with `times`.", _times, near=True),
    _entry("bouncing thrice", r"^move .*?bouncing (?P<x>thrice|a few times|several times|a little|once or twice|repeatedly|many times)", "How often is written in figures.", "Write `bouncing 3 times`, or `bouncing` alone.", near=True),
    _entry("bouncing, twice", r"^move .*?bouncing(?P<x>, ?)(?P<w>once|twice|[0-9]+ times)", "No comma stands between `bouncing` and how often.", "Write `bouncing {w}`.", near=True),
)

_LINE = r"(?:wait(?! until)|move|fade(?! daylight))"
_FITTING = (
    _entry("fit number", rf"^fit into (?P<x>(?P<n>{_NUMBER}))$", "`{n}` of what? A time carries its unit.", "Write `fit into {n} s`.", "s"),
    _entry("fit", rf"^(?P<x>(?!fit into {_NUMBER})(?:fits?|fitted|fitting|squeezed?|squeezes|compress|shorten|shrink|squash)(?: (?:it|all|everything|this))?(?: (?:into|in to|in|to|within|inside|down to|for|by|over))?) (?P<t>{_TIME})", "The words for this are `fit into`.", "Write `fit into {t}`.", "s"),
    _entry("fit what", r"^(?P<x>(?:fits?|squeeze|compress|shorten)(?: (?:into|in|to))?)$", "Into what time?", "Write for example `fit into 8 s`.", "s"),
    _entry("fit and more", rf"^fit into {_TIME} ?(?P<x>,? ?[^ ,].*)$", "After `fit into` stands one time, and nothing else.", "Leave `{x}` out; how far a line may be squeezed stands on that line, as `, never under 1.5 s`.", "s", near=True),
    _entry("fit words", rf"^fit into (?P<x>(?!{_NUMBER})[^ ].*)$", "After `fit into` stands a time.", "Write for example `fit into 8 s`; where an approach is short, `check` says how many seconds it gives.", "s"),
    _entry("never under words", rf"^{_LINE} .*?{_TIME}.*?(?P<x>(?:, ?)?(?:but )?(?:at least|at the least|(?:not|never|no) (?:below|less than|shorter than|quicker than|faster than)|not under|min(?:imum)?(?: of)?|not below) (?P<t>{_TIME}))", "How far a line may be squeezed is said with `never under`.", "Write `, never under {t}`.", "s", near=True),
    _entry("never under before like", rf"^{_LINE} .*?(?P<x>, ?(?P<u>never under {_TIME}),? (?P<l>like {NAME}))", "What it is like comes before `never under`.", "Write `{l}, {u}`.", "s", near=True),
    _entry("never under before over", rf"^{_LINE} .*?(?P<x>,? ?(?P<u>never under {_TIME}),? (?P<o>(?:over|to) {_TIME}))", "`never under` comes after the line's own time.", "Write `{o}, {u}`.", "s", near=True),
    _entry("never under comma", rf"^{_LINE} .*?[a-z0-9%] (?P<x>(?:but )?(?P<u>never under {_TIME}))", "A comma is missing before `never under`.", "Write `, {u}`.", "s", near=True),
    _entry("never under number", rf"^{_LINE} .*?never under (?P<x>(?P<n>{_NUMBER}))(?=$|,)", "`{n}` of what? A time carries its unit.", "Write `{n} s`.", "s", near=True),
    _entry("never under what", rf"^{_LINE} .*?(?P<x>never under)$", "Under which time?", "Write for example `, never under 1.5 s`.", "s", near=True),
    _entry("never under elsewhere", rf"^(?!{_LINE}\b)(?:{_VERB}|wait until|flash)\b.*?(?P<x>,? ?never under\b.*)$", "Only `wait`, `move` and `fade` are ever squeezed.", "Leave `never under` out.", "s", near=True),
)


# --- the table -----------------------------------------------------------------------------------------------------

_OPENINGS = (
    _entry("other scene", r"^(?P<x>script|sequence|program|programme|action|actions|cue|show|play|act|task|event)\b(?= ?[a-z0-9-]*:?$)", "`{x}` is not how a scene begins.", "Write `scene`, and its name.", "t", first=True),
    _entry("other routine", r"^(?P<x>function|procedure|def|sub|macro|subroutine|method|proc|func)\b", "`{x}` is not how a routine begins.", "Write `routine`, and its name.", first=True),
    _entry("other rehearsal", r"^(?P<x>test|trial|simulation|scenario|check)\b", "`{x}` is not how a rehearsal begins.", "Write `rehearsal`, and its name.", "t", first=True),
    _entry("other define", r"^(?P<x>let|var|const|variable|constant|alias|condition)\b", "`{x}` gives no name to anything.", "Write `define NAME as` and a condition, `flag NAME` or `counter NAME`.", first=True),
    _entry("list of outputs", r"^(?P<x>list|lamps|lights|lamp|output|outputs|servo|signal|sensor|detector|button|track|layout)\b", "`{x}` begins nothing in a scene file.", "Outputs, detectors and tracks stand in `layout.yaml`; write `group NAME: ...` for a group of them.", "t", first=True),
    _entry("import", r"^(?P<x>import|include|use|load|require)\b", "Scene files need not name one another.", "Leave it out: all scene files of a folder belong together.", first=True),
    _entry("note quotes", r"^note (?P<x>(?![\"“”„«‘]).+)$", "What is noted stands in quotation marks.", 'Write `note "{x}"`.'),
    _entry("show quotes", rf"^show (?P<n>{_NAMES}) as (?P<x>(?![\"“”„«‘]).+)$", "A light's character stands in quotation marks.", 'Write `show {n} as "Fl(2) 10s"`.'),
)

_SIGNS = (
    _entry("remark", r"(?P<x>//|/\*|(?<![a-z0-9-])--(?![a-z])|;;).*$", "`{x}` does not begin a remark.", "Write `#` instead."),
    _entry("curly quotes", r"(?P<x>[“”„«»‟]).*$", "This quotation mark is one that word processors make.", 'Write the plain sign `"`.', near=True),
    _entry("names in text marks", r"^(?!note\b|show\b|print\b|say\b|log\b).*?(?P<x>\"(?P<q>[^\"]*)\")", "Names stand without quotation marks.", lambda said: _small({"x": said["q"].strip().replace(" ", "-")})),
    _entry("single quotes", r"(?P<x>[‘’'`](?P<q>[^‘’'`]*)[‘’'`])", "Names stand without quotation marks.", "Write `{q}`."),
    _entry("open text", r"^[^\"]*(?P<x>\"[^\"]*)$", "The text has no closing quotation mark.", 'Write `"` where it ends.'),
    _entry("isn't", r"(?P<x>(?:is|are|does|wo|ca)n['’]?t)\b", "Short forms are written out.", _isnt, near=True),
    _entry("dashes", rf"(?P<x>(?P<a>{NAME}) ?[‐‑‒–—―−] ?(?P<b>{NAME}))", "The words of a name are joined by a plain hyphen.", "Write `{a}-{b}`."),
    _entry("long dash", r"(?P<x>[‐‑‒–—―−])", "This dash has no meaning in a scene file.", "Write `-` in a name, and `to` between two amounts."),
    _entry("curly brackets", r"(?P<x>[{}])", "Blocks are made by indenting lines, not by curly brackets.", "Leave it out and indent the block by 4 spaces."),
    _entry("square brackets", r"(?P<x>[\[\]])", "Square brackets have no meaning in a scene file.", "Leave it out; the members of a list are separated by commas."),
    _entry("semicolon at the end", r"(?P<x>;)$", "A line has no semicolon at its end.", "Leave it out."),
    _entry("semicolon", r"(?P<x>;)", "A line holds one sentence; semicolons do not separate them.", "Begin a new line there."),
    _entry("full stop", r"(?P<x>\.+|…|!+|\?+)$", "A line has no `{x}` at its end.", "Leave it out."),
    _entry("dollar", rf"(?P<x>[$@&!~](?P<n>{NAME}))", "A name stands alone, with no sign before it.", "Write `{n}`."),
    _entry("begins with =", rf"^begins with (?P<n>{NAME}) (?P<x>=|is|are|as|at)", "The state comes straight after the name.", "Write `begins with {n} occupied`.", "h", near=True),
    _entry("set =", rf"^set (?P<n>{_NAMES}) ?(?P<x>:?=+)", "`set` says `to`, not `{x}`.", "Write `set {n} to 40 %`."),
    _entry("+=", rf"^(?:count )?(?P<n>{NAME}) ?(?P<x>\+\+|\+=|--|-=).*$", "A counter is worked with `count`.", "Write `count {n} up`, or `count {n} down`."),
    _entry("group =", rf"^group (?P<n>{NAME}) ?(?P<x>=|is\b|are\b|as\b|of\b)", "After a group's name comes a colon.", "Write `group {n}: first-member, second-member`.", "t"),
    _entry("define =", rf"^define (?P<n>{NAME}) ?(?P<x>==?|:|is\b|to\b|when\b)", "After a defined name comes `as`.", "Write `define {n} as`, and the condition.", "t", near=True),
    _entry("kept comma", rf"^(?P<k>flag|counter) (?P<n>{NAME}) (?P<x>kept)", "A comma is missing before `kept`.", "Write `{k} {n}, kept`.", "t"),
    _entry("variable =", rf"^(?P<k>flag|counter) (?P<n>{NAME}) ?(?P<x>(?:=|:|is\b|to\b|(?<![a-z0-9-])[0-9]).*)$", "A {k} is declared by its name alone.", "Write `{k} {n}`.", "t"),
    _entry("assignment", rf"^(?P<n>{NAME}) ?(?P<x>:?=)(?!=)", "Nothing is set with `{x}`.", "Write `set {n} to 40 %`, or `turn on {n}`.", first=False, near=True),
    _entry("compared", r"(?P<x>==|!=|<>|>=|=>|<=|=<|>|<|=)", "Comparisons are written in words.", _compared),
    _entry("&&", r"(?P<x>&&?|\+)", "`{x}` joins nothing here.", "Write `and`."),
    _entry("||", r"(?P<x>\|\|?)", "`{x}` has no meaning here.", "Write `or`."),
    _entry("twelve hours", r"^(?P<x>starts (?:at )?(?P<h>[0-9]{1,2})(?:[:.](?P<m>[0-9]{2}))? ?(?P<p>[aApP]\.?[mM])\.?).*$", "Times of day run from 0:00 to 23:59.", _evening),
    _entry("hertz in words", r"(?P<x>(?P<n>once|twice) (?:a|per|every) (?P<u>second|minute))\b", "Rates are written in figures, and per minute.", _often, near=True),
    _entry("all of orders", rf"^(?:turn (?:on|off)|set|fade|move|flash|flicker|show|pulse|hold|release|takes) (?P<x>all(?: of)?|every|each(?: of)?|both(?: of)?) (?P<n>(?!outputs\b|of\b|to\b|at\b|for\b|over\b|in\b|and\b){NAME})", "An order to a group is one to all of it; it has no `{x}`.", "Write just `{n}`.", near=True),
    _entry("hertz", rf"^(?!.*\btrain\b).*?(?P<x>(?P<n>{_NUMBER}) ?(?:[hH][zZ]|(?:times |flashes )?(?:a|per) second|/s(?:ec)?\b))", "Rates are given per minute.", _rate, near=True),
    _entry("bpm", rf"(?P<x>(?P<n>{_NUMBER}) ?(?:[bB][pP][mM]|times a minute|times per minute|flashes a minute|/ ?minute|a min\b|per min\b|a minutes|an minute))", "The rate is not written like that.", "Write `{n} a minute`.", near=True),
    _entry("model speed", rf"(?P<x>(?P<n>{_NUMBER}) ?(?P<u>[kK][mM]/[hH]|kmh|kph|mph|m/s|cm/s))", "Speeds are given in mm/s.", _speed),
    _entry("negative", r"^(?!starts at ).*?(?<![a-z0-9])(?P<x>-) ?(?P<n>[0-9])", "Amounts have no minus sign.", _negative),
    _entry("no nought", r"(?<![0-9a-z])(?P<x>[.,](?P<n>[0-9]+))", "A number begins with a figure.", "Write `0.{n}`.", near=True),
    _entry("volts", rf"(?P<x>{_NUMBER} ?(?:V|volts?|A|mA|amps?|W|watts?)\b)", "`{x}` is nothing that an output can be told.", "Write a level such as `40 %`."),
    _entry("underscores", r"(?P<x>[A-Za-z][A-Za-z0-9-]*_[A-Za-z0-9_-]*)", "The words of a name are joined by hyphens, not by `_`.", _small),
    _entry("capitals", r"(?P<x>(?!(?<=[0-9])K\b)(?!(?<=[0-9] )K\b)(?![0-9]+K\b)[A-Za-z0-9]*[A-Z][A-Za-z0-9]*(?:-[A-Za-z0-9]+)*)", "Words and names are written in small letters.", _small),
    _entry("arguments", rf"(?P<x>(?P<n>{NAME})\()(?=[a-z0-9, -]*\)$)", "What a routine is given is not written in brackets.", "Write `with`, and the names after it.", near=True),
    _entry("hyphen", rf"(?P<x>{NAME}(?:--+{NAME})+|{NAME}-+(?![a-z0-9])|(?<![a-z0-9-])-+{NAME})", "A name has single hyphens between its words, and none at its ends.", lambda said: "Write `" + "-".join(filter(None, said["x"].split("-"))) + "`.", near=True),
    _entry("figure first", r"(?<![a-z0-9:.,-])(?P<x>(?P<d>[0-9]+)-(?P<n>[a-z][a-z0-9-]*))", "A name begins with a letter.", "Write `{n}-{d}`."),
)

_DECLARATIONS = (
    _entry("scene without name", r"^(?P<x>scene|routine|rule|rehearsal|group|define|flag|counter|manner):?$", "`{x}` needs a name after it.", "Write `{x} saltmarsh-lane`, or any other name.", "t"),
    _entry("scene colon", rf"^(?P<k>scene|routine|rule|rehearsal|flag|counter|manner)(?P<x>:) ?(?P<n>{NAME})", "The colon comes after the name, or not at all.", "Write `{k} {n}`.", "t"),
    _entry("called", rf"^(?P<k>scene|routine|rule|rehearsal|group|flag|counter|manner) (?P<x>called|named|is|the|a) (?P<n>{NAME})", "The name comes straight after `{k}`.", "Write `{k} {n}`.", "t"),
    _entry("scene with heads", rf"^scene {NAME} (?P<x>(?:runs|starts|takes|when|if)\b.*)$", "How a scene runs stands on a line of its own.", "Write it below, indented by 4 spaces.", "t"),
    _entry("routine without with", rf"^routine {NAME} (?P<x>(?!with\b)(?:for|takes|using|of|in|on|to)) (?P<n>{_NAMES})$", "What a routine is given comes after `with`.", "Write `with {n}`.", "t"),
    _entry("name with blanks", rf"^(?:scene|routine|rule|rehearsal|flag|counter|manner) (?P<x>{NAME}(?: (?!with\b){NAME})+)", "A name is one word; its parts are joined by hyphens.", _joined, "t"),
    _entry("group with blanks", rf"^(?:group|define) (?P<x>{NAME}(?: (?!as\b){NAME})+)(?=:| as )", "A name is one word; its parts are joined by hyphens.", _joined, "t"),
    _entry("group colon", rf"^group (?P<n>{NAME}) (?P<x>{NAME}).*$", "After a group's name comes a colon.", "Write `group {n}: {x}`, and its other members.", "t"),
    _entry("empty group", rf"^(?P<x>group {NAME}:?)$", "The group has no members.", "Write their names after a colon, separated by commas.", "t"),
    _entry("group list", rf"^group {NAME}: .*?(?P<x>{NAME} {NAME}(?: {NAME})*)", "The members of a group are separated by commas.", lambda said: f"Write `{', '.join(said['x'].split())}`; or `{'-'.join(said['x'].split())}` if it is one name.", "t", near=True),
    _entry("empty define", rf"^(?P<x>define {NAME} as)$", "The condition is missing after `as`.", "Write it there, for example `as lane is occupied`.", "t"),
    _entry("define as", rf"^define (?P<n>{NAME}) (?P<x>(?!as\b)\S+)", "`as` is missing after the name.", "Write `define {n} as`, and the condition.", "t"),
    _entry("late item", rf"^(?P<x>scene|routine|rule|rehearsal|define|group|flag|counter|manner|day) {NAME}", "`{x}` begins at the left edge, outside any block.", "Move it to the left edge.", "srhmd", first=True),
)

_HEADS = (
    _entry("which clock", r"^starts at (?P<x>[0-9]{1,2}:[0-9]{2})(?: o'?clock)?$", "`{x}` by which clock?", "Write `starts at {x} layout time`, or `starts at {x} hall time`.", "s"),
    _entry("starts time", r"^(?P<x>starts?|runs|begins) (?P<t>[0-9]{1,2}:[0-9]{2})", "`at` is missing before the time.", "Write `starts at {t} layout time`, or `hall time`.", "s"),
    _entry("hour only", r"^starts at (?P<x>(?P<h>[0-9]{1,2})(?:\.(?P<m>[0-9]{2}))?)(?: |$)(?!ms\b|s\b|min\b|h\b)", "A time of day has hours and minutes.", lambda said: f"Write `starts at {said['h']}:{said['m'] or '00'} layout time`, or `hall time`.", "s"),
    _entry("at duration", rf"^starts (?P<x>at {_TIME})", "`starts at` needs a time of day.", "Write `starts at 17:45 layout time`, or `starts every 20 min`.", "s"),
    _entry("starts when", r"^(?P<x>starts? (?:when|whenever|if|once|as soon as))\b", "`{x}` does not say whether the change or the state counts.", "Write `starts each time` for the change, or `runs whenever` for the state.", "s"),
    _entry("runs when", r"^(?P<x>runs (?:when|if|once|as soon as)|run (?:whenever|when|while|only while))\b", "A scene's head does not say `{x}`.", "Write `runs whenever`, or `runs only while` if it must stop when that ends.", "s"),
    _entry("runs while", r"^(?P<x>runs (?:while|as long as|only when|only if|only during|during))\b", "A scene's head does not say `{x}`.", "Write `runs only while`.", "s"),
    _entry("starts each", r"^(?P<x>starts (?:every time|each)(?! time))\b", "A scene's head does not say `{x}`.", "Write `starts each time`.", "s"),
    _entry("on button", rf"^(?P<x>starts (?:on|with|by)(?: the)?(?: pressing)?) (?!button {NAME})(?P<n>{NAME})", "`button` is missing.", "Write `starts on button {n}`.", "s"),
    _entry("button pressed", rf"^starts on button (?P<n>{NAME}) (?P<x>pressed|press|is pressed)$", "`{x}` is too much: the button starts the scene when it is pressed.", "Write `starts on button {n}`.", "s"),
    _entry("button again", rf"^starts on button (?P<n>{NAME}) (?P<x>not again)", "A comma is missing before `not again`.", "Write `starts on button {n}, not again for 2 min`.", "s"),
    _entry("every number", r"^starts every (?P<x>(?P<n>[0-9]+))$", "`{n}` of what?", "Write `starts every {n} min`, or `{n} s`.", "s"),
    _entry("every day", r"^(?P<x>starts (?:every (?:day|hour|minute|second|night|evening|morning)|daily|hourly))", "A scene's head does not say `{x}`.", "Write `starts every 60 min`, or `starts at 17:45 layout time`.", "s"),
    _entry("started again", r"^if (?:it is |it's |already )?started again:? ?(?P<x>(?!carry on|start over|once more after).*)$", "`if started again` knows three ways to go on.", "Write `if started again: carry on`, `start over` or `once more after`.", "s"),
    _entry("takes from", rf"^(?P<x>takes (?P<n>{_NAMES}))$", "From which scene?", "Write `takes {n} from`, and the scene's name.", "s"),
    _entry("on stop", r"^(?P<x>(?:on|if|at|after) stop(?:ped)?|when (?:it )?(?:stops|stopping|is stopped|ended|it stops))\b.*$", "A scene's head does not say `{x}`.", "Write `when stopped`, and the lines below it.", "s"),
    _entry("inner head", r"^(?P<x>runs (?:whenever|only while)|starts (?:each time|at|every|on button)|when stopped|fit into)\b", "`{x}` says how the scene runs; it cannot stand inside a block.", "Move it up, below the line with the scene's name.", "s", first=True),
    _entry("head outside", r"^(?P<x>runs (?:whenever|only while)|starts (?:each time|at|every|on button)|when stopped|fit into|takes|if started again)\b", "`{x}` belongs in a scene.", "Put `scene` and a name above it, and indent it by 4 spaces.", "t", first=True),
    _entry("head elsewhere", r"^(?P<x>runs (?:whenever|only while)|starts (?:each time|at|every|on button)|when stopped|fit into|takes)\b", "`{x}` belongs in a scene.", "Move it below a line with `scene` and a name.", "rh", first=True),
)

_PLACES = (
    _entry("if broken outside", r"^(?P<x>if broken)\b", "`if broken` belongs in a rule.", "Move it below a line with `rule` and a name, and indent it by 4 spaces.", "th", first=True),
    _entry("statement outside", r"^(?P<x>turn (?:on|off)|set|fade|move|flash|flicker|show|pulse|wait|together|repeat|stop|remember|forget|count|reset|do|run|start|hold|release|note|for each|if|as long as|first of|in order|by chance)\b", "`{x}` stands outside any scene.", "Put `scene` and a name above it, and indent it by 4 spaces.", "t", first=True),
    _entry("rehearsal outside", r"^(?P<x>expect|plays|begins (?:with|at)|lasts|seed|a train)\b", "`{x}` belongs in a rehearsal.", "Put `rehearsal` and a name above it, and indent it by 4 spaces.", "t", first=True),
    _entry("rule outside", r"^(?P<x>never|always)\b", "`{x}` belongs in a rule.", "Put `rule` and a name above it, and indent it by 4 spaces.", "t", first=True),
    _entry("rehearsal in scene", rf"^(?P<x>expect|plays|begins (?:with|at)|lasts|seed|a train|press|lose link|mend link|at {_TIME})\b", "`{x}` belongs in a rehearsal, not in a scene.", "Move it below a line with `rehearsal` and a name.", "sr", first=True),
    _entry("rule in scene", r"^(?P<x>never|always)\b", "`{x}` belongs in a rule.", "Move it below a line with `rule` and a name.", "sh", first=True),
    _entry("act without at", r"^(?P<x>press|lose link|mend link|let go|start|stop)\b", "When does it happen?", "Write `at 20 s {x}`, with the time from the start of the rehearsal.", "h", first=True),
    _entry("stays without at", rf"^(?P<x>{NAME} (?:stays|becomes))\b", "When does it happen?", "Write `at 20 s {x}`, with the time from the start of the rehearsal.", "h", first=True),
    _entry("statement in rehearsal", r"^(?P<x>turn (?:on|off)|set|fade|move|flash|flicker|show|pulse|wait|together|repeat|do|run|hold|release|note|for each|if)\b", "`{x}` belongs in a scene; a rehearsal says which scene `plays` and what to `expect`.", "Move it to a scene.", "h", first=True),
    _entry("if broken with", r"^if broken:? (?P<x>(?:turn|set|fade|move|flash|flicker|show|pulse|wait|do|run|start|stop|hold|release|note|remember|forget|count|reset)\b.*)$", "What is done about a broken rule stands in lines of its own.", "Write `if broken`, and below it `{x}`, indented by 4 spaces more.", "r"),
    _entry("when broken", r"^(?P<x>(?:(?:if|when|whenever|once|on|upon|after|as soon as) (?:(?:it|this|the rule|this rule|that)(?: is| was| gets)? )?(?:broken|breaks|breaking|breach|breached|violated|violation|fails|failure|failed|not kept)|otherwise|else)(?![-a-z0-9]).*)$", "A rule does not say `{x}`.", "Write `if broken`, and below it what is done then.", "r"),
    _entry("statement in rule", r"^(?P<x>turn (?:on|off)|set|fade|move|flash|flicker|show|pulse|wait|together|repeat|do|run|start|stop|remember|forget|count|reset|hold|release|note|for each|if)\b", "`{x}` belongs in a scene; a rule says what is `never` or `always` so.", "Move it to a scene, or below a line with `if broken`.", "r"),
    _entry("otherwise alone", r"^(?P<x>otherwise)\b(?= if\b|$|:)", "`otherwise` has nothing above it that it belongs to.", "It stands below the block of an `if`, `as long as` or `wait until ..., at most ...`, as far to the left as that line.", "s", first=True),
)

_VERBS = (
    _entry("a few", r"^wait (?P<x>an? (?:few|couple|second|minute|moment|while|bit|little|hour|half)\b.*)$", "How long is that?", "Write a time such as `3 s` or `2 min`.", "s"),
    _entry("at the clock", rf"^{_VERB} .*? (?P<x>at [0-9]{{1,2}}:[0-9]{{2}}.*)$", "A line does not say at what time of day it begins.", "Write `starts at 17:45 layout time` at the top of a scene of its own.", "s", near=True),
    _entry("every time", rf"^(?P<x>(?:every|each) (?P<t>{_TIME})),?", "A line does not begin with how often it comes.", "Write `repeat`, and in its block the line and `wait {t}`; or `starts every {t}` at the top of a scene.", "s"),
    _entry("kind and name", rf"^(?:do|run|start|stop|set|turn on|turn off|fade|move|flash|flicker|pulse|hold|release|plays) (?P<x>routine|scene|signal|lamp|light|lights|servo|button|group|output|relay|motor|sound|barrier|arm) (?P<n>{NAME})", "A name stands alone; what it names is known.", "Leave out `{x}`.", near=True),
    _entry("stop all", r"^stop (?P<x>all(?: the)?(?: other)?(?: scenes?)?|(?:the )?other scenes?|every scene|every other|everything else)$", "The words are `stop every other scene`.", "Write them so, or name one scene.", "s"),
    _entry("count up", rf"^count (?P<x>(?P<d>up|down) (?P<n>{NAME}))$", "The counter's name comes before `{d}`.", "Write `count {n} {d}`.", "s"),
    _entry("remember state", rf"^(?P<v>remember|forget) (?P<n>{NAME}) (?P<x>(?:is|as|to|that|on|off)\b.*)$", "A flag is only remembered or forgotten; it has no other state.", "Write `remember {n}`, or `forget {n}`.", "s"),
    _entry("chance share", r"^by chance (?P<x>[^ ].*)$", "The shares stand below `by chance`, each with its own block.", "Write `{x}` on a line of its own, indented by 4 spaces.", "s"),
    _entry("share alone", rf"^(?P<x>{_NUMBER} ?(?:%|percent))", "A share stands in the block under `by chance`.", "Write `by chance` above it.", "s", first=True),
    _entry("do at the end", r"^(?:if|while|as long as|together|repeat|for each|first of|in order|otherwise)\b.*?(?P<x>\b(?:do|begin|start))$", "`{x}` is not written: the block below is enough.", "Leave it out.", "s", near=True),
    _entry("trailing every", rf"^(?:turn on|turn off|set|fade|move|pulse|do|run|hold|release) .*?(?P<x>every (?P<t>{_TIME}))$", "A line does not say how often it comes.", "Write `repeat`, and in its block the line and `wait {t}`.", "s", near=True),
    _entry("trailing condition", r"^(?:turn on|turn off|set|fade|move|flash|flicker|show|pulse|do|run|start|stop|hold|release|note|remember|forget|count) .*? (?P<x>(?:when|whenever|if|while|as long as|unless|once|until)\b.*)$", "A line does not carry its own condition.", "Write `if` or `wait until`, and the condition, on a line above it.", "s", near=True),
    _entry("turn name on", rf"^turn (?:the )?(?P<x>(?!on\b|off\b)(?P<n>{_NAMES}) (?P<s>on|off))\b", "`{s}` comes straight after `turn`.", "Write `turn {s} {n}`."),
    _entry("switch", r"^(?P<x>(?:switch|put|power|light|lights)(?: (?P<s>on|off|up))?)\b", "The word for this is `turn on` or `turn off`.", "Write `turn on`, or `turn off`, and the name.", first=True),
    _entry("turn what", r"^(?P<x>turn)(?! on\b| off\b)", "`turn` needs `on` or `off` after it.", "Write `turn on`, or `turn off`, and the name."),
    _entry("articles", rf"^(?:{_VERB}|if|when|while|until|define {NAME} as|expect|never|wait until|as long as|runs whenever|runs only while|starts each time)\b.*?\b(?P<x>the(?! train)|an|my|all the|a(?= (?!train\b|minute\b){NAME}\b))\b(?= {NAME})", "Names stand without `{x}`.", "Leave out `{x}`.", near=True),
    _entry("then first", r"^(?P<x>then|and then|next|now|please|also|and|finally|first)\b(?! of\b) ?", "A line needs no `{x}`: lines run one after the other anyway.", "Leave it out.", first=True),
    _entry("then", r"^(?:if|as long as|wait until|otherwise if)\b.*?(?P<x>,? ?then)\b.*$", "`then` is not written: what depends on the condition stands below it.", "Leave it out, and indent the lines below by 4 spaces."),
    _entry("raise", rf"^(?P<x>raise|open|lift) (?P<n>{_NAMES})", "`{x}` is no word for a line; servos are moved to a named position.", "Write `move {n} to raised over 7 s`.", first=True),
    _entry("lower", rf"^(?P<x>lower|close|drop|shut) (?P<n>{_NAMES})", "`{x}` is no word for a line; servos are moved to a named position.", "Write `move {n} to lowered over 7 s`.", first=True),
    _entry("dim", rf"^(?P<x>dim|brighten|ramp|undim) (?P<n>{_NAMES})", "The word for this is `fade`.", "Write `fade {n} to 40 % over 3 s`.", first=True),
    _entry("blink", rf"^(?P<x>blink|flashes|strobe|alternate|wink) (?P<n>{_NAMES})", "The word for this is `flash`.", "Write `flash {n} at 45 a minute`; two in turn: `flash {n} in turn at 45 a minute each`.", first=True),
    _entry("loop", r"^(?P<x>loop|forever|do forever|cycle|again|always do)\b", "The word for this is `repeat`.", "Write `repeat`, `repeat 3 times` or `repeat until` and a condition.", "s", first=True),
    _entry("while", r"^(?P<x>while|during|whilst|so long as)\b", "The word for this is `as long as`.", "Write `as long as`, or `repeat until` for what goes round.", "s", first=True),
    _entry("else", r"^(?P<x>else if|elseif|elif)\b", "The word for this is `otherwise if`.", "Write `otherwise if`.", "s", first=True),
    _entry("else alone", r"^(?P<x>else|or else)\b", "The word for this is `otherwise`.", "Write `otherwise`.", "s", first=True),
    _entry("unless", r"^(?P<x>unless)\b", "The word for this is `if`, with `not` in the condition.", "Write `if`, and `is not` where the condition says `is`.", "s", first=True),
    _entry("whenever", r"^(?P<x>when|whenever|on|once)\b(?! stopped)", "A line in a scene does not begin with `{x}`.", "Write `wait until` to wait for it, `if` to ask once, or `runs whenever` at the top of the scene.", "s"),
    _entry("goto", r"^(?P<x>goto|go to|jump|jump to|label)\b", "Nothing jumps in a scene.", "Write `repeat` around the lines, or make them a `routine` and write `do`.", first=True),
    _entry("sleep", r"^(?P<x>sleep|delay|pause|hang on|hold on|stay)\b", "The word for this is `wait`.", "Write `wait 3 s`.", first=True),
    _entry("end", r"^(?P<x>end(?:if|while|repeat|for|scene)?|done|fi|finish|begin|endfor)\b", "A block ends where its indentation ends; nothing closes it.", "Leave the line out.", first=True),
    _entry("break", r"^(?P<x>break|exit|leave|quit|abort|return|continue|stop (?:loop|looping|the loop|repeat|it))\b", "`{x}` ends nothing here.", "Write `stop repeating` to leave the `repeat` around it, or `stop` and a scene's name.", "s"),
    _entry("stop alone", r"^(?P<x>stop)$", "Stop what?", "Write `stop repeating`, or `stop` and a scene's name.", "s"),
    _entry("call", r"^(?P<x>call|execute|perform|invoke|gosub|play|trigger|activate|launch)\b", "`{x}` is no word for a line.", "Write `do` and a routine's name, or `run` and a scene's name.", "s", first=True),
    _entry("print", r"^(?P<x>print|log|say|write|message|announce|display)\b", "The word for this is `note`.", 'Write `note "..."`.', first=True),
    _entry("increase", rf"^(?P<x>increase|increment|add|raise count|decrease|decrement|subtract|inc|dec)\b.*?(?P<n>{NAME})?$", "The word for this is `count`.", "Write `count {n} up`, or `count {n} down`.", first=True),
    _entry("count which", rf"^(?P<x>count (?P<n>{NAME}))$", "Up or down?", "Write `count {n} up`, or `count {n} down`."),
    _entry("clear flag", rf"^(?P<x>clear|unset|delete|erase|mark|toggle) (?P<n>{NAME})", "`{x}` is no word for a line.", "Write `remember {n}` or `forget {n}` for a flag, `reset {n}` for a counter.", first=True),
    _entry("go home", rf"^(?P<x>return|home|restore|freeze|stop all) (?P<n>{NAME})", "`{x}` is no word for a line.", "Write `release {n}` to send it to rest, or `hold {n}` to keep what it shows.", first=True),
    _entry("parallel", r"^(?P<x>at the same time|parallel|in parallel|simultaneously|side by side|meanwhile|at once|all at once)\b", "The word for this is `together`.", "Write `together`, and the lines below it, indented.", "s", first=True),
    _entry("after time", rf"^(?P<x>(?:after|in|at) (?P<t>{_TIME})),?", "A line does not begin with a time.", "Write `wait {t}` on a line of its own, and the rest below it.", "s", first=True),
    _entry("trailing after", rf"^.*?(?P<x>\bafter (?P<t>{_TIME}))$", "A line does not say when it begins.", "Write `wait {t}` on the line above.", "s", near=True),
    _entry("two sentences", rf"^{_VERB}\b.*?(?P<x>,? ?\b(?:and |then |and then )(?:turn (?:on|off)|set|fade|move|flash|flicker|pulse|wait|do|run|hold|release|then) .*)$", "A line holds one sentence.", "Begin a new line for the second."),
    _entry("two verbs", r"^(?:turn (?:on|off)|hold|release|pulse) .*?(?P<x>, ?(?:turn (?:on|off)|set|fade|move|flash|flicker|wait) .*)$", "A line holds one sentence.", "Begin a new line for the second.", near=True),
    _entry("foreach", r"^(?P<x>foreach|for (?:every|all|any)|each|every)\b", "The words for this are `for each`.", "Write `for each window in house-windows`.", "s"),
    _entry("for in", rf"^(?P<x>for) (?!each\b)(?P<m>{NAME}) (?:in|from|of)\b", "`each` is missing after `for`.", "Write `for each {m} in`, and the group's name.", "s"),
    _entry("each of", rf"^for each (?P<m>{NAME}) (?P<x>of|from|on|at|within|:) ?(?P<g>{NAME})", "`for each` says `in` before the group.", "Write `for each {m} in {g}`.", "s"),
    _entry("each without in", rf"^(?P<x>for each (?P<m>{NAME}))$", "In which group?", "Write `for each lamp in {m}`.", "s"),
    _entry("each two names", rf"^for each (?P<m>{NAME}) (?P<x>(?!in\b)(?P<g>{NAME}))", "`in` is missing before the group's name.", "Write `for each {m} in {g}`.", "s"),
    _entry("apart comma", rf"^for each .*?(?P<b>[a-z0-9]) (?P<x>{_TIME}(?: to {_TIME})? apart)", "A comma is missing before the time.", "Write `, {x}`.", "s"),
    _entry("apart missing", rf"^for each .*?, ?(?P<x>{_TIME}(?: to {_TIME})?)$", "What is this time for?", "Write `, {x} apart`.", "s"),
)

_AMOUNTS = (
    _entry("between times", rf"^wait (?P<x>between (?P<a>{_TIME}) and (?P<b>{_TIME}))", "A wait of uncertain length is written with `to`.", "Write `wait {a} to {b}`.", "s"),
    _entry("span", rf"\b(?P<x>(?P<a>{_NUMBER}) ?(?:-|\.\.+) ?(?P<b>[0-9]+) ?(?P<u>[a-z]+|%))", "From one amount to another is written with `to`, and each has its unit.", "Write `{a} {u} to {b} {u}`.", near=True),
    _entry("alternately", r"^flash .*?(?P<x>alternately|alternating|in turns|by turns|one after (?:the other|another)|in sequence|alternate)\b", "The words for this are `in turn`.", "Write `in turn`.", "s", near=True),
    _entry("random order", r"^for each .*?(?<!in )(?P<x>,? ?(?:in )?(?:random(?:ly)?(?: order)?|shuffled))(?=,|$)", "The words are `in random order`, with no comma before them.", "Write `in random order` after the group's name.", "s", near=True),
    _entry("move down", rf"^move (?P<n>(?!to\b){_NAMES}) (?P<x>up|down)\b", "A servo moves to a position that the layout file names.", "Write `move {n} to lowered over 7 s`, or whichever position is meant.", "s"),
    _entry("like after for", rf"^turn .*?(?P<x>for (?P<t>{_TIME})) like (?P<g>{NAME})$", "`like` comes before `for`.", "Write `like {g} for {t}`.", "s", near=True),
    _entry("two levels", r"^(?:set|fade|move) .*? to [^ ]+(?: %| deg)?(?P<x>,? ?and .*? to .*)$", "A line sends its outputs to one level or position.", "Begin a new line for the other.", "s", near=True),
    _entry("for missing", rf"^(?:pulse|turn on|turn off|show) .*?[a-z0-9\"] (?P<x>(?P<t>{_TIME}))$", "`for` is missing before the time.", "Write `for {t}`.", "s", near=True),
    _entry("figures", r"\b(?P<x>one|two|three|four|five|six|seven|eight|nine|ten|twelve|fifteen|twenty|thirty|forty|sixty)\b", "Numbers are written in figures.", _figure, near=True),
    _entry("repeat number", r"^repeat (?P<x>(?P<n>[0-9]+))(?: ?x)?$", "`times` is missing.", "Write `repeat {n} times`.", "s"),
    _entry("repeat for ever", r"^repeat (?P<x>for ?ever|always|endlessly|infinitely|for ever and ever)", "`repeat` alone goes round without end.", "Leave out `{x}`.", "s"),
    _entry("repeat for", rf"^repeat (?P<x>for (?P<t>{_TIME}))", "`repeat` counts rounds, not time.", "Write `first of`, with `wait {t}` in it and the `repeat` beside it.", "s"),
    _entry("repeat while", r"^repeat (?P<x>while|as long as|if|when)\b", "`repeat` does not say `{x}`.", "Write `repeat until` and what ends it, or `as long as` around the `repeat`.", "s"),
    _entry("wait for time", rf"^wait (?P<x>for) (?P<t>{_TIME})", "`wait` needs no `for` before a time.", "Write `wait {t}`.", "s"),
    _entry("wait clock", r"^wait (?:until|till|for) (?P<x>[0-9]{1,2}:[0-9]{2}).*$", "A line does not wait for a time of day.", "Write `starts at {x} layout time` at the top of a scene of its own.", "s"),
    _entry("wait for", r"^wait (?P<x>for|till|on|while|if|when|til)\b", "`wait` does not say `{x}`.", "Write `wait until` and a condition, such as `wait until lane is clear`; or `wait 3 s`.", "s"),
    _entry("wait condition", rf"^wait (?P<x>(?!until\b){NAME} (?:is|are|of)\b)", "`until` is missing after `wait`.", "Write `wait until {x}`.", "s"),
    _entry("until time", rf"^wait until (?P<x>(?P<t>{_TIME}))", "`wait until` needs a condition.", "Write `wait {t}`.", "s"),
    _entry("at most comma", rf"^wait until .*?(?P<a>[a-z0-9]) (?P<x>at most (?P<t>{_TIME}))", "A comma is missing before `at most`.", "Write `, at most {t}`.", "s", near=True),
    _entry("two times", rf"(?P<x>{_TIME} (?:and )?{_TIME})", "A time is written with one unit.", _sum, near=True),
    _entry("clock as length", r"^(?!starts|begins at|at ).*?(?:wait|over|for|at most|by|from|to|before|at|lasts|after|every) (?P<x>[0-9]{1,2}:[0-9]{2})\b", "`{x}` is a time of day, not how long something takes.", _seconds, near=True),
    _entry("metres", r"\b(?:wait|over|for|at most|every|to|by|from|lasts|apart|than|at) (?P<x>(?P<n>[0-9.,]+) ?(?:m|cm|mm))(?![a-z/0-9])", "`{x}` is a length, not a time.", "Write `{n} min`, or `{n} ms`.", near=True),
    _entry("wrong amount", rf"\b(?P<v>wait|over|for|at most|lasts|every) (?P<x>{_NUMBER} ?(?:%|percent|degrees?|deg|°|lux|lx|a minute|per minute|/min|mm/s))", "`{x}` is not a time.", "Write a time such as `3 s` or `2 min`.", near=True),
    _entry("which unit", rf"\b(?P<v>wait|over|for|at most|lasts|every|after|within|by|from|longer than|least) (?P<x>(?P<n>{_NUMBER}))(?=$|,| over\b| like\b| to\b| for\b| at\b| apart\b| before\b| and\b| each\b)", "`{n}` of what? A time carries its unit.", "Write `{n} s`, or `{n} min`.", near=True),
    _entry("unknown unit", rf"(?P<x>(?P<n>{_NUMBER}) ?(?:sek|secs?onds|secounds?|sc|secnds?|minuts?|minits?|milis?|msec|msecs|millis|mn|hr|hrs|days?|pct|procent|prozent|per cent|degs|grad)\b)", "`{x}` has no unit that is known here.", "Write `s`, `ms`, `min`, `h`, `%` or `deg` after the number.", near=True),
    _entry("to number", rf"^(?:set|fade|move) .*?\bto (?P<x>(?P<n>{_NUMBER}))\b(?! ?(?:%|percent|deg|°))", "`{n}` of what? An amount carries its unit.", "Write `{n} %`, or `{n} deg`.", near=True),
    _entry("second to", rf"^(?:wait|for each) .*?\bto (?P<x>(?P<n>{_NUMBER}))(?=$| apart)", "`{n}` of what? A time carries its unit.", "Write `{n} s`, or `{n} min`.", near=True),
    _entry("rate at", rf"^flash .*? (?P<x>(?<!at )(?P<n>{_NUMBER}) ?(?:a minute|per minute|/min))", "`at` is missing before the rate.", "Write `at {x}`.", near=True),
    _entry("rate every", rf"^flash .*?(?P<x>(?:every|once every|each) (?P<n>{_NUMBER}) ?(?P<u>ms|milliseconds|s|secs?|seconds?|min|minutes?)\b)", "The rate of a flash is given per minute.", _period),
    _entry("rate time", rf"^flash .*?(?P<x>at (?P<n>{_NUMBER}) ?(?P<u>ms|milliseconds|s|secs?|seconds?|min|minutes?)\b)", "The rate of a flash is given per minute.", _period),
    _entry("rate number", rf"^flash .*?(?P<x>(?:at )?(?P<n>{_NUMBER}))(?: each)?$", "`{n}` of what? A rate carries its unit.", "Write `at {n} a minute`.", near=True),
    _entry("rate percent", rf"^flash .*?(?P<x>(?:at|to) {_NUMBER} ?(?:%|percent|deg|mm|m\b))", "The rate of a flash is given per minute.", "Write `at 45 a minute`.", near=True),
    _entry("over before to", rf"^(?P<v>fade|move|set) (?P<n>{_NAMES}) (?P<x>over (?P<t>{_NUMBER} ?[a-z]+)) to (?P<g>.+)$", "What it goes to comes before how long it takes.", "Write `{v} {n} to {g} over {t}`."),
    _entry("fade in", rf"^fade (?P<x>in|up) (?P<n>{_NAMES})", "`fade` names a level.", "Write `fade {n} to 100 % over 3 s`."),
    _entry("fade out", rf"^fade (?P<x>out|down|away) (?P<n>{_NAMES})", "`fade` names a level.", "Write `fade {n} to 0 % over 3 s`."),
    _entry("in time", rf"^(?P<v>fade|move) (?P<n>{_NAMES}) to (?:[^ ]+|{_NUMBER} ?(?:%|percent|deg|degrees?)) (?P<x>in|within|during|for|taking) (?P<t>{_TIME})", "How long it takes comes after `over`.", "Write `over {t}`."),
    _entry("fade without over", rf"^(?P<x>fade (?P<n>{_NAMES}) to (?P<g>{_NUMBER} ?(?:%|percent|K|kelvin)|on|off|{NAME}))$", "How long does the fade take?", "Write `fade {n} to {g} over 3 s`; at once is `set {n} to {g}`."),
    _entry("set over", rf"^set (?P<n>{_NAMES}) to (?P<g>.+?) (?P<x>over {_TIME})", "`set` takes no time.", "Write `fade {n} to {g} {x}`, or `move` for a servo."),
    _entry("set missing to", rf"^(?P<v>set|fade|move) (?P<n>(?!to\b){_NAMES}) (?P<x>(?P<g>{_NUMBER} ?(?:%|percent|degrees?|deg|°|K|kelvin)?))(?![a-z0-9])", "`to` is missing.", "Write `{v} {n} to {g}`.", near=True),
    _entry("set state missing to", rf"^(?P<v>set|fade|move) (?P<n>(?!to\b){_NAMES}) (?P<x>(?!to\b|over\b|through\b|and\b)(?P<g>{NAME}))(?= over\b|$| at once\b| for\b)", "`to` is missing.", "Write `{v} {n} to {g}`, or join the words with a hyphen if they are one name.", near=True),
    _entry("set to nothing", rf"^(?P<x>(?P<v>set|fade|move) (?P<n>{_NAMES})(?: to)?)$", "What is it to go to?", "Write `{v} {n} to`, and a level or a position."),
    _entry("show as", rf"^show (?P<n>{_NAMES}) (?P<x>\".*\")", "`as` is missing.", "Write `show {n} as {x}`."),
    _entry("show what", rf"^(?P<x>show (?P<n>{_NAMES})(?: as)?)$", "Which character does it show?", 'Write `show {n} as "Fl(2) 10s"`.'),
    _entry("flicker like", rf"^(?P<x>flicker (?P<n>{_NAMES}))$", "Like what does it flicker?", "Write `flicker {n} like embers`."),
    _entry("between to", r"^flicker .*?between \S+(?: %| percent)? (?P<x>to|-)\b", "`between` goes with `and`.", "Write `between 20 % and 90 %`."),
)

_SENTENCES = (
    _entry("block on the line", rf"^(?P<k>if|as long as|otherwise if|repeat|together|otherwise|first of|in order|for each|when stopped)\b.*?(?P<x>[:,] ?{_VERB} .+)$", "What belongs to `{k}` stands below it, not on the same line.", "Begin a new line there, indented by 4 spaces."),
    _entry("verb on the line", r"^(?P<k>repeat|together|otherwise|first of|in order|if|as long as|otherwise if)\b.*?(?<![a-z-]) ?(?P<x>\b(?:turn (?:on|off)|set|fade|move|flash|flicker|pulse|wait|do|run|hold|release|note) [^ ].*)$", "What belongs to `{k}` stands below it, not on the same line.", "Begin a new line there, indented by 4 spaces.", near=True),
    _entry("doubled comma", r"(?P<x>, ?,+)", "Two commas follow each other.", "Write one."),
    _entry("comma and", r"(?P<x>, ?and)\b", "A comma and `and` do not stand together.", "Write one of the two."),
    _entry("comma at the end", r"(?P<x>,)$", "The line ends with a comma, and nothing goes on below it.", "Leave it out."),
    _entry("comma first", r"^(?P<x>,)", "A line does not begin with a comma.", "Put the comma at the end of the line above."),
    _entry("colon inside", r"^(?!group\b|if started)(?P<k>[a-z ]+?)(?P<x>:) ?[a-z]", "A colon stands only at the end of a line.", "Leave it out, or begin a new line after it.", near=True),
)

_CONDITIONS = (
    _entry("or time", rf"^wait until .*?(?P<x>or (?:after )?(?P<t>{_TIME}))$", "How long to wait at most is not part of the condition.", "Write `, at most {t}`.", "s", near=True),
    _entry("repeat until times", r"^repeat (?P<x>until (?P<n>[0-9]+) times)$", "`until` needs a condition.", "Write `repeat {n} times`.", "s"),
    _entry("either", r"\b(?P<x>either|both|neither)\b(?= )", "Conditions do not say `{x}`.", "Write `any of`, `all of` or `none of` before the names.", near=True),
    _entry("bare list", rf"\b(?:if|until|whenever|while|as long as|each time|as|expect|never|always|not) (?P<x>(?!any of|all of|none of|at least|at most)(?P<n>{NAME}(?:(?:, ?| and | or ){NAME})+)) (?:is|are)\b(?! (?:not )?[a-z-]+ (?:and|or) [a-z-]+ (?:is|are)\b)(?<!of )", "One of them, or all of them?", "Write `any of`, `all of` or `none of` before the names.", near=True),
    _entry("and with or", r"(?:\band\b.*?(?P<x>\bor\b)|\bor\b.*?(?P<y>\band\b))", "`and` and `or` do not mix on one line.", "Put brackets round what belongs together, or give it a name with `define`.", near=True),
    _entry("missing of", rf"\b(?P<x>(?P<q>any|all|none|at least [0-9]+|at most [0-9]+)) (?!of\b|outputs\b|(?:ms|s|secs?|seconds?|min|mins|minutes?|h|hours?)\b)(?P<n>{NAME})", "`of` is missing.", "Write `{q} of {n}`.", near=True),
    _entry("quantity words", rf"\b(?P<x>(?:one|some|each|every|no|most|many|several) of|every|some|each|none|no) (?!detector\b|train\b|other\b|of\b)(?P<n>{NAME})(?= (?:is|are)\b|,)", "Conditions do not say `{x}`.", "Write `any of`, `all of`, `none of` or `at least 2 of`.", near=True),
    _entry("equal to", r"\b(?:is|are) (?P<x>equal to|equals|exactly|the same as)\b", "`is` alone says that.", "Leave out `{x}`.", near=True),
    _entry("more than", r"\b(?:is|are) (?:not )?(?P<x>greater than|more than|higher than|brighter than|less than|lower than|darker than|fewer than|over|under)\b", "Amounts are compared with `above`, `below`, `at least` and `at most`.", _more, near=True),
    _entry("tense", r"^(?!at ).*?\b(?P<x>was|were|has been|have been|will be|gets|goes|turns|has|had|does not|do not|equals|stays|remains)\b", "Conditions do not say `{x}`.", "Write `is`, `are`, `is not`, or `becomes` for the change.", near=True),
    _entry("not first", rf"\b(?P<x>not (?P<n>{NAME}) (?P<i>is|are))\b", "`not` comes after `{i}`.", "Write `{n} {i} not`.", near=True),
    _entry("is nothing", r"(?P<x>\b(?:is|are|becomes)(?: not)?)$", "`{x}` needs a state after it.", "Write it there, such as `on`, `off`, `occupied` or `clear`."),
    _entry("becomes not", r"\bbecomes (?P<x>not)\b", "`becomes` names what it changes to.", "Name that state, such as `becomes off`.", near=True),
    _entry("train on", rf"\b(?P<x>(?:the |any )?train(?: is)?(?: on| in| at| over)|a train (?:on|in|at|is in|is at|is over|stands on)|no train (?:on|in|at|is in|is at)|trains are on)\b (?P<n>{NAME})", "A train is looked for in other words.", "Write `a train is on {n}`, or `no train is on {n}`.", near=True),
    _entry("missing is", rf"\b(?:if|until|whenever|while|as long as|each time|expect|never|and|or|as|not|of (?:{NAME}, ?)*) ?(?P<n>(?!(?:is|are|becomes)\b){NAME}) (?P<x>(?:not )?(?:on|off|lit|occupied|clear|unknown|flashing|fading|flickering|moving|lowered|raised|running|ended|stopped|pressed|talking|gone|past|above|below))\b", "`is` is missing after `{n}`.", "Write `{n} is {x}`.", near=True),
    _entry("open bracket", r"^[^()]*(?P<x>\()[^()]*$", "This bracket is not closed.", "Write `)` where it ends."),
    _entry("closed bracket", r"^[^()]*(?P<x>\))", "This bracket was never opened.", "Leave it out, or write `(` where it begins."),
    _entry("no condition", r"^(?P<x>if|otherwise if|as long as|wait until|repeat until|runs whenever|runs only while|starts each time|never|always|expect)$", "The condition is missing.", "Write it after `{x}`, such as `lane is clear`."),
    _entry("as long", r"^(?P<x>as long)(?! as\b)", "The words are `as long as`.", "Write `as long as`, and the condition."),
)

_REHEARSALS = (
    _entry("times number", r"^expect .*?(?<!least )(?<!most )\b(?P<x>(?P<n>[0-9]+) times)", "How often it is expected is written with `at least` or `at most`.", "Write `at least {n} times`.", "h", near=True),
    _entry("expect to be", rf"^expect (?:that )?(?P<n>{NAME}|{_NAMES}) (?P<x>to be)\b", "`expect` says what is so.", "Write `{n} is`, and the state.", "h"),
    _entry("expect that", r"^expect (?P<x>that)\b(?= [a-z])", "`expect` needs no `that`.", "Leave it out.", "h", near=True),
    _entry("expect twice", r"^expect .*?at (?:least|most) (?P<x>once|twice)\b", "How often is written in figures.", lambda said: f"Write `{1 if said['x'] == 'once' else 2} times`.", "h"),
    _entry("never first", rf"^(?P<n>{_NAMES}) (?P<i>is|are) (?P<x>never|always)\b", "`{x}` comes first in a rule.", "Write `{x} {n} {i}`, and the state.", "r"),
    _entry("never if", r"^(?:never|always) .*? (?P<x>if|when|whenever|as long as|unless)\b", "In a rule the circumstance comes after `while`.", "Write `while`.", "r", near=True),
    _entry("expect when", r"^(?P<x>expect (?:(?!\b(?:from|at|by|before|throughout|until|within|after|between|during|for)\b).)*)$", "When is it expected?", "Write when: `from 0 s to 3 s`, `by 22 s`, `at 5 s`, `before` and a condition, or `throughout`.", "h"),
    _entry("expect between", rf"^expect .*?(?P<x>between (?P<a>{_TIME}) and (?P<b>{_TIME}))", "A stretch of time is written with `from` and `to`.", "Write `from {a} to {b}`.", "h"),
    _entry("expect until", rf"^expect .*?(?P<x>(?:until|till) (?P<t>{_TIME}))", "`expect` does not say `until`.", "Write `from 0 s to {t}`.", "h"),
    _entry("expect within", rf"^expect .*?(?P<x>(?:within|in) (?P<t>{_TIME}))", "`expect` counts from the start of the rehearsal.", "Write `by {t}`.", "h"),
    _entry("expect after", rf"^expect .*?(?P<x>after (?P<t>{_TIME}))", "`expect` does not say `after`.", "Write `from {t} to`, and until when.", "h"),
    _entry("expect to", rf"^expect .*?(?P<x>from (?P<t>{_TIME}))$", "Until when?", "Write `from {t} to`, and the end.", "h"),
    _entry("train long", r"^a train (?P<x>runs|goes|drives|moves|along)\b", "How long is the train?", "Write `a train 800 mm long runs along`, with its length.", "h"),
    _entry("train article", r"^(?P<x>train|the train|one train|trains)\b", "A train is sent with `a train`.", "Write `a train 800 mm long runs along`, and the track.", "h", first=True),
    _entry("train length first", r"^(?P<x>an? (?P<l>[0-9]+ ?(?:mm|cm|m)) (?:long )?train)\b", "The length comes after `train`.", "Write `a train {l} long`.", "h"),
    _entry("length unit", r"^a train (?P<x>(?P<n>[0-9]+))(?: long)?\b(?! ?(?:mm|cm|m))", "`{n}` of what? A length carries its unit.", "Write `{n} mm`, or `{n} cm`.", "h"),
    _entry("train long missing", r"^a train (?P<l>[0-9]+ ?(?:mm|cm|m)) (?P<x>runs|goes|along)", "`long` is missing after the length.", "Write `a train {l} long runs along`.", "h"),
    _entry("train along", rf"^a train .*? runs (?P<x>on|over|through|down|up|via|in) (?P<n>{NAME})", "A train runs `along` a track.", "Write `runs along {n}`.", "h"),
    _entry("speed unit", r"^a train .*? at (?P<x>(?P<n>[0-9]+(?:[.,][0-9]+)?))(?=,| from|$)", "`{n}` of what? A speed carries its unit.", "Write `{n} mm/s`.", "h", near=True),
    _entry("speed missing", rf"^a train .*?along {NAME}(?: backwards)?(?P<x>,? ?from {_TIME}.*)$", "How fast does the train run?", "Write `at 150 mm/s` before when it comes.", "h", near=True),
    _entry("train from", r"^(?P<x>a train .* at [0-9.,]+ ?mm/s)$", "When does the train come?", "Write `, from 0 s` after the speed.", "h"),
    _entry("train at time", rf"^a train .* at [0-9.,]+ ?mm/s,? (?P<x>(?:at|after|starting|since|in) (?P<t>{_TIME}))", "When the train comes is written with `from`.", "Write `from {t}`.", "h"),
    _entry("act clock", r"^at (?P<x>[0-9]{1,2}:[0-9]{2})", "Times in a rehearsal count from its start.", _seconds, "h"),
    _entry("act unit", r"^at (?P<x>(?P<n>[0-9]+)) [a-z]", "`{n}` of what? A time carries its unit.", "Write `{n} s`, or `{n} min`.", "h", near=True),
    _entry("act button", rf"^at {_TIME} (?P<x>press (?:button|the)(?: button)?) (?P<n>{NAME})", "After `press` comes the button's name.", "Write `press {n}`.", "h"),
    _entry("act is", rf"^at {_TIME} (?P<n>{NAME}) (?P<x>is|are|goes|turns|gets)\b", "What happens is said with `becomes` or `stays`.", "Write `{n} becomes occupied`, or `{n} stays clear for 400 ms`.", "h"),
    _entry("stays for", rf"^at {_TIME} (?P<x>{NAME} stays {NAME})$", "For how long?", "Write `{x} for 400 ms`.", "h"),
    _entry("act expect", rf"^at {_TIME} (?P<x>expect)\b", "`expect` comes first, and when it is expected last.", "Write `expect`, the condition, and `at 20 s`.", "h"),
    _entry("play", r"^(?P<x>play|runs|run scene|scene)\b", "The word for this is `plays`.", "Write `plays`, and the scene's name.", "h", first=True),
    _entry("start with", r"^(?P<x>starts?|begin|initially|given)\b", "The word for this is `begins`.", "Write `begins with`, or `begins at`.", "h", first=True),
    _entry("expected", r"^(?P<x>expects|expected|assert|should|check|ensure|require|must)\b", "The word for this is `expect`.", "Write `expect`, and the condition.", "h", first=True),
)

_WIDE = (
    _entry("do without with", rf"^do (?P<n>{NAME}) (?P<x>(?!with\b)(?:(?:using|to|on|for|of) )?(?P<g>{NAME}.*))$", "What a routine is given comes after `with`.", "Write `do {n} with {g}`.", "s"),
    _entry("words of a name", rf"^(?:turn on|turn off|hold|release|flash|pulse|flicker|remember|forget|do|run|start|stop|plays) (?:{NAME}, ?)*(?P<x>{NAME} (?!at\b|for\b|in\b|like\b|and\b|with\b|over\b|between\b|to\b|as\b|on\b|off\b|is\b){NAME})(?=$| at\b| for\b| in\b| like\b| and\b|,| with\b| over\b)", "A name is one word; its parts are joined by hyphens.", lambda said: f"Write `{'-'.join(said['x'].split())}`; or put a comma between two names.", near=True),
    _entry("word twice", r"\b(?P<a>[a-z]+) (?P<x>(?P=a))\b(?!-)", "`{x}` stands there twice.", "Leave out one.", near=True),
)

_CLOCK = r"[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?"
_WHEN = rf"at {_CLOCK} (?:hall|layout) time|every {_TIME}(?: between {_CLOCK} and {_CLOCK})?|after {NAME}|at (?!closing\b){NAME}(?: [+-] {_TIME})?"
_DAY_LINE = rf"opens at|closes at|quiet from|at closing|at {_CLOCK} (?:hall|layout) time run|every {_TIME}(?: between {_CLOCK} and {_CLOCK})? run|after {NAME} run"


def _hours(said: Mapping[str, str]) -> str:
    """A time of day from `5 pm`, `10` or `10.30`, behind the words that stand before it."""
    hour = int(said["h"]) % 12 + (12 if said["p"] == "pm" else 0) if said["p"] else int(said["h"])
    return f"Write `{said['v']}{said['s']} at {hour}:{said['m'] or '00'}{said['c']}`."


_DAYS = (
    _entry("day from to", rf"^(?:opens|open) (?:at|from) (?P<t>{_CLOCK}) (?P<x>(?:to|until|till|and closes at) (?P<u>{_CLOCK}))", "When the day opens stands in one line, and when it closes in another.", "Write `opens at {t}`, and below it `closes at {u}`.", "d"),
    _entry("day hour only", r"^(?P<v>open|close)(?P<s>)s?(?: at)? (?P<x>(?P<h>[0-9]{1,2})(?:[.:](?P<m>[0-9]{2}))?(?: ?(?P<p>am|pm)| o'?clock)?)(?P<c>)$(?<!:[0-9]{2})", "A time of day has hours from 0 to 23 and minutes.", lambda said: _hours({**said, "s": "s"}), "d"),
    _entry("day at hour only", r"^(?P<v>)(?P<s>)at (?P<x>(?P<h>[0-9]{1,2})(?:[.:](?P<m>[0-9]{2}))?(?: ?(?P<p>am|pm)| o'?clock)?)(?<!:[0-9]{2}) (?=(?:hall|layout) time|run\b)(?P<c>)", "A time of day has hours from 0 to 23 and minutes.", lambda said: _hours({**said, "c": " hall time"}).replace("` at", "`at"), "d"),
    _entry("day clock first", rf"^at (?P<x>(?P<c>hall|layout) time (?P<t>{_CLOCK}))", "The time comes before `{c} time`.", "Write `at {t} {c} time`.", "d"),
    _entry("day in words", r"^at (?P<x>(?:half past|(?:a )?quarter (?:past|to)|noon|midday|midnight|ten|eleven|twelve)\b.*?)(?= run\b)", "A time of day is written in figures.", "Write for example `at 10:30 hall time`.", "d"),
    _entry("day opens", rf"^(?P<x>(?:open|opening|doors open|opens from|opens)(?: at)?) (?P<t>{_CLOCK})", "The words are `opens at`.", "Write `opens at {t}`.", "d"),
    _entry("day closes", rf"^(?P<x>(?:close|closing|doors close|closes by|closes|ends?|shuts?)(?: at)?) (?P<t>{_CLOCK})", "The words are `closes at`.", "Write `closes at {t}`.", "d"),
    _entry("day quiet", rf"^(?P<x>(?:quiet|lunch|pause|break|silent|silence|rest)(?: hours?)?(?: (?:from|between|at))?) (?P<t>{_CLOCK}) ?(?:to|until|till|and|-) ?(?P<u>{_CLOCK})", "The words are `quiet from ... to ...`.", "Write `quiet from {t} to {u}`.", "d"),
    _entry("day every from", rf"^(?P<h>every {_TIME}) (?P<x>from (?P<t>{_CLOCK}) (?:to|until|till) (?P<u>{_CLOCK}))", "`every` says between what times, not from when to when.", "Write `{h} between {t} and {u}`.", "d"),
    _entry("day which clock", rf"^at (?P<x>(?P<t>{_CLOCK}))(?: o'?clock)?(?= (?!hall\b|layout\b|am\b|pm\b)|$)", "`{t}` by which clock?", "Write `at {t} hall time`, or `at {t} layout time`.", "d"),
    _entry("day every number", r"^every (?P<x>(?P<n>[0-9]+))(?= run\b| between\b|$)", "`{n}` of what?", "Write `every {n} min`.", "d"),
    _entry("day hourly", r"^(?P<x>every (?:hour|half hour|quarter of an hour|minute|day|now and then)|hourly|daily)\b", "How often is that?", "Write for example `every 60 min run`, and the scene's name.", "d"),
    _entry("at closing with", r"^at closing:? (?P<x>(?:turn|set|fade|move|flash|flicker|show|pulse|wait|do|run|start|stop|hold|release|note|remember|forget|count|reset)\b.*)$", "What is done at closing stands in lines of its own.", "Write `at closing`, and below it `{x}`, indented by 4 spaces more.", "d"),
    _entry("day at closing", r"^(?P<x>(?:when|on|after|before|once|if) (?:it |the day )?(?:closing|closed|closes|is closed|is over)|closing|at (?:close|the close|the end|end|closing time))$", "The words are `at closing`.", "Write `at closing`, and below it what is done then.", "d"),
    _entry("day after ends", rf"^after (?P<n>{NAME}) (?P<x>ends?|has ended|ended|is over|finishes|has finished|stops|is done) run\b", "`{x}` is too much: a scene is over when its last line has run.", "Write `after {n} run`.", "d"),
    _entry("day does", rf"^(?P<h>{_WHEN})[:,]? (?P<x>turn on|turn off|set|fade|move|flash|flicker|show|pulse|wait|note|hold|release)\b", "A day only says when scenes run; `{x}` stands in a scene.", "Write it in a scene, and here `{h} run` and the scene's name.", "d"),
    _entry("day start", rf"^(?P<h>{_WHEN})[:,]? (?P<x>starts?|begins?|do|plays?|runs|performs?|then run|then) (?P<n>{NAME})$", "The word for this is `run`.", "Write `{h} run {n}`.", "d"),
    _entry("day no run", rf"^(?P<h>{_WHEN})[:,]? (?P<x>(?!run\b){NAME})$", "`run` is missing before `{x}`.", "Write `{h} run {x}`.", "d"),
    _entry("day when last", rf"^(?P<x>(?:run|start|do) (?P<n>{NAME}) (?P<h>(?:at|every|after) .+))$", "When it is stands first in the line.", "Write `{h} run {n}`.", "d"),
    _entry("day when", rf"^(?P<x>run (?P<n>{NAME}))$", "When is `{n}` to run?", "Write for example `at 10:30 hall time run {n}`.", "d"),
    _entry("day runs two", rf"^(?:{_WHEN}) run {NAME}(?P<x>(?: and|,) {NAME}.*)$", "One line runs one scene.", "Write a line of its own for each.", "d", near=True),
    _entry("day after alone", rf"^(?P<x>after (?P<n>{NAME}))$", "What runs after it?", "Write `after {n} run`, and the scene's name.", "d"),
    _entry("statement in day", r"^(?P<x>turn (?:on|off)|set|fade|move|flash|flicker|show|pulse|wait|together|repeat|run|do|start|stop|remember|forget|count|reset|hold|release|note|for each|if)\b", "`{x}` belongs in a scene; a day says when scenes run.", "Move it to a scene, or below a line with `at closing`.", "d", first=True),
    _entry("head in day", r"^(?P<x>runs (?:whenever|only while)|starts (?:each time|at|every|on button)|when stopped|takes)\b", "`{x}` belongs in a scene; a day says `at 10:30 hall time run`, or `every 25 min run`, and a scene's name.", "Write that, or move the line to a scene.", "d", first=True),
    _entry("day outside", rf"^(?P<x>{_DAY_LINE})\b", "`{x}` belongs in a day.", "Put `day saturday`, or another name, above it, and indent it by 4 spaces.", "t", first=True),
    _entry("day elsewhere", rf"^(?P<x>{_DAY_LINE})\b", "`{x}` belongs in a day.", "Move it below a line with `day` and a name.", "srhm", first=True),
)

TABLE: tuple[Entry, ...] = (
    *_DAYS, *_MANNERS, *_SUN, *_LIGHT, *_MOTION, *_FITTING, *_OPENINGS, *_SIGNS, *_DECLARATIONS, *_HEADS, *_PLACES, *_VERBS, *_CONDITIONS, *_REHEARSALS, *_AMOUNTS, *_SENTENCES, *_WIDE
)  # fmt: skip
