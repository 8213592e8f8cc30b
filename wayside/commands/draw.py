"""`wayside draw`: lists and draws manners, ways, profiles, arrivals, characters and daylight, to choose from.

Decides what was asked for and where it goes; what a drawing shows and how it looks is decided elsewhere.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from engine.layout import Kind
from wayside import wording
from wayside.progress import watched
from wayside.terminal import say
from wayside.usage import FINE, PROBLEMS, UsageProblem, why_not

if TYPE_CHECKING:
    from wayside.pictures.drawing import Asked, Drawing
    from wayside.project import Project

PICTURES = (".svg", ".png")
LONGEST_NAME = 80
MOST_NAMES = 30  # drawn by one command

DESCRIPTION = """\
Draws what a lamp, an arm or the daylight does over time, so that you can choose. Without a NAME it lists all that can
be drawn. NAME is one from that list, a light's character as charts write it, or a whole group: manners, ways, profiles,
arrivals, characters, daylight, everything. Where a name stands in two groups, `way candle` or `manner candle` says
which. Levels are even to the eye: 50 % looks half as bright as 100 %.
"""

EXAMPLES = """\
examples:

  wayside draw
  wayside draw candle
  wayside draw candle embers --for 30s --picture fires.svg
  wayside draw way gas-mantle --as quay-lamp-1 --as quay-lamp-2
  wayside draw "Fl(2) W 10s"
  wayside draw manners --in examples/pellbrook-quay
  wayside draw everything --picture gallery.svg

    turn on quay-lamps like gas-mantle
    flicker forge like embers between 25 % and 90 %
    show harbour-light as "Fl(2) W 10s"

