"""The files of a first level crossing: its outputs, detectors or a switch, its scene, rules and rehearsals. Pure.

The times are shortened where a train is seen too late for the full ones; order and flashing stay as they are.
"""

from __future__ import annotations

from math import ceil, floor
from typing import NamedTuple

from wayside.starting.starting import EARLY, Answers, Part, Wires, seconds

FULL = (3.0, 5.0, 7.0)  # amber, reds before the barriers, the barriers' fall, in seconds
LEAST = (1.0, 2.0, 3.0)
MARGIN_S = 2.0  # that the road is closed before a train is there
LANE_MM, BEYOND_MM, TRAIN_MM = 300, 900, 600
RISE_S = 6.0
CLEAR_S = 4.0
BY_ITSELF_S = 3.0  # a board's own move


class Times(NamedTuple):
    amber: float
    reds: float
    fall: float
    rise: float

    @property
    def closed(self) -> float:
        return self.amber + self.reds + self.fall


def times(answers: Answers) -> Times | None:
    """The times of a closing that fit into the approach; None where none do."""
    own = answers.station == EARLY
    full = (*FULL[:2], BY_ITSELF_S) if own else FULL
    rise = BY_ITSELF_S if own else RISE_S
    if not answers.detectors:
        return Times(*full, rise)
    there = answers.approach_mm / answers.speed_mm_s - MARGIN_S
    if there < sum(LEAST):
        return None
    share = min(1.0, (there - BY_ITSELF_S) / sum(full[:2])) if own else min(1.0, there / sum(full))
    found = [max(least, floor(2 * one * share) / 2) for one, least in zip(full, LEAST, strict=True)]
    return Times(found[0], found[1], BY_ITSELF_S if own else found[2], rise)


def least_approach_mm(speed_mm_s: int) -> int:
    """How long an approach must be at the least."""
    return ceil((sum(LEAST) + MARGIN_S) * speed_mm_s / 10) * 10


def bears_a_challenge(answers: Answers) -> bool:
    """Whether the road is closed in time even where dirty wheels hide a train for as long as the scene bears."""
    when = times(answers)
    there = answers.approach_mm / answers.speed_mm_s
    return when is not None and (not answers.detectors or when.closed + CLEAR_S + 1 <= there)


def part(answers: Answers, wires: Wires) -> Part:
    """All that a crossing puts into the files. Ask `times` first."""
    when = times(answers)
    assert when is not None
    approaches = _approaches(answers)
    sections: dict[str, list[str]] = {"outputs": _outputs(answers, wires)}
    if answers.detectors:
        sections["detectors"] = _detectors(approaches, wires)
        sections["tracks"] = _tracks(answers, approaches)
    else:
        sections["buttons"] = [
            "# a switch on your panel: while it is on, the road is closed",
            "closing-switch:" + _braced(wires.pin("input")),
        ]
    sections["crossing"] = _roles(answers, approaches)
    return Part(sections, "crossing.scene", _scene(answers, when, approaches))


def _braced(wiring: str) -> str:
    return f" {{{wiring.removeprefix(', ')}}}" if wiring else ""


def _approaches(answers: Answers) -> list[str]:
    return ["up-approach", "down-approach"] if answers.tracks == 2 else ["approach"]


def _track(approach: str) -> str:
    return approach.replace("approach", "line") if "-" in approach else "main-line"


def _barriers(answers: Answers) -> list[str]:
    return ["near-barrier", "far-barrier"] if answers.barriers == 2 else ["barrier"]


