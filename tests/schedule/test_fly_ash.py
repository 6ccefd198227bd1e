"""Fly ash in the cold: the more of it, the later the concrete sets and hardens.

Source: ASCC position statement 28, by which ash retards more in cold weather, not less. The direction is
tested, not an amount: below 20 degC, more ash brings no date forward by as much as the half hour to which
dates are printed. (A later set moves the first curing water, and with it the slab's warmth by a little.) Some
rules have more ash cured longer, and what is cured longer is stronger: wheels may come 3 % sooner by that.
"""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise, product
from typing import TYPE_CHECKING

import pytest

from handover.schedule.model import Gate, Milestone, MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

SHARES = (0.0, 0.2, 0.4)
WHEELS = (MilestoneKind.LIGHT_VEHICLES, MilestoneKind.HEAVY_VEHICLES)
KINDS = (MilestoneKind.INITIAL_SET, MilestoneKind.FINAL_SET, MilestoneKind.FROST_SAFE, *WHEELS)


@pytest.mark.parametrize("air_c", [2.0, 8.0, 15.0])
def test_more_ash_never_sets_or_hardens_earlier(
    job: Callable[..., JobRecord],
    weather: Callable[..., WeatherSeries],
    as_of: datetime,
    air_c: float,
) -> None:
    schedules = []
    # No end of finishing: it would say more about setting than the mix does.
    placement = {"concrete_temperature": max(air_c, 10.0), "finished": None}
    for share in SHARES:
        record = job(mix={"fly_ash": share}, placement=placement)
        schedules.append(plan_cure(record, weather(air_c - 3.0, air_c + 3.0), as_of))
    for kind, end in product(KINDS, ("likely", "not_before")):
        dates = [getattr(_of_strength(each.milestone(kind)), end) for each in schedules]
        reached = [each for each in dates if each is not None]
        for earlier, later in pairwise(reached):
            sooner = 0.03 * (earlier - record.placement.end) if kind in WHEELS else timedelta(minutes=30)
            assert later - earlier > -sooner, (kind, end)
        assert None not in dates[: len(reached)], (kind, end)  # past the estimate is later than any date


def _of_strength(milestone: Milestone | None) -> Milestone | Gate:
    """Return a date, but for wheels the strength that they need: covers and frost are other conditions."""
    assert milestone is not None
    gates = (milestone.because.governing, *milestone.because.others)
    found = (gate for gate in gates if milestone.kind in WHEELS and gate.rule.endswith("strength-share"))
    return next(found, milestone)
