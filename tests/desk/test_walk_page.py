"""The page of a walk in a real browser, headless, at 360 px, against a real `wayside walk`: what a thumb does."""

from __future__ import annotations

import csv
import os
import re
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.wayside.walking import AtTheTerminal, at_the_terminal, port_of, stand_in

from .conftest import wait_for
from .test_browser import Open, browser, opened  # the fixtures

if not hasattr(os, "openpty"):
    pytest.skip("needs terminals that a program can open", allow_module_level=True)

from playwright.sync_api import Page, Route, expect

__all__ = ["browser", "opened"]
LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text, dialect: late, resets when opened: no, start-up: 0 s}
boards:
  box: {link: main, first address: 40, ports: 8}
outputs:
  amber: {kind: lamp, board: box, port: 0}
  hut: {kind: lamp, board: box, port: 1}
  bell: {kind: sound, board: box, port: 4}
  shed: {kind: lamp, board: box, port: 5}
  inn: {kind: lamp, dimmable: yes, link: main, pin: 100}
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 1 s, safe: lowered}
detectors:
  approach: {kind: section, link: main, pin: 60}
  lane: {kind: section, link: main, pin: 61}
tracks:
  line: {stretches: [approach: 1500 mm, lane: 300 mm], fastest: 100 mm/s, shortest train: 200 mm}
crossing:
  crossing: {entrance barriers: [gate], detectors: [approach, lane], on the road: [lane]}
"""
SCENE = """\
scene close-the-gate
    runs whenever any of approach, lane is occupied
    move gate to lowered over 6 s
    wait until all of approach, lane are clear
    move gate to raised over 6 s
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    (tmp_path / "gate.scene").write_text(SCENE, encoding="utf-8")
    return tmp_path


@pytest.fixture
def walk(folder: Path) -> Iterator[AtTheTerminal]:
    with at_the_terminal("walk", str(folder), "--dry-run") as one:
        one.until("Type ready")
        yield one


def address(walk: AtTheTerminal) -> str:
    found = re.search(r"http://[0-9.]+:[0-9]+/", walk.text)
    assert found, walk.text
    return found[0]


def live(page: Page) -> None:
    expect(page.locator("#connection-words")).to_have_text("connected")


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def at_stop(page: Page, name: str) -> None:
    expect(page.locator("#name")).to_have_text(name)


def test_a_thumb_walks_and_the_terminal_goes_along(walk: AtTheTerminal, opened: Open, folder: Path) -> None:
    page = opened(address(walk))
    live(page)
    expect(page.locator("#task")).to_contain_text("Hands off the track")
    press(page, "Hands are off: go on")
    at_stop(page, "amber")
    expect(page.locator("#task")).to_contain_text("lit for half a second")
    walk.until("1 of 8  amber")
    press(page, "Something else did")
    page.get_by_label("What was it?").fill("hutt")
    press(page, "Say so")
    expect(page.locator("#said")).to_contain_text("Did you mean other hut?")
    page.get_by_label("What was it?").fill("hut")
    press(page, "Say so")
    walk.until("amber: hut moves instead.")
    at_stop(page, "hut")
    walk.type("other amber")  # from the terminal
    at_stop(page, "bell")
    expect(page.locator("#faults")).to_contain_text("amber and hut are exchanged")
    expect(page.locator("#aloud")).to_contain_text("bell. It sounds for one second")
    press(page, "Yes, it did that")
    press(page, "No, nothing")
    at_stop(page, "inn")
    press(page, "It only goes on and off")
    expect(page.locator("#faults")).to_contain_text("inn is not dimmable")
    expect(page.locator("#summary")).to_have_text("8 stops: 1 as they should be, 4 not, 3 still open.")
    at_stop(page, "gate")
    expect(page.locator("#caution")).to_contain_text("it may jump")
    expect(page.get_by_role("button", name="Yes, it did that")).to_be_hidden()
    press(page, "Skip")
    at_stop(page, "approach")
    for line in ("approach occupied", "approach clear"):
        walk.type(line)
    at_stop(page, "lane")
    expect(page.locator("#all li", has_text="approach").first).to_contain_text("came and went")
    press(page, "Nothing comes, or it stays")
    at_stop(page, "That was the last stop")
    walk.type("quit")
    assert walk.ended() == 1
    expect(page.locator("#name")).to_have_text("The walk was left")


