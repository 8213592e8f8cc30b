"""How late commands leave, how soon a detector is answered, and what a quiet show costs.

1. 1,000 commands a second on a pty, by the sender's thread and by a plain asyncio program with `call_at`, in turns.
   Late is from the instant that was due until the bytes had been written.
2. A detector's byte in until the first byte of the command that answers it, seen from the far end: the whole of a link
   and a show on a pty, with one scene, whose lamp is on a pin of the station.
3. CPU time of `wayside run` on the stand-in while nothing happens at Pellbrook Quay, and of the stand-in beside it
   (from /proc, so on Linux only).

Run it: `python tests/benchmarks/lateness.py`. It takes about a minute; a busy computer makes all of it late.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import pty
import shutil
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from select import select

from adapters.link_states import State, Times
from adapters.sender import Sender, monotonic_us
from wayside.live.links import Links, links_of
from wayside.live.showing import Show, ShowClock
from wayside.project import load

MS, S = 1_000, 1_000_000
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
COMMAND = b"<a 511 3 1>"
RATE, SECONDS, TURNS = 1_000, 4, 3
TRAINS = 300
QUIET_S = 20

LAYOUT = """\
layout: One lamp
links: {main: {kind: serial text, dialect: late, resets when opened: no, start-up: 50 ms}}
outputs: {lamp: {kind: lamp, link: main, pin: 5}}
detectors: {lane: {kind: beam, link: main, pin: 6}}
"""
SCENE = """\
scene lamp-lights
    runs whenever lane is occupied
    turn on lamp
    wait until lane is clear
    turn off lamp
"""


def row(what: str, micros: list[int]) -> None:
    found = sorted(micros)
    p50, p99 = found[len(found) // 2], found[len(found) * 99 // 100]
    print(f"{what:44}{p50:10,} us{p99:10,} us{found[-1]:10,} us{len(found):8,}", flush=True)


# --- 1,000 commands a second ---------------------------------------------------------------------------------------


@contextmanager
def drained() -> Iterator[int]:
    """A pty that a process of its own reads empty; the end to write to."""
    far, near = pty.openpty()
    tty.setraw(near)
    reads = f"import os\nwhile os.read({far}, 65536): pass"
    process = subprocess.Popen([sys.executable, "-c", reads], pass_fds=[far], stderr=subprocess.DEVNULL)
    try:
        yield near
    finally:
        process.kill()
        process.wait()
        os.close(near)
        os.close(far)


def by_thread(port: int) -> list[int]:
    begins_us = monotonic_us() + 100 * MS
    late: list[int] = []

    def work() -> int | None:
        while (due_us := begins_us + len(late) * S // RATE) <= monotonic_us():
            os.write(port, COMMAND)
            late.append(monotonic_us() - due_us)
        return due_us

    sender = Sender(work)
    sender.start()
    time.sleep(0.1 + SECONDS)
    sender.stop()
    return late


def by_loop(port: int) -> list[int]:
    late: list[int] = []

    async def main() -> None:
        loop = asyncio.get_running_loop()
        begins, done = loop.time() + 0.1, loop.create_future()

        def send(number: int) -> None:
            os.write(port, COMMAND)
            late.append(int((loop.time() - begins - number / RATE) * S))
            if number + 1 < SECONDS * RATE:
                loop.call_at(begins + (number + 1) / RATE, send, number + 1)
            else:
                done.set_result(None)

        loop.call_at(begins, send, 0)
        await done

    asyncio.run(main())
    return late


def a_thousand_a_second() -> None:
    ways: dict[str, Callable[[int], list[int]]] = {"the sender's thread": by_thread, "asyncio, call_at": by_loop}
    found: dict[str, list[int]] = {name: [] for name in ways}
    with drained() as port:
        for _ in range(TURNS):
            for name, way in ways.items():
                found[name] += way(port)
    for name, late in found.items():
        row(f"{RATE:,} commands/s, {name}", late)


# --- a detector in, a command out ----------------------------------------------------------------------------------


def station(far: int, talk: Connection) -> None:
    """In a process of its own: answers what it must, then works the detector and waits for the lamp's command."""
    answers = {b"<s>": b"<p1><iBench>", b"<Q>": b"<q 6>"}

    rest = b""

    def hears(ends_s: float) -> Iterator[tuple[bytes, int]]:
        nonlocal rest
        while (left_s := ends_s - time.monotonic()) > 0:
            if select([far], [], [], left_s)[0]:
                came_us = monotonic_us()
                rest += os.read(far, 4096)
                while b">" in rest:
                    text, _, rest = rest.partition(b">")
                    text = text.strip() + b">"
                    is_ours = text[:4] == b"<Z 5" and len(text.split()) == 3
                    reply = b"<Y" + text[2:] if is_ours else answers.get(text, b"<O>")
                    os.write(far, reply)
                    yield text, came_us

    while not talk.poll():
        for _ in hears(time.monotonic() + 0.05):
            pass
    talk.recv()
    took: list[int] = []
    for number in range(TRAINS):
        sent_us = monotonic_us()
        os.write(far, b"<Q 6>" if number % 2 == 0 else b"<q 6>")
        wanted = b"<Z 5 1>" if number % 2 == 0 else b"<Z 5 0>"
        for text, came_us in hears(time.monotonic() + 2):
            if text == wanted:
                took.append(came_us - sent_us)
                break
        for _ in hears(time.monotonic() + 0.02 + number % 7 * 0.001):
            pass
    talk.send(took)


