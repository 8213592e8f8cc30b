"""`wayside draw` as a person meets it: the list, the drawings in the terminal, what is said of what cannot be drawn."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.curves import PROFILES
from engine.daylight import COURSES
from engine.manners import MANNERS
from engine.ways import WAYS
from wayside.cli import Parser, main, read_options
from wayside.commands import draw as command_draw

ROOT = Path(__file__).parents[2]

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text}
outputs:
  forge: {kind: lamp, dimmable: yes, link: main, pin: 1}
"""
SCENES = """\
manner inn-fire
    like embers
    pace 150 %

scene fire
    flicker forge like inn-fire
"""


class Said(NamedTuple):
    status: int
    out: str
    err: str


Draw = Callable[..., Said]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "quay"
    place.mkdir()
    (place / "layout.yaml").write_text(LAYOUT)
    (place / "inn.scene").write_text(SCENES)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return place


@pytest.fixture
def draw(folder: Path, capsys: pytest.CaptureFixture[str]) -> Draw:
    def run(*words: str) -> Said:
        status = main(["draw", *words])
        return Said(status, *capsys.readouterr())

    return run


def heads(text: str) -> list[str]:
    """The names and kinds above each drawing."""
    return re.findall(r"^(\S.*? \((?:manner|way|profile|arrival|character|course)\)):", text, re.M)


# --- the list ------------------------------------------------------------------------------------------------------


def test_the_list_has_everything_once_with_a_line_about_it(draw: Draw) -> None:
    said = draw()
    assert (said.status, said.err) == (0, "")
    for names in (MANNERS, WAYS, PROFILES, COURSES, ("bouncing", "settling", "Fl(2) W 10s")):
        for name in names:
            lines = re.findall(rf"^  {re.escape(name)}  +(\S.*)$", said.out, re.M)
            assert len(lines) == (2 if name in MANNERS and name in WAYS else 1), name
            assert all(len(line) > 10 for line in lines)


def test_the_list_of_a_layout_has_its_own_manners(draw: Draw) -> None:
    assert re.search(r"^  inn-fire +a manner that Pellbrook Quay defines$", draw("--in", "quay").out, re.M)
    assert "inn-fire" not in draw().out


def test_every_listed_name_can_be_drawn(draw: Draw) -> None:
    names = re.findall(r"^  (\S.*?)  +\S", draw().out, re.M)
    assert len(names) > 40
    for name in names:
        said = draw(name)
        assert said.status == 0, said.err
        assert heads(said.out)[0].startswith(f"{name} (")


# --- drawings in the terminal --------------------------------------------------------------------------------------


def test_a_light_that_is_half_on_and_half_off(draw: Draw) -> None:
    """Isophase: light and dark alike (IHO), beginning with the eclipse. Read off the drawing, row by row."""
    rows = [
        line.partition("┤")[2] or line.partition("│")[2] for line in draw("Iso W 4s", "--for", "8s").out.splitlines()
    ]
    rows = [row for row in rows if "█" in row]
    assert len(rows) == 8
    across = 80 - 1 - 6 - 1 - 4
    for row in rows:
        lit = [row.ljust(across)[number] == "█" for number in range(across)]
        for number, one in enumerate(lit):
            phase = (number + 0.5) / across * 8 % 4
            if min(abs(phase - edge) for edge in (0, 2, 4)) > 8 / across:
                assert one is (phase >= 2), (number, row)