def _outputs(answers: Answers, wires: Wires) -> list[str]:
    lines = [
        "# the road's lamps and the bell",
        f"amber: {{kind: lamp{wires.switched()}}}",
        "# `safe` makes a thing guarded: whatever is stopped, these flash and the barriers are down",
        f'red-left: {{kind: lamp{wires.switched()}, safe: "flashing at 80 a minute, 1 of 2"}}',
        f'red-right: {{kind: lamp{wires.switched()}, safe: "flashing at 80 a minute, 2 of 2"}}',
        f"bell: {{kind: sound{wires.switched()}, longest on: 5 min}}",
        "",
    ]
    if wires.pins:
        lines.append("# find the angles of your own servos with `wayside jog`, which writes them in here")
    else:
        lines.append("# this station only switches, so a board moves them by itself, in the time that you set there")
    for name in _barriers(answers):
        lines.append(f"{name}:")
        lines += [
            "  " + one
            for one in (
                "kind: servo",
                "positions: {raised: 85 deg, lowered: 5 deg}",
                *wires.servo("1500 ms", seconds(BY_ITSELF_S)).removeprefix(", ").split(", "),
                *(("limits: 0 deg to 90 deg",) if wires.pins else ()),
                "rest: raised",
                "safe: lowered",
            )
        ]
    return lines


def _detectors(approaches: list[str], wires: Wires) -> list[str]:
    named = [*approaches, "lane"]
    lines = ["# each sees its stretch of track; `settle` bridges dirty wheels. lane is the stretch on the road itself."]
    return [*lines, *(f"{name}: {{kind: section, settle: 200 ms{wires.pin('input')}}}" for name in named)]


def _tracks(answers: Answers, approaches: list[str]) -> list[str]:
    lines = ["# in the order in which a train meets them; measure yours, since the times of the scene hang on it"]
    for approach in approaches:
        lines += [
            f"{approach.removesuffix('approach')}line:".replace(
                "line:", "line:" if answers.tracks == 2 else "main-line:"
            ),
            "  stretches:",
            f"    - {approach}: {answers.approach_mm} mm",
            f"    - lane: {LANE_MM} mm",
            f"    - blind: {BEYOND_MM} mm   # where nothing sees the train any more",
            f"  fastest: {answers.speed_mm_s} mm/s",
            "  shortest train: 300 mm",
            "  one way: yes   # trains come from the approach only",
        ]
    return lines


def _roles(answers: Answers, approaches: list[str]) -> list[str]:
    lines = [
        "# who plays which part, for `wayside compare` and the desk",
        "first-crossing:",
        "  amber: [amber]",
        "  reds: [red-left, red-right]",
        f"  entrance barriers: [{', '.join(_barriers(answers))}]",
        "  audible warning: [bell]",
    ]
    if answers.detectors:
        lines += [f"  detectors: [{', '.join([*approaches, 'lane'])}]", "  on the road: [lane]"]
    return lines


# --- the scene -----------------------------------------------------------------------------------------------------

SCENE = """\
# The crossing at {name}.
# Amber and bell, then two reds in turn, then the barriers; and back again when all is clear.
{why}# Scenery: never a design for a real crossing.

{defines}
group barriers: {barriers}
group reds: red-left, red-right

scene crossing
    runs whenever wanted
    when stopped                    # whoever stops it: the road stays closed, and is held so
        turn off amber
        flash reds in turn at 80 a minute each
        move barriers to lowered{fall}
        turn off bell
        hold everything

    if all of barriers are raised   # after a stop they are not: no amber beside reds
        turn on amber and bell
        wait {amber}
        turn off amber
    flash reds in turn at 80 a minute each
    wait {reds}
    repeat
        turn on bell
        move barriers to lowered{fall}
        turn off bell
        wait until line-clear{clear}
        as long as line-clear       # wanted again while they rise: round again, down at once
            move barriers to raised{rise}
            stop repeating
    turn off reds

# What must be so, whatever happens. Every rehearsal judges it, and `wayside challenge` tries to break it.
rule reds-first
    never any of barriers is not raised while any of reds is not flashing
{rule}
"""
ROAD_CLOSED = """\
rule road-closed
    all of barriers are lowered at least 1 s before a train reaches lane
"""


