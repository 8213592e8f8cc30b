"""Show days: from their sentences to records. Times are checked against one another; no calendar is known here."""

from __future__ import annotations

from collections.abc import Callable

from engine.layout import NOWHERE, Place
from engine.program import Day, DayAfter, DayAt, DayEntry, DayEvery, Quiet, closing_of
from scenes import quantities
from scenes.heads import DAY_S, of_the_sun
from scenes.names import OPEN, Names, Refused, Sort
from scenes.nodes import Node, Word

MOST_ENTRIES = 1_000  # lines of one day that run a scene
_ONCE = {"opens": "`opens at`", "closes": "`closes at`", "at_closing": "`at closing`"}


class Days:
    """Compiles show days against one table of names."""

    def __init__(self, names: Names) -> None:
        self.names = names

    def day(self, name: str, node: Node) -> Day | None:
        """One day; None if it does not say when it opens, which has been reported."""
        self._once(node)
        opens, opens_place = self._hour(node.node("opens"))
        closes, closes_place = self._hour(node.node("closes"))
        if opens is None:
            if node.node("opens") is None and node.node("broken") is None:
                what = f"the day `{name}` does not say when it opens"
                self.names.report(
                    node.place, what, "write for example `opens at 10:00`, and below it `closes at 17:00`"
                )
            self._entries(node)  # so that every mistake is told in one go
            return None
        if closes == opens:
            self.names.report(closes_place, "it would close when it opens", "write a later time")
        closing = node.node("at_closing")
        if closing is not None and closes is None and node.node("closes") is None:
            what = "nothing says when the day closes, so this would never be done"
            self.names.report(closing.place, what, "write for example `closes at 17:00`")
        return Day(
            name,
            node.place,
            opens,
            closes,
            tuple(filter(None, map(self._quiet, node.nodes("quiet")))),
            self._entries(node),
            closing_of(name) if closing is not None else "",
            opens_place,
            closes_place,
        )

    def _once(self, node: Node) -> None:
        for kind, said in _ONCE.items():
            for other in list(node.nodes(kind))[1:]:
                self.names.report(other.place, f"{said} stands here for the second time", "a day has one")

    def _entries(self, node: Node) -> tuple[DayEntry, ...]:
        made: list[DayEntry] = []
        for line in node.nodes(*_ENTRIES):
            try:
                made.append(_ENTRIES[line.kind](self, line))
            except Refused:
                continue
        if len(made) > MOST_ENTRIES:
            place = made[MOST_ENTRIES].place
            self.names.report(place, f"the day has more than {MOST_ENTRIES:,} lines that run a scene", "use `every`")
        return tuple(made[:MOST_ENTRIES])

    # --- times -----------------------------------------------------------------------------------------------------

    def _hour(self, node: Node | None) -> tuple[int | None, Place]:
        if node is None:
            return None, NOWHERE
        try:
            return self._hall(node, node.words("TIME")[0]), node.place
        except Refused:
            return None, node.place

    def _hall(self, node: Node, word: Word) -> int:
        """A time of day that can only be one of the hall's."""
        clock = node.node("clock")
        if clock is not None and clock.word("LAYOUT") is not None:
            what = "doors, quiet hours and `every` go by the clock of the hall, which visitors have"
            raise self.names.refuse(clock.place, what, "leave `layout time` out, or write `hall time`")
        return self.names.quantity(word, OPEN, "TIME", quantities.second_of_day)

    def _quiet(self, node: Node) -> Quiet | None:
        try:
            from_s, to_s = (self._hall(node, word) for word in node.words("TIME"))
        except Refused:
            return None
        if from_s == to_s:
            self.names.report(node.place, "that is no time at all", "write a later time after `to`")
            return None
        return Quiet(node.place, from_s, to_s)

    # --- what is run when ------------------------------------------------------------------------------------------

    def _scene(self, word: Word) -> str:
        symbol = self.names.look_up(word, OPEN, Sort.SCENE)
        if symbol is None:
            raise Refused
        return symbol.name

    def _at(self, node: Node) -> DayEntry:
        word, clock, scene = node.words("TIME")[0], node.node("clock"), self._scene(node.words("NAME")[0])
        layout_time = clock is not None and clock.word("LAYOUT") is not None
        second = self.names.quantity(word, OPEN, "TIME", quantities.second_of_day)
        return DayAt(node.place, f"{word.text} {'layout' if layout_time else 'hall'} time", scene, second, layout_time)

    def _at_sun(self, node: Node) -> DayEntry:
        event, scene = node.words("NAME")
        second = of_the_sun(self.names, node, event, "at")
        away = node.word("DURATION")
        words = event.text + (f" {'-' if node.word('MINUS') else '+'} {away.text}" if away else "")
        return DayAt(node.place, words, self._scene(scene), second, True)

    def _every(self, node: Node) -> DayEntry:
        word, scene = node.words("DURATION")[0], self._scene(node.words("NAME")[0])
        every_s, rest_us = divmod(self.names.duration(word), 1_000_000)
        if rest_us or not 1 <= every_s < DAY_S:
            what = f"a day runs a scene every whole number of seconds, less than a day; not every `{word.text}`"
            raise self.names.refuse(word.place, what, "write a time such as `25 min`")
        span, between = node.node("day_between"), None
        words = f"every {word.text}"
        if span is not None:
            first, last = span.words("TIME")
            between = self._hall(span, first), self._hall(span, last)
            words += f" between {first.text} and {last.text}"
        return DayEvery(node.place, words, scene, every_s, between)

    def _after(self, node: Node) -> DayEntry:
        before, scene = (self._scene(word) for word in node.words("NAME"))
        if before == scene:
            what = f"`{scene}` would begin again each time it has ended, and never come to rest"
            raise self.names.refuse(node.place, what, "name another scene, or write `every 25 min run`")
        return DayAfter(node.place, f"after {before}", scene, before)


_ENTRIES: dict[str, Callable[[Days, Node], DayEntry]] = {
    "day_at": Days._at,
    "day_sun": Days._at_sun,
    "day_every": Days._every,
    "day_after": Days._after,
}
