"""Where trains are taken to be in a live show, by what detectors say: the last proven passage. Pure; knows no kernel.

A train is taken to be on a detector's stretch from when the detector says occupied until it says clear and the passage
is proven: a train has come on to a neighbour, the next detector along a track on either side, since. A detector that
merely goes blind with a train on it proves nothing. `engine/README.md` tells what this can't know.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.layout import OUT_OF_USE, Layout, Track


class _Stretch:
    """What one detector sees, and those beside it."""

    def __init__(self, name: str, state: str) -> None:
        self.name = name
        self.state = state
        self.taken = state not in ("clear", OUT_OF_USE)  # who puts a detector out of use has looked
        self.guessed = state == "unknown"  # taken only because nothing has been heard yet
        self.neighbours: set[str] = set()
        self.ends_unseen = False  # a train may leave it where no detector sees that: then clear has to do
        self.proofs: set[str] = set()  # neighbours that a train has come on to since one came on to this stretch


class Passages:
    """Told each settled change of a detector, it says on whose stretch a train is now taken to be, or is no more.

    What is unknown from the beginning is taken to be occupied until it has been heard of. A detector that falls silent
    later changes nothing: what was proven last still counts, and nothing is proven by it.
    """

    def __init__(self, layout: Layout, states: Mapping[str, str]) -> None:
        """`states` are the detectors' at the beginning: "occupied", "clear", "unknown"."""
        self._stretches = {name: _Stretch(name, states[name]) for name in layout.detectors}
        on_tracks: set[str] = set()
        for track in layout.tracks.values():
            seen = _in_order(track)
            on_tracks.update(seen)
            for before, name, after in zip(["", *seen], seen, [*seen[1:], ""], strict=False):
                stretch = self._stretches[name]
                stretch.neighbours |= {before, after} - {"", name}
                stretch.ends_unseen |= not (before and after)
        for name, stretch in self._stretches.items():
            stretch.ends_unseen |= name not in on_tracks

    @property
    def taken(self) -> tuple[str, ...]:
        """The detectors on whose stretches trains are taken to be."""
        return tuple(name for name, stretch in self._stretches.items() if stretch.taken)

    @property
    def unproven(self) -> tuple[str, ...]:
        """The detectors whose clear has to do: a train may leave their stretch where no detector sees it."""
        return tuple(name for name, stretch in self._stretches.items() if stretch.ends_unseen)

    def saw(self, name: str, state: str) -> Iterator[tuple[str, bool]]:
        """A detector's settled state: each stretch that changes by it, and whether a train is taken to be there now."""
        stretch = self._stretches[name]
        stretch.state = state
        if state == "occupied":
            yield from self._comes(stretch)
        elif state == OUT_OF_USE and stretch.taken:
            yield self._leaves(stretch)  # who puts a detector out of use has looked
        elif state == "clear" and stretch.taken and (stretch.guessed or stretch.ends_unseen or stretch.proofs):
            yield self._leaves(stretch)

    def swept(self, name: str) -> Iterator[tuple[str, bool]]:
        """A person has looked, and nothing stands there: that is proof enough for a detector that says clear."""
        stretch = self._stretches[name]
        if stretch.taken and stretch.state == "clear":
            yield self._leaves(stretch)

    def _comes(self, stretch: _Stretch) -> Iterator[tuple[str, bool]]:
        if stretch.guessed:  # it stood there before anybody looked: that proves nothing of another stretch
            stretch.guessed = False
            return
        if not stretch.taken:
            # beside a neighbour on to which a train went, and where it still is, it is that train, seen again
            stretch.proofs = {one for one in stretch.proofs if self._stretches[one].taken}
            stretch.taken = True
            yield stretch.name, True
        for beside in map(self._stretches.__getitem__, sorted(stretch.neighbours)):
            if beside.taken:
                beside.proofs.add(stretch.name)
                if beside.state == "clear":
                    yield self._leaves(beside)

    def _leaves(self, stretch: _Stretch) -> tuple[str, bool]:
        stretch.taken = stretch.guessed = False
        for beside in map(self._stretches.__getitem__, stretch.neighbours):
            if not beside.taken:
                beside.proofs.discard(stretch.name)
        return stretch.name, False


def _in_order(track: Track) -> list[str]:
    """The detectors along a track, blind stretches left out."""
    return [stretch.detector for stretch in track.stretches if stretch.detector is not None]
