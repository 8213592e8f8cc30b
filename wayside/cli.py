"""The command line: which command, with which options, and how the program leaves.

Every way out ends here: results, problems, Ctrl-C, a closed pipe, and faults of our own. Knows nothing of scenes.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from itertools import pairwise
from typing import Any, NamedTuple, NoReturn

from wayside import terminal
from wayside.usage import FINE, INTERRUPTED, OUR_FAULT, PIPE_CLOSED, USAGE, UsageProblem, near_miss

OURS = ("scenes", "engine", "adapters", "wayside")
HELP_WIDTH = 100


class Command(NamedTuple):
    """A command's one-line summary, and which of `wayside.commands` has `describe(parser)` and `run(options)`."""

    summary: str
    module: str


COMMANDS = {
    "new": Command("make the folder of a new layout: a few questions, and a scene that runs", "new"),
    "check": Command("find everything wrong with a layout's files, before anything moves", "check"),
    "rehearse": Command("play the rehearsals, or any scene, in no time and with no layout", "rehearse"),
    "challenge": Command("drive trains against the rules until one breaks, or none does", "challenge"),
    "compare": Command("measure a crossing against published practice, from what rehearsals did", "compare"),
    "run": Command("perform a show in real time, with --dry-run on no hardware at all", "run"),
    "journal": Command("what happened in shows: filtered, followed, replayed, summed up", "journal"),
    "day-sheet": Command("one page for whoever minds a show day: times, signs, what to do if", "day_sheet"),
    "pack": Command("what a show needs in one file, for another computer", "pack"),
    "unpack": Command("put a pack into a folder, check and rehearse it there", "unpack"),
    "stand-in": Command("a far end that is not there: see what would be told to the hardware", "stand_in"),
    "survey": Command("what is wired where, and what each supply has to carry", "survey"),
    "probe": Command("see which far ends answer, and what is wrong when nothing moves", "probe"),
    "try": Command("tell one output one thing, and see what goes over the wire for it", "try_one"),
    "walk": Command("go round the layout: does each thing do what it should, and if not, why", "walk"),
    "time": Command("time a train to the crossing, and see whether the closing fits", "time"),
    "jog": Command("step a servo by hand, and set its ends, limits and travel", "jog"),
    "draw": Command("show how lamps flicker, come on and fade, so that you can choose", "draw"),
}

HELP = """\
usage: wayside COMMAND ...

Wayside plays plain-text scenes on a model railway: lamps, signals, crossings. A layout is a folder with a layout
file, layout.yaml, and files that end in .scene.

commands:
{commands}

  wayside COMMAND --help    what a command does and takes
  wayside --version         which version this is

example, a scene:

    scene evening
        starts at 17:45 layout time
        for each lamp in quay-lamps, 6 s apart
            fade lamp to 85 % over 2 s

  wayside check examples/pellbrook-quay
  wayside rehearse examples/pellbrook-quay
  wayside draw gas-mantle

exit status: 0 fine, 1 the scenes or a far end have a problem, 2 wrong usage or a file that cannot be read or
written, 70 a fault in Wayside itself, 130 stopped by Ctrl-C, 141 nobody read the output to its end
"""


class Help(argparse.RawDescriptionHelpFormatter):
    """Help of one width: asking the terminal for its own loads four modules at every start."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=HELP_WIDTH)


class Parser(argparse.ArgumentParser):
    """An option reader whose complaints are ours."""

    def __init__(self, name: str) -> None:
        super().__init__(
            prog=f"wayside {name}",
            allow_abbrev=False,
            add_help=True,
            usage=f"wayside {name} FOLDER [options]",
            formatter_class=Help,
        )
        self._positionals.title = "what it reads"

    def error(self, message: str) -> NoReturn:
        raise UsageProblem(_in_our_words(message, self.prog))


class Once(argparse.Action):
    """An option that can be given once: a second one would silently win."""

    def __call__(self, parser: Any, namespace: Any, values: Any, option_string: str | None = None) -> None:
        if getattr(namespace, self.dest) is not None:
            raise UsageProblem(f"{option_string} is given twice. Give it once.")
        setattr(namespace, self.dest, values)


def _in_our_words(message: str, command: str) -> str:
    """The option reader's few complaints, as sentences."""
    option, _, complaint = message.removeprefix("argument ").partition(": ")
    if complaint.startswith("expected one argument"):
        return f"{option} needs something after it. `{command} --help` shows what."
    if complaint.startswith("ignored explicit argument"):
        return f"{option} takes nothing after it."
    return f"{message[:1].upper()}{message[1:]}. `{command} --help` shows what can be written."


