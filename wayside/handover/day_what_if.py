"""What to do if something goes wrong in a show, for this layout: in the words of the desk and of the terminal.

The desk's words are those of `desk/page`, a line to be typed is one that `hands` understands; tests hold both to it.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.layout import Crossing, Kind, Layout, Output
from engine.program import Program
from engine.show_day import GRACE_US
from wayside.rehearsal.trace_words import length, rate, value
from wayside.wording import listed

MOST_NAMED = 6

Row = tuple[str, str]


def rows(program: Program, day: str, folder: str) -> Iterator[Row]:
    """What is amiss, and what to do. What stands between `` is typed in the terminal of the show."""
    layout = program.layout
    servos = any(output.kind is Kind.SERVO for output in layout.outputs.values())
    port = " --port PORT" if layout.links and not any(link.port for link in layout.links.values()) else ""
    jump = "Hands off: servos may jump. " if servos else ""
    yield "danger, or a hand in the way", _all_stop(layout)
    if any(output.kind is Kind.LAMP for output in layout.outputs.values()):
        but = " but guarded ones" if any(output.guarded for output in layout.outputs.values()) else ""
        yield (
            "it must be dark",
            f"Blackout, or type `blackout`: every lamp goes out{but}. Lights back, or type `lights`.",
        )
    if any(output.kind is Kind.SOUND for output in layout.outputs.values()):
        yield "it is too loud", "Mute, or type `mute`. Sound back, or type `sound`."
    for crossing in layout.crossings.values():
        yield f"{crossing.name} must be worked by hand", _by_hand(layout, crossing)
    if layout.detectors:
        yield "a detector lies", _lies(program)
    yield (
        "the desk's page is hatched",
        (
            "It has lost the show, and finds it again by itself. Until then only All stop is tried. Type at the "
            "terminal."
        ),
    )
    if layout.links:
        yield "a link is gone, or nothing moves", _gone(program)
    yield (
        "the computer or the program has stopped",
        (
            f"{jump}`wayside run {folder}{port} --day {day}` begins again; what was missed by less "
            f"than {length(GRACE_US)} is done at once, what by more is left out."
        ),
    )
    yield "something was odd", "Mark this moment, or type `mark` and what it was; it is found again in the journal."
    yield (
        "the show must end early",
        ("Type `end`, or press Ctrl-C once; wait until it says that the show has ended, then switch off."),
    )


def _all_stop(layout: Layout) -> str:
    keys = [name for name, button in layout.buttons.items() if button.stops]
    by = ["The large key All stop at the foot of the desk's page", "Escape twice within a second there"]
    by += [f"the button {listed(keys, 3)}"] if keys else []
    parts = {part for one in layout.outputs.values() for aspect in one.aspects for part, _ in aspect.parts}
    guarded = [_safe(one) for one in layout.outputs.values() if one.guarded and one.name not in parts]
    safe = f": {listed(guarded, MOST_NAMED)}" if guarded else ""
    return (
        f"{'; '.join(by)}; or type `all stop`. Every scene stops{safe}. Track power stays on: that is switched off at "
        "the station. When all is well: Go on, or type `go on`."
    )


def _safe(output: Output) -> str:
    assert output.safe is not None
    blink = output.safe.blink
    return f"{output.name} {f'flashes, {rate(blink)}' if blink else value(output, output.safe.value)}"


def _by_hand(layout: Layout, crossing: Crossing) -> str:
    barriers = [*crossing.entrance_barriers, *crossing.exit_barriers]
    take = [f"`take {name} {value(layout.outputs[name], layout.outputs[name].lowered_deg)}`" for name in barriers]
    first = " Its signals go to danger first." if crossing.signals else ""
    then = f" Then choose positions, or type {listed(take, 4)}." if take else ""
    return (
        f"Work by hand, or type `work {crossing.name}`.{first}{then} No barrier rises before every signal is at "
        f"danger, no signal clears before all are lowered. Give back, or type `give back {crossing.name}`."
    )


def _lies(program: Program) -> str:
    names = list(program.layout.detectors)
    readers = [scene.name for scene in program.named_scenes.values() if scene.reads]
    waits = f" {listed(readers, 4)} may then wait for ever: work by hand." if readers else ""
    return (
        f"Look that no train is there. Out of use… with the reason, or type `{names[0]} out of use`: it then counts as "
        f"neither occupied nor clear.{waits} Back in use, or type `{names[0]} in use`."
    )


def _gone(program: Program) -> str:
    links = listed(list(program.layout.links), 3)
    wired = [one.name for one in program.layout.detectors.values() if program.layout.link_of(one.wiring) is not None]
    unknown = " Its detectors count as occupied meanwhile, so a crossing stays closed to the road." if wired else ""
    return (
        f"See to the plug and the supply of {links}; it is found again by itself and every output put right. Models "
        f"stay as they are until then.{unknown} Track power off: see that no hand is on the track, then type "
        "`power on`."
    )


def cautions(layout: Layout) -> Iterator[str]:
    """The usual cautions, those that this layout has to do with."""
    kinds = {output.kind for output in layout.outputs.values()}
    yield (
        "Someone stays with the layout; nothing that heats runs unwatched. Extra-low voltage only: mains is for a "
        "qualified person, and local codes and the organiser's rules come first. One labelled off switch."
    )
    if Kind.LAMP in kinds:
        stays = [one.name for one in layout.outputs.values() if one.kind is Kind.LAMP and one.safe and one.safe.blink]
        but = f" That leaves {listed(stays, MOST_NAMED)} flashing: switch their supply off." if stays else ""
        yield f"Flashing light can harm people with photosensitive epilepsy: if anybody asks, Blackout.{but}"
    if kinds & {Kind.SERVO, Kind.MOTOR}:
        yield "Moving parts within reach of children: keep fingers out; hands off the track and the barriers."
    if Kind.SOUND in kinds:
        yield "Sound is turned down when anybody asks."
    if layout.crossings:
        yield "The crossing is scenery. It is never a design for a real one."
