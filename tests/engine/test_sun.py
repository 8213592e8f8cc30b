"""The sun's altitude and the day's events against pvlib (the Solar Position Algorithm) and skyfield (JPL's DE421)."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime, timedelta
from typing import Any

import pandas
import pytest
from pvlib.solarposition import spa_python

from engine.layout import Whereabouts
from engine.sun import EVENTS, altitude_deg, event, noon, when_at, why_not

QUAY = Whereabouts()
PLACES = {"54 N": (54.0, -3.0), "40 N": (40.0, -75.0), "33.9 S": (-33.9, 151.2)}
# Computed with pvlib 0.16.1; ephem and skyfield agreed within 0.1 s
TABLE = [
    ("54 N", 3, "18:27:13", "19:02:37"),
    ("54 N", 6, "20:48:12", "21:42:48"),
    ("54 N", 12, "15:51:12", "16:35:06"),
    ("40 N", 3, "23:13:08", "23:40:11"),
    ("40 N", 12, "21:37:59", "22:08:35"),
    ("33.9 S", 6, "06:53:46", "07:21:30"),
    ("33.9 S", 12, "09:05:31", "09:34:42"),
]
YEARS = (1935, 1994, 2026, 2049)
DATES = [(year, month, day) for year in YEARS for month in (1, 2, 3, 6, 9, 10, 12) for day in (3, 21)]


def seconds(clock: str) -> int:
    hour, minute, second = map(int, clock.split(":"))
    return hour * 3600 + minute * 60 + second


def spa(where: Whereabouts, at_s: list[float]) -> list[float]:
    """True altitudes by the Solar Position Algorithm (Reda and Andreas, NREL/TP-560-34302)."""
    midnight = datetime(where.year, where.month, where.day, tzinfo=UTC) - timedelta(minutes=where.utc_min)
    times = pandas.DatetimeIndex([midnight + timedelta(seconds=at) for at in at_s])
    found = spa_python(times, where.latitude_deg, where.longitude_deg, altitude=0.0, delta_t=69.0)
    return [float(value) for value in found["elevation"]]


@pytest.mark.parametrize(("place", "month", "sunset", "dusk"), TABLE)
def test_sunset_and_civil_dusk_of_the_table(place: str, month: int, sunset: str, dusk: str) -> None:
    where = Whereabouts(*PLACES[place], 2026, month, 21)
    for name, wanted in (("sunset", sunset), ("dusk", dusk)):
        found = event(where, name)
        assert found is not None
        assert abs(found - seconds(wanted)) <= 1, name


def test_altitudes_through_a_day() -> None:
    # Solar Position Algorithm, as pvlib 0.16.1 has it
    for hour, wanted in ((9, 22.5590), (12, 36.2023), (15, 27.0252), (18, 3.1606)):
        assert altitude_deg(QUAY, hour * 3600) == pytest.approx(wanted, abs=0.0003)


@pytest.mark.parametrize("latitude", range(-66, 67, 12))
def test_altitudes_over_the_earth_and_a_century(latitude: int) -> None:
    hours = [hour * 3600.0 for hour in range(-30, 60, 7)]
    for index, (year, month, day) in enumerate(DATES):
        where = Whereabouts(latitude, (index * 47) % 360 - 180, year, month, day, (index % 9 - 4) * 60)
        for at_s, wanted in zip(hours, spa(where, hours), strict=True):
            assert altitude_deg(where, at_s) == pytest.approx(wanted, abs=0.0012), (where, at_s)


@pytest.mark.parametrize("latitude", range(-66, 67, 12))
def test_events_over_the_earth_and_a_century(latitude: int) -> None:
    """At each of our instants the reference has the altitude of the event, to 1.5 s of the sun's own speed there."""
    found = 0
    for year, month, day in DATES:
        where = Whereabouts(latitude, 11.0, year, month, day, 60)
        at = {name: when_at(where, *EVENTS[name]) for name in EVENTS}
        there = [(EVENTS[name], second) for name, second in at.items() if second is not None]
        seen = spa(where, [second + step for _, second in there for step in (-60, 0, 60)])
        for index, ((altitude, rising), second) in enumerate(there):
            before, now, after = seen[3 * index : 3 * index + 3]
            speed = abs(after - before) / 120
            assert now == pytest.approx(altitude, abs=max(1.5 * speed, 0.0012)), (where, second)
            assert (after > before) == rising
            found += 1
        for altitude, rising in [EVENTS[name] for name, second in at.items() if second is None]:
            # then the reference does not get there either, looked at every 5 minutes
            start = noon(where) - (43_000 if rising else 0)
            seen = spa(where, [start + step for step in range(0, 43_000, 300)])
            assert not min(seen) < altitude - 0.01 < altitude + 0.01 < max(seen), where
    assert found > 100


