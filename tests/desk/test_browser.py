"""The desk in a real browser, headless, against a real `wayside run --dry-run`: what a person with a thumb does."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from .conftest import KEPT, QUAY, Running, running, wait_for

BROWSER = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), ""
)
NO_BROWSER = "no Chromium on this computer: install the package `chromium` to run the desk's browser tests"

if not BROWSER and not os.environ.get("CI"):
    pytest.skip(NO_BROWSER, allow_module_level=True)

from playwright.sync_api import Browser, Page, expect, sync_playwright  # noqa: E402

Open = Callable[..., Page]
expect.set_options(timeout=20_000)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    assert BROWSER, NO_BROWSER
    with sync_playwright() as play:
        one = play.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])  # a container has no namespaces
        yield one
        one.close()


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Opens pages, each in a browser of its own; a script's error or a refused rule of the page fails the test."""
    troubles: list[str] = []
    contexts = []

    def open_page(address: str, wide: int = 360, high: int = 740, **settings: Any) -> Page:
        context = browser.new_context(viewport={"width": wide, "height": high}, **settings)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: troubles.append(str(error)))
        page.on("console", lambda said: troubles.append(said.text) if "Content Security" in said.text else None)
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert troubles == []


def live(page: Page) -> None:
    expect(page.locator("#connection-words")).to_contain_text("connected;")


def tile(page: Page, name: str) -> Any:
    return page.locator(".tile", has=page.locator(".name", has_text=re.compile(f"^{name}$")))


def row(page: Page, part: str, name: str) -> Any:
    return page.locator(f"#{part} .row", has=page.locator(".name", has_text=re.compile(f"^{name}$"))).first


def test_a_scene_is_started_and_stopped_and_both_pages_see_it(show: Running, opened: Open) -> None:
    here, there = opened(show.address), opened(show.address, 1920, 1080)
    live(here)
    live(there)
    here.get_by_role("button", name="Start evening").click()
    for page in (here, there):
        expect(page.locator("#now")).to_contain_text("running for")
    show.until("scene evening begins")
    there.get_by_role("button", name="Stop evening").click()
    show.until("scene evening has stopped")
    expect(row(here, "scenes", "evening")).to_contain_text("does not run")


def test_all_stop_closes_the_lane_and_nothing_begins_until_one_goes_on(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_role("button", name="up-approach occupied").click()
    expect(tile(page, "amber")).to_contain_text("on")
    page.get_by_role("button", name="All stop").click()
    expect(page.locator("#banners")).to_contain_text("All is stopped")
    expect(tile(page, "near-barrier")).to_contain_text("lowered")
    expect(tile(page, "red-left")).to_contain_text("flashing")
    expect(page.locator("#aloud")).to_contain_text("All is stopped")
    page.get_by_role("button", name="Start evening").click()
    expect(page.locator("#said")).to_contain_text("All is stopped, so evening does not begin")
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_role("button", name="Go on")).to_be_hidden()
    assert "scene evening begins" not in show.text


