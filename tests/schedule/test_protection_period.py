"""Cold protection ends by its own rule, whatever the curing asks."""

from __future__ import annotations

from datetime import timedelta
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.practice.rules import practice
from handover.schedule.ensemble import CENTRAL
from handover.schedule.milestones import compute_dates
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.protection_period import (
    ProtectionNeeds,
    blanket_cover,
    coldest_of_the_next_day,
    largest_drop,
    mild_hours,
)
from handover.schedule.simulation import simulate

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule, Gate, Milestone
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

Kind = MilestoneKind
BLANKETS = {"method": "insulating blanket", "blanket_r_value": 0.88}
WARM_MIX = {"concrete_temperature": 18.0}


def protection(schedule: CureSchedule) -> Milestone:
    found = schedule.milestone(Kind.PROTECTION_ENDS)
    assert found is not None
    return found


def gate(milestone: Milestone, rule: str) -> Gate:
    reason = milestone.because
    return next(each for each in (reason.governing, *reason.others) if each.rule == f"protection-ends.{rule}")


@pytest.fixture
def blanketed(job: Job) -> JobRecord:
    return job(curing=BLANKETS, placement=WARM_MIX)


@pytest.mark.parametrize(
    ("mix", "days"), [({}, 3), ({"admixtures": ("accelerator",)}, 2), ({"cement": "III"}, 2)]
)
def test_days_of_a_slab_that_stays_warm(
    job: Job, weather: Weather, as_of: datetime, mix: dict[str, Any], days: int
) -> None:
    """ACI 306.1-90, as quoted: 3 days at 55 degF or more, 2 with Type III or an accelerator. Exact."""
    schedule = plan_cure(job(mix=mix, curing=BLANKETS), weather(20.0, 28.0), as_of)
    asked = gate(protection(schedule), "days")
    assert asked.not_before == schedule.placement_end + timedelta(days=days)


def test_a_colder_slab_keeps_its_blankets_for_longer(job: Job, lasting: Weather, as_of: datetime) -> None:
    """Identity: at 55 degF the days of the rule, below it more of them, by the equivalent age.

    Without a place the ground is as cold as the air; ground of a summer keeps a covered slab warm by itself.
    """
    nowhere = {"latitude": None, "longitude": None}
    covered = job(site=nowhere, curing=BLANKETS, placement=WARM_MIX)
    dates = [
        gate(protection(plan_cure(covered, lasting(low, low + 8.0), as_of)), "days").likely
        for low in (8.0, -6.0)
    ]
    assert all(dates)
    assert dates == sorted(dates, key=lambda each: each.timestamp() if each else np.inf)
    assert dates[0] != dates[-1]


@pytest.mark.parametrize("rules", ["us", "us-ufgs"])
def test_curing_does_not_keep_the_blankets_on(
    job: Job, weather: Weather, as_of: datetime, rules: str
) -> None:
    """Nobody keeps a floor under blankets for weeks: its days of curing go on without them."""
    slow = job(mix={"fly_ash": 0.3, "cement": "II"}, curing=BLANKETS, placement=WARM_MIX)
    schedule = plan_cure(slow, weather(2.0, 9.0), as_of, rules=rules)
    off, ends = protection(schedule), schedule.milestone(Kind.CURING_ENDS)
    assert ends is not None
    assert off.not_before is not None
    assert off.not_before < schedule.placement_end + timedelta(days=12)
    assert ends.not_before is None or ends.not_before > off.not_before + timedelta(days=2)


def test_blankets_come_off_in_an_hour_when_the_air_is_near_the_surface(
    blanketed: JobRecord, weather: Weather, as_of: datetime
) -> None:
    """ACI 306.1-90, as quoted: within 20 degF of the air, and at most 50 degF in the day after."""
    simulation = simulate(blanketed, weather(-9.0, 5.0), as_of)
    met = compute_dates(simulation, lambda _: "forecast").met_h[Kind.PROTECTION_ENDS]
    slab = simulation.slab
    assert np.all(np.isin(met, slab.hours))
    for member, hour in enumerate(met.astype(int)):  # each in its own weather; the date is near their middle
        surface, air = slab.temperature_c[hour, member, 0], slab.air.air_c[hour:, member]
        assert surface - air[0] <= 20.0 / 1.8 + 0.1
        assert surface - air[:25].min() <= 50.0 / 1.8 + 0.3
    off = protection(plan_cure(blanketed, weather(-9.0, 5.0), as_of))
    assert off.likely is not None
    since = (off.likely.timestamp() - slab.placed_s[CENTRAL]) / 3600.0
    assert np.quantile(met, 0.25) <= since <= np.quantile(met, 0.75)


def test_the_slab_is_bare_from_then_on(
    blanketed: JobRecord, job: Job, weather: Weather, as_of: datetime
) -> None:
    """Dates do not count on a blanket that is off. A clear coat leaves the colour of concrete."""
    cold = weather(-4.0, 6.0)
    covered, bare = (
        simulate(each, cold, as_of)
        for each in (
            blanketed,
            job(curing={"method": "curing compound", "colour": "clear"}, placement=WARM_MIX),
        )
    )
    day = slice(12 * 24, 13 * 24)  # long after
    swing = [np.ptp(each.slab.temperature_c[day, CENTRAL, 0]) for each in (covered, bare)]
    assert swing[0] == pytest.approx(swing[1], abs=0.3)


