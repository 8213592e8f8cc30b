"""Packs: what goes into one, what a stranger's archive may not do, and a show that runs where it has arrived."""

from __future__ import annotations

import hashlib
import io
import json
import os
import pty
import shutil
import stat
import struct
import subprocess
import sys
import unicodedata
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayside.cli import main
from wayside.handover.pack_form import (
    MANIFEST,
    MOST_FILE,
    MOST_FILES,
    Manifest,
    Need,
    Pack,
    PackProblem,
    packed,
    read,
    same_place,
    why_no_name,
)
from wayside.live.kept import FILE as KEPT_FILE

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
NEEDS = (Need("main", "", 9600, "late"),)
MANIFESTED = Manifest(
    "Quay", "0.1.0", "3.11.7", "Europe/London", ("saturday",), {"one": True}, (Need("main", "", 9600, "late"),)
)
LAYOUT = """\
layout: Small Quay
outputs from: tables/wiring.csv
links: {main: {kind: serial text, dialect: late}}
detectors:
  lane: {kind: section, link: main, pin: 60}
outputs:
  gate: {kind: servo, link: main, pin: 3, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 1 s, rest: raised}
crossing:
  gated-lane: {entrance barriers: [gate], detectors: [lane], practice: own/ours.yaml}
"""
TABLE = "name,kind,link,pin\namber,lamp,main,1\n"
SCENES = """\
flag seen, kept

scene lights
    turn on amber
    wait 2 s
    turn off amber
    remember seen

rehearsal it-goes-out
    plays lights
    expect amber is on from 0 s to 2 s
    expect amber is off by 3 s
"""


