"""`wayside new`: asks about a layout, and makes a folder for it whose scene runs.

Decides what is asked and where the folder stands; what stands in its files is decided in `starting`.
"""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import sys
import tempfile
from pathlib import Path

from wayside.starting.crossing import bears_a_challenge, least_approach_mm, times
from wayside.starting.questions import QUESTIONS, Given, NoAnswer, Question, answers, asked, field
from wayside.starting.starting import CROSSING, NONE, SIGNAL, Answers, files
from wayside.terminal import finish, say
from wayside.usage import FINE, UsageProblem, why_not
from wayside.wording import count, listed

WIDEST_COMMAND = 46  # what it does stands beside it up to there, and below it beyond

DESCRIPTION = """\
Makes a folder for a new layout: asks what stands where and what it should do, and writes a layout file with remarks, a
first scene, and rehearsals of it. All of it is checked and played before it is said to be there, so that you begin with
something that works, and change it.

Each question is an option, too. What is given by options is not asked; where nobody is there to be asked, what is not
given is as usual. A folder that holds anything already is left alone.
"""

EXAMPLES = """\
examples:

  wayside new marram-point
  wayside new marram-point --what crossing --tracks 2 --station late
  wayside new promenade --what lamps --place quay --lamps 6 --usual

exit status: 0 the folder is there, 2 wrong usage, or a folder that cannot be made
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it makes"
    parser.add_argument("folder", metavar="FOLDER", nargs="?", help="the folder to be made")
    for question in QUESTIONS:
        metavar = {"name": "NAME"}.get(question.key, "ANSWER")
        parser.add_argument(f"--{question.key}", metavar=metavar, action=Once, help=question.help)
    parser.add_argument("--usual", action="store_true", help="ask nothing: of --what, the rest is as usual")


def run(options: argparse.Namespace) -> int:
    folder = _home(options.folder)
    given = _given(options)
    asks = sys.stdin.isatty() and not options.usual
    if not asks and "what" not in given:
        raise UsageProblem("What is to come alive first? Write --what crossing, lamps, signal or lamp.")
    if asks and any(field(one) not in given for one in asked(dict(given))):
        say("Enter takes what stands in [ ]. Ctrl-C leaves, and nothing is made.\n")
    for question in asked(given):
        if field(question) in given:
            continue
        usual = _name_from(folder) if question.key == "name" else question.usual
        given[field(question)] = _ask(question, usual, given) if asks else _read(question, usual, given)
    for question in QUESTIONS:
        if getattr(options, question.key) is not None and not question.matters(given):
            raise UsageProblem(f"--{question.key} goes with {_owners(question, given)}. Nothing was made.")
    texts = files(_fitting(given))
    held = _make(folder, texts)
    _tell(folder, given, list(texts), held)
    return FINE


# --- answers -------------------------------------------------------------------------------------------------------


def _given(options: argparse.Namespace) -> Given:
    """What the options answer. One that does not belong to what is made is refused."""
    given: Given = {}
    for question in QUESTIONS:
        text = getattr(options, question.key)
        if text is None:
            continue
        if not question.matters(given):
            raise UsageProblem(f"--{question.key} goes with {_owners(question, given)}.")
        given[field(question)] = _read(question, text, given)
    return given


def _fitting(given: Given) -> Answers:
    """All the answers. One that was given before another, or not at all, may not go with it."""
    whole = answers(given)
    if whole.what == CROSSING and times(whole) is None:
        least = least_approach_mm(whole.speed_mm_s)
        raise UsageProblem(
            f"--speed: A train of {whole.speed_mm_s} mm/s that is seen {whole.approach_mm} mm before the road comes "
            f"too soon to close it. Write a slower one, or --approach '{least} mm' or more."
        )
    return whole


def _owners(question: Question, given: Given) -> str:
    if given.get("what") in question.of:
        return "--detectors yes"
    return " or ".join(f"--what {one}" for one in question.of)


def _read(question: Question, text: str, given: Given) -> object:
    """An option's answer, or the usual one where nobody is asked."""
    if not text.strip():
        raise UsageProblem(f"--{question.key} needs something after it.")
    try:
        return question.read(" ".join(text.split()), given)
    except NoAnswer as no:
        raise UsageProblem(f"--{question.key}: {no}") from None


def _ask(question: Question, usual: str, given: Given) -> object:
    """Until there is an answer that will do."""
    say(question.asks)
    while True:
        sys.stdout.write(f"  [{usual}] ")
        finish()
        line = sys.stdin.readline()
        if not line:
            raise UsageProblem("The answers ended before all was asked. Nothing was made.")
        try:
            return question.read(" ".join(line.split()) or usual, given)
        except NoAnswer as no:
            say(f"  {no}")


def _name_from(folder: Path) -> str:
    words = [word for word in folder.name.replace("_", "-").replace("-", " ").split() if word.isprintable()]
    name = " ".join(word[:1].upper() + word[1:] for word in words)
    return "".join(letter for letter in name if letter not in '"\\`')[:60].strip() or "My layout"


