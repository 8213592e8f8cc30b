"""The links of a show before they are opened: what is said of them, and what they are not told."""

from __future__ import annotations

import asyncio

import pytest

from engine.layout import Detector, DetectorKind, Kind, Layout, Link, Output, Setting, Wiring
from wayside.live.links import Links, Unreached, links_of
from wayside.usage import UsageProblem

GATE = Output("gate", Kind.SERVO, Setting(0.0), safe=Setting(0.0), wiring=Wiring(link="main", pin=20))
LAYOUT = Layout(
    links={"main": Link("main", port="loop://", dialect="late"), "yard": Link("yard")},
    outputs={
        "gate": GATE,
        "arm": Output("arm", Kind.SERVO, Setting(0.0), safe=Setting(0.0), wiring=Wiring(link="yard", pin=20)),
    },
    detectors={
        "lane": Detector("lane", DetectorKind.SECTION, wiring=Wiring(link="main", pin=30)),
        "loop": Detector("loop", DetectorKind.SECTION),
    },
)


def links(said: list[str]) -> Links:
    return Links(LAYOUT, links_of(LAYOUT, []), lambda: 0, said.append)


def test_power_is_not_switched_later_on_a_link_that_does_not_hear_now() -> None:
    said: list[str] = []
    links(said).order("power on")
    assert said == ["link main does not hear now, and is not told power on: not opened yet."]


def test_what_cannot_be_said_to_be_safe() -> None:
    assert links([]).unreached() == [
        Unreached("main", ("gate",), "not opened yet"),
        Unreached("yard", ("arm",), "it has no port"),
    ]


def test_which_links_keep_detectors_silent() -> None:
    both = links([])
    assert both.not_talking() == ["main: not opened yet"]
    assert both.not_talking(["lane"]) == ["main: not opened yet"]
    assert both.not_talking(["loop"]) == []


def test_a_number_that_grows_is_not_said_again_and_again(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    both = links(said)
    usual = both.runs[0].health()
    for what in ("it talks, but has refused commands: 1", "it talks, but has refused commands: 2", "all is well"):
        monkeypatch.setattr(both.runs[0], "health", lambda what=what: usual._replace(what=what))
        both.look()
    assert said == ["link main (loop://): it talks, but has refused commands: 1.", "link main (loop://): all is well."]


def test_what_has_no_port_or_no_link_is_said_when_a_show_begins() -> None:
    said: list[str] = []

    async def begin() -> None:
        both = links(said)
        both.start(lambda *_: None)
        both.stop()

    asyncio.run(begin())
    assert "link yard has no port: its outputs are told nothing, and its detectors are worked by hand." in said
    assert "loop is on no link in the layout file, and worked by hand only." in said


@pytest.mark.parametrize(
    ("port", "write"),
    [
        ("main=localhost:2560", "main=socket://localhost:2560"),
        ("yard=ttyUSB0", "yard=/dev/ttyUSB0"),
        ("localhost:2560", "socket://localhost:2560"),
    ],
)
def test_a_port_that_can_be_guessed(port: str, write: str) -> None:
    with pytest.raises(UsageProblem, match=f"Write {write}[.]"):
        links_of(LAYOUT, [port])


@pytest.mark.parametrize(
    ("ports", "says"),
    [
        (["main=COM5", "yard=COM5"], "main and yard have one port, COM5. Give one of them its own port."),
        (["/dev/ttyUSB0"], "which link is meant[?] Write for example --port main=/dev/ttyUSB0."),
    ],
)
def test_ports_that_cannot_be_meant(ports: list[str], says: str) -> None:
    with pytest.raises(UsageProblem, match=says):
        links_of(LAYOUT, ports)


def test_a_port_is_of_the_link_that_is_named() -> None:
    assert [link.port for link in links_of(LAYOUT, ["yard=socket://localhost:2560"])] == [
        "loop://",
        "socket://localhost:2560",
    ]
