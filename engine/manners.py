"""The named manners: how lamps flicker that a scene calls by a name. A table; it knows no generator's workings.

Numbers: flames puff 1.5 / sqrt(D) times a second, D the burner's width in metres (Cetegen and Ahmed, "Experiments on
the periodic instability of buoyant plumes and pool fires", Combustion and Flame 93, 1993; from memory); a failing tube
tries about once a second; a screen's shots are lognormal, about 4 s long. The rest is by eye, no source.
No manner makes more than three flashes in a second, from nothing to full light (WCAG 2.2, 2.3.1).
"""

from __future__ import annotations

from engine.courses import Ease
from engine.episodes import Drawn, LooseLeg, Part
from engine.flicker import Manner
from engine.swaying import Octave, Swaying

MS = 1_000
S = 1_000_000

CANDLE = Swaying.of(
    "candle",
    # a draught leans on it now and then; a wick 10 mm wide puffs 15 times a second, which is kept too shallow to flash
    (Octave(0.45, 1.0), Octave(3.0, 0.6), Octave(30.0, 0.085, beat=1.0)),
    quiet=1.0,
    stirred=0.35,
    window=(0.12, 1.0),
    curve=1.7,
)

OIL_LAMP = Swaying.of(
    "oil-lamp",
    # the chimney keeps draughts out: it breathes, and seldom by much
    (Octave(0.25, 1.0), Octave(1.1, 0.35)),
    quiet=1.0,
    stirred=0.72,
    curve=1.4,
)

MANTLE_IN_A_DRAUGHT = Swaying.of(
    "mantle-in-a-draught",
    # steady until a gust comes; the glowing mantle is too slow for anything quicker than a few times a second
    (Octave(0.22, 1.0), Octave(4.0, 0.9)),
    quiet=1.0,
    stirred=0.25,
    window=(0.42, 1.0),
    curve=0.9,
    gusty=True,
)

EMBERS = Swaying.of(
    "embers",
    (Octave(0.07, 1.0), Octave(0.2, 0.8), Octave(0.7, 0.25)),
    quiet=0.08,
    stirred=1.0,
    window=(0.15, 0.9),
    curve=1.2,
)

BONFIRE = Swaying.of(
    "bonfire",
    # 1 m across: 1.5 puffs a second, and a crackle that is too shallow to flash
    (Octave(0.35, 0.45), Octave(3.0, 1.0, beat=0.85), Octave(9.0, 0.05)),
    quiet=0.26,
    stirred=1.0,
    window=(0.12, 0.88),
)

FORGE_WITH_BELLOWS = Drawn.of(
    "forge-with-bellows",
    # the smith heats the iron: a stroke of the bellows about every 3 s, and the fire falls back between them
    Part(
        (5, 12),
        (
            LooseLeg((900 * MS, 1_200 * MS), (0.78, 1.0), Ease.SMOOTH),
            LooseLeg((1_600 * MS, 2_100 * MS), (0.36, 0.48), Ease.SMOOTH),
        ),
    ),
    # then works it at the anvil, and the fire dies down
    Part(
        (1, 1),
        (
            LooseLeg((3 * S, 5 * S), (0.18, 0.24), Ease.SMOOTH),
            LooseLeg((4 * S, 9 * S), (0.12, 0.17), Ease.SMOOTH),
        ),
    ),
)

_TREMBLE = LooseLeg((45 * MS, 70 * MS), (0.962, 1.0), Ease.EVEN)

ARC_AND_PAUSE = Drawn.of(
    "arc-and-pause",
    Part((1, 1), (LooseLeg((2_500 * MS, 12 * S), (0.0, 0.0), lognormal=0.5),)),
    # the rod scratches before the arc stands
    Part(
        (0, 2),
        (LooseLeg((40 * MS, 90 * MS), (0.75, 1.0)), LooseLeg((220 * MS, 450 * MS), (0.0, 0.0))),
    ),
    Part((12, 18), (_TREMBLE,)),
    # harsh and shallow while it burns; a drop of metal shorts it for a moment, now and then
    Part((3, 9), (*(_TREMBLE,) * 10, LooseLeg((35 * MS, 70 * MS), (0.6, 0.85)))),
    # the bead glows after
    Part(
        (1, 1),
        (
            LooseLeg((120 * MS, 200 * MS), (0.16, 0.22), Ease.EVEN),
            LooseLeg((900 * MS, 1_600 * MS), (0.0, 0.0), Ease.SMOOTH),
        ),
    ),
)

GLOW_BEHIND_A_CURTAIN = Drawn.of(
    "glow-behind-a-curtain",
    # shots: lognormal, mean about 4 s
    Part((1, 1), (LooseLeg((420 * MS, 20 * S), (0.22, 1.0), lognormal=0.83),)),
    # in some the camera moves on into something brighter or darker
    Part((1, 1), (LooseLeg((800 * MS, 3 * S), (0.3, 0.9), Ease.SMOOTH, chance=0.18),)),
)