def small(folder: Path) -> Path:
    """A layout with a table, a practice table of its own, and all that shows and people leave beside it."""
    (folder / "tables").mkdir(parents=True)
    (folder / "own").mkdir()
    (folder / ".wayside").mkdir()
    (folder / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    (folder / "tables" / "wiring.csv").write_text(TABLE, encoding="utf-8")
    (folder / "tables" / "old-wiring.csv").write_text(TABLE, encoding="utf-8")
    (folder / "own" / "ours.yaml").write_text("table: Ours\n", encoding="utf-8")
    (folder / "lights.scene").write_text(SCENES, encoding="utf-8")
    (folder / "journal.sqlite").write_bytes(b"not to be taken along")
    (folder / ".wayside" / KEPT_FILE).write_text('{"seen": true}', encoding="utf-8")
    (folder / ".wayside" / "last-positions.json").write_text('{"gate": 90}', encoding="utf-8")
    return folder


def names(file: Path) -> list[str]:
    with zipfile.ZipFile(file) as archive:
        return archive.namelist()


# --- what goes into one --------------------------------------------------------------------------------------------


def test_all_that_the_show_needs_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    small(tmp_path / "quay")
    assert main(["pack", "quay"]) == 0
    assert names(tmp_path / "quay.zip") == [
        MANIFEST, "layout.yaml", "lights.scene", "own/ours.yaml", "tables/wiring.csv"
    ]  # fmt: skip
    said = capsys.readouterr().out
    assert "Left behind: .wayside/, journal.sqlite and tables/old-wiring.csv." in said
    assert "1 rehearsal, all held" in said


def test_what_shows_keep_comes_along_when_it_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    small(tmp_path / "quay")
    assert main(["pack", "quay", "--kept", "--positions"]) == 0
    assert names(tmp_path / "quay.zip")[1:3] == [".wayside/kept.json", ".wayside/last-positions.json"]
    assert main(["unpack", "quay.zip", "there"]) == 0
    said = capsys.readouterr().out
    assert "Flags and counters come along" in said
    assert "each may jump" not in said  # where they stood is known
    assert json.loads((tmp_path / "there" / ".wayside" / "kept.json").read_text(encoding="utf-8")) == {"seen": True}


def test_equal_folders_make_equal_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name, when in (("a", 1_000_000_000), ("b", 1_700_000_000)):
        small(tmp_path / name / "quay")
        for file in (tmp_path / name).rglob("*"):
            os.utime(file, (when, when))
        (tmp_path / name / "quay" / "lights.scene").chmod(0o600 if name == "a" else 0o755)
        assert main(["pack", f"{name}/quay", "--to", f"{name}.zip"]) == 0
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_other_programs_read_a_pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Info-ZIP's `unzip -t` where it is there, and the sums as `hashlib` makes them from the extracted files."""
    monkeypatch.chdir(tmp_path)
    small(tmp_path / "quay")
    assert main(["pack", "quay"]) == 0
    if shutil.which("unzip"):
        assert subprocess.run(["unzip", "-tq", "quay.zip"], capture_output=True, check=False).returncode == 0
    with zipfile.ZipFile("quay.zip") as archive:
        archive.extractall("seen")
    sums = json.loads((tmp_path / "seen" / MANIFEST).read_text(encoding="utf-8"))["files"]
    for name, one in sums.items():
        data = (tmp_path / "seen" / name).read_bytes()
        assert one == {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        assert data == (tmp_path / "quay" / name).read_bytes()


def test_files_from_elsewhere_are_not_packed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    quay = small(tmp_path / "quay")
    (tmp_path / "secret.scene").write_text("scene other\n    wait 1 s\n", encoding="utf-8")
    (quay / "linked.scene").symlink_to(tmp_path / "secret.scene")
    assert main(["pack", "quay"]) == 2
    assert "linked.scene lies outside the folder quay. Copy it into the folder" in capsys.readouterr().err
    assert not (tmp_path / "quay.zip").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["pack"], "Which layout? Write its folder"),
        (["pack", "nowhere"], "nowhere is no folder"),
        (["pack", "quay", "--to", "quay.txt"], "ends in .zip"),
        (["pack", "quay", "--to", "mine.zip"], "mine.zip is there and is no whole pack"),
        (["pack", "quay", "--to", "no/such/quay.zip"], "cannot be written"),
        (["pack", "quay", "--check", "quay.zip"], "leave out the rest"),
        (["pack", "--check", "nothing.zip"], "nothing.zip cannot be read"),
        (["pack", "--check", "mine.zip"], "mine.zip is no pack that can be read"),
        (["pack", "--check", "quay"], "quay is a folder"),
        (["unpack"], "wayside unpack FILE FOLDER"),
        (["unpack", "good.zip"], "wayside unpack FILE FOLDER"),
        (["unpack", "good.zip", "quay"], "quay is not empty, and nothing in it is written over"),
        (["unpack", "good.zip", "mine.zip"], "mine.zip is there, and is no folder"),
        (["unpack", "good.zip", "linked"], "linked is there, and is no folder"),
        (["unpack", "good.zip", "."], "is not empty"),
        (["unpack", "good.zip", "mine.zip/there"], "mine.zip is a file, and no folder stands in a file."),
        (["unpack", "go\0od.zip", "there"], "no file of such a name"),
    ],
)
def test_what_can_be_asked_wrongly(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    small(tmp_path / "quay")
    (tmp_path / "good.zip").write_bytes(packed(Pack(MANIFESTED, {"layout.yaml": b"layout: Quay\n"})))
    (tmp_path / "mine.zip").write_bytes(b"something of my own")
    (tmp_path / "empty").mkdir()
    (tmp_path / "linked").symlink_to(tmp_path / "empty")
    before = sorted(tmp_path.rglob("*"))
    assert main(words) == 2
    problem = capsys.readouterr().err
    assert said in problem
    assert "Traceback" not in problem
    assert len(problem.splitlines()) == 1
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "mine.zip").read_bytes() == b"something of my own"


