"""The stand-in's servo: what pulse it gets, and where its arm truly is while it travels. Knows no station."""

from __future__ import annotations

# a common library's range for half a turn; 10.31 us a degree
SHORTEST_US, LONGEST_US, TURN_DEG = 544, 2_400, 180.0
LEAST_PULSE_US, MOST_PULSE_US = 400, 2_600  # what a servo takes for a pulse at all; past its ends it leans on a stop


def is_pulse(value: int) -> bool:
    return LEAST_PULSE_US <= value <= MOST_PULSE_US


def degrees_of(pulse_us: float) -> float:
    """Where a pulse sends the arm; it cannot pass its stops."""
    return min(max((pulse_us - SHORTEST_US) / (LONGEST_US - SHORTEST_US) * TURN_DEG, 0.0), TURN_DEG)


class Servo:
    """An arm that goes to where its pulse says, at its own speed and no faster."""

    def __init__(self, stands_deg: float, speed_deg_s: float) -> None:
        self.pulse_us: int | None = None  # None: it gets no pulses and is held by nothing
        self.target_deg = stands_deg
        self._from_deg, self._from_us = stands_deg, 0
        self._fastest = self._speed = speed_deg_s

    def tell(self, pulse_us: int, now_us: int, over_us: int = 0) -> None:
        """A new pulse; `over_us`: the station itself takes that long over the way."""
        self._from_deg, self._from_us = self.angle(now_us), now_us
        self.pulse_us, self.target_deg = pulse_us, degrees_of(pulse_us)
        way = abs(self.target_deg - self._from_deg)
        self._speed = min(self._fastest, way * 1_000_000 / over_us) if over_us > 0 else self._fastest

    def release(self, now_us: int) -> None:
        """No more pulses: the arm stays where it is."""
        self.pulse_us = None
        self.target_deg = self._from_deg = self.angle(now_us)
        self._from_us = now_us

    def angle(self, now_us: int) -> float:
        """Where the arm truly is, in degrees."""
        way = self.target_deg - self._from_deg
        gone = self._speed * max(0, now_us - self._from_us) / 1_000_000
        return self.target_deg if gone >= abs(way) else self._from_deg + (gone if way > 0 else -gone)
