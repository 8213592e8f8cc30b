"""Which stops a walk has, in which order, and what each kind of output shows there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from engine.layout import Layout
from wayside.layout.file import read_layout
from wayside.walk.answers import Answer, How, Rolled, as_kept, from_kept
from wayside.walk.keeping import mark_of
from wayside.walk.shows import show_of, wave_of
from wayside.walk.stops import walk_round

TEXT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text, dialect: late}
  quay: {kind: serial text, dialect: early}
boards:
  yard: {link: main, first address: 60, ports: 8}
  box: {link: main, first address: 40, ports: 8}
outputs:
  shed: {kind: lamp, board: yard, port: 3}
  red: {kind: lamp, board: box, port: 0, safe: on}
  hut: {kind: lamp, board: box, port: 5}
  pump: {kind: relay, link: main, address: 90}
  arm: {kind: servo, link: main, pin: 20, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s}
  home: {kind: signal, aspects: {danger: {arm: danger}, clear: {arm: clear}}}
  colour-light: {kind: signal, link: main, address: 5, aspects: {danger: 0, clear: 4}}
  barrier: {kind: servo, board: yard, port: 1, positions: {raised: 85 deg, lowered: 0 deg}, moves by itself: 7 s}
  inn: {kind: lamp, dimmable: yes, link: quay, pin: 30}
  sky: {kind: lamp, dimmable: yes}
detectors:
  lane: {kind: section, link: main, pin: 60}
buttons:
  push: {link: main, pin: 61}
"""


@pytest.fixture
def layout(tmp_path: Path) -> Layout:
    (tmp_path / "layout.yaml").write_text(TEXT, encoding="utf-8")
    return read_layout(tmp_path / "layout.yaml", "layout.yaml")[0]


def test_box_by_box_what_is_guarded_last_and_inputs_at_the_end(layout: Layout) -> None:
    names = [stop.name for stop in walk_round(layout).stops]
    assert names == ["barrier", "shed", "hut", "red", "colour-light", "pump", "arm", "lane", "push"]


def test_as_the_layout_file_has_it(layout: Layout) -> None:
    names = [stop.name for stop in walk_round(layout, "file").stops]
    assert names == ["shed", "red", "hut", "pump", "arm", "colour-light", "barrier", "lane", "push"]


def test_from_left_to_right_on_the_plan(layout: Layout) -> None:
    places = {"shed": (900, 100), "red": (200, 300), "arm": (200, 100), "push": (10, 10)}
    walk = walk_round(replace(layout, plan=layout.plan._replace(places=places)), "place")
    names = [stop.name for stop in walk.stops]
    assert names == ["arm", "red", "shed", "hut", "pump", "colour-light", "barrier", "push", "lane"]


def test_a_signal_of_parts_is_walked_by_its_parts_and_what_cannot_be_told_is_said(layout: Layout) -> None:
    walk = walk_round(layout)
    left = {one.name: one.why for one in walk.left_out}
    assert walk.named("home") is None
    assert left.keys() == {"inn", "sky"}
    assert "needs levels" in left["inn"]
    assert "has no wire" in left["sky"]


def test_each_says_where_it_is(layout: Layout) -> None:
    where = {stop.name: stop.where for stop in walk_round(layout).stops}
    assert where["hut"] == "port 5 of box, accessory 45"
    assert where["arm"] == "pin 20 of main"
    assert where["lane"] == "input 60 of main"


def test_a_servo_that_its_board_moves_is_told_its_ends_and_given_its_time(layout: Layout) -> None:
    show = show_of(layout.outputs["barrier"])
    assert [leg.value for leg in show.legs] == [85.0, 0.0, 85.0]
    assert {leg.over_us for leg in show.legs} == {0}
    assert all(leg.stays_us >= 7_000_000 for leg in show.legs)


def test_a_signal_shows_all_its_aspects_in_turn(layout: Layout) -> None:
    show = show_of(layout.outputs["colour-light"])
    assert [(leg.says, leg.value) for leg in show.legs] == [("danger", 0.0), ("clear", 1.0)]
    assert show.repeats


def test_what_stands_nobody_knows_where_is_told_at_once(layout: Layout) -> None:
    leg = show_of(layout.outputs["arm"]).legs[0]
    assert wave_of(leg, None, 0).value_at(0) == leg.value
    assert wave_of(leg, 30.0, 0).value_at(0) == 30.0


def test_an_answer_counts_as_long_as_the_layout_file_says_the_same(layout: Layout) -> None:
    walk = walk_round(layout)
    stop = walk.named("hut")
    assert stop is not None
    mark = mark_of(layout, stop)
    moved = replace(layout, links={**layout.links, "main": replace(layout.links["main"], from_one=False)})
    assert mark_of(moved, stop) != mark
    assert mark_of(layout, stop._replace(number=46)) != mark
    elsewhere = replace(layout, links={**layout.links, "main": replace(layout.links["main"], port="COM9")})
    assert mark_of(elsewhere, stop) == mark  # the same station at another port


def test_an_answer_is_kept_whole() -> None:
    for answer in (
        Answer(How.YES),
        Answer(How.OTHER, "hut"),
        Answer(How.NO, "", Rolled("clear", 1, 0, "occupied", ("yard",), (77,))),
    ):
        assert from_kept(as_kept(answer)) == answer


@pytest.mark.parametrize("found", [None, 3, {}, {"how": 3}, {"how": "yes", "other": 3}, {"how": "maybe"}])
def test_what_is_no_answer_is_none(found: object) -> None:
    assert from_kept(found) is None


def test_a_rolled_that_is_none_is_left_out() -> None:
    assert from_kept({"how": "no", "rolled": {"occupied": "x"}}) == Answer(How.NO)
