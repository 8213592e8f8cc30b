"""Rehearsals as tests: collected where there is a layout file, told as on the command line, unseen elsewhere."""

from __future__ import annotations

from pathlib import Path

import pytest

from wayside import project, pytest_plugin

pytest_plugins = ["pytester"]

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text}
outputs:
  amber: {kind: lamp, link: main, pin: 1}
"""
SCENES = """\
scene lane-lamp
    turn on amber
    wait 3 s
    turn off amber

rehearsal lamp-goes-out
    plays lane-lamp
    expect amber is off by 3 s

rehearsal lamp-stays
    plays lane-lamp
    expect amber is on from 0 s to 5 s
"""


def test_it_looks_for_the_files_that_the_command_line_reads() -> None:
    assert (pytest_plugin.LAYOUT_NAME, pytest_plugin.SCENE_ENDING) == (project.LAYOUT_NAME, project.SCENE_ENDING)


@pytest.fixture
def quay(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    """A project with one layout in a folder; the plug-in is loaded by name where it is not installed."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    folder = pytester.mkdir("quay")
    (folder / "layout.yaml").write_text(LAYOUT)
    (folder / "lane.scene").write_text(SCENES)
    return pytester


def run(pytester: pytest.Pytester, *words: str) -> pytest.RunResult:
    return pytester.runpytest_inprocess("-p", "wayside.pytest_plugin", *words)


def test_each_rehearsal_is_a_test_by_file_and_name(quay: pytest.Pytester) -> None:
    done = run(quay, "--collect-only", "-q")
    done.stdout.fnmatch_lines(["quay/lane.scene::lamp-goes-out", "quay/lane.scene::lamp-stays"])


def test_a_failure_reads_as_on_the_command_line(quay: pytest.Pytester) -> None:
    done = run(quay)
    done.assert_outcomes(passed=1, failed=1)
    done.stdout.fnmatch_lines(
        [
            "*rehearsal lamp-stays*",
            "quay/lane.scene:12:5: expected",
            "   12 |     expect amber is on from 0 s to 5 s",
            "*failed at 3 s: *",
            "*the line that did it: quay/lane.scene:4:5",
            "    4 |     turn off amber",
        ]
    )
    done.stdout.no_fnmatch_line("*Traceback*")
    done.stdout.no_fnmatch_line("*pytest_plugin.py*")


def test_one_rehearsal_can_be_asked_for(quay: pytest.Pytester) -> None:
    run(quay, "quay/lane.scene::lamp-goes-out").assert_outcomes(passed=1)
    run(quay, "-k", "stays").assert_outcomes(failed=1, deselected=1)


def test_errors_fail_the_collection_readably(quay: pytest.Pytester) -> None:
    Path("quay/bad.scene").write_text("scene b\n    turn on ambre\n")
    done = run(quay)
    done.assert_outcomes(errors=2)
    done.stdout.fnmatch_lines(
        [
            "*ERROR collecting quay/bad.scene*",
            "quay/bad.scene:2:13: error: *",
            "    2 |     turn on ambre",
            "*^^^^^",
            "*ERROR collecting quay/lane.scene*",
            "Not played, because of errors elsewhere:",
            "quay/bad.scene:2:13: error: *",
        ]
    )
    done.stdout.no_fnmatch_line("*Traceback*")


def test_a_layout_with_an_error_is_shown_in_full(quay: pytest.Pytester) -> None:
    Path("quay/layout.yaml").write_text(LAYOUT.replace("kind: lamp", "kind: lmap"))
    done = run(quay)
    done.assert_outcomes(errors=1)
    done.stdout.fnmatch_lines(["quay/layout.yaml:5:*: error: *", "    5 |   amber:*"])


def test_a_file_that_cannot_be_read_fails_the_collection(quay: pytest.Pytester) -> None:
    Path("quay/gone.scene").symlink_to("nowhere")
    done = run(quay)
    assert done.ret != 0
    done.stdout.fnmatch_lines(["*gone.scene cannot be read: No such file or directory."])


def test_a_folder_without_a_layout_is_left_alone(quay: pytest.Pytester) -> None:
    Path("elsewhere").mkdir()
    Path("elsewhere/not-ours.scene").write_text("something else entirely")
    quay.makepyfile("def test_nothing():\n    pass\n")
    done = run(quay, "elsewhere", "test_a_folder_without_a_layout_is_left_alone.py")
    done.assert_outcomes(passed=1)


def test_the_fixture_plays_rehearsals_and_scenes(quay: pytest.Pytester) -> None:
    quay.makepyfile(
        """
        from engine.trace import Told

        def test_rehearsal(wayside_rehearse):
            result = wayside_rehearse("quay", "lamp-stays")
            assert [outcome.passed for outcome in result.outcomes] == [False]

        def test_scene(wayside_rehearse):
            result = wayside_rehearse("quay/lane.scene", "lane-lamp", seed=7, begins_at="17:40", lasts="20 s")
            told = [(record.at_us, record.wave.value) for record in result.trace
                    if isinstance(record, Told) and record.scene == "lane-lamp"]
            assert told == [(0, 1.0), (3_000_000, 0.0)]
            assert result.ended_us == 20_000_000
        """
    )
    run(quay, "-k", "test_").assert_outcomes(passed=2, deselected=2)


def test_the_fixture_fails_with_a_sentence(quay: pytest.Pytester) -> None:
    quay.makepyfile(
        """
        def test_miss(wayside_rehearse):
            wayside_rehearse("quay", "lane-lmap")

        def test_nowhere(wayside_rehearse):
            wayside_rehearse("qay", "lane-lamp")
        """
    )
    done = run(quay, "-k", "test_")
    done.assert_outcomes(failed=2, deselected=2)
    done.stdout.fnmatch_lines(
        ["There is no rehearsal or scene lane-lmap. Did you mean lane-lamp?", "There is no file or folder qay.*"]
    )
    done.stdout.no_fnmatch_line("*another exception*")


def test_a_test_in_python_that_fails_says_why_the_rehearsal_failed(quay: pytest.Pytester) -> None:
    quay.makepyfile(
        """
        def test_stays(wayside_rehearse):
            assert wayside_rehearse("quay", "lamp-stays").passed
        """
    )
    done = run(quay, "-k", "test_")
    done.assert_outcomes(failed=1, deselected=2)
    done.stdout.fnmatch_lines(["*rehearsal lamp-stays*", "*lane.scene:12:5: expected", "*the line that did it: *:4:5"])
