"""A condition's tree said again in the writer's words, for messages and the event list."""

from __future__ import annotations

from collections.abc import Callable

from scenes.nodes import Node, Word

_JOINED = {"both": " and ", "either": " or "}
_COMPARED = {"PAST": "past", "ABOVE": "above", "BELOW": "below", "LEAST": "at least", "MOST": "at most"}


def said(part: Node | Word) -> str:
    """The sentence that a condition's node came from."""
    if isinstance(part, Word):
        return part.text
    maker = _SAID.get(part.kind)
    return maker(part) if maker else " ".join(said(inner) for inner in part.parts)


def _list(node: Node) -> str:
    return ", ".join(word.text for word in node.words())


def _held(node: Node) -> str:
    condition, *rest = node.parts
    return said(condition) + "".join(f" for {said(time)}" for time in rest)


def _joined(node: Node) -> str:
    inner = [f"({said(p)})" if isinstance(p, Node) and p.kind in _JOINED else said(p) for p in node.parts]
    return _JOINED[node.kind].join(inner)


def _compare(node: Node) -> str:
    return " ".join(said(part) for part in node.parts)


def _becomes(node: Node) -> str:
    return f"{said(node.parts[0])} becomes {said(node.parts[1])}"


def _subject(node: Node) -> str:
    if node.word("OUTPUTS"):
        return "all outputs"
    quantity = node.node("quantity")
    if quantity is None:
        return " ".join(said(part) for part in node.parts)
    return f"{_quantity(quantity)} of {' '.join(_list(names) for names in node.nodes('names'))}"


def _quantity(node: Node) -> str:
    return " ".join(_COMPARED.get(word.kind, word.text) for word in node.parts if isinstance(word, Word))


def _amount(node: Node) -> str:
    words = [_COMPARED.get(word.kind, word.text) for word in node.parts if isinstance(word, Word)]
    return " ".join(words)


def _train_on(node: Node) -> str:
    name = said(node.words()[0])
    if node.word("NO"):
        return f"no train is on {name}"
    return f"a train is {'not ' if node.word('NOT') else ''}on {name}"


_SAID: dict[str, Callable[[Node], str]] = {
    "held": _held,
    "both": _joined,
    "either": _joined,
    "compare": _compare,
    "becomes": _becomes,
    "subject": _subject,
    "amount": _amount,
    "train_on": _train_on,
    "negated": lambda node: f"not {said(node.parts[0])}",
    "reaches": lambda node: f"a train reaches {said(node.parts[0])}",
    "let_go": lambda node: "let go",
    "out_of_use": lambda node: "out of use",
    "at_rest": lambda node: "at rest",
    "every_detector": lambda node: "every detector",
}
