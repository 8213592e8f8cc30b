"""The files of a first row of lamps, a first signal and a single lamp: outputs, a scene, rehearsals. Pure."""

from __future__ import annotations

from textwrap import fill

from wayside.starting.starting import Answers, Part, Wires

APART_S = 6
EVENING, NIGHT = "17:45", "22:30"
BLIND_MM, BLOCK_MM, TRAIN_MM, SPEED_MM_S = 1500, 1200, 600, 120
FREE_S = 5


# --- a row of lamps ------------------------------------------------------------------------------------------------

LAMPS = """\
# An evening at {name}: somebody lights the {place} lamps one by one.
# Late at night they go out again.
# Play it freely with: wayside rehearse FOLDER --scene evening --from {evening}
# `wayside draw` lists how else a lamp can come on, flicker and fade.

{group}

scene evening
    starts at {evening} layout time
    for each lamp in {place}-lamps, {apart} s apart
        {on}

scene night
    starts at {night} layout time
    takes {place}-lamps from evening
    for each lamp in {place}-lamps in random order, 2 s to 5 s apart
        turn off lamp

rehearsal the-lamps-come-on
    begins at 17:44
    expect all of {place}-lamps are off from 0 s to 1 min
    expect {place}-lamp-1 is on by 62 s
    expect {place}-lamp-{count} is {lit} by {done} s
    expect all of {place}-lamps are {lit} at {done} s

rehearsal the-lamps-go-out
    begins at 22:28
    plays evening
    expect all of {place}-lamps are on at 115 s
    expect all of {place}-lamps are off by {out} s
"""


def lamps(answers: Answers, wires: Wires) -> Part:
    """Street or quay lamps, and an evening."""
    names = [f"{answers.place}-lamp-{number}" for number in range(1, answers.lamps + 1)]
    why = "dimmable: they can be faded" if wires.pins else "on this station they are on or off"
    body = [f"# {why}", *(f"{name}: {{kind: lamp{wires.lamp()}}}" for name in names)]
    last = APART_S * (answers.lamps - 1)
    scene = LAMPS.format(
        place=answers.place,
        name=answers.name,
        group=fill(
            f"group {answers.place}-lamps: {', '.join(names)}", 90, subsequent_indent="    ", break_on_hyphens=False
        ),
        evening=EVENING,
        night=NIGHT,
        apart=APART_S,
        on="fade lamp to 85 % over 2 s like gas-mantle" if wires.pins else "turn on lamp",
        lit="at 85 %" if wires.pins else "on",
        count=answers.lamps,
        done=60 + last + 10,
        out=120 + 5 * answers.lamps + 5,
    )
    return Part({"outputs": body}, "evening.scene", scene)


# --- one lamp ------------------------------------------------------------------------------------------------------

LAMP = """\
# One lamp at {name}: it comes on in the evening, and goes out again late.
# Change the times, rehearse again, and see what happens: wayside rehearse FOLDER

scene evening
    starts at {evening} layout time
    {on}

scene night
    starts at {night} layout time
    takes house-lamp from evening
    {off}

rehearsal the-lamp-comes-on
    begins at 17:44
    expect house-lamp is off from 0 s to 1 min
    expect house-lamp is on at 63 s

rehearsal the-lamp-goes-out
    begins at 22:29
    plays evening
    expect house-lamp is on from 3 s to 60 s
    expect house-lamp is off by 65 s
"""


def lamp(answers: Answers, wires: Wires) -> Part:
    """Just one lamp."""
    scene = LAMP.format(
        name=answers.name,
        evening=EVENING,
        night=NIGHT,
        on="fade house-lamp to 100 % over 2 s" if wires.pins else "turn on house-lamp",
        off="fade house-lamp to 0 % over 3 s" if wires.pins else "turn off house-lamp",
    )
    body = ["# more lamps go below it, each with a name of its own", f"house-lamp: {{kind: lamp{wires.lamp()}}}"]
    return Part({"outputs": body}, "evening.scene", scene)


# --- a signal ------------------------------------------------------------------------------------------------------