def read_options(parser: Parser, arguments: Sequence[str]) -> argparse.Namespace:
    """The options of a command; a wrong one is a UsageProblem with the nearest right one."""
    try:
        options, unknown = parser.parse_known_intermixed_args(arguments)
    except UsageProblem as problem:
        raise _below_nothing(arguments) or problem from None
    if unknown:
        word = unknown[0].partition("=")[0]
        if not word.startswith("-"):
            raise UsageProblem(f"{word} is one word too many. `{parser.prog} --help` shows what can be written.")
        known = [name for name in parser._option_string_actions if name.startswith("--")]
        raise UsageProblem(
            f"{parser.prog} has no option {word}.{near_miss(word, known)} `{parser.prog} --help` lists them all."
        )
    return options


def _below_nothing(arguments: Sequence[str]) -> UsageProblem | None:
    """`--trains -5s`: the option reader takes the value for an option, and would say that there is none."""
    for option, word in pairwise(arguments):
        if option.startswith("--") and "=" not in option and word[:1] == "-" and word[1:2].isdecimal():
            return UsageProblem(f"{option} takes nothing that is less than nothing: {word}.")
    return None


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status. Nothing is ever raised out of here."""
    terminal.prepare()
    try:
        status = _command(list(sys.argv[1:] if argv is None else argv))
        terminal.finish()
        return status
    except UsageProblem as problem:
        return _leave(f"wayside: {problem}", USAGE)
    except KeyboardInterrupt:
        return _leave("\nStopped.", INTERRUPTED)
    except BrokenPipeError:
        terminal.drop_output(sys.stdout, sys.stderr)
        return PIPE_CLOSED
    except Exception as problem:  # the last net: whatever it is, a person gets a sentence
        return _our_fault(problem)


def _command(arguments: list[str]) -> int:
    word = arguments[0] if arguments else ""
    if word in ("--help", "-h"):
        terminal.say(_help())
        return FINE
    if word == "--version":
        from importlib.metadata import version

        terminal.say(f"wayside {version('wayside')}")
        return FINE
    if not word:
        terminal.tell(_help())
        return USAGE
    if word not in COMMANDS:
        kind = "option" if word.startswith("-") else "command"
        near = near_miss(word, [*COMMANDS, "--help", "--version"])
        raise UsageProblem(f"There is no {kind} {word}.{near} `wayside --help` lists them all.")
    module = import_module(f"wayside.commands.{COMMANDS[word].module}")
    parser = Parser(word)
    module.describe(parser)
    try:
        options = read_options(parser, arguments[1:])
    except SystemExit:  # how the option reader leaves after printing the help that was asked for
        return FINE
    status: int = module.run(options)
    return status


def _help() -> str:
    width = max(map(len, COMMANDS))
    rows = [f"  {name:<{width}}  {command.summary}" for name, command in COMMANDS.items()]
    return HELP.format(commands="\n".join(rows)).rstrip()


# --- ways out ------------------------------------------------------------------------------------------------------


def _leave(message: str, status: int) -> int:
    try:
        terminal.finish()
        terminal.tell(message)
        terminal.finish()
    except (OSError, UsageProblem):  # nobody is there to hear it
        terminal.drop_output(sys.stdout, sys.stderr)
    return status


def _our_fault(problem: BaseException) -> int:
    if os.environ.get("WAYSIDE_DEBUG"):
        import traceback

        terminal.tell("".join(traceback.format_exception(problem)))
    sentence = (
        f"wayside: This is a fault in Wayside, not in your files: {type(problem).__name__} at {_where(problem)}. "
        "Please report it with this line and your files; with WAYSIDE_DEBUG=1 set, the same command shows all of it."
    )
    return _leave(sentence, OUR_FAULT)


def _where(problem: BaseException) -> str:
    """The innermost place in our own files, as file:line."""
    step, place = problem.__traceback__, "an unknown place"
    while step is not None:
        path = step.tb_frame.f_code.co_filename.replace(os.sep, "/").split("/")
        if ours := [at for at, name in enumerate(path) if name in OURS]:
            place = f"{'/'.join(path[ours[-1] :])}:{step.tb_lineno}"
        step = step.tb_next
    return place