exit status: 0 drawn, 1 the files of --in have errors, 2 wrong usage or a file that cannot be read or written
"""

OPTIONS = (
    ("--for", "TIME", "how much time the drawing shows, such as 30s; a move or a fade takes that long"),
    ("--seed", "N", "a whole number that everything left to chance is drawn from"),
    ("--in", "FOLDER", "draw manners that this layout's scene files define, too, and its own daylight"),
    ("--picture", "FILE", "draw a picture as FILE.svg or FILE.png instead"),
)
_KEYWORDS = ("--for", "--in")  # their plain names are words of the programming language


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.usage = "wayside draw [NAME ...] [options]"
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it draws"
    parser.add_argument("names", metavar="NAME", nargs="*", help="a name, a character, or a group; several are drawn")
    for name, metavar, text in OPTIONS:
        dest = name[2:] + ("_" if name in _KEYWORDS else "")
        parser.add_argument(name, metavar=metavar, action=Once, help=text, dest=dest)
    parser.add_argument(
        "--as", metavar="LAMP", action="append", dest="lamps", help="for the lamp of this name; neighbours differ"
    )


def run(options: argparse.Namespace) -> int:
    from wayside.pictures.drawing import EVERYTHING, LEAST_US, Asked
    from wayside.pictures.drawing_choice import chosen

    _refuse_odd_mixes(options)
    for_us = None if options.for_ is None else wording.read_duration(options.for_, "--for")
    if for_us is not None and for_us < LEAST_US:
        raise UsageProblem(f"--for takes {wording.duration(LEAST_US)} or more, not {options.for_!r}.")
    seed = 0 if options.seed is None else wording.read_whole_number(options.seed, "--seed")
    asked = Asked(for_us, seed, _lamps(options.lamps or []))
    name = ""
    if options.in_ is not None:
        project = _project(options.in_)
        if project.errors:
            return _stopped_by_errors(project)
        asked = Asked(for_us, seed, asked.lamps, project.layout, project.program.manners)
        name = project.name
        _refuse_strangers(asked.lamps, project)
    words = options.names or ([EVERYTHING] if options.picture else [])
    if not words:
        for line in listed(asked):
            say(line)
        return FINE
    drawings = chosen(words, asked, name)
    _refuse_idle_chance(drawings, options)
    if options.picture is not None:
        _write(drawings, Path(options.picture))
    else:
        _show(drawings)
    return FINE


def _refuse_odd_mixes(options: argparse.Namespace) -> None:
    """Combinations that have no meaning; a table of (is it so, what to say)."""
    bare = not options.names and options.picture is None
    ending = None if options.picture is None else Path(options.picture).suffix.lower()
    mixes = (
        *((bare and value is not None, f"{option} goes with a NAME: write what to draw.")
          for option, value in (("--for", options.for_), ("--seed", options.seed), ("--as", options.lamps))),
        (ending not in (None, *PICTURES),
         f"--picture draws {' or '.join(PICTURES)} files: end the name {options.picture!r} in one of these."),
        (not all(options.names), "One of the names after `wayside draw` is empty."),
        (len(options.names) > MOST_NAMES, f"At most {MOST_NAMES} names are drawn at once."),
        (options.in_ == "", "--in needs the folder of a layout after it."),
    )  # fmt: skip
    for so, sentence in mixes:
        if so:
            raise UsageProblem(sentence)


def _refuse_idle_chance(drawings: Sequence[Drawing], options: argparse.Namespace) -> None:
    from wayside.pictures.drawing import BY_CHANCE

    if not any(drawing.group in BY_CHANCE for drawing in drawings):
        for option, given in (("--seed", options.seed), ("--as", options.lamps)):
            if given is not None:
                raise UsageProblem(f"{option} changes nothing here: {drawings[0].name} is the same for every lamp.")


def _refuse_strangers(lamps: Sequence[str], project: Project) -> None:
    """With a layout at hand, a neighbour is one of its lamps."""
    from scenes.problems import nearest

    known = [output.name for output in project.layout.outputs.values() if output.kind is Kind.LAMP]
    for lamp in lamps:
        if lamp not in known:
            near = nearest(lamp, known)
            meant = f" Did you mean {near}?" if near else ""
            raise UsageProblem(f"{project.name} has no lamp called {lamp}.{meant}")


def _lamps(names: Sequence[str]) -> tuple[str, ...]:
    from wayside.pictures.drawing import MOST_LAMPS

    for name in names:
        if not re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", name) or len(name) > LONGEST_NAME:
            raise UsageProblem(f"--as takes a lamp's name, lower-case words joined by hyphens, not {name!r}.")
        if names.count(name) > 1:
            raise UsageProblem(f"--as {name} is given twice, and would show the same twice. Give another name.")
    if len(names) > MOST_LAMPS:
        raise UsageProblem(f"At most {MOST_LAMPS} neighbours are drawn side by side.")
    return tuple(names)


def _project(folder: str) -> Project:
    from wayside.project import load

    return load([Path(folder)], watched=watched)


def _stopped_by_errors(project: Project) -> int:
    from wayside.commands.check import counted, paragraphs, without

    for paragraph in paragraphs(project.errors, project.lines):
        say(paragraph)
    say(f"{project.name}: {counted(project)}; nothing was drawn. Put the errors right first.{without(project)}")
    return PROBLEMS


# --- the list ------------------------------------------------------------------------------------------------------


def listed(asked: Asked) -> Iterator[str]:
    """All that can be drawn, in groups, each with the line of a scene that uses it."""
    from wayside.pictures.drawing import EVERYTHING, GROUPS, members

    known = members(asked)
    width = max(len(name) for group in known.values() for name in group)
    for group, found in known.items():
        about = GROUPS[group]
        yield f"{group}: {about.about}"
        yield f"    {about.use}\n"
        for name, text in found.items():
            yield f"  {name:<{width}}  {text}"
        yield ""
    yield "wayside draw NAME draws one of these, or any other character of a light; the name of a group, or"
    yield f"{EVERYTHING}, draws all of it. Add --picture FILE.svg for a picture."


# --- where it goes -------------------------------------------------------------------------------------------------


def _show(drawings: Sequence[Drawing]) -> None:
    from wayside.pictures import drawing_text
    from wayside.pictures.drawing import GROUPS

    width = shutil.get_terminal_size().columns - 1
    letters = drawing_text.letters_for(getattr(sys.stdout, "encoding", None))
    for drawing in watched(drawings, "drawing"):
        about = f": {drawing.about}" if drawing.about else ""
        say(f"{drawing.name} ({GROUPS[drawing.group].one}){about}\n")
        for line in drawing_text.lines(drawing, width, letters):
            say(line)
        say("")


def _write(drawings: Sequence[Drawing], path: Path) -> None:
    from wayside.pictures import drawing_picture

    try:
        drawing_picture.draw(drawings, path, watched)
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be written: {why_not(problem)}.") from problem
    say(f"The picture is in {path}.")