# --- the folder ----------------------------------------------------------------------------------------------------


def _home(word: str | None) -> Path:
    """Where the folder is to stand, if it can. Asked first, so that nobody answers in vain."""
    if not word or not word.strip():
        raise UsageProblem("Which folder is to be made? Write its name, such as: wayside new marram-point")
    folder = Path(os.path.abspath(word))
    try:
        if folder.is_dir() and any(folder.iterdir()):
            raise UsageProblem(f"{word} holds something already, and nothing is overwritten. Write another name.")
        if not folder.is_dir() and (folder.exists() or folder.is_symlink()):
            raise UsageProblem(f"{word} is there already, and nothing is overwritten. Write another name.")
        if folder.parent.exists() and not folder.parent.is_dir():
            raise UsageProblem(f"{folder.parent} is a file, and no folder stands in a file. Write another name.")
        if not folder.parent.is_dir():
            raise UsageProblem(f"There is no folder {folder.parent} to make it in. Make that first.")
    except (OSError, ValueError) as problem:
        why = why_not(problem) if isinstance(problem, OSError) else "that is no name of a folder"
        raise UsageProblem(f"{word} cannot be made: {why}.") from None
    return folder


def _make(folder: Path, texts: dict[str, str]) -> str:
    """Write the files beside, check and play them, then put them in their place. What held, in words."""
    try:
        beside = Path(tempfile.mkdtemp(prefix=".wayside-new-", dir=folder.parent))
    except OSError as problem:
        raise UsageProblem(f"Nothing can be made in {folder.parent}: {why_not(problem)}.") from problem
    try:
        for name, text in texts.items():
            (beside / name).write_text(text, encoding="utf-8", newline="\n")
        held = _played(beside)
        beside.chmod(0o777 & ~_umask())
        _place(beside, folder, list(texts))
    except OSError as problem:
        raise UsageProblem(f"{folder} cannot be made: {why_not(problem)}. Nothing was made.") from problem
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return held


def _umask() -> int:
    now = os.umask(0o022)
    os.umask(now)
    return now


def _place(beside: Path, folder: Path, names: list[str]) -> None:
    """At once where the folder is new; file by file, the layout file last, where it is there and empty."""
    if not folder.exists():
        beside.rename(folder)
        return
    placed: list[Path] = []
    try:
        for name in sorted(names, key=lambda name: name == "layout.yaml"):
            with (folder / name).open("xb") as file:  # never over one that came meanwhile
                placed.append(folder / name)
                file.write((beside / name).read_bytes())
    except BaseException:
        for path in placed:
            path.unlink(missing_ok=True)
        raise


def _played(folder: Path) -> str:
    """Check and play all of it; what held. A layout that does not hold is our own fault, and is not made."""
    from wayside.project import load
    from wayside.rehearsal.rehearsing import rehearse

    project = load([folder])
    if project.errors:
        raise RuntimeError(f"a new layout has an error: {project.errors[0].what}")
    results = [rehearse(project.program, one) for one in project.program.rehearsals.values()]
    failed = [one.rehearsal.name for one in results if not one.passed]
    if failed or not results:
        raise RuntimeError(f"rehearsals of a new layout failed: {listed(failed)}")
    expected = sum(len(one.outcomes) for one in results)
    rules = len(project.program.rules)
    kept = f", {count(rules, 'rule')} kept" if rules else ""
    return f"{count(len(results), 'rehearsal')} held, {count(expected, 'expectation')}{kept}"


def _tell(folder: Path, given: Given, names: list[str], held: str) -> None:
    """What is there now, and what to do next."""
    shown = os.path.relpath(folder)
    path = shlex.quote(str(folder) if shown.startswith("..") else shown)
    rows = [
        (f"wayside rehearse {path} --events", "what happens when, and which line did it"),
        (f"wayside run {path} --dry-run", "see it in a browser, with no hardware"),
    ]
    if given["what"] == CROSSING and bears_a_challenge(answers(given)):
        rows.append((f"wayside challenge {path}", "let trains of every habit try to break it"))
    if given["station"] != NONE:
        rows.append(("wayside probe", "find the station's port, and write it into layout.yaml"))
    width = max(len(command) for command, _ in rows)
    say(f"Made {path}: {listed(names)}.")
    say(f"Checked, nothing wrong; rehearsed, {held}.\n")
    say("Read both files: they are yours to change. Then:")
    for command, why in rows:
        say(f"  {command:<{width}}  {why}" if width <= WIDEST_COMMAND else f"  {command}\n      {why}")
    say("\nExtra-low voltage only; hands off moving parts." + _scenery(given))


def _scenery(given: Given) -> str:
    return " A model's sequence is scenery, never a design." if given["what"] in (CROSSING, SIGNAL) else ""
