"""What a link is taken to carry: the line, or what may be on its way while the station answers, or the track."""

from __future__ import annotations

import pytest

from adapters.link_asking import BUFFER, FENCE_BYTES
from adapters.link_outputs import pace_of
from engine.layout import Link


@pytest.mark.parametrize(
    ("link", "bytes_s"),
    [
        (Link("main"), 4_800),  # 64 - 40 bytes in 5 ms
        (Link("main", baud=1_000_000), 4_800),
        (Link("main", baud=9_600), 960),  # 8N1: ten bits a byte
        (Link("main", words=(("status", "none"),)), 11_520),  # it cannot be asked, so it is never waited for
    ],
)
def test_bytes_a_second(link: Link, bytes_s: float) -> None:
    assert pace_of(link).bytes_s == pytest.approx(bytes_s)
    assert BUFFER - FENCE_BYTES == 24
