"""The door of a page that a program serves: its port, its address, its PIN, and what is said of it when it opens."""

from __future__ import annotations

import io
import socket
from typing import NamedTuple

from wayside.desk.server import bound, lan_address
from wayside.desk.sessions import Sessions, new_pin


class Called(NamedTuple):
    """How the page is called in its sentences."""

    name: str = "The desk"
    works: str = "works the show"
    between: str = "page and show"


class Door:
    """Made before anything begins, so that a port that cannot be had is said first. Raises UsageProblem."""

    def __init__(self, port: int, lan: bool, called: Called = Called()) -> None:  # noqa: B008 - it is frozen
        self.socket: socket.socket = bound(port, lan)
        self.lan = lan
        self.sessions = Sessions(new_pin() if lan else None)
        number = self.socket.getsockname()[1]
        self.port: int = number
        self.address = f"http://{lan_address() if lan else '127.0.0.1'}:{number}/"
        self._called = called

    def __str__(self) -> str:
        """Where it is, and what lets one in."""
        return f"{self.address}   PIN {self.sessions.pin}" if self.sessions.pin else self.address

    def opening(self, asked_port: int) -> str:
        """What is said of it when it opens."""
        name, works, between = self._called
        other = f" (port {asked_port} is taken)" if self.port != asked_port else ""
        if not self.lan:
            return f"{name}, for a browser on this computer: {self.address}{other}"
        return (
            f"{name}, for this network: {self.address}{other}   PIN {self.sessions.pin}\n{self._code()}\n"
            f"Whoever knows the PIN {works}. What goes between {between} is not encrypted: use a network of your own."
        )

    def _code(self) -> str:
        """The address as a QR code, of half blocks."""
        import segno

        text = io.StringIO()
        segno.make(self.address, error="l", micro=False).terminal(text, border=2, compact=True)
        return text.getvalue().rstrip("\n")