def test_stop_holds_everything_until_hands_are_off_again(walk: AtTheTerminal, opened: Open) -> None:
    page = opened(address(walk))
    live(page)
    press(page, "Hands are off: go on")
    at_stop(page, "amber")
    press(page, "Stop: all still")
    at_stop(page, "Hands off the track?")
    expect(page.locator("#said")).to_contain_text("All is still")
    press(page, "Hands are off: go on")
    at_stop(page, "amber")


def test_an_answer_that_comes_too_late_for_its_stop_is_not_taken_for_the_next(
    walk: AtTheTerminal, opened: Open
) -> None:
    page = opened(address(walk))
    live(page)
    press(page, "Hands are off: go on")
    at_stop(page, "amber")

    def late(route: Route) -> None:  # while the page's order is under way, the terminal has answered
        walk.type("no")
        walk.until("2 of 8")
        route.continue_()

    page.route("**/do", late)
    press(page, "Yes, it did that")
    expect(page.locator("#said")).to_have_text("The walk has gone on to hut meanwhile: nothing was taken down.")
    at_stop(page, "hut")
    expect(page.locator("#all li", has_text="hut").first).to_contain_text("open")


PRESSED_AT_ONCE = """() => { const keys = document.getElementById('keys');
    new MutationObserver((_, one) => { one.disconnect();
        keys.querySelector('button').dispatchEvent(new MouseEvent('click', { detail: 1, bubbles: true })); })
        .observe(keys, { childList: true }); }"""


def test_keys_that_have_just_come_take_no_press_that_was_meant_for_the_ones_before(
    walk: AtTheTerminal, opened: Open
) -> None:
    page = opened(address(walk))
    live(page)
    press(page, "Hands are off: go on")
    at_stop(page, "amber")
    page.evaluate(PRESSED_AT_ONCE)
    walk.type("no")  # the walk goes on by itself, and the thumb comes down
    at_stop(page, "hut")
    press(page, "No, nothing")
    at_stop(page, "bell")
    expect(page.locator("#all li", has_text="hut").first).to_contain_text("does nothing")


def test_the_name_of_the_next_stop_is_in_sight(walk: AtTheTerminal, opened: Open) -> None:
    page = opened(address(walk), 360, 500)
    live(page)
    press(page, "Hands are off: go on")
    at_stop(page, "amber")
    press(page, "Not sure")  # the browser has to go down to it
    at_stop(page, "hut")
    top, header = page.locator("#name").bounding_box(), page.locator("header").bounding_box()
    assert top is not None
    assert header is not None
    assert header["y"] + header["height"] <= top["y"] < 400


def test_what_is_shown_comes_over_a_real_link(folder: Path, opened: Open) -> None:
    with stand_in() as layout, at_the_terminal("walk", str(folder), "--port", port_of(layout)) as walk:
        walk.until("Type ready")
        page = opened(address(walk))
        live(page)
        expect(page.locator("#links")).to_contain_text("talks")
        press(page, "Hands are off: go on")

        def flashed() -> bool:
            log = layout.ask(lambda station, _: list(station.log))
            return len([entry for entry in log if entry.thing == "accessory 40"]) >= 4

        wait_for(flashed)
        expect(page.locator("#now")).to_contain_text("Now:")
        page.locator("#all button", has_text="lane").click()
        at_stop(page, "lane")
        for active in (True, False):
            layout.ask(lambda station, now_us, active=active: station.detector(61, active, now_us))
            expect(page.locator("#now")).to_contain_text("occupied" if active else "clear")
        at_stop(page, "That was the last stop")
        expect(page.locator("#all li", has_text="lane").first).to_contain_text("came and went")


