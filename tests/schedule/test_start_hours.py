"""Start hours before the pour: each danger by its principle, and the best start by the order of dangers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import sun_rise_set_transit_spa

from handover.practice.rules import general_rules
from handover.schedule import start_hours
from handover.schedule.date_dependencies import ATTENDED_RULE
from handover.schedule.model import CureSchedule, MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.start_hours import (
    HARM,
    Concern,
    StartComparison,
    StartHour,
    compare_starts,
    full_hours,
    placing_time,
    rank,
    usual_starts,
)
from handover.weather.series import Origin, WeatherSeries

if TYPE_CHECKING:
    from handover.schedule.simulation import Simulation

Job = Callable[..., Any]
Weather = Callable[..., WeatherSeries]

ZONE = ZoneInfo("America/New_York")
MIDNIGHT = datetime(2026, 7, 14, tzinfo=ZONE)
PLACING = timedelta(hours=1.25)
HOURS = (5, 8, 11, 14)


def at(*hours: int) -> list[datetime]:
    return [MIDNIGHT.replace(hour=each) for each in hours]


def compare(job: Any, weather: WeatherSeries, starts: list[datetime], **options: Any) -> StartComparison:
    return compare_starts(job, weather, MIDNIGHT, starts, PLACING, members=8, **options)


# ---- the dangers


def test_more_wind_gives_more_drying_at_every_start(job: Job, weather: Weather) -> None:
    calm = weather()
    windy = replace(calm, wind_ms=calm.wind_ms * 2.0)
    for before, after in zip(
        compare(job(), calm, at(*HOURS)).starts, compare(job(), windy, at(*HOURS)).starts, strict=True
    ):
        assert after.peak_drying > before.peak_drying
        assert after.watch_hours >= before.watch_hours
        assert after.precaution_hours >= before.precaution_hours


def test_a_start_into_the_heat_dries_faster_than_one_before_dawn(job: Job, weather: Weather) -> None:
    hot = weather(24.0, 38.0)
    windy = replace(hot, wind_ms=hot.wind_ms * 2.0)
    early, late = compare(job(), windy, at(4, 12)).starts
    assert late.peak_drying > early.peak_drying
    assert late.precaution_hours > early.precaution_hours


def test_drying_over_the_limit_is_named_with_its_hours(job: Job, weather: Weather) -> None:
    calm = weather(24.0, 38.0)
    (start,) = compare(job(), replace(calm, wind_ms=calm.wind_ms * 3.0), at(11)).starts
    (concern,) = (each for each in start.concerns if each.code == "drying")
    figures = {each.name: each.value for each in concern.figures}
    assert figures["peak"] > figures["limit"]
    assert concern.at is not None
    assert concern.until is not None
    assert figures["hours_above"] * 3600 == pytest.approx(
        (concern.until - concern.at).total_seconds(), abs=900
    )


def test_a_start_into_frost_says_so_and_one_into_mild_nights_does_not(job: Job, weather: Weather) -> None:
    cold, mild = (compare(job(), weather(*air), at(14)).starts for air in ((-9.0, 1.0), (12.0, 22.0)))
    assert all({"frost", "frost-any-blanket"} & {*each.codes} for each in cold)
    assert all(each.blanket != 0.0 for each in cold)
    assert all(each.blanket == 0.0 and each.frost_from is None for each in mild)


def test_a_blanket_that_is_enough_for_one_start_is_enough_for_a_milder_one(
    job: Job, weather: Weather
) -> None:
    def least(lowest_c: float) -> float:
        (start,) = compare(job(), weather(lowest_c, lowest_c + 10.0), at(9)).starts
        return np.inf if start.blanket is None else start.blanket

    blankets = [least(each) for each in (-8.0, -3.0, 6.0)]
    assert blankets == sorted(blankets, reverse=True)
    assert blankets[-1] == 0.0
    assert blankets[0] > 0.0


def test_rain_within_the_hours_of_fresh_concrete_is_named(job: Job, weather: Weather) -> None:
    dry = weather()
    wet_at = np.datetime64("2026-07-14T19:00:00")  # 3 pm on the day of the pour
    rain = np.where(dry.time == wet_at, 4.0, 0.0)
    wet = replace(dry, precipitation_mm=rain, precipitation_probability=np.where(rain > 0.0, 0.9, 0.0))
    slab = {"exposure": "outdoors"}
    same_day, next_day = compare(job(slab=slab), wet, [*at(8), MIDNIGHT + timedelta(hours=32)]).starts
    assert "rain" in same_day.codes
    assert same_day.rain_mm == pytest.approx(4.0)
    assert "rain" not in next_day.codes
    assert "rain" not in compare(job(slab={"exposure": "indoors"}), wet, at(8)).starts[0].codes


def rain_at(dry: WeatherSeries, millimetres: dict[int, float]) -> WeatherSeries:
    """Return the weather with rain in the hours that end so many hours after the midnight of the site."""
    ends = [MIDNIGHT + timedelta(hours=each) for each in millimetres]
    rain = np.zeros(len(dry.time))
    for end, depth in zip(ends, millimetres.values(), strict=True):
        rain[dry.seconds == end.timestamp()] = depth
    chance = np.where(rain > 0.0, 0.9, 0.0)
    return replace(dry, precipitation_mm=rain, precipitation_probability=chance)


def test_a_start_with_less_rain_is_better(job: Job, weather: Weather) -> None:
    drizzle, cloudburst = 32, 56  # the second and the third day, 8 am
    wet = rain_at(weather(14.0, 20.0), {drizzle: 0.6, cloudburst: 20.0})
    heavy, light = (MIDNIGHT + timedelta(hours=each - 1) for each in (cloudburst, drizzle))
    compared = compare(job(slab={"exposure": "outdoors"}), wet, [light, heavy])
    first, second = compared.starts
    assert "rain" in first.codes
    assert "rain" in second.codes
    assert compared.best is first
    assert [each.rain_mm for each in compared.starts] == pytest.approx([0.6, 20.0])
    # ... and not because it comes first
    assert rank(replace(second, rain_mm=0.5, rain_before_set_mm=0.5)) < rank(
        replace(first, rain_mm=20.0, rain_before_set_mm=20.0)
    )


def test_rain_before_final_set_counts_before_rain_on_firm_concrete(job: Job, weather: Weather) -> None:
    wet = rain_at(weather(), {10: 3.0, 18: 5.0})
    (start,) = compare(job(slab={"exposure": "outdoors"}), wet, at(8)).starts
    assert start.final_set is not None
    assert MIDNIGHT + timedelta(hours=10) < start.final_set < MIDNIGHT + timedelta(hours=17)
    assert start.rain_mm == pytest.approx(8.0)
    assert start.rain_before_set_mm == pytest.approx(3.0)
    assert rank(replace(start, rain_before_set_mm=0.0)) < rank(replace(start, rain_mm=3.0))


@pytest.mark.parametrize("method", ["plastic sheet", "curing compound", "insulating blanket"])
def test_nobody_has_to_be_there_for_a_cover_or_a_compound(method: str, job: Job, weather: Weather) -> None:
    curing = {"method": method, "available": ("05:00-05:30",)}
    (start,) = compare(job(curing=curing), weather(), at(7)).starts
    assert start.attended is None
    assert "nobody" not in start.codes


def test_first_water_when_nobody_is_there(job: Job, weather: Weather) -> None:
    away, there, timer = (
        compare(job(curing=curing), weather(), at(7)).starts[0]
        for curing in (
            {"available": ("05:00-05:30",)},
            {"available": ("00:00-23:59",)},
            {"available": ("05:00-05:30",), "timer": True},
        )
    )
    (concern,) = (each for each in away.concerns if each.code == "nobody")
    assert concern.until is not None
    assert (concern.until.hour, concern.until.minute) == (5, 0)
    assert away.first_water is not None
    assert away.first_water < concern.until < away.first_water + timedelta(days=1)
    assert there.attended is True
    assert "nobody" not in there.codes
    assert timer.attended is False  # somebody lifts the cover and sets the timer at the first water
    assert "nobody" in timer.codes


def test_daylight_in_the_hours_of_sawing_is_that_of_the_sun(job: Job, weather: Weather) -> None:
    day = pd.DatetimeIndex([MIDNIGHT + timedelta(hours=12)])
    sun = sun_rise_set_transit_spa(day, 36.1, -79.95)
    rises, sets = (sun[each].iloc[0].floor("s").to_pydatetime() for each in ("sunrise", "sunset"))
    for start in compare(job(slab={"joints": "sawn"}), weather(), at(4, 9, 12, 15)).starts:
        saw = start.saw
        assert saw is not None
        assert saw.closes is not None
        assert saw.daylight_h is not None
        lit = max((min(saw.closes, sets) - max(saw.opens, rises)) / timedelta(hours=1), 0.0)
        if saw.closes < rises + timedelta(days=1):
            assert saw.daylight_h == pytest.approx(lit, abs=0.2)
            whole = (saw.closes - saw.opens) / timedelta(hours=1)
            needed = min(general_rules()["visit.sawing"], whole)
            assert ("saw-dark" in start.codes) == (saw.daylight_h < needed - 0.1)


def test_a_start_before_sunrise_starts_in_the_dark(job: Job, weather: Weather) -> None:
    dark, light = compare(job(), weather(), at(4, 8)).starts
    (concern,) = (each for each in dark.concerns if each.code == "start-dark")
    assert concern.until is not None
    assert concern.until.hour == 6  # sunrise in Greensboro in mid July: 6:14 by the almanac
    assert "start-dark" not in light.codes
    inside = compare(job(slab={"exposure": "indoors"}), weather(), at(14)).starts[0]
    assert not {"finish-dark", "saw-dark"} & {*inside.codes}


def test_slow_concrete_is_finished_in_the_dark(job: Job, weather: Weather) -> None:
    early, late = compare(job(), weather(4.0, 10.0), at(5, 15)).starts
    assert late.dark_finishing_h is not None
    assert early.dark_finishing_h is not None
    assert late.dark_finishing_h > early.dark_finishing_h
    assert "finish-dark" in late.codes


# ---- one story with the schedule


def of_schedule(schedule: CureSchedule) -> dict[str, object]:
    """Return the hours of a schedule that a start has too."""
    dates = {each.kind: each for each in schedule.milestones}
    saw, joints = dates.get(MilestoneKind.SAW_JOINTS), schedule.joints
    hours: tuple[datetime | None, datetime | None, bool] | None = None
    if saw is not None and saw.not_before is not None and joints is not None:
        last = joints.windows[-1]
        hours = (saw.not_before, saw.not_after, False)
        if last.part != "whole":
            hours = (saw.likely, last.closes, True)
    water = dates.get(MilestoneKind.FIRST_WATER)
    wet = water and water.not_before
    if water is not None and water.because.governing.rule == ATTENDED_RULE:
        wet = max(
            each.not_before for each in water.because.others if each.not_before
        )  # a start says who is there
    return {
        "initial": dates[MilestoneKind.INITIAL_SET].likely,
        "final": dates[MilestoneKind.FINAL_SET].likely,
        "water": wet,
        "safe": dates[MilestoneKind.FROST_SAFE].not_before,
        "saw": hours,
    }


def of_start(start: StartHour) -> dict[str, object]:
    """Return the same hours of a start."""
    saw = start.saw
    return {
        "initial": start.initial_set,
        "final": start.final_set,
        "water": start.first_water,
        "safe": start.frost_safe,
        "saw": saw and (saw.opens, saw.closes, saw.in_stages),
    }


@pytest.mark.parametrize("air_c", [(18.0, 34.0), (-3.0, 6.0)])
@pytest.mark.parametrize(
    "more",
    [
        {},
        {"slab": {"joints": "sawn"}},
        {"slab": {"joints": "early-entry"}, "curing": {"method": "plastic sheet"}},
        {"curing": {"method": "insulating blanket"}},
    ],
    ids=["wet", "sawn", "plastic", "blanket"],
)
def test_a_start_has_the_hours_of_the_plan_of_that_pour(
    job: Job, weather: Weather, air_c: tuple[float, float], more: dict[str, Any]
) -> None:
    """To the second, whatever the weather and the curing: the starts and the sheet are one story."""
    members, air = 8, weather(*air_c)
    starts = at(5, 16)
    compared = compare_starts(job(**more), air, MIDNIGHT, starts, PLACING, members=members).starts
    for start in compared:
        placement = {"start": start.start, "end": start.end, "finished": None}
        schedule = plan_cure(job(**more, placement=placement), air, MIDNIGHT, members=members)
        own, planned = of_start(start), of_schedule(schedule)
        if start.frost_safe is None or start.frost_safe > start.end + timedelta(days=5):
            del own["safe"], planned["safe"]  # starts are compared by their first week
        assert own == planned


def test_a_start_does_not_depend_on_the_others(job: Job, weather: Weather) -> None:
    (alone,) = compare(job(), weather(), at(8)).starts
    assert alone == compare(job(), weather(), at(5, 8, 11)).starts[1]


def test_what_was_measured_at_an_earlier_pour_has_no_effect(job: Job, weather: Weather) -> None:
    plain = compare(job(), weather(), at(8))
    finished = compare(job(placement={"finished": MIDNIGHT.replace(hour=10)}), weather(), at(8))
    assert plain == finished


# ---- the best start


def test_the_best_start_has_no_harm_where_one_has_none(job: Job, weather: Weather) -> None:
    hot = weather(24.0, 38.0)
    compared = compare(job(), replace(hot, wind_ms=hot.wind_ms * 2.0), at(4, 6, 9, 12, 15))
    free = [each for each in compared.starts if {*HARM}.isdisjoint(each.codes)]
    assert 0 < len(free) < len(compared.starts)
    assert compared.best in free
    assert sorted(compared.order) == [*range(5)]
    assert compared.runner_up is compared.starts[compared.order[1]]


def test_an_earlier_point_counts_before_all_later_ones(job: Job, weather: Weather) -> None:
    start = compare(job(), weather(), at(8)).starts[0]
    dark = replace(start, precaution_hours=0.0, concerns=(), peak_drying=0.9, watch_hours=5.0)
    dry = replace(dark, precaution_hours=0.5, peak_drying=1.0)
    assert rank(dark) < rank(dry)
    assert rank(replace(dark, watch_hours=1.0)) < rank(dark)


# ---- which hours


def test_the_usual_starts_are_the_day_hours_of_the_next_two_days() -> None:
    for asked in (MIDNIGHT, MIDNIGHT.replace(hour=10, minute=20), MIDNIGHT.replace(hour=22)):
        starts = usual_starts(asked, ZONE, general_rules())
        assert len(starts) == 24
        assert all(asked < each <= asked + timedelta(days=2) for each in starts)
        assert {each.hour for each in starts} == {*range(4, 16)}


@pytest.mark.parametrize("zone", ["Asia/Kolkata", "Asia/Kathmandu", "Australia/Adelaide"])
def test_starts_are_full_hours_of_the_clock_of_the_site(zone: str) -> None:
    starts = usual_starts(datetime(2026, 7, 14, 3, 10, tzinfo=UTC), ZoneInfo(zone), general_rules())
    assert len(starts) == 24
    assert {(each.minute, each.second) for each in starts} == {(0, 0)}


def test_between_two_moments_every_hour_counts_across_a_clock_change() -> None:
    rules = general_rules()
    evening = datetime(2026, 10, 31, 20, tzinfo=ZONE)
    starts = full_hours(evening, datetime(2026, 11, 1, 4, tzinfo=ZONE), ZONE, rules, at_night=True)
    assert [each.hour for each in starts] == [21, 22, 23, 0, 1, 1, 2, 3, 4]


def test_placing_takes_longer_for_a_larger_slab_within_a_crews_day(job: Job) -> None:
    times = [placing_time(job(slab={"area": area}), general_rules()) for area in (5.0, 110.0, 300.0, 9000.0)]
    assert times == sorted(times)
    assert times[0] == timedelta(hours=1)
    assert times[-1] == timedelta(hours=general_rules()["placement.longest"])


def test_typical_weather_is_dated(job: Job, weather: Weather) -> None:
    whole = weather()
    columns = {name: getattr(whole, name) for name in whole.__dataclass_fields__}
    kept = {name: each[:60] if isinstance(each, np.ndarray) else each for name, each in columns.items()}
    short = WeatherSeries(**kept)
    assert (short.origin == Origin.FORECAST).all()
    compared = compare(job(), short, at(8))
    assert compared.typical_from is not None
    assert compared.typical_from > short.last_hour


def test_fewer_hours_of_frost_on_the_bare_top_are_better(job: Job, weather: Weather) -> None:
    """In frost from the evening on, an early start has set before, a late one lies soft all night."""
    compared = compare(job(), weather(-6.0, 3.0), at(4, 8, 15))
    assert all("frost-before-blankets" in each.codes for each in compared.starts)
    early, late = compared.starts[0], compared.starts[-1]
    assert early.frost_from
    assert early.final_set
    assert late.frost_from
    assert late.final_set
    assert early.final_set - early.frost_from < late.final_set - late.frost_from
    same = {"concerns": late.concerns, "blanket": late.blanket}  # in all else no better
    assert rank(replace(early, **same)) < rank(late)


@pytest.mark.parametrize(
    ("worse", "better"),
    [
        (("frost-any-blanket",), ("frost-before-blankets",)),
        (("frost-before-blankets",), ("frost",)),
        (("frost",), ("drying",)),
    ],
)
def test_frost_that_no_blanket_keeps_off_counts_first(
    job: Job, weather: Weather, worse: tuple[str, ...], better: tuple[str, ...]
) -> None:
    """By the order of what harms the slab: a thicker blanket is better than frost on the bare top."""
    start = compare(job(), weather(-6.0, 3.0), at(8)).starts[0]
    thin, thick = (replace(start, blanket=each) for each in (0.3, 1.1))
    one = replace(thin, concerns=tuple(Concern(each, None) for each in worse))
    other = replace(thick, concerns=tuple(Concern(each, None) for each in better))
    assert rank(other) < rank(one)


def test_fewer_hours_of_frost_before_strength_are_better(job: Job, weather: Weather) -> None:
    start = compare(job(), weather(-6.0, 3.0), at(8)).starts[0]
    safe = MIDNIGHT + timedelta(days=3)
    cold = {"concerns": (Concern("frost-any-blanket", None),), "blanket": None, "frost_safe": safe}
    soon, late = (replace(start, frost_from=safe - timedelta(hours=each), **cold) for each in (40, 4))
    assert rank(late) < rank(soon) < rank(replace(soon, frost_safe=None))


def test_a_start_at_which_the_slab_is_too_hot_is_refused_by_itself(
    job: Job, weather: Weather, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As an issue refuses it: above the limit of the calculation the hours would mean nothing."""
    limit = general_rules()["heat.inside-model"]

    def inside(simulation: Simulation) -> float:
        return limit + (1.0 if simulation.job.placement.start.hour == 15 else 0.0)

    monkeypatch.setattr(start_hours, "hottest_inside", inside)
    compared = compare(job(), weather(), at(8, 15))
    assert [each.start.hour for each in compared.starts] == [8]
    assert compared.order == (0,)
    [refused] = compared.refused
    assert (refused.start.hour, refused.hottest_inside_c) == (15, limit + 1.0)