SIGNAL = """\
# The signal at {name}.
# {what}

define way-free as {free}

scene signalman
    runs whenever way-free
    when stopped
        set home-signal to danger
        hold everything

    set home-signal to clear
    wait until {taken}
    set home-signal to danger

{rehearsals}"""
WITH_DETECTOR = f"""\
rehearsal a-train-passes
    begins with every detector clear
    a train {TRAIN_MM} mm long runs along main-line at {SPEED_MM_S} mm/s, from 0 s
    expect home-signal is danger at 1 s
    expect home-signal is clear by 9 s
    expect home-signal is danger by 16 s          # the train has passed it
    expect home-signal is danger from 16 s to 32 s
    expect home-signal is clear by 37 s           # the block has been free for a while

rehearsal the-block-is-taken
    begins with block occupied
    a train {TRAIN_MM} mm long runs along main-line at {SPEED_MM_S} mm/s, from 1 s
    expect home-signal is danger throughout
    expect no train is on block throughout        # it waits
    lasts 30 s
"""
WITH_SWITCH = """\
rehearsal the-switch
    at 2 s press clear-switch for 20 s
    expect home-signal is danger from 0 s to 2 s
    expect home-signal is clear by 6 s
    expect home-signal is clear from 6 s to 22 s
    expect home-signal is danger by 26 s

rehearsal stopped
    at 2 s press clear-switch for 30 s
    at 10 s stop signalman
    expect home-signal is danger by 14 s
    expect home-signal is danger from 14 s to 25 s
    lasts 25 s
"""


def signal(answers: Answers, wires: Wires) -> Part:
    """A signal with an arm or two lamps, which a detector or a switch works."""
    seen = answers.detectors
    what = (
        f"It clears when the block behind it has been free for {FREE_S} s; a train that passes puts it to danger."
        if seen
        else "It is clear while a switch on your panel is on."
    )
    scene = SIGNAL.format(
        name=answers.name,
        what=what,
        free=f"block is clear for {FREE_S} s" if seen else "clear-switch is pressed",
        taken="block is occupied" if seen else "clear-switch is let go",
        rehearsals=WITH_DETECTOR if seen else WITH_SWITCH,
    )
    sections = {"outputs": _arm(wires) if answers.arm else _two_lamps(wires)}
    if seen:
        sections["detectors"] = [
            "# the block is the stretch behind the signal; `settle` bridges dirty wheels",
            f"block: {{kind: section, settle: 200 ms{wires.pin('input')}}}",
        ]
        sections["tracks"] = [
            "# in the order in which a train meets them; a train stops at the signal while that shows danger",
            "main-line:",
            "  stretches:",
            f"    - blind: {BLIND_MM} mm",
            f"    - block: {BLOCK_MM} mm",
            "    - blind: 900 mm",
            "  fastest: 150 mm/s",
            "  shortest train: 300 mm",
            "  one way: yes",
            "  signals: {home-signal: before block}",
        ]
    else:
        wiring = wires.pin("input").removeprefix(", ")
        sections["buttons"] = [
            "# a switch on your panel: while it is on, the signal is clear",
            f"clear-switch:{f' {{{wiring}}}' if wiring else ''}",
        ]
    return Part(sections, "signal.scene", scene)


def _arm(wires: Wires) -> list[str]:
    travel = wires.servo("1200 ms", "1200 ms").removeprefix(", ")
    how = "find its angles with `wayside jog`" if wires.pins else "a board moves it by itself"
    return [
        f"# the arm, a servo: {how}.",
        "# `safe` makes a thing guarded: whatever is stopped, it goes to danger",
        "home-arm:",
        "  kind: servo",
        "  positions: {danger: 0 deg, clear: 45 deg}",
        *(f"  {one}" for one in travel.split(", ")),
        *(["  limits: 0 deg to 50 deg", "  arrives: bouncing"] if wires.pins else []),
        "  rest: danger",
        "  safe: danger",
        "home-signal:",
        "  kind: signal",
        "  aspects: {danger: {home-arm: danger}, clear: {home-arm: clear}}",
        "  rest: danger",
        "  safe: danger",
    ]


def _two_lamps(wires: Wires) -> list[str]:
    return [
        "# its two lamps. `safe` makes a thing guarded: whatever is stopped, the red one is lit",
        f"home-red: {{kind: lamp{wires.switched()}, rest: on, safe: on}}",
        f"home-green: {{kind: lamp{wires.switched()}, safe: off}}",
        "home-signal:",
        "  kind: signal",
        "  aspects:",
        "    danger: {home-red: on, home-green: off}",
        "    clear: {home-red: off, home-green: on}",
        "  rest: danger",
        "  safe: danger",
    ]
