"""From text to syntax tree. The one file that knows the parser library; its classes and errors stay in here."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lark import Lark, Token, Transformer
from lark.indenter import Indenter
from lark.tree import Meta

from engine.layout import Place
from scenes.nodes import Node, Word

GRAMMAR = Path(__file__).with_name("scene.lark")


class _Lines(Indenter):
    """Makes indentation tokens."""

    NL_type = "_NL"
    OPEN_PAREN_types: list[str] = []
    CLOSE_PAREN_types: list[str] = []
    INDENT_type = "_INDENT"
    DEDENT_type = "_DEDENT"
    tab_len = 1
    # Accepted in every state, so that a word is always read whole and is a reserved word only where one can stand.
    always_accept = ("_NL", "NAME", "INTEGER", "DURATION", "PERCENT", "ANGLE", "RATE", "LENGTH", "SPEED", "TIME")


class _ToNodes(Transformer[Token, Node]):
    """Turns the parser's tree into ours while it is being built."""

    def __init__(self, file: str) -> None:
        super().__init__()
        self.file = file


def _parser(**options: Any) -> Lark:
    return Lark.open(
        str(GRAMMAR),
        parser="lalr",
        lexer="contextual",
        strict=True,
        propagate_positions=True,
        maybe_placeholders=False,
        postlex=_Lines(),
        **options,
    )


def parse(text: str, file: str) -> Node:
    tree = _parser().parse(text)
    return _node(tree, file)


def _node(tree: Any, file: str) -> Node:
    meta: Meta = tree.meta
    parts: list[Node | Word] = []
    for child in tree.children:
        if isinstance(child, Token):
            place = Place(file, child.line, child.column, child.end_line, child.end_column)
            parts.append(Word(child.type, str(child), place))
        else:
            parts.append(_node(child, file))
    place = (
        Place(file, meta.line, meta.column, meta.end_line, meta.end_column) if not meta.empty else Place(file, 0, 0, 0, 0)
    )
    return Node(tree.data, tuple(parts), place)
