"""One servo in somebody's hands: lines or keys in, commands out at the pace of a move, and where it stands kept.

Owns the pacing and the files. What words mean is decided in `jogging`; opens no port.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple, Protocol

from adapters import wires
from adapters.dialects import PowerIs, Refused, Said
from engine.codes import DEGREE, code
from engine.layout import Layout
from wayside import keys, terminal
from wayside.far_ends.trial_talk import POWER
from wayside.jog.jogging import Jog, Move, told
from wayside.jog.line import KEYS, LINES, STEPS, ends, picture
from wayside.layout.edit import CannotSave, save
from wayside.live import last_positions
from wayside.terminal import finish, say
from wayside.wording import duration

TURN_S = 0.05  # a move is told so often: as fast as the least of steps is seen, and as a pulse's frame allows
LONGEST_TURN_NS = 250_000_000  # after a longer one this program was stopped, and a move goes on from where it was


class Talks(Protocol):
    """A station that is awake."""

    def give(self, text: str) -> None: ...
    def catch(self) -> list[Said]: ...
    def settle(self) -> list[Said]: ...


class Files(NamedTuple):
    """The layout file, what it held when it was read, and where last positions are kept."""

    layout: Path
    as_read: bytes
    kept: Path


class Session:
    """A servo being adjusted. Without a `talk` it is only shown what would be told."""

    def __init__(
        self,
        jog: Jog,
        layout: Layout,
        files: Files,
        talk: Talks | None,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self.jog, self._layout, self._files, self._talk, self._now_ns = jog, layout, files, talk, now_ns
        self.failed = False  # the station refused something, or did not answer
        self._sent: int | None = None  # the code that it holds to; None as long as it is told nothing, or let go
        self._stands: float | None = None  # in degrees, where it was sent last; let go, it is taken to be there still
        self._move: Move | None = None
        self._from, self._began_ns, self._looked_ns = 0.0, 0, 0
        self._trouble_said = False

    # --- lines -----------------------------------------------------------------------------------------------------

    def typed(self) -> None:
        """Lines from the keyboard or a file, until one ends it or there are no more."""
        asks = sys.stdin.isatty()
        say(f"  {self.jog.state()}. Type help: it lists what can be typed.")
        while True:
            if asks:
                sys.stdout.write("> ")
            finish()
            line = sys.stdin.readline()
            if not line or self.line(line):
                return

    def line(self, line: str) -> bool:
        """Do what a line says, to its end; whether it ends the session."""
        before = self._sent
        ends = self._obey(line)
        while self._turn():
            pass  # hearing what comes takes a moment
        if self._sent not in (before, None) and self._talk is not None:
            say(f"  {self.jog.state()}")
        return ends

    def _obey(self, line: str) -> bool:
        said = self.jog.obey(line)
        if said.says:
            for one in said.says.split("\n"):
                say(f"  {one}")
        if said.move is not None:
            self._begin(said.move)
        if said.lets_go:
            self._let_go()
        if said.saves:
            self.save()
        return said.ends

    # --- keys ------------------------------------------------------------------------------------------------------

    def by_keys(self) -> None:
        """Single keys, until one ends it."""
        say(KEYS.rstrip())
        with keys.single():
            while True:
                terminal.show_line(picture(self.jog, self._now()))
                key = keys.key(0.0 if self._talk is not None else TURN_S)
                if not key:
                    self._turn()
                    continue
                if key == keys.END or self._key(key):
                    break
        terminal.end_line()

    def _key(self, key: str) -> bool:
        self._stop_here()
        if key in STEPS:
            return self._obey(STEPS[key])
        if key in "<," or key == "page down":
            self.jog.other_step(larger=False)
        elif key in ">." or key == "page up":
            self.jog.other_step(larger=True)
        elif key.isdecimal():
            return self._numbered("to", key)
        elif key == "h":
            terminal.show_line(f"  Which end is here? {ends(self.jog)}")
            return self._numbered("here is", keys.key(30.0))
        elif key in ":\n\r":
            return self._one_line()
        elif key in LINES:
            return self._obey(LINES[key])
        elif key == "?":
            say(KEYS.rstrip())
        else:
            say(f"  {key if key.isprintable() else 'That key'} does nothing here. ? lists the keys.")
        return False

    def _numbered(self, verb: str, key: str) -> bool:
        names = list(self.jog.ends)
        if key.isdecimal() and 1 <= int(key) <= len(names):
            return self._obey(f"{verb} {names[int(key) - 1]}")
        say(f"  The ends are {ends(self.jog)}.")
        return False

    def _one_line(self) -> bool:
        terminal.show_line("> ")
        with keys.whole_lines():
            line = sys.stdin.buffer.raw.readline() if hasattr(sys.stdin.buffer, "raw") else sys.stdin.buffer.readline()
        return self._obey(line.decode("utf-8", "replace"))

    # --- moving ----------------------------------------------------------------------------------------------------

    def first(self, degrees: float) -> None:
        """Send it to where it is taken to stand, before anything else."""
        self.jog.at = degrees
        self._begin(Move(degrees))

    def _begin(self, move: Move) -> None:
        self._from = move.degrees if self._stands is None else self._stands
        if move.over_us:
            self._keep(moving=True)  # killed on the way, nobody knows where it stands
        self._move = move
        self._began_ns = self._looked_ns = self._now_ns()
        if self._talk is None:
            over = f", over {duration(round(move.over_us, -5))}" if move.over_us >= 100_000 else ""
            self._move = None
            self._tell(move.degrees, over)
        self._advance()  # at once: the next key may come before the next turn, and ends the move

    def _now(self) -> float | None:
        """Where it was told to be so far; on the way to an end, that is not the end yet."""
        return self.jog.at if self._move is None else self._stands

    def _due(self, move: Move) -> float:
        """Where a move should be by now. After a pause of this program it goes on from where it was."""
        now_ns = self._now_ns()
        self._began_ns += max(0, now_ns - self._looked_ns - LONGEST_TURN_NS)
        self._looked_ns = now_ns
        gone_us = (now_ns - self._began_ns) / 1_000
        if gone_us >= move.over_us:
            return move.degrees
        return self._from + (move.degrees - self._from) * gone_us / move.over_us

    def _turn(self) -> bool:
        """Tell what is due and hear what has come; whether a move is still under way."""
        self._advance()
        for said in self._talk.catch() if self._talk is not None else ():
            self._hear(said)
        return self._move is not None

    def _advance(self) -> None:
        if self._move is not None:
            now = self._due(self._move)
            self._tell(now)
            if now == self._move.degrees:
                self._move = None
                self._keep()

    def _stop_here(self) -> None:
        if self._move is not None:
            self.jog.at = self._stands
            self._move = None
            self._keep()

    def _tell(self, degrees: float, remark: str = "") -> None:
        output = self.jog.output
        found = wires.served(self._layout, output)
        number = code(output, degrees)
        if number == self._sent or not isinstance(found, wires.Served):
            return
        self._sent, self._stands = number, number / DEGREE
        for text in wires.commands(self._layout, output, found, number):
            if self._talk is None:
                say(f"  would be told <{text}>  {degrees:g} deg{remark}")
            else:
                self._talk.give(text)

    def _hear(self, said: Said) -> None:
        if isinstance(said, Refused) and not self.failed:
            self.failed = True
            say("  The station refuses it. Compare the words with its book; `words:` of a link changes them.")
        if isinstance(said, PowerIs):
            say(f"  The station says: {POWER[said.state]}.")

    def _let_go(self) -> None:
        text = wires.no_pulses(self._layout, self.jog.output)
        if text is None:
            say("  The words of its link cannot let go of a servo: it is held on.")
            return
        self._sent = None
        if self._talk is None:
            say(f"  would be told <{text}>  no pulses")
            return
        self._talk.give(text)
        say("  Let go: no pulses. An arm may sag; the next move begins where it was sent last.")

    # --- keeping ---------------------------------------------------------------------------------------------------

    def _keep(self, moving: bool = False) -> None:
        """Where it stands, beside those of the other servos; so that it is sent there first the next time."""
        if self.jog.at is None or self._talk is None:
            return
        others, _ = last_positions.read_object(self._files.kept)
        known = {name: at for name, at in others.items() if name != self.jog.name}
        if not moving:
            known[self.jog.name] = round(self.jog.at, 2)
        why = last_positions.write_object(self._files.kept, known)
        if why and not self._trouble_said:
            self._trouble_said = True
            say(f"  Where it stands cannot be kept in {self._files.kept} ({why}): it may jump the next time.")

    def save(self) -> None:
        """Write what was changed into the layout file."""
        changes, file = self.jog.changes(), self._files.layout
        try:
            kept = save(file, changes, self._files.as_read)
            self._files = self._files._replace(as_read=file.read_bytes())
        except (CannotSave, OSError) as why:
            say(f"  Not saved: {why}".replace("`", ""))
            return
        self.jog.saved()
        say(f"  Saved in {file}: {'; '.join(told(one) for one in changes)}. The old file is kept as {kept}.")

    def leave(self, hold: bool) -> None:
        """Let go of it, and say what is lost."""
        self._stop_here()
        if not hold:
            self._let_go()
        if self._talk is not None:
            self._settle(self._talk)
        self.tell_unsaved()

    def _settle(self, talk: Talks) -> None:
        """The port is not closed before the last command has arrived."""
        heard = [said for said in talk.settle() if isinstance(said, Refused | PowerIs)]
        for said in heard:
            if isinstance(said, Refused):
                self._hear(said)
        if not heard:
            self.failed = True
            say("  The station does not answer: it may not have heard the last of it.")

    def tell_unsaved(self) -> None:
        """What the layout file does not say, so that nothing is lost in silence."""
        for change in self.jog.changes():
            say(f"  Not saved: {told(change)}")