def test_the_drawing_is_as_wide_as_the_terminal_and_no_wider(draw: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    for columns, most in ((20, 40), (60, 59), (132, 131), (400, 160)):
        monkeypatch.setenv("COLUMNS", str(columns))
        lines = draw("oil-lamp").out.splitlines()[2:]
        assert most - 4 <= max(map(len, lines)) <= most, columns


def test_a_longer_time_is_drawn_and_said(draw: Draw) -> None:
    assert "30 s" in draw("candle", "--for", "30s").out
    assert "30 s" not in draw("candle").out
    assert "400 ms" in draw("settling", "--for", "500ms").out
    assert len(heads(draw("settling", "--for", "500ms").out)) == 1
    assert len(heads(draw("settling").out)) == 2  # a short move and a paced one


def test_neighbours_differ_and_seeds_differ_and_the_same_is_the_same(draw: Draw) -> None:
    both = draw("embers", "--as", "quay-lamp-1", "--as", "quay-lamp-2").out
    first, second = (part for part in both.split("quay-lamp-")[1:])
    assert first.splitlines()[1:8] != second.splitlines()[1:8]
    assert draw("embers").out != draw("embers", "--seed", "3").out
    assert draw("embers", "--seed", "0").out == draw("embers").out


def test_a_lamp_drawn_alone_is_the_lamp_drawn_beside_another(draw: Draw) -> None:
    alone = draw("way", "tube", "--as", "b", "--for", "6s").out.splitlines()[3:11]
    beside = draw("way", "tube", "--as", "a", "--as", "b", "--for", "6s").out.splitlines()
    assert alone == beside[12:20]


def test_a_name_in_two_groups_is_drawn_for_both_or_for_the_one_that_is_named(draw: Draw) -> None:
    assert heads(draw("candle").out) == ["candle (manner)", "candle (way)"]
    assert heads(draw("way", "candle").out) == ["candle (way)"]
    assert heads(draw("manner candle").out) == ["candle (manner)"]
    three = draw("way", "candle", "Fl(2)", "W", "10s", "bouncing", "once", "--for", "500ms").out
    assert heads(three) == ["candle (way)", "Fl(2) W 10s (character)", "bouncing once (arrival)"]


def test_several_names_and_groups(draw: Draw) -> None:
    assert heads(draw("embers", "smooth").out) == ["embers (manner)", "smooth (profile)"]
    assert heads(draw("daylight").out) == [f"{name} (course)" for name in COURSES]
    assert heads(draw("profiles", "smooth").out) == [f"{name} (profile)" for name in PROFILES]
    assert len(heads(draw("everything").out)) == len(MANNERS) + len(WAYS) + len(PROFILES) + 4 + 14 + len(COURSES)


def test_a_character_may_be_written_without_quotes_or_carelessly(draw: Draw) -> None:
    quoted = draw("Fl(2) W 10s")
    assert quoted.status == 0
    assert draw("Fl(2)", "W", "10s").out == quoted.out == draw("character", "Fl(2) W 10s").out
    assert heads(draw("Fl(3) W 20s", "Iso W 4s").out) == ["Fl(3) W 20s (character)", "Iso W 4s (character)"]


def test_coloured_light_is_told_in_letters(draw: Draw) -> None:
    letters = draw("Al WR 10s", "--for", "20s").out.splitlines()[-2]
    assert letters.split() == ["W", "R", "W", "R"]
    assert "W R" not in draw("Iso W 4s").out


def test_a_number_of_bounces(draw: Draw) -> None:
    said = draw("bouncing", "3", "times", "--for", "400ms")
    assert heads(said.out) == ["bouncing 3 times (arrival)"]
    assert draw("bouncing", "once").status == 0
    assert draw("bouncing", "once").out != draw("bouncing", "twice").out
    assert draw("bouncing 11 times").status == 2
    assert "1 to 10 times, not 11" in draw("bouncing 11 times").err


def test_on_and_off_are_marked(draw: Draw) -> None:
    assert re.search(r"^ +↑ on +↑ off$", draw("gas-mantle").out, re.M)
    assert "off" not in draw("way", "sodium", "--for", "30s").out.splitlines()[-2]


def test_plain_letters_where_the_terminal_has_no_others(folder: Path) -> None:
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii", "COLUMNS": "80"}
    command = [sys.executable, "-m", "wayside", "draw", "candle", "Iso W 4s", "filament"]
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"?" not in done.stdout
    assert b"####" in done.stdout


# --- a layout's own ------------------------------------------------------------------------------------------------


def test_a_manner_of_a_scene_file(draw: Draw) -> None:
    said = draw("inn-fire", "--in", "quay")
    assert (said.status, heads(said.out)) == (0, ["inn-fire (manner)"])
    said = draw("inn-fire")
    assert said.status == 2
    assert "A manner of a scene file needs --in FOLDER." in said.err


def test_it_is_drawn_as_it_is_played(draw: Draw) -> None:
    """Half as quick again: 20 s of it are 30 s of what it is like, with the same seed and lamp."""
    mine = draw("inn-fire", "--in", "quay", "--for", "20s", "--as", "forge").out.splitlines()[3:11]
    plain = draw("embers", "--for", "30s", "--as", "forge").out.splitlines()[3:11]
    assert mine == plain


def test_errors_in_the_files_come_first(draw: Draw, folder: Path) -> None:
    (folder / "b.scene").write_text("scene b\n    turn on ambre\n")
    said = draw("inn-fire", "--in", "quay")
    assert said.status == 1
    assert "quay/b.scene:2:13: error: " in said.out
    assert said.out.endswith("nothing was drawn. Put the errors right first.\n")


def test_the_layout_says_where_the_sun_is(draw: Draw, folder: Path) -> None:
    """At 65 N on 21 June civil twilight never ends (computed with a published solar position algorithm)."""
    north = LAYOUT + "whereabouts: {latitude: 65 N, longitude: 20 E, date: 2026-06-21, time zone: +2 h}\n"
    (folder / "layout.yaml").write_text(north)
    said = draw("dusk", "--in", "quay")
    assert said.status == 2
    assert "the sun does not sink to 6 deg below the horizon, so there is no dusk" in said.err
    assert draw("daylight", "--in", "quay").status == 2
    assert "(course)" not in draw("everything", "--in", "quay").out


# --- what cannot be drawn ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["candel"], "Nothing that can be drawn is called candel. Did you mean candle?"),
        (["everthing"], "Did you mean everything?"),
        (["way", "embers"], "embers is a manner, not a way: write manner embers."),
        (["embers", "oilwick"], "Nothing that can be drawn is called oilwick. Did you mean oil-wick?"),
        (["way", "candel"], "Nothing that can be drawn is called candel. Did you mean candle?"),
        (["candle", "--for", "30"], "--for takes a time with its unit"),
        (["candle", "--for", "1ms"], "--for takes 10 ms or more, not '1ms'."),
        (["candle", "--for", "49h"], "at most 48 h"),
        (["candle", "--seed", "-1"], "--seed"),
        (["candle", "--seed", "x"], "--seed takes a whole number"),
        (["candle", "--as", "Quay Lamp"], "--as takes a lamp's name"),
        (["candle", "--as", "a", "--as", "a"], "--as a is given twice"),
        (["candle", *(f"--as=lamp-{n}" for n in range(9))], "At most 8 neighbours"),
        (["--for", "30s"], "--for goes with a NAME"),
        (["--seed", "3"], "--seed goes with a NAME"),
        (["--as", "a"], "--as goes with a NAME"),
        (["smooth", "--seed", "3"], "--seed changes nothing here: smooth is the same for every lamp."),
        (["dusk", "--as", "a"], "--as changes nothing here"),
        (["candle", "--picture", "a.pdf"], "--picture draws .svg or .png files"),
        (["candle", "--picture", "no/such/folder/a.svg"], "cannot be written"),
        (["candle", "--in", "nowhere"], "There is no file or folder nowhere."),
        (["candle", "--in", ""], "--in needs the folder"),
        ([""], "is empty"),
        (["candle"] * 31, "At most 30 names"),
        (["candle", "--fro", "3s"], "has no option --fro"),
        (["x" * 5000], "Nothing that can be drawn is called"),
        (["\x1b[31m"], "Nothing that can be drawn is called ?[31m."),
    ],
)
def test_one_clear_message(draw: Draw, words: list[str], sentence: str) -> None:
    said = draw(*words)
    assert (said.status, said.out) == (2, "")
    assert sentence in said.err
    assert said.err.startswith("wayside: ")
    assert "Traceback" not in said.err
    assert len(said.err) < 600


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("Fl(2) W 10x", 9),
        ("Fl(2 W 10s", None),
        ("Qk Fl", 1),
        ("Fl(2)W10s R", None),
        ("F" * 200, None),
        ("Fl W 1s", None),
    ],
)
def test_a_character_that_cannot_be_read(draw: Draw, text: str, column: int | None) -> None:
    said = draw(text)
    assert (said.status, said.out) == (2, "")
    first, shown, carets, what = said.err.split("\n")[:4]
    found = re.fullmatch(r"wayside: This is no light's character, from its column (\d+) on:", first)
    assert found
    assert carets.index("^") - 4 == int(found[1]) - 1
    assert column in (None, int(found[1]))
    assert shown.strip() == text[:90]
    assert "Write" in what or "Leave" in what, what


