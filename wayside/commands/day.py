"""`--day`: a show day rehearsed from its opening until all has ended, or the plan of one for a live show."""

from __future__ import annotations

import argparse
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

from engine.program import Day, Program
from wayside import hall_time, wording
from wayside.commands.rehearse import Out, say_advice, say_rules, unknown, write_files
from wayside.progress import shares
from wayside.project import Project
from wayside.rehearsal import verdict
from wayside.usage import FINE, PROBLEMS, UsageProblem

if TYPE_CHECKING:
    from engine.day import Plan

SHORTEST_US = 10_000_000  # between trains


def choose_day(program: Program, name: str) -> Day:
    """The day of that name. Raises UsageProblem with the nearest, or what there is."""
    if name in program.days:
        return program.days[name]
    if not program.days:
        raise UsageProblem("The scene files hold no show day. Write one, such as: day saturday")
    raise UsageProblem(unknown("day", name, program.days, (), ""))


def rehearse(project: Project, options: argparse.Namespace, seed: int, out: Out) -> int:
    """Play the day, and say what came of it."""
    day = choose_day(project.program, options.day)
    for name in options.only or ():
        if name not in project.program.named_scenes:
            raise UsageProblem(unknown("scene", name, project.program.named_scenes, (), ""))
    plan = _plan(project, day, options)
    every_us = trains_every(options.trains)
    from wayside.rehearsal.day_rehearsing import rehearse_day

    with shares(1, "rehearsing") as come:
        played = rehearse_day(project.program, plan, seed, every_us, None if come is None else partial(come, 0))
    from wayside.rehearsal import day_words

    out(f"{day_words.headline(project.name, played)}\n")
    for row in day_words.timetable(played, options.only):
        out(row)
    others = list(day_words.by_itself(played)) if options.only is None else []
    for row in ["\nAnd this ran without the day having begun it:\n", *others] if others else []:
        out(row)
    for number, sentence in enumerate(day_words.missing(played) if options.only is None else ()):
        out(sentence if number else f"\n{sentence}")
    for number, row in enumerate(day_words.loads(played) if options.only is None else ()):
        out(row if number else f"\nWhat the links were asked for:\n\n{row}")
    if options.events:
        from wayside.rehearsal import event_list

        out("")
        for line in event_list.lines(played.result.trace, project.program, plan.layout_starts_s):
            out(line)
    say_rules(project, [played.result], out)
    say_advice(project, [played.result], out)
    why = verdict.details(played.result, project.lines)
    if why:
        out(f"\n{why}\n")
    out(day_words.summary(project.name, played))
    write_files(project, [played.result], options, out)
    return FINE if played.result.passed else PROBLEMS


def trains_every(written: str | None) -> int | None:
    """How often a train runs, from what --trains says."""
    every_us = None if written is None else wording.read_duration(written, "--trains")
    if every_us is not None and every_us < SHORTEST_US:
        raise UsageProblem(f"--trains takes {wording.duration(SHORTEST_US)} or more.")
    return every_us


def _plan(project: Project, day: Day, options: argparse.Namespace) -> Plan:
    """The plan of a rehearsal: on the date asked for, from its opening or from a hall time on."""
    from engine.day import Plan, on_the_wall

    zone = hall_time.zone_of(project.layout)
    now = hall_time.now(project.layout)
    on = hall_time.next_date(day.name, now) if options.date is None else hall_time.read_date(options.date, "--date")
    plan = Plan(day, on, zone, project.layout.clock)
    if options.from_ is None:
        return plan
    second = wording.read_time_of_day(options.from_, "--from")
    begins = on_the_wall(on, second, zone)
    if plan.us(begins) >= plan.ends_us or (second < day.opens_s and plan.us(begins) + 43_200_000_000 < plan.opens_us):
        begins = on_the_wall(on + timedelta(days=1), second, zone) if second < day.opens_s else begins
    return begun(day, Plan(day, on, zone, project.layout.clock, begins))


def whole_day(project: Project, name: str) -> Plan:
    """The plan of a whole day, on its next date."""
    from engine.day import Plan

    day, zone = choose_day(project.program, name), hall_time.zone_of(project.layout)
    return Plan(day, hall_time.next_date(day.name, hall_time.now(project.layout)), zone, project.layout.clock)


def begun(day: Day, plan: Plan) -> Plan:
    """The plan, if the day has not closed before it begins."""
    if plan.ends_us <= 0:
        shown, ended = plan.hall(0), plan.hall(plan.ends_us)
        raise UsageProblem(
            f"{day.name} closed at {ended:%H:%M} on {hall_time.said(ended.date())}, and in the hall it is "
            f"{shown:%H:%M} on {hall_time.said(shown.date())}. Say an earlier time with --from, such as: --from "
            f"{plan.hall(plan.opens_us):%H:%M}"
        )
    return plan


def live_plan(project: Project, name: str, from_s: int | None, killed: bool = False) -> Plan:
    """The plan of a show that begins now, or as if it were a hall time of today. Its 0 is a whole second.

    `killed`: the show before it was, perhaps as it closed. For a while after the closing time this one closes instead.
    """
    from engine.day import Plan, date_of, on_the_wall
    from engine.show_day import GRACE_US

    day = choose_day(project.program, name)
    zone = hall_time.zone_of(project.layout)
    now = hall_time.now(project.layout).replace(microsecond=0)
    if from_s is not None:
        now = on_the_wall(now.date(), from_s, zone)
    plan = Plan(day, date_of(day, now), zone, project.layout.clock, now)
    return plan if killed and -GRACE_US < plan.ends_us <= 0 else begun(day, plan)


def announced(project: Project, plan: Plan) -> str:
    """What is said when a day's show begins: its hours, the time, and where its name is another weekday's, the date."""
    day, opens, now = plan.day, plan.hall(plan.opens_us), plan.hall(0)
    hours = f"{opens:%H:%M} to {plan.hall(plan.ends_us):%H:%M}" if plan.closes else f"from {opens:%H:%M} on"
    said = f"{project.name}: {day.name}, {hours} hall time; it is {now:%H:%M} now."
    if day.name in hall_time.WEEKDAYS and hall_time.WEEKDAYS[plan.date.weekday()] != day.name:
        said += f" Today is {hall_time.said(plan.date)}."
    return said
