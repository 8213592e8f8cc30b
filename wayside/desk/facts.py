"""What a desk's page has to know once: the layout's things, their kinds and roles. Plain values for JSON, no numbers
that change. Knows no show and no web.
"""

from __future__ import annotations

from engine.layout import Crossing, Kind, Layout, Output, Track
from engine.program import AtTime, Every, Head, OnButton, Program, Scene
from wayside.desk import plan as desk_plan
from wayside.desk.servos import angles
from wayside.rehearsal import trace_words as words

Facts = dict[str, object]


def facts(program: Program, name: str, dry_run: bool, hall_s: int) -> Facts:
    """Everything that stays as it is. `hall_s`: the hall's time of day at the show's first instant, in seconds."""
    layout = program.layout
    return {
        "layout": name,
        "dry_run": dry_run,
        "hall_s": hall_s,
        "outputs": [_output(one, layout, program) for one in layout.outputs.values()],
        "detectors": [{"name": one.name, "kind": one.kind.value} for one in layout.detectors.values()],
        "buttons": list(layout.buttons),
        "scenes": [_scene(one) for one in program.named_scenes.values()],
        "rules": list(program.rules),
        "links": list(layout.links),
        "tracks": [_track(one) for one in layout.tracks.values()],
        "crossings": [_crossing(one) for one in layout.crossings.values()],
        "plan": desk_plan.plan(layout),
    }


def _output(output: Output, layout: Layout, program: Program) -> Facts:
    parts = tuple(dict.fromkeys(name for aspect in output.aspects for name, _ in aspect.parts))
    shown = output.kind not in (Kind.COLOUR, Kind.DAYLIGHT)
    return {
        "name": output.name,
        "kind": output.kind.value,
        "guarded": output.guarded,
        "dimmable": output.dimmable,
        "told_by_hand": shown and output.follows_lux is None,
        "angles": angles(output),
        "states": _states(output) if shown else [],
        "stops": [one.stops for one in output.aspects] if output.kind is Kind.SIGNAL else [],
        "parts": list(parts) if output.kind is Kind.SIGNAL else [],
        "group": _group(output, layout, program),
        "tint": _tint(output.name, layout),
    }


def _states(output: Output) -> list[str]:
    return [one.name for one in output.positions] + [one.name for one in output.aspects]


def _group(output: Output, layout: Layout, program: Program) -> str:
    """What an output belongs to: its crossing, or the first scene that can tell it anything."""
    for crossing in layout.crossings.values():
        if output.name in roles(crossing, layout):
            return crossing.name
    writers = (scene.name for scene in program.named_scenes.values() if output.name in scene.writes)
    return next(writers, "")


def roles(crossing: Crossing, layout: Layout) -> dict[str, str]:
    """The part that each output plays at a crossing; a signal's lamps and arms are signals, too."""
    named = {
        "amber": crossing.amber,
        "red": crossing.reds,
        "barrier": (*crossing.entrance_barriers, *crossing.exit_barriers),
        "boom lamp": crossing.boom_lamps,
        "audible warning": crossing.audible_warning,
        "signal": crossing.signals,
    }
    found = {name: role for role, names in named.items() for name in names}
    for name in crossing.signals:
        found.update({part: "signal" for aspect in layout.outputs[name].aspects for part, _ in aspect.parts})
    return found


def _tint(name: str, layout: Layout) -> str:
    """The colour of a lamp's light as its part in the layout tells it: red, amber, green; else warm white."""
    for crossing in layout.crossings.values():
        role = roles(crossing, layout).get(name, "")
        if role in ("red", "amber"):
            return role
        if role == "boom lamp":
            return "red"
    for signal in layout.outputs.values():
        for aspect in signal.aspects:
            if any(part == name and level > 0 for part, level in aspect.parts):
                return "red" if aspect.stops else "green"
    return "white"


def _track(track: Track) -> Facts:
    return {
        "name": track.name,
        "length_mm": track.length_mm,
        "stretches": [[one.detector, one.length_mm] for one in track.stretches],
        "signals": [[one.signal, one.at_mm] for one in track.holds],
        "one_way": track.one_way,
        "fastest_mm_s": track.fastest_mm_s,
        "shortest_mm": track.shortest_train_mm,
    }


def _crossing(crossing: Crossing) -> Facts:
    return {
        "name": crossing.name,
        "barriers": [*crossing.entrance_barriers, *crossing.exit_barriers],
        "signals": list(crossing.signals),
        "on_the_road": list(crossing.on_the_road),
    }


def _scene(scene: Scene) -> Facts:
    timed = [one for head in scene.heads if (one := _timed(head)) is not None]
    return {"name": scene.name, "starts": [begins(head) for head in scene.heads], "timed": timed}


def _timed(head: Head) -> list[object] | None:
    return [head.second_of_day, head.layout_time] if isinstance(head, AtTime) else None


def begins(head: Head) -> str:
    """A head, as a person says it."""
    match head:
        case AtTime(_, second, layout_time):
            return f"starts at {words.time_of_day(second)[:5]} {'layout' if layout_time else 'hall'} time"
        case Every(_, every_us):
            return f"starts every {words.length(every_us)}"
        case OnButton(_, button):
            return f"starts on button {button}"
    kinds = {"Whenever": "runs whenever", "OnlyWhile": "runs only while", "EachTime": "starts each time"}
    return f"{kinds[type(head).__name__]} {head.condition.words}"
