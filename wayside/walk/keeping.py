"""Keeps a walk in the layout's folder, so that it can be left and gone on with: answers, and to what they were given.

An answer counts for as long as the layout file says the same of its stop; what has been put right is walked anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from engine.layout import Layout
from wayside.live import last_positions
from wayside.walk.answers import Answer, as_kept, from_kept
from wayside.walk.signs import Heard
from wayside.walk.stops import OUTPUT, Round, Stop

FILE = "walk.json"


class Kept(NamedTuple):
    """What was kept, the stops whose answers no longer count, and what is wrong with the file, if anything."""

    answers: dict[str, Answer]
    heard: dict[str, Heard]
    changed: tuple[str, ...] = ()
    trouble: str = ""


def file_for(layout_file: Path) -> Path:
    return layout_file.resolve().parent / last_positions.FOLDER / FILE


def mark_of(layout: Layout, stop: Stop) -> str:
    """A short mark of all that the layout file says of a stop, without the places where it says so."""
    link = layout.links[stop.link]
    says: list[object] = [stop, link.from_one, link.by_output, link.dialect, link.words]
    if stop.sort == OUTPUT:
        one = layout.outputs[stop.name]
        says += [one.positions, one.steps, one.itself, one.limits, one.aspects]
    else:
        thing = layout.detectors.get(stop.name)
        says += [thing.kind, thing.closed_circuit, thing.settle_us] if thing is not None else []
    return hashlib.blake2s(repr(says).encode(), digest_size=8).hexdigest()


def read(path: Path, layout: Layout, walk: Round) -> Kept:
    """The walk that was kept; an empty one where there is none, or its file is damaged."""
    found, trouble = last_positions.read_object(path)
    entries, heard = found.get("answers"), found.get("heard")
    answers, changed = {}, []
    for name, entry in entries.items() if isinstance(entries, dict) else ():
        stop, answer = walk.named(name), from_kept(entry)
        if stop is None or answer is None:
            continue
        if entry.get("mark") == mark_of(layout, stop):
            answers[name] = answer
        else:
            changed.append(name)
    reports = heard.items() if isinstance(heard, dict) else ()
    links = {name: one for name, entry in reports if (one := _heard(name, entry))}
    return Kept(answers, links, tuple(changed), trouble)


def _heard(name: str, entry: object) -> Heard | None:
    if not isinstance(entry, dict) or not isinstance(entry.get("talks"), bool):
        return None
    words = {key: entry.get(key, "") for key in ("power", "what", "instead")}
    refused = entry.get("refused", 0)
    if not all(isinstance(word, str) for word in words.values()) or type(refused) is not int:
        return None
    return Heard(name, entry["talks"], words["power"], words["what"], words["instead"], refused)


def write(path: Path, layout: Layout, walk: Round, answers: Mapping[str, Answer], heard: Mapping[str, Heard]) -> str:
    """Keep it; what is wrong if that cannot be done. A walk never stops over it."""
    entries = {
        stop.name: as_kept(answers[stop.name]) | {"mark": mark_of(layout, stop)}
        for stop in walk.stops
        if stop.name in answers
    }
    links = {name: {key: value for key, value in one._asdict().items() if key != "link"} for name, one in heard.items()}
    why = last_positions.write_object(path, {"answers": entries, "heard": links})
    return f"The walk cannot be kept in {path} ({why}); it cannot be gone on with once it is left." if why else ""


def put_aside(path: Path) -> None:
    """Begin anew: the walk so far stays beside the new one, once."""
    if path.exists():
        path.replace(path.with_suffix(".before.json"))