def horizon_crossings(where: Whereabouts, altitude: float) -> dict[bool, list[float]]:
    """Seconds of the day at which skyfield has the sun at an altitude: {rising: [...]}."""
    from skyfield import almanac
    from skyfield.api import Loader, wgs84

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its table of the earth's rotation is past its date; the built-in one is used
        from skyfield_data import get_skyfield_data_path

        load = Loader(get_skyfield_data_path())
    scale: Any = load.timescale(builtin=True)
    bodies = load("de421.bsp")
    midnight = datetime(where.year, where.month, where.day, tzinfo=UTC)
    start, end = scale.from_datetime(midnight), scale.from_datetime(midnight + timedelta(days=1))
    observer = bodies["earth"] + wgs84.latlon(where.latitude_deg, where.longitude_deg)
    found: dict[bool, list[float]] = {}
    for rising, find in ((True, almanac.find_risings), (False, almanac.find_settings)):
        times, reached = find(observer, bodies["sun"], start, end, horizon_degrees=altitude)
        found[rising] = [
            (at.utc_datetime() - midnight).total_seconds() for at, true in zip(times, reached, strict=True) if true
        ]
    return found


@pytest.mark.parametrize("latitude", [-50, -20, 0, 35, 54])
@pytest.mark.parametrize("month", [3, 6, 11])
def test_events_against_an_ephemeris(latitude: int, month: int) -> None:
    where = Whereabouts(latitude, 2.0, 2026, month, 14)
    for altitude in {one.altitude_deg for one in EVENTS.values()}:
        for rising, instants in horizon_crossings(where, altitude).items():
            ours = when_at(where, altitude, rising)
            if ours is None:
                assert not instants
            else:
                # the ephemeris was asked for the hours of this date only; ours may lie past midnight
                assert min(abs((ours - one + 43_200) % 86_400 - 43_200) for one in instants) < 2 + 60 * (ours > 86_400)


def test_the_references_give_the_reason_for_every_second() -> None:
    """The checks above can fail: a minute of time, or a tenth of a degree of latitude, would be seen."""
    second = when_at(QUAY, -6.0, False)
    assert second is not None
    assert abs(spa(QUAY, [second + 60])[0] + 6) > 0.1
    assert abs(spa(QUAY._replace(latitude_deg=54.1), [43_200.0])[0] - altitude_deg(QUAY, 43_200)) > 0.05


def test_noon_is_the_highest_and_lies_in_the_day() -> None:
    for longitude, utc_min in (
        (-3, 0),
        (151.2, 0),
        (151.2, 600),
        (-75, -300),
        (179, 0),
        (-179, 0),
        (-179, 720),
        (179, -720),
    ):
        for latitude in (-75, -30, 0, 54, 80):
            where = Whereabouts(latitude, longitude, 2026, 3, 21, utc_min)
            top = noon(where)
            assert -1_200 <= top <= 86_400 + 1_200
            assert (
                altitude_deg(where, top) >= max(altitude_deg(where, top + step) for step in (-600, -1, 1, 600)) - 1e-9
            )