BAD_LETTER = Drawn.of(
    "bad-letter",
    Part((1, 1), (LooseLeg((1_500 * MS, 22 * S), (1.0, 1.0), lognormal=0.7),)),
    # a loose contact: it stutters ...
    Part((2, 5), (LooseLeg((50 * MS, 150 * MS), (0.12, 0.5)), LooseLeg((330 * MS, 800 * MS), (0.92, 1.0)))),
    # ... and at times stays out until it makes contact again
    Part((1, 1), (LooseLeg((800 * MS, 3_500 * MS), (0.05, 0.1), chance=0.3),)),
)

SUN_ON_WATER = Swaying.of(
    "sun-on-water",
    # ripples throw a glint now and then; between glints the light is low
    (Octave(0.3, 0.35), Octave(4.0, 1.0)),
    quiet=0.16,
    stirred=1.0,
    window=(0.3, 0.95),
    curve=2.2,
)

STORM = Drawn.of(
    "storm",
    Part((1, 1), (LooseLeg((2_500 * MS, 25 * S), (0.0, 0.0), lognormal=0.6),)),
    # sheet lightning far off
    Part(
        (0, 1),
        (
            LooseLeg((120 * MS, 250 * MS), (0.15, 0.38), Ease.SMOOTH),
            LooseLeg((250 * MS, 500 * MS), (0.0, 0.0), Ease.SMOOTH),
            LooseLeg((1_200 * MS, 6 * S), (0.0, 0.0)),
        ),
    ),
    # a stroke and the strokes that follow it down the same path
    Part(
        (2, 3),
        (
            LooseLeg((25 * MS, 60 * MS), (0.6, 1.0)),
            LooseLeg((90 * MS, 240 * MS), (0.0, 0.0), Ease.EVEN),
            LooseLeg((30 * MS, 120 * MS), (0.0, 0.02)),
        ),
    ),
)

_GLOW = LooseLeg((1_000 * MS, 1_450 * MS), (0.06, 0.12))
_DARK = LooseLeg((70 * MS, 150 * MS), (0.03, 0.07))

TUBE_THAT_STRUGGLES = Drawn.of(
    "tube-that-struggles",
    # its ends glow, then it tries, about once a second
    Part(
        (2, 6),
        (
            _GLOW,
            LooseLeg((50 * MS, 120 * MS), (0.6, 0.95)),
            _DARK,
            LooseLeg((50 * MS, 120 * MS), (0.6, 0.95), chance=0.85),
            _DARK,
            LooseLeg((50 * MS, 120 * MS), (0.6, 0.95), chance=0.4),
            _DARK,
        ),
    ),
    # and at last it catches, gets up to full light, and drops out again
    Part(
        (1, 1),
        (
            _GLOW,
            LooseLeg((60 * MS, 110 * MS), (0.7, 0.95)),
            _DARK,
            LooseLeg((250 * MS, 400 * MS), (0.82, 0.9)),
            LooseLeg((1_000 * MS, 2_000 * MS), (0.97, 1.0), Ease.SMOOTH),
            LooseLeg((3 * S, 14 * S), (0.97, 1.0), Ease.EVEN),
        ),
    ),
)

MANNERS: dict[str, Manner] = {
    manner.name: manner
    for manner in (
        CANDLE,
        OIL_LAMP,
        MANTLE_IN_A_DRAUGHT,
        EMBERS,
        BONFIRE,
        FORGE_WITH_BELLOWS,
        ARC_AND_PAUSE,
        GLOW_BEHIND_A_CURTAIN,
        BAD_LETTER,
        SUN_ON_WATER,
        STORM,
        TUBE_THAT_STRUGGLES,
    )
}

ABOUT: dict[str, str] = {
    "candle": "mostly bright, with a quick, shallow flutter; a draught leans on the flame now and then",
    "oil-lamp": "a flame in a chimney: breathes slowly, and seldom by much",
    "mantle-in-a-draught": "steady full light, until a gust makes it sink and waver for some seconds",
    "embers": "a slow, deep glow that comes and goes over many seconds",
    "bonfire": "leaps up and falls back one and a half times a second, never twice alike",
    "forge-with-bellows": "brightens with each stroke of the bellows, then dies down while the smith works",
    "arc-and-pause": "a welder: scratches, burns with a harsh trembling for some seconds, and is dark again",
    "glow-behind-a-curtain": "a screen in a dark room: holds, and jumps to another brightness with every shot",
    "bad-letter": "a lit sign with a loose contact: steady, then stutters a few times, sometimes stays out a while",
    "sun-on-water": "low light with soft glints thrown up by ripples",
    "storm": "dark, then lightning of two or three strokes; at times a dim sheet far off",
    "tube-that-struggles": "its ends glow, it tries about once a second, catches for a while, drops out again",
}
