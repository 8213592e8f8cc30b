"""The form of a pack: a zip archive of a show's files, with a manifest that names each with its SHA-256.

Owns what may stand in one, and reads it as if a stranger had made it. Knows no layout, and writes nothing to a disk.
"""

from __future__ import annotations

import io
import json
import re
import stat
import unicodedata
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import NamedTuple

from wayside.usage import UsageProblem

MANIFEST = "pack.json"
FORM = 1  # of the manifest
MOST_FILES = 1_100
MOST_FILE = 16 * 1024 * 1024  # bytes: as much as a scene file may have
MOST_BYTES = 64 * 1024 * 1024  # of all files together
MOST_PACK = 80 * 1024 * 1024  # of the archive itself
MOST_MANIFEST = 1024 * 1024
LONGEST_NAME = 180
DEEPEST = 4  # folders in a name, with the file
LONGEST_TEXT = 300  # of what a manifest says
_ENTRY = b"PK\x01\x02"  # how each file is announced in the list at an archive's end (APPNOTE 6.3.10, 4.3.12)
WHEN = (1980, 1, 1, 0, 0, 0)  # the time that every file in a pack has: equal files make equal packs
MODE = stat.S_IFREG | 0o644

# what some system or other does not take in a name: letters, ends of names, and names of devices
_LETTERS = re.compile(r'[\x00-\x1f\x7f-\x9f\\:<>"|?*\u200e\u200f\u2028-\u202e\u2066-\u2069]')
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)


UNUSED = " Nothing of it is used."


class PackProblem(UsageProblem):
    """What was given is no pack, or not the one that was made."""


class Need(NamedTuple):
    """A link that the show needs, as the layout file says it; `port` is empty where it says none."""

    link: str
    port: str
    speed: int
    dialect: str


class Manifest(NamedTuple):
    """What a pack says of itself."""

    layout: str
    wayside: str
    python: str
    zone: str  # of the hall's clock where it was packed
    days: tuple[str, ...]
    held: Mapping[str, bool]  # each rehearsal, and whether it held where it was packed
    needs: tuple[Need, ...]


class Pack(NamedTuple):
    """A pack as it was read: every file is what the manifest says."""

    manifest: Manifest
    files: Mapping[str, bytes]


def why_no_name(name: str) -> str:
    """Why a file cannot be called that on every computer, within a folder; empty if it can."""
    parts = name.split("/")
    if not name or len(name) > LONGEST_NAME or len(parts) > DEEPEST:
        return f"a name has 1 to {LONGEST_NAME} letters and at most {DEEPEST} parts"
    if _LETTERS.search(name):
        return "it has a letter that some computers do not take"
    if any(part in ("", ".", "..") for part in parts):
        return "it leads out of the folder"
    if any(part[-1] in ". " or _DEVICES.fullmatch(part) for part in parts):
        return "some computers do not take it"
    return ""


def same_place(name: str) -> str:
    """What two names have in common that are one file on some computer."""
    return unicodedata.normalize("NFC", name).casefold()


def clashing(names: Iterable[str]) -> str:
    """Two names that cannot both be files of one folder on every computer, in words; empty if there are none."""
    places: dict[str, str] = {}
    for name in names:
        if (other := places.get(same_place(name))) is not None:
            return f"{name} twice" if other == name else f"{other} and {name}, which are one file on some computers"
        places[same_place(name)] = name
    for place, name in places.items():
        parts = place.split("/")
        inside = ("/".join(parts[:end]) for end in range(1, len(parts)))
        if (folder := next((places[one] for one in inside if one in places), None)) is not None:
            return f"{folder} as a file, and {name} in a folder of that name"
    return ""


# --- writing -------------------------------------------------------------------------------------------------------


def packed(pack: Pack) -> bytes:
    """The archive. Nothing is squeezed, since compressors differ: equal packs have equal bytes everywhere."""
    sums = {name: {"bytes": len(data), "sha256": sha256(data).hexdigest()} for name, data in sorted(pack.files.items())}
    said = {"pack": FORM, **pack.manifest._asdict(), "needs": [need._asdict() for need in pack.manifest.needs]}
    manifest = json.dumps({**said, "files": sums}, indent=1, ensure_ascii=False).encode() + b"\n"
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_STORED) as archive:
        for name, data in ((MANIFEST, manifest), *sorted(pack.files.items())):
            info = zipfile.ZipInfo(name, WHEN)
            info.create_system, info.external_attr = 3, MODE << 16
            archive.writestr(info, data)
    return whole.getvalue()


# --- reading -------------------------------------------------------------------------------------------------------


