"""The top before any cover is one top, by whatever word the record cures it; a cover counts from its hour on.

Identities: the crew of a sprinkler draws the same sheet over the same top as the crew of a plastic sheet.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.practice.backtest import backtest
from handover.practice.rules import practice
from handover.schedule import quantiles
from handover.schedule.basis import basis_of
from handover.schedule.cover_times import first_frost, frost_covers
from handover.schedule.ensemble import CENTRAL
from handover.schedule.gate_evaluators import hours_to_strength
from handover.schedule.milestones import compute_dates
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import simulate
from handover.schedule.slab_age import hours_to_age

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

AT_WORK = ("06:30-07:30", "18:00-20:00")
WAYS = ("sprinkler", "soaker hose", "hose by hand", "plastic sheet")


def not_before(schedule: CureSchedule, kind: MilestoneKind) -> datetime:
    found = schedule.milestone(kind)
    assert found is not None
    assert found.not_before is not None
    return found.not_before


@pytest.fixture
def hot(job: Job, weather: Weather, as_of: datetime) -> Callable[[str], CureSchedule]:
    """A slab of a hot windy day that is finished at noon; who waters it comes home at six."""

    def build(method: str) -> CureSchedule:
        plain = weather(24.0, 36.0)
        windy = weather(24.0, 36.0, wind_ms=plain.wind_ms * 2.0)
        record = job(
            curing={"method": method, "available": AT_WORK},
            slab={"joints": "sawn"},
            placement={"finished": as_of},
        )
        return plan_cure(record, windy, as_of)

    return build


def test_the_bare_top_dries_alike_by_every_word(hot: Callable[[str], CureSchedule]) -> None:
    """Seen: a sheet in the record made the loss before any cover twice to four times as fast."""
    risks = [[each for each in hot(way).risks if each.code != "frost"] for way in WAYS]
    assert risks[0]
    assert all(each == risks[0] for each in risks)
    ends = [hot(way).surface for way in WAYS]
    assert len({each.not_after for each in ends if each is not None}) == 1


def test_the_saw_has_the_same_hours_under_the_same_sheet(hot: Callable[[str], CureSchedule]) -> None:
    """Seen: until 8 pm under the sheet of the record, until 12:30 am under that of the crew."""
    by_crew, by_record = hot("sprinkler"), hot("plastic sheet")
    assert by_crew.surface is not None
    assert by_crew.surface.choices[0].how == "sheet"
    assert by_crew.joints is not None
    assert by_record.joints is not None
    assert by_crew.joints.windows == by_record.joints.windows
    for kind in (MilestoneKind.INITIAL_SET, MilestoneKind.FINAL_SET, MilestoneKind.SAW_JOINTS):
        assert not_before(by_crew, kind) == not_before(by_record, kind)


def test_a_sheet_brings_the_last_hour_of_the_saw_forward(job: Job, weather: Weather, as_of: datetime) -> None:
    """It is warmer under it than open; final set comes before it, or does not count on it."""
    record = job(curing={"available": AT_WORK}, placement={"finished": as_of})
    schedule, simulation = (
        plan_cure(record, weather(24.0, 36.0), as_of),
        simulate(record, weather(24.0, 36.0), as_of),
    )
    assert schedule.surface is not None
    assert "fog-cover" in {each.how for each in schedule.surface.choices}
    dates = compute_dates(simulation, basis_of(simulation.weather))
    open_saw = next(each for each in dates.milestones if each.kind == MilestoneKind.SAW_JOINTS)
    saw = schedule.milestone(MilestoneKind.SAW_JOINTS)
    assert saw is not None
    assert saw.not_after is not None
    assert open_saw.not_after is not None
    assert saw.not_after < open_saw.not_after
    assert not_before(schedule, MilestoneKind.FINAL_SET) == dates.not_before(MilestoneKind.FINAL_SET)


@pytest.mark.parametrize("method", ["plastic sheet", "insulating blanket"])
def test_no_cover_lies_on_the_first_part_while_the_last_is_finished(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    """Seen: finishing two hours after the last load covered the first part two hours after its own."""
    start = as_of.replace(hour=6)
    times = {"start": start, "end": start + timedelta(hours=4), "finished": start + timedelta(hours=6)}
    tops = []
    for curing in ({"method": method}, {"method": "curing compound", "colour": "clear"}):
        simulation = simulate(job(placement=times, curing=curing), weather(2.0, 14.0), as_of)
        first = simulation.ensemble.first_placed.start
        tops.append(simulation.slab.temperature_c[:7, first, 0])
    np.testing.assert_allclose(tops[0], tops[1], atol=0.15)  # clear coats take up the sun of grey concrete


def test_the_surface_under_the_sheet_between_waterings_is_that_of_the_plan(
    job: Job, weather: Weather, as_of: datetime
) -> None:
    """Water that does not evaporate takes no heat: by day it is hotter, and a sheet lets little pass."""
    record = job(curing={"method": "sprinkler", "available": AT_WORK})
    air = weather(26.0, 38.0)
    schedule, open_ = plan_cure(record, air, as_of), simulate(record, air, as_of)
    assert schedule.between is not None
    assert schedule.between.cover == "plastic sheet"
    history = schedule.history
    days = slice(4 * 24, 6 * 24)
    likely = history.temperature_c.likely.surface[days]
    wet = open_.slab.temperature_c[days, CENTRAL, 0]
    assert likely.max() > wet.max() + 3.0
    assert np.median(history.evaporation[days]) < 0.4 * np.median(open_.slab.evaporation[days, CENTRAL])
    ends = history.temperature_c.low.surface, history.temperature_c.high.surface
    assert np.all(ends[0][days] <= likely)
    assert np.all(likely <= ends[1][days])


def test_cold_water_under_a_hot_sheet_has_its_caution(job: Job, weather: Weather, as_of: datetime) -> None:
    """The limit of the rule lies between the open surface and that under the sheet."""
    limit_k = practice()["water.cooler"]
    air = weather(26.0, 38.0)
    asks = {"method": "sprinkler", "available": ("12:00-13:30",)}
    dry = job(curing=asks)
    plain = plan_cure(dry, air, as_of)
    assert plain.between is not None
    assert plain.between.cover == "plastic sheet"
    visits = [visit.start for day in plain.watering for visit in day.visits][2:]
    wet = simulate(dry, air, as_of)
    at = np.searchsorted(wet.slab_s(CENTRAL), [each.timestamp() for each in visits])
    open_c = float(wet.slab.temperature_c[at, CENTRAL, 0].max())
    covered_c = float(plain.history.temperature_c.likely.surface[at].max())
    assert covered_c > open_c + 2.0
    water_c = (open_c + covered_c) / 2.0 - limit_k
    schedule = plan_cure(job(curing={**asks, "water_temperature": water_c}), air, as_of)
    assert schedule.has_caution("curing-water")


@pytest.mark.parametrize("method", ["plastic sheet", "wet burlap", "sprinkler"])
def test_the_first_frost_begins_when_the_bare_top_may_freeze(
    job: Job, weather: Weather, as_of: datetime, method: str
) -> None:
    """Seen: "bare, it may freeze from 1 am" above dangers that began a day later."""
    record = job(curing={"method": method}, placement={"concrete_temperature": 13.0})
    schedule = plan_cure(record, weather(-6.0, 5.0), as_of)
    assert schedule.protection is not None
    bare = schedule.protection.blankets[0].freezes_from
    frost = first_frost(schedule)
    assert bare is not None
    assert frost is not None
    assert timedelta() <= bare - frost < timedelta(minutes=30)  # printed by the half hour
    cover = next(iter(frost_covers(schedule)))
    assert cover.start <= bare.astimezone(UTC)


def test_a_day_under_blankets_is_no_dry_day(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: "Dry for 8 h" on days on which dry blankets lay on it in place of water."""
    schedule = plan_cure(job(), weather(-9.0, -1.0), as_of)
    frosty = [each for each in schedule.watering if each.skipped_because == "frost"]
    assert frosty
    assert {each.dry_hours for each in frosty} == {0.0}


