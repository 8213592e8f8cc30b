"""The journal while a show runs: entries in from the show's thread, written by a thread of its own. Never in the way.

Whatever the disk does, `put` only puts into a bounded queue. When that is full, the oldest detail is dropped and
counted; what matters (starts, ends, faults, rules, marks) only when nothing else is left to drop.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections import deque
from contextlib import suppress
from pathlib import Path

from engine.layout import Keeping
from wayside.journal import file as journal_file
from wayside.journal.file import Entry, NotOurs

USUAL = Keeping()
MOST_WAITING = 20_000  # entries
COMMIT_EVERY_S = 1.0
RETRY_S = 10.0  # after the disk did not take them
PRUNED_EVERY_S = 300.0
CLOSES_WITHIN_S = 5.0  # a disk that hangs does not hold up the end of a show

# What is dropped first when the disk takes nothing: the rest tells what happened without them.
DETAILS = frozenset(["detector", "output", "standing", "lateness", "flag", "counter", "typed"])
AT_ONCE = frozenset(["fault", "mark", "rule", "show"])


class Journal:
    """One show's journal. `put`, `messages` and `close` are for the show's thread."""

    def __init__(self, path: Path, keeping: Keeping = USUAL, retry_s: float = RETRY_S) -> None:
        self.path = path
        self.written = 0
        self.lost = 0  # entries that were dropped and not yet told of
        self.lost_in_all = 0
        self._keeping, self._retry_s = keeping, retry_s
        self._details: deque[tuple[int, Entry]] = deque()
        self._others: deque[tuple[int, Entry]] = deque()
        self._number = 0
        self._wake = threading.Condition()
        self._hurry = self._closing = False
        self._base: sqlite3.Connection | None = None
        self._inode: tuple[int, int] | None = None
        self._again_at = self._prune_at = 0.0
        self._silent = False  # whether it has been said that nothing can be written
        self._messages: deque[str] = deque(maxlen=20)
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)

    def start(self) -> None:
        self._thread.start()

    # --- the show's thread -----------------------------------------------------------------------------------------

    def put(self, entry: Entry) -> None:
        """Take in an entry; it is written within a second, or at once if it is a fault, a mark or a rule."""
        with self._wake:
            self._number += 1
            (self._details if entry.kind in DETAILS else self._others).append((self._number, entry))
            self._bound()
            if entry.kind in AT_ONCE:
                self._hurry = True
                self._wake.notify()

    def messages(self) -> list[str]:
        """What is to be said of the journal itself since the last time."""
        found = list(self._messages)
        self._messages.clear()
        return found

    def close(self, within_s: float = CLOSES_WITHIN_S) -> list[str]:
        """Write what is left. What is to be said; a disk that does not answer is not waited for."""
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join(within_s)
        left = len(self._details) + len(self._others) + self.lost_in_all
        if self._thread.is_alive():
            self._messages.append(f"The disk with {self.path} does not answer; the end of the journal may be missing.")
        elif left:
            self._messages.append(f"{left} entries of the journal could not be written to {self.path}.")
        return self.messages()

    def _bound(self) -> None:
        while len(self._details) + len(self._others) > MOST_WAITING:
            (self._details or self._others).popleft()
            self.lost += 1
            self.lost_in_all += 1

    # --- its own thread --------------------------------------------------------------------------------------------

    def _run(self) -> None:
        closing = False
        while not closing:
            with self._wake:
                self._wake.wait_for(lambda: self._hurry or self._closing, COMMIT_EVERY_S)
                self._hurry, closing = False, self._closing
            if closing or time.monotonic() >= self._again_at:
                self._work()
        self._let_go()

    def _work(self) -> None:
        """Write what waits, then prune a little."""
        with self._wake:
            batch = sorted([*self._details, *self._others], key=lambda pair: pair[0])
            self._details.clear()
            self._others.clear()
            lost = self.lost
        try:
            base = self._opened()
            entries = [entry for _, entry in batch]
            if lost and entries:
                entries.insert(0, _lost(lost, entries[0]))
            if entries:
                journal_file.write(base, entries)
            with self._wake:
                self.written += len(batch)
                self.lost -= lost
                self.lost_in_all -= lost
            batch = []
            self._found_again()
            self._prune(base)
        except (sqlite3.Error, OSError, NotOurs) as problem:
            self._put_back(batch)
            self._failed(problem)

    def _put_back(self, batch: list[tuple[int, Entry]]) -> None:
        with self._wake:
            for pair in reversed(batch):
                (self._details if pair[1].kind in DETAILS else self._others).appendleft(pair)
            self._bound()

    def _opened(self) -> sqlite3.Connection:
        """The file, opened anew where somebody has taken it away meanwhile: what is written to nowhere is lost."""
        if self._base is not None and self._inode != _inode(self.path):
            self._let_go()
        if self._base is None:
            try:
                self._base = journal_file.open_to_write(self.path)
            except NotOurs as problem:
                self._set_aside(problem)
                self._base = journal_file.open_to_write(self.path)
            self._inode = _inode(self.path)
        return self._base

    def _set_aside(self, problem: NotOurs) -> None:
        target = journal_file.set_aside(self.path)
        self._messages.append(f"{self.path} {problem}. It is kept as {target.name}, and a new journal is begun.")

    def _failed(self, problem: BaseException) -> None:
        if journal_file.is_damage(problem):
            self._let_go()
            with suppress(OSError):
                self._set_aside(NotOurs("is damaged"))
                self._again_at = 0.0
                return
        self._let_go()
        self._again_at = time.monotonic() + self._retry_s
        if not self._silent:
            self._silent = True
            self._messages.append(
                f"The journal {self.path} cannot be written ({journal_file.reason(problem)}). The show goes on; what "
                "happens is kept in memory for a while, and writing is tried again."
            )

    def _found_again(self) -> None:
        if self._silent:
            self._silent = False
            self._messages.append(f"The journal {self.path} is written again.")

    def _prune(self, base: sqlite3.Connection) -> None:
        now = time.monotonic()
        if now < self._prune_at and not journal_file.too_much(base, self._keeping):
            return
        more = journal_file.prune(base, self._keeping, time.time_ns() // 1_000)
        self._prune_at = now if more else now + PRUNED_EVERY_S

    def _let_go(self) -> None:
        if self._base is not None:
            with suppress(sqlite3.Error):
                self._base.close()
            self._base = None


def _inode(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _lost(number: int, before: Entry) -> Entry:
    """What stands in the journal for what could not be kept."""
    entries = "1 entry" if number == 1 else f"{number} entries"
    text = f"{entries} could not be kept here: the disk did not take them in time"
    return before._replace(kind="lost", subject="", text=text, details={"entries": number}, place="")