def test_the_folder_one_stands_in_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    good = tmp_path / "good.zip"
    good.write_bytes(packed(Pack(MANIFESTED, {"layout.yaml": b"layout: Quay\n"})))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert main(["unpack", str(good), "."]) == 2
    assert "the folder that you are in" in capsys.readouterr().err


def test_files_with_errors_are_not_packed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    quay = small(tmp_path / "quay")
    (quay / "lights.scene").write_text("scene lights\n    turn on ambre\n", encoding="utf-8")
    assert main(["pack", str(quay), "--to", str(tmp_path / "quay.zip")]) == 1
    assert "nothing was packed" in capsys.readouterr().out
    assert not (tmp_path / "quay.zip").exists()


def test_a_rehearsal_that_fails_is_known_on_arrival(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    quay, pack = small(tmp_path / "quay"), str(tmp_path / "quay.zip")
    (quay / "lights.scene").write_text(SCENES.replace("off by 3 s", "off by 1 s"), encoding="utf-8")
    assert main(["pack", str(quay), "--to", pack]) == 1
    assert "1 rehearsal, failed: it-goes-out" in capsys.readouterr().out
    assert main(["unpack", pack, str(tmp_path / "there")]) == 1
    said = capsys.readouterr().out
    assert "1 of 1 rehearsal failed." in said
    assert "held where it was packed" not in said  # it failed there, too
    assert (tmp_path / "there" / "layout.yaml").is_file()


# --- there and back ------------------------------------------------------------------------------------------------

WORDS = st.text("abcdefghijKLMäß-1_", min_size=1, max_size=8)
NAMES = st.lists(WORDS, min_size=1, max_size=3).map("/".join).filter(lambda name: not why_no_name(name))


@settings(deadline=None, max_examples=150)
@given(files=st.dictionaries(NAMES, st.binary(max_size=300), max_size=8))
def test_there_and_back(files: dict[str, bytes]) -> None:
    unlike = {same_place(name) for name in files}
    folders = {same_place("/".join(name.split("/")[:n])) for name in files for n in range(1, name.count("/") + 1)}
    pack = Pack(MANIFESTED, files)
    if len(unlike) < len(files) or unlike & folders or MANIFEST in unlike:
        with pytest.raises(PackProblem):
            read(packed(pack), "it")
        return
    assert read(packed(pack), "it") == pack
    assert packed(read(packed(pack), "it")) == packed(pack)


def test_wherever_it_is_cut_or_changed_it_is_told_or_makes_no_difference() -> None:
    """Every length and every byte: what is read is what was packed, or nothing is."""
    pack = Pack(MANIFESTED, {"layout.yaml": b"layout: Quay\n", "a.scene": b"scene a\n    wait 1 s\n"})
    whole = packed(pack)
    told = 0
    for end in range(len(whole)):
        with pytest.raises(PackProblem):
            read(whole[:end], "it")
    for at in range(len(whole)):
        for flip in (0x01, 0x80, 0xFF):
            changed = bytearray(whole)
            changed[at] ^= flip
            try:
                found = read(bytes(changed), "it")
            except PackProblem:
                told += 1
            else:
                assert found == pack, at
    assert told > 2 * len(whole)


# --- a stranger's archive ------------------------------------------------------------------------------------------

Make = Callable[[zipfile.ZipFile], None]
GOOD = {"layout.yaml": b"layout: Quay\n"}


def manifest_of(files: dict[str, bytes], **other: object) -> bytes:
    said: dict[str, object] = {**MANIFESTED._asdict(), "needs": [], "pack": 1}
    said["files"] = {
        name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()
    }
    return json.dumps({**said, **other}).encode()


def archive_of(files: dict[str, bytes], method: int = zipfile.ZIP_STORED, manifest: bytes | None = None) -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", method) as archive:
        archive.writestr(MANIFEST, manifest_of(files) if manifest is None else manifest)
        for name, data in files.items():
            info = zipfile.ZipInfo("x")
            info.filename, info.compress_type, info.external_attr = name, method, 0o100644 << 16
            archive.writestr(info, data)
    return whole.getvalue()


def with_mode(mode: int, data: bytes = b"../../somewhere") -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        archive.writestr(MANIFEST, manifest_of({"a.scene": data}))
        info = zipfile.ZipInfo("a.scene")
        info.create_system, info.external_attr = 3, mode << 16
        archive.writestr(info, data)
    return whole.getvalue()


def twice() -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        archive.writestr(MANIFEST, manifest_of(GOOD))
        archive.writestr("layout.yaml", GOOD["layout.yaml"])
        with pytest.warns(UserWarning, match="Duplicate name"):
            archive.writestr("layout.yaml", b"layout: Other\n")
    return whole.getvalue()


def locked() -> bytes:
    """The bit that says that a password is wanted, in both of a file's headers (APPNOTE 6.3.10, 4.4.4)."""
    whole = bytearray(archive_of(GOOD))
    for sign, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = whole.rindex(sign)
        (flags,) = struct.unpack_from("<H", whole, start + at)
        struct.pack_into("<H", whole, start + at, flags | 1)
    return bytes(whole)


def says_it_is_small() -> bytes:
    """A file of many bytes whose headers and manifest say that it has ten."""
    data = b"scene a\n" * 100_000
    whole = bytearray(archive_of({"a.scene": data}, zipfile.ZIP_DEFLATED, manifest_of({"a.scene": data[:10]})))
    for sign, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        struct.pack_into("<I", whole, whole.rindex(sign) + at, 10)
    return bytes(whole)


def many(number: int) -> bytes:
    return archive_of({f"{n}.scene": b"" for n in range(number)})


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "up and out": (lambda: archive_of({"../evil.scene": b"x"}), "leads out of the folder"),
    "up and out further in": (lambda: archive_of({"a/../../evil.scene": b"x"}), "leads out of the folder"),
    "from the top": (lambda: archive_of({"/etc/evil.scene": b"x"}), "leads out of the folder"),
    "to a drive": (lambda: archive_of({"C:evil.scene": b"x"}), "a letter that some computers do not take"),
    "the other slash": (lambda: archive_of({"..\\evil.scene": b"x"}), "a letter that some computers do not take"),
    "a nought": (lambda: archive_of({"layout.yaml\0.scene": b"x"}), "a letter that some computers do not take"),
    "a line end": (lambda: archive_of({"a\nb.scene": b"x"}), "a letter that some computers do not take"),
    "turned letters": (lambda: archive_of({"a\u202eb.scene": b"x"}), "a letter that some computers do not take"),
    "a device": (lambda: archive_of({"con.scene": b"x"}), "some computers do not take it"),
    "a dot at its end": (lambda: archive_of({"a.scene.": b"x"}), "some computers do not take it"),
    "very deep": (lambda: archive_of({"a/b/c/d/e.scene": b"x"}), "at most 4 parts"),
    "a very long name": (lambda: archive_of({"a" * 300: b"x"}), "1 to 180 letters"),
    "a link": (lambda: with_mode(stat.S_IFLNK | 0o777), "it is a link to somewhere else"),
    "a device file": (lambda: with_mode(stat.S_IFCHR | 0o666), "it is no plain file"),
    "a pipe": (lambda: with_mode(stat.S_IFIFO | 0o666), "it is no plain file"),
    "a folder": (lambda: archive_of({"folder/": b""}), "it is no plain file"),
    "a name twice": (twice, "holds layout.yaml twice"),
    "one name on some computers": (
        lambda: archive_of({"a.scene": b"x", "A.scene": b"y"}), "a.scene and A.scene, which are one file"
    ),
    "one name by its letters": (
        lambda: archive_of({unicodedata.normalize(form, "quäy.scene"): b"x" for form in ("NFC", "NFD")}),
        "which are one file on some computers",
    ),
    "a file and a folder": (lambda: archive_of({"a/b.scene": b"x", "a": b"y"}), "a as a file, and a/b.scene in a"),
    "too many": (lambda: many(MOST_FILES + 1), "holds more than 1,100 files"),
    "swelling": (
        lambda: archive_of({"a.scene": b"\0" * (MOST_FILE + 1)}, zipfile.ZIP_DEFLATED), "more than 16 MB"
    ),
    "swelling together": (
        lambda: archive_of({f"{n}.scene": b"\0" * MOST_FILE for n in range(5)}, zipfile.ZIP_DEFLATED),
        "swells to more than 64 MB",
    ),
    "more than it says": (says_it_is_small, "that can be read"),
    "locked": (locked, "locked with a password"),
    "squeezed otherwise": (lambda: archive_of(GOOD, zipfile.ZIP_BZIP2), "squeezed in a way that packs are not"),
    "changed": (lambda: archive_of({"a.scene": b"x"}, manifest=manifest_of({"a.scene": b"y"})), "a.scene was changed"),
    "longer": (lambda: archive_of({"a.scene": b"xx"}, manifest=manifest_of({"a.scene": b"x"})), "a.scene was changed"),
    "one missing": (lambda: archive_of({}, manifest=manifest_of(GOOD)), "is not in it, though its manifest names it"),
    "one more": (lambda: archive_of(GOOD, manifest=manifest_of({})), "is in it, though not in its manifest"),
    "no archive": (lambda: b"scene evening\n    wait 1 s\n", "is no pack that can be read"),
    "nothing": (lambda: b"", "is no pack that can be read"),
    "somebody else's archive": (lambda: no_manifest(), "is no pack of Wayside"),
    "another form": (lambda: archive_of(GOOD, manifest=manifest_of(GOOD, pack=2)), "by another Wayside"),
    "a manifest of noughts": (lambda: archive_of(GOOD, manifest=b"\0" * 50), "pack.json is damaged"),
    "a manifest of brackets": (lambda: archive_of(GOOD, manifest=b"[" * 500_000), "pack.json is damaged"),
    "a manifest with a list": (lambda: archive_of(GOOD, manifest=b"[1]"), "pack.json is damaged"),
    "a manifest without its files": (lambda: archive_of(GOOD, manifest=b'{"pack": 1}'), "pack.json is damaged"),
    "a manifest without an end": (
        lambda: archive_of(GOOD, manifest=manifest_of(GOOD).replace(b'"bytes": 13', b'"bytes": Infinity')), "damaged"
    ),
    "a manifest of words": (lambda: archive_of(GOOD, manifest=manifest_of(GOOD, layout="x" * 1000)), "damaged"),
    "a large manifest": (lambda: archive_of(GOOD, manifest=b" " * 2_000_000 + manifest_of(GOOD)), "far too large"),
}  # fmt: skip


