"""The table of what can be wrong with a layout's wires: each row guesses, and says what a walk would then have shown.

Of guesses that explain as much, the one further up counts. What goes wrong how often is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from wayside.walk import guess_inputs as inputs
from wayside.walk import guess_numbers as numbers
from wayside.walk import guess_outputs as outputs
from wayside.walk.guess import Guess
from wayside.walk.signs import Walked


class Row(NamedTuple):
    """A kind of fault, and what finds it."""

    key: str
    finds: Callable[[Walked], Iterator[Guess]]


PATTERNS = (
    Row("link does not talk", outputs.not_talking),
    Row("no track power", outputs.no_power),
    Row("off by four", numbers.off_by_four),
    Row("boards exchanged", numbers.boards_swapped),
    Row("board's numbers are off", numbers.board_shifted),
    Row("two exchanged", numbers.two_swapped),
    Row("two on one address", numbers.one_address),
    Row("board dead", outputs.board_dead),
    Row("supply dead", outputs.supply_dead),
    Row("track bus dead", outputs.track_dead),
    Row("link dead", outputs.link_dead),
    Row("on and off exchanged", outputs.all_wrong_way),
    Row("reversed", outputs.wrong_way),
    Row("not dimmable", outputs.no_fade),
    Row("output dead", outputs.output_dead),
    Row("leads elsewhere", numbers.leads_elsewhere),
    Row("moves two", numbers.moves_two),
    Row("inputs silent", inputs.inputs_silent),
    Row("inputs' numbers are off", inputs.inputs_shifted),
    Row("detectors exchanged", inputs.inputs_swapped),
    Row("detectors joined", inputs.inputs_joined),
    *(Row(key, inputs.of_input(fault)) for key, fault in inputs.INPUT_FAULTS.items()),
)