def read(raw: bytes, shown: str) -> Pack:
    """What stands in an archive. Raises PackProblem, in one sentence, for whatever is not as it was packed."""
    if raw.count(_ENTRY) > MOST_FILES:  # before each of them is looked at
        raise PackProblem(f"{shown} holds more than {MOST_FILES:,} files, the most that a pack may.")
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            return _read(archive, shown)
    except PackProblem:
        raise
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        OSError,
        RuntimeError,
        ValueError,
        NotImplementedError,
    ) as problem:
        again = "It may have been cut or changed on its way: copy it again from where it was made."
        raise PackProblem(f"{shown} is no pack that can be read. {again}") from problem


def _read(archive: zipfile.ZipFile, shown: str) -> Pack:
    infos = {info.orig_filename: info for info in _sound(archive, shown)}
    if MANIFEST not in infos:
        raise PackProblem(f"{shown} is no pack of Wayside: it holds no {MANIFEST}. `wayside pack FOLDER` makes one.")
    if infos[MANIFEST].file_size > MOST_MANIFEST:
        raise PackProblem(f"{shown}: its {MANIFEST} is far too large.")
    manifest, sums = _manifest(_bytes(archive, infos.pop(MANIFEST)), shown)
    for name in (*(infos.keys() - sums.keys()), *(sums.keys() - infos.keys())):
        what = "is not in it, though its manifest names it" if name in sums else "is in it, though not in its manifest"
        raise PackProblem(f"{shown} is not as it was packed: {_clean(name)} {what}.{UNUSED}")
    files = {}
    for name, info in infos.items():
        size, digest = sums[name]
        data = _bytes(archive, info) if info.file_size == size else b""
        if len(data) != size or sha256(data).hexdigest() != digest:
            raise PackProblem(f"{shown} is not as it was packed: {name} was changed.{UNUSED}")
        files[name] = data
    return Pack(manifest, files)


def _bytes(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """A file's bytes, no more of them than it says: an archive can hold a few that swell to many."""
    with archive.open(info) as file:
        return file.read(info.file_size + 1)


def _sound(archive: zipfile.ZipFile, shown: str) -> list[zipfile.ZipInfo]:
    """Its files, if each of them may be there."""
    infos = archive.infolist()
    if sum(info.file_size for info in infos) > MOST_BYTES:
        most = f"{MOST_BYTES // 1024 // 1024} MB, the most that a pack may hold"
        raise PackProblem(f"{shown} swells to more than {most}.{UNUSED}")
    for info in infos:
        if why := _why_not(info):
            raise PackProblem(f"{shown} holds {_clean(info.orig_filename)}, which is not taken: {why}.{UNUSED}")
    if clash := clashing([info.orig_filename for info in infos]):
        raise PackProblem(f"{shown} holds {clash}.{UNUSED}")
    return infos


def _why_not(info: zipfile.ZipInfo) -> str:
    """Why one thing in an archive is not taken; empty if it is."""
    kind = stat.S_IFMT(info.external_attr >> 16)
    if kind == stat.S_IFLNK:
        return "it is a link to somewhere else"
    if info.is_dir() or kind not in (0, stat.S_IFREG):
        return "it is no plain file"
    if why := why_no_name(info.orig_filename):
        return why
    if info.flag_bits & 1:
        return "it is locked with a password"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "it is squeezed in a way that packs are not"
    if info.file_size > MOST_FILE:
        return f"it has more than {MOST_FILE // 1024 // 1024} MB"
    return ""


def _clean(name: str) -> str:
    return repr(name if len(name) <= 60 else f"{name[:57]}...")


Sums = dict[str, tuple[int, str]]


def _manifest(raw: bytes, shown: str) -> tuple[Manifest, Sums]:
    try:
        found = json.loads(raw)
        if found["pack"] != FORM:
            raise PackProblem(f"{shown} was packed by another Wayside, in a form that this one does not know.")
        needs = tuple(
            Need(_text(need["link"]), _text(need["port"]), _number(need["speed"]), _text(need["dialect"]))
            for need in found["needs"]
        )
        sums = {_text(name): (_number(one["bytes"]), _text(one["sha256"])) for name, one in found["files"].items()}
        held = {_text(name): one is True for name, one in found["held"].items()}
        layout, wayside, python, zone = (_text(found[key]) for key in ("layout", "wayside", "python", "zone"))
        return Manifest(layout, wayside, python, zone, tuple(map(_text, found["days"])), held, needs), sums
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as problem:
        raise PackProblem(f"{shown} is no pack that can be read: its {MANIFEST} is damaged.") from problem


def _text(found: object) -> str:
    if not isinstance(found, str) or len(found) > LONGEST_TEXT:
        raise ValueError
    return found


def _number(found: object) -> int:
    if not isinstance(found, int) or isinstance(found, bool):
        raise ValueError
    return found