def test_what_is_lifted_stays_off() -> None:
    instants = np.arange(0.0, 80.0 * 3600.0, 3600.0)
    air = np.full((80, 2), 10.0)
    air[60:] = -30.0  # too cold to lift again
    needs = ProtectionNeeds(hours=24.0, age_h=np.array([30.0, 1e9]), set_age_h=np.zeros(2), drop_k=28.0)
    laid_at_once = {"latest_h": 12.0, "is_finished": True}
    cover = blanket_cover(np.full((79, 1), 0.9), instants, air, needs, practice("us"), **laid_at_once)
    surface = np.full((2, 3), 15.0)
    laid = np.array([cover(step, np.full((2, 3), float(step)), surface) for step in range(79)])
    assert np.all(laid[:30] == 0.9)
    assert np.all(laid[30:, 0] == 0.0)
    assert np.all(laid[:, 1] == 0.9)


@pytest.mark.parametrize(
    ("is_finished", "top_c", "laid_at"), [(True, 9.0, 8), (True, 0.5, 5), (False, 0.5, 8)]
)
def test_blankets_go_on_when_it_has_set_or_before_the_top_freezes(
    is_finished: bool, top_c: float, laid_at: int
) -> None:
    """A soft top takes their marks; a finished one that would freeze takes worse. Nobody covers it before."""
    instants = np.arange(0.0, 30.0 * 3600.0, 3600.0)
    needs = ProtectionNeeds(hours=1e9, age_h=np.array([1e9]), set_age_h=np.array([8.0]), drop_k=28.0)
    resistance = np.where(np.arange(29) >= (5 if is_finished else 0), 0.9, 0.0)[:, np.newaxis]
    cover = blanket_cover(
        resistance, instants, np.zeros((30, 1)), needs, practice("us"), latest_h=12.0, is_finished=is_finished
    )
    top = np.full((1, 3), top_c)
    laid = [float(cover(step, np.full((1, 3), float(step)), top)[0]) for step in range(29)]
    assert laid == [0.0] * laid_at + [0.9] * (29 - laid_at)


def test_a_sudden_fall_ahead_keeps_the_blankets_on() -> None:
    """60 degF under the blanket and 0 degF in the air, the example of Concrete Construction: not allowed."""
    sixty, zero = (np.array([(each - 32.0) / 1.8]) for each in (60.0, 0.0))
    assert not mild_hours(sixty, zero, zero, practice("us"), 28.0)[0]
    assert not mild_hours(sixty, sixty, zero, practice("us"), 28.0)[0]  # mild now, but not for a day
    assert mild_hours(sixty, sixty, sixty - 20.0, practice("us"), 28.0)[0]


@pytest.mark.parametrize(("inches", "drop_f"), [(4, 50.0), (11.9, 50.0), (12, 40.0), (24, 40.0)])
def test_a_thick_slab_may_cool_less_in_the_day_after(job: Job, inches: float, drop_f: float) -> None:
    """ACI 306R by Beall 2004, fig. 3-37: 50 degF under 12 in, 40 degF from 12 to 36 in.

    They are printed as 28 and 22 degC, so 0.3 K are allowed.
    """
    slab = job(slab={"thickness": inches * 0.0254})
    drop_k = largest_drop(slab, practice("us"))
    assert drop_k == pytest.approx(drop_f / 1.8, abs=0.3)
    warm, air = np.array([25.0]), np.array([20.0])
    for colder_k, may in ((drop_k - 0.1, True), (drop_k + 0.1, False)):
        assert mild_hours(warm, air, warm - colder_k, practice("us"), drop_k)[0] == may


def test_the_air_need_not_be_near_where_it_is_not_cold() -> None:
    """ACI 306.1 is for cold weather; the example of Concrete Construction, 60 degF on a day of 45 to 60."""
    sixty, mild, cold = (np.array([(each - 32.0) / 1.8]) for each in (60.0, 45.0, 35.0))
    warmer = sixty + 15.0
    assert not mild_hours(warmer, sixty, cold, practice("us"), 28.0)[0]
    assert mild_hours(warmer, sixty, mild, practice("us"), 28.0)[0]
    assert not mild_hours(warmer + 20.0, sixty, mild, practice("us"), 28.0)[0]  # it would still fall too far


def test_the_coldest_of_the_next_day() -> None:
    air = np.arange(100.0)[:, np.newaxis]
    assert np.all(coldest_of_the_next_day(air)[:76] == air[:76])
    assert np.all(coldest_of_the_next_day(-air)[:75] == -air[24:99])


def test_there_is_none_in_the_warm(job: Job, weather: Weather, as_of: datetime) -> None:
    assert plan_cure(job(), weather(), as_of).milestone(Kind.PROTECTION_ENDS) is None


def test_a_date_is_never_before_the_strength_for_frost(job: Job, weather: Weather, as_of: datetime) -> None:
    for low, method in product((-12.0, 1.0), ("sprinkler", "insulating blanket")):
        schedule = plan_cure(job(curing={"method": method}), weather(low, low + 8.0), as_of)
        off, safe = protection(schedule), schedule.milestone(Kind.FROST_SAFE)
        assert safe is not None
        assert off.not_before is None or (safe.not_before and off.not_before >= safe.not_before)
