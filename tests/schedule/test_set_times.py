"""Setting of a slab in a room of constant temperature, against the table that finishers go by.

Source: hours to set by temperature, a university and trade table (70 degF 6 h, 80 degF 4 h ...). Its ends,
about 100 minutes at 100 degF and about 4 h at 80 degF, were read in trade pages; the cells between are from
memory. The table does not say which set it means. Finishers work between initial and final set, so the
middle of the two is compared. The air is saturated, so that the concrete has the temperature of the table:
drying cools it by 2 to 3 K at 100 degF, which is half an hour by the table. Tolerance 30 %: the table itself
implies activation energies from 34 to 58 kJ/mol, and no single one can follow it more closely.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

pytestmark = pytest.mark.all_members

HOURS_BY_DEGF = {50: 11.0, 60: 8.0, 70: 6.0, 80: 4.0, 90: 2.0 + 2.0 / 3.0, 100: 1.0 + 2.0 / 3.0}


@pytest.mark.parametrize(("degf", "hours"), HOURS_BY_DEGF.items())
def test_sets_as_the_table_says(job: Job, weather: Weather, as_of: datetime, degf: int, hours: float) -> None:
    temperature_c = (degf - 32) / 1.8
    count = 14 * 24
    room = weather(
        lowest_c=temperature_c,
        highest_c=temperature_c,
        relative_humidity=np.ones(count),
        wind_ms=np.full(count, 1.0),
        shortwave_wm2=np.zeros(count),
        cloud=np.ones(count),
    )
    placing = {"concrete_temperature": temperature_c, "finished": None}
    site = {"room_temperature": temperature_c}
    slab = job(slab={"exposure": "indoors"}, placement=placing, site=site)
    schedule = plan_cure(slab, room, as_of)
    found = []
    for kind in (MilestoneKind.INITIAL_SET, MilestoneKind.FINAL_SET):
        milestone = schedule.milestone(kind)
        assert milestone is not None
        assert milestone.likely is not None
        found.append((milestone.likely - schedule.placement_end).total_seconds() / 3600)
    assert sum(found) / 2 == pytest.approx(hours, rel=0.30)