async def detector_to_command(folder: Path) -> list[int]:
    (folder / "layout.yaml").write_text(LAYOUT)
    (folder / "lamp.scene").write_text(SCENE)
    project = load([folder])
    assert not project.errors, project.errors
    far, near = pty.openpty()
    tty.setraw(near)
    fork = multiprocessing.get_context("fork")
    ours, theirs = fork.Pipe()
    process = fork.Process(target=station, args=(far, theirs), daemon=True)
    process.start()
    clock = ShowClock()
    wired = links_of(project.layout, [os.ttyname(near)])
    links = Links(project.layout, wired, clock.now_us, lambda _: None, Times(quiet_us=50 * MS, report_us=20 * MS))
    show = Show(project.program, lambda _: None, links.runs, clock=clock)
    task = asyncio.ensure_future(show.perform())
    links.start(show.inputs.put)
    try:
        while links.runs[0].state is not State.TALKING or show.kept_closed:
            await asyncio.sleep(0.05)
        await asyncio.sleep(0.3)
        ours.send("begin")
        while not ours.poll():
            await asyncio.sleep(0.1)
        took: list[int] = ours.recv()
    finally:
        links.stop()
        task.cancel()
        process.kill()
        process.join()
        os.close(far)
        os.close(near)
    return took


# --- a quiet show --------------------------------------------------------------------------------------------------


def cpu_s(pid: int) -> float:
    """User and system time of a process with all its threads."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def quiet(folder: Path) -> None:
    program, layout = [sys.executable, "-m", "wayside"], str(shutil.copytree(EXAMPLE, folder / "quay"))
    environment = {**os.environ, "TMPDIR": str(folder)}
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True, "env": environment}
    far = subprocess.Popen([*program, "stand-in", layout, "--tcp", "0"], **pipes)  # type: ignore[call-overload]
    assert far.stdout
    assert far.stdin
    url = next(line.split()[-1] for line in far.stdout if "socket://" in line)
    far.stdin.write("power on\n" + "".join(f"detector {number} off\n" for number in (60, 61, 62)))
    far.stdin.flush()
    show = subprocess.Popen([*program, "run", layout, "--port", url], **pipes)  # type: ignore[call-overload]
    try:
        time.sleep(12)  # until everything is put right
        began, before = time.monotonic(), [cpu_s(one.pid) for one in (show, far)]
        time.sleep(QUIET_S)
        spent, after = time.monotonic() - began, [cpu_s(one.pid) for one in (show, far)]
    finally:
        for one in (show, far):
            one.terminate()
    said, _ = show.communicate()
    far.communicate()
    assert "all is well" in said, said
    for what, then, now in zip(("wayside run", "wayside stand-in"), before, after, strict=True):
        print(f"{f'a quiet show, {what}':44}{(now - then) / spent:10.2%} of one processor in {spent:.0f} s")


def main() -> None:
    print(f"{'':44}{'p50':>13}{'p99':>13}{'worst':>13}{'of':>8}")
    a_thousand_a_second()
    with tempfile.TemporaryDirectory() as folder:
        row("detector's byte in to command's byte out", asyncio.run(detector_to_command(Path(folder))))
    with tempfile.TemporaryDirectory() as folder:
        quiet(Path(folder))


if __name__ == "__main__":
    main()
