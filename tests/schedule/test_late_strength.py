"""Late strength: slower once curing has ended, and lower after a warm first day.

Sources: concrete left in air has 25 % less at 28 days (pages on delayed curing); a first day at 18 degC in
place of 2 degC costs 10 % at 28 days (Barnes, Orndorff and Roten, ACI Journal 74-12, 1977, abstract).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.concrete.curves import lowered_late, raised_to_reach
from handover.concrete.strength import En1992
from handover.practice.rules import practice
from handover.schedule.dates import Dates
from handover.schedule.gate_evaluators import age_of_strength, hours_to_strength
from handover.schedule.simulation import simulate

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.schedule.simulation import Simulation
    from handover.weather.series import WeatherSeries

    Simulated = Callable[..., Simulation]


@pytest.fixture
def simulated(
    job: Callable[..., JobRecord], weather: Callable[..., WeatherSeries], as_of: datetime
) -> Simulated:
    def build(lowest_c: float = 16.0, highest_c: float = 24.0, **tables: Any) -> Simulation:
        return simulate(job(**tables), weather(lowest_c, highest_c), as_of, members=20)

    return build


def cured_until(hours: float, simulation: Simulation) -> Dates:
    return Dates(moist_h=np.full(len(simulation.ensemble), hours))


def strength(simulation: Simulation, dates: Dates) -> Floats:
    return simulation.concrete.strength(age_of_strength(simulation, dates), slice(None))


def test_longer_curing_is_never_weaker(simulated: Simulated) -> None:
    slab = simulated()
    short, long, for_ever = (strength(slab, cured_until(hours, slab)) for hours in (72.0, 168.0, np.inf))
    assert np.all(short <= long + 1e-9)
    assert np.all(long <= for_ever + 1e-9)
    assert np.all(short[-1] < for_ever[-1])
    assert np.array_equal(short[:72], for_ever[:72])
    assert np.all(np.diff(short, axis=0) >= -1e-9)


def test_a_thin_slab_loses_more_by_drying(simulated: Simulated) -> None:
    def kept(thickness: float) -> float:
        slab = simulated(slab={"thickness": thickness})
        ended, never = (strength(slab, cured_until(hours, slab))[-1] for hours in (72.0, np.inf))
        return float((ended / never).mean())

    assert kept(0.09) < kept(0.15) < 1.0


def test_a_strength_is_dated_when_the_history_reaches_it(simulated: Simulated) -> None:
    """Identity: dates and curves go by the same slowed age."""
    slab = simulated()
    dates = cured_until(72.0, slab)
    needed = 0.8 * slab.concrete.specified_mpa
    hours = hours_to_strength(needed, slab, dates)
    coldest = strength(slab, dates).min(axis=2)
    reached = np.array([np.interp(hour, slab.slab.hours, coldest[:, at]) for at, hour in enumerate(hours)])
    assert np.all(hours > 72.0)
    within = hours < slab.slab.hours[-1]
    assert within.sum() > 10
    assert reached[within] == pytest.approx(needed, rel=0.01)


def test_never_is_never(simulated: Simulated) -> None:
    """A sheet so thin that it dries at once never gets there."""
    slab = simulated()
    thin = replace(
        slab, job=slab.job.model_copy(update={"slab": slab.job.slab.model_copy(update={"thickness": 0.01})})
    )
    assert np.all(np.isinf(hours_to_strength(slab.concrete.specified_mpa, thin, cured_until(24.0, slab))))


def test_a_cylinder_in_air_has_a_quarter_less_at_28_days() -> None:
    """The figure behind the rule, by the curve of Type I; within 2 %."""
    rules = practice()
    gained = rules["strength.drying"] * (1.0 - np.exp(-28.0 / rules["strength.drying"]))
    curve = En1992(rules.cements["I"].curves[1].constants["s"])
    assert float(curve.ratio(gained)) == pytest.approx(0.75, abs=0.02)


def test_a_warm_first_day_costs_late_strength_and_no_early_one(simulated: Simulated) -> None:
    warm = simulated(28.0, 38.0)
    left = warm.concrete.late_share
    assert np.all((left > 0.80) & (left < 1.0))
    mild = replace(warm.concrete, late_share=np.ones_like(left))
    early, late = 0.3 * mild.specified_mpa, 0.9 * mild.specified_mpa
    assert np.array_equal(warm.concrete.age_at_strength(early), mild.age_at_strength(early))
    assert np.all(warm.concrete.age_at_strength(late) > mild.age_at_strength(late))


def test_a_cool_first_day_costs_nothing(simulated: Simulated) -> None:
    assert np.array_equal(simulated(6.0, 12.0).concrete.late_share, np.ones(20))


def test_the_loss_is_that_of_the_source() -> None:
    """2 to 18 degC: 10 %."""
    assert practice()["strength.warm-loss"] * (18.0 - 2.0) == pytest.approx(0.10, abs=0.01)


@given(st.floats(0.0, 1.3), st.floats(0.7, 1.0))
def test_the_share_needed_is_the_inverse(ratio: float, late: float) -> None:
    lowered = lowered_late(ratio, late, 0.5)
    assert lowered <= ratio
    assert raised_to_reach(lowered, late, 0.5) == pytest.approx(ratio)
    assert lowered_late(1.0, late, 0.5) == pytest.approx(late)
