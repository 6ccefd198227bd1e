"""The surface in sun and water: the colour of what cures it, and the end of the water."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.simulation import Simulation, simulate

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

MEMBERS = 8


@pytest.fixture
def slab(job: Job, weather: Weather, as_of: datetime) -> Callable[..., Simulation]:
    def build(**curing: Any) -> Simulation:
        return simulate(job(curing=curing), weather(10.0, 24.0), as_of, members=MEMBERS)

    return build


def test_a_darker_surface_is_warmer(slab: Callable[..., Simulation]) -> None:
    """Order of the absorptivities in the handbooks: white, clear, black."""
    means = [
        slab(method="plastic sheet", colour=colour).slab.temperature_c[12:160, :, 0].mean()
        for colour in ("white", "clear", "black")
    ]
    assert means == sorted(means)
    assert means[2] - means[0] > 1.0


def test_white_compound_hardens_later_than_clear(job: Job, weather: Weather, as_of: datetime) -> None:
    """In the order of the audit of this model: some tenths later, nothing twice as late."""

    def hours(colour: str) -> float:
        record = job(curing={"method": "curing compound", "colour": colour})
        found = plan_cure(record, weather(6.0, 16.0), as_of, members=MEMBERS)
        date = found.milestone(MilestoneKind.LIGHT_VEHICLES)
        assert date is not None
        gates = (date.because.governing, *date.because.others)
        reached = next(each.not_before for each in gates if each.rule == "light-vehicles.strength-share")
        assert reached is not None
        return (reached - record.placement.end).total_seconds() / 3600.0

    assert 1.05 < hours("white") / hours("clear") < 1.5


@pytest.mark.parametrize("method", ["curing compound", "plastic sheet"])
def test_an_unknown_colour_is_the_coolest_for_safety_and_the_warmest_for_the_last_hour(
    slab: Callable[..., Simulation], method: str
) -> None:
    white, warm = (
        slab(method=method, colour="white"),
        slab(method=method, colour="clear" if method == "curing compound" else "black"),
    )
    unknown = slab(method=method)
    last, first = unknown.ensemble.last_placed, unknown.ensemble.first_placed
    mean = [each.slab.temperature_c[24:160, :, 0].mean(axis=0) for each in (white, unknown, warm)]
    assert np.all(mean[1][last] <= mean[0][last])
    assert np.all(mean[1][first] >= mean[2][first])


def test_the_method_without_a_colour_keeps_the_concrete_as_it_is(slab: Callable[..., Simulation]) -> None:
    """A sprinkler changes the colour of nothing: before the first water both are bare, wet concrete."""
    bare, under_clear = slab(method="sprinkler"), slab(method="curing compound", colour="clear")
    assert bare.slab.temperature_c[:4] == pytest.approx(under_clear.slab.temperature_c[:4], abs=0.05)


def test_a_slab_dries_once_its_watering_has_ended(slab: Callable[..., Simulation]) -> None:
    """Evaporation cools it while it is wet; in the fourth week it is as warm as one never watered."""
    watered, dry = slab(method="sprinkler"), slab(method="curing compound", colour="clear")
    cooler = [
        float((dry.slab.temperature_c[hours, 0, 0] - watered.slab.temperature_c[hours, 0, 0]).mean())
        for hours in (slice(24, 120), slice(24 * 24, 28 * 24))
    ]
    assert cooler[0] > 1.0
    assert abs(cooler[1]) < 0.2
