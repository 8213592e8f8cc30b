"""Random draws by counter: the same (seed, line, round) gives the same number, whoever else draws, in any order.

SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014). The built-in hash
of text is salted for every process and is never used.
"""

from __future__ import annotations

_MASK = (1 << 64) - 1
_GOLDEN = 0x9E3779B97F4A7C15


def splitmix64(state: int) -> int:
    """The output that follows a generator's state: 64 bits."""
    z = (state + _GOLDEN) & _MASK
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
    return z ^ (z >> 31)


def key_of(text: str, seed: int = 0) -> int:
    """A key of 64 bits for a name, the same in every process."""
    key = splitmix64(seed & _MASK)
    raw = text.encode()
    for start in range(0, len(raw), 8):
        key = splitmix64(key ^ int.from_bytes(raw[start : start + 8], "little"))
    return splitmix64(key ^ len(raw))


def at_index(key: int, index: int) -> int:
    """The number that stands at an index of a key's endless list: 64 bits, asked in any order."""
    return splitmix64((key + index * _GOLDEN) & _MASK)


def share_at(key: int, index: int) -> float:
    """As `at_index`, as an even share from 0 to 1, the end not included."""
    return (at_index(key, index) >> 11) * 2.0**-53


class Chance:
    """Draws named by a line's key. Each line counts its own rounds, so a new lamp changes nobody else's evening."""

    def __init__(self, seed: int) -> None:
        self._seed = splitmix64(seed & _MASK)
        self._rounds: dict[int, int] = {}

    def key(self, name: str) -> int:
        """A key of an output's own, for what flickers: its neighbours have others."""
        return key_of(name, self._seed)

    def draw(self, key: int) -> int:
        """The line's next number, 64 bits."""
        turn = self._rounds.get(key, 0)
        self._rounds[key] = turn + 1
        return splitmix64(splitmix64(self._seed ^ key) + turn * _GOLDEN)

    def between(self, key: int, low: int, high: int) -> int:
        """A whole number from low to high, both included."""
        return low if high <= low else low + self.draw(key) % (high - low + 1)
