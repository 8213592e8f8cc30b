"""The names of practice tables: which are shipped, and which words name a person's own file. Opens none of them."""

from __future__ import annotations

from pathlib import Path

from wayside.usage import near_miss
from wayside.wording import listed

SHIPPED = Path(__file__).with_name("tables")
ENDINGS = (".yaml", ".yml")


def shipped() -> dict[str, Path]:
    """The tables that come with Wayside, by name."""
    return {file.stem: file for file in sorted(SHIPPED.glob("*.yaml"))}


def is_file(word: str) -> bool:
    """Whether a word names a table's file, not one that is shipped."""
    return word.lower().endswith(ENDINGS) or "/" in word or "\\" in word


def unknown(word: str) -> str:
    """What to write instead of a shipped table's name that does not exist."""
    near = near_miss(word, shipped())
    there_is = "" if near else f" There is {listed(list(shipped()))}."
    return f"{near}{there_is} A table of your own is named by its file, which ends in .yaml.".strip()
