"""A fault in Wayside itself, in the middle of a show on a real line: what is guarded goes to its safe state."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from adapters.stand_in import Settings, Station
from adapters.stand_in_ports import StandIn, running

ROOT = Path(__file__).parents[2]
PATIENCE_S = 40.0
LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text, dialect: late, start-up: 100 ms, resets when opened: no}
outputs:
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 1 s, safe: lowered}
  red: {kind: lamp, link: main, pin: 6, safe: on}
  inn: {kind: lamp, link: main, pin: 5}
"""
SCENE = """\
scene open
    when stopped
        move gate to lowered over 1 s
        turn on red
    turn off red
    turn on inn
    move gate to raised over 1 s
    wait 100 s
"""
# what follows asks the show for something that breaks in its innermost part
BROKEN = """\
import sys
from engine.performance import Cast
from wayside.live.performing import Performance
def breaks(*_, **__):
    raise KeyError("on purpose")
WHERE
from wayside.cli import main
sys.exit(main(sys.argv[1:]))
"""


def until(stand_in: StandIn, told: str) -> list[str]:
    """The commands so far, once one of them has come."""
    end = time.monotonic() + PATIENCE_S
    while True:
        heard: list[str] = stand_in.ask(lambda station, _: [entry.command.strip("<>") for entry in station.log])
        if told in heard:
            return heard
        assert time.monotonic() < end, heard
        time.sleep(0.05)


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")
@pytest.mark.parametrize(
    "where",
    ["Cast.stop = breaks", "Cast.stop = lambda *_, **__: setattr(Performance, '_look', breaks)"],
    ids=["in the show", "in what looks on"],
)
def test_a_fault_of_our_own_leaves_what_is_guarded_safe(tmp_path: Path, where: str) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    (tmp_path / "a.scene").write_text(SCENE, encoding="utf-8")
    with running(Station(Settings(servos=frozenset([20])))) as stand_in:
        stand_in.ask(lambda station, now_us: station.power(True, now_us))
        assert stand_in.pty is not None
        command = [
            sys.executable,
            "-c",
            BROKEN.replace("WHERE", where),
            "run",
            str(tmp_path),
            "--port",
            stand_in.pty.name,
            "--no-desk",
        ]
        with subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        ) as show:
            assert show.stdin is not None
            assert show.stdout is not None
            try:
                show.stdin.write("start open\n")
                show.stdin.flush()
                until(stand_in, "z 20 1472")  # 90 degrees: it is open
                show.stdin.write("stop open\n")
                show.stdin.flush()
                said = show.stdout.read()
                assert show.wait(PATIENCE_S) == 70
            finally:
                show.kill()
        heard = until(stand_in, "z 20 544")
    assert "Guarded outputs are brought to their safe state, then the show ends." in said
    assert "KeyError" in said
    angles = [int(text.split()[2]) for text in heard if text.startswith("z 20 ")]
    last = angles[len(angles) - angles[::-1].index(1472) :]
    assert last == sorted(last, reverse=True)
    assert len(last) > 5, "the arm goes down in its own time, and does not drop"
    assert [text for text in heard if text.startswith("Z 6 ")][-1] == "Z 6 1"
    assert [text for text in heard if text.startswith("Z 5 ")][-1] == "Z 5 1", "what is not guarded stays as it is"
