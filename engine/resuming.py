"""What a wave becomes that went on unseen: a scene wanted it of an output that another had taken, and gets it back.

Knows no scene and no claim. What has an end starts from the value shown, and ends when and where it would have; a
flicker glides back to its levels.
"""

from __future__ import annotations

from bisect import bisect_right

from engine.courses import Course, Ease, Leg, Script
from engine.curves import Curve
from engine.flicker import Flicker
from engine.waves import Ramp, Steady, Wave, under_way

GLIDE_US = 500_000  # a flicker that is given back goes from what is shown to its own levels within this time at least


def resumed(wave: Wave, at_us: int, shown: float) -> Wave:
    """The wave that an output does from `at_us` on, where it shows `shown`. Not for a lamp that follows another."""
    if isinstance(wave, Flicker) and wave.value_at(at_us) != shown:
        left_us = max(GLIDE_US, wave.from_us + wave.over_us - at_us)
        return wave._replace(from_us=at_us, over_us=left_us, before=(shown, shown), starts=shown)
    if wave.ends_us is None:
        return wave
    if not under_way(wave, at_us):
        return Steady(wave.value_at(at_us))
    if wave.value_at(at_us) == shown:  # nobody has told it anything else meanwhile
        return wave
    match wave:
        case Curve():
            return wave._replace(from_us=at_us, low=shown)
        case Course():
            return wave._replace(from_us=at_us, script=_rest(wave, at_us), low=shown, begins=0.0)
        case Ramp():
            return wave._replace(from_us=at_us, low=shown)
    from engine.daylight import Sunlight, through  # the sun's course: few layouts need it

    assert isinstance(wave, Sunlight)
    return through(wave.where, wave.course, at_us, wave.to_us - at_us, shown, wave.last_lux)


def followed(wave: Wave, sky: Wave, at_us: int) -> Wave:
    """The same for a lamp that follows the daylight, which does `sky` from `at_us` on: the two stay in step."""
    from engine.daylight import Follow

    if isinstance(wave, Follow):
        wave = wave._replace(inner=sky)
    return wave if under_way(wave, at_us) else Steady(wave.value_at(at_us))


def _rest(course: Course, at_us: int) -> Script:
    """The legs that are still to come, and what is left of the one under way."""
    script, past_us = course.script, max(0, at_us - course.from_us)
    index = bisect_right(script.ends_us, past_us)
    leg = script.legs[index]
    ease = Ease.EVEN if leg.ease is Ease.HOLD else leg.ease  # its leap lies in the past
    return Script.of(Leg(script.ends_us[index] - past_us, leg.to, ease), *script.legs[index + 1 :])