def test_escape_twice_is_all_stop_and_once_is_not(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.keyboard.press("Escape")
    expect(page.locator("#said")).to_contain_text("once more")
    page.keyboard.press("Escape")
    show.until("from a page: all stop")
    expect(page.locator("#banners")).to_contain_text("All is stopped")


def test_blackout_and_mute_hold_and_give_back(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_role("button", name="Blackout").click()
    expect(tile(page, "evening-lamp")).to_contain_text("blackout")
    expect(tile(page, "down-red")).to_contain_text("on")  # guarded: it stays
    page.locator("#dark").click()
    expect(tile(page, "evening-lamp")).not_to_contain_text("blackout")
    expect(tile(page, "evening-lamp")).to_contain_text("on")
    page.get_by_role("button", name="Mute").click()
    expect(tile(page, "bell")).to_contain_text("mute")
    page.locator("#hush").click()
    expect(tile(page, "bell")).not_to_contain_text("mute")


def test_a_train_is_sent_waits_at_its_signal_and_is_taken_away(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_label("Length, mm").fill("600")
    page.get_by_label("Speed, mm/s").fill("2000")  # at its signal long before the lane is closed
    page.get_by_role("button", name="Send the train").click()
    expect(row(page, "detectors", "up-approach")).to_contain_text("occupied")
    expect(row(page, "trains", "train 1")).to_contain_text("waits at a signal")
    expect(row(page, "detectors", "lane")).to_contain_text("clear")
    expect(page.locator("#layout-plan .train")).to_have_count(1)
    expect(page.locator("#layout-plan .train-name")).to_contain_text("waits")
    expect(tile(page, "near-barrier")).to_contain_text("on its way")
    page.get_by_role("button", name="Take train 1 away").click()
    expect(page.locator("#layout-plan .train")).to_have_count(0)
    expect(row(page, "detectors", "up-approach")).to_contain_text("clear")


def test_a_lamp_taken_by_hand_shows_it_and_goes_back_to_its_scene(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    tile(page, "forge").click()
    hand = page.get_by_role("group", name="forge by hand")
    hand.get_by_role("button", name="on", exact=True).click()
    expect(tile(page, "forge")).to_contain_text("by hand")
    level = hand.get_by_label("Level")
    level.focus()
    level.press("Home")
    expect(tile(page, "forge")).to_contain_text("off")
    hand.get_by_role("button", name="Let go forge").click()
    expect(tile(page, "forge")).not_to_contain_text("by hand")
    tile(page, "near-barrier").click()
    barrier = page.get_by_role("group", name="near-barrier by hand")
    expect(barrier).to_contain_text("guarded: work saltmarsh-lane-crossing by hand first")
    for key in ("lowered", "+5° near-barrier"):
        expect(barrier.get_by_role("button", name=key, exact=True)).to_be_disabled()
    page.get_by_role("button", name="Work saltmarsh-lane-crossing by hand").click()
    expect(barrier).not_to_contain_text("work saltmarsh-lane-crossing by hand first")
    expect(barrier.get_by_role("button", name="lowered", exact=True)).to_be_enabled()


def test_a_servo_is_stepped_and_an_end_is_saved_where_it_stands(opened: Open, tmp_path: Path) -> None:
    folder = tmp_path / "pellbrook-quay"
    shutil.copytree(QUAY, folder, ignore=KEPT)
    before = (folder / "layout.yaml").read_text(encoding="utf-8")
    with running(folder=folder) as show:
        page = opened(show.address)
        live(page)
        tile(page, "crane").click()
        hand = page.get_by_role("group", name="crane by hand")
        expect(hand.locator(".angle")).to_have_text("20.0°, 750 µs; limits 10° to 150°")  # 544 us + 20 of 10.31 us
        save = hand.get_by_role("button", name="quay is here: save it for crane")
        expect(save).to_have_attribute("aria-disabled", "true")
        hand.get_by_role("button", name="+5° crane").click()
        hand.get_by_role("button", name="+5° crane").click()
        hand.get_by_role("button", name="−1° crane").click()
        expect(hand.locator(".angle")).to_contain_text("29.0°, 843 µs")
        expect(hand).not_to_contain_text("on its way")
        expect(tile(page, "crane")).to_contain_text("by hand")
        expect(save).to_have_attribute("aria-disabled", "false")
        save.click()
        expect(page.locator("#said")).to_contain_text("Saved: quay of crane is 29 deg in layout.yaml; the old file is")
        expect(page.locator("#said")).to_contain_text("This show goes on with 20 deg.")
        for _ in range(5):
            hand.get_by_role("button", name="−5° crane").click()
        expect(page.locator("#said")).to_contain_text("crane is at its limit, 10 deg: no further.")
        tile(page, "near-barrier").click()
        expect(page.get_by_role("button", name="+1° near-barrier")).to_be_disabled()  # guarded
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == before.replace("quay: 20 deg", "quay: 29 deg")


def test_hand_working_has_a_banner_until_it_is_given_back(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_role("button", name="Work saltmarsh-lane-crossing by hand").click()
    expect(page.locator("#banners")).to_contain_text("is worked by hand")
    page.get_by_role("button", name="up-signal clear").click()
    expect(page.locator("#said")).to_contain_text("may not clear before every barrier")
    page.get_by_role("button", name="near-barrier lowered", exact=True).click()
    expect(tile(page, "near-barrier")).to_contain_text("lowered")
    page.locator("#banners").get_by_role("button", name="Give back").click()
    expect(page.locator("#banners").get_by_role("button", name="Give back")).to_be_hidden()
    expect(page.get_by_role("button", name="Work saltmarsh-lane-crossing by hand")).to_be_visible()


def test_a_detector_is_put_out_of_use_with_a_reason_and_a_mark_is_kept_as_text(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_role("button", name="Put lane out of use").click()
    page.get_by_label("Why is lane out of use?").fill("a dirty <b>wheel</b>")
    page.get_by_role("button", name="Put lane out of use", exact=True).last.click()
    expect(row(page, "detectors", "lane")).to_contain_text("out of use")
    show.until("lane out of use: a dirty <b>wheel</b>")
    page.get_by_role("button", name="Take lane back in use").click()
    page.get_by_label("What was odd?").fill("<img src=x onerror=alert(1)> ‮ flicker")
    page.get_by_role("button", name="Mark this moment").click()
    expect(page.locator("#events")).to_contain_text("Marked: <img src=x onerror=alert(1)> flicker")
    assert page.locator("#events img").count() == 0
    assert page.locator("#events b").count() == 0


def test_the_layout_clock_is_stopped_and_set(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_role("button", name="Stop the layout clock").click()
    expect(page.locator("#clock")).to_contain_text("stopped")
    page.get_by_label("Set it to").fill("17:44")
    page.get_by_role("button", name="Set the clock").click()
    expect(page.locator("#time")).to_have_text("17:44:00")
    expect(page.locator("#now")).to_contain_text("when the layout clock runs")
    page.get_by_role("button", name="Let the layout clock run").click()
    expect(page.locator("#now")).to_contain_text(re.compile("evening at 17:45 layout time, in 5[0-9] s"))


def test_a_killed_show_is_seen_at_once_and_a_new_one_is_found_by_itself(opened: Open) -> None:
    with running("--from", "17:40", "--desk", "18950") as first:  # a port that no other test's show begins to look at
        port = first.port
        page = opened(first.address)
        live(page)
        first.kill()
        expect(page.locator("#connection-words")).to_contain_text("Not connected. All below is as it was at")
        assert "stale" in (page.locator("body").get_attribute("class") or "")
        page.get_by_role("button", name="All stop").click()
        expect(page.locator("#said")).to_contain_text("did not reach the show")
        page.get_by_role("button", name="Press closing-button").click()
        expect(page.locator("#said")).to_contain_text("Not connected: nothing was told")
    with running("--from", "18:40", "--desk", str(port)) as second:
        assert second.port == port
        live(page)
        expect(page.locator("#time")).to_contain_text("18:40")
        page.get_by_role("button", name="All stop").click()
        second.until("from a page: all stop")


def test_all_stop_gets_through_though_open_pages_hold_every_connection_of_the_browser(
    show: Running, browser: Browser
) -> None:
    """A browser opens six connections to one address (RFC 9112, 9.4 leaves the number open; Chromium's has been six
    for long: from memory), and the stream of each page holds one."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    try:
        pages = [context.new_page() for _ in range(6)]
        for page in pages:
            page.goto(show.address)
            live(page)
        pages[-1].get_by_role("button", name="All stop").click()
        show.until("from a page: all stop")
        expect(pages[-1].locator("#said")).to_contain_text("all stop")
        live(pages[-1])  # its stream comes back once the order is through
    finally:
        context.close()


def test_a_page_out_of_sight_holds_no_connection_and_is_back_when_it_is_looked_at(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    seen = """hidden => { Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });
                         document.dispatchEvent(new Event('visibilitychange')); }"""
    page.evaluate(seen, True)
    expect(page.locator("body.stale")).to_be_visible()
    page.evaluate(seen, False)
    live(page)
    expect(page.locator("body.stale")).to_have_count(0)


def test_what_holds_stands_in_the_header_wherever_the_page_is(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    holding = page.locator("#holding")
    expect(holding).to_be_hidden()
    page.locator("#events").scroll_into_view_if_needed()
    page.get_by_role("button", name="Mute").click()
    expect(holding).to_have_text("1 notice")
    page.get_by_role("button", name="All stop").click()
    expect(holding).to_have_text("All is stopped; 1 notice")
    expect(holding).to_be_in_viewport()
    holding.get_by_role("link").click()
    expect(page.get_by_role("button", name="Go on")).to_be_in_viewport()
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="Sound back").first.click()
    expect(holding).to_be_hidden()


def test_a_notice_does_not_move_the_keys_of_those_that_are_there(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.get_by_role("button", name="Mute").click()
    key = page.locator("#banners").get_by_role("button", name="Sound back")
    expect(key).to_be_visible()
    before = key.bounding_box()
    page.get_by_role("button", name="Blackout").click()
    expect(page.locator("#banners").get_by_role("button", name="Lights back")).to_be_visible()
    assert key.bounding_box() == before


def test_a_key_of_a_notice_that_has_just_come_takes_no_press(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    page.evaluate(
        """() => { const home = document.getElementById('banners');
           new MutationObserver((_, one) => {
               const key = [...home.querySelectorAll('button')].find(key => key.offsetParent);
               if (!key) return;
               one.disconnect();
               document.body.dataset.pressed = key.textContent;
               key.dispatchEvent(new MouseEvent('click', { detail: 1, bubbles: true })); })
               .observe(home, { childList: true, attributes: true, subtree: true }); }"""
    )
    show.type("all stop")
    key = page.get_by_role("button", name="Go on")
    expect(page.locator("body")).to_have_attribute("data-pressed", "Go on")
    expect(key).to_be_enabled()
    show.type("mute")  # told after it, so that what it would have done is seen
    expect(page.locator("#hush")).to_have_text("Sound back")
    assert "from a page: go on" not in show.text
    key.click()
    show.until("from a page: go on")


def test_many_outputs_in_a_hand_are_one_notice(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    lamps = ["quay-lamp-1", "quay-lamp-2", "quay-lamp-3", "quay-lamp-4", "forge"]
    notices = page.locator("#banners > div:visible")
    for count, name in enumerate(lamps, 1):
        tile(page, name).click()
        page.get_by_role("group", name=f"{name} by hand").get_by_role("button", name="on", exact=True).click()
        expect(notices).to_have_count(count if count <= 3 else 1)
    expect(notices).to_contain_text("5 outputs are held by hand: quay-lamp-1, quay-lamp-2, quay-lamp-3 and 2 more.")
    for left, name in ((4, "forge"), (3, "quay-lamp-1")):
        page.get_by_role("button", name=f"Let go {name}").click()
        expect(notices).to_have_count(1 if left > 3 else left)
    expect(notices.nth(0)).to_contain_text("is held by hand.")


@pytest.mark.parametrize("own", [True, False])
def test_what_a_thumb_aims_at_stays_where_it_is_when_something_above_it_grows(
    show: Running, opened: Open, own: bool
) -> None:
    """Once by the browser's own means, and once as in a browser that has none."""
    page = opened("about:blank")
    if not own:
        page.add_init_script(
            "CSS.supports = () => false;"
            "addEventListener('DOMContentLoaded', () => { document.documentElement.style.overflowAnchor = 'none'; });"
        )
    page.goto(show.address)
    live(page)
    key = page.get_by_role("button", name="Start bell-rings")
    page.evaluate("document.querySelector('[aria-label=\"Start bell-rings\"]').scrollIntoView({ block: 'center' })")
    before = key.bounding_box()
    assert before is not None
    show.type("mute")
    expect(page.locator("#holding")).to_have_text("1 notice")
    show.type("start evening")  # one more row under Now
    expect(page.locator("#now")).to_contain_text("running for")
    wait_for(lambda: abs((key.bounding_box() or before)["y"] - before["y"]) < 2)
    show.type("sound")
    expect(page.locator("#holding")).to_be_hidden()
    wait_for(lambda: abs((key.bounding_box() or before)["y"] - before["y"]) < 2)


def test_hand_working_has_its_keys_in_a_row_where_there_is_room(show: Running, opened: Open) -> None:
    page = opened(show.address, 1920, 1080)
    live(page)
    page.get_by_role("button", name="Work saltmarsh-lane-crossing by hand").click()
    keys = page.locator("#crossings .levers button")
    expect(keys.first).to_be_visible()
    tops = keys.evaluate_all("all => all.map(one => one.getBoundingClientRect().top)")
    assert len(set(tops)) == 4  # two in a row for each of two signals and two barriers


def test_of_very_many_outputs_those_are_left_that_are_looked_for(opened: Open, tmp_path: Path) -> None:
    lamps = "".join(f"  street-lamp-{n}: {{kind: lamp, link: main, pin: {n}}}\n" for n in range(1, 501))
    layout = f"layout: Long Street\nlinks: {{main: {{kind: serial text}}}}\noutputs:\n{lamps}"
    (tmp_path / "layout.yaml").write_text(layout, encoding="utf-8")
    (tmp_path / "dusk.scene").write_text("scene dusk\n    turn on street-lamp-1\n    wait 1 s\n", encoding="utf-8")
    with running(folder=tmp_path) as show:
        page = opened(show.address)
        live(page)
        shown = page.locator("#outputs .tile:visible")
        expect(shown).to_have_count(500)
        page.get_by_label("Part of a name").fill("LAMP-49")
        expect(shown).to_have_count(11)  # 49 and 490 to 499
        expect(page.locator("#outputs [role=status]")).to_have_text("11 outputs have that in the name.")
        expect(page.locator("#outputs h3:visible")).to_have_count(1)
        page.get_by_label("Part of a name").fill("lamp-501")
        expect(page.locator("#outputs [role=status]")).to_have_text("No outputs have that in the name.")
        page.get_by_role("button", name="All stop").click()
        show.until("from a page: all stop")


def test_the_pin_lets_in_and_without_it_nothing_is_seen(opened: Open) -> None:
    with running("--from", "17:40", "--lan") as show:
        pin = re.search(r"PIN ([0-9]{6})", show.text)
        assert pin is not None
        assert "█" in show.text  # the QR code
        page = opened(show.address)
        expect(page.get_by_label("The PIN stands in the terminal")).to_be_visible()
        assert "Pellbrook" not in page.content()
        page.get_by_label("The PIN stands in the terminal").fill("12")
        page.get_by_role("button", name="Enter").click()
        expect(page.get_by_role("alert")).to_contain_text("That is not the PIN")
        page.get_by_label("The PIN stands in the terminal").fill(pin[1])
        page.get_by_role("button", name="Enter").click()
        live(page)
        page.get_by_role("button", name="All stop").click()
        show.until("from a page: all stop")
        assert pin[1] not in page.content()  # nor may a page that is photographed give it away


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the example that a test may edit."""
    shutil.copytree(QUAY, tmp_path / "quay", ignore=KEPT)
    return tmp_path / "quay"


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))


def test_an_edited_scene_is_checked_on_save_and_swapped_in_when_it_is_idle(folder: Path, opened: Open) -> None:
    with running(folder=folder) as show:
        page = opened(show.address)
        live(page)
        scene, banners = folder / "evening.scene", page.locator("#banners")
        edit(scene, "turn off fish-dock-tube", "turn of fish-dock-tube")
        expect(banners).to_contain_text("evening.scene was saved, and something is wrong")
        expect(page.locator("#files")).to_contain_text("turn of fish-dock-tube")
        expect(page.get_by_role("button", name="swap it in")).to_have_count(0)
        page.get_by_role("button", name="Start evening").click()
        show.until("scene evening begins")
        edit(scene, "turn of fish-dock-tube", "turn off fish-dock-tube")
        expect(page.locator("#files")).to_be_hidden()  # as it is performed
        edit(scene, "wait 70 s", "wait 75 s")
        expect(banners).to_contain_text("evening is changed. It is swapped in when evening has ended.")
        page.get_by_role("button", name="Stop evening", exact=True).click()
        show.until("note: evening.scene is swapped in: evening is changed")
        expect(banners).not_to_contain_text("evening.scene")
        expect(page.locator("#files")).to_be_hidden()


def test_what_runs_is_stopped_for_a_new_text_on_request_and_both_pages_see_it(folder: Path, opened: Open) -> None:
    with running(folder=folder) as show:
        page, other = opened(show.address), opened(show.address, 1920, 1080)
        live(page)
        live(other)
        page.get_by_role("button", name="Start evening").click()
        show.until("scene evening begins")
        edit(folder / "evening.scene", "wait 70 s", "wait 75 s")
        page.get_by_role("button", name="Leave it").click()
        expect(other.get_by_role("button", name="Leave it")).to_have_count(0)
        expect(other.locator("#files")).to_contain_text("as somebody has asked")
        other.get_by_role("button", name="Stop evening and swap it in").click()
        show.until("from a page: swap now")
        show.until("scene evening has stopped: a new text is swapped in")
        show.until("note: evening.scene is swapped in")
        expect(page.locator("#files")).to_be_hidden()
        assert show.text.index("has stopped: a new text") < show.text.index("evening.scene is swapped in: evening")
        show.type("start evening")
        show.until("evening.scene:16")


def test_a_scene_that_was_swapped_in_is_on_the_page_and_one_that_is_gone_is_not(folder: Path, opened: Open) -> None:
    with running(folder=folder) as show:
        page = opened(show.address)
        live(page)
        for file in folder.glob("*.scene"):
            file.write_text(re.sub(r"\b(scene|from|run|plays) evening\b", r"\1 nightfall", file.read_text()))
        show.until("nightfall is new, evening is gone")
        expect(page.get_by_role("button", name="Start nightfall")).to_be_visible()
        expect(page.get_by_role("button", name="Start evening")).to_have_count(0)
        page.get_by_role("button", name="Start nightfall").click()
        show.until("scene nightfall begins: asked for by name")
        expect(page.locator("#now")).to_contain_text("nightfall")


def test_an_offer_is_read_at_every_width_and_breaks_no_rule_of_accessibility(folder: Path, opened: Open) -> None:
    from axe_core_python.sync_playwright import Axe

    with running(folder=folder) as show:
        show.type("start evening")
        show.until("scene evening begins")
        edit(folder / "evening.scene", "wait 70 s", "wait 75 s")
        show.until("evening.scene was saved")
        for wide, high in WIDTHS:
            page = opened(show.address, wide, high)
            live(page)
            for name in ("Stop evening and swap it in", "Leave it"):
                expect(page.get_by_role("button", name=name)).to_be_visible()
            assert page.evaluate("document.documentElement.scrollWidth") <= wide
            found = Axe().run(page)
            assert [one["id"] for one in found["violations"]] == []


def test_it_is_worked_by_keyboard_alone(show: Running, opened: Open) -> None:
    page = opened(show.address)
    live(page)
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('aria-label')") == "Start evening":
            break
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert outline != "0px"
    page.keyboard.press("Enter")
    show.until("scene evening begins")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Start evening"  # the focus stays


WIDTHS = ((360, 740), (768, 1024), (1920, 1080))


def test_what_comes_next_of_a_show_day_stands_there_by_the_hall_s_clock(opened: Open) -> None:
    """The example's Saturday, from five past twelve: its lines as the scene file has them, and lunch between them."""
    with running("--day", "saturday", "--from", "12:05") as show:
        page = opened(show.address)
        live(page)
        lines = page.locator("#now .next li")
        expect(lines.nth(0)).to_have_text(
            re.compile(r"^drifter-calls at 12:10 hall time \(every 25 min between 10:30 and 16:30\), in [45] min .* s$")
        )
        expect(lines.nth(1)).to_have_text(re.compile("^quiet begins at 12:30 hall time, in 2[45] min$"))
        expect(lines.nth(2)).to_have_text(re.compile("^quiet ends at 13:15 hall time, in 1 h [0-9]+ min$"))
        expect(lines.nth(3)).to_have_text(re.compile("^bell-rings at 16:45 hall time, in 4 h [0-9]+ min$"))
        expect(lines.nth(4)).to_have_text(re.compile("^saturday closes at 17:00 hall time, in 4 h [0-9]+ min$"))


def test_in_quiet_hours_the_page_says_that_nothing_begins(opened: Open) -> None:
    with running("--day", "saturday", "--from", "12:40") as show:
        page = opened(show.address)
        live(page)
        expect(page.locator("#now")).to_contain_text("Now nothing begins by a clock.")
        expect(page.locator("#now .next")).to_contain_text("left out: it is quiet")  # 13:00, the sixth of every 25 min


def assert_all_on_the_sheet(page: Page, sheet: str) -> None:
    """No word of a plan is cut off at its edge, and there are words."""
    assert page.locator(f"#{sheet} text").count() > 4
    outside = page.evaluate(
        """sheet => [...document.querySelectorAll(`#${sheet} text`)].filter(one => { const box = one.getBBox();
           return box.x < -1 || box.x + box.width > document.getElementById(sheet).viewBox.baseVal.width + 1; })
           .map(one => one.textContent)""",
        sheet,
    )
    assert outside == []


def thing(page: Page, name: str) -> Any:
    """What stands on the plan under a name."""
    return page.locator("#layout-plan .thing", has=page.locator("title", has_text=re.compile(f"^{name}$")))


def test_the_plan_has_everything_where_the_layout_file_says_and_it_moves(show: Running, opened: Open) -> None:
    page = opened(show.address, 1920, 1080)
    live(page)
    sheet = page.locator("#layout-plan")
    edge, whole = sheet.bounding_box(), 14  # px that the page leaves around the plan
    assert edge is not None
    scale = (edge["width"] - 2 * whole) / 5200
    for name, (across, down) in {"forge": (1950, 480), "crane": (1600, 1440), "near-barrier": (3650, 1120)}.items():
        x, y, width, height = (float(thing(page, name).get_attribute(key)) for key in ("x", "y", "width", "height"))
        assert x + width / 2 == pytest.approx(whole + across * scale, abs=1)
        assert y + height / 2 == pytest.approx(whole + down * scale, abs=1)
    lamp = thing(page, "quay-lamp-1").locator(".lit")
    expect(lamp).to_have_attribute("opacity", "0")
    page.get_by_role("button", name="Start evening").click()
    expect(lamp).not_to_have_attribute("opacity", "0")
    arm = thing(page, "near-barrier").locator(".arm")
    raised = arm.evaluate("one => one.style.transform")
    page.get_by_role("button", name="All stop").click()
    expect(arm).to_have_attribute("style", re.compile(r"rotate\((-?0|0)deg\)"))
    assert raised != arm.evaluate("one => one.style.transform")


def test_on_the_plan_a_train_runs_along_its_track(show: Running, opened: Open) -> None:
    page = opened(show.address, 768, 1024)
    live(page)
    page.select_option("#train-track", "up-line")
    page.get_by_role("button", name="Send the train").click()
    expect(page.locator("#layout-plan .train-name")).to_have_text("train 1")
    expect(page.locator("#layout-plan text", has_text="up-approach: occupied")).to_be_visible()
    nose = page.locator("#layout-plan circle.train")
    place = lambda: float(nose.get_attribute("cx") or 0)  # noqa: E731
    was = place()
    wait_for(lambda: place() > was + 5)
    page.get_by_role("button", name="Take train 1 away").click()
    expect(nose).to_have_count(0)


def test_a_narrow_screen_slides_the_plan_sideways_and_nothing_else(show: Running, opened: Open) -> None:
    page = opened(show.address, 360, 740)
    live(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    holder = page.locator("#plan .sideways")
    assert holder.evaluate("one => one.scrollWidth > one.clientWidth")
    holder.focus()
    page.keyboard.press("ArrowRight")
    wait_for(lambda: holder.evaluate("one => one.scrollLeft") > 0)


def test_without_places_tracks_are_laid_out_by_themselves(tmp_path: Path, opened: Open) -> None:
    folder = shutil.copytree(QUAY, tmp_path / "quay", ignore=KEPT)
    text = (folder / "layout.yaml").read_text(encoding="utf-8")
    text = re.sub(r" ?at: [0-9]+ mm by [0-9]+ mm,", "", re.sub(r"    passes: \[[^]]+\]\n", "", text))
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    with running(folder=folder) as show:
        for wide in (360, 768, 1920):
            page = opened(show.address, wide, 800)
            live(page)
            expect(page.locator("#layout-plan")).to_have_count(0)
            assert_all_on_the_sheet(page, "tracks")


@pytest.mark.parametrize(("wide", "high"), WIDTHS)
@pytest.mark.parametrize("shade", ["dark", "light"])
def test_nothing_is_cut_off_and_no_rule_of_accessibility_is_broken(
    show: Running, opened: Open, wide: int, high: int, shade: str, tmp_path: Path
) -> None:
    from axe_core_python.sync_playwright import Axe

    page = opened(show.address, wide, high, color_scheme=shade)
    live(page)
    page.get_by_role("button", name="All stop").click()
    page.get_by_role("button", name="Work saltmarsh-lane-crossing by hand").click()
    tile(page, "forge").click()
    expect(page.locator("#banners")).to_contain_text("is worked by hand")
    assert page.evaluate("document.documentElement.scrollWidth") <= wide
    cut = page.evaluate(
        """[...document.querySelectorAll('button, p, h1, h2, h3, .name, .state')].filter(one =>
           one.offsetParent && !one.closest('.unseen') && one.scrollWidth > one.clientWidth + 1
           && getComputedStyle(one).display !== 'inline').map(one => one.textContent)"""
    )
    assert cut == []
    assert_all_on_the_sheet(page, "layout-plan")
    for button in ("all-stop", "dark", "hush"):
        box = page.locator(f"#{button}").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= high  # always in reach
        assert min(box["width"], box["height"]) >= 44  # WCAG 2.2, 2.5.5 target size (enhanced): 44 by 44
    small = page.evaluate(
        """[...document.querySelectorAll('button')].filter(one => one.offsetParent &&
           Math.min(one.offsetWidth, one.offsetHeight) < 44).map(one => one.textContent)"""
    )
    assert small == []
    wait_for(lambda: page.locator("#said").inner_text() != "")
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]})
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found["violations"]] == []
    assert len(found["passes"]) > 15  # the rules did find something to look at


def test_the_accessibility_check_can_fail(show: Running, opened: Open) -> None:
    from axe_core_python.sync_playwright import Axe

    page = opened(show.address)
    live(page)
    page.evaluate("document.getElementById('all-stop').textContent = ''")
    assert "button-name" in {one["id"] for one in Axe().run(page)["violations"]}


def test_whoever_asks_for_stillness_sees_no_flashing(show: Running, opened: Open) -> None:
    page = opened(show.address, reduced_motion="reduce")
    live(page)
    page.get_by_role("button", name="All stop").click()
    expect(tile(page, "red-left")).to_contain_text("flashing")
    lit = tile(page, "red-left").locator(".lit")
    seen = {lit.get_attribute("opacity") for _ in range(40)}
    assert len(seen) == 1
