"""Which uncertainty a date hangs on."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from handover.practice.rules import Practice, practice
from handover.schedule.milestones import compute_dates
from handover.schedule.model import MilestoneKind
from handover.schedule.simulation import simulate

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.schedule.model import Figure
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

pytestmark = pytest.mark.all_members

NOTHING = {"1": 1.0, "MPa": 0.0, "K": 0.0, "K/d": 0.0, "1/d": 0.0, "m": 0.0}


def certain_but_for(*kept: str) -> Practice:
    """Return the rules with no spread but those of a few: a factor of one, an error of none."""
    whole = practice()
    still = {
        name: replace(rule, value=NOTHING[rule.unit] if name.startswith("spread.") else 0.0)
        for name, rule in whole.rules.items()
        if name.startswith(("spread.", "forecast."))
        and name not in {"forecast.memory", "forecast.drawn", "forecast.repeated", "forecast.reach"}
        and name not in {"spread.still", "spread.notable", "spread.near"}
        and not name.startswith(kept)
    }
    return replace(whole, rules=whole.rules | still)


@pytest.fixture
def hangs_on(job: Job, weather: Weather, as_of: datetime) -> Callable[..., tuple[Figure, ...]]:
    def find(kind: MilestoneKind, *kept: str) -> tuple[Figure, ...]:
        is_late = kind == MilestoneKind.HEAVY_VEHICLES  # so slow and cold that it is past the forecast
        record = job(mix={"slag": 0.6} if is_late else {})
        air = weather(0.0, 8.0) if is_late else weather(14.0, 24.0)
        simulation = simulate(record, air, as_of, practice=certain_but_for(*kept))
        dates = compute_dates(simulation, lambda _: "forecast")
        return next(each for each in dates.milestones if each.kind == kind).spread_by

    return find


@pytest.mark.parametrize(
    ("kind", "kept", "name"),
    [
        (MilestoneKind.FINAL_SET, ("spread.setting",), "setting"),
        (MilestoneKind.FROST_SAFE, ("spread.hardening",), "hardening"),
        (MilestoneKind.FROST_SAFE, ("spread.strength",), "strength"),
        (MilestoneKind.FINAL_SET, ("spread.placing",), "placing"),
        (MilestoneKind.FROST_SAFE, ("forecast.air_c", "forecast.scatter"), "weather"),
        (MilestoneKind.HEAVY_VEHICLES, ("forecast.beyond",), "weather"),
    ],
)
def test_the_only_one_there_is_makes_most_of_the_spread(
    hangs_on: Callable[..., tuple[Figure, ...]], kind: MilestoneKind, kept: tuple[str, ...], name: str
) -> None:
    """Nine tenths: what is not linear, and which hours of the weather are colder, leave the rest."""
    (found,) = hangs_on(kind, *kept)
    assert found.name == name
    assert 0.9 < found.value <= 1.0 + 1e-9


def test_where_nothing_is_uncertain_nothing_is_named(hangs_on: Callable[..., tuple[Figure, ...]]) -> None:
    for kind in (MilestoneKind.FINAL_SET, MilestoneKind.FROST_SAFE, MilestoneKind.CURING_ENDS):
        assert hangs_on(kind) == ()
