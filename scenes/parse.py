"""From text to syntax tree. The one file that knows the parser library; its classes and errors stay in here.

The library builds the tables from the grammar, in strict mode, once; they are kept in a file. The loop that works them
is our own (`scenes.reader`).
"""

from __future__ import annotations

import gc
import json
import os
import sys
import zlib
from pathlib import Path
from typing import Any, ClassVar

from scenes.reader import Parsed, Reader, Rule, Tables
from scenes.source import TAB_COLUMNS

GRAMMAR = Path(__file__).with_name("scene.lark")
_TABLE_FORMAT = 1


def parse(text: str, file: str) -> Parsed:
    """The tree of a scene file's text, and every mistake in it, one a line."""
    tables = _tables()
    collecting = gc.isenabled()
    gc.disable()  # a tree is all live objects: looking for dead ones among them would take half the time
    try:
        return Reader(file, tables).read(text.split("\n"))
    finally:
        if collecting:
            gc.enable()


# --- the tables ----------------------------------------------------------------------------------------------------

_loaded: list[Tables] = []


def _tables() -> Tables:
    if not _loaded:
        grammar = GRAMMAR.read_bytes()
        stamp = f"{_TABLE_FORMAT} {len(grammar)} {zlib.crc32(grammar)}"
        kept = next(filter(None, (_kept_tables(path, stamp) for path in _cache_files())), None)
        _loaded.append(kept or _built_and_kept(stamp))
    return _loaded[0]


def _built_and_kept(stamp: str) -> Tables:
    plain = _plain(build())
    any(_keep_tables(path, stamp, plain) for path in _cache_files())
    return _from_plain(plain)


def build() -> Any:
    """The grammar as the library builds it, strict: a conflict that it would settle in silence is refused."""
    import lark
    from lark.indenter import Indenter

    class Lines(Indenter):
        NL_type = "_NL"
        OPEN_PAREN_types: ClassVar[list[str]] = []
        CLOSE_PAREN_types: ClassVar[list[str]] = []
        INDENT_type = "_INDENT"
        DEDENT_type = "_DEDENT"
        tab_len = TAB_COLUMNS
        # Accepted everywhere, so that a word is read whole and is a reserved word only where one can stand.
        always_accept = ("_NL", "NAME", "INTEGER", "DURATION", "PERCENT", "ANGLE", "RATE", "LENGTH", "SPEED", "TIME")

    return lark.Lark(
        GRAMMAR.read_text("utf-8"),
        parser="lalr",
        lexer="contextual",
        strict=True,
        maybe_placeholders=False,
        propagate_positions=True,
        postlex=Lines(),
    )


def _plain(built: Any) -> dict[str, Any]:
    """The library's tables as plain lists, which can be kept in a file."""
    table = built.parser.parser._parse_table
    rules: dict[Any, int] = {}
    actions: list[dict[str, int]] = [{} for _ in table.states]
    for state, row in table.states.items():
        for name, (action, arg) in row.items():
            actions[state][name] = arg if action.name == "Shift" else ~rules.setdefault(arg, len(rules))
    words = {
        one.pattern.value: one.name for one in built.terminals if one.pattern.type == "str" and one.name != "BROKEN"
    }
    return {
        "start": table.start_states["start"],
        "end": table.end_states["start"],
        "actions": actions,
        "rules": [_plain_rule(rule) for rule in rules],
        "words": {text: name for text, name in words.items() if text.isalpha()},
    }


def _plain_rule(rule: Any) -> list[Any]:
    kept = [
        [number, piece.name if piece.is_term else None]
        for number, piece in enumerate(rule.expansion)
        if not (piece.is_term and piece.filter_out)
    ]
    kind = None if rule.origin.name.startswith("_") else str(rule.alias or rule.origin.name)
    return [str(rule.origin.name), len(rule.expansion), kind, kept, bool(rule.options.expand1)]


def _from_plain(plain: dict[str, Any]) -> Tables:
    rules = [
        Rule(origin, size, kind, tuple((number, word) for number, word in kept), lone, _passes(size, kind, kept, lone))
        for origin, size, kind, kept, lone in plain["rules"]
    ]
    return Tables(plain["start"], plain["end"], plain["actions"], rules, plain["words"])


def _passes(size: int, kind: str | None, kept: list[list[Any]], lone: bool) -> bool:
    return size == 1 and (kind is None or lone) and kept == [[0, None]]


def _cache_files() -> list[Path]:
    """Where the tables may be kept: beside the compiled modules, or else in the person's own cache folder."""
    own = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or os.path.join("~", ".cache")
    name = f"scene-tables-{sys.implementation.cache_tag}.json"
    return [GRAMMAR.parent / "__pycache__" / name, Path(os.path.expanduser(own)) / "wayside" / name]


def _kept_tables(path: Path, stamp: str) -> Tables | None:
    """The tables from a file; None if it is missing, of another grammar, or damaged in any way."""
    try:
        head, payload = path.read_bytes().split(b"\n", 1)
        if head.decode() != f"{stamp} {zlib.crc32(payload)}":
            return None
        return _from_plain(json.loads(payload))
    except Exception:  # whatever is wrong with the file, the tables can be built anew
        return None


def _keep_tables(path: Path, stamp: str, plain: dict[str, Any]) -> bool:
    """Write the tables in one step, so that nobody reads half a file; False where that is not possible."""
    payload = json.dumps(plain, separators=(",", ":")).encode()
    half = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half.write_bytes(f"{stamp} {zlib.crc32(payload)}\n".encode() + payload)
        os.replace(half, path)
    except OSError:
        half.unlink(missing_ok=True) if half.parent.is_dir() and os.access(half.parent, os.W_OK) else None
        return False
    return True
