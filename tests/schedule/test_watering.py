"""The watering plan: exact on small days, and what no plan may do."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import groupby, pairwise, product
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.practice.rules import CuringMethod, practice
from handover.schedule.ensemble import CENTRAL
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate, with_dry_surface
from handover.schedule.slab_simulation import DryHours
from handover.schedule.watering import (
    SAME_H,
    SLOT_H,
    Slots,
    Timetable,
    _by_daylight,
    driest_day,
    freezing_ahead,
    joined_runs,
    plan_day,
    timer_runs,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

SLOT = timedelta(hours=SLOT_H)
SHOWS_MM_H = 0.10  # a surface that loses less is not counted as dry
METHOD = CuringMethod(
    store_mm=2.0,
    loss=1.0,
    rate_mm_h=10.0,
    rate_why="invented",
    most=3,
    longest_h=1.0,
    source="invented",
    mark="computed",
)


def slots_of(lost: list[float], rain: list[float] | None = None, shut: tuple[int, ...] = ()) -> Slots:
    count = len(lost)
    opened = np.array([index not in shut for index in range(count)])
    return Slots(
        start_s=np.arange(count, dtype=np.float64) * 1800.0,
        of_day=np.arange(count),
        lost=np.array(lost),
        rain=np.zeros(count) if rain is None else np.array(rain),
        open=opened,
        light=np.ones(count, dtype=bool),
        frost=np.zeros(count, dtype=bool),
        shows=SHOWS_MM_H * SLOT_H,
    )


def dry_hours(slots: Slots, water: tuple[bool, ...], held_mm: float) -> float:
    """Count by the definition: the store takes rain and water, and gives what the weather takes."""
    step, dry = METHOD.store_mm / 40, 0.0
    held = held_mm
    for lost, rain, on in zip(slots.lost, slots.rain, water, strict=True):
        had = held + rain + (METHOD.rate_mm_h * SLOT_H if on else 0.0)
        if lost > SHOWS_MM_H * SLOT_H:
            dry += min(max((lost - had) / lost, 0.0), 1.0) * SLOT_H
        held = (
            np.clip(np.floor((had - lost) / step + 1e-9), 0, 40) * step
        )  # the plan's own steps of water held
    return dry


def visits_in(water: tuple[bool, ...]) -> int:
    return sum(on and not before for before, on in zip((False, *water), water, strict=False))


def longest_in(water: tuple[bool, ...]) -> int:
    return max((len(list(run)) for on, run in groupby(water) if on), default=0)


def best_by_trying_all(slots: Slots, most: int, longest: int, held_mm: float) -> tuple[float, int]:
    """Return the least hours dry and, with them, the fewest slots of water, over every plan there is."""
    outcomes = []
    enough_rain = slots.rain.sum() >= slots.lost.sum()
    for water in product((False, True), repeat=len(slots.lost)):
        if (
            any(on and not open_ for on, open_ in zip(water, slots.open, strict=True))
            or visits_in(water) > most
            or longest_in(water) > longest
        ):
            continue
        idle = (
            0.0 if enough_rain or any(water) else SLOT_H
        )  # a day without a visit counts as half an hour dry
        outcomes.append((round(dry_hours(slots, water, held_mm) + idle, 9), sum(water)))
    return min(outcomes)


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_of_a_small_day_is_better(seed: int) -> None:
    """Exact: compared with every one of the 2^11 plans of a day of eleven slots."""
    random = np.random.default_rng(seed)
    count, most, longest = 11, int(random.integers(1, 4)), int(random.integers(1, 5))
    slots = slots_of(
        list(random.uniform(0.0, 1.2, count)),
        list(np.where(random.random(count) < 0.2, random.uniform(0.0, 2.0, count), 0.0)),
        tuple(int(each) for each in random.choice(count, size=3, replace=False)),
    )
    held = 0.05 * int(random.integers(0, 40))
    method = replace(METHOD, longest_h=longest * SLOT_H)
    chosen, _, dry = plan_day(slots, method, METHOD.rate_mm_h, most, held)
    water = tuple(bool(each) for each in chosen)
    assert longest_in(water) <= longest
    assert dry == pytest.approx(dry_hours(slots, water, held), abs=1e-9)
    assert visits_in(water) <= most
    idle = 0.0 if slots.rain.sum() >= slots.lost.sum() or any(water) else SLOT_H
    assert (round(dry + idle, 9), sum(water)) == best_by_trying_all(slots, most, longest, held)


def test_one_visit_at_least_on_a_dry_day() -> None:
    chosen, _, _ = plan_day(slots_of([0.01] * 10), METHOD, METHOD.rate_mm_h, 3, 2.0)
    assert chosen.sum() == 1


@pytest.mark.parametrize("day", [(4.0, 12.0), (14.0, 24.0), (22.0, 38.0)])
@pytest.mark.parametrize("hours", [(), ("06:30-08:00", "12:00-13:00", "17:00-21:00"), ("18:00-22:00",)])
def test_a_person_keeps_the_same_hours_each_day_and_three_of_them_at_most(
    job: Job, weather: Weather, as_of: datetime, hours: tuple[str, ...], day: tuple[float, float]
) -> None:
    """Common practice, no source: a day that dries the slab less leaves a visit out."""
    _, *days = plan_cure(job(curing={"available": hours}), weather(*day), as_of).watering
    kept = {(visit.start.time(), visit.end.time()) for each in days for visit in each.visits}
    assert days
    assert 1 <= len(kept) <= 3
    assert all(1 <= len(each.visits) <= 3 for each in days)


def test_a_timer_is_set_once(job: Job, weather: Weather, as_of: datetime) -> None:
    """One interval and short runs on every day; the first day has the runs that are left of it."""
    first, *days, _ = plan_cure(job(curing={"timer": True}), weather(), as_of).watering
    programs = {tuple((visit.start.time(), visit.end.time()) for visit in each.visits) for each in days}
    [program] = programs
    assert {visit.duration for day in days for visit in day.visits} <= {timedelta(minutes=15), SLOT}
    starts = [visit.start for visit in days[0].visits]
    assert len({later - earlier for earlier, later in pairwise(starts)}) == 1
    later_runs = [(visit.start.time(), visit.end.time()) for visit in first.visits[1:]]
    assert later_runs == [run for run in program if run[0] > first.visits[0].start.time()]


@pytest.mark.parametrize("shift", [0, 5])
def test_no_program_of_a_timer_has_less_dry_time(shift: int) -> None:
    """Against every interval, first run and number of runs, counted by the definition of dry time."""
    at = np.arange(48)
    lost = list(0.05 + 0.5 * np.clip(np.sin((at - 12) / 24 * np.pi), 0.0, None))
    day = slots_of(lost)
    runs = timer_runs(day, METHOD, METHOD.rate_mm_h * SLOT_H, 4, 12 + shift)
    assert 1 <= len(runs) <= 4
    assert all((run - 12 - shift) % (runs[1] - runs[0]) == 0 for run in runs)
    two = replace(slots_of(lost * 2), of_day=np.tile(at, 2))

    def dry(program: Iterable[int]) -> float:
        water = np.isin(two.of_day, list(program))
        return dry_hours(two, tuple(map(bool, water)), 0.0) - dry_hours(
            day, tuple(map(bool, water[:48])), 0.0
        )

    programs = [
        range(start, 48, step)[:count]
        for step in range(2, 25)
        for start in range((12 + shift) % step, 48, step)
        for count in range(1, 5)
    ]
    assert dry(runs) <= min(map(dry, programs)) + SLOT_H + 1e-9


def test_a_day_that_freezes_at_the_usual_hours_takes_its_water_at_another() -> None:
    """The weather is a reason to leave the timetable; a dry day without water is none."""
    day = slots_of([0.3] * 20)
    table = Timetable(((2, 3), (12, 13)), METHOD, METHOD.rate_mm_h, is_set_once=False)
    usual, _, _ = table.visits_of(day, 0.0)
    assert set(np.flatnonzero(usual)) <= {2, 3, 12, 13}
    cold = replace(day, frost=np.isin(day.of_day, [*range(5), *range(12, 20)]))
    moved, _, _ = table.visits_of(cold, 0.0)
    assert moved.any()
    assert not (moved & cold.frost).any()


@pytest.mark.parametrize(("early_loss", "is_kept"), [(0.0, True), (1.0, False)])
def test_a_person_keeps_the_hours_of_the_day_before(early_loss: float, is_kept: bool) -> None:
    """A day that dries before the later hours has the earlier ones, whatever the day before had."""
    day = slots_of([early_loss] * 10 + [0.05] * 10)
    table = Timetable(((2,), (14,)), METHOD, METHOD.rate_mm_h, is_set_once=False)
    once = replace(table, method=replace(METHOD, most=1))
    alone, _, dry_alone = once.visits_of(day, 1.0)
    assert list(np.flatnonzero(alone)) == [2]
    for hours in (frozenset({2}), frozenset({14})):
        visits, _, dry_h = once.visits_of(day, 1.0, kept={1: hours})
        assert dry_h <= dry_alone + SAME_H
        assert (frozenset(np.flatnonzero(visits).tolist()) == hours) == (is_kept or hours == {2})
    assert table.hours_by_number(day, alone) == {1: frozenset({2})}
    assert table.hours_by_number(day, np.zeros(20, dtype=bool)) == {}


def test_the_first_watering_is_one_of_the_visits_of_its_day() -> None:
    """At most three visits a day for a person: beside the long first one two of the usual are left."""
    day = slots_of([0.6] * 20)
    table = Timetable(((6,), (11,), (16,)), replace(METHOD, most=3), METHOD.rate_mm_h, is_set_once=False)
    alone, _, _ = table.visits_of(day, 0.0)
    assert visits_in(tuple(alone)) == 3
    first, _, _ = table.visits_of(day, 0.0, np.isin(day.of_day, [0, 1, 2, 3]))
    assert visits_in(tuple(first)) == 3
    assert first[:4].all()


def test_likely_rain_above_the_loss_does_the_work(job: Job, weather: Weather, as_of: datetime) -> None:
    plain = weather()
    rain = np.where((np.arange(len(plain)) - 1) // 24 == 3, 1.0, 0.0)
    wet = replace(plain, precipitation_mm=rain, precipitation_probability=np.where(rain > 0, 0.9, 0.0))
    day = plan_cure(job(), wet, as_of).watering[3]
    assert day.skipped_because == "rain"
    assert day.visits == ()
    assert day.rain_mm == pytest.approx(24.0)


def test_rain_that_may_not_come_replaces_nothing(job: Job, weather: Weather, as_of: datetime) -> None:
    plain = weather()
    rain = np.where((np.arange(len(plain)) - 1) // 24 == 3, 1.0, 0.0)
    doubtful = replace(plain, precipitation_mm=rain, precipitation_probability=np.where(rain > 0, 0.3, 0.0))
    assert plan_cure(job(), doubtful, as_of).watering[3].visits


@pytest.mark.parametrize(("drying", "freezes"), [(0.0, True), (5.0, False)], ids=["it stays wet", "it dries"])
def test_the_frost_of_the_coming_night_counts_for_water_that_has_not_dried(
    job: Job, weather: Weather, as_of: datetime, drying: float, freezes: bool
) -> None:
    """Water put on at noon is ice before dawn where it has not dried; 12 h after noon it is not cold yet."""
    simulation = simulate(job(), weather(-1.0, 20.0), as_of, members=8)
    slab = replace(simulation.slab, evaporation=np.full_like(simulation.slab.evaporation, drying))
    noon = as_of.astimezone(simulation.job.zone).replace(hour=12, minute=0) + timedelta(days=5)
    found = freezing_ahead(np.array([noon.timestamp()]), replace(simulation, slab=slab), as_of)
    assert bool(found[0]) == freezes


def test_rain_does_not_reach_a_slab_under_a_roof(job: Job, weather: Weather, as_of: datetime) -> None:
    wet = weather(precipitation_mm=np.ones(14 * 24), precipitation_probability=np.ones(14 * 24))
    schedule = plan_cure(job(slab={"exposure": "roofed"}), wet, as_of)
    assert all(day.visits and day.rain_mm == 0.0 for day in schedule.watering)
    assert all(day.rain_probability is None for day in schedule.watering)
    assert all(task.if_rain is None for task in schedule.tasks)


def test_visits_keep_to_the_hours_when_somebody_is_there(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(curing={"available": ("06:30-08:00", "17:00-21:00")}), weather(), as_of)
    for visit in (visit for day in schedule.watering for visit in day.visits):
        spoken = visit.start.strftime("%H:%M"), visit.end.strftime("%H:%M")
        assert "06:30" <= spoken[0] < spoken[1] <= "08:00" or "17:00" <= spoken[0] < spoken[1] <= "21:00"
    # ... and a cover lies there in the hours that remain.
    assert schedule.between is not None


def test_water_is_rate_times_area_times_time(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(), weather(), as_of)
    for visit in (visit for day in schedule.watering for visit in day.visits):
        hours = (visit.end - visit.start).total_seconds() / 3600
        assert visit.litres == pytest.approx(10.16 * 111.5 * hours)  # 1 mm on 1 m2 is 1 litre


def test_visits_of_a_day_are_in_order_and_apart(job: Job, weather: Weather, as_of: datetime) -> None:
    for day in plan_cure(job(), weather(), as_of).watering:
        ends = [visit.end for visit in day.visits]
        assert all(end < visit.start for end, visit in zip(ends, day.visits[1:], strict=False))
        assert all(visit.start.date() == day.date for visit in day.visits)


@pytest.mark.parametrize(
    ("method", "skipped"), [("curing compound", "compound"), ("insulating blanket", "cover")]
)
def test_a_coat_or_a_blanket_asks_for_no_water(
    job: Job, weather: Weather, as_of: datetime, method: str, skipped: str
) -> None:
    schedule = plan_cure(job(curing={"method": method}), weather(), as_of)
    assert schedule.watering
    assert {day.skipped_because for day in schedule.watering} == {skipped}
    assert not any(day.visits for day in schedule.watering)


def test_a_sheet_asks_for_less_water_than_an_open_slab(job: Job, weather: Weather, as_of: datetime) -> None:
    open_, covered = (
        sum(
            visit.litres
            for day in plan_cure(job(curing={"method": method}), weather(), as_of).watering
            for visit in day.visits
        )
        for method in ("sprinkler", "plastic sheet")
    )
    assert covered < open_


def test_burlap_asks_for_no_more_water_than_a_bare_slab(job: Job, weather: Weather, as_of: datetime) -> None:
    """Identity: wet cloth loses what a wet slab loses, and holds more between two waterings."""
    bare, burlap = (
        plan_cure(job(curing={"method": each}), weather(), as_of) for each in ("sprinkler", "wet burlap")
    )
    for cloth, slab in zip(burlap.watering, bare.watering, strict=True):
        assert cloth.lost_mm == pytest.approx(slab.lost_mm)
        assert cloth.dry_hours <= slab.dry_hours
        assert len(cloth.visits) <= len(slab.visits)
    in_all = [sum(v.litres for day in each.watering for v in day.visits) for each in (burlap, bare)]
    assert 0 < in_all[0] <= in_all[1]  # an open slab is covered between its waterings


def test_cool_water_on_a_hot_slab_is_printed_with_the_hour_that_is_gentlest(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """ACI 308R-01 as quoted: water at most 20 degF (11.1 K) cooler than the concrete; here a caution."""
    schedule = plan_cure(job(curing={"water_temperature": 12.0}), weather(), as_of)
    cool = [visit for day in schedule.watering for visit in day.visits if visit.cooler_k is not None]
    assert cool
    for visit in cool:
        assert visit.cooler_k is not None
        assert visit.cooler_k > 11.1
        assert visit.gentler_at is not None
        assert visit.gentler_at.date() == visit.start.date()
    cautions = next(caution for caution in schedule.cautions if caution.code == "curing-water")
    assert cautions.at in {visit.gentler_at for visit in cool}


def test_water_near_the_slabs_own_warmth_is_not_remarked_on(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    schedule = plan_cure(job(curing={"water_temperature": 30.0}), weather(), as_of)
    assert all(visit.cooler_k is None for day in schedule.watering for visit in day.visits)
    assert "curing-water" not in {caution.code for caution in schedule.cautions}


def test_water_after_a_dry_day_is_remarked_on_and_moves_no_date(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Nobody can water by day: the slab is hot when they come home, and no date is earlier for it."""
    summer = weather(24.0, 38.0, relative_humidity=np.full(14 * 24, 0.25))

    def plan(water_c: float | None) -> CureSchedule:
        hours = ("05:30-06:30", "18:00-21:00")  # and no cover may lie on it in between
        away = {"method": "sprinkler", "available": hours, "water_temperature": water_c}
        return plan_cure(job(curing=away, slab={"coloured": True}), summer, as_of)

    dry = plan(20.0)
    assert max(day.dry_hours for day in dry.watering) > 6.0
    assert "curing-water" in {each.code for each in dry.cautions}
    assert dry.milestones == plan(None).milestones


