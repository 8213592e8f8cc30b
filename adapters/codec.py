"""Angle-bracket serial text: commands to bytes, bytes to frames. Pure, incremental, bounded; any bytes may come.

Knows no command and no reply. The style is from memory: `<` begins a frame, `>` ends it, text outside is ignored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

LONGEST_FRAME = 512  # characters between the brackets; a longer frame is noise
LONGEST_COMMAND = 62  # with its brackets it fits into a station's receive buffer of 64 bytes (from memory)
SAMPLE = 16  # bytes of a stretch of noise that are kept, to show what it looked like

_PRINTABLE = bytes(range(0x20, 0x7F))
_BLANK = b" \t\r\n"
_IN_A_FRAME = _PRINTABLE + _BLANK


class Frame(NamedTuple):
    """What stood between two brackets, without the blanks at its ends."""

    text: str


@dataclass(frozen=True, slots=True)
class Noise:
    """Bytes that belong to no frame, blanks not counted: text outside brackets, and frames that cannot be read."""

    count: int
    sample: bytes  # the first of them


def encode(text: str) -> bytes:
    """The bytes of one command. Raises ValueError for what no station could read."""
    wrong = set(text) - {chr(byte) for byte in _PRINTABLE} | set(text) & {"<", ">"}
    if wrong or not text.strip() or len(text) > LONGEST_COMMAND:
        raise ValueError(f"no command: {text[: LONGEST_COMMAND + 1]!r}")
    return b"<%b>" % text.encode("ascii")


class Decoder:
    """Bytes in, frames and noise out. However the bytes are cut, frames and the sum of noise are the same.

    A `<` inside an unfinished frame begins again. What is held between two calls is never more than `limit` bytes.
    """

    def __init__(self, limit: int = LONGEST_FRAME) -> None:
        self._limit = limit
        self._held = b""  # of a frame that has begun: what came after its `<`
        self._inside = False

    @property
    def held(self) -> int:
        """How many bytes wait for the end of their frame."""
        return len(self._held)

    def forget(self) -> None:
        """Drop an unfinished frame: what comes now is another connection's."""
        self._held, self._inside = b"", False

    def feed(self, data: bytes) -> list[Frame | Noise]:
        """What has become complete with these bytes. Noise is told at once, since there may never be a frame."""
        found: list[Frame | Noise] = []
        noise = _Gathered()
        first, *rest = (self._held + data).split(b"<")
        if self._inside:
            rest.insert(0, first)
        else:
            noise.add(first)
        self._held, self._inside = b"", False
        for number, piece in enumerate(rest, 1):
            body, end, after = piece.partition(b">")
            if not end and number == len(rest) and len(body) <= self._limit:
                self._held, self._inside = body, True
            elif not end or len(body) > self._limit or body.translate(None, _IN_A_FRAME):
                noise.add(b"<" + piece)
            else:
                noise.told(found)
                found.append(Frame(body.strip().decode("ascii")))
                noise.add(after)
        noise.told(found)
        return found


class _Gathered:
    """A stretch of noise, as it grows. Its count is the same however it was cut; only its beginning is kept."""

    def __init__(self) -> None:
        self._count, self._sample = 0, b""

    def add(self, data: bytes) -> None:
        bytes_of_it = data.translate(None, _BLANK)
        self._count += len(bytes_of_it)
        if len(self._sample) < SAMPLE:
            self._sample += bytes_of_it[: SAMPLE - len(self._sample)]

    def told(self, found: list[Frame | Noise]) -> None:
        if self._count:
            found.append(Noise(self._count, self._sample))
            self._count, self._sample = 0, b""