def _scene(answers: Answers, when: Times, approaches: list[str]) -> str:
    own = answers.station == EARLY
    seen = answers.detectors
    watched = ", ".join([*approaches, "lane"])
    defines = (
        f"define wanted as any of {watched} is occupied\ndefine line-clear as all of {watched} are clear"
        if seen
        else "define wanted as closing-switch is pressed\ndefine line-clear as closing-switch is let go"
    )
    head = SCENE.format(
        name=answers.name,
        why=_why(answers, when),
        defines=defines,
        barriers=", ".join(_barriers(answers)),
        fall="" if own else f" over {seconds(when.fall)}",
        rise="" if own else f" over {seconds(when.rise)}",
        amber=seconds(when.amber),
        reds=seconds(when.reds),
        clear=f" for {seconds(CLEAR_S)}" if seen else "",
        rule=ROAD_CLOSED if seen else "",
    ).rstrip("\n")
    return f"{head}\n\n{_with_trains(answers, when) if seen else _with_a_switch(when)}"


def _why(answers: Answers, when: Times) -> str:
    full = FULL[0] + FULL[1] + (BY_ITSELF_S if answers.station == EARLY else FULL[2])
    if when.closed == full:
        return ""
    there = answers.approach_mm / answers.speed_mm_s
    longer = "wait 3 s and wait 5 s" if answers.station == EARLY else "wait 3 s, wait 5 s and over 7 s"
    return (
        f"# A train is seen {there:.1f} s before the road, so the closing takes {when.closed:g} s and not the full "
        f"{full:g} s.\n# With a longer approach, or slower trains, write {longer}.\n"
    )


def _with_trains(answers: Answers, when: Times) -> str:
    track = _track(_approaches(answers)[0])
    speed, there = answers.speed_mm_s, answers.approach_mm / answers.speed_mm_s
    gone = there + (LANE_MM + TRAIN_MM) / speed
    open_by = ceil(gone + CLEAR_S + when.rise + 2)
    closed = seconds(when.closed)
    text = f"""\
rehearsal one-train
    begins with every detector clear
    a train {TRAIN_MM} mm long runs along {track} at {speed} mm/s, from 0 s
    expect amber is on from 0 s to {seconds(when.amber)}
    expect all of reds are flashing from {seconds(when.amber)} to {floor(gone)} s
    expect all of barriers are raised from 0 s to {seconds(when.amber + when.reds)}
    expect all of barriers are lowered by {closed}
    expect lane is occupied at {ceil(there + 0.5)} s
    expect all outputs are at rest by {open_by} s
"""
    if answers.tracks == 2:
        text += f"""
rehearsal a-train-each-way
    begins with every detector clear
    a train {TRAIN_MM} mm long runs along up-line at {speed} mm/s, from 0 s
    a train {TRAIN_MM} mm long runs along down-line at {speed} mm/s, from 4 s
    expect all of barriers are lowered from {closed} to {floor(gone + 4)} s   # for both of them
    expect all outputs are at rest by {open_by + 4} s
"""
    return text + _stopped(when, f"a train {TRAIN_MM} mm long runs along {track} at {speed} mm/s, from 0 s")


def _with_a_switch(when: Times) -> str:
    off = ceil(when.closed) + 20
    return f"""\
rehearsal the-switch
    at 1 s press closing-switch for {off - 1} s
    expect amber is on from 1 s to {seconds(1 + when.amber)}
    expect all of reds are flashing from {seconds(1 + when.amber)} to {off} s
    expect all of barriers are lowered by {seconds(1 + when.closed)}
    expect all of barriers are lowered from {seconds(1 + when.closed)} to {off} s
    expect all outputs are at rest by {ceil(off + when.rise + 1)} s
""" + _stopped(when, "at 0 s press closing-switch for 50 s")


def _stopped(when: Times, begins: str) -> str:
    half = when.amber + when.reds + 1
    return f"""
rehearsal stopped-half-way
    begins with every detector clear
    {begins}
    at {seconds(half)} stop crossing
    expect all of barriers are lowered by {ceil(half + when.fall + 1)} s
    expect all of barriers are lowered from {ceil(half + when.fall + 1)} s to 40 s
    expect all of reds are flashing from {seconds(when.amber)} to 40 s
    lasts 40 s
"""
