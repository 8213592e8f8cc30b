"""The kinds of entries that a journal has, and what each tells. Knows no file."""

from __future__ import annotations

KINDS: dict[str, str] = {
    "show": "a show begins or ends, and how it ended",
    "scene": "a scene begins, is being stopped, has stopped or ended, and why",
    "detector": "a detector's settled state",
    "button": "a button is pressed or let go",
    "hand": "what somebody asked of the show by name or on the page, or told an output on the same station",
    "day": "the show day begins or stops a scene",
    "typed": "a line that was typed",
    "mark": "something odd, marked by somebody",
    "note": "a scene's own `note`",
    "flag": "a flag is remembered or forgotten",
    "counter": "a counter has another value",
    "output": "a guarded output is told something, or any that was put right",
    "link": "a link talks, or is gone",
    "fault": "what is wrong with a link, and what to try; a line that was cut or refused",
    "rule": "a rule is broken",
    "margin": "at the end of a show: what each line of a rule came to",
    "said": "what the screen said beside all that",
    "lateness": "of each minute: how late lines were worked, and how often detectors changed before they settled",
    "standing": "how all stood while nothing moved; from there a rehearsal can set out",
    "lost": "entries that the disk did not take in time",
}
