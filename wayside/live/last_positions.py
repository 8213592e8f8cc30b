"""Where each servo was last sent, kept beside the layout file over a show: a servo tells nobody where it stands.

The file is small text, written whole and at once, so that a pulled plug leaves the old one or the new one.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from engine.layout import Kind, Layout
from wayside.usage import why_not

FOLDER = ".wayside"
FILE = "last-positions.json"
RUNNING = "show-is-running"  # a file beside it, for as long as a show lasts
MOST_BYTES = 1_000_000


def file_for(layout_file: Path) -> Path:
    return layout_file.resolve().parent / FOLDER / FILE


def killed(path: Path) -> bool:
    """Whether the last show was killed before it could keep where everything stands, or runs still."""
    return path.with_name(RUNNING).exists()


def begun(path: Path) -> bool:
    """A show begins; whether the last one was killed."""
    was_killed = killed(path)
    with suppress(OSError):
        path.parent.mkdir(exist_ok=True)
        path.with_name(RUNNING).touch()
    return was_killed


def ended(path: Path) -> None:
    """A show has ended, and all is kept."""
    with suppress(OSError):
        path.with_name(RUNNING).unlink()


def read(path: Path, layout: Layout) -> tuple[dict[str, float], str]:
    """The last positions in degrees of servos that the layout still has, and what is wrong with the file, if anything.

    A file that is damaged says nothing: a servo of which nothing is known may jump, and that is said elsewhere.
    """
    found, trouble = read_object(path)
    servos = {name for name, output in layout.outputs.items() if output.kind is Kind.SERVO}
    return {name: at for name in servos if (at := _angle(found.get(name), layout, name)) is not None}, trouble


def read_object(path: Path) -> tuple[dict[str, object], str]:
    """A small JSON object that was kept, and what is wrong with its file, if anything; then it is empty."""
    try:
        if path.stat().st_size > MOST_BYTES:
            return {}, f"{path} is far too large to be what was kept there; it is passed over."
        found = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}, ""
    except OSError as problem:
        return {}, f"{path} cannot be read ({why_not(problem)}); what it kept is not known."
    except ValueError:
        return {}, _damaged(path)
    return (found, "") if isinstance(found, dict) else ({}, _damaged(path))


def _damaged(path: Path) -> str:
    return f"{path} is damaged; what it kept is not known any more, and the show writes it anew."


def _angle(at: object, layout: Layout, name: str) -> float | None:
    if isinstance(at, bool) or not isinstance(at, int | float):
        return None
    low, high = layout.outputs[name].limits or (0.0, 360.0)
    return float(at) if low <= at <= high else None


def write(path: Path, positions: Mapping[str, float]) -> str:
    """Keep them; what is wrong if that cannot be done. A show never stops over it."""
    why = write_object(path, {name: round(at, 2) for name, at in sorted(positions.items())})
    return f"Where the servos stand cannot be kept in {path} ({why}); after this show they may jump." if why else ""


def write_object(path: Path, found: Mapping[str, object]) -> str:
    """Write a small JSON object whole and at once; why, if that cannot be done."""
    beside = path.with_suffix(".new")
    try:
        path.parent.mkdir(exist_ok=True)
        with beside.open("w", encoding="utf-8") as file:
            json.dump(found, file, indent=1)
            file.write("\n")
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as problem:
        with suppress(OSError):
            beside.unlink()
        return why_not(problem)
    return ""