def test_noon_goes_by_the_equation_of_time() -> None:
    # Its two extremes, +16 min 26 s and -14 min 13 s: from memory. At a latitude like the sun's own declination, where
    # the sun stands highest when it stands due north or south.
    assert noon(Whereabouts(-15.0, 0.0, 2026, 11, 3)) == pytest.approx(43_200 - 16 * 60 - 26, abs=3)
    assert noon(Whereabouts(-14.0, 0.0, 2026, 2, 11)) == pytest.approx(43_200 + 14 * 60 + 13, abs=3)


def test_the_clocks_own_time_is_counted() -> None:
    summer = QUAY._replace(month=6)
    here, there = event(summer, "sunset"), event(summer._replace(utc_min=60), "sunset")
    assert here is not None
    assert there == here + 3600


def test_the_events_of_a_day_come_in_their_order() -> None:
    at = [event(QUAY, name) for name in ("daybreak", "dawn", "sunrise", "sunset", "dusk", "nightfall")]
    assert None not in at
    assert at == sorted(at, key=lambda one: one or 0)


def test_an_event_past_midnight_keeps_its_own_night() -> None:
    where = Whereabouts(48.0, 0.0, 2026, 6, 21, 120)  # two hours of summer time
    nightfall, daybreak = event(where, "nightfall"), event(where, "daybreak")
    assert nightfall is not None
    assert daybreak is not None
    assert nightfall > 86_400
    assert daybreak > 0
    assert spa(where, [nightfall, daybreak]) == pytest.approx([-18, -18], abs=0.005)


@pytest.mark.parametrize(
    ("latitude", "month", "name", "sentence"),
    [
        (65, 6, "dusk", "At 65 N on 21 June the sun does not sink to 6 deg below the horizon, so there is no dusk."),
        (65, 6, "dawn", "At 65 N on 21 June the sun does not sink to 6 deg below the horizon, so there is no dawn."),
        (
            80,
            12,
            "dusk",
            "At 80 N on 21 December the sun does not rise to 6 deg below the horizon, so there is no dusk.",
        ),
        (
            -70.25,
            12,
            "sunset",
            "At 70.25 S on 21 December the sun does not sink to the horizon, so there is no sunset.",
        ),
        (70, 12, "sunrise", "At 70 N on 21 December the sun does not rise to the horizon, so there is no sunrise."),
        (
            54,
            6,
            "nightfall",
            "At 54 N on 21 June the sun does not sink to 18 deg below the horizon, so there is no nightfall.",
        ),
    ],
)
def test_where_there_is_none_it_says_so(latitude: float, month: int, name: str, sentence: str) -> None:
    where = Whereabouts(latitude, -3.0, 2026, month, 21)
    assert event(where, name) is None
    assert why_not(where, name) == sentence


def test_where_there_is_one_there_is_nothing_to_say() -> None:
    assert [why_not(QUAY, name) for name in EVENTS] == [""] * 6


@pytest.mark.parametrize("latitude", [90, 89.99, 89.5, -89.9, -90])
@pytest.mark.parametrize("month", [3, 6, 9, 12])
def test_the_poles_are_places_too(latitude: float, month: int) -> None:
    for day in (18, 20, 21, 23, 24):
        where = Whereabouts(latitude, 0.0, 2026, month, day)
        for name, (altitude, rising) in EVENTS.items():
            second = when_at(where, altitude, rising)
            if second is None:
                assert why_not(where, name).endswith(f"so there is no {name}.")
            else:
                assert altitude_deg(where, second) == pytest.approx(altitude, abs=1e-6)


def test_a_date_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="day"):
        altitude_deg(QUAY._replace(month=2, day=30), 0.0)


def test_the_course_has_no_steps_where_one_day_goes_over_into_the_next() -> None:
    for second in range(-86_400, 3 * 86_400, 43_200):  # universal days begin at noon here
        before, at, after = (altitude_deg(QUAY, second + step) for step in (-1, 0, 1))
        assert at - before == pytest.approx(after - at, abs=1e-6)
