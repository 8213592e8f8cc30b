"""The plan of the house, held by test: who may import whom, one home for each outside library, short functions."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("scenes", "engine", "adapters", "wayside")
# pure values and functions of light and motion: what a scene names, and what check reckons with
LIGHT = {
    "chance",
    "characters",
    "codes",
    "courses",
    "curves",
    "daylight",
    "flicker",
    "lightness",
    "manners",
    "waves",
    "ways",
}
RECORDS = {
    "scenes": {"layout", "conditions", "program", *LIGHT},
    "adapters": {"layout", "program", "conditions", "events", "trace", "waves", "codes", "colour"},
}
LONGEST_FUNCTION = 70
LONGEST_OPENING = 4  # paragraphs may follow it; the opening says what a module owns
NOT_FOR_A_CHECK = (
    "asyncio", "matplotlib", "numpy", "tqdm", "apscheduler", "pydantic", "serial", "pytest",
    "starlette", "uvicorn", "segno", "fpdf",
)  # fmt: skip

MODULES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imports(path: Path) -> Iterator[tuple[str, str]]:
    """Every module that a file imports, wherever in it: (top-level package, rest)."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: imports say the whole name"
            module = node.module or ""
            # `from engine import layout` names a module, too
            names = [f"{module}.{alias.name}" for alias in node.names] if module in ROOMS else [module]
        else:
            continue
        for name in names:
            yield name.partition(".")[0], name.partition(".")[2]


def allowed(room: str, package: str, module: str) -> bool:
    if room in ("wayside", package):
        return True
    return package == "engine" and module.partition(".")[0] in RECORDS.get(room, set())


def importers(package: str) -> set[str]:
    return {name_of(path) for path in MODULES if any(top == package for top, _ in imports(path))}


def test_the_modules_are_found() -> None:
    assert len(MODULES) > 20


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_go_one_way(path: Path) -> None:
    room = path.relative_to(ROOT).parts[0]
    wrong = [f"{top}.{rest}" for top, rest in imports(path) if top in ROOMS and not allowed(room, top, rest)]
    assert not wrong


def test_the_direction_check_can_fail() -> None:
    assert not allowed("engine", "scenes", "nodes")
    assert not allowed("scenes", "engine", "kernel")
    assert not allowed("adapters", "scenes", "problems")
    assert allowed("scenes", "engine", "program")
    assert allowed("wayside", "engine", "kernel")


def test_the_engine_needs_the_standard_library_and_the_calendar_only() -> None:
    outside = {
        (name_of(path), top)
        for path in MODULES
        if path.is_relative_to(ROOT / "engine")
        for top, _ in imports(path)
        if top not in sys.stdlib_module_names and top not in ("engine", "apscheduler")
    }
    assert not outside


@pytest.mark.parametrize(
    ("package", "homes"),
    [
        ("lark", {"scenes/parse.py"}),
        (
            "asyncio",
            {
                "engine/live.py",
                "wayside/commands/run.py",
                "wayside/live/performing.py",
                "wayside/live/edits.py",
                "wayside/live/last_resort.py",
                "wayside/live/links.py",
                "wayside/live/scene_files.py",
                "wayside/live/showing.py",
                "wayside/desk/desk.py",
                "wayside/desk/guard.py",
                "wayside/desk/hub.py",
                "wayside/desk/server.py",
                "wayside/desk/stream.py",
                "wayside/walk/timing_live.py",
                "wayside/typed_lines.py",
                "wayside/walk/desk.py",
                "wayside/walk/performance.py",
            },
        ),
        ("starlette", {"wayside/desk/app.py"}),
        ("uvicorn", {"wayside/desk/server.py"}),
        ("segno", {"wayside/desk/door.py"}),
        ("fpdf", {"wayside/handover/day_sheet_page.py", "wayside/handover/pdf_type.py", "wayside/survey/paper.py"}),
        ("tqdm", {"wayside/progress.py"}),
        ("pytest", {"wayside/pytest_plugin.py"}),
    ],
)
def test_a_library_has_one_home(package: str, homes: set[str]) -> None:
    assert importers(package) == homes


def test_the_serial_library_has_at_most_one_home() -> None:
    assert len(importers("serial")) <= 1


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_says_what_it_owns(path: Path) -> None:
    opening = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    assert opening, "a module opens with what it owns"
    assert len(opening.split("\n\n")[0].splitlines()) <= LONGEST_OPENING


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_functions_are_short(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    long = {
        one.name: lines for one in functions if (lines := (one.end_lineno or 0) - one.lineno + 1) > LONGEST_FUNCTION
    }
    assert not long


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_only_one_file_prints(path: Path) -> None:
    if name_of(path) == "wayside/terminal.py":
        return
    calls = [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Call)]
    assert not [call.lineno for call in calls if isinstance(call.func, ast.Name) and call.func.id == "print"]


def test_a_check_loads_nothing_that_it_does_not_need() -> None:
    code = (
        "import sys; from wayside.cli import main; "
        "status = main(['check', 'examples/pellbrook-quay']); "
        f"print(status, [name for name in {NOT_FOR_A_CHECK!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "0 []", done.stdout


def test_the_plug_in_costs_other_projects_nothing() -> None:
    code = "import sys, pytest, wayside.pytest_plugin as p; print([n for n in sys.modules if n.split('.')[0] in %r])"
    rooms = ("scenes", "engine", "adapters", "lark", "yaml", "matplotlib")
    done = subprocess.run([sys.executable, "-c", code % (rooms,)], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
