"""How soon pages see what happens: a show of 500 outputs and 10 pages, each a stream of its own over a socket.

1. At rest: one lamp at a time is told by an order from a page, from the order's first byte until each page knows.
2. While all 500 lamps fade, so that every change goes to every page: the same, and how much is sent.
3. From the order until a real Chromium shows it, where there is one (with the other nine pages beside it).

Run it: `python tests/benchmarks/page_latency.py`. It takes about a minute.
"""

from __future__ import annotations

import http.client
import json
import os
import queue
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

OUTPUTS, PAGES, TURNS = 500, 10, 60
BETWEEN_S = 0.12  # the desk takes 20 orders a second
SECONDS_S = 15.0

LAMPS = "".join(f"  lamp-{n}: {{kind: lamp, dimmable: yes}}\n" for n in range(OUTPUTS))
LAYOUT = f"layout: Many lamps\noutputs:\n{LAMPS}"
ROWS = [", ".join(f"lamp-{n}" for n in range(first, first + 20)) for first in range(0, OUTPUTS, 20)]
SCENE = (
    f"group lamps: {(',' + chr(10) + ' ' * 8).join(ROWS)}\n\n"
    "scene all-fade\n    repeat\n        fade lamps to 100 % over 8 s\n        fade lamps to 5 % over 8 s\n"
)


SEES = """name => { window.seen = new Promise(done => {
  const tile = [...document.querySelectorAll('.tile')].find(one => one.querySelector('.name').textContent === name);
  const look = () => { if (tile.querySelector('.holder').textContent === 'by hand')
    requestAnimationFrame(() => done(Date.now())); };
  new MutationObserver(look).observe(tile, {subtree: true, childList: true, characterData: true}); }); }"""


class Page:
    """A page without a browser: reads its stream, and says when it was told what."""

    def __init__(self, port: int) -> None:
        self.told: queue.SimpleQueue[tuple[float, dict[str, Any]]] = queue.SimpleQueue()
        self.name, self.bytes, self.changes = "", 0, 0
        self._socket = socket.create_connection(("127.0.0.1", port))
        self._socket.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        self.whole = threading.Event()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        event = b""
        with self._socket.makefile("rb") as file:
            for line in file:
                self.bytes += len(line)
                if line.startswith(b"event: "):
                    event = line[7:].strip()
                elif line.startswith(b"data: "):
                    heard_s = time.monotonic()
                    found = json.loads(line[6:])
                    if event == b"page":
                        self.name = found
                    elif event == b"whole":
                        self.whole.set()
                    elif event == b"change":
                        self.changes += 1
                        self.told.put((heard_s, found["set"]))

    def heard(self, output: str, holder: str) -> float:
        """When it was told that an output has this holder."""
        while True:
            at_s, changed = self.told.get(timeout=10)
            value = changed.get(f"out {output}")
            if value is not None and value[2] == holder:
                return at_s


class Orders:
    """Orders from one page, one after another."""

    def __init__(self, port: int, page: Page) -> None:
        self._port, self._page, self._number = port, page, 0

    def __call__(self, **order: str) -> float:
        """When it was sent off."""
        self._number += 1
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=10)
        headers = {
            "Content-Type": "application/json",
            "Origin": f"http://127.0.0.1:{self._port}",
            "X-Desk-Page": self._page.name,
            "X-Desk-Order": str(self._number),
        }
        body = json.dumps(order)
        connection.connect()
        sent_s = time.monotonic()
        connection.request("POST", "/do", body, headers)
        answer = json.loads(connection.getresponse().read())
        assert answer["fine"], answer
        connection.close()
        return sent_s


def row(what: str, seconds: list[float]) -> None:
    found = sorted(seconds)
    p50, p99 = found[len(found) // 2], found[len(found) * 99 // 100]
    print(f"{what:52}{p50 * 1e3:9.0f} ms{p99 * 1e3:9.0f} ms{found[-1] * 1e3:9.0f} ms{len(found):7,}", flush=True)


def told_by_hand(tell: Orders, pages: list[Page]) -> list[float]:
    took: list[float] = []
    for turn in range(TURNS):
        lamp = f"lamp-{turn * 7 % OUTPUTS}"
        sent_s = tell(do="take", output=lamp, state="on")
        took += [page.heard(lamp, "by hand") - sent_s for page in pages]
        time.sleep(BETWEEN_S)
        tell(do="let go", output=lamp)
        time.sleep(BETWEEN_S)
    return took


def in_a_browser(port: int, tell: Orders, path: str) -> list[float]:
    """From the order until the page's own tile says it, as its own clock and ours of the same computer have it."""
    from playwright.sync_api import sync_playwright

    took: list[float] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 768, "height": 1024})
        page.goto(f"http://127.0.0.1:{port}/")
        page.wait_for_selector("#connection-words:has-text('connected;')")
        for turn in range(20):
            lamp = f"lamp-{turn}"
            page.evaluate(SEES, lamp)
            before = time.time()
            tell(do="take", output=lamp, state="on")
            took.append(page.evaluate("window.seen") / 1_000 - before)
            time.sleep(BETWEEN_S)
            tell(do="let go", output=lamp)
            time.sleep(BETWEEN_S)
        browser.close()
    return took


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "layout.yaml").write_text(LAYOUT)
        Path(folder, "lamps.scene").write_text(SCENE)
        command = [
            sys.executable,
            "-m",
            "wayside",
            "run",
            folder,
            "--dry-run",
            "--plain",
            "--no-journal",
            "--desk",
            "8790",
        ]
        show = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        try:
            measured(show)
        finally:
            show.kill()
            show.wait()


def measured(show: subprocess.Popen[str]) -> None:
    assert show.stdout is not None
    found = None
    while found is None:
        found = re.search(r"http://[^/]+:([0-9]+)/", show.stdout.readline())
    port = int(found[1])
    threading.Thread(target=show.stdout.read, daemon=True).start()
    pages = [Page(port) for _ in range(PAGES)]
    for page in pages:
        assert page.whole.wait(20)
    tell = Orders(port, pages[0])
    print(f"{'':52}{'p50':>12}{'p99':>12}{'worst':>12}{'of':>7}")
    row(f"at rest, {PAGES} pages, {OUTPUTS} outputs", told_by_hand(tell, pages))
    path = next((one for name in ("chromium", "chromium-browser") if (one := shutil.which(name))), "")
    if path:
        row("at rest, until Chromium shows it, beside them", in_a_browser(port, tell, path))
    tell(do="start", scene="all-fade")
    time.sleep(2)
    sent, changes = sum(page.bytes for page in pages), sum(page.changes for page in pages)
    spent, began = cpu_s(show.pid), time.monotonic()
    time.sleep(SECONDS_S)
    lasted = time.monotonic() - began
    spent, sent = cpu_s(show.pid) - spent, sum(page.bytes for page in pages) - sent
    changes = sum(page.changes for page in pages) - changes
    row(f"all {OUTPUTS} fade, {PAGES} pages", told_by_hand(tell, pages))
    each = f"{changes / PAGES / lasted:.1f} changes a second and {sent / PAGES / lasted / 1_000:.0f} kB/s for each page"
    print(f"all fade: {each}; the show takes {spent / lasted:.0%} of one processor")


if __name__ == "__main__":
    main()