def test_a_train_is_timed_from_the_page_and_kept(walk: AtTheTerminal, opened: Open, folder: Path) -> None:
    page = opened(address(walk))
    live(page)
    press(page, "Hands are off: go on")
    press(page, "Time it")
    expect(page.locator("#said")).to_contain_text("Stop the walk first")
    press(page, "Stop: all still")
    press(page, "Time it")
    press(page, "Nose comes upon approach")
    expect(page.locator("#watch-says")).to_contain_text("the time runs")
    press(page, "Hands are off: go on")
    expect(page.locator("#said")).to_contain_text("A train is being timed")
    page.wait_for_timeout(400)  # a train's time, of which the test asks only that it is one
    press(page, "Nose reaches lane")
    expect(page.locator("#verdict")).to_contain_text("It does not fit")
    expect(page.locator("#verdict")).to_contain_text("1. Start earlier")
    press(page, "Keep the seconds")
    expect(page.locator("#said")).to_contain_text("Kept in layout.yaml")
    assert re.search(r"approach to lane: \d+\.\d s on ", (folder / "layout.yaml").read_text(encoding="utf-8"))
    press(page, "Leave")
    press(page, "Hands are off: go on")
    at_stop(page, "amber")


def test_the_result_can_be_taken_home(walk: AtTheTerminal, opened: Open, tmp_path: Path) -> None:
    page = opened(address(walk))
    live(page)
    press(page, "Hands are off: go on")
    press(page, "Yes, it did that")
    at_stop(page, "hut")
    for link, begins in (("As a page to give away", "# A walk round Pellbrook Quay"), ("As a table", "stop,what,")):
        with page.expect_download() as coming:
            page.get_by_role("link", name=link).click()
        text = Path(coming.value.path()).read_text(encoding="utf-8")
        assert text.startswith(begins)
    assert next(csv.DictReader(text.splitlines()))["answer"] == "yes"


def test_keys_are_large_and_nothing_sticks_out_on_a_phone(walk: AtTheTerminal, opened: Open) -> None:
    """48 px and more for a thumb: WCAG 2.2, 2.5.5 asks for 44; the width is 2.1, 1.4.10's 320 and a phone's 360."""
    for wide in (320, 360, 1280):
        page = opened(address(walk), wide, 740)
        live(page)
        press(page, "Hands are off: go on") if wide == 320 else None
        at_stop(page, "amber")
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        boxes = [one.bounding_box() for one in page.locator("#keys button, #stop").all()]
        assert boxes
        assert all(box and box["height"] >= 48 and box["width"] >= 48 for box in boxes)


def test_a_keyboard_alone_walks(walk: AtTheTerminal, opened: Open) -> None:
    page = opened(address(walk))
    live(page)
    page.get_by_role("button", name="Hands are off: go on").focus()
    page.keyboard.press("Enter")
    at_stop(page, "amber")
    expect(page.locator("#name")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Yes, it did that")).to_be_focused()
    page.keyboard.press("Enter")
    at_stop(page, "hut")


def test_a_lost_walk_is_said_to_be_lost(walk: AtTheTerminal, opened: Open) -> None:
    page = opened(address(walk))
    live(page)
    walk.process.kill()
    expect(page.locator("#connection-words")).to_contain_text("Connection lost")
    expect(page.locator("body.stale")).to_be_visible()
    press(page, "Hands are off: go on")
    expect(page.locator("#said")).to_have_text("Not connected: nothing was told.")
    press(page, "Stop: all still")  # is tried whatever the page believes
    expect(page.locator("#said")).to_contain_text("did not reach")


def test_on_the_network_the_pin_is_needed(folder: Path, opened: Open) -> None:
    with at_the_terminal("walk", str(folder), "--dry-run", "--lan") as walk:
        walk.until("Type ready")
        here = address(walk)
        for path in ("take/walk.md", "page/walk.js", "events"):
            with pytest.raises(urllib.error.HTTPError) as refused:
                urllib.request.urlopen(here + path)
            assert refused.value.code == 401
            refused.value.close()
        found = re.search(r"PIN ([0-9]{6})", walk.text)
        assert found
        page = opened(here)
        page.get_by_label("The PIN stands").fill(found[1])
        page.get_by_role("button", name="Enter").click()
        live(page)
        expect(page.locator("#layout")).to_have_text("Walk round Pellbrook Quay")