@pytest.mark.all_members
def test_nobody_walks_at_the_hour_of_final_set(
    job: Job, weather: Weather, as_of: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen: both at 1:19 pm, because two dates wait for different shares of the members.

    What it needs lies between them: the time from final set to the strength for feet in slow members. In a
    frost without an end that is no less than the likely time.
    """
    tested = backtest()
    levels = {**tested.levels, MilestoneKind.FINAL_SET: 0.995}  # so that final set alone waits for nearly all
    monkeypatch.setattr(quantiles, "backtest", lambda: replace(tested, levels=levels))
    record = job(placement={"concrete_temperature": 13.0}, curing={"method": "insulating blanket"})
    simulation = simulate(record, weather(-16.0, -8.0), as_of)
    dates = compute_dates(simulation, basis_of(simulation.weather))
    walk, final, safe = (
        dates.not_before(each)
        for each in (MilestoneKind.FOOT_TRAFFIC, MilestoneKind.FINAL_SET, MilestoneKind.FROST_SAFE)
    )
    last = simulation.ensemble.last_placed
    set_h = hours_to_age(simulation.slab, simulation.concrete.final_set_h)[last]
    walk_h = hours_to_strength(gate_value("foot-traffic"), simulation, dates)[last]
    waits = (walk_h - set_h)[np.isfinite(walk_h)]
    assert walk is not None
    assert final is not None
    assert safe is not None
    assert walk - final >= timedelta(hours=float(np.median(waits))) - timedelta(seconds=1)
    assert safe > walk


def gate_value(milestone: str) -> float:
    """Return the strength that a date asks for, in MPa."""
    asked = [each for each in practice().gates_of(milestone, "garage floor") if each.measure == "strength"]
    assert asked[0].value is not None
    return asked[0].value
