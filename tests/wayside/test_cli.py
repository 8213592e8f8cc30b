"""The command line as a person meets it: what is printed where, exit statuses, and every way out."""

from __future__ import annotations

import io
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from wayside import progress, terminal, wording
from wayside.cli import main
from wayside.commands import check as command_check

ROOT = Path(__file__).parents[2]

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text}
outputs:
  amber: {kind: lamp, link: main, pin: 1}
  quay-lamp: {kind: lamp, dimmable: yes, link: main, pin: 2}
detectors:
  lane: {kind: section}
"""
SCENES = """\
scene lane-lamp
    turn on amber
    wait 3 s
    turn off amber

scene evening
    starts at 17:45 layout time
    fade quay-lamp to 80 % over 4 s

rehearsal lamp-goes-out
    plays lane-lamp
    expect amber is on from 0 s to 3 s
    expect amber is off by 3 s
"""
FAILING = """
rehearsal lamp-stays
    plays lane-lamp
    expect amber is on from 0 s to 5 s
"""


class Said(NamedTuple):
    status: int
    out: str
    err: str


Wayside = Callable[..., Said]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "quay"
    place.mkdir()
    (place / "layout.yaml").write_text(LAYOUT)
    (place / "lane.scene").write_text(SCENES)
    monkeypatch.chdir(tmp_path)
    return place


@pytest.fixture
def wayside(folder: Path, capsys: pytest.CaptureFixture[str]) -> Wayside:
    def run(*words: str) -> Said:
        status = main(words)
        return Said(status, *capsys.readouterr())

    return run


def in_a_process(*words: str, cwd: Path, **rest: object) -> subprocess.CompletedProcess[bytes]:
    env = {**os.environ, "PYTHONPATH": str(ROOT), **rest.pop("env", {})}  # type: ignore[dict-item]
    return subprocess.run([sys.executable, "-m", "wayside", *words], cwd=cwd, env=env, capture_output=True, check=False)


# --- check ---------------------------------------------------------------------------------------------------------


def test_nothing_wrong_is_one_line(wayside: Wayside) -> None:
    assert wayside("check", "quay") == (0, "Pellbrook Quay: 1 scene file, 2 scenes, 2 outputs, nothing wrong.\n", "")


def test_every_problem_in_one_go_errors_before_advice(wayside: Wayside, folder: Path) -> None:
    (folder / "a.scene").write_text("scene a\n    turn on ambre\n    set amber to 140 %\n")
    (folder / "b.scene.txt").write_text("")
    said = wayside("check", "quay")
    assert said.status == 1
    paragraphs = said.out.split("\n\n")
    assert paragraphs[0].startswith("quay/a.scene:2:13: error: ")
    assert "    2 |     turn on ambre\n" in paragraphs[0]
    assert "                    ^^^^^" in paragraphs[0]
    assert "amber" in paragraphs[0]
    assert paragraphs[1].startswith("quay/a.scene:3:")
    assert paragraphs[2] == "Advice (nothing stops because of it):"
    assert paragraphs[3].startswith("quay/b.scene.txt:1:1: advice: ")
    assert paragraphs[4] == "Pellbrook Quay: 2 errors, 1 piece of advice; 2 scene files read.\n"


def test_a_file_without_its_neighbours_is_pointed_to_its_folder(wayside: Wayside, folder: Path) -> None:
    (folder / "groups.scene").write_text("group lamps: amber\n")
    (folder / "use.scene").write_text("rehearsal r\n    plays lane-lamp\n    expect all of lamps are off by 3 s\n")
    assert wayside("check", "quay").status == 0
    for command in ("check", "rehearse"):
        said = wayside(command, "quay/use.scene")
        assert said.status == 1
        assert "Names from groups.scene and lane.scene are not known here: check the folder" in said.out


def test_advice_alone_is_fine(wayside: Wayside, folder: Path) -> None:
    (folder / "b.scene.txt").write_text("")
    said = wayside("check", "quay")
    assert said.status == 0
    assert said.out.endswith("2 outputs, nothing wrong, 1 piece of advice.\n")


def test_a_layout_without_scenes_can_be_checked(wayside: Wayside, folder: Path) -> None:
    (folder / "lane.scene").unlink()
    said = wayside("check", "quay")
    assert said == (0, "Pellbrook Quay: no scene files, no scenes, 2 outputs, nothing wrong.\n", "")


def test_the_schema_is_printed_and_nothing_else(wayside: Wayside) -> None:
    said = wayside("check", "--schema")
    assert said.status == 0
    assert "outputs" in json.loads(said.out)["properties"]
    assert wayside("check", "--schema", "quay").status == 2


# --- rehearse ------------------------------------------------------------------------------------------------------


def test_a_line_for_each_rehearsal_and_a_summary(wayside: Wayside) -> None:
    said = wayside("rehearse", "quay")
    assert said.status == 0
    first, second, last = said.out.splitlines()
    assert first == "Pellbrook Quay: 1 rehearsal"
    assert second.startswith("  held    lamp-goes-out  2 expectations, ")
    assert last == "Pellbrook Quay: it held, 2 expectations."


def test_a_failure_shows_what_when_and_the_line(wayside: Wayside, folder: Path) -> None:
    (folder / "more.scene").write_text(FAILING)
    said = wayside("rehearse", "quay")
    assert said.status == 1
    assert "  failed  lamp-stays     1 of 1 expectation failed, " in said.out
    assert "quay/more.scene:4:5: expected" in said.out
    assert "expect amber is on from 0 s to 5 s" in said.out
    assert "failed at 3 s: " in said.out
    assert "the line that did it: quay/lane.scene:4:5" in said.out
    assert "turn off amber" in said.out
    assert said.out.endswith("Pellbrook Quay: 1 of 2 rehearsals failed.\n")


def test_rules_are_judged_in_every_rehearsal(wayside: Wayside, folder: Path) -> None:
    (folder / "rules.scene").write_text("rule dark\n    never amber is on while quay-lamp is on\n")
    kept = wayside("rehearse", "quay")
    assert kept.status == 0
    assert "kept  dark  line 2" in kept.out
    assert kept.out.endswith("1 rule kept.\n")
    (folder / "rules.scene").write_text("rule dark\n    never amber is on\n")
    broken = wayside("rehearse", "quay")
    assert broken.status == 1
    assert "rules.scene:2:5: rule dark" in broken.out
    assert "never amber is on" in broken.out
    assert broken.out.endswith("1 of 1 rehearsal failed; 1 rule broken.\n")


def test_what_comes_at_the_same_instant_was_not_there_before(wayside: Wayside, folder: Path) -> None:
    """Both lamps come on at once: the second holds then, so `did not hold` beside its state would contradict itself."""
    (folder / "rules.scene").write_text("rule lead\n    amber is on at least 2 s before lane is occupied\n")
    (folder / "lane.scene").write_text(
        "scene lamp\n    starts each time lane becomes occupied\n    turn on amber\n\n"
        "rehearsal at-once\n    begins with every detector clear\n    at 5 s lane becomes occupied\n    lasts 9 s\n"
    )
    said = " ".join(wayside("rehearse", "quay").out.split())
    assert "at 5 s `lane is occupied` came, and `amber is on` had not held before" in said


def test_only_plays_what_is_named(wayside: Wayside, folder: Path) -> None:
    (folder / "more.scene").write_text(FAILING)
    assert wayside("rehearse", "quay", "--only", "lamp-goes-out").status == 0
    said = wayside("rehearse", "quay", "--only", "lamp-stays", "--only", "lamp-goes-out")
    assert said.status == 1
    assert said.out.startswith("Pellbrook Quay: 2 rehearsals\n")


def test_errors_stop_a_rehearsal(wayside: Wayside, folder: Path) -> None:
    (folder / "a.scene").write_text("scene a\n    turn on ambre\n")
    said = wayside("rehearse", "quay")
    assert said.status == 1
    assert "quay/a.scene:2:13: error: " in said.out
    assert said.out.endswith("Pellbrook Quay: 1 error; nothing was rehearsed. Put the errors right first.\n")


def test_no_rehearsals_is_said(wayside: Wayside, folder: Path) -> None:
    (folder / "lane.scene").write_text("scene a\n    turn on amber\n")
    said = wayside("rehearse", "quay")
    assert said.status == 1
    assert "hold no rehearsal" in said.out


def test_a_scene_plays_freely_with_its_event_list(wayside: Wayside) -> None:
    said = wayside("rehearse", "quay", "--scene", "lane-lamp", "--for", "20s")
    assert said.status == 0
    assert "  played  lane-lamp  nothing expected, 20 s" in said.out
    assert "lane-lamp, lane.scene:2" in said.out
    assert "amber" in said.out
    assert "17:40" in wayside("rehearse", "quay", "--scene", "evening", "--from", "17:40", "--for", "10min").out


def test_the_event_list_of_a_rehearsal(wayside: Wayside) -> None:
    plain, events = wayside("rehearse", "quay"), wayside("rehearse", "quay", "--events")
    assert "asked by" not in plain.out
    assert "asked by" in events.out


def test_json_on_standard_output_is_json_and_nothing_else(wayside: Wayside) -> None:
    said = wayside("rehearse", "quay", "--json")
    assert json.loads(said.out)["header"]["rehearsal"] == "lamp-goes-out"
    assert "held" in said.err


def test_errors_do_not_stand_where_json_was_asked_for(wayside: Wayside, folder: Path) -> None:
    (folder / "a.scene").write_text("scene a\n    turn on ambre\n")
    said = wayside("rehearse", "quay", "--json")
    assert (said.status, said.out) == (1, "")
    assert "nothing was rehearsed" in said.err


def test_json_to_a_file_one_object_or_a_list(wayside: Wayside, folder: Path) -> None:
    assert "The trace is in one.json." in wayside("rehearse", "quay", "--json", "one.json").out
    assert json.loads(Path("one.json").read_text())["outcomes"][0]["passed"] is True
    (folder / "more.scene").write_text(FAILING)
    assert wayside("rehearse", "quay", "--json", "both.json").status == 1
    assert [one["header"]["rehearsal"] for one in json.loads(Path("both.json").read_text())] == [
        "lamp-goes-out",
        "lamp-stays",
    ]


@pytest.mark.parametrize(("name", "beginning"), [("p.svg", b"<?xml"), ("p.PNG", b"\x89PNG")])
def test_a_picture(wayside: Wayside, name: str, beginning: bytes) -> None:
    said = wayside("rehearse", "quay", "--picture", name)
    assert said.status == 0
    assert f"The picture is in {name}." in said.out
    assert Path(name).read_bytes().startswith(beginning)


def test_several_pictures_have_the_rehearsals_names(wayside: Wayside, folder: Path) -> None:
    (folder / "more.scene").write_text(FAILING)
    wayside("rehearse", "quay", "--picture", "p.svg")
    assert sorted(path.name for path in Path().glob("*.svg")) == ["p-lamp-goes-out.svg", "p-lamp-stays.svg"]


@pytest.mark.parametrize("option", ["--json=no/such/folder/x.svg", "--picture=no/such/folder/x.svg"])
def test_a_file_that_cannot_be_written(wayside: Wayside, option: str) -> None:
    said = wayside("rehearse", "quay", option)
    assert said.status == 2
    assert said.err == f"wayside: {Path('no/such/folder/x.svg')} cannot be written: No such file or directory.\n"


# --- wrong usage ---------------------------------------------------------------------------------------------------

WRONG = [
    ([], "usage: wayside COMMAND"),
    (["chek", "quay"], "There is no command chek. Did you mean check?"),
    (["frobnicate"], "There is no command frobnicate."),
    (["--versoin"], "There is no option --versoin. Did you mean --version?"),
    (["check"], "Which layout? Write its folder: wayside check FOLDER"),
    (["check", ""], "is empty"),
    (["check", "nowhere"], "There is no file or folder nowhere."),
    (["check", "qay"], "Did you mean quay?"),
    (["check", "quay", "--shcema"], "no option --shcema. Did you mean --schema?"),
    (["check", "quay", "--schem"], "no option --schem. Did you mean --schema?"),
    (["check", "quay", "--schema=1"], "--schema takes nothing after it"),
    (["rehearse", "quay", "--onyl=x"], "no option --onyl. Did you mean --only?"),
    (["rehearse", "quay", "--only"], "--only needs something after it"),
    (["rehearse", "quay", "--only", "lamp-goes-ot"], "no rehearsal lamp-goes-ot. Did you mean lamp-goes-out?"),
    (["rehearse", "quay", "--only", ""], "The name of the rehearsal is missing. There is lamp-goes-out."),
    (["rehearse", "quay", "--only", "zzz"], "There is lamp-goes-out."),
    (["rehearse", "quay", "--only", "evening"], "evening is a scene, not a rehearsal: write --scene evening."),
    (["rehearse", "quay", "--scene", "evning"], "no scene evning. Did you mean evening?"),
    (["rehearse", "quay", "--scene", "zzz"], "There is lane-lamp and evening."),
    (["rehearse", "quay", "--scene", "lamp-goes-out"], "write --only lamp-goes-out."),
    (["rehearse", "quay", "--scene", "evening", "--only", "x"], "give only one of them"),
    (["rehearse", "quay", "--from", "17:40"], "--from goes with --scene"),
    (["rehearse", "quay", "--for", "20min"], "--for goes with --scene"),
    (["rehearse", "quay", "--scene", "evening", "--from", "25:00"], "--from takes a time of day such as 17:40"),
    (["rehearse", "quay", "--scene", "evening", "--from", "quarter to six"], "--from takes a time of day"),
    (["rehearse", "quay", "--scene", "evening", "--for", "20"], "--for takes a time with its unit"),
    (["rehearse", "quay", "--scene", "evening", "--for", "0 s"], "more than nothing"),
    (["rehearse", "quay", "--scene", "evening", "--for", "49 h"], "at most 48 h"),
    (["rehearse", "quay", "--seed", "-1"], "--seed"),
    (["rehearse", "quay", "--seed", "x"], "--seed takes a whole number"),
    (["rehearse", "quay", "--seed", "9" * 19], "--seed takes a whole number"),
    (["rehearse", "quay", "--seed", "1", "--seed", "2"], "--seed is given twice"),
    (["rehearse", "quay", "--picture", "p.gif"], "--picture draws .svg or .png files"),
    (["rehearse", "quay", "--picture", "p.svg", "--json", "p.svg"], "would write the same file"),
    (["rehearse", "--json", "quay"], "Put the folder first: rehearse quay --json"),
]


@pytest.mark.parametrize(("words", "sentence"), WRONG, ids=[" ".join(words)[:60] for words, _ in WRONG])
def test_wrong_usage_is_one_sentence_and_status_two(wayside: Wayside, words: list[str], sentence: str) -> None:
    said = wayside(*words)
    assert said.status == 2
    assert said.out == ""
    assert sentence in said.err
    assert "Traceback" not in said.err


def test_options_may_stand_before_between_and_after(wayside: Wayside) -> None:
    said = wayside("rehearse", "--only", "lamp-goes-out", "quay/layout.yaml", "--seed", "3", "quay/lane.scene")
    assert said.status == 0


@pytest.mark.parametrize("words", [["--help"], ["check", "--help"], ["rehearse", "-h"]])
def test_help_teaches_with_an_example(wayside: Wayside, words: list[str]) -> None:
    said = wayside(*words)
    assert said.status == 0
    assert "examples/pellbrook-quay" in said.out
    assert "exit status: 0" in said.out
    assert max(map(len, said.out.splitlines())) <= 120


# --- ways out ------------------------------------------------------------------------------------------------------


def test_a_fault_of_ours_is_one_sentence(wayside: Wayside, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(options: object) -> int:
        raise ZeroDivisionError("secret")

    monkeypatch.setattr(command_check, "given_paths", fail)
    monkeypatch.delenv("WAYSIDE_DEBUG", raising=False)
    said = wayside("check", "quay")
    assert said.status == 70
    assert "fault in Wayside, not in your files: TypeError at wayside/commands/check.py:" in said.err
    assert len(said.err.splitlines()) == 1
    monkeypatch.setenv("WAYSIDE_DEBUG", "1")
    assert "Traceback" in wayside("check", "quay").err


def test_ctrl_c_is_one_line(wayside: Wayside, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(words: object, command: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(command_check, "given_paths", interrupted)
    said = wayside("check", "quay")
    assert (said.status, said.err.strip()) == (130, "Stopped.")


def test_an_old_alphabet_does_not_stop_it(folder: Path) -> None:
    (folder / "a.scene").write_text(
        'scene a\n    note "Caf\u00e9 \u2014 öffnet"\n    turn on ambre  # \u00e9\n', encoding="utf-8"
    )
    env = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = in_a_process("check", "quay", cwd=folder.parent, env=env)
    assert done.returncode == 1
    assert b"ambre  # ?" in done.stdout
    assert done.stderr == b""


def test_control_characters_do_not_reach_the_terminal(folder: Path) -> None:
    done = in_a_process("check", "qu\x1b[2Jay", cwd=folder.parent)
    assert done.returncode == 2
    assert b"\x1b" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="pipes and signals of POSIX")
def test_a_closed_pipe_is_left_quietly(folder: Path) -> None:
    (folder / "a.scene").write_text("scene a\n" + "    turn on ambre\n" * 3000)
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "wayside", "check", "quay"],
        cwd=folder.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=writer,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (141, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_said(folder: Path) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "wayside", "check", "quay"],
            cwd=folder.parent,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr == b"wayside: The output cannot be written: No space left on device.\n"


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.skipif(os.name != "posix", reason="a shell of POSIX closes streams")
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
@pytest.mark.parametrize("words", ["check quay", "new bay", "jog far-barrier --in harbour --dry-run", "nonsense"])
def test_a_stream_that_was_closed_is_an_empty_one(folder: Path, closed: str, words: str) -> None:
    shutil.copytree(ROOT / "examples/pellbrook-quay", folder.parent / "harbour")
    line = f'exec "{sys.executable}" -m wayside {words} {closed}'
    whole = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        ["sh", "-c", line], cwd=folder.parent, env=whole, capture_output=True, check=False, timeout=60
    )
    assert done.returncode == (2 if words in ("new bay", "nonsense") else 0)
    assert b"fault in Wayside" not in done.stderr
    assert b"Traceback" not in done.stderr


def test_an_interrupt_from_outside(folder: Path) -> None:
    code = (
        "import os, signal, sys; from wayside import cli; from wayside.commands import check; "
        f"check.load = lambda *a, **k: os.kill(os.getpid(), {int(signal.SIGINT)}); "
        "sys.exit(cli.main(['check', 'quay']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 130
    assert done.stderr.strip() == b"Stopped."


def test_no_progress_in_a_pipe(folder: Path) -> None:
    for number in range(5):
        (folder / f"{number}.scene").write_text("")
    assert in_a_process("check", "quay", cwd=folder.parent).stderr == b""


class Tty(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_sees_progress_and_results_on_lines_of_their_own(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Tty()
    monkeypatch.setattr(progress, "SHOWN_AFTER_S", 0)
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(sys, "stdout", screen)
    for name in progress.watched(["first", "second"], "rehearsing"):
        terminal.say(name)
    shown = [line.rpartition("\r")[2] for line in screen.getvalue().split("\n")]
    assert shown[:2] == ["first", "second"]
    assert "rehearsing:" in screen.getvalue()
    assert shown[-1].strip() == ""  # nothing of the bar is left


def test_one_long_thing_moves_its_bar_and_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Tty()
    monkeypatch.setattr(progress, "REDRAWN_EVERY_S", 0)
    monkeypatch.setattr(progress, "SHOWN_AFTER_S", 0)
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(sys, "stdout", screen)
    with progress.shares(1, "rehearsing") as come:
        assert come is not None
        come(0, 0.5)
        terminal.say("half")
        come(0, 0.2)  # it plays again
        come(0, 1.0)
    shown = [line.rpartition("\r")[2] for line in screen.getvalue().split("\n")]
    assert shown[0] == "half"
    assert "rehearsing:  50% |" in screen.getvalue()
    assert shown[-1].strip() == ""


def test_nobody_looking_costs_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress.shares(1, "rehearsing") as come:
        assert come is None


# --- words ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("us", "text"),
    [
        (0, "0 s"),
        (400_000, "400 ms"),
        (400, "0.0004 s"),
        (3_250_000, "3.25 s"),
        (54_933_334, "54.933 s"),
        (22_000_001, "22.000001 s"),
        (21_999_999, "21.999999 s"),
        (22_000_000, "22 s"),
        (60_000_000, "1 min"),
        (90_000_000, "1 min 30 s"),
        (7_500_000_000, "2 h 5 min"),
    ],
)
def test_times_in_words(us: int, text: str) -> None:
    assert wording.duration(us) == text


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("20min", 1_200_000_000),
        ("90 s", 90_000_000),
        ("1,5 h", 5_400_000_000),
        ("250 ms", 250_000),
        ("2 Minutes", 120_000_000),
    ],
)
def test_times_are_read_in_any_plain_spelling(text: str, us: int) -> None:
    assert wording.read_duration(text, "--for") == us