def test_what_is_wrong_with_a_character_is_said_of_it_alone(draw: Draw) -> None:
    for words in (["character", "Fl(2) W 10x"], ["embers", "Fl(2)", "W", "10x"]):
        assert "from its column 9 on:\n    Fl(2) W 10x\n            ^" in draw(*words).err


def test_its_help_keeps_its_promises(draw: Draw) -> None:
    said = draw("--help")
    assert said.status == 0
    examples = re.findall(r"^  wayside draw ?(.*)$", said.out, re.M)
    assert len(examples) >= 6
    for example in examples:
        parser = Parser("draw")
        command_draw.describe(parser)
        options = read_options(parser, shlex.split(example))
        if options.names and not options.in_ and not options.picture:
            assert draw(*shlex.split(example)).status == 0


def test_what_the_read_me_files_show_can_be_drawn(draw: Draw, tmp_path: Path) -> None:
    (tmp_path / "examples").mkdir()  # where the gallery goes
    text = "".join((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "examples/README.md"))
    shown = re.findall(r"^wayside draw ?(.*)$|`wayside draw ?([^`]*)`", text, re.M)
    assert len(shown) >= 4
    for words in {"".join(one) for one in shown}:
        if "NAME" not in words:
            assert draw(*shlex.split(words)).status == 0, words
    assert (tmp_path / "examples/gallery.svg").is_file()


def test_drawing_text_loads_no_plotting_library(folder: Path) -> None:
    code = "import sys; from wayside.cli import main; main(['draw', 'candle']); print('matplotlib' in sys.modules)"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], cwd=folder, env=env, capture_output=True, text=True, check=True)
    assert done.stdout.endswith("False\n")


def test_with_a_layout_a_neighbour_is_one_of_its_lamps(draw: Draw) -> None:
    said = draw("candle", "--in", "quay", "--as", "forge")
    assert said.status == 0
    said = draw("candle", "--in", "quay", "--as", "forgee")
    assert said.status == 2
    assert "has no lamp called forgee. Did you mean forge?" in said.err