def no_manifest() -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        archive.writestr("letter.txt", "dear all")
    return whole.getvalue()


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_strangers_archive_writes_nothing(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    make, said = HOSTILE[kind]
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.chdir(home)
    (home / "it.zip").write_bytes(make())
    assert main(["unpack", "it.zip", "there"]) == 2
    problem = capsys.readouterr().err
    assert said in problem
    assert len(problem.splitlines()) == 1
    assert len(problem) < 500
    assert sorted(tmp_path.rglob("*")) == [home, home / "it.zip"]
    assert main(["pack", "--check", "it.zip"]) == 2


def test_a_pack_that_others_have_squeezed_is_taken(tmp_path: Path) -> None:
    """An archive made anew by another program, with the same files, is the same pack."""
    assert read(archive_of(GOOD, zipfile.ZIP_DEFLATED), "it").files == GOOD


@pytest.mark.parametrize("after", [0, 1, 2])
def test_a_full_disk_leaves_nothing(
    after: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "it.zip"
    file.write_bytes(packed(Pack(MANIFESTED, {f"{n}/a.scene": b"x" for n in range(3)})))
    done = 0

    def full(number: int) -> None:
        nonlocal done
        done += 1
        if done > after:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert main(["unpack", str(file), str(tmp_path / "there")]) == 2
    assert "No space left on device. Nothing was left there." in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == [file]


# --- where it has arrived ------------------------------------------------------------------------------------------


def test_what_is_to_be_adapted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    quay, pack = small(tmp_path / "quay"), tmp_path / "quay.zip"
    far, near = pty.openpty()
    try:
        for port, said in (
            (os.ttyname(near), f"has its port here, {os.ttyname(near)}."),
            ("/dev/no-such-port", "wants port /dev/no-such-port, which is not here."),
            ("socket://localhost:2560", "goes to socket://localhost:2560"),
        ):
            text = LAYOUT.replace("dialect: late", f"dialect: late, port: '{port}'")
            (quay / "layout.yaml").write_text(text, encoding="utf-8")
            assert main(["pack", str(quay), "--to", str(pack)]) == 0
            there = tmp_path / f"there{len(said)}"
            assert main(["unpack", str(pack), str(there)]) == 0
            heard = " ".join(capsys.readouterr().out.split())
            assert said in heard
            assert "Where 1 servo stood did not come along" in heard
            assert "Packed by" not in heard
    finally:
        os.close(far)
        os.close(near)


def test_other_versions_and_another_zone_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = Manifest("Quay", "9.9.9", "2.7.0", "Pacific/Chatham", ("saturday",), {}, ())
    (tmp_path / "it.zip").write_bytes(packed(Pack(other, GOOD)))
    assert main(["unpack", str(tmp_path / "it.zip"), str(tmp_path / "there")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Packed by Wayside 9.9.9; here is" in said
    assert "Packed under Python 2.7.0; here is" in said
    assert "hall time: {time zone: Pacific/Chatham}" in said


def test_the_show_runs_where_it_has_arrived(tmp_path: Path) -> None:
    """Real processes: packed here, unpacked in an empty folder with another home and zone, performed there."""
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir()
    there.mkdir()

    def command(*words: str) -> list[str]:
        return [sys.executable, "-m", "wayside", *words]

    def world(cwd: Path, zone: str) -> dict[str, str]:
        return {"PATH": os.environ["PATH"], "HOME": str(cwd), "TZ": zone, "PYTHONPATH": str(ROOT)}

    def wayside(cwd: Path, zone: str, *words: str) -> str:
        done = subprocess.run(
            command(*words), cwd=cwd, env=world(cwd, zone), capture_output=True, text=True, timeout=120, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    shutil.copytree(QUAY, here / "quay", ignore=shutil.ignore_patterns("journal*", ".wayside"))
    wayside(here, "Europe/London", "pack", "quay")
    shutil.move(here / "quay.zip", there / "quay.zip")
    shutil.rmtree(here)
    arrived = wayside(there, "Asia/Tokyo", "unpack", "quay.zip", "quay")
    assert "12 rehearsals played, all held." in arrived
    assert "this computer goes by Asia/Tokyo, the other one by Europe/London" in " ".join(arrived.split())
    (how,) = (line.split() for line in arrived.splitlines() if "--dry-run" in line)
    options = how[1 : how.index("--dry-run") + 1]  # as it says itself
    env = world(there, "Asia/Tokyo")
    with subprocess.Popen(
        command(*options, "--no-desk", "--plain"),
        cwd=there, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as show:  # fmt: skip
        assert show.stdin is not None
        assert show.stdout is not None
        show.stdin.write("start bell-rings\n")
        show.stdin.flush()
        for line in show.stdout:
            if "scene bell-rings begins" in line:
                break
        show.stdin.write("end\n")
        show.stdin.flush()
        rest = show.stdout.read()
        assert show.wait(60) == 0
    assert "guarded outputs are in their safe state" in rest
