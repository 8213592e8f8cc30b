"""What can be written already and comes with the light step: the one place that answers it."""

from __future__ import annotations

from scenes.names import Names, Refused, Scope
from scenes.nodes import Node

LIGHT_STEP = "comes with the light step"

_WORDS = {
    "like": "`like`, a lamp's own way of coming on,",
    "flicker": "`flicker`",
    "show": "`show`, a light's published character,",
    "daylight": "`daylight`",
}


def answer(names: Names, node: Node, scope: Scope) -> Refused:
    """Report a line, or a part of one, that is read and understood but not performed yet."""
    return names.refuse(node.place, f"{_WORDS[node.kind]} {LIGHT_STEP}", "leave it out for now", scope)