def test_a_surface_that_evaporation_does_not_cool_is_hotter(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """From 9 to 18 on the third day without water: hotter at the end of it, and the same before it."""
    simulation = simulate(job(), weather(24.0, 38.0), as_of)
    begins = as_of.replace(hour=9, minute=0).timestamp() + 2 * 86400.0
    slots = begins + np.arange(18) * 1800.0
    dry = with_dry_surface(simulation, DryHours(slots, 1800.0, np.ones(18))).likely_surface_c
    assert dry is not None
    wet, time_s = simulation.slab.temperature_c[:, CENTRAL, 0], simulation.slab_s(CENTRAL)
    before, within = time_s < begins, (time_s > begins + 3600.0) & (time_s <= slots[-1])
    assert dry[before] == pytest.approx(wet[before], abs=0.01)
    assert (dry[within] > wet[within] + 1.0).all()


def test_the_dry_hours_of_a_plan_are_taken_from_the_steps_they_fall_in() -> None:
    """By hand: two slots of half an hour, the second half dry, and one after a gap, all dry."""
    dry = DryHours(np.array([3600.0, 5400.0, 10800.0]), 1800.0, np.array([0.0, 0.5, 1.0]))
    moments = np.array([0.0, 3600.0, 7200.0, 10800.0, 14400.0])[:, np.newaxis]
    assert dry.moist_share(moments)[:, 0] == pytest.approx([1.0, 0.75, 1.0, 0.5])


def test_a_dry_gap_comes_with_what_would_close_it(job: Job, weather: Weather, as_of: datetime) -> None:
    away = {"method": "sprinkler", "available": ("06:30-07:30",)}
    schedule = plan_cure(job(curing=away, slab={"coloured": True}), weather(26.0, 38.0), as_of)
    cautions = next(caution for caution in schedule.cautions if caution.code == "wet-dry")
    figures = {figure.name: figure.value for figure in cautions.figures}
    assert figures["dry_with_timer"] < figures["dry_hours"]
    assert figures["dry_with_burlap"] <= figures["dry_hours"]


def test_the_slab_of_the_simulation_is_wet_to_the_last_day_of_the_plan(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """The same day again and again takes the same water from a wet slab, to the end of a long curing.

    In hot, dry weather the Indian rules ask for ten days, not seven: a slab that dried in the simulation
    before them would be hot by day, and lose twice as much.
    """
    desert = weather(26.0, 41.0, relative_humidity=np.full(14 * 24, 0.2))
    schedule = plan_cure(job(mix={"cement": "I"}), desert, as_of, rules="in")
    whole = schedule.watering[2:-1]
    assert len(whole) > 6
    lost = [day.lost_mm for day in whole]
    assert max(lost) < 1.1 * min(lost)


def test_the_water_in_all_is_that_of_the_visits(job: Job, weather: Weather, as_of: datetime) -> None:
    schedule = plan_cure(job(), weather(), as_of)
    figures = {figure.name: figure.value for figure in schedule.figures}
    total = sum(visit.litres for day in schedule.watering for visit in day.visits)
    assert figures["water_total"] == pytest.approx(total)


def test_under_plastic_no_visit_brings_water(job: Job, weather: Weather, as_of: datetime) -> None:
    """The sheet holds the water of the slab in; somebody looks each day whether it does."""
    schedule = plan_cure(job(curing={"method": "plastic sheet"}), weather(), as_of)
    looks = [visit for day in schedule.watering for visit in day.visits]
    assert looks
    assert all(each.litres == 0.0 and each.duration == timedelta(minutes=30) for each in looks)


def test_a_pond_is_topped_up_by_what_it_lost(job: Job, weather: Weather, as_of: datetime) -> None:
    """Identity: what comes is a pond at the most, and what evaporates. The rest would run over the rim.

    A pond is 20 mm by the data. Until it is full, more comes than what evaporates.
    """
    pond = job(slab={"exposure": "roofed"}, curing={"method": "ponding"})
    schedule = plan_cure(pond, weather(14.0, 22.0), as_of)
    whole = schedule.watering[4:-1]
    assert whole
    for day in whole:
        topped_mm = sum(each.litres for each in day.visits) / pond.slab.area
        assert topped_mm == pytest.approx(day.lost_mm, rel=0.25)  # since the visit of the day before
        assert day.dry_hours == 0.0
    brought_mm = sum(each.litres for day in schedule.watering for each in day.visits) / pond.slab.area
    assert brought_mm <= 20.0 + sum(day.lost_mm for day in schedule.watering)


@pytest.mark.parametrize(("method", "is_drained"), [("ponding", True), ("sprinkler", False)])
def test_nobody_tops_up_a_pond_on_the_morning_on_which_it_is_drained(
    job: Job, weather: Weather, as_of: datetime, method: str, is_drained: bool
) -> None:
    """Seen: topped up at 6:00, drained at 8:00 for the car. Curing ends at 7:25, a week after the pour."""
    record = job(curing={"method": method, "available": ("06:00-07:00",)})
    schedule = plan_cure(record, weather(), as_of)
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    assert ends.not_before is not None
    assert ends.not_before.hour < 8
    last = schedule.watering[-1].visits[-1].end
    assert (last.date() < ends.not_before.date()) == is_drained


@pytest.mark.parametrize(
    ("runs", "shut", "joined"),
    [
        (((12,), (14,)), (), ((12,), (13,))),  # 6:00 and 7:00: one visit from 6:00 to 7:00
        (((12, 13), (17,)), (), ((12, 13), (14,))),
        (((12,), (17,)), (), ((12,), (17,))),  # two hours apart
        (((12,), (36,)), (), ((12,), (36,))),  # morning and evening
        (((12,), (14,)), (13,), ((12,), (14,))),  # nobody is there in between
    ],
)
def test_two_fillings_of_a_pond_soon_after_another_are_one_visit(
    runs: tuple[tuple[int, ...], ...], shut: tuple[int, ...], joined: tuple[tuple[int, ...], ...]
) -> None:
    """Seen: 6:00 to 6:30 and 7:00 to 7:30 of one morning. The water is the same: the same half hours."""
    open_hours = frozenset(range(48)) - frozenset(shut)
    assert joined_runs(runs, open_hours) == joined


def test_no_day_of_a_pond_has_two_visits_less_than_two_hours_apart(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """The days are hot and dry, and somebody is there for two hours of the morning alone."""
    record = job(curing={"method": "ponding", "available": ("06:00-08:00",)})
    hot = weather(22.0, 36.0, relative_humidity=np.full(14 * 24, 0.15))
    schedule = plan_cure(record, hot, as_of)
    assert any(day.duration > SLOT for day in schedule.watering[1:] if day.visits)
    assert all(len(day.visits) <= 1 for day in schedule.watering)


def looks(job: Job, weather: Weather, as_of: datetime, *hours: str, **air: float) -> list[datetime]:
    record = job(curing={"method": "plastic sheet", "available": hours})
    schedule = plan_cure(record, weather(**air), as_of)
    return [visit.start for day in schedule.watering for visit in day.visits]


def test_a_sheet_that_lies_is_looked_at_daily_for_three_days_then_every_second_day(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Common practice, no source."""
    days = [each.date() for each in looks(job, weather, as_of, "06:30-21:00", lowest_c=6.0, highest_c=14.0)]
    apart = [(other - one).days for one, other in pairwise(days)]
    assert len(apart) > 4
    assert apart == [1, 1, *[2] * (len(apart) - 2)]


@pytest.mark.parametrize(
    ("hours", "at"),
    [
        (("05:00-06:30", "12:00-13:00", "17:00-21:00"), 12.0),  # by day, not before people are up
        (("20:30-23:30",), 20.5),  # the first hour of a late evening
        (("04:00-05:00",), 4.0),  # the only one
    ],
)
def test_a_look_is_at_the_first_hour_that_a_person_keeps(
    job: Job, weather: Weather, as_of: datetime, hours: tuple[str, ...], at: float
) -> None:
    """In July the sun is up from 6 to half past 20: in its light where somebody is there then."""
    after_first = looks(job, weather, as_of, *hours)[1:]
    assert after_first
    assert {each.hour + each.minute / 60.0 for each in after_first} == {at}


@pytest.mark.parametrize(
    ("window", "until"), [("20:00-23:30", 21.0), ("22:00-23:30", 23.0), ("23:00-24:00", 24.0)]
)
def test_nobody_waters_late_who_can_water_before(
    job: Job, weather: Weather, as_of: datetime, window: str, until: float
) -> None:
    """After the first day, nothing is asked after 21 h; of hours that begin later, the first one."""
    schedule = plan_cure(job(curing={"available": (window,)}), weather(), as_of)
    visits = [visit for day in schedule.watering[1:] for visit in day.visits]
    assert visits
    for each in visits:
        midnight = each.start.replace(hour=0, minute=0)
        assert (each.end - midnight) / timedelta(hours=1) <= until


@pytest.mark.parametrize(
    ("hours", "until"), [(("05:00-06:00", "17:00-21:00"), 20.5), (("20:30-21:00",), 21.0)]
)
def test_nobody_waters_in_the_dark_who_can_water_by_daylight(
    job: Job, weather: Weather, as_of: datetime, hours: tuple[str, ...], until: float
) -> None:
    """In July the sun is up from 6 to half past 20. A cover keeps the slab wet then."""
    schedule = plan_cure(job(curing={"available": hours}), weather(), as_of)
    assert schedule.between is not None
    visits = [visit for day in schedule.watering[1:] for visit in day.visits]
    assert visits
    assert max(each.end.hour + each.end.minute / 60.0 for each in visits) <= until
    assert driest_day(schedule.watering[1:]) < practice()["water.dry-too-long"]


def test_dark_hours_of_the_morning_are_used_where_the_surface_would_be_dry_without_them() -> None:
    """The film lasts four slots. Water in the light alone leaves most of the day dry."""
    day = slots_of([0.5] * 48, shut=tuple(each for each in range(48) if each not in (4, 30, 44)))
    lit = frozenset(range(12, 40))
    chosen = _by_daylight(day, lit, METHOD, METHOD.rate_mm_h, limit_h=1.0)
    assert chosen[4]
    calm = replace(day, lost=np.full(48, 0.01))
    assert not _by_daylight(calm, lit, METHOD, METHOD.rate_mm_h, limit_h=1.0)[[4, 44]].any()


def test_rain_takes_no_look_at_a_sheet_away(job: Job, weather: Weather, as_of: datetime) -> None:
    """It does not wet the slab under the sheet, and the wind that comes with it lifts the sheet."""
    plain = weather(6.0, 14.0)
    pours = np.ones(len(plain))
    wet = weather(6.0, 14.0, precipitation_mm=pours, precipitation_probability=pours)
    record = job(curing={"method": "plastic sheet"})
    dry_days, wet_days = (
        [visit.start.date() for day in plan_cure(record, each, as_of).watering for visit in day.visits]
        for each in (plain, wet)
    )
    assert len(wet_days) > 4
    assert max((other - one).days for one, other in pairwise(wet_days)) == 2
    assert {one.weekday() for one in wet_days[:3]} == {one.weekday() for one in dry_days[:3]}
